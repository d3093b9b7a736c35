/**
 * Does a result conform to a limit? Conformance probability (JCGM 106:2012, 7.2 to 7.5), and the three decision rules of ILAC-G8:09/2019:
 * simple acceptance, a guard band of a multiple of U, a stated risk. REP-10 to REP-13.
 */
import { chiSquareAbove, fAbove } from '../distributions/distributions.ts';
import type { Result } from '../uncertainty/budget.ts';

/** A tolerance interval in the unit of the result; null: no limit on that side. */
export interface Tolerance {
  readonly low: number | null;
  readonly high: number | null;
}

export type DecisionRule =
  | { readonly kind: 'simple' }
  /** Acceptance limits lie inside the tolerance limits by `times` U95, rejection limits outside of them by as much. */
  | { readonly kind: 'guard-band'; readonly times: number }
  /** Accepted where the probability that the item does not conform is at most `risk`, rejected where that it conforms is. */
  | { readonly kind: 'stated-risk'; readonly risk: number };

export type Decided = 'pass' | 'fail' | 'neither';

export interface Conformity {
  readonly decided: Decided;
  /** Probability that the true value lies inside the tolerance, by what was measured alone. */
  readonly probability: number;
}

/** What of a result the decision rests on. */
export type Measured = Pick<Result, 'value' | 'u' | 'effectiveDof' | 'expanded'>;

/** From here on Student's t is the normal distribution to six digits, as for the coverage factor. */
const MANY_DEGREES = 1e6;

/** Probability that a standard normal variable (Student's t of `dof` degrees of freedom) stays below `z`; either tail to its own precision. */
export function probabilityBelow(z: number, dof = Number.POSITIVE_INFINITY): number {
  const beyond = dof >= MANY_DEGREES ? chiSquareAbove(z * z, 1) : fAbove(z * z, 1, dof);
  return z < 0 ? beyond / 2 : 1 - beyond / 2;
}

/** JCGM 106:2012, 7.5, with the distribution that the coverage factor of the result is taken from (GUM G.3). `u` 0: the value is taken as exact. */
export function conformanceProbability({ value, u, effectiveDof }: Omit<Measured, 'expanded'>, { low, high }: Tolerance): number {
  if (u === 0) return (low === null || value >= low) && (high === null || value <= high) ? 1 : 0;
  const beyondLow = low === null ? 0 : probabilityBelow((low - value) / u, effectiveDof);
  const beyondHigh = high === null ? 0 : probabilityBelow((value - high) / u, effectiveDof);
  return Math.max(0, 1 - beyondLow - beyondHigh);
}

/** REP-10 to REP-12. A result exactly at an acceptance limit is accepted. */
export function decideConformity(measured: Measured, tolerance: Tolerance, rule: DecisionRule): Conformity {
  const probability = conformanceProbability(measured, tolerance);
  const { value, expanded } = measured;
  const { low, high } = tolerance;
  const guard = rule.kind === 'guard-band' ? rule.times * expanded : 0;
  const decided = ((): Decided => {
    if (rule.kind === 'stated-risk') return 1 - probability <= rule.risk ? 'pass' : probability <= rule.risk ? 'fail' : 'neither';
    if ((low === null || value >= low + guard) && (high === null || value <= high - guard)) return 'pass';
    if ((low !== null && value < low - guard) || (high !== null && value > high + guard)) return 'fail';
    return 'neither';
  })();
  return { decided, probability };
}

const percent = (fraction: number): string => String(Number((100 * fraction).toPrecision(3)));

/** The rule as a report states it: what was decided by, and what risk that leaves (ISO/IEC 17025:2017, 7.8.6.1). */
export function ruleSentence(rule: DecisionRule): string {
  switch (rule.kind) {
    case 'simple':
      return 'Simple acceptance (ILAC-G8:09/2019): a result inside its limits passes, one outside fails, whatever its uncertainty. A result at a limit has a risk of 50 % to be decided wrongly.';
    case 'guard-band':
      return `Guard band w = ${rule.times === 1 ? 'U' : `${rule.times} U`}, U the expanded uncertainty (95 %) of the result (ILAC-G8:09/2019, JCGM 106:2012): it passes where it lies inside its limits by w at least, fails where it lies outside by more than w, and is decided neither way between.${rule.times === 1 ? ' At most 2.5 % of results at an acceptance limit belong to items that are beyond that limit, and 5 % where a drift of the bench that was not taken off makes most of U.' : ''}`;
    case 'stated-risk':
      return `Stated risk (JCGM 106:2012): a result passes where the probability that the item is outside its limits is at most ${percent(rule.risk)} %, fails where the probability that it is inside is at most ${percent(rule.risk)} %, and is decided neither way between. The probabilities are by this measurement alone; nothing was assumed of the items before.`;
  }
}
