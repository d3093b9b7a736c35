/**
 * Propagation of distributions by a Monte Carlo method (JCGM 101:2008) beside the law of propagation of uncertainty, and the validation of the one by the
 * other (clause 8). Errors are drawn as they are known: a bound as a rectangle (6.4.2), scatter of few degrees of freedom as Student's t (6.4.9.4), the rest
 * as normal. Every error has a stream of its own, by seed and key, so the same seed gives the same numbers, and values that share an error share its draws. TAB-25 to TAB-27.
 */
import { uniformFloat64 } from 'pure-rand/distribution/uniformFloat64';
import { xoroshiro128plus } from 'pure-rand/generator/xoroshiro128plus';
import type { Result } from './budget.ts';
import type { Carried } from './carried.ts';
import { isLeftIn, isRectangular } from './source.ts';

/** Trials of a block, and the fewest and the most blocks (JCGM 101:2008, 7.9.4 b: 10 000 for 95 %). */
const ofBlock = 10_000;
const fewest = 10;
const most = 100;

/** A value as a function of linear forms in the same errors. */
export interface TrialModel {
  readonly forms: readonly Carried[];
  /** Of the values of the forms in one trial. */
  readonly of: (values: readonly number[]) => number;
}

export const linearModel = (form: Carried): TrialModel => ({ forms: [form], of: ([value = Number.NaN]) => value });

export interface MonteCarlo {
  readonly mean: number;
  readonly u: number;
  /** Probabilistically symmetric 95 % interval (7.7). */
  readonly low: number;
  readonly high: number;
  readonly trials: number;
  /** Numerical tolerance of the standard uncertainty, one digit (7.9.2): how far the ends of the two intervals may lie apart. */
  readonly tolerance: number;
  /** Twice the standard deviation of the worst of mean and ends over the blocks; a fifth of `tolerance` at most, or the trials did not settle. */
  readonly numerical: number;
  /** By how much the ends of value - U to value + U lie from these (8.1.3 a). */
  readonly offLow: number;
  readonly offHigh: number;
  /** agrees: both within the tolerance. differs: not. unsettled: the trials cannot tell. */
  readonly verdict: 'agrees' | 'differs' | 'unsettled';
}

/** Half a unit of the first digit of `u`. */
export function toleranceOf(u: number): number {
  return u > 0 ? 0.5 * 10 ** Number(u.toExponential().split('e')[1]) : 0;
}

/** Streams of draws, kept while several values need the same. */
export class ErrorDraws {
  readonly #seed: string;
  readonly #kept = new Map<string, Float64Array>();

  constructor(seed: string) {
    this.#seed = seed;
  }

  /** Standard normal, or rectangular of standard deviation 1, or of size 1 to either side: what is left in counts to both sides of a value that stands in the middle (RED-145). */
  of(key: string, block: number, shape: 'normal' | 'rectangular' | 'left-in'): Float64Array {
    return this.#once(`${block} ${shape} ${key}`, (uniform, out) => {
      if (shape === 'rectangular') for (let i = 0; i < out.length; i += 1) out[i] = Math.sqrt(3) * (2 * uniform() - 1);
      else if (shape === 'left-in') for (let i = 0; i < out.length; i += 1) out[i] = uniform() < 0.5 ? -1 : 1;
      else for (let i = 0; i < out.length; i += 2) [out[i], out[i + 1]] = twoNormal(uniform);
    });
  }

  /** Root of dof over a chi-square of so many degrees of freedom: what makes a normal one Student's. */
  scale(key: string, dof: number, block: number): Float64Array {
    return this.#once(`${block} ${dof} scale ${key}`, (uniform, out) => {
      for (let i = 0; i < out.length; i += 1) out[i] = Math.sqrt(dof / (2 * gamma(dof / 2, uniform)));
    });
  }

  #once(name: string, fill: (uniform: () => number, out: Float64Array) => void): Float64Array {
    const known = this.#kept.get(name);
    if (known !== undefined) {
      // Those that many values share stay; those of one value go first.
      this.#kept.delete(name);
      this.#kept.set(name, known);
      return known;
    }
    const generator = xoroshiro128plus(hashOf(`${this.#seed} | ${name}`) | 0);
    for (let i = 0; i < warmUp; i += 1) generator.next();
    const drawn = new Float64Array(ofBlock);
    fill(() => uniformFloat64(generator), drawn);
    const [oldest] = this.#kept.keys();
    if (this.#kept.size >= keptDraws && oldest !== undefined) this.#kept.delete(oldest);
    this.#kept.set(name, drawn);
    return drawn;
  }
}

