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
/** Chance before any reading that the level does not change at all, that it wanders, and that it jumps once. */
const usualChances = { steady: 0.5, wandering: 0.25, jumping: 0.25 };

/**
 * What the readings tell of each contrast. At least one stage has a reading with a variance above 0 (throws otherwise).
 */
export const levelsOf = (stages: readonly Stage[], contrasts: readonly Contrast[]): readonly Told[] => followedLevels(stages)(contrasts);

/** The same for contrasts that are asked for one after the other: the readings are gone through once. */
export function followedLevels(stages: readonly Stage[]): (contrasts: readonly Contrast[]) => readonly Told[] {
  const likely = coursesOf(stages);
  return (contrasts) => contrasts.map((contrast) => overAll(likely, contrast.reduce((sum, c) => sum + c.weight, 0), (walk) => toldBy(walk, contrast)));
}

/** What readings tell of a level that may also rise or fall steadily. */
export interface Followed {
  /** Of a sum in which every stage has a weight, in the order of the stages. */
  readonly sum: (weights: Float64Array) => Told;
  /** By what the level went from each stage to the next beside a steady rise: mean squares. */
  readonly steps: readonly number[];
  /** How likely it drifts at a steady rate, 0 to 1. */
  readonly steadily: number;
}

/**
 * The same of a level that drifts at a steady rate, or is steady, or wanders, or jumps once, each with its own chance before any reading. Every stage has a reading. RED-144
 */
export function followedDrift(stages: readonly Stage[]): Followed {
  const courses = coursesOf(stages, { steady: chances.steady, wandering: chances.wandering, jumping: chances.jumping });
  const rising = straightOf(stages);
  // Both explain the readings from a level that is not known at all, one with a rate and one without.
  const share = 1 / (1 + Math.exp(-Math.log(chances.rising / chances.steady) - rising.better - courses.logOfSteady));
  const counting = courses.walks.filter((w) => w.share > hardlyAny);
  const others = { ...courses, walks: counting };
  return {
    steadily: share,
    sum: (weights) => {
      const beside = overAll(others, weights.reduce((sum, w) => sum + w, 0), (walk) => sumToldBy(walk, weights));
      const along = rising.sum(weights);
      const mean = share * along.mean + (1 - share) * beside.mean;
      return { mean, variance: Math.max(0, share * (along.variance + along.mean ** 2) + (1 - share) * (beside.variance + beside.mean ** 2) - mean * mean) };
    },
    steps: stages.slice(1).map((_, i) => {
      const told = overAll(others, 0, (walk) => toldBy(walk, [{ stage: i + 1, weight: 1 }, { stage: i, weight: -1 }]));
      return (1 - share) * (told.mean ** 2 + told.variance);
    }),
  };
}

/** Of a bench, before its reference points were looked at (an estimate): nearly every one wanders, by steps of any size, however small. */
const chances = { steady: 0.1, rising: 0.2, wandering: 0.65, jumping: 0.05 };

/** A course that is less likely than this changes no sum. */
const hardlyAny = 1e-9;

/** A straight line through the readings: by how much better it explains them than a steady level does (logarithm of the ratio), its rate believed to be nought within what would take it as far as the readings go. */
function straightOf(stages: readonly Stage[]): { readonly better: number; readonly sum: (weights: Float64Array) => Told } {
  let [weight, at, value] = [0, 0, 0];
  for (const stage of stages) {
    const own = 1 / (stage.reading?.variance ?? Number.POSITIVE_INFINITY);
    weight += own;
    at += own * stage.at;
    value += own * (stage.reading?.value ?? 0);
  }
  const [meanAt, mean] = [at / weight, value / weight];
  let [squares, product, farthest] = [0, 0, 0];
  for (const { at: place, reading } of stages) {
    if (reading === null) continue;
    squares += (place - meanAt) ** 2 / reading.variance;
    product += ((place - meanAt) * (reading.value - mean)) / reading.variance;
    farthest = Math.max(farthest, Math.hypot(reading.value - mean, Math.sqrt(reading.variance)));
  }
  const span = (stages.at(-1)?.at ?? 0) - (stages[0]?.at ?? 0);
  const usual = (2 * farthest) / span;
  const known = usual * usual * squares;
  const believed = known / (1 + known);
  const rate = (believed * product) / squares;
  return {
    better: (rate * product - Math.log1p(known)) / 2,
    sum: (weights) => {
      let [sum, along] = [0, 0];
      weights.forEach((w, i) => {
        sum += w;
        along += w * ((stages[i]?.at ?? 0) - meanAt);
      });
      return { mean: mean * sum + rate * along, variance: (sum * sum) / weight + (believed / squares) * along * along };
    },
  };
}

