/**
 * The first look: what three short windows tell of an injector before the sweep (RUN-135 to RUN-141 in README.md). Each window
 * is judged by itself; the injectors are judged together, once all have been looked at, because the coils are all warmer
 * than the fluid by about the same and the others are what an injector without known values is held against.
 *
 *   R(20 degC) = U / I / (1 + a (T_rail - 20 degC)), held open, a of copper. Harness and switch and the coil's own warmth make it
 *   a few percent too high, for all alike: against the register the median over the injectors is taken out.
 *   Qs = m(held) / P;   k = (m(long) - m(short)) / (w(long) - w(short)) is about Qs;   X = w(short) - m(short) / k is a dead time.
 */
import type { Equipment } from '../equipment/equipment.ts';
import { ohmOfType } from '../plan/coil-of-type.ts';
import { lookEdges, lookPart } from '../plan/look.ts';
import { flowAtPressure, statedStaticFlow } from '../plan/flow-of-type.ts';
import { ofType } from '../plan/of-type.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { copperPerKelvin } from '../quantities/copper.ts';
import { celsius, pascals, toKilopascals } from '../quantities/quantity.ts';
import { massPerPulse } from '../reduce/mass.ts';
import type { Criterion } from '../journal/events.ts';
import { around, held } from './criterion.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { median } from '../statistics/robust.ts';

/** How much higher than the register all coils may come out: up to 20 K warmer than the fluid, and 0.3 ohm of harness in 12. */
const warmest = 1.1;
/** So many known resistances give the common part; with fewer, a coil alone may be up to `warmest` too high. */
const enoughKnown = 3;
/** A swap is told when the register's values of the two differ by this, relative, and exchanged they fit within half of it. */
const swapTold = 0.01;
/** Of a window: mean pressure and mean supply against the set point; the results are corrected for both. */
const conditionWithin = 0.1;
const millilitre = 1e6;

/** Criteria of one window of a first look (RUN-135). */
export function lookCriteria(window: WindowSummary, point: Point, plan: Pick<Plan, 'look' | 'accept'>, pulsesAllowed: number): readonly Criterion[] {
  const duration = window.to - window.from;
  const rule = 'RUN-135';
  const near = (wanted: number) => around(wanted, conditionWithin * wanted);
  return [
    held(rule, 'edges', window.edges, lookEdges, null),
    held(rule, 'length', duration, plan.look.windowS, null),
    held(rule, 'pressure', toKilopascals(window.pressure.mean), ...near(toKilopascals(point.pressure))),
    held(rule, 'supply', window.supply.mean, ...near(point.voltage)),
    held(rule, 'missingFrames', (100 * window.missingFrames) / (window.frames + window.missingFrames), null, plan.accept.missingFramesPercent),
    held(rule, 'pulses', window.pulses, ...around(duration / point.period, pulsesAllowed)),
  ];
}

/** Whether an injector shut after its last pulses (RUN-136): `edges` of the meter in `time` s of nothing driven. */
export function shutCriterion(edges: number, time: number, plan: Pick<Plan, 'look'>, equipment: Equipment): Criterion {
  const perCubicMetre = Math.min(...equipment.meter.kFactor.map((k) => k.edgesPerLitre)) * 1e3;
  const flow = (edges / perCubicMetre / time) * millilitre * 60;
  return held('RUN-136', 'flowAfterPulses', flow, null, plan.look.shutMlMin);
}

/** The windows of an injector that count, by their place in the look. */
export interface LookedAt {
  readonly injector: number;
  readonly points: readonly Point[];
  readonly windows: readonly WindowSummary[];
}

export interface LookJudgement {
  readonly injector: number;
  readonly passed: boolean;
  readonly criteria: readonly Criterion[];
  /** What failed, in a sentence; where nothing did, what was found. */
  readonly text: string;
}

interface Found {
  readonly injector: number;
  readonly type: string;
  readonly serialNumber: string;
  /** Given coil resistance, at 20 degC; null: none. `registered`: it is this injector's own. */
  readonly given: number | null;
  readonly registered: boolean;
  /** Ohm at 20 degC, harness and warmth of the coil included; null: the controller states no current. */
  readonly ohm: number | null;
  /** Static flow kg/s, slope of the two widths over it, and dead time, s; null: no mass. */
  readonly flow: { readonly static: number; readonly slopePart: number; readonly deadTime: number } | null;
  /** Worst relative standard deviation of the flow of the parts of a window. */
  readonly scatter: number;
}

