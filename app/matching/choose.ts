/**
 * Choosing sets of alike members out of a batch. Exact by branch and bound where its size allows, and otherwise a good choice
 * with a bound that says how much better another could be at most. The rules (MA-n) are in README.md beside this file.
 */

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

export interface ChosenSets {
  readonly kind: 'choice';
  /** Indices into the batch, each set rising by the members' ids; the set with the least cost first. */
  readonly sets: readonly { readonly members: readonly number[]; readonly cost: number }[];
  readonly greatest: number;
  readonly total: number;
  readonly proof: ChoiceProof;
}

export type ChoiceProof =
  | { readonly kind: 'best' }
  | {
      readonly kind: 'not-proved';
      /** No choice can have a smaller objective than this. */
      readonly bound: number;
    };

export interface NoChoice {
  readonly kind: 'no-choice';
  readonly reason: 'bad-request' | 'too-few' | 'same-id' | 'not-usable';
  readonly text: string;
}

const defaultEffort = 2_000_000;
/** Totals that differ by less, relative, are equal: sums in another order do. */
const tie = 1e-12;
/** Sets that are kept for an exact search. */
const mostSets = 300_000;

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

/** The best disjoint sets. The answer does not depend on the order of the batch. MA-3 to MA-6. */
export function chooseSets(batch: readonly BatchMember[], criteria: readonly MatchCriterion[], wanted: SetsWanted): ChosenSets | NoChoice {
  const refusal = refusalOf(batch, criteria, wanted);
  if (refusal !== null) return refusal;
  // By the value that counts most, so that alike members stand side by side; equal ones by id.
  const main = criteria.reduce((best, { weight }, c) => (weight > (criteria[best]?.weight ?? 0) ? c : best), 0);
  const order = batch.map((_, i) => i).sort((a, b) => at(at(batch, a).values, main) - at(at(batch, b).values, main) || (at(batch, a).id < at(batch, b).id ? -1 : 1));
  const problem: Problem = { members: order.map((i) => at(batch, i)), criteria, ...wanted, effort: wanted.effort ?? defaultEffort };
  const { sets, proof } = solve(problem);
  const byId = (a: number, b: number): number => (at(batch, a).id < at(batch, b).id ? -1 : 1);
  const stated = sets.map(({ members, cost }) => ({ cost, members: members.map((m) => at(order, m)).sort(byId) }));
  stated.sort((a, b) => a.cost - b.cost || byId(at(a.members, 0), at(b.members, 0)));
  const { greatest, total } = valueOf(sets);
  return { kind: 'choice', sets: stated, greatest, total, proof };
}

function refusalOf(batch: readonly BatchMember[], criteria: readonly MatchCriterion[], { sets, of }: SetsWanted): NoChoice | null {
  const no = (reason: NoChoice['reason'], text: string): NoChoice => ({ kind: 'no-choice', reason, text });
  if (!Number.isInteger(sets) || sets < 1 || !Number.isInteger(of) || of < 2) {
    return no('bad-request', `One or more sets of two or more injectors can be chosen, not ${sets} of ${of}.`);
  }
  if (criteria.length === 0 || !criteria.every(({ weight }) => Number.isFinite(weight) && weight > 0)) {
    return no('bad-request', 'Sets are matched at one or more points, each with a weight above 0.');
  }
  if (batch.length < sets * of) {
    return no('too-few', `${sets} sets of ${of} need ${sets * of} injectors with a value at every point, and there are ${batch.length}.`);
  }
  const ids = new Set<string>();
  for (const { id, values } of batch) {
    if (ids.has(id)) return no('same-id', `Injector ${id} is in the batch twice. Take one of the two out.`);
    ids.add(id);
    const usable = values.length === criteria.length && values.every((v, c) => Number.isFinite(v) && (criteria[c]?.scale === 'absolute' || v > 0));
    if (!usable) return no('not-usable', `Injector ${id} has a value that cannot be compared (missing, not a number, or not above 0). Leave it out or measure it again.`);
  }
  return null;
}

interface Problem extends Required<SetsWanted> {
  readonly members: readonly BatchMember[];
  readonly criteria: readonly MatchCriterion[];
}