/** All courses that are tried, and how likely each is; levels are less `centre`. */
interface Courses {
  readonly centre: number;
  readonly walks: readonly { readonly share: number; readonly walk: Walk }[];
  /** Logarithm of the share of a steady level, which may be too small for a number. */
  readonly logOfSteady: number;
}

function overAll({ centre, walks }: Pick<Courses, 'centre' | 'walks'>, weight: number, told: (walk: Walk) => Told): Told {
  let mean = 0;
  let square = 0;
  for (const { share, walk } of walks) {
    const one = told(walk);
    mean += share * one.mean;
    square += share * (one.mean * one.mean + one.variance);
  }
  return { mean: mean + centre * weight, variance: Math.max(0, square - mean * mean) };
}

/** Chances before any reading of the kinds of course; together 1 or less, where others are beside them. */
interface Chances {
  readonly steady: number;
  readonly wandering: number;
  readonly jumping: number;
}

function coursesOf(stages: readonly Stage[], { steady, wandering, jumping }: Chances = usualChances): Courses {
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
  const smoothed = smootherOf(stages, centre);
  const walks = [{ chance: steady, walk: smoothed(0) }];
  for (let i = 0; i < stepSizes; i += 1) {
    const size = 2 * farthest * 2 ** -i;
    walks.push({ chance: wandering / stepSizes, walk: smoothed(size * size) });
  }
  // A jump between two stages that nothing was read between is the same wherever it lies.
  const places = stages.flatMap((s, i) => (i > 0 && s.reading !== null ? [i] : []));
  for (const place of places) walks.push({ chance: jumping / places.length, walk: smoothed(0, { place, variance: 4 * farthest * farthest }) });
  const likeliest = Math.max(...walks.map((w) => w.walk.logLikelihood));
  const weights = walks.map((w) => w.chance * Math.exp(w.walk.logLikelihood - likeliest));
  const total = weights.reduce((a, b) => a + b, 0);
  return { centre, logOfSteady: Math.log(steady / total) + (walks[0]?.walk.logLikelihood ?? 0) - likeliest, walks: walks.map(({ walk }, i) => ({ share: (weights[i] ?? 0) / total, walk })) };
}

class Walk {
  /** Posterior means (less the centre) and variances, and the gains that join neighbouring stages. */
  readonly means: Float64Array;
  readonly variances: Float64Array;
  readonly gains: Float64Array;
  readonly logLikelihood: number;
  /** Of the two stages that were asked for last: contrasts ask for the same two again and again. */
  #from = -1;
  #to = -1;
  #covariance = 0;

  constructor(means: Float64Array, variances: Float64Array, gains: Float64Array, logLikelihood: number) {
    this.means = means;
    this.variances = variances;
    this.gains = gains;
    this.logLikelihood = logLikelihood;
  }

