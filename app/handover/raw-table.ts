/** A table on the controller's breakpoints, in SI units, before it is put into the controller's. */
import type { GridCell } from '../tables/grid.ts';
import type { ControllerAxis, ControllerTable } from './document.ts';

interface RawAxis {
  readonly name: ControllerAxis['name'];
  /** SI. */
  readonly values: readonly number[];
}

export interface RawTable {
  readonly quantity: ControllerTable['quantity'];
  readonly title: string;
  readonly of: string;
  /** Static flow has no period: 0. */
  readonly period: number;
  /** Pa; null: an axis has it. */
  readonly pressure: number | null;
  readonly method: string;
  readonly axes: readonly [RawAxis, RawAxis];
  /** Rows of the first axis. */
  readonly cells: readonly (readonly GridCell[])[];
  /** The same with a place in the middle between every two breakpoints of the axes along which the curve is known. */
  readonly between: { readonly axes: readonly [readonly number[], readonly number[]]; readonly cells: readonly (readonly GridCell[])[] };
}

/** Each breakpoint, and the middle between every two. */
export const withMiddles = (values: readonly number[]): readonly number[] =>
  values.flatMap((v, i) => {
    const next = values[i + 1];
    return next === undefined ? [v] : [v, (v + next) / 2];
  });

export const evenOnly = <T>(list: readonly T[]): readonly T[] => list.filter((_, i) => i % 2 === 0);
