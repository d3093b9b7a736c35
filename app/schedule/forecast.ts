/**
 * What a plan will come to before anything was measured: it is played on an expected bench (usual dead times, a stated scatter, a usual bend) and reduced like a run.
 * For comparing plans, and for seeing which target no effort reaches (SCH-11).
 */
import type { Equipment } from '../equipment/equipment.ts';
import { estimateRun } from '../plan/estimate.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import { parsePlan } from '../plan/parse.ts';
import { wantedUs } from '../plan/wanted.ts';
import type { Point } from '../plan/points.ts';
import { kilopascals } from '../quantities/quantity.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { CountingAttempt, LineCell, Reduction } from '../reduce/reduction.ts';
import { labelOf } from '../uncertainty/source.ts';
import { expectedBench } from './expected-bench.ts';
import type { BenchFigures } from './expected-bench.ts';
import { farthestFirst, progressOf } from './progress.ts';
import type { CellProgress } from './progress.ts';
import { leastOf } from './refine.ts';
import { decideNext } from './schedule.ts';

/** One voltage and pressure, over all injectors. Seconds. */
export interface ForecastCell {
  readonly voltage: number;
  readonly pressure: number;
  /** U95 of the dead time: the largest; null: an injector has no line there. */
  readonly expanded: number | null;
  /** What instruments leave of it at any effort. */
  readonly least: number | null;
  /** null: the plan states no target of it. */
  readonly wanted: number | null;
  /** What makes the largest part that no window takes off, and what U95 would be without it. */
  readonly largest: string | null;
  readonly without: number | null;
}

export interface Forecast {
  readonly hours: number;
  readonly points: number;
  readonly cells: readonly ForecastCell[];
  /** What else the plan wants (slopes, static flows, cells of a map): the worst injector at each place. SCH-20 */
  readonly others: readonly CellProgress[];
}

/** So many times a plan with targets is played: one run takes about a tenth more or less than another of the same bench. SCH-19 */
const plays = 3;

/** `figures`: of the bench, where more is known of it than what is usual, or than what the plan knows of its types. */
export function forecastOf(plan: Plan, equipment: Equipment, figures?: BenchFigures): Forecast {
  const played = Array.from({ length: plan.targets === undefined ? 1 : plays }, (_, i) => playedOnce(plan, equipment, figures, i));
  const { points, attempts, reduction } = middleOf(played.map((one) => ({ ...one, reduction: reduceRun({ plan, equipment, points: one.points, attempts: withoutSelfCheck(one) }) })));
  const { cells } = reduction;
  return {
    hours: played.reduce((sum, one) => sum + estimateRun(plan, one.points, equipment).durationS, 0) / played.length / 3600,
    points: points.length,
    cells: plan.axes.pressureKpa.flatMap((kpa) =>
      plan.axes.voltageV.map((voltage): ForecastCell => {
        const pressure = kilopascals(kpa);
        const here = cells.filter((c) => c.voltage === voltage && c.pressure === pressure);
        const lines = here.filter((c): c is LineCell => c.kind === 'line');
        const us = plan.targets === undefined ? null : wantedUs(plan.targets, voltage);
        const wanted = us === null ? null : us * 1e-6;
        const worst = lines.length < here.length ? undefined : lines.toSorted((a, b) => b.deadTime.expanded - a.deadTime.expanded)[0];
        return { voltage, pressure, wanted, ...(worst === undefined ? { expanded: null, least: null, largest: null, without: null } : ofLine(worst)) };
      }),
    ),
    others: plan.targets === undefined ? [] : worstByPlace(progressOf({ plan, equipment, points, attempts, out: new Set() }, reduction).filter(({ of }) => of !== 'line')),
  };
}

/** What so many hours of bench time buy (SCH-21). */
export interface Bought {
  /** That may be spent, and that are. */
  readonly hours: number;
  readonly took: number;
  readonly cells: readonly Pick<ForecastCell, 'voltage' | 'pressure' | 'expanded' | 'least'>[];
}