/** Arrays of draws that are kept: 40 MB. */
const keptDraws = 500;
/** Outputs that are thrown away after seeding, until the few bits of the seed are mixed. */
const warmUp = 64;

function hashOf(name: string): number {
  let hash = 0x811c9dc5;
  for (let i = 0; i < name.length; i += 1) {
    hash = Math.imul(hash ^ name.charCodeAt(i), 0x01000193) >>> 0;
    hash = (hash ^ (hash >>> 15)) >>> 0;
  }
  hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b) >>> 0;
  return (hash ^ (hash >>> 13)) >>> 0;
}

/** Polar method (G. Marsaglia and T. A. Bray, SIAM Review 6 (1964) 260). */
function twoNormal(uniform: () => number): [number, number] {
  for (;;) {
    const a = 2 * uniform() - 1;
    const b = 2 * uniform() - 1;
    const s = a * a + b * b;
    if (s === 0 || s >= 1) continue;
    const factor = Math.sqrt((-2 * Math.log(s)) / s);
    return [a * factor, b * factor];
  }
}

/** A gamma variable of this shape (G. Marsaglia and W. W. Tsang, ACM Transactions on Mathematical Software 26 (2000) 363). */
function gamma(shape: number, uniform: () => number): number {
  if (shape < 1) return gamma(shape + 1, uniform) * (1 - uniform()) ** (1 / shape);
  const d = shape - 1 / 3;
  const c = 1 / Math.sqrt(9 * d);
  for (;;) {
    const [x] = twoNormal(uniform);
    const v = (1 + c * x) ** 3;
    if (v > 0 && Math.log(1 - uniform()) < 0.5 * x * x + d - d * v + d * Math.log(v)) return d * v;
  }
}

/** Values of a model in one block of trials. */
function blockOf({ forms, of }: TrialModel, draws: ErrorDraws, block: number): Float64Array {
  const values = forms.map(({ value, parts }) => {
    const out = new Float64Array(ofBlock).fill(value);
    const scaled = new Map<string, { readonly dof: number; readonly sum: Float64Array }>();
    for (const part of parts.values()) {
      if (part.effect === 0) continue;
      const drawn = draws.of(part.source.key, block, part.kind === 'random' ? 'normal' : isRectangular(part.source) ? 'rectangular' : isLeftIn(part.source) ? 'left-in' : 'normal');
      if (part.kind === 'shared' || !Number.isFinite(part.dof)) add(out, drawn, part.effect);
      else {
        // Errors of one estimate are a multivariate t: one chi-square for all of them.
        const known = scaled.get(part.scale) ?? { dof: part.dof, sum: new Float64Array(ofBlock) };
        scaled.set(part.scale, known);
        add(known.sum, drawn, part.effect);
      }
    }
    for (const [scale, { dof, sum }] of scaled) {
      const factor = draws.scale(scale, dof, block);
      for (let i = 0; i < ofBlock; i += 1) out[i] = (out[i] ?? 0) + (sum[i] ?? 0) * (factor[i] ?? 0);
    }
    return out;
  });
  const [only] = values;
  const at = values.map(() => 0);
  const all = only ?? new Float64Array(ofBlock);
  for (let i = 0; i < ofBlock; i += 1) {
    for (let f = 0; f < values.length; f += 1) at[f] = values[f]?.[i] ?? Number.NaN;
    all[i] = of(at);
  }
  return all;
}

function add(to: Float64Array, drawn: Float64Array, effect: number): void {
  for (let i = 0; i < ofBlock; i += 1) to[i] = (to[i] ?? 0) + effect * (drawn[i] ?? 0);
}

