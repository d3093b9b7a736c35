/**
 * What is measured next until the targets of a plan are reached (README.md). Pure: the same of the same journal on every machine. A decision is made when
 * everything that was decided before has been measured.
 */
import { mersenne } from 'pure-rand/generator/mersenne';
import { checksOf } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import { onceMore } from '../plan/points.ts';
import type { Point } from '../plan/points.ts';
import { estimateRun, pressureChange } from '../plan/estimate.ts';
import { zeroWindow } from '../plan/zero.ts';
import { kilopascals, milliseconds } from '../quantities/quantity.ts';
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';
import { countingAttempts } from '../reduce/counting.ts';
import type { RunState } from '../journal/state.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { blockOf, cellName } from './cells.ts';
import type { Block, SoFar, Targets, CellWish } from './cells.ts';
import { mapCellsOf } from './map-cells.ts';
import { howFar, progressOf } from './progress.ts';
import { staticCellsOf, staticWishes } from './static-cells.ts';
import { refinementOf } from './refine.ts';
import type { Refining } from './refine.ts';
import { mapRefinement } from './refine-map.ts';
import type { MapRefining } from './refine-map.ts';
import { cellRoute } from './route.ts';
import { walkOf } from './walk.ts';
import { widthOrder } from './width-order.ts';

type AddedPoint = Omit<Point, 'index'>;

/** Points that are added for one reason, by a numbered rule. */
interface Addition {
  readonly points: readonly AddedPoint[];
  readonly rule: string;
  readonly why: string;
}

/** What comes next; no additions: nothing is left that could bring a target nearer, and `text` says how far they are. */
export interface ScheduleDecision {
  readonly additions: readonly Addition[];
  readonly text: string;
}

/** A decision, or why none could be made, in sentences. */
export type DecidedNext = { readonly ok: true; readonly decision: ScheduleDecision } | { readonly ok: false; readonly text: string };

/** What a window takes beside its own length, s: settling, and what shows in the frame that follows. */
const besidesOf = ({ settleS, link }: Pick<Plan, 'settleS' | 'link'>): number => settleS + 4 / link.telemetryHz;

/** What a decision about a run is made from. */
export const soFarOf = (state: RunState): SoFar => ({ plan: state.plan, equipment: state.equipment, points: state.setPoints, attempts: countingAttempts(state), out: new Set(state.out.keys()) });

/** What comes next of a plan with targets. SCH-1 */
export function decideNext(soFar: SoFar): ScheduleDecision {
  const { plan, points } = soFar;
  const { targets } = plan;
  if (targets === undefined) throw new Error('a plan without targets has no schedule');
  const reduction = soFar.attempts.some(({ point }) => points[point]?.role === 'measure') ? reduceRun(soFar) : null;
  const additions = additionsOf(soFar, targets, reduction);
  return { additions, text: additions.length > 0 ? '' : howFar(progressOf(soFar, reduction), targets) };
}

/** What is added next; of a map, where that is at another pressure than was measured last, what ends that one first. SCH-10, SCH-15 */
function additionsOf(soFar: SoFar, targets: Targets, reduction: Reduction | null): readonly Addition[] {
  const additions = wantedNext(soFar, targets, reduction);
  const next = additions.flatMap(({ points }) => points).find((p) => p.role === 'measure')?.pressure;
  const last = soFar.points.findLast((p) => p.role === 'measure')?.pressure;
  return targets.map === undefined || next === undefined || last === undefined || next === last ? additions : [...endingAgain(soFar, last), ...additions];
}

function wantedNext(soFar: SoFar, targets: Targets, reduction: Reduction | null): readonly Addition[] {
  const { plan } = soFar;
  const left = hoursLeft(soFar, targets);
  const map = left(plan.axes.pressureKpa.length - 1) > 0 ? mapWanted(soFar, reduction, refiningOf(plan, targets)) : null;
  for (const [i, pressureKpa] of plan.axes.pressureKpa.entries()) {
    for (const periodMs of plan.axes.periodMs) {
      if (!(left(i) > 0)) continue;
      const block = blockOf(soFar, reduction, pressureKpa, periodMs);
      const own = wishesOf(block, plan, reduction);
      const wishes = own.length > 0 ? own : (map?.whileAt(block) ?? []);
      const additions = wishes.length === 0 ? [] : inTime(inOrder(wishes, block, soFar), soFar, targets, left(i));
      if (additions.length > 0) return additions;
    }
    const ending = endingOf(soFar, targets, reduction, { i, pressureKpa, allowed: left(i) > 0 });
    if (ending.length > 0) return ending;
  }
  return targets.map === undefined ? [] : comingBack(soFar, targets, map, left(plan.axes.pressureKpa.length - 1));
}