/** The plan with its hours spent in place of targets or a grid: one that a schedule can measure, or what stands against that. */
export const planByHours = (plan: Plan): ReturnType<typeof parsePlan> => parsePlan({ ...plan, targets: { ...plan.targets, spend: 'all-hours' } });

/** Usual limits where a plan, a grid, states none. */
const freely: NonNullable<Plan['targets']> = { atVoltage: [], hours: 24, attemptsPerCell: 1000, known: [] };

/** The curve of hours against U95: the voltages, pressures and widths of the plan, measured where the worst cell gains most until the hours are spent (SCH-18), whatever the plan says of how often or how well. Errors: none; the plan is one that `planByHours` takes. */
export function whatHoursBuy(plan: Plan, equipment: Equipment, hours: readonly number[]): readonly Bought[] {
  return hours.map((most) => {
    const { hours: took, cells } = forecastOf({ ...plan, targets: { ...(plan.targets ?? freely), spend: 'all-hours', hours: most } }, equipment);
    return { hours: most, took, cells: cells.map(({ voltage, pressure, expanded, least }) => ({ voltage, pressure, expanded, least })) };
  });
}

interface Played {
  readonly points: readonly Point[];
  readonly attempts: readonly CountingAttempt[];
}

/** Nothing is wrong with an expected bench: what its self-check calls is chance, and would be a part of every dead time (RED-114). */
const withoutSelfCheck = ({ points, attempts }: Played): readonly CountingAttempt[] => attempts.filter(({ point }) => points[point]?.role !== 'invariance');

/** The one in the middle by what it knows of its dead times: what chance does in one play of a bench is not what is to be expected. */
function middleOf<T extends { readonly reduction: Reduction }>(played: readonly T[]): T {
  const worst = ({ reduction: { cells } }: T): number => Math.max(0, ...cells.map((c) => (c.kind === 'line' ? c.deadTime.expanded : Number.POSITIVE_INFINITY)));
  const rising = played.toSorted((a, b) => (worst(a) === worst(b) ? 0 : worst(a) - worst(b)));
  const middle = rising[(rising.length - 1) >> 1];
  if (middle === undefined) throw new Error('nothing was played');
  return middle;
}

/** Of each place the injector that is farthest from what is wanted. */
const worstByPlace = (cells: readonly CellProgress[]): readonly CellProgress[] =>
  [...Map.groupBy(cells, ({ of, voltage, pressure, period }) => `${of} ${voltage} ${pressure} ${period}`).values()].flatMap((here) => here.toSorted(farthestFirst).slice(0, 1));

/** The plan on one expected bench, until its schedule adds nothing. */
function playedOnce(plan: Plan, equipment: Equipment, figures: BenchFigures | undefined, which: number): Played {
  const windowOf = expectedBench({ ...plan, sequence: { ...plan.sequence, seed: (plan.sequence.seed + which) >>> 0 } }, equipment, figures);
  let points = expandPlan(plan);
  const attempts: CountingAttempt[] = [];
  for (;;) {
    for (const at of points.slice(attempts.length)) attempts.push({ point: at.index, attempt: 1, window: windowOf(at) });
    if (plan.targets === undefined) break;
    const { additions } = decideNext({ plan, equipment, points, attempts, out: new Set() });
    if (additions.length === 0) break;
    const first = points.length;
    points = [...points, ...additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: first + i }))];
  }
  return { points, attempts };
}

function ofLine({ deadTime, shared }: LineCell): Pick<ForecastCell, 'expanded' | 'least' | 'largest' | 'without'> {
  const { expanded, u, coverageFactor } = deadTime;
  const sums = new Map<string, number>();
  for (const { source, onDeadTime } of shared) sums.set(labelOf(source), (sums.get(labelOf(source)) ?? 0) + onDeadTime ** 2);
  const [largest, square = 0] = [...sums].sort((a, b) => b[1] - a[1])[0] ?? [];
  return { expanded, least: leastOf(deadTime), largest: largest ?? null, without: coverageFactor * Math.sqrt(Math.max(0, u * u - square)) };
}
