/**
 * How far the bench stood from its mean over the run when a result was measured, by its reference point: an error that is left in, with its size and
 * its sign, and what the reference point does not tell of it. Pure; relative to the masses. RED-83, RED-144, RED-145
 */
import type { Plan } from '../plan/plan.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import { referencesOf } from './bench-drift.ts';
import { typeOfInjector } from './cell.ts';
import { grouped } from './cells.ts';
import type { FittedLine, OnInjector } from './effects.ts';
import { followedDrift } from './local-level.ts';
import type { Stage } from './local-level.ts';
import type { ReducedWindow, Reduction } from './reduction.ts';

/** A window, and by how much of itself it is in a result. */
interface Weighed {
  readonly source: ReducedWindow;
  readonly weight: number;
  /** Its place in the order of measuring; absent: as it was handed over with the reference points. */
  readonly order?: number;
}

/** One error, and what it does to a result, relative: for one standard uncertainty of it, or by its size. */
interface BiasPart {
  readonly source: ErrorSource;
  readonly relative: number;
}

/** Weights of windows by when they were measured. */
type OverRun = Float64Array;

export interface BenchBias {
  readonly overRun: (windows: readonly Weighed[]) => OverRun;
  /** The parts of a result of such weights, which are 1 in all. `place`: what was measured together with it. */
  readonly partsOf: (place: string, weights: OverRun) => readonly BiasPart[];
}

const nothing = new Float64Array(0);

/** Nothing is known of it, or nothing is held for it. */
export const noBias: BenchBias = { overRun: () => nothing, partsOf: () => [] };

/** The same for all: what is not known of the drift that was taken off. RED-132 */
export const biasOf = (u: number): BenchBias => (u === 0 ? noBias : { overRun: () => nothing, partsOf: (place) => [{ source: errorSource('bench-drift', place), relative: u }] });

const ofCourse = errorSource('bench-course');
/** Windows between two reference points are put to the nearest of so many places from the one to the next. */
const places = 8;

/** As `referencesOf` has the reference points; nothing where these are too few. `orders`: rises in the order of measuring. */
export function benchBiasOf(windows: readonly ReducedWindow[], scatter: Reduction['scatter'], orders: ReadonlyMap<ReducedWindow, number>): BenchBias {
  const known = referencesOf(windows, scatter, orders);
  if (known === null) return noBias;
  const mean = known.reduce((sum, k) => sum + k.mass, 0) / known.length;
  const stages = known.map((one): Stage => ({ at: one.order, reading: { value: one.mass / mean - 1, variance: one.sd * one.sd }, jump: 0 }));
  const { sum, steps, steadily } = followedDrift(stages);
  // So few of them tell the size of its steps (RED-71 likewise); of a steady drift all windows tell what its points scatter by.
  const few = Math.sqrt(steadily + (1 - steadily) * (coverageFactor(known.length - 1) / coverageFactor(Number.POSITIVE_INFINITY)) ** 2);
  return {
    overRun: (list) => {
      const weights = new Float64Array((stages.length - 1) * places + 1);
      for (const { source, weight, order = orders.get(source) ?? source.point } of list) {
        const place = placeOf(stages, order);
        weights[place] = (weights[place] ?? 0) + weight;
      }
      return weights;
    },
    partsOf: (place, weights) => {
      const { levels, between } = split(weights, steps);
      const { mean: bias, variance } = sum(levels);
      return [
        { source: ofCourse, relative: bias },
        { source: errorSource('bench-drift', place), relative: few * Math.sqrt(variance + between) },
      ].filter(({ relative }) => relative !== 0);
    },
  };
}

/** Where on the way from one reference point to the next; before the first and after the last the bench stands where they left it. */
function placeOf(stages: readonly Stage[], order: number): number {
  let [low, high] = [0, stages.length - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if ((stages[middle]?.at ?? 0) <= order) low = middle;
    else high = middle;
  }
  const [from, to] = [stages[low]?.at ?? 0, stages[high]?.at ?? 0];
  return low * places + Math.round(places * Math.min(1, Math.max(0, (order - from) / (to - from))));
}

/**
 * Weights of the levels at the reference points, straight in between, less the mean of them all; and the variance that stays where the bench went from one level to the
 * next nobody knows how: as it wanders or jumps, s (1 - t) of the mean square of the step at two places s before t on the way.
 */
