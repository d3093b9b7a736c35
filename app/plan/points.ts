import type { Nuisance } from './invariance.ts';
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';

/**
 * The number by which people and files call a point: its place in the plan, counted from 1. `index` counts from 0 and
 * stays inside of the program and its journals (RUN-154).
 */
export const shownPoint = (index: number): number => index + 1;

/** The index of the point that a person or a file calls `number`. */
export const pointIndex = (number: number): number => number - 1;

/** The same set point, to be measured once more: where in the run it stands it is told by the run (RUN-183). */
export function onceMore({ role, injector, channel, voltage, pressure, width, period, replicate, changed }: Point): Omit<Point, 'index'> {
  return { role, injector, channel, voltage, pressure, width, period, replicate, ...(changed === undefined ? {} : { changed }) };
}

/** One thing to measure. Its index in the expansion of the plan is its name for all time. */
export interface Point {
  readonly index: number;
  /**
   * static: held open, width equal to period. pair: an ordinary window at twice the period of one of the injector's measure
   * points. look: one of the three windows of an injector's first look, `replicate` says which. invariance: an ordinary window under the nuisance
   * `changed`. blind: one of a measure point's set point, driven with a secret shift of the width. zero: nothing is driven; injector 0 stands there only so that lists have a row, and channel, width and period are 0.
   */
  readonly role: 'measure' | 'reference' | 'static' | 'pair' | 'invariance' | 'blind' | 'zero' | 'look';
  /** Index into `plan.injectors`. */
  readonly injector: number;
  readonly channel: number;
  readonly voltage: Volts;
  readonly pressure: Pascals;
  readonly width: Seconds;
  readonly period: Seconds;
  /** From 0. For a reference, zero or blind point: how many came before it. */
  readonly replicate: number;
  /** Of a point of role `invariance`: which nuisance is another one. */
  readonly changed?: Nuisance;
}