/** What ends the measuring of a pressure, once, static flows that are wanted before the last of it; of a pressure that is come back to, or was left for another, what comes after is no business of this. SCH-10, SCH-17 */
function endingOf(soFar: SoFar, targets: Targets, reduction: Reduction | null, { i, pressureKpa, allowed }: { readonly i: number; readonly pressureKpa: number; readonly allowed: boolean }): readonly Addition[] {
  const { plan, points } = soFar;
  const pressure = kilopascals(pressureKpa);
  const checks = checksOf(plan, pressureKpa);
  const wantsHeld = targets.staticFlowPercent !== undefined;
  const isLeft = (wantsHeld || targets.map !== undefined) && plan.axes.pressureKpa.slice(i + 1).some((kpa) => wasMeasured(points, kilopascals(kpa)));
  const due = isLeft || wantsHeld ? checks.filter((c) => !isEnd(c)) : checks;
  const why = `what ends the measuring at ${pressureKpa} kPa: static flow, self-checks${wantsHeld ? '' : ', reference and zero point'}`;
  if (due.length > 0 && !hasChecks(points, due, pressure)) return [{ points: due, rule: 'SCH-10', why }];
  if (isLeft || !wantsHeld) return [];
  const held = staticCellsOf(soFar, reduction).filter((c) => c.pressure === pressure);
  const wishes = allowed ? staticWishes(held, targets.attemptsPerCell) : [];
  if (wishes.length > 0) return wishes.map((wish) => ({ ...wish, rule: 'SCH-17' }));
  const ends = endsOf(plan, points, pressure);
  return ends.length > 0 ? [{ points: ends, rule: 'SCH-10', why: `what ends the measuring at ${pressureKpa} kPa: reference and zero point` }] : [];
}

const isEnd = ({ role }: Pick<Point, 'role'>): boolean => role === 'reference' || role === 'zero';
const wasMeasured = (points: readonly Point[], pressure: Pascals): boolean => points.some((p) => p.role === 'measure' && p.pressure === pressure);

/** Reference and zero point that end what was measured last at a pressure; none: they did. */
function endsOf(plan: Plan, points: readonly Point[], pressure: Pascals): readonly AddedPoint[] {
  const ends = checksOf(plan, pressure / 1e3).filter(isEnd);
  const after = points.slice(points.findLastIndex((p) => p.pressure === pressure && (p.role === 'measure' || p.role === 'static')) + 1);
  if (ends.every((end) => after.some((p) => p.role === end.role && p.pressure === end.pressure))) return [];
  return ends.map((end) => ({ ...end, replicate: 1 + Math.max(...points.map((p) => (p.role === end.role ? p.replicate : -1))) }));
}

/** What ends a pressure that was come back to; none: it was ended. */
function endingAgain({ plan, points }: SoFar, pressure: Pascals): readonly Addition[] {
  const ends = endsOf(plan, points, pressure);
  return ends.length === 0 ? [] : [{ points: ends, rule: 'SCH-10', why: `what ends the measuring at ${pressure / 1e3} kPa once more: reference and zero point` }];
}

/** Windows for the map at pressures that were left already, the one that is set first, and what ends a pressure again. SCH-15 */
function comingBack(soFar: SoFar, targets: Targets, map: ReturnType<typeof mapWanted>, left: number): readonly Addition[] {
  const { points } = soFar;
  const set = points.at(-1)?.pressure;
  const last = points.findLast((p) => p.role === 'measure')?.pressure;
  const wanted = map?.anywhere() ?? [];
  const here = wanted.find(({ block }) => block.pressure === set) ?? wanted.find(({ block }) => block.pressure === last);
  const budget = (additions: readonly Addition[]): readonly Addition[] => inTime(additions, soFar, targets, left);
  const more = here === undefined ? [] : budget(inOrder(here.wishes, here.block, soFar));
  if (more.length > 0) return more;
  const ends = last === undefined ? [] : endingAgain(soFar, last);
  if (ends.length > 0) return ends;
  const [next] = wanted;
  return next === undefined || here !== undefined ? [] : budget(inOrder(next.wishes, next.block, soFar));
}

