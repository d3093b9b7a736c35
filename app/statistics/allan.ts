/**
 * Allan deviation: how far two averages that follow each other differ, over how long each of them is (Allan 1966; IEEE 1139; Riley, NIST SP 1065 (2008);
 * from memory, held against the examples of the last).
 *
 * A record is given as what has passed (phase, x) at times `step` apart: the mean of a rate from i to j is (x_j - x_i) / ((j - i) step). So an average over
 * many steps feels nothing of where single edges or readings fell in between. A record may have several stretches; no average goes across the gaps.
 */
import { chiSquareQuantile, tQuantile } from '../distributions/distributions.ts';

/**
 * What rules at an averaging time. resolution: white or flicker phase, reading noise that averages away with the time itself. white: it averages away with the root of
 * the time. flicker: averaging takes nothing off. walk: longer averages are worse.
 */
type Noise = 'resolution' | 'white' | 'flicker' | 'walk';

export interface AllanRow {
  /** How many steps an average has, and how long it is, s. */
  readonly steps: number;
  readonly time: number;
  /** In the unit of the rate. */
  readonly deviation: number;
  /** Of 95 %, by chi-square. */
  readonly low: number;
  readonly high: number;
  readonly dof: number;
  readonly noise: Noise;
}

/** Fewer averages than this do not tell which noise rules: then that of the time before is taken. (Riley takes thirty; of those one in seven of white rates is taken for another noise.) */
const fewestForNoise = 50;
/** So many are needed to tell that a noise of higher frequencies rules than at the time before. */
const fewestAgainst = 100;
/** The longest average is a quarter of the longest stretch: beyond it are fewer than about three that do not overlap. */
const longestPart = 4;
/** Power of the frequency in the spectral density of the rate: 2 white phase, 1 flicker phase, 0 white, -1 flicker, -2 walk. */
type Power = 2 | 1 | 0 | -1 | -2;

const longestOf = (stretches: readonly (readonly number[])[]): readonly number[] => stretches.reduce((best, x) => (x.length > best.length ? x : best), []);

/** Second differences of what has passed, over averages of `m` steps. */
function sumOfSquares(x: readonly number[], m: number): { readonly sum: number; readonly count: number } {
  let sum = 0;
  const count = Math.max(0, x.length - 2 * m);
  for (let i = 0; i < count; i += 1) sum += ((x[i + 2 * m] as number) - 2 * (x[i + m] as number) + (x[i] as number)) ** 2;
  return { sum, count };
}

/** Overlapping Allan deviation for averages of `m` steps (SP 1065, overlapping); NaN where no stretch has two of them. */
export function overlappingAllan(stretches: readonly (readonly number[])[], step: number, m: number): number {
  let [sum, count] = [0, 0];
  for (const x of stretches) {
    const of = sumOfSquares(x, m);
    sum += of.sum;
    count += of.count;
  }
  return Math.sqrt(sum / (2 * count)) / (m * step);
}

/**
 * Equivalent degrees of freedom of an overlapping estimate from `n` values of what has passed (Howe, Allan and Barnes 1981, as in SP 1065; from memory).
 * They are approximations; at least one.
 */
export function degreesOfFreedom(power: Power, n: number, m: number): number {
  const dof = ((): number => {
    switch (power) {
      case 2:
        return ((n + 1) * (n - 2 * m)) / (2 * (n - m));
      case 1:
        return Math.exp(Math.sqrt(Math.log((n - 1) / (2 * m)) * Math.log(((2 * m + 1) * (n - 1)) / 4)));
      case 0:
        return ((3 * (n - 1)) / (2 * m) - (2 * (n - 2)) / n) * ((4 * m * m) / (4 * m * m + 5));
      case -1:
        return m === 1 ? (2 * (n - 2) ** 2) / (2.3 * n - 4.9) : (5 * n * n) / (4 * m * (n + 3 * m));
      case -2:
        return ((n - 2) / m) * (((n - 1) ** 2 - 3 * m * (n - 1) + 4 * m * m) / (n - 3) ** 2);
    }
  })();
  return Number.isFinite(dof) ? Math.max(1, dof) : 1;
}

