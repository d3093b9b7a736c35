/** The exact search: every set that can be part of a better choice, then every choice of these that a bound does not rule out. */
import { at, compare, price, valueOf, type ChoiceValue, type MatchCriterion, type PricedSet, type MatchProblem } from './problem.ts';

/** Sets that are kept for an exact search. */
const mostSets = 300_000;

/** Least cost that a set with these extremes of one criterion can have, whatever else it holds: never falls as it grows. */
export function leastCost({ scale, weight }: MatchCriterion, low: number, high: number): number {
  // (high - low) / mean is at least (high - low) / high.
  return weight * (scale === 'percent' ? 100 * (1 - low / high) : high - low);
}

/** Every set that costs no more than `cap`; null: too many, or too long to find. */
export function setsUpTo(problem: MatchProblem, cap: number): readonly PricedSet[] | null {
  const { members, criteria, of, effort } = problem;
  const found: PricedSet[] = [];
  let steps = 0;
  const chosen: number[] = [];
  const grow = (from: number, lows: readonly number[], highs: readonly number[]): boolean => {
    for (let m = from; m <= members.length - (of - chosen.length); m += 1) {
      steps += 1;
      if (steps > effort) return false;
      const { values } = at(members, m);
      const low = lows.map((v, c) => Math.min(v, at(values, c)));
      const high = highs.map((v, c) => Math.max(v, at(values, c)));
      if (criteria.some((criterion, c) => leastCost(criterion, at(low, c), at(high, c)) > cap)) continue;
      chosen.push(m);
      if (chosen.length < of) {
        if (!grow(m + 1, low, high)) return false;
      } else {
        const set = price(problem, [...chosen]);
        if (set.cost <= cap) found.push(set);
        if (found.length > mostSets) return false;
      }
      chosen.pop();
    }
    return true;
  };
  const none = criteria.map(() => Number.POSITIVE_INFINITY);
  return grow(0, none, none.map((v) => -v)) ? found : null;
}

/** A price for each member, so that sets which want the same members no longer look cheap together. */
export interface Multipliers {
  /** One for each member. */
  readonly prices: readonly number[];
  /** No choice costs less in total. */
  readonly bound: number;
}

/** Rounds of the search for prices. */
const rounds = 250;

/**
 * Bound on the total cost by Lagrange multipliers on "each member once" (Held and Karp, Mathematical Programming 1 (1971) 6; step lengths after
 * Polyak). What is left to choose is easy: sets of a choice differ in their lowest member, so the cheapest for each lowest member are looked at, and
 * the cheapest of these are taken. `known`: total cost of a choice.
 */
// eslint-disable-next-line complexity -- one loop of a numerical method; half of the branches are what the compiler asks of typed arrays
export function multipliersFor(problem: MatchProblem, candidates: readonly PricedSet[], known: number): Multipliers {
  const { members, sets, of } = problem;
  const full = members.length === sets * of;
  // Flat, because this is gone through some hundred times.
  const costs = Float64Array.from(candidates, (s) => s.cost);
  const places = Int32Array.from(candidates.flatMap((s) => s.members));
  let prices = new Float64Array(members.length);
  let best: Multipliers = { prices: [...prices], bound: 0 };
  let pace = 1;
  let idle = 0;
  for (let i = 0; i < rounds; i += 1) {
    const cheapest = new Int32Array(members.length).fill(-1);
    const weights = new Float64Array(members.length).fill(Number.POSITIVE_INFINITY);
    for (let s = 0; s < costs.length; s += 1) {
      const first = s * of;
      let weight = costs[s] ?? 0;
      for (let k = first; k < first + of; k += 1) weight += prices[places[k] ?? 0] ?? 0;
      const lowest = places[first] ?? 0;
      if (weight >= (weights[lowest] ?? 0)) continue;
      weights[lowest] = weight;
      cheapest[lowest] = s;
    }
    const taken = members.flatMap((_, m) => ((cheapest[m] ?? -1) < 0 ? [] : [m])).sort((x, y) => (weights[x] ?? 0) - (weights[y] ?? 0)).slice(0, sets);
    if (taken.length < sets) return best;
    const bound = taken.reduce((sum, m) => sum + (weights[m] ?? 0), 0) - prices.reduce((sum, p) => sum + p, 0);
    if (bound > best.bound + 1e-9 * Math.abs(known)) idle = 0;
    else if ((idle += 1) >= 12) [idle, pace] = [0, pace / 2];
    if (bound > best.bound) best = { prices: [...prices], bound };
    const uses = members.map(() => -1);
    for (const m of taken) for (const member of candidates[cheapest[m] ?? -1]?.members ?? []) uses[member] = at(uses, member) + 1;
    const length = uses.reduce((sum, u) => sum + u * u, 0);
    if (length === 0 || known - bound <= 1e-12 * known) break;
    const step = (pace * (known - bound)) / length;
    // Where members may be left over a price below zero would say that each must be used.
    prices = prices.map((p, m) => (full ? p + step * at(uses, m) : Math.max(0, p + step * at(uses, m))));
  }
  return best;
}

/**
 * Depth first over the members in their order: the lowest one that is undecided is either left over or the lowest of one
 * of the sets. Every choice is met once. A branch ends where even its bound is no better than the best that is known. With multipliers
 * totals are counted in costs with prices, less all prices, which is no more than the total.
 */
export class Search {
  best: readonly PricedSet[];
  readonly #problem: MatchProblem;
  readonly #priced: boolean;
  /** Sets by their lowest member with what they weigh, the lightest first. */
  readonly #byLowest: readonly Weighed[][];
  /** bounds[m][k]: no k disjoint sets of members from m on can have smaller values. */
  readonly #bounds: readonly (readonly ChoiceValue[])[];
  readonly #offset: number;
  readonly #used: boolean[];
  readonly #chosen: PricedSet[] = [];
  #value: ChoiceValue;
  #steps = 0;