/** What the map of a plan wants at a pressure while it is measured, and at all of them; null: it wants none, or nothing was measured. */
function mapWanted(soFar: SoFar, reduction: Reduction | null, refining: Refining) {
  const { plan, points } = soFar;
  if (plan.targets?.map === undefined || reduction === null) return null;
  const cells = mapCellsOf(soFar, reduction);
  const zero = points.some((p) => p.role === 'zero') ? 2 * (plan.zero.settleS + zeroWindow(plan)) : 0;
  const by: MapRefining = { ...refining, set: points.at(-1)?.pressure ?? 0, change: pressureChange(plan) + zero };
  const pressures = plan.axes.pressureKpa.map(kilopascals);
  const blocksAt = (period: Seconds): readonly Block[] => plan.axes.periodMs.filter((ms) => milliseconds(ms) === period).flatMap((periodMs) => plan.axes.pressureKpa.map((kpa) => blockOf(soFar, reduction, kpa, periodMs)));
  const over = (period: Seconds) => mapRefinement(blocksAt(period), cells.filter((c) => c.period === period), by);
  return {
    /** Before a pressure is left: its own cells; at the last one all cells, as far as its own lines are what brings them nearer. SCH-14 */
    whileAt: (block: Block): readonly CellWish[] => {
      const later = pressures.slice(pressures.indexOf(block.pressure) + 1);
      if (later.some((p) => wasMeasured(points, p))) return [];
      if (later.length === 0) return over(block.period).find((of) => of.block.pressure === block.pressure)?.wishes ?? [];
      return mapRefinement([block], cells.filter((c) => c.period === block.period && c.pressure === block.pressure), by).flatMap(({ wishes }) => wishes);
    },
    anywhere: () => plan.axes.periodMs.flatMap((ms) => over(milliseconds(ms))),
  };
}

function wishesOf(block: Block, plan: Plan, reduction: Reduction | null): readonly CellWish[] {
  const { targets } = plan;
  if (targets === undefined) return [];
  const { attemptsPerCell } = targets;
  const walk = walkOf(block).flatMap((wish): readonly CellWish[] => {
    const widths = wish.widths.slice(0, Math.max(0, attemptsPerCell - wish.cell.points));
    return widths.length === 0 ? [] : [{ ...wish, widths }];
  });
  if (walk.length > 0 || reduction === null) return walk;
  return refinementOf(block, refiningOf(plan, targets));
}

const refiningOf = (plan: Plan, { slopePercent, attemptsPerCell, spend }: Targets): Refining => ({
  slopeWanted: slopePercent === undefined ? null : slopePercent / 100, most: attemptsPerCell, besides: besidesOf(plan), minS: plan.window.minS, weighs: spend === 'all-hours',
});

/** Windows that would bring every line there is to its target if all stayed as it was found, in the order in which they would be measured. For when a run is expected to be over; no decision goes by it. */
export function leftToMeasure(soFar: SoFar, reduction: Reduction): readonly AddedPoint[] {
  const { plan } = soFar;
  const { targets } = plan;
  if (targets === undefined) return [];
  return plan.axes.pressureKpa.flatMap((pressureKpa) =>
    plan.axes.periodMs.flatMap((periodMs) => {
      const block = blockOf(soFar, reduction, pressureKpa, periodMs);
      return inOrder(refinementOf(block, { ...refiningOf(plan, targets), atOnce: Number.POSITIVE_INFINITY }), block, soFar).flatMap(({ points }) => points);
    }),
  ).concat((mapWanted(soFar, reduction, { ...refiningOf(plan, targets), atOnce: mostLeft })?.anywhere() ?? []).flatMap(({ block, wishes }) => inOrder(wishes, block, soFar).flatMap(({ points }) => points)));
}

/** Windows of an injector that are looked ahead for its map: beyond it the end is a guess in any case. */
const mostLeft = 200;

/**
 * Bench time that is left for cells of the pressures up to one, h. Where all of it is spent each pressure has its share, and what will end it is kept back (SCH-18); else the ceiling is that of the whole.
 */
function hoursLeft(soFar: SoFar, { hours, spend }: Targets): (pressure: number) => number {
  const { plan, points, equipment } = soFar;
  const used = hoursUsed(soFar);
  if (spend !== 'all-hours') return () => hours - used;
  const timeOf = (some: readonly AddedPoint[]): number => estimateRun(plan, some.map((p, index) => ({ ...p, index })), equipment).durationS;
  const ending = plan.axes.pressureKpa.map((kpa) => (timeOf(checksOf(plan, kpa)) - timeOf([])) / 3600);
  const isEnded = plan.axes.pressureKpa.map((kpa) => hasChecks(points, checksOf(plan, kpa), kilopascals(kpa)));
  return (pressure) => (hours * (pressure + 1)) / ending.length - used - ending.reduce((sum, h, i) => (i > pressure || isEnded[i] === true ? sum : sum + h), 0);
}