/** Less the parabola of least squares: a level and a steady drift of the rate are no noise. Over orthogonal polynomials of equal steps. */
function withoutParabola(x: readonly number[]): readonly number[] {
  const n = x.length;
  const middle = (n - 1) / 2;
  const width = (n * n - 1) / 12;
  let [mean, first, firsts, second, seconds] = [0, 0, 0, 0, 0];
  x.forEach((v, i) => {
    const t = i - middle;
    const q = t * t - width;
    mean += v / n;
    first += v * t;
    firsts += t * t;
    second += v * q;
    seconds += q * q;
  });
  return x.map((v, i) => {
    const t = i - middle;
    return v - mean - (first / firsts) * t - (seconds > 0 ? (second / seconds) * (t * t - width) : 0);
  });
}

/** Correlation of neighbours. */
function neighbours(z: readonly number[]): number {
  const mean = z.reduce((sum, v) => sum + v, 0) / z.length;
  let [product, squares] = [0, 0];
  z.forEach((v, i) => {
    squares += (v - mean) ** 2;
    if (i > 0) product += (v - mean) * ((z[i - 1] as number) - mean);
  });
  return squares > 0 ? product / squares : 0;
}

/**
 * Which noise rules averages of `m` steps: the correlation of neighbours, differenced until it is that of a noise that does not run away (Riley and Greenhall, 2004, from
 * memory). null: fewer than fifty of them.
 */
export function noiseOf(x: readonly number[], m: number): Power | null {
  let z: readonly number[] = x.filter((_, i) => i % m === 0);
  if (z.length < fewestForNoise) return null;
  z = withoutParabola(z);
  for (let differenced = 0; ; differenced += 1) {
    const r = neighbours(z);
    const delta = r / (1 + r);
    if (delta < 0.25 || differenced === 2) return (Math.min(2, Math.max(-2, Math.round(2 - 2 * (delta + differenced)))) + 0) as Power;
    z = z.slice(1).map((v, i) => v - (z[i] as number));
  }
}

const wordOf = (power: Power): Noise => (power > 0 ? 'resolution' : power === 0 ? 'white' : power === -1 ? 'flicker' : 'walk');

/**
 * The overlapping Allan deviation of a record over averaging times that double, with 95 % intervals. `step`: s between the values of what has passed.
 * Empty where no stretch has eight steps, or nothing ever moves. RED-165
 */
export function allanRows(stretches: readonly (readonly number[])[], step: number): readonly AllanRow[] {
  const longest = longestOf(stretches);
  const rows: AllanRow[] = [];
  let power: Power | null = null;
  for (let m = 1; longestPart * m < longest.length; m *= 2) {
    const deviation = overlappingAllan(stretches, step, m);
    if (!(deviation > 0)) continue;
    const found: Power = noiseOf(longest, m) ?? power ?? 0;
    // Of noises that come together those of low frequencies rule the longer averages. What looks otherwise is chance, or a noise that is alike over some steps: it takes more to tell.
    const ruling: Power = power !== null && power < found && longest.length / m < fewestAgainst ? power : found;
    power = ruling;
    const dof = stretches.reduce((sum, x) => (x.length > 2 * m ? sum + degreesOfFreedom(ruling, x.length, m) : sum), 0);
    const bound = (p: number): number => deviation * Math.sqrt(dof / chiSquareQuantile(p, dof));
    rows.push({ steps: m, time: m * step, deviation, low: bound(0.975), high: bound(0.025), dof, noise: wordOf(ruling) });
  }
  return rows;
}

