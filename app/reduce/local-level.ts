/**
 * A quantity that was looked at now and then and may wander in between: its mean and its uncertainty at each place, from all
 * readings before and after. Local level model: the level walks at random with an unknown step, readings scatter by a known
 * variance (Harvey 1989; Durbin and Koopman 2012). How it wanders is not chosen: not at all, at random by steps of every size,
 * or by one jump at any place, each counts by how well it explains the readings. So a level which is steady is known from all readings
 * together, one that jumped from all on the same side, and one that wanders from those beside the place. RED-42.
 */

export interface Stage {
  /** Place on the axis along which the level wanders, rising. */
  readonly at: number;
  readonly reading: { readonly value: number; readonly variance: number } | null;
  /** Variance by which the level may have stepped since the stage before, beside its wandering. */
  readonly jump: number;
}

/** A weighted sum of levels that is asked for, by the indices of the stages. */
export type Contrast = readonly { readonly stage: number; readonly weight: number }[];

interface Told {
  readonly mean: number;
  readonly variance: number;
}

/** Sizes of step that are tried, each twice the one before. */
const stepSizes = 14;
/** Chance before any reading that the level does not change at all, and that it wanders; the rest: that it jumps once. */
const steady = 0.5;
const wandering = 0.25;

/**
 * What the readings tell of each contrast. At least one stage has a reading with a variance above 0 (throws otherwise).
 */
export const levelsOf = (stages: readonly Stage[], contrasts: readonly Contrast[]): readonly Told[] => followedLevels(stages)(contrasts);

/** The same for contrasts that are asked for one after the other: the readings are gone through once. */
export function followedLevels(stages: readonly Stage[]): (contrasts: readonly Contrast[]) => readonly Told[] {
  const readings = stages.flatMap((s) => (s.reading === null ? [] : [s.reading]));
  if (readings.length === 0) throw new Error('no stage has a reading');
  let precision = 0;
  let sum = 0;
  for (const { value, variance } of readings) {
    precision += 1 / variance;
    sum += value / variance;
  }
  const centre = sum / precision;
  let farthest = 0;
  for (const { value, variance } of readings) farthest = Math.max(farthest, Math.hypot(value - centre, Math.sqrt(variance)));
  const walks = [{ chance: steady, walk: smoothed(stages, 0, centre) }];
  for (let i = 0; i < stepSizes; i += 1) {
    const size = 2 * farthest * 2 ** -i;
    walks.push({ chance: wandering / stepSizes, walk: smoothed(stages, size * size, centre) });
  }
  // A jump between two stages that nothing was read between is the same wherever it lies.
  const places = stages.flatMap((s, i) => (i > 0 && s.reading !== null ? [i] : []));
  for (const place of places) {
    const jumping = stages.map((s, i) => (i === place ? { ...s, jump: s.jump + 4 * farthest * farthest } : s));
    walks.push({ chance: (1 - steady - wandering) / places.length, walk: smoothed(jumping, 0, centre) });
  }
  const likeliest = Math.max(...walks.map((w) => w.walk.logLikelihood));
  const weights = walks.map((w) => w.chance * Math.exp(w.walk.logLikelihood - likeliest));
  const total = weights.reduce((a, b) => a + b, 0);
  return (contrasts) => contrasts.map((contrast) => {
    let mean = 0;
    let square = 0;
    for (let i = 0; i < walks.length; i += 1) {
      const share = (weights[i] ?? 0) / total;
      const told = toldBy((walks[i] as (typeof walks)[number]).walk, contrast);
      mean += share * told.mean;
      square += share * (told.mean * told.mean + told.variance);
    }
    return { mean: mean + centre * weightOf(contrast), variance: Math.max(0, square - mean * mean) };
  });
}

const weightOf = (contrast: Contrast): number => contrast.reduce((sum, c) => sum + c.weight, 0);

interface Walk {
  /** Posterior means (less the centre) and variances, and the gains that join neighbouring stages. */
  readonly means: Float64Array;
  readonly variances: Float64Array;
  readonly gains: Float64Array;
  readonly logLikelihood: number;
}

/** Forward filter and backward smoother (Rauch, Tung and Striebel 1965), from a level that is not known at all. */
function smoothed(stages: readonly Stage[], stepVariance: number, centre: number): Walk {
  const n = stages.length;
  const filteredMean = new Float64Array(n);
  const filteredVariance = new Float64Array(n);
  const predictedVariance = new Float64Array(n);
  const predictedMean = new Float64Array(n);
  let spread = 0;
  for (const { reading } of stages) if (reading !== null) spread = Math.max(spread, (reading.value - centre) ** 2 + reading.variance);
  let mean = 0;
  let variance = 1e6 * spread;
  let logLikelihood = 0;
  for (let i = 0; i < n; i += 1) {
    const { at, reading, jump } = stages[i] as Stage;
    if (i > 0) variance += stepVariance * Math.max(0, at - (stages[i - 1]?.at ?? at)) + jump;
    predictedMean[i] = mean;
    predictedVariance[i] = variance;
    if (reading !== null) {
      const innovation = variance + reading.variance;
      const off = reading.value - centre - mean;
      logLikelihood -= 0.5 * (Math.log(innovation) + (off * off) / innovation);
      mean += (variance / innovation) * off;
      variance *= reading.variance / innovation;
    }
    filteredMean[i] = mean;
    filteredVariance[i] = variance;
  }
  const means = filteredMean.slice();
  const variances = filteredVariance.slice();
  const gains = new Float64Array(n);
  for (let i = n - 2; i >= 0; i -= 1) {
    const predicted = predictedVariance[i + 1] ?? 0;
    const gain = predicted > 0 ? (filteredVariance[i] ?? 0) / predicted : 0;
    gains[i] = gain;
    means[i] = (filteredMean[i] ?? 0) + gain * ((means[i + 1] ?? 0) - (predictedMean[i + 1] ?? 0));
    variances[i] = (filteredVariance[i] ?? 0) + gain * gain * ((variances[i + 1] ?? 0) - predicted);
  }
  return { means, variances, gains, logLikelihood };
}

function toldBy({ means, variances, gains }: Walk, contrast: Contrast): Told {
  let mean = 0;
  let variance = 0;
  for (let p = 0; p < contrast.length; p += 1) {
    const a = contrast[p] as Contrast[number];
    mean += a.weight * (means[a.stage] ?? 0);
    for (let q = 0; q < contrast.length; q += 1) {
      const b = contrast[q] as Contrast[number];
      const from = Math.min(a.stage, b.stage);
      const to = Math.max(a.stage, b.stage);
      let covariance = variances[to] ?? 0;
      for (let i = from; i < to; i += 1) covariance *= gains[i] ?? 0;
      variance += a.weight * b.weight * covariance;
    }
  }
  return { mean, variance: Math.max(0, variance) };
}
