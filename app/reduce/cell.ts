/** A cell: the windows of one injector at one voltage, pressure and period, before and after a line went through them. */
import type { WindowSummary } from '../journal/measured.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import type { Seconds } from '../quantities/quantity.ts';
import type { CellLine, LineObservation } from './line.ts';
import type { RegionStop } from './linear-region.ts';
import type { MassPerPulse, NoMass } from './mass.ts';
import type { NoLineReason, ReducedWindow } from './reduction.ts';

/** One window in its cell. */
export interface Observed {
  readonly source: ReducedWindow;
  readonly window: WindowSummary;
  /** Rises in the order of measuring. */
  readonly order: number;
  readonly outcome: MassPerPulse;
  /** What the line is fitted to, kg: `outcome.mass`, further referred to the plan's conditions once that can be done. */
  readonly mass: number;
}

interface WidthGroup {
  readonly width: Seconds;
  readonly observed: readonly Observed[];
}

export interface Cell {
  readonly key: string;
  /** Any point of the cell: injector, voltage, pressure and period are the same in all. */
  readonly at: Point;
  /** Longest width first. */
  readonly groups: readonly WidthGroup[];
  readonly refused: readonly NoMass[];
}

/** Injectors of one type are alike: what all have in common is told from all of them. */
export const typeOfInjector = ({ injectors }: Pick<Plan, 'injectors'>, { injector }: Pick<Point, 'injector'>): string => injectors[injector]?.type ?? '';

export type FittedCell =
  | {
      readonly kind: 'line';
      readonly cell: Cell;
      readonly line: CellLine;
      /** The windows of the longest `count` widths of the cell, in the order of its groups. */
      readonly used: readonly Observed[];
      /** What the line went through: one for each of `used`. */
      readonly observations: readonly LineObservation[];
      /** One for each width of the cell. */
      readonly widthMeans: readonly WidthMean[];
      /** Number of widths in the region, and why it ends there. */
      readonly count: number;
      readonly stop: RegionStop;
    }
  | { readonly kind: 'no-line'; readonly cell: Cell; readonly reason: NoLineReason; readonly text: string };

/** The windows of one width of one cell. */
export interface WidthMean {
  readonly width: Seconds;
  /** kg */
  readonly mean: number;
  /** Variance of the mean, kg^2. */
  readonly variance: number;
  /** Variance of each window by the scatter model, kg^2, and how much it counts, 0 to 1. */
  readonly windows: readonly { readonly variance: number; readonly weight: number }[];
  /** Two windows that differ by more than chance gives; nothing says which of them is wrong. */
  readonly disagrees: boolean;
}