/** Up to where averaging pays; `low` and `high` by the 95 % intervals of the rows. null: beyond what the record tells. */
export interface PaysUntil {
  readonly time: number | null;
  readonly low: number | null;
  readonly high: number | null;
}

/** Fewer degrees of freedom do not tell the level of what averages away. */
const fewestForLevel = 10;

/**
 * The averaging time from which at least half of the variance does not average away any more (RED-167): the variance times the time is the same wherever white noise rules, and has doubled
 * there, counted from the least that it comes to. Between rows straight in the logarithms. null: no row has ten degrees of freedom.
 */
export function paysUntil(rows: readonly AllanRow[]): PaysUntil | null {
  const product = ({ deviation, time }: AllanRow): number => deviation ** 2 * time;
  const sure = rows.filter(({ dof }) => dof >= fewestForLevel);
  if (sure.length === 0) return null;
  const least = sure.reduce((best, row) => (product(row) < product(best) ? row : best));
  const later = rows.slice(rows.indexOf(least));
  const limit = 2 * product(least);
  const crossing = (of: (row: AllanRow) => number): number | null => {
    for (let i = 1; i < later.length; i += 1) {
      const [before, here] = [later[i - 1] as AllanRow, later[i] as AllanRow];
      const [a, b] = [of(before) ** 2 * before.time, of(here) ** 2 * here.time];
      if (b < limit) continue;
      return a >= limit ? before.time : before.time * (here.time / before.time) ** (Math.log(limit / a) / Math.log(b / a));
    }
    return null;
  };
  return { time: crossing((row) => row.deviation), low: crossing((row) => row.high), high: crossing((row) => row.low) };
}

export interface SteadyDrift {
  /** Change of the rate, per second, with its standard and its expanded uncertainty (95 %). */
  readonly perSecond: number;
  readonly u: number;
  readonly expanded: number;
  /** Whether white noise and a random walk of this record explain so much in less than one record of a hundred. */
  readonly called: boolean;
}

/** A walk is told by the averages among these parts of the record that show the strongest: white noise hides a weak one from the short ones, and of the long ones there are few. */
const walkParts = [32, 16, 8] as const;

/**
 * The steady drift of a rate by least squares over its steps. Its uncertainty is that of white noise and of a random walk as strong as the record allows: what walks goes off by as much by chance
 * (variance of a line through a walk of K sqrt(time): 6 K^2 / 5 T, own computation). RED-168. null: fewer than 32 steps in one stretch.
 */
export function driftOfRecord(stretches: readonly (readonly number[])[], step: number): SteadyDrift | null {
  const longest = longestOf(stretches);
  const n = longest.length - 1;
  if (n < walkParts[0]) return null;
  const rates = Array.from({ length: n }, (_, i) => ((longest[i + 1] as number) - (longest[i] as number)) / step);
  const middle = (n - 1) / 2;
  const span = rates.reduce((sum, _, i) => sum + (i - middle) ** 2, 0) * step ** 2;
  const perSecond = rates.reduce((sum, v, i) => sum + v * (i - middle) * step, 0) / span;
  const left = longest.map((v, i) => v - (perSecond * (i * step) ** 2) / 2);
  const at = (m: number): number => overlappingAllan([left], step, m) ** 2 * m * step;
  const white = Math.min(...[1, 2, 4, 8, 16].filter((m) => walkParts[0] * m <= n).map(at));
  const walks = walkParts.map((part) => {
    const m = Math.floor(n / part);
    return { m, squared: (3 * Math.max(0, at(m) - white)) / (m * step) ** 2 };
  });
  const walk = walks.reduce((strongest, one) => (one.squared > strongest.squared ? one : strongest));
  const u = Math.sqrt(white / step / span + (1.2 * walk.squared) / (n * step));
  const dof = degreesOfFreedom(-2, n, walk.m);
  return { perSecond, u, expanded: u * tQuantile(0.975, dof), called: Math.abs(perSecond) > u * tQuantile(0.995, dof) };
}
