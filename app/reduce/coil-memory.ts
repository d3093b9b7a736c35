/**
 * What coils remember of the windows before: a coil of first order follows the power of its pulses late, so how warm it was in a window depends on
 * what its channel was driven with before. Where widths were measured in a shuffled order that differs from the width of the window, and the
 * windows' distances from their lines tell how warm a watt makes it and how late; what it is then late by is taken off. RED-130, RED-131
 */
import { coilHeatOf } from '../plan/coil-of-type.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { goesOnUnpurged } from '../plan/purge.ts';
import { typicalDeadTime } from '../plan/typical.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { errorSource } from '../uncertainty/source.ts';
import { typeOfInjector } from './cell.ts';
import { grouped } from './cells.ts';
import type { FittedLine, OnInjector } from './effects.ts';
import { coilOf, coilToBeTold, ohmOf, powerAfterRise, riseOf, usualCoil, usualRise } from './coil-thermal.ts';
import type { OfCoil, Rise } from './coil-thermal.ts';
import type { CoilLag, ReducedWindow } from './reduction.ts';

interface Driven {
  readonly reduced: ReducedWindow;
  readonly window: WindowSummary;
  readonly order: number;
}

/** Time constants between which a coil's may lie, s, each as likely before the run: from the copper alone to winding, bobbin and body together. An estimate. */
const anyTimeConstant = [0.5, 1, 2, 4, 8, 16, 32, 64];
/** Three places of a normal distribution that stand for all of it to the fifth power (Gauss and Hermite), in standard deviations, with their weights. */
const ofNormal = [
  { at: -Math.sqrt(3), chance: 1 / 6 },
  { at: 0, chance: 2 / 3 },
  { at: Math.sqrt(3), chance: 1 / 6 },
];
/** A time constant is told of that is at least so likely. */
const likelyChance = 0.05;
/** A controller whose clock went back by more than this was reset: nothing is known of what was before. */
const resetS = 5;

/** Whether lateness of the coils of a type is told from the windows and taken off: in a shuffled order, or where the plan says what they are like. RED-130 */
const tellsMemory = (plan: Plan, type: string): boolean => plan.sequence.kind === 'shuffled' || coilHeatOf(plan, type) !== null;

/** Time constants, s, and the chance of each before the run. */
function timeConstantsOf(plan: Plan, type: string): readonly { readonly tau: number; readonly chance: number }[] {
  const heat = coilHeatOf(plan, type);
  if (heat === null) return anyTimeConstant.map((tau) => ({ tau, chance: 1 / anyTimeConstant.length }));
  const { timeConstantS, uTimeConstantS: uncertaintyTimeConstantS } = heat;
  if (uncertaintyTimeConstantS === 0) return [{ tau: timeConstantS, chance: 1 }];
  // Log-normal: a time constant is positive.
  const spread = Math.sqrt(Math.log(1 + (uncertaintyTimeConstantS / timeConstantS) ** 2));
  return ofNormal.map(({ at, chance }) => ({ tau: timeConstantS * Math.exp(spread * at), chance }));
}

/** By type, for those of which it is told; none: of no type. `windows`: all of the run, in any order. */
export function coilMemories(plan: Plan, windows: readonly Driven[]): ReadonlyMap<string, CoilMemory> {
  const types = [...new Set(plan.injectors.map((injector) => injector.type))].filter((type) => tellsMemory(plan, type));
  if (types.length === 0) return new Map();
  const unpurged = unpurgedOf(plan, windows);
  return new Map(types.map((type) => [type, new CoilMemory(plan, type, windows.filter(({ reduced: { at } }) => typeOfInjector(plan, at) === type), unpurged)]));
}

/** Windows without a purge before them: those of a first look; and where the plan purges for another injector alone, those whose injector was driven just before (RUN-230, PLAN-110). */
function unpurgedOf(plan: Plan, windows: readonly Driven[]): ReadonlySet<ReducedWindow> {
  const looks = windows.filter(({ reduced: { at } }) => at.role === 'look');
  const driven = windows.filter(({ reduced: { at } }) => at.role !== 'zero').toSorted((a, b) => a.order - b.order);
  return new Set([...looks, ...driven.filter(({ reduced: { at } }, i) => goesOnUnpurged(plan, driven[i - 1]?.reduced.at.channel ?? null, at.channel))].map((w) => w.reduced));
}