  constructor(problem: MatchProblem, candidates: readonly PricedSet[], known: readonly PricedSet[], prices: readonly number[] | null = null) {
    this.#problem = problem;
    this.#priced = prices !== null;
    this.best = known;
    this.#value = valueOf(known);
    this.#offset = -(prices ?? []).reduce((sum, p) => sum + p, 0);
    const byLowest = problem.members.map((): Weighed[] => []);
    for (const set of candidates) {
      const weight = prices === null ? set.cost : set.members.reduce((sum, m) => sum + at(prices, m), set.cost);
      at(byLowest, at(set.members, 0)).push({ set, weight });
    }
    for (const sets of byLowest) sets.sort((a, b) => a.weight - b.weight);
    this.#byLowest = byLowest;
    this.#bounds = suffixBounds(problem, byLowest);
    this.#used = problem.members.map(() => false);
  }

  /** True: `best` is the best. False: given up. */
  run(): boolean {
    return this.#from(0, this.#problem.sets, { greatest: 0, total: this.#offset });
  }

  rootBound(): ChoiceValue {
    const { greatest, total } = at(at(this.#bounds, 0), this.#problem.sets);
    return { greatest, total: total + this.#offset };
  }

  #hopeless(from: number, remaining: number, so: ChoiceValue): boolean {
    const bound = at(at(this.#bounds, from), remaining);
    return compare({ greatest: Math.max(so.greatest, bound.greatest), total: so.total + bound.total }, this.#value, this.#problem.objective) >= 0;
  }

  #from(start: number, remaining: number, so: ChoiceValue): boolean {
    if (remaining === 0) {
      const value = valueOf(this.#chosen);
      if (compare(value, this.#value, this.#problem.objective) < 0) {
        this.#value = value;
        this.best = [...this.#chosen];
      }
      return true;
    }
    let lowest = start;
    while (this.#used[lowest] === true) lowest += 1;
    this.#steps += 1;
    if (this.#steps > this.#problem.effort) return false;
    if (this.#hopeless(lowest, remaining, so)) return true;
    for (const { set, weight } of at(this.#byLowest, lowest)) {
      this.#steps += 1;
      if (set.members.some((m) => this.#used[m])) continue;
      const value = { greatest: Math.max(so.greatest, set.cost), total: so.total + weight };
      if (this.#hopeless(lowest + 1, remaining - 1, value)) {
        // Those after it weigh more; by price they may still have a smaller cost, which decides between equal totals.
        if (!this.#priced || value.total + at(at(this.#bounds, lowest + 1), remaining - 1).total > this.#value.total * (1 + 1e-9)) break;
        continue;
      }
      for (const m of set.members) this.#used[m] = true;
      this.#chosen.push(set);
      const done = this.#from(lowest + 1, remaining - 1, value);
      this.#chosen.pop();
      for (const m of set.members) this.#used[m] = false;
      if (!done) return false;
    }
    // Left over. Where too few would remain, the bound is infinite.
    return this.#from(lowest + 1, remaining, so);
  }
}

interface Weighed {
  readonly set: PricedSet;
  readonly weight: number;
}

/**
 * Two bounds, of which the better counts. Sets differ in their lowest member, so no two may start at the same. And every
 * member of a set weighs at least a share of the lightest set that it can be in, so k sets weigh at least the k x n smallest shares.
 */
function suffixBounds({ members, sets, of }: MatchProblem, byLowest: readonly (readonly Weighed[])[]): readonly (readonly ChoiceValue[])[] {
  const count = members.length;
  const none: ChoiceValue = { greatest: 0, total: 0 };
  const impossible: ChoiceValue = { greatest: Number.POSITIVE_INFINITY, total: Number.POSITIVE_INFINITY };
  const bounds: ChoiceValue[][] = Array.from({ length: count + 1 }, () => Array.from({ length: sets + 1 }, (_, k) => (k === 0 ? none : impossible)));
  const cheapest = members.map(() => impossible);
  for (let m = count - 1; m >= 0; m -= 1) {
    const own = at(byLowest, m);
    const start = { greatest: own.reduce((least, { set }) => Math.min(least, set.cost), Number.POSITIVE_INFINITY), total: own[0]?.weight ?? Number.POSITIVE_INFINITY };
    for (const { set, weight } of own) {
      for (const member of set.members) {
        const { greatest, total } = at(cheapest, member);
        cheapest[member] = { greatest: Math.min(greatest, set.cost), total: Math.min(total, weight) };
      }
    }
    const shares = cheapest.slice(m).map((c) => c.total).sort((a, b) => a - b);
    const costs = cheapest.slice(m).map((c) => c.greatest).sort((a, b) => a - b);
    for (let k = 1; k <= sets; k += 1) {
      const [skipped, after] = [at(at(bounds, m + 1), k), at(at(bounds, m + 1), k - 1)];
      const used = shares.slice(0, k * of);
      const share = used.length < k * of ? Number.POSITIVE_INFINITY : used.reduce((sum, s) => sum + s, 0) / of;
      at(bounds, m)[k] = {
        greatest: Math.max(costs[k * of - 1] ?? Number.POSITIVE_INFINITY, Math.min(skipped.greatest, Math.max(start.greatest, after.greatest))),
        total: Math.max(share, Math.min(skipped.total, start.total + after.total)),
      };
    }
  }
  return bounds;
}