/** Members as rising indices into the problem's. */
interface PricedSet {
  readonly members: readonly number[];
  readonly cost: number;
}

interface Value {
  readonly greatest: number;
  readonly total: number;
}

function valueOf(sets: readonly PricedSet[]): Value {
  let greatest = 0;
  let total = 0;
  for (const { cost } of [...sets].sort((a, b) => a.cost - b.cost)) {
    greatest = cost;
    total += cost;
  }
  return { greatest, total };
}

/** Below zero: `a` is better. */
function compare(a: Value, b: Value, objective: SetsWanted['objective']): number {
  return objective === 'greatest' ? a.greatest - b.greatest || a.total - b.total : a.total - b.total || a.greatest - b.greatest;
}

const price = ({ members, criteria }: Problem, set: readonly number[]): PricedSet => ({
  members: set,
  cost: costOfSet(set.map((m) => at(members, m)), criteria),
});

function solve(problem: Problem): { readonly sets: readonly PricedSet[]; readonly proof: ChoiceProof } {
  const { objective } = problem;
  const first = improved(problem, grown(problem));
  const unproved = (sets: readonly PricedSet[], bound: Value): { sets: readonly PricedSet[]; proof: ChoiceProof } =>
    compare(bound, valueOf(sets), objective) >= 0 ? { sets, proof: { kind: 'best' } } : { sets, proof: { kind: 'not-proved', bound: bound[objective] } };
  const easy = lineBound(problem);
  const known = valueOf(first);
  if (compare(easy, known, objective) >= 0) return { sets: first, proof: { kind: 'best' } };
  // A set that costs more than this is in no better choice.
  const cap = objective === 'greatest' ? known.greatest : known.total - (problem.sets - 1) * easy.least;
  const candidates = setsUpTo(problem, cap * (1 + tie));
  if (candidates === null) return unproved(first, easy);
  const search = new Search(problem, candidates, first);
  if (search.run()) return { sets: search.best, proof: { kind: 'best' } };
  const root = search.rootBound();
  return unproved(search.best, { greatest: Math.max(root.greatest, easy.greatest), total: Math.max(root.total, easy.total) });
}

/** Sets grown one member at a time, each around the seed with which that ends best; then the next from what is left. */
function grown(problem: Problem): readonly PricedSet[] {
  const free = new Set(problem.members.keys());
  const around = (seed: number): PricedSet => {
    let set: PricedSet = { members: [seed], cost: 0 };
    while (set.members.length < problem.of) {
      let next: PricedSet | null = null;
      for (const m of free) {
        if (set.members.includes(m)) continue;
        const larger = price(problem, [...set.members, m]);
        if (next === null || larger.cost < next.cost) next = larger;
      }
      if (next === null) throw new Error('the batch is large enough');
      set = next;
    }
    return set;
  };
  const bySeed = new Map<number, PricedSet>();
  return Array.from({ length: problem.sets }, () => {
    let best: PricedSet | null = null;
    for (const seed of free) {
      let set = bySeed.get(seed);
      if (set?.members.every((m) => free.has(m)) !== true) set = around(seed);
      bySeed.set(seed, set);
      if (best === null || set.cost < best.cost) best = set;
    }
    if (best === null) throw new Error('the batch is large enough');
    for (const m of best.members) free.delete(m);
    return best;
  });
}

/** Swaps members between sets, and with those left over, for as long as that makes the choice better. */
function improved(problem: Problem, start: readonly PricedSet[]): readonly PricedSet[] {
  let sets = [...start];
  const taken = new Set(sets.flatMap((s) => s.members));
  const left = [...problem.members.keys()].filter((m) => !taken.has(m));
  const swap = (set: PricedSet, out: number, into: number): PricedSet => price(problem, set.members.map((m) => (m === out ? into : m)));
  const attempt = (changed: PricedSet[]): boolean => {
    if (compare(valueOf(changed), valueOf(sets), problem.objective) >= 0) return false;
    sets = changed;
    return true;
  };
  // Each round makes the choice strictly better or is the last; the number of rounds keeps it short.
  for (let round = 0; round < 50; round += 1) {
    let better = false;
    for (let a = 0; a < sets.length; a += 1) {
      for (let place = 0; place < problem.of; place += 1) {
        for (let l = 0; l < left.length; l += 1) {
          const [out, into] = [at(at(sets, a).members, place), at(left, l)];
          if (!attempt(sets.with(a, swap(at(sets, a), out, into)))) continue;
          left[l] = out;
          better = true;
        }
        for (let b = a + 1; b < sets.length; b += 1) {
          for (let other = 0; other < problem.of; other += 1) {
            const [out, into] = [at(at(sets, a).members, place), at(at(sets, b).members, other)];
            if (attempt(sets.with(a, swap(at(sets, a), out, into)).with(b, swap(at(sets, b), into, out)))) better = true;
          }
        }
      }
    }
    if (!better) break;
  }
  return sets;
}

