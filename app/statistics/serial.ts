/** Are neighbours alike? Values in the order in which they were measured. */
import { tQuantile } from '../distributions/distributions.ts';
import { sampleOf } from './sample.ts';

/** Fewer values do not tell. */
const fewest = 5;

export interface Serial {
  /** Correlation of neighbours, 0 to 0.95: 1 - half the ratio of von Neumann, corrected for the bias of short series (Kendall, Biometrika 41 (1954) 403). */
  readonly correlation: number;
  /** More alike than independent values are in 95 % of cases. */
  readonly alike: boolean;
}

/**
 * Ratio of von Neumann (Annals of Mathematical Statistics 12 (1941) 367): squares of the steps over squares about the mean. Its distribution
 * for independent normal values by a symmetric beta with the right variance, (n - 2) / (n^2 - 1), and ends, cos(pi / n) (Young 1941). null: fewer than five
 * values, or all equal. ST-6.
 */
export function serialOf(values: readonly number[]): Serial | null {
  const n = values.length;
  if (n < fewest) return null;
  const { squares } = sampleOf(values);
  if (!(squares > 0)) return null;
  const steps = values.slice(1).reduce((sum, v, i) => sum + (v - (values[i] ?? v)) ** 2, 0);
  const c = 1 - steps / (2 * squares);
  const end = Math.cos(Math.PI / n);
  const shape = ((end * end * (n * n - 1)) / (n - 2) - 1) / 2;
  const t = tQuantile(0.95, 2 * shape);
  const critical = (end * t) / Math.sqrt(2 * shape + t * t);
  return { correlation: Math.min(0.95, Math.max(0, c + (1 + 3 * c) / n)), alike: c > critical };
}
