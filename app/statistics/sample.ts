/** Mean and standard deviation of a sample, pooling of several samples, and the interval of a standard deviation. */
import { chiSquareQuantile } from '../distributions/distributions.ts';

export interface Sample {
  readonly n: number;
  readonly mean: number;
  /** Sum of squared distances from the mean. */
  readonly squares: number;
}

/** Differences from the first value are taken first, so that a small scatter on a large mean is not lost. Empty: throws. */
export function sampleOf(values: readonly number[]): Sample {
  const [first] = values;
  if (first === undefined) throw new RangeError('an empty sample has no mean');
  const n = values.length;
  let sum = 0;
  for (const value of values) sum += value - first;
  const shift = sum / n;
  let squares = 0;
  let rest = 0;
  for (const value of values) {
    const distance = value - first - shift;
    squares += distance * distance;
    rest += distance;
  }
  // What rounding left of the sum of distances, which is zero in exact arithmetic (corrected two-pass algorithm).
  return { n, mean: first + shift + rest / n, squares: Math.max(0, squares - (rest * rest) / n) };
}

/** Standard deviation common to several groups: their sums of squares over their degrees of freedom (ISO 5725-2). */
export function pooled(groups: readonly Pick<Sample, 'n' | 'squares'>[]): { readonly sd: number; readonly dof: number } | null {
  let squares = 0;
  let dof = 0;
  for (const group of groups) {
    squares += group.squares;
    dof += group.n - 1;
  }
  return dof > 0 ? { sd: Math.sqrt(squares / dof), dof } : null;
}

/**
 * Interval that holds the true standard deviation with probability `coverage`, from an estimate with `dof` degrees of
 * freedom of normal values: sd sqrt(dof / chi-square).
 */
export function intervalOfSd(sd: number, dof: number, coverage = 0.95): { readonly low: number; readonly high: number } {
  const tail = (1 - coverage) / 2;
  return { low: sd * Math.sqrt(dof / chiSquareQuantile(1 - tail, dof)), high: sd * Math.sqrt(dof / chiSquareQuantile(tail, dof)) };
}

/** Value that the true standard deviation stays below with probability `confidence`. */
export function upperBoundOfSd(sd: number, dof: number, confidence = 0.95): number {
  return sd * Math.sqrt(dof / chiSquareQuantile(1 - confidence, dof));
}