  /** Posterior covariance of two stages, the first not after the other. */
  covarianceOf(from: number, to: number): number {
    if (from === to) return this.variances[to] ?? 0;
    if (from === this.#from && to === this.#to) return this.#covariance;
    let covariance = this.variances[to] ?? 0;
    for (let i = from; i < to; i += 1) covariance *= this.gains[i] ?? 0;
    this.#from = from;
    this.#to = to;
    this.#covariance = covariance;
    return covariance;
  }
}

/** A stage at which the level may have stepped by so much more, as a variance. */
interface Jump {
  readonly place: number;
  readonly variance: number;
}

/** Forward filter and backward smoother (Rauch, Tung and Striebel 1965), from a level that is not known at all. */
function smootherOf(stages: readonly Stage[], centre: number): (stepVariance: number, jump?: Jump) => Walk {
  const n = stages.length;
  // Written anew for each walk before it is read.
  const predictedVariance = new Float64Array(n);
  const predictedMean = new Float64Array(n);
  let spread = 0;
  for (const { reading } of stages) if (reading !== null) spread = Math.max(spread, (reading.value - centre) ** 2 + reading.variance);
  return (stepVariance, more) => {
    // Lists of that many numbers are each a piece of memory of their own: one for the three of them.
    const own = new Float64Array(3 * n);
    const [means, variances, gains] = [own.subarray(0, n), own.subarray(n, 2 * n), own.subarray(2 * n)];
    let mean = 0;
    let variance = 1e6 * spread;
    let logLikelihood = 0;
    for (let i = 0; i < n; i += 1) {
      const { at, reading, jump } = stages[i] as Stage;
      if (i > 0) variance += stepVariance * Math.max(0, at - (stages[i - 1]?.at ?? at)) + (i === more?.place ? jump + more.variance : jump);
      predictedMean[i] = mean;
      predictedVariance[i] = variance;
      if (reading !== null) {
        const innovation = variance + reading.variance;
        const off = reading.value - centre - mean;
        logLikelihood -= 0.5 * (Math.log(innovation) + (off * off) / innovation);
        mean += (variance / innovation) * off;
        variance *= reading.variance / innovation;
      }
      means[i] = mean;
      variances[i] = variance;
    }
    // So far what is told by the readings up to each stage; from the last one back by all of them.
    for (let i = n - 2; i >= 0; i -= 1) {
      const predicted = predictedVariance[i + 1] ?? 0;
      const gain = predicted > 0 ? (variances[i] ?? 0) / predicted : 0;
      gains[i] = gain;
      means[i] = (means[i] ?? 0) + gain * ((means[i + 1] ?? 0) - (predictedMean[i + 1] ?? 0));
      variances[i] = (variances[i] ?? 0) + gain * gain * ((variances[i + 1] ?? 0) - predicted);
    }
    return new Walk(means, variances, gains, logLikelihood);
  };
}

function toldBy(walk: Walk, contrast: Contrast): Told {
  let mean = 0;
  let variance = 0;
  for (let p = 0; p < contrast.length; p += 1) {
    const a = contrast[p] as Contrast[number];
    mean += a.weight * (walk.means[a.stage] ?? 0);
    for (let q = 0; q < contrast.length; q += 1) {
      const b = contrast[q] as Contrast[number];
      variance += a.weight * b.weight * walk.covarianceOf(Math.min(a.stage, b.stage), Math.max(a.stage, b.stage));
    }
  }
  return { mean, variance: Math.max(0, variance) };
}

/** From the first stage on: what is left of each level once the next is known counts for itself (the smoother read backward). */
function sumToldBy({ means, variances, gains }: Walk, weights: Float64Array): Told {
  let mean = 0;
  let variance = 0;
  let carried = 0;
  const last = weights.length - 1;
  for (let i = 0; i <= last; i += 1) {
    const gain = i < last ? (gains[i] ?? 0) : 0;
    mean += (weights[i] ?? 0) * (means[i] ?? 0);
    carried += weights[i] ?? 0;
    variance += carried * carried * ((variances[i] ?? 0) - (i < last ? gain * gain * (variances[i + 1] ?? 0) : 0));
    carried *= gain;
  }
  return { mean, variance: Math.max(0, variance) };
}
