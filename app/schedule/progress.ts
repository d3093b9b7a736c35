/** How far the cells of a run are from what its plan wants, and what stands in the way. */
import type { Plan } from '../plan/plan.ts';
import { labelOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { blockOf, microsecondsText } from './cells.ts';
import type { SoFar, WantedCell } from './cells.ts';
import { isReachable } from './refine.ts';

/** Of one cell. Seconds. */
export interface CellProgress {
  readonly injector: number;
  readonly serialNumber: string;
  readonly voltage: number;
  readonly pressure: number;
  readonly period: number;
  readonly wanted: number;
  /** U95 of the dead time as it is now; null: it has no line, yet or at all. */
  readonly expanded: number | null;
  /** What instruments leave of it at any effort, s; null: it has no line. */
  readonly least: number | null;
  readonly windows: number;
  /** open: it takes more windows. beyond: no number of them reaches it. used-up: it has had the windows that the plan allows. */
  readonly state: 'reached' | 'open' | 'beyond' | 'used-up' | 'no-line';
  /** The largest part that windows do not make smaller; null: it has no line. */
  readonly largest: ErrorSource | null;
}

/** Every cell that the plan wants of the injectors that are in the run. */
export function progressOf(soFar: SoFar, reduction: Reduction | null): readonly CellProgress[] {
  const { axes, targets } = soFar.plan;
  return axes.pressureKpa.flatMap((pressure) => axes.periodMs.flatMap((period) => blockOf(soFar, reduction, pressure, period).cells.map((cell) => progress(cell, { pressure: pressure * 1e3, period: period / 1e3 }, targets))));
}

function progress(cell: WantedCell, where: { readonly pressure: number; readonly period: number }, targets: Plan['targets']): CellProgress {
  const { injector, serialNumber, voltage, wanted, points, found } = cell;
  const place = { injector, serialNumber, voltage, ...where, wanted, windows: points };
  if (found?.kind !== 'line') return { ...place, expanded: null, least: null, state: 'no-line', largest: null };
  const { expanded, uShared, coverageFactor } = found.deadTime;
  const state = expanded <= wanted ? 'reached' : !isReachable(cell) ? 'beyond' : points >= (targets?.attemptsPerCell ?? 0) ? 'used-up' : 'open';
  const largest = found.shared.toSorted((a, b) => Math.abs(b.onDeadTime) - Math.abs(a.onDeadTime))[0]?.source ?? null;
  return { ...place, expanded, least: uShared * coverageFactor, state, largest };
}

/** In words: how many are reached, and the worst of the others. */
export function howFar(cells: readonly CellProgress[]): string {
  const missed = cells.filter((c) => c.state !== 'reached').toSorted((a, b) => (b.expanded ?? Infinity) / b.wanted - (a.expanded ?? Infinity) / a.wanted);
  const [worst] = missed;
  if (worst === undefined) return `All ${cells.length} cells are known as well as was wanted.`;
  const others = missed.length === 1 ? '' : ` (the worst of ${missed.length})`;
  return `${cells.length - missed.length} of ${cells.length} cells are known as well as was wanted. ${worst.serialNumber} at ${worst.voltage} V${others}: ${whyNot(worst)}`;
}

function whyNot({ expanded, wanted, least, state, largest, windows }: CellProgress): string {
  if (expanded === null || least === null) return 'its windows give no line.';
  const now = `U95 of the dead time is ${microsecondsText(expanded)}, ${microsecondsText(wanted)} was wanted`;
  switch (state) {
    case 'beyond':
      return `${now}. No sensible number of windows reaches it: instruments alone leave ${microsecondsText(least)}, most of it ${largest === null ? 'not told' : labelOf(largest)}.`;
    case 'used-up':
      return `${now}. It has had the ${windows} windows that targets.attemptsPerCell allows.`;
    default:
      return `${now}. Nothing more is added: the bench time of targets.hours is used up, or nothing is left that would bring it nearer.`;
  }
}