/** Judges every injector that was looked at, against what is known of it and against the others (RUN-137 to RUN-141). */
export function judgeLooks(plan: Plan, equipment: Equipment, looked: readonly LookedAt[]): readonly LookJudgement[] {
  const all = looked.map((one) => findings(plan, equipment, one));
  const ratios = all.flatMap(({ ohm, given }) => (ohm === null || given === null ? [] : [ohm / given]));
  // In logarithms: of two that are exchanged one ratio is the inverse of the other, and they have nothing in common.
  const middle = ratios.length < 2 ? null : clamp(Math.exp(median(ratios.map((ratio) => Math.log(ratio)))), 1, warmest);
  const common = ratios.length >= enoughKnown ? middle : null;
  const swapped = swaps(all, middle);
  return all.map((found, i) => {
    const others = all.filter(({ type }) => type === found.type);
    const criteria = [coil(plan, found, others, common), ...flows(plan, found, others, looked[i]), scatter(plan, found), ...(swapped.get(found.injector) ?? [])];
    const failed = criteria.filter(({ passed }) => !passed);
    const said = (failed.length === 0 ? criteria : failed).map(({ text }) => text).join('; ');
    return { injector: found.injector, passed: failed.length === 0, criteria, text: said };
  });
}

function findings(plan: Plan, equipment: Equipment, { injector, points, windows }: LookedAt): Found {
  const of = plan.injectors[injector];
  const part = (name: 'held' | 'short' | 'long') => {
    const place = points.findIndex((point) => lookPart(point) === name);
    return { point: points[place], window: windows[place] };
  };
  const massOf = (name: 'held' | 'short' | 'long'): { readonly mass: number; readonly point: Point } | null => {
    const { point, window } = part(name);
    const result = point === undefined || window === undefined ? null : massPerPulse(point, window, equipment, plan.reduction, null);
    return result?.kind === 'mass' && point !== undefined ? { mass: result.mass, point } : null;
  };
  const held = part('held').window;
  const [still, shorter, longer] = [massOf('held'), massOf('short'), massOf('long')];
  let flow: Found['flow'] = null;
  if (still !== null && shorter !== null && longer !== null) {
    const slope = (longer.mass - shorter.mass) / (longer.point.width - shorter.point.width);
    flow = { static: still.mass / still.point.period, slopePart: slope / (still.mass / still.point.period), deadTime: shorter.point.width - shorter.mass / slope };
  }
  return {
    injector,
    type: of?.type ?? '',
    serialNumber: of?.serialNumber ?? '',
    given: of?.coilResistanceOhm ?? ohmOfType(plan, of?.type ?? ''),
    registered: of?.coilResistanceOhm !== undefined,
    ohm:
      held?.current === undefined || held.current.mean <= 0
        ? null
        : held.supply.mean / held.current.mean / (1 + copperPerKelvin * (held.railTemperature.mean - celsius(20))),
    flow,
    scatter: Math.max(0, ...windows.map(({ partRates }) => relativeSd(partRates))),
  };
}

/** RUN-137. */
function coil({ look }: Plan, found: Found, others: readonly Found[], common: number | null): Criterion {
  const rule = 'RUN-137';
  const { ohm, given } = found;
  const within = look.resistancePercent / 100;
  if (ohm === null) return { rule, passed: true, text: 'coil resistance not known, because the current is not' };
  if (given !== null) {
    const off = common === null ? clampedOff(ohm / given) : ohm / given / common - 1;
    const shown = common === null ? ohm : ohm / common;
    return { rule, passed: Math.abs(off) <= within, text: `coil ${shown.toFixed(2)} ohm at 20 degC, ${given} ohm +/- ${look.resistancePercent} % ${found.registered ? 'in the list of injectors' : 'for the type'}` };
  }
  const known = others.flatMap((other) => (other.ohm === null ? [] : [other.ohm]));
  if (known.length < 2) return { rule, passed: true, text: `coil about ${ohm.toFixed(2)} ohm at 20 degC, nothing to hold it against` };
  const middle = median(known);
  return { rule, passed: Math.abs(ohm / middle - 1) <= within, text: `coil about ${ohm.toFixed(2)} ohm at 20 degC, the ${known.length} of its type ${middle.toFixed(2)} ohm +/- ${look.resistancePercent} %` };
}