/** Least cost that a set with these extremes of one criterion can have, whatever else it holds: never falls as it grows. */
function leastCost({ scale, weight }: MatchCriterion, low: number, high: number): number {
  // (high - low) / mean is at least (high - low) / high.
  return weight * (scale === 'percent' ? 100 * (1 - low / high) : high - low);
}

/**
 * Bounds from one criterion at a time, where the best sets are neighbours in its order: the least cost of any set, and the
 * least greatest and least total cost of as many disjoint ones.
 */
function lineBound({ members, criteria, sets, of }: Problem): Value & { readonly least: number } {
  let least = 0;
  let greatest = 0;
  let total = 0;
  criteria.forEach((criterion, c) => {
    const values = members.map((m) => at(m.values, c)).sort((a, b) => a - b);
    const costs = values.slice(of - 1).map((high, i) => leastCost(criterion, at(values, i), high));
    const rising = [...costs].sort((a, b) => a - b);
    least = Math.max(least, at(rising, 0));
    const enough = (limit: number): boolean => {
      let found = 0;
      for (let i = 0; i < costs.length; i += 1) {
        if (at(costs, i) > limit) continue;
        found += 1;
        i += of - 1;
      }
      return found >= sets;
    };
    let [low, high] = [0, rising.length - 1];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (enough(at(rising, middle))) high = middle;
      else low = middle + 1;
    }
    greatest = Math.max(greatest, at(rising, low));
    total = Math.max(total, leastTotal(criterion, values, sets, of));
  });
  return { least, greatest, total: Math.max(total, greatest + (sets - 1) * least) };
}

/**
 * Least total cost of disjoint sets by one criterion. Ranges add up, and of two sets that overlap the lower and the upper
 * half have no larger sum of ranges, so neighbours are best. A percentage is taken by the range of logarithms r: its least
 * cost 1 - exp(-r) is concave, and so nowhere below the chord from 0 to the range of the whole batch.
 */
function leastTotal({ scale, weight }: MatchCriterion, rising: readonly number[], sets: number, of: number): number {
  const line = scale === 'percent' ? rising.map(Math.log) : rising;
  const whole = at(line, line.length - 1) - at(line, 0);
  if (!(whole > 0)) return 0;
  const unit = scale === 'percent' ? (100 * (1 - Math.exp(-whole))) / whole : 1;
  // ranges[k]: least sum of k disjoint sets among the values so far; one row for each number of values.
  const rows: number[][] = [Array.from({ length: sets + 1 }, (_, k) => (k === 0 ? 0 : Number.POSITIVE_INFINITY))];
  for (let n = 1; n <= line.length; n += 1) {
    const before = at(rows, n - 1);
    const from = n >= of ? { row: at(rows, n - of), range: at(line, n - 1) - at(line, n - of) } : null;
    rows.push(before.map((left, k) => (k === 0 || from === null ? left : Math.min(left, at(from.row, k - 1) + from.range))));
  }
  return weight * unit * at(at(rows, line.length), sets) * (1 - tie);
}

