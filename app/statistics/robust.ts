/** Scale that a few disturbed groups hardly move. */
import { chiSquareBelow, chiSquareQuantile } from '../distributions/distributions.ts';
import type { Sample } from './sample.ts';

/** Part of good groups whose variance is taken for less than it is (ISO 5725-5 and ISO 13528, algorithm S). */
const cut = 0.1;

/** Largest ratio of a group's variance to the common one that counts in full, and what is then expected of the cut ratio. */
function limitOf(dof: number): { readonly limit: number; readonly expected: number } {
  const limit = chiSquareQuantile(1 - cut, dof) / dof;
  return { limit, expected: chiSquareBelow(limit * dof, dof + 2) + cut * limit };
}

/**
 * Standard deviation common to several groups by algorithm S of ISO 13528:2022, annex C (ISO 5725-5:1998, 5.1), for groups of
 * any size: variances above what one good group in ten exceeds count as that limit. null: no group has two values, or more than
 * half of them do not scatter at all.
 */
export function robustPooled(groups: readonly Pick<Sample, 'n' | 'squares'>[]): number | null {
  const known = groups.flatMap(({ n, squares }) => (n > 1 ? [{ dof: n - 1, variance: squares / (n - 1) }] : []));
  if (known.length === 0) return null;
  const limits = new Map([...new Set(known.map((k) => k.dof))].map((dof) => [dof, { ...limitOf(dof), median: chiSquareQuantile(0.5, dof) / dof }]));
  const of = (dof: number) => limits.get(dof) ?? { limit: 1, expected: 1, median: 1 };
  let variance = median(known.map((k) => k.variance / of(k.dof).median));
  if (!(variance > 0)) return null;
  const expected = known.reduce((sum, { dof }) => sum + dof * of(dof).expected, 0);
  for (let i = 0; i < 100; i += 1) {
    const next = known.reduce((sum, k) => sum + k.dof * Math.min(k.variance, of(k.dof).limit * variance), 0) / expected;
    if (Math.abs(next - variance) <= 1e-9 * variance) return Math.sqrt(next);
    variance = next;
  }
  return Math.sqrt(variance);
}

/** The middle value, or the mean of the middle two. Empty: throws. */
export function median(values: readonly number[]): number {
  const rising = [...values].sort((a, b) => a - b);
  const [low, high] = [rising[(rising.length - 1) >> 1], rising[rising.length >> 1]];
  if (low === undefined || high === undefined) throw new RangeError('an empty sample has no median');
  return (low + high) / 2;
}
