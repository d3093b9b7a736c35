/** The newest run held against those before it, where there are too few for limits: CH-9. */
import { coverageFactor } from '../uncertainty/budget.ts';
import { sampleOf } from '../statistics/sample.ts';

/** One good run in a hundred lies outside, which is about how often the Western Electric rules signal by chance. */
const coverage = 0.99;
/** Fewest runs before it. */
const fewestBefore = 3;

export interface NewestRun {
  readonly low: number;
  readonly high: number;
  readonly outside: boolean;
}

/** Prediction interval of one more value from those before it (Student's t). null: fewer than three before it, or these are all equal. */
export function newestOf(values: readonly number[]): NewestRun | null {
  const before = values.slice(0, -1);
  const newest = values.at(-1);
  if (newest === undefined || before.length < fewestBefore || !values.every(Number.isFinite)) return null;
  const { n, mean, squares } = sampleOf(before);
  if (!(squares > 0)) return null;
  const half = coverageFactor(n - 1, coverage) * Math.sqrt((squares / (n - 1)) * (1 + 1 / n));
  return { low: mean - half, high: mean + half, outside: Math.abs(newest - mean) > half };
}
