/**
 * How much each window counts (RED-81). A window far from its repeats counts less, and not at all where it is a gross error; so one
 * bad window in a hundred does not make every interval several times as wide, nor bend a line. None is left out in silence:
 * the reduction names every window that counts for less than half.
 */
import { median, pairDisagrees, replicateWeights, weightOf } from '../statistics/robust.ts';
import type { Cell, FittedCell, WidthMean } from './cell.ts';
import type { LineObservation } from './line.ts';
import type { LightWindow } from './reduction.ts';
import { fitLine } from './regression.ts';
import { varianceOfWindow } from './variance-model.ts';
import type { VarianceModel } from './variance-model.ts';

/** What lies no farther from the line through its neighbours than this may belong to a curve that bends; relative to the mass. */
const bendOfNeighbours = 0.01;
/** ...or by so many standard deviations of one window. */
const scatterOfNeighbours = 6;

export function widthMeansOf({ groups }: Cell, model: VarianceModel): readonly WidthMean[] {
  const means = groups.map((g) => widthMeanOf(g, model, null));
  return means.map((own, i) => {
    if (!isDisputed(own)) return own;
    const group = groups[i];
    const expected = throughNeighbours(means, i);
    if (group === undefined || expected === null) return own;
    const sd = Math.sqrt(own.windows[0]?.variance ?? 0);
    const near = Math.max(scatterOfNeighbours * sd, bendOfNeighbours * Math.abs(expected));
    const fits = group.observed.map((o) => Math.abs(o.mass - expected) <= near);
    // Two of three may be wrong, and of two either: then the widths beside this one tell which.
    if (!fits.includes(true) || !fits.includes(false) || (!own.disagrees && Math.abs(own.mean - expected) <= near)) return own;
    return widthMeanOf(group, model, fits);
  });
}

const isDisputed = (of: WidthMean): boolean => of.disagrees || of.windows.some((w) => w.weight === 0);

/** Height at width `i` of the line through the two nearest widths that nobody disputes, kg; null: there are no two. */
function throughNeighbours(means: readonly WidthMean[], i: number): number | null {
  const at = means[i]?.width ?? Number.NaN;
  const others = means.filter((m, j) => j !== i && !isDisputed(m));
  const [a, b] = others.toSorted((p, q) => Math.abs(p.width - at) - Math.abs(q.width - at));
  return a === undefined || b === undefined ? null : a.mean + ((b.mean - a.mean) / (b.width - a.width)) * (at - a.width);
}

/** `fits`: which of the windows the widths beside them speak for; null: not asked. */
function widthMeanOf({ width, observed }: Cell['groups'][number], model: VarianceModel, fits: readonly boolean[] | null): WidthMean {
  const masses: number[] = [];
  for (const o of observed) masses.push(o.mass);
  const middle = median(masses);
  const variances: number[] = [];
  let most = Number.NEGATIVE_INFINITY;
  for (const o of observed) {
    const variance = varianceOfWindow(model, o.outcome, o.mass, middle);
    variances.push(variance);
    most = Math.max(most, variance);
  }
  // The largest of them: a window that its own timing makes uncertain is no gross error.
  const sd = Math.sqrt(most);
  const weights = fits === null ? replicateWeights(masses, sd, middle) : fits.map((fit) => (fit ? 1 : 0));
  const disagrees = fits === null && pairDisagrees(masses, sd);
  let sum = 0;
  let count = 0;
  let precision = 0;
  const windows: WidthMean['windows'][number][] = [];
  for (let i = 0; i < variances.length; i += 1) {
    const weight = weights[i] ?? 1;
    const variance = variances[i] as number;
    sum += weight * (masses[i] ?? 0);
    count += weight;
    precision += weight / variance;
    windows.push({ variance, weight });
  }
  const half = ((masses[0] ?? 0) - (masses[1] ?? 0)) / 2;
  return { width, mean: sum / count, variance: disagrees ? Math.max(1 / precision, half * half) : 1 / precision, windows, disagrees };
}

/** With fewer windows about a line than this, one that lies off it draws the line to itself. */
const enoughAboutLine = 6;
const rounds = 4;
/** Median of |z| of a normal variable. */
const medianOfNormal = 0.6745;

/**
 * Weights of the windows of a line. Those with two repeats or more keep the weights that their repeats give them. Of a pair that
 * disagrees, and of windows that stand alone, the line tells: by distance from it over their scatter, or over that of all windows
 * about the line where this is larger, so that a width that is off the line because the line bends keeps its weight.
 */
export function aboutLine(observations: readonly LineObservation[], told: readonly boolean[]): readonly LineObservation[] {
  if (observations.length < enoughAboutLine || !told.includes(true)) return observations;
  const n = observations.length;
  const widths: number[] = [];
  const masses: number[] = [];
  const weights: number[] = [];
  for (const { width, mass, weight } of observations) {
    widths.push(width);
    masses.push(mass);
    weights.push(weight);
  }
  for (let round = 0; round < rounds; round += 1) {
    const fit = fitLine(widths, masses, observations.map((o, i) => (weights[i] ?? 1) / o.variance), 'known');
    const distances = new Array<number>(n);
    const sizes = new Float64Array(n);
    for (let i = 0; i < n; i += 1) {
      const { mass, width, variance } = observations[i] as LineObservation;
      const distance = (mass - fit.meanY - fit.slope * (width - fit.meanX)) / Math.sqrt(variance);
      distances[i] = distance;
      sizes[i] = Math.abs(distance);
    }
    const spread = (median(sizes) / medianOfNormal) * Math.sqrt(n / (n - 2));
    const scale = Math.max(1, spread);
    for (let i = 0; i < n; i += 1) if (told[i] === true) weights[i] = weightOf((distances[i] as number) / scale);
    if (weights.every((weight) => weight === 1)) break;
    // Two widths at least must be left to go through.
    if (new Set(widths.filter((_, i) => (weights[i] ?? 0) > 0)).size < 3) return observations;
  }
  return observations.map((o, i) => (weights[i] === o.weight ? o : { ...o, weight: weights[i] ?? 1 }));
}

/** A window that counts for less is named. */
const light = 0.5;

/** The windows of a line, or of a cell without one, that count for little. */
export function lightWindowsOf(fitted: FittedCell): readonly LightWindow[] {
  if (fitted.kind === 'no-line') return [];
  const { cell, widthMeans, used, observations, line } = fitted;
  if (observations.every((o) => o.weight >= light) && widthMeans.every((m) => !m.disagrees && m.windows.every((w) => w.weight >= light))) return [];
  const inLine = new Map(used.map((o, i) => [o, observations[i]?.weight ?? 1] as const));
  return cell.groups.flatMap(({ width, observed }, i) => {
    const { mean, windows, disagrees } = widthMeans[i] ?? { mean: Number.NaN, windows: [], disagrees: false };
    const alone = observed.length === 1;
    return observed.flatMap((o, j): LightWindow[] => {
      const weight = inLine.get(o) ?? windows[j]?.weight ?? 1;
      if (weight >= light && !disagrees) return [];
      const expected = alone || disagrees ? line.slope * (width - line.deadTime) : mean;
      return [{ point: o.source.point, attempt: o.source.attempt, weight, mass: o.mass, expected, against: disagrees ? 'pair' : alone ? 'line' : 'repeats' }];
    });
  });
}
