/** How a run of a plan with targets stands, and when it is expected to be over (SCH-30, SCH-31). */
import { pointsWithoutResult } from '../journal/targets.ts';
import type { RunState } from '../journal/state.ts';
import { estimateRun } from '../plan/estimate.ts';
import type { Point } from '../plan/points.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { Reduction } from '../reduce/reduction.ts';
import type { SoFar } from './cells.ts';
import { expectedFigures } from './expected-bench.ts';
import type { BenchFigures } from './expected-bench.ts';
import { forecastOf } from './forecast.ts';
import { progressOf } from './progress.ts';
import type { CellProgress } from './progress.ts';
import { decideNext, leftToMeasure, soFarOf } from './schedule.ts';

/** Bench time, s. `low` to `high`: a range by experience, no interval of stated coverage. */
export interface Remaining {
  readonly low: number;
  readonly likely: number;
  readonly high: number;
}

export interface Outlook {
  readonly cells: readonly CellProgress[];
  readonly remaining: Remaining;
}

/** What an outlook is worked out from: what a decision is, and which points are still to be measured. */
export interface SoFarAndOpen extends SoFar {
  readonly open: readonly number[];
}

export const outlookInput = (state: RunState): SoFarAndOpen => ({ ...soFarOf(state), open: pointsWithoutResult(state) });

/**
 * A forecast meets no doubt about where lines bend, and a run does: on benches of another hand runs took so much longer than what was played with their own scatter.
 * With `range` about what is likely, taken from seeds 100 to 123 of `show -- outlook`.
 */
const doubts = 1.2;
const range = { low: 0.6, high: 1.6 };

/** Half a window and the rest of a step: what is not known of the point that is being measured, s. */
const aStep = 30;

/**
 * Outlooks of one run after another window each. What the plan is expected to take is played with the scatter and the bend that the run has found so far, and
 * not for each window: only where plan, record or these figures have changed (SCH-31).
 */
export function outlooks(forecast: typeof forecastOf = forecastOf): (soFar: SoFarAndOpen) => Outlook {
  let last: { readonly of: string; readonly hours: number } | null = null;
  return (soFar) => {
    const { plan, equipment } = soFar;
    const reduction = soFar.attempts.some(({ point }) => soFar.points[point]?.role === 'measure') ? reduceRun(soFar) : null;
    const figures = foundFigures(reduction, expectedFigures(plan));
    // They come as copies of their own each time.
    const of = JSON.stringify([plan, equipment, figures]);
    if (last?.of !== of) last = { of, hours: forecast(plan, equipment, figures).hours };
    return { cells: progressOf(soFar, reduction), remaining: remainingOf(soFar, reduction, last.hours) };
  };
}

/** So many degrees of freedom must speak against what is usual before it is half believed. */
const usualWeight = 20;

/** To steps of a tenth, so that a forecast is not played anew for each window. */
const stepped = (value: number): number => 1.1 ** Math.round(Math.log(value) / Math.log(1.1));

/** What the run has found of its bench so far, leaning on what is usual while that is little. */
function foundFigures(reduction: Reduction | null, usual: BenchFigures): BenchFigures {
  if (reduction === null) return usual;
  const lines = reduction.cells.filter((cell) => cell.kind === 'line');
  const found = { relative: 0, width: 0, dof: 0 };
  for (const { pressure, period, relative, constant, dof } of reduction.scatter) {
    const slopes = lines.filter((line) => line.pressure === pressure && line.period === period).map(({ slope }) => slope.value);
    if (slopes.length === 0) continue;
    const slope = slopes.reduce((sum, one) => sum + one, 0) / slopes.length;
    found.relative += dof * relative;
    found.width += (dof * constant) / slope ** 2;
    found.dof += dof;
  }
  const leaning = (variance: number, on: number): number => stepped(Math.sqrt((variance + usualWeight * on ** 2) / (found.dof + usualWeight)));
  const bent = lines.flatMap(({ widths, deadTime }) => {
    const out = widths.filter(({ inRegion }) => !inRegion).map(({ width }) => width);
    return out.length === 0 ? [] : [Math.max(...out) - deadTime.value];
  });
  const bendsBelow = bent.length === 0 ? usual.bendsBelow : bent.reduce((sum, one) => sum + one, 0) / bent.length;
  return { ...usual, relative: leaning(found.relative, usual.relative), width: leaning(found.width, usual.width), bendsBelow: Math.max(1e-4, stepped(bendsBelow)) };
}

/**
 * What the plan is expected to take, at the pace of the run, less what has been measured; and not less than what was decided already with what its lines, as they are now, would still need.
 */
function remainingOf(soFar: SoFarAndOpen, reduction: Reduction | null, hours: number): Remaining {
  const { plan, points, out, open } = soFar;
  if (open.length === 0 && decideNext(soFar).additions.length === 0) return { low: 0, likely: 0, high: 0 };
  const pace = paceOf(soFar);
  const isOpen = new Set(open);
  const decided = pace * timeOf(soFar, points.filter(({ index }) => isOpen.has(index)));
  const measured = pace * timeOf(soFar, points.filter(({ index }) => !isOpen.has(index)));
  const whole = pace * hours * 3600 * (1 - out.size / plan.injectors.length);
  if (reduction === null) return { low: Math.max(0, decided - aStep, range.low * whole), likely: Math.max(decided, whole), high: Math.max(decided, range.high * whole) + aStep };
  const left = pace * timeOf(soFar, leftToMeasure(soFar, reduction).map((point, i) => ({ ...point, index: points.length + i })));
  const likely = Math.max(doubts * whole - measured, decided + left);
  return { low: Math.max(0, decided - aStep, range.low * likely - aStep), likely, high: range.high * likely + aStep };
}

/** Bench time of these points, without what comes before the first of a run, s. */
const timeOf = ({ plan, equipment }: SoFar, points: readonly Point[]): number =>
  points.length === 0 ? 0 : estimateRun(plan, points, equipment).durationS - estimateRun(plan, [], equipment).durationS;

/** So many windows must speak against the plan's own figures before they are half believed. */
const paceWeight = 10;

/** Bench time that windows took, over what was expected of them; rests between them left out. */
function paceOf(soFar: SoFar): number {
  const inOrder = soFar.attempts.toSorted((a, b) => (a.order ?? a.point) - (b.order ?? b.point));
  const gaps = inOrder.flatMap(({ point, window }, i) => {
    const before = inOrder[i - 1];
    const at = soFar.points[point];
    return before === undefined || at === undefined || !(window.to > before.window.to) ? [] : [{ at, s: window.to - before.window.to }];
  });
  const middle = gaps.map(({ s }) => s).toSorted((a, b) => a - b)[Math.floor(gaps.length / 2)] ?? 0;
  const usual = gaps.filter(({ s }) => s <= 4 * middle);
  if (usual.length === 0) return 1;
  const ratio = usual.reduce((sum, { s }) => sum + s, 0) / timeOf(soFar, usual.map(({ at }) => at));
  return (usual.length * ratio + paceWeight) / (usual.length + paceWeight);
}