interface Summary {
  readonly mean: number;
  readonly u: number;
  readonly low: number;
  readonly high: number;
}

/** Of the values of a block so many at either end are kept: of all trials together the ends of the interval are the 250th of each block in the mean, 16 more or less. */
const keptEnds = 500;

interface Block extends Summary {
  /** The lowest and the highest values, rising. */
  readonly lowest: Float64Array;
  readonly highest: Float64Array;
}

/** Sorts the values. 7.6 and 7.7.2: where q = 0.95 M is a whole number the interval begins with the r-th, r = (M - q) / 2. */
function blockSummary(values: Float64Array): Block {
  values.sort();
  let sum = 0;
  for (const v of values) sum += v;
  const mean = sum / ofBlock;
  let squares = 0;
  for (const v of values) squares += (v - mean) ** 2;
  const r = Math.round(0.025 * ofBlock);
  return {
    mean, u: Math.sqrt(squares / (ofBlock - 1)), low: values[r - 1] ?? Number.NaN, high: values[ofBlock - r - 1] ?? Number.NaN,
    lowest: values.slice(0, keptEnds), highest: values.slice(-keptEnds),
  };
}

/** All blocks together. */
function pooled(blocks: readonly Block[]): Summary {
  const n = blocks.length * ofBlock;
  const mean = blocks.reduce((sum, b) => sum + b.mean, 0) / blocks.length;
  const squares = blocks.reduce((sum, b) => sum + b.u ** 2 * (ofBlock - 1) + ofBlock * (b.mean - mean) ** 2, 0);
  const ends = (read: (block: Block) => Float64Array): Float64Array => {
    const all = new Float64Array(blocks.length * keptEnds);
    blocks.forEach((block, i) => all.set(read(block), i * keptEnds));
    return all.sort();
  };
  const r = Math.round(0.025 * n);
  return { mean, u: Math.sqrt(squares / (n - 1)), low: ends((b) => b.lowest)[r - 1] ?? Number.NaN, high: ends((b) => b.highest).at(-r - 1) ?? Number.NaN };
}

/** Twice the standard deviation of the mean of a summary's number over the blocks (7.9.4 f). */
function twiceDeviation(blocks: readonly Summary[], read: (block: Summary) => number): number {
  const h = blocks.length;
  const mean = blocks.reduce((sum, b) => sum + read(b), 0) / h;
  return 2 * Math.sqrt(blocks.reduce((sum, b) => sum + (read(b) - mean) ** 2, 0) / (h * (h - 1)));
}

/**
 * The adaptive procedure (7.9.4): 100 000 trials at least, and more until mean and ends of the interval are known to a fifth of the tolerance (8.2), a
 * million at most. The standard uncertainty of the trials is stated and not waited for: of few degrees of freedom it settles slowly or never, and nothing is
 * compared with it.
 */
export function monteCarlo(model: TrialModel, stated: Pick<Result, 'value' | 'u' | 'expanded'>, draws: ErrorDraws): MonteCarlo {
  const tolerance = toleranceOf(stated.u);
  const blocks: Block[] = [];
  let numerical = Number.POSITIVE_INFINITY;
  while (blocks.length < fewest || (numerical > tolerance / 5 && blocks.length < most)) {
    blocks.push(blockSummary(blockOf(model, draws, blocks.length)));
    if (blocks.length >= fewest) numerical = Math.max(...[(b: Summary) => b.mean, (b: Summary) => b.low, (b: Summary) => b.high].map((read) => twiceDeviation(blocks, read)));
  }
  const { mean, u, low, high } = pooled(blocks);
  const offLow = Math.abs(stated.value - stated.expanded - low);
  const offHigh = Math.abs(stated.value + stated.expanded - high);
  const verdict = numerical > tolerance / 5 ? 'unsettled' : Math.max(offLow, offHigh) <= tolerance ? 'agrees' : 'differs';
  return { mean, u, low, high, trials: blocks.length * ofBlock, tolerance, numerical, offLow, offHigh, verdict };
}
