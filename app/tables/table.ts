/** Tables as data: what a terminal, a file, a report and the window print alike. Values in SI units. */
import type { Result } from '../uncertainty/budget.ts';
import type { NoLineReason, Source } from '../reduce/reduction.ts';

/** Why a cell has no value. */
type MissingReason = NoLineReason | 'member-missing';

export type TableCell =
  | {
      readonly kind: 'value';
      readonly result: Result;
      /** 95 % interval; not symmetric about the value where the delta method was not good enough. */
      readonly interval: { readonly low: number; readonly high: number };
      /** The attempts that the value was computed from. */
      readonly sources: readonly Source[];
    }
  | { readonly kind: 'missing'; readonly reason: MissingReason; readonly text: string };

interface TableColumn {
  readonly id: string;
  readonly title: string;
}

interface TableRow {
  /** Supply voltage, V. */
  readonly voltage: number;
  /** One for each column, in order. */
  readonly cells: readonly TableCell[];
}

/** One quantity over supply voltage (down) and injector (across), at one pressure and period. */
export interface Table {
  readonly quantity: 'dead-time' | 'slope';
  /** Name after the parameter list of SAE J1832, with its symbol. */
  readonly title: string;
  readonly siUnit: 's' | 'kg/s';
  /** Pa, gauge. */
  readonly pressure: number;
  /** s */
  readonly period: number;
  readonly columns: readonly TableColumn[];
  readonly rows: readonly TableRow[];
}