/** Of a budget of hours as much as fits into what is left of it, h, in the order in which it would be measured; else all of it. */
function inTime(additions: readonly Addition[], { plan, equipment }: SoFar, { spend }: Targets, left: number): readonly Addition[] {
  if (spend !== 'all-hours') return additions;
  const kept: Addition[] = [];
  const took = (some: readonly Addition[]): number => estimateRun(plan, some.flatMap((a) => a.points).map((p, index) => ({ ...p, index })), equipment).durationS - estimateRun(plan, [], equipment).durationS;
  for (const addition of additions) {
    if (took([...kept, addition]) > 3600 * left) break;
    kept.push(addition);
  }
  return kept.some((a) => a.points.some((p) => p.role === 'measure')) ? kept : [];
}

/** Bench time as it is expected of all points so far, h. */
const hoursUsed = ({ plan, points, equipment }: SoFar): number => estimateRun(plan, points, equipment).durationS / 3600;

/** Whether what ends the measuring of a pressure was added. A reference point that its own clock put after the last point measured there ends it as well. */
function hasChecks(points: readonly Point[], checks: readonly AddedPoint[], pressure: Pascals): boolean {
  const of = checks.find((p) => p.role !== 'reference' && p.role !== 'zero');
  if (of !== undefined) return points.some((p) => p.role === of.role && p.injector === of.injector && p.voltage === of.voltage && p.pressure === of.pressure);
  const after = points.slice(points.findLastIndex((p) => p.role === 'measure' && p.pressure === pressure) + 1);
  return checks.every((check) => after.some((p) => p.role === check.role && p.pressure === check.pressure));
}

/** Bench time after which leaks are looked for again, s: what leaks changes with the warmth of the bench. Common practice, no source. */
const zeroEveryS = 900;

/** A zero point on its own clock, where the plan has them. SCH-9 */
function zeroWhenDue({ plan, points, equipment }: SoFar, voltage: Volts | undefined, pressure: Pascals): readonly Addition[] {
  const last = points.findLast((p) => p.role === 'zero');
  if (last === undefined || voltage === undefined) return [];
  const since = points.slice(last.index + 1);
  const isOfPressure = since.some((p) => p.role === 'measure' && p.pressure !== pressure) || last.pressure === pressure;
  if (isOfPressure && estimateRun(plan, since, equipment).durationS < zeroEveryS) return [];
  return [{ points: [{ ...onceMore(last), voltage, pressure, replicate: last.replicate + 1 }], rule: 'SCH-9', why: 'a zero point: the last is long ago, or of another pressure' }];
}

/**
 * In the order in which changes of voltage and injector take the least bench time from what is set (SCH-45), widths in an order drawn from the plan's seed (PLAN-8); reference points after as many
 * measure points as the plan says. SCH-9
 */
function inOrder(wishes: readonly CellWish[], { pressure, period }: Block, soFar: SoFar): readonly Addition[] {
  const { plan, points } = soFar;
  const random = mersenne((plan.sequence.seed + points.length) >>> 0);
  const counts = new Map<string, number>();
  let measured = points.filter((p) => p.role === 'measure').length;
  let references = points.filter((p) => p.role === 'reference').length;
  const route = cellRoute(wishes, ({ cell }) => cell, points.at(-1) ?? null, plan);
  const additions: Addition[] = [...zeroWhenDue(soFar, route[0]?.cell.voltage, pressure)];
  for (const { cell, widths, rule, why } of route) {
    const order = widthOrder(widths, () => random.next() >>> 0);
    additions.push({
      rule,
      why,
      points: order.map((width): AddedPoint => {
        const name = `${cellName(cell)}|${width}`;
        const replicate = counts.get(name) ?? cell.tried.get(width) ?? 0;
        counts.set(name, replicate + 1);
        return { role: 'measure', injector: cell.injector, channel: plan.injectors[cell.injector]?.channel ?? 0, voltage: cell.voltage, pressure, width, period, replicate };
      }),
    });
    const before = measured;
    measured += widths.length;
    const every = plan.reference?.everyPoints ?? Number.POSITIVE_INFINITY;
    const reference = points.find((p) => p.role === 'reference');
    if (reference === undefined || Math.floor(measured / every) === Math.floor(before / every)) continue;
    additions.push({ points: [{ ...onceMore(reference), replicate: references }], rule: 'SCH-9', why: 'the reference point, after as many measure points as the plan says' });
    references += 1;
  }
  return additions;
}