/** Every set that costs no more than `cap`; null: too many, or too long to find. */
function setsUpTo(problem: Problem, cap: number): readonly PricedSet[] | null {
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

/**
 * Depth first over the members in their order: the lowest one that is undecided is either left over or the lowest of one
 * of the sets. Every choice is met once. A branch ends where even its bound is no better than the best that is known.
 */
class Search {
  best: readonly PricedSet[];
  readonly #problem: Problem;
  /** Sets by their lowest member, the cheapest first. */
  readonly #byLowest: readonly PricedSet[][];
  /** bounds[m][k]: no k disjoint sets of members from m on can have smaller values. */
  readonly #bounds: readonly (readonly Value[])[];
  readonly #used: boolean[];
  readonly #chosen: PricedSet[] = [];
  #value: Value;
  #steps = 0;

  constructor(problem: Problem, candidates: readonly PricedSet[], known: readonly PricedSet[]) {
    this.#problem = problem;
    this.best = known;
    this.#value = valueOf(known);
    const byLowest = problem.members.map((): PricedSet[] => []);
    for (const set of candidates) at(byLowest, at(set.members, 0)).push(set);
    for (const sets of byLowest) sets.sort((a, b) => a.cost - b.cost);
    this.#byLowest = byLowest;
    this.#bounds = suffixBounds(problem, byLowest);
    this.#used = problem.members.map(() => false);
  }

  /** True: `best` is the best. False: given up. */
  run(): boolean {
    return this.#from(0, this.#problem.sets, { greatest: 0, total: 0 });
  }

  rootBound(): Value {
    return at(at(this.#bounds, 0), this.#problem.sets);
  }

  #hopeless(from: number, remaining: number, so: Value): boolean {
    const bound = at(at(this.#bounds, from), remaining);
    const value = { greatest: Math.max(so.greatest, bound.greatest), total: so.total + bound.total };
    // What rounding makes of a total is no difference: then the greatest cost decides, as with equal totals.
    const total = Math.abs(value.total - this.#value.total) <= tie * value.total ? this.#value.total : value.total;
    return compare({ greatest: value.greatest, total }, this.#value, this.#problem.objective) >= 0;
  }

  #from(start: number, remaining: number, so: Value): boolean {
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
    for (const set of at(this.#byLowest, lowest)) {
      this.#steps += 1;
      if (set.members.some((m) => this.#used[m])) continue;
      const value = { greatest: Math.max(so.greatest, set.cost), total: so.total + set.cost };
      // Those after it cost more.
      if (this.#hopeless(lowest + 1, remaining - 1, value)) break;
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

/**
 * Two bounds, of which the better counts. Sets differ in their lowest member, so no two may start at the same. And every
 * member of a set costs at least a share of the cheapest set that it can be in, so k sets cost at least the k x n smallest shares.
 */
function suffixBounds({ members, sets, of }: Problem, byLowest: readonly (readonly PricedSet[])[]): readonly (readonly Value[])[] {
  const count = members.length;
  const none: Value = { greatest: 0, total: 0 };
  const impossible: Value = { greatest: Number.POSITIVE_INFINITY, total: Number.POSITIVE_INFINITY };
  const bounds: Value[][] = Array.from({ length: count + 1 }, () => Array.from({ length: sets + 1 }, (_, k) => (k === 0 ? none : impossible)));
  const cheapest = members.map(() => Number.POSITIVE_INFINITY);
  for (let m = count - 1; m >= 0; m -= 1) {
    const own = at(byLowest, m);
    for (const set of own) for (const member of set.members) cheapest[member] = Math.min(at(cheapest, member), set.cost);
    const shares = cheapest.slice(m).sort((a, b) => a - b);
    const start = own[0]?.cost ?? Number.POSITIVE_INFINITY;
    for (let k = 1; k <= sets; k += 1) {
      const [skipped, after] = [at(at(bounds, m + 1), k), at(at(bounds, m + 1), k - 1)];
      const used = shares.slice(0, k * of);
      const share = used.length < k * of ? Number.POSITIVE_INFINITY : used.reduce((sum, s) => sum + s, 0) / of;
      at(bounds, m)[k] = {
        greatest: Math.max(used[k * of - 1] ?? Number.POSITIVE_INFINITY, Math.min(skipped.greatest, Math.max(start, after.greatest))),
        total: Math.max(share, Math.min(skipped.total, start + after.total)),
      };
    }
  }
  return bounds;
}

function at<T>(list: readonly T[], index: number): T {
  const value = list[index];
  if (value === undefined) throw new RangeError(`index ${index} is outside a list of ${list.length}`);
  return value;
}
