/** Tables on axes that the user chose: what an engine controller is filled with. Values in SI units. */
import type { Result } from '../uncertainty/budget.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';

/**
 * measured: a line was fitted at exactly this place. interpolated: between such places. extrapolated: outside them, so the
 * uncertainty rests on an assumption about how the curve goes on. unresolved: the curve turns or steepens here faster than the
 * measured places tell (a bouncing needle), so the value holds where it was measured and its uncertainty for that alone. estimated: told by a law
 * of physics from another pressure, and not by measurements there.
 */
export type Basis = 'measured' | 'interpolated' | 'estimated' | 'extrapolated' | 'unresolved';

export type GridMissing =
  | 'not-measured'
  /** The place is not measured and one voltage or pressure alone tells nothing of others. */
  | 'one-voltage'
  | 'one-pressure'
  /** Further outside the measured range than the range is wide, or where the injector would not open. */
  | 'too-far'
  | 'shorter-than-measured'
  | 'member-missing'
  /** A voltage that the place rests on was refused because of a leak. */
  | 'leak';

export type GridCell =
  /** `carried`: the same with the effect of every error by itself. */
  | { readonly kind: 'value'; readonly result: Result; readonly carried: Carried; readonly basis: Basis }
  | { readonly kind: 'missing'; readonly reason: GridMissing; readonly text: string };

export const gridValue = (of: Carried, basis: Basis): Extract<GridCell, { kind: 'value' }> => ({ kind: 'value', result: stateCarried(of), carried: of, basis });

interface GridAxis {
  readonly name: 'supply voltage' | 'rail pressure' | 'pulse width';
  readonly siUnit: 'V' | 'Pa' | 's';
  readonly values: readonly number[];
}

export interface GridTable {
  readonly quantity: 'dead-time' | 'slope' | 'static-flow' | 'short-pulse-correction';
  /** Name after the parameter list of SAE J1832 where it has one. */
  readonly title: string;
  readonly siUnit: 's' | 'kg/s' | 'kg';
  /** Serial number, or `Set mean`. */
  readonly of: string;
  /** s */
  readonly period: number;
  /** What else is fixed in this table, in words. */
  readonly at: string;
  readonly method: string;
  readonly rows: GridAxis;
  readonly columns: GridAxis;
  /** One list for each row. */
  readonly cells: readonly (readonly GridCell[])[];
}

/** The user's axes, SI. Empty: those that were measured. */
export interface GridAxes {
  readonly voltages: readonly number[];
  readonly pressures: readonly number[];
  readonly widths: readonly number[];
}