function split(weights: OverRun, steps: readonly number[]): { readonly levels: Float64Array; readonly between: number } {
  const levels = new Float64Array(steps.length + 1);
  let sum = 0;
  let between = 0;
  for (let gap = 0; gap < steps.length; gap += 1) {
    let moment = 0;
    let squares = 0;
    for (let i = gap === 0 ? 0 : 1; i <= places; i += 1) {
      const weight = weights[gap * places + i] ?? 0;
      if (weight === 0) continue;
      const share = i / places;
      sum += weight;
      levels[gap] = (levels[gap] ?? 0) + weight * (1 - share);
      levels[gap + 1] = (levels[gap + 1] ?? 0) + weight * share;
      squares += weight * (weight * share + 2 * moment);
      moment += weight * share;
    }
    between += (steps[gap] ?? 0) * Math.max(0, squares - moment * moment);
  }
  for (let i = 0; i < levels.length; i += 1) levels[i] = (levels[i] ?? 0) - sum / levels.length;
  return { levels, between };
}

/**
 * What it does to each line: to its slope as its windows make it and as it leans on those of other voltages and injectors (RED-23), and to no dead time. By the key of the cell.
 */
export function biasOfLines(lines: readonly FittedLine[], plan: Pick<Plan, 'injectors'>, bias: BenchBias): ReadonlyMap<string, readonly OnInjector[]> {
  const parts = new Map<string, readonly OnInjector[]>();
  if (bias === noBias) return parts;
  for (const ofType of grouped(lines, ({ cell: { at } }) => `${typeOfInjector(plan, at)}|${at.pressure}|${at.period}`)) {
    const own = new Map(ofType.map((f) => [f, bias.overRun(tilts(f))]));
    const of = (f: FittedLine): OverRun => own.get(f) ?? nothing;
    // What all have in common at a voltage, beside all voltages.
    const atVoltage = new Map(grouped(ofType, (f) => String(f.cell.at.voltage)).map((members) => [members[0].cell.at.voltage, sumOf(members.map((f) => [1 / members.length, of(f)]))]));
    const apart = sumOf([...atVoltage.values()].map((one) => [1 / atVoltage.size, one]));
    const moved = ({ line: { slopeFrom }, cell: { at } }: FittedLine, factor: number): readonly Term[] => [[factor * slopeFrom.common, atVoltage.get(at.voltage) ?? nothing], [-factor * slopeFrom.common, apart]];
    for (const members of grouped(ofType, ({ cell: { at } }) => String(at.injector))) {
      const mean = sumOf(members.flatMap((m): readonly Term[] => (m.line.slopeFrom.from === 'own' ? [] : [[m.line.slopeFrom.weight, of(m)], ...moved(m, -m.line.slopeFrom.weight)])));
      for (const f of members) {
        const { slopeFrom, slope } = f.line;
        const leans = slopeFrom.from === 'own' ? 0 : 1 - slopeFrom.own;
        const weights = leans === 0 ? of(f) : sumOf([[1 - leans, of(f)], [leans, mean], ...moved(f, leans)]);
        parts.set(f.cell.key, bias.partsOf(`lines at ${f.cell.at.pressure} Pa`, weights).map(({ source, relative }) => ({ source, onDeadTime: 0, onSlope: slope * relative })));
      }
    }
  }
  return parts;
}

type Term = readonly [factor: number, of: OverRun];

function sumOf(terms: readonly Term[]): OverRun {
  const sum = new Float64Array(terms[0]?.[1].length ?? 0);
  for (const [factor, of] of terms) {
    if (factor === 0) continue;
    for (let i = 0; i < sum.length; i += 1) sum[i] = (sum[i] ?? 0) + factor * (of[i] ?? 0);
  }
  return sum;
}

/** By how much of itself each window is in the slope of its line; 1 in all. */
function tilts({ used, observations, line }: FittedLine): readonly Weighed[] {
  const weights = observations.map((o) => ((o.weight * (o.width - line.fit.meanX)) / o.variance) * o.mass);
  let sum = 0;
  for (const weight of weights) sum += weight;
  return used.map(({ source, order }, i) => ({ source, order, weight: (weights[i] ?? 0) / sum }));
}