/** How far outside 1 to `warmest`. */
const clampedOff = (ratio: number): number => ratio / clamp(ratio, 1, warmest) - 1;

/** RUN-138, RUN-139. */
function flows(plan: Plan, found: Found, others: readonly Found[], looked: LookedAt | undefined): readonly Criterion[] {
  const { look } = plan;
  const { flow } = found;
  if (flow === null) return [{ rule: 'RUN-138', passed: false, text: 'no flow could be told from its windows' }];
  const gPerMin = (kgPerS: number) => (kgPerS * 6e4).toFixed(1);
  const within = look.flowPercent / 100;
  const pressure = looked?.points[0]?.pressure ?? Number.NaN;
  const known = others.flatMap((other) => (other.flow === null ? [] : [other.flow.static]));
  const stated = statedStaticFlow(ofType(plan, found.type)) ?? statedStaticFlow(look);
  const nominal = stated === null ? null : flowAtPressure(stated, pascals(pressure));
  const against = nominal ?? (known.length < 2 ? null : median(known));
  const short = looked?.points.find((point) => lookPart(point) === 'short')?.width ?? Number.NaN;
  return [
    {
      rule: 'RUN-138',
      passed: against === null || Math.abs(flow.static / against - 1) <= within,
      text: `static flow ${gPerMin(flow.static)} g/min, ${against === null ? 'nothing to hold it against' : `${gPerMin(against)} g/min +/- ${look.flowPercent} % ${nominal === null ? `as the ${known.length} of its type` : 'for the type'}`}`,
    },
    {
      rule: 'RUN-139',
      passed: Math.abs(flow.slopePart - 1) <= within && flow.deadTime > 0 && flow.deadTime < short,
      text: `flow for each millisecond of pulse ${(100 * flow.slopePart).toFixed(1)} % of the static flow, 100 % +/- ${look.flowPercent} % wanted, with a dead time of ${(1e3 * flow.deadTime).toFixed(2)} ms`,
    },
  ];
}

/** RUN-140. */
function scatter({ look }: Plan, found: Found): Criterion {
  return held('RUN-140', 'flowScatter', 100 * found.scatter, null, look.scatterPercent);
}

/** Pairs whose coils fit each other's place in the register and not their own (RUN-141). */
function swaps(all: readonly Found[], common: number | null): ReadonlyMap<number, readonly Criterion[]> {
  const swapped = new Map<number, readonly Criterion[]>();
  if (common === null) return swapped;
  const known = all.flatMap(({ registered, given, ohm, ...rest }) => (registered && given !== null && ohm !== null ? [{ ...rest, given, ohm: ohm / common }] : []));
  const off = (ohm: number, given: number) => Math.log(ohm / given);
  for (const [i, one] of known.entries()) {
    for (const other of known.slice(i + 1)) {
      const own = [off(one.ohm, one.given), off(other.ohm, other.given)] as const;
      const exchanged = Math.max(Math.abs(off(one.ohm, other.given)), Math.abs(off(other.ohm, one.given)));
      if (own[0] * own[1] >= 0 || Math.min(Math.abs(own[0]), Math.abs(own[1])) < swapTold || exchanged > swapTold / 2) continue;
      const text = (mine: typeof one, theirs: typeof one) =>
        `coil ${mine.ohm.toFixed(2)} ohm at 20 degC is that of ${theirs.serialNumber} (${theirs.given} ohm) and not its own (${mine.given} ohm), and the other way round: the two hang on each other's channel`;
      swapped.set(one.injector, [{ rule: 'RUN-141', passed: false, text: text(one, other) }]);
      swapped.set(other.injector, [{ rule: 'RUN-141', passed: false, text: text(other, one) }]);
    }
  }
  return swapped;
}

function relativeSd(values: readonly number[]): number {
  if (values.length < 2) return 0;
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  return Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (values.length - 1)) / mean;
}

const clamp = (value: number, low: number, high: number): number => Math.min(high, Math.max(low, value));