/** Watts by which each window's coil stood off the settled warmth of its own pulses, for each time constant: less than 0, it was still cooler. */
export class CoilMemory {
  readonly timeConstants: readonly { readonly tau: number; readonly chance: number }[];
  readonly #places = new Map<ReducedWindow, number>();
  readonly #watts: readonly Float64Array[];
  readonly #more: readonly Float64Array[];

  /** `windows`: all of the injectors of the type, in any order. */
  constructor(plan: Plan, type: string, windows: readonly Driven[], unpurged: ReadonlySet<ReducedWindow>) {
    this.timeConstants = timeConstantsOf(plan, type);
    const driven = windows.filter(({ reduced: { at } }) => at.role !== 'zero').toSorted((a, b) => a.order - b.order);
    driven.forEach(({ reduced }, i) => this.#places.set(reduced, i));
    const rises = risesOf(driven);
    const course = (times: number): readonly Float64Array[] => this.timeConstants.map(({ tau }) => courseOf(plan, driven, tau, unpurged, rises.map(({ value, u }) => value + times * u)));
    this.#watts = course(0);
    this.#more = course(1);
  }

  /** W; 0 for a window that nothing is known of. */
  wattsOf(window: ReducedWindow, candidate: number): number {
    return this.#watts[candidate]?.[this.#places.get(window) ?? -1] ?? 0;
  }

  /** W: by how much that changes where the current rises later by a standard uncertainty. */
  ofRise(window: ReducedWindow, candidate: number): number {
    return (this.#more[candidate]?.[this.#places.get(window) ?? -1] ?? 0) - this.wattsOf(window, candidate);
  }
}

/** How long the current rises in each window, in their order: told by the current of all windows of its injector at its voltage. RED-175 */
function risesOf(driven: readonly Driven[]): readonly Rise[] {
  const rises = new Map<Driven, Rise>();
  for (const members of grouped(driven, ({ reduced: { at } }) => `${at.injector}|${at.voltage}`)) {
    const deadTime = typicalDeadTime(members[0].reduced.at.voltage);
    const told = riseOf(members.flatMap(({ reduced: { at }, window: { current } }) => (current === undefined ? [] : [{ width: at.width, period: at.period, mean: current.mean }])), deadTime) ?? usualRise(deadTime);
    for (const one of members) rises.set(one, told);
  }
  return driven.map((one) => rises.get(one) ?? usualRise(typicalDeadTime(one.reduced.at.voltage)));
}

/** By time constant: a rest, the purge, the settling and the window each lead the coil towards the warmth of their own pulses. */
function courseOf(plan: Plan, driven: readonly Driven[], tau: number, unpurged: ReadonlySet<ReducedWindow>, rises: readonly number[]): Float64Array {
  const course = new Float64Array(driven.length);
  const coils = new Map<number, { watts: number; until: number }>();
  const purgeS = plan.purge.pulses * plan.purge.periodMs * 1e-3;
  const [afterPurge, afterSettling] = [Math.exp(-purgeS / tau), Math.exp(-plan.settleS / tau)];
  const resistance = plan.injectors.map((_, injector) => ohmOf(plan, injector));
  driven.forEach(({ reduced, window }, i) => {
    const { at } = reduced;
    const coil = coils.get(at.channel) ?? { watts: 0, until: Number.NEGATIVE_INFINITY };
    coils.set(at.channel, coil);
    const ohm = resistance[at.injector] ?? Number.NaN;
    const rise = rises[i] ?? Number.NaN;
    const purged = unpurged.has(reduced) ? 0 : purgeS;
    const rest = window.from - plan.settleS - purged - coil.until;
    let watts = rest < -resetS ? 0 : coil.watts * Math.exp(-Math.max(0, rest) / tau);
    if (purged > 0) {
      const ofPurge = powerAfterRise({ voltage: at.voltage, width: plan.purge.widthMs * 1e-3, period: plan.purge.periodMs * 1e-3 }, ohm, rise);
      watts = ofPurge + (watts - ofPurge) * afterPurge;
    }
    const settled = powerAfterRise(at, ohm, rise);
    const off = (watts - settled) * afterSettling;
    const length = window.to - window.from;
    const left = Math.exp(-length / tau);
    course[i] = length > 0 ? (off * tau * (1 - left)) / length : off;
    coil.watts = settled + off * left;
    coil.until = window.to;
  });
  return course;
}

/** What the windows of a run say of the coils of each type, and what is done with it. */
export interface Lateness {
  readonly lags: readonly CoilLag[];
  /** By how much later a window opened than the settled warmth of its own pulses would have had it, s; `byTemperature`: of its cell, s/K. */
  readonly delayOf: (window: ReducedWindow, byTemperature: number) => number;
  /** What is not known of it, as a part of a line's dead time and slope; null: of its type nothing is told. */
  readonly partOf: (line: FittedLine, byTemperature: number) => readonly OnInjector[] | null;
}

/** A line's windows before anything is taken off: how far each lies off it, s of pulse width, the later it opens the more; and what a kelvin does to the dead time, s/K, with its uncertainty. */
interface OffLine {
  readonly off: readonly number[];
  readonly byTemperature: number;
  readonly uByTemperature: number;
}

/** Of one candidate at one voltage: what a watt does to dead times beyond the kelvins that it makes, s/W. */
interface BesideModel {
  readonly more: number;
  readonly u: number;
}

/** `memories` by type: of a type that has none nothing is told. */
export function latenessOf(plan: Plan, memories: ReadonlyMap<string, CoilMemory>, lines: readonly FittedLine[], of: (line: FittedLine) => OffLine): Lateness {
  const typeOf = (at: Point): string => typeOfInjector(plan, at);
  const placeOf = (at: Point): string => `${typeOf(at)}|${at.voltage}`;
  const told = new Map<string, { readonly lag: CoilLag; readonly memory: CoilMemory }>();
  const beside = new Map<string, readonly BesideModel[]>();
  for (const members of grouped(lines, ({ cell }) => typeOf(cell.at))) {
    const type = typeOf(members[0].cell.at);
    const memory = memories.get(type);
    if (memory === undefined) continue;
    const sums = members.map((line) => sumsOf(line, memory, of(line)));
    const lag = lagOf(type, plan, memory, sums);
    told.set(type, { lag, memory });
    for (const here of grouped(sums, ({ at }) => placeOf(at))) {
      const [one] = here;
      beside.set(placeOf(one.at), lag.candidates.map((c, i) => besideOf(c, here, i)));
    }
  }
  return {
    lags: [...told.values()].map(({ lag }) => lag),
    delayOf: told.size === 0 ? () => 0 : (window, byTemperature) => {
      const own = told.get(typeOf(window.at));
      if (own === undefined) return 0;
      const here = beside.get(placeOf(window.at));
      return own.lag.candidates.reduce((sum, c, i) => sum + c.chance * (c.kelvinPerWatt * byTemperature + (here?.[i]?.more ?? 0)) * own.memory.wattsOf(window, i), 0);
    },
    partOf: (line, byTemperature) => {
      const own = told.get(typeOf(line.cell.at));
      return own === undefined ? null : unknownOf(own.lag, beside.get(placeOf(line.cell.at)) ?? [], own.memory, line, byTemperature);
    },
  };
}

/** For each time constant, of one line: weighted product of the windows' distances with the watts that they were late by, and squares of these, beside height and slope of the line. */
interface Sums {
  readonly at: Point;
  readonly byTemperature: number;
  readonly uByTemperature: number;
  readonly candidates: readonly { readonly product: number; readonly squares: number }[];
}

function sumsOf(line: FittedLine, memory: CoilMemory, { off, byTemperature, uByTemperature }: OffLine): Sums {
  const { weights, fit } = centred(line);
  const { left: distances } = fit(off);
  const candidates = memory.timeConstants.map((_, i) => {
    const { left } = fit(line.used.map((o) => memory.wattsOf(o.source, i)));
    let product = 0;
    let squares = 0;
    left.forEach((one, j) => {
      product += (weights[j] ?? 0) * one * (distances[j] ?? 0);
      squares += (weights[j] ?? 0) * one * one;
    });
    return { product, squares };
  });
  return { at: line.cell.at, byTemperature, uByTemperature, candidates };
}

/** What a kelvin does to the dead time is known to some tenths (RED-18): so far the windows of a voltage may say something else of a watt than those of all. */
function besideOf({ kelvinPerWatt }: CoilLag['candidates'][number], lines: readonly Sums[], candidate: number): BesideModel {
  let product = 0;
  let squares = 0;
  let allowed = 0;
  for (const { byTemperature, uByTemperature, candidates } of lines) {
    const own = candidates[candidate];
    product += (own?.product ?? 0) - kelvinPerWatt * byTemperature * (own?.squares ?? 0);
    squares += own?.squares ?? 0;
    allowed += (kelvinPerWatt * uByTemperature) / lines.length;
  }
  if (allowed === 0) return { more: 0, u: 0 };
  const precision = squares + 1 / (allowed * allowed);
  return { more: product / precision, u: 1 / Math.sqrt(precision) };
}

/** Weights of the windows of a line, and a way to take out of any number of them what height and slope of the line take up. */
function centred({ line, observations }: FittedLine): { readonly weights: readonly number[]; readonly fit: (of: readonly number[]) => { readonly mean: number; readonly slope: number; readonly left: readonly number[] } } {
  const weights = observations.map((o) => (o.weight * line.slope * line.slope) / o.variance / line.fit.scale);
  const sum = weights.reduce((a, b) => a + b, 0);
  const x = observations.map((o) => o.width);
  const meanX = x.reduce((a, w, i) => a + w * (weights[i] ?? 0), 0) / sum;
  const sxx = x.reduce((a, w, i) => a + (weights[i] ?? 0) * (w - meanX) ** 2, 0);
  return {
    weights,
    fit: (of) => {
      let mean = 0;
      let sxy = 0;
      of.forEach((one, i) => {
        mean += ((weights[i] ?? 0) * one) / sum;
        sxy += (weights[i] ?? 0) * one * ((x[i] ?? 0) - meanX);
      });
      const slope = sxx > 0 ? sxy / sxx : 0;
      return { mean, slope, left: of.map((one, i) => one - mean - slope * ((x[i] ?? 0) - meanX)) };
    },
  };
}

/**
 * For every time constant the kelvins a watt by least squares of the windows' distances on what their coils were late by, beside height and slope of each line, with
 * what was believed before as one observation more; and how likely each time constant is by how well it explains them (Bayes; averaged over models, Hoeting et al. 1999, from memory).
 */
function lagOf(type: string, plan: Plan, memory: CoilMemory, lines: readonly Sums[]): CoilLag {
  const { kelvinPerWatt: before, u: uBefore } = coilOf(plan, type) ?? coilToBeTold;
  const sums = memory.timeConstants.map((_, i) => {
    let product = 0;
    let squares = 0;
    for (const { byTemperature, candidates } of lines) {
      product += byTemperature * (candidates[i]?.product ?? 0);
      squares += byTemperature * byTemperature * (candidates[i]?.squares ?? 0);
    }
    return { product, squares };
  });
  const prior = uBefore > 0 ? 1 / (uBefore * uBefore) : Number.POSITIVE_INFINITY;
  const found = memory.timeConstants.map(({ tau, chance }, i) => {
    const { product = 0, squares = 0 } = sums[i] ?? {};
    if (prior === Number.POSITIVE_INFINITY) return { tau, kelvinPerWatt: before, u: 0, log: Math.log(chance) + before * product - (before * before * squares) / 2, seen: 0 };
    const precision = squares + prior;
    const kelvinPerWatt = (product + before * prior) / precision;
    return { tau, kelvinPerWatt, u: 1 / Math.sqrt(precision), log: Math.log(chance) + (Math.log(prior / precision) + precision * kelvinPerWatt ** 2 - prior * before ** 2) / 2, seen: squares > 0 ? product / Math.sqrt(squares) : 0 };
  });
  const most = Math.max(...found.map((f) => f.log));
  const all = found.reduce((sum, f) => sum + Math.exp(f.log - most), 0);
  const candidates = found.map(({ tau, kelvinPerWatt, u, log }) => ({ tau, chance: Math.exp(log - most) / all, kelvinPerWatt, u }));
  const best = found.reduce((a, b) => (b.log > a.log ? b : a));
  return { type, candidates, seen: best.seen, stated: coilHeatOf(plan, type) !== null };
}

/** What stays unknown of it does to a line: the mean of its windows' lateness moves its height, its trend over the width turns it. */
function unknownOf({ type, candidates }: CoilLag, beside: readonly BesideModel[], memory: CoilMemory, line: FittedLine, byTemperature: number): readonly OnInjector[] {
  const { fit } = centred(line);
  const toCentre = line.line.fit.meanX - line.line.deadTime;
  const parts = candidates.map(({ chance, kelvinPerWatt, u }, i) => {
    const { mean, slope } = fit(line.used.map((o) => memory.wattsOf(o.source, i)));
    const ofRise = fit(line.used.map((o) => memory.ofRise(o.source, i)));
    const { more, u: uMore } = beside[i] ?? { more: 0, u: 0 };
    return { chance, perWatt: kelvinPerWatt * byTemperature + more, u: Math.hypot(u * byTemperature, uMore), onDeadTime: mean - slope * toCentre, onSlope: -slope, rise: { onDeadTime: ofRise.mean - ofRise.slope * toCentre, onSlope: -ofRise.slope } };
  });
  const spread = (of: 'onDeadTime' | 'onSlope'): number => {
    const mean = parts.reduce((sum, p) => sum + p.chance * p.perWatt * p[of], 0);
    return Math.sqrt(parts.reduce((sum, p) => sum + p.chance * ((p.perWatt * p[of] - mean) ** 2 + (p.u * p[of]) ** 2 + (p.perWatt * p.rise[of]) ** 2), 0));
  };
  const [onDeadTime, onSlope] = [spread('onDeadTime'), spread('onSlope') * line.line.slope];
  // Longer pulses are the ones that are too cool: where the dead time is too long the slope is too steep.
  return onDeadTime === 0 && onSlope === 0 ? [] : [{ source: errorSource('coil-memory', type), onDeadTime, onSlope }];
}

/** K/W of the coils of a type after a run; before it, or where it told less, what the plan or a usual coil has. */
export function warmthOf(plan: Plan, lags: readonly CoilLag[], type: string): OfCoil {
  const before = coilOf(plan, type) ?? usualCoil;
  const told = lags.find((lag) => lag.type === type);
  if (told === undefined) return before;
  const { kelvinPerWatt, u } = averaged(told);
  return u < before.u ? { kelvinPerWatt, u } : before;
}

function averaged({ candidates }: CoilLag): OfCoil {
  const mean = (read: (c: CoilLag['candidates'][number]) => number): number => candidates.reduce((sum, c) => sum + c.chance * read(c), 0);
  const kelvinPerWatt = mean((c) => c.kelvinPerWatt);
  return { kelvinPerWatt, u: Math.sqrt(mean((c) => c.u ** 2 + (c.kelvinPerWatt - kelvinPerWatt) ** 2)) };
}

/** What was found, and what was done with it. */
export function coilLagSentence(lag: CoilLag): string {
  const { type, candidates, seen, stated } = lag;
  const { kelvinPerWatt, u } = averaged(lag);
  const likely = candidates.filter((c) => c.chance > likelyChance).map((c) => Number(c.tau.toPrecision(2)));
  const [least, most] = [Math.min(...likely), Math.max(...likely)];
  const range = least === most ? `${least} s` : `${least} to ${most} s`;
  return (
    `${type}: coils taken for ${kelvinPerWatt.toFixed(2)} ± ${(2 * u).toFixed(2)} K/W (k = 2) with a time constant of ${range}, by ${stated ? 'the plan and ' : ''}what windows were off their lines after longer and shorter pulses (${Math.abs(seen).toFixed(1)} standard uncertainties). ` +
    'What each coil was late by is taken off its windows; what is not known of it is in dead times and slopes.'
  );
}
