/** What matching is asked, and what a choice of sets is worth. */

export interface BatchMember {
  /** Unique in the batch. */
  readonly id: string;
  /** One for each criterion. */
  readonly values: readonly number[];
}

export interface MatchCriterion {
  /** percent: spread over the mean of the set; values must be positive. absolute: spread in the unit of the values. */
  readonly scale: 'percent' | 'absolute';
  /** What one unit of spread counts for; above 0. */
  readonly weight: number;
}

export interface SetsWanted {
  readonly sets: number;
  /** Members of a set, 2 or more. */
  readonly of: number;
  /** What is to be least: the greatest cost of a set (then the total), or the total of all sets (then the greatest). */
  readonly objective: 'greatest' | 'total';
  /** Steps after which a search is given up. */
  readonly effort?: number;
}

/** Values that differ by less, relative, are equal: sums in another order do. */
export const tie = 1e-12;

export interface MatchProblem extends Required<SetsWanted> {
  readonly members: readonly BatchMember[];
  readonly criteria: readonly MatchCriterion[];
}

/** Members as rising indices into the problem's. */
export interface PricedSet {
  readonly members: readonly number[];
  readonly cost: number;
}

export interface ChoiceValue {
  readonly greatest: number;
  readonly total: number;
}

/** Cost of a set: its worst criterion, weight x (largest - smallest), in percent of the mean or absolute. MA-2. */
export function costOfSet(members: readonly BatchMember[], criteria: readonly MatchCriterion[]): number {
  let cost = 0;
  criteria.forEach(({ scale, weight }, c) => {
    let low = Number.POSITIVE_INFINITY;
    let high = Number.NEGATIVE_INFINITY;
    let sum = 0;
    for (const { values } of members) {
      const value = values[c] ?? Number.NaN;
      low = Math.min(low, value);
      high = Math.max(high, value);
      sum += value;
    }
    const spread = scale === 'percent' ? (100 * (high - low) * members.length) / sum : high - low;
    cost = Math.max(cost, weight * spread);
  });
  return cost;
}


export const price = ({ members, criteria }: MatchProblem, set: readonly number[]): PricedSet => ({
  members: set,
  cost: costOfSet(set.map((m) => at(members, m)), criteria),
});

export function valueOf(sets: readonly PricedSet[]): ChoiceValue {
  let greatest = 0;
  let total = 0;
  for (const { cost } of [...sets].sort((a, b) => a.cost - b.cost)) {
    greatest = cost;
    total += cost;
  }
  return { greatest, total };
}

const differ = (a: number, b: number): number => (Math.abs(a - b) <= tie * Math.max(Math.abs(a), Math.abs(b)) ? 0 : a - b);

/** Below zero: `a` is better. Of equal first values (but for rounding) the second decides. MA-3. */
export function compare(a: ChoiceValue, b: ChoiceValue, objective: SetsWanted['objective']): number {
  return objective === 'greatest' ? differ(a.greatest, b.greatest) || differ(a.total, b.total) : differ(a.total, b.total) || differ(a.greatest, b.greatest);
}

export function at<T>(list: readonly T[], index: number): T {
  const value = list[index];
  if (value === undefined) throw new RangeError(`index ${index} is outside a list of ${list.length}`);
  return value;
}
