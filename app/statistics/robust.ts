/**
 * Scatter and means that one bad value in a hundred does not spoil, and that good values lose nearly nothing by.
 *
 * Scatter: ISO 5725-5 and ISO 13528 algorithm S (from memory): the variance of a group counts for no more than what chance
 * exceeds in one of ten groups, and the mean of such capped variances is divided by what the cap takes from good groups.
 */
import { chiSquareBelow, chiSquareQuantile } from '../distributions/distributions.ts';
import type { Sample } from './sample.ts';

export interface Cap {
  /** Largest ratio of a group's variance to the true one that counts. */
  readonly limit: number;
  /** Mean of the capped ratio over normal groups. */
  readonly mean: number;
  /** Degrees of freedom of one group that are left, as a share. */
  readonly efficiency: number;
}

/** Algorithm S caps what chance exceeds in one of ten groups. */
const cappedShare = 0.1;
const caps = new Map<number, Cap>();

/** For groups of `dof` degrees of freedom. */
export function capOf(dof: number): Cap {
  const known = caps.get(dof);
  if (known !== undefined) return known;
  const limit = chiSquareQuantile(1 - cappedShare, dof) / dof;
  const within = (more: number): number => chiSquareBelow(limit * dof, dof + more);
  const mean = within(2) + limit * cappedShare;
  const square = ((dof + 2) / dof) * within(4) + limit * limit * cappedShare;
  // Variance of the M-estimate of a scale (Huber 1981, from memory) against that of the plain mean, 2 / dof.
  const cap = { limit, mean, efficiency: (2 / dof) * (within(2) ** 2 / (square - mean * mean)) };
  caps.set(dof, cap);
  return cap;
}

/** A value whole up to `whole` standard deviations from where it should lie, and not at all from `nothing` on. */
const whole = 3;
const nothing = 6;

/** How much a value counts that lies `distance` standard deviations off: 1 for nearly every good one, 0 for gross errors. */
export function weightOf(distance: number): number {
  const size = Math.abs(distance);
  if (!(size > whole)) return 1;
  return size >= nothing ? 0 : (nothing - size) / (nothing - whole);
}

/** Up to so many are put in order by hand: to call for it takes longer. */
const fewValues = 12;

function inserted(values: ArrayLike<number>): ArrayLike<number> {
  const rising = Array.from(values);
  for (let i = 1; i < rising.length; i += 1) {
    const value = rising[i] as number;
    let at = i;
    for (; at > 0 && (rising[at - 1] as number) > value; at -= 1) rising[at] = rising[at - 1] as number;
    rising[at] = value;
  }
  return rising;
}

/** The middle value, or the mean of the middle two. Empty: throws. */
export function median(values: ArrayLike<number>): number {
  // Most groups are of one window, or of two.
  const [first, second] = [values[0], values[1]];
  if (first !== undefined && values.length === 1) return (first + first) / 2;
  if (first !== undefined && second !== undefined && values.length === 2) return (first + second) / 2;
  const rising = values.length > fewValues ? Float64Array.from(values).sort() : inserted(values);
  const [low, high] = [rising[(rising.length - 1) >> 1], rising[rising.length >> 1]];
  if (low === undefined || high === undefined) throw new RangeError('an empty sample has no median');
  return (low + high) / 2;
}

/** Distance of a good value from the median of its group of three over its standard deviation, root mean square of the outer two. */
const outerOfThree = 1.08;

/**
 * Weights of replicates by their distance from the median of their group, in `sd`, the standard deviation of one. Of two, nothing says
 * which is wrong: both count. `centre`: the median, where it is known.
 */
export function replicateWeights(values: readonly number[], sd: number, centre = median(values)): readonly number[] {
  if (values.length < 3 || !(sd > 0)) return values.map(() => 1);
  return values.map((value) => weightOf((value - centre) / (outerOfThree * sd)));
}

/** Whether two replicates differ by what chance would give two good ones once in more than a thousand pairs. */
export function pairDisagrees(values: readonly number[], sd: number): boolean {
  const [a, b] = values;
  return values.length === 2 && a !== undefined && b !== undefined && sd > 0 && Math.abs(a - b) > 3.5 * Math.SQRT2 * sd;
}

/**
 * Standard deviation common to several groups by algorithm S of ISO 13528:2022, annex C (ISO 5725-5:1998, 5.1), for groups of
 * any size: variances above what one good group in ten exceeds count as that limit. null: no group has two values, or more than
 * half of them do not scatter at all.
 */
export function robustPooled(groups: readonly Pick<Sample, 'n' | 'squares'>[]): number | null {
  const known = groups.flatMap(({ n, squares }) => (n > 1 ? [{ dof: n - 1, variance: squares / (n - 1) }] : []));
  if (known.length === 0) return null;
  const limits = new Map([...new Set(known.map((k) => k.dof))].map((dof) => [dof, { ...capOf(dof), median: chiSquareQuantile(0.5, dof) / dof }]));
  const of = (dof: number) => limits.get(dof) ?? { limit: 1, mean: 1, median: 1 };
  let variance = median(known.map((k) => k.variance / of(k.dof).median));
  if (!(variance > 0)) return null;
  const expected = known.reduce((sum, { dof }) => sum + dof * of(dof).mean, 0);
  for (let i = 0; i < 100; i += 1) {
    const next = known.reduce((sum, k) => sum + k.dof * Math.min(k.variance, of(k.dof).limit * variance), 0) / expected;
    if (Math.abs(next - variance) <= 1e-9 * variance) return Math.sqrt(next);
    variance = next;
  }
  return Math.sqrt(variance);
}
