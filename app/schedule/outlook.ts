/** How a run of a plan with targets stands, and when it is expected to be over (SCH-30, SCH-31). */
import { pointsWithoutResult } from '../journal/targets.ts';
import type { RunState } from '../journal/state.ts';
import { estimateRun } from '../plan/estimate.ts';
import type { Point } from '../plan/points.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { SoFar } from './cells.ts';
import { forecastOf } from './forecast.ts';
import { progressOf } from './progress.ts';
import type { CellProgress } from './progress.ts';
import { decideNext, soFarOf } from './schedule.ts';

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

/** Forecasts of simulated benches were off by 1 to 17 %; from these few the range was taken, and it has not been measured by itself. */
const range = { low: 0.85, high: 1.25 };

/** Half a window and the rest of a step: what is not known of the point that is being measured, s. */
const aStep = 30;

/** Outlooks of one run after another window each: what the plan was expected to take is played once for each plan, not for each window (SCH-31). */
export function outlooks(forecast: typeof forecastOf = forecastOf): (soFar: SoFarAndOpen) => Outlook {
  let last: { readonly of: string; readonly hours: number } | null = null;
  const hoursOf: HoursOf = ({ plan, equipment }) => {
    // They come as copies of their own each time.
    const of = JSON.stringify([plan, equipment]);
    if (last?.of !== of) last = { of, hours: forecast(plan, equipment).hours };
    return last.hours;
  };
  return (soFar) => {
    const reduction = soFar.attempts.some(({ point }) => soFar.points[point]?.role === 'measure') ? reduceRun(soFar) : null;
    return { cells: progressOf(soFar, reduction), remaining: remainingOf(soFar, hoursOf) };
  };
}

type HoursOf = (of: Pick<SoFar, 'plan' | 'equipment'>) => number;

/** What the plan was expected to take, at the pace of the run, less what has been measured; what was decided already is measured in any case. */
function remainingOf(soFar: SoFarAndOpen, hoursOf: HoursOf): Remaining {
  const { plan, points, out, open } = soFar;
  if (open.length === 0 && decideNext(soFar).additions.length === 0) return { low: 0, likely: 0, high: 0 };
  const pace = paceOf(soFar);
  const isOpen = new Set(open);
  const decided = pace * timeOf(soFar, points.filter(({ index }) => isOpen.has(index)));
  const measured = pace * timeOf(soFar, points.filter(({ index }) => !isOpen.has(index)));
  const whole = pace * hoursOf(soFar) * 3600 * (1 - out.size / plan.injectors.length);
  return {
    low: Math.max(0, decided - aStep, range.low * whole - measured),
    likely: Math.max(decided, whole - measured),
    high: Math.max(decided, range.high * whole - measured) + aStep,
  };
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
