import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';

/** One thing to measure. Its index in the expansion of the plan is its name for all time. */
export interface Point {
  readonly index: number;
  /** static: held open, width equal to period. */
  readonly role: 'measure' | 'reference' | 'static';
  /** Index into `plan.injectors`. */
  readonly injector: number;
  readonly channel: number;
  readonly voltage: Volts;
  readonly pressure: Pascals;
  readonly width: Seconds;
  readonly period: Seconds;
  /** From 0. For a reference point: how many came before it. */
  readonly replicate: number;
}
