/**
 * Is the value that lies farthest out still one of its sample? F. E. Grubbs, Technometrics 11 (1969) 1-21; critical values
 * from Student's t as in the NIST/SEMATECH e-Handbook, 1.3.5.17.1.
 */
import { coverageFactor } from '../uncertainty/budget.ts';
import { sampleOf, standardDeviation } from './sample.ts';

/** two: either end may be wrong. low, high: only that end is asked about. */
export type Side = 'two' | 'low' | 'high';

export type GrubbsResult =
  | {
      readonly kind: 'tested';
      /** Index of the value farthest out. */
      readonly index: number;
      readonly g: number;
      readonly critical: number;
      readonly outlier: boolean;
    }
  | { readonly kind: 'not-tested'; readonly reason: 'too-few' | 'no-scatter' | 'not-a-number'; readonly text: string };

/** Fewer values have no outlier: of two, each lies as far out as the other. */
const fewest = 3;

/**
 * Largest distance from the mean, in standard deviations, that chance leaves unexceeded with probability
 * 1 - `significance` in a normal sample of `n` (at least 3): (n - 1)/sqrt(n) sqrt(t^2 / (n - 2 + t^2)) with t at
 * significance/n (one end) or significance/2n (both) and n - 2 degrees of freedom. Throws for smaller n.
 */
export function grubbsCritical(n: number, significance: number, side: Side): number {
  if (n < fewest) throw new RangeError(`Grubbs' test needs ${fewest} values, not ${n}`);
  const tail = side === 'two' ? significance / n : (2 * significance) / n;
  // With both tails of more than one half together t would be below zero: at so mild a level anything is an outlier.
  const t = tail < 1 ? coverageFactor(n - 2, 1 - tail) : 0;
  return ((n - 1) / Math.sqrt(n)) * Math.sqrt((t * t) / (n - 2 + t * t));
}

/** Tests the value farthest out (or the lowest, or the highest). Of equal distances the first counts. */
export function grubbs(values: readonly number[], significance: number, side: Side = 'two'): GrubbsResult {
  if (!values.every((value) => Number.isFinite(value))) {
    return { kind: 'not-tested', reason: 'not-a-number', text: 'A value is missing or not a number, so the sample was not tested.' };
  }
  if (values.length < fewest) {
    return { kind: 'not-tested', reason: 'too-few', text: `${values.length} values are too few to call one of them an outlier; ${fewest} are needed.` };
  }
  const sample = sampleOf(values);
  const { mean, n } = sample;
  const sd = standardDeviation(sample) ?? 0;
  if (!(sd > 0)) return { kind: 'not-tested', reason: 'no-scatter', text: 'All values are equal, so there is no scatter to measure an outlier by.' };
  let index = 0;
  let g = Number.NEGATIVE_INFINITY;
  values.forEach((value, i) => {
    const distance = side === 'low' ? mean - value : side === 'high' ? value - mean : Math.abs(value - mean);
    if (distance / sd <= g) return;
    g = distance / sd;
    index = i;
  });
  const critical = grubbsCritical(n, significance, side);
  return { kind: 'tested', index, g, critical, outlier: g > critical };
}
