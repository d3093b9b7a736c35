/**
 * Choosing sets of alike members out of a batch. Exact by branch and bound where its size allows, and otherwise a good choice
 * with a bound that says how much better another could be at most. The rules (MA-n) are in README.md beside this file.
 */
import { grown, improved, rechosen } from './improve.ts';
import { at, compare, tie, valueOf, type BatchMember, type ChoiceValue, type MatchCriterion, type PricedSet, type MatchProblem, type SetsWanted } from './problem.ts';
import { leastCost, multipliersFor, Search, setsUpTo } from './search.ts';

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
      /** The objective that was reached is that bound, so only what decides between equal ones is not proved. */
      readonly objectiveProved: boolean;
    };

export interface NoChoice {
  readonly kind: 'no-choice';
  readonly reason: 'bad-request' | 'too-few' | 'same-id' | 'not-usable';
  readonly text: string;
}

const defaultEffort = 2_000_000;
/** Searches that are begun, each from the best that the one before found. */
const mostRounds = 3;

/** The best disjoint sets. The answer does not depend on the order of the batch. MA-3 to MA-6. */
export function chooseSets(batch: readonly BatchMember[], criteria: readonly MatchCriterion[], wanted: SetsWanted): ChosenSets | NoChoice {
  const refusal = refusalOf(batch, criteria, wanted);
  if (refusal !== null) return refusal;
  // By the value that counts most, so that alike members stand side by side; equal ones by id.
  const main = criteria.reduce((best, { weight }, c) => (weight > (criteria[best]?.weight ?? 0) ? c : best), 0);
  const order = batch.map((_, i) => i).sort((a, b) => at(at(batch, a).values, main) - at(at(batch, b).values, main) || (at(batch, a).id < at(batch, b).id ? -1 : 1));
  const problem: MatchProblem = { members: order.map((i) => at(batch, i)), criteria, ...wanted, effort: wanted.effort ?? defaultEffort };
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

interface Solved {
  readonly sets: readonly PricedSet[];
  readonly proof: ChoiceProof;
}

const best = (sets: readonly PricedSet[]): Solved => ({ sets, proof: { kind: 'best' } });

function solve(problem: MatchProblem): Solved {
  const { objective } = problem;
  const easy = lineBound(problem);
  const known = improved(problem, grown(problem));
  if (compare(easy, valueOf(known), objective) >= 0) return best(known);
  // Cheap where it proves the choice, before more is done for a better one.
  const quick = searched({ ...problem, effort: problem.effort / 10 }, known, easy);
  if (quick.proof.kind === 'best') return quick;
  let found = searched(problem, improved(problem, rechosen(problem, quick.sets)), easy);
  // What the search found before it was given up is a better place to start from.
  for (let round = 1; round < mostRounds && found.proof.kind !== 'best'; round += 1) {
    const better = improved(problem, rechosen(problem, found.sets));
    if (round > 1 && compare(valueOf(better), valueOf(found.sets), objective) >= 0) break;
    found = searched(problem, better, easy);
  }
  return found;
}

/** The best choice if the search ends, or the best that was found with what is proved of it. */
function searched(problem: MatchProblem, known: readonly PricedSet[], easy: ChoiceValue & { readonly least: number }): Solved {
  const { objective, sets } = problem;
  const value = valueOf(known);
  // A set that costs more than this is in no better choice.
  const cap = objective === 'greatest' ? value.greatest : value.total - (sets - 1) * easy.least;
  const candidates = setsUpTo(problem, cap * (1 + tie));
  if (candidates === null) return unproved(problem, known, easy);
  if (objective === 'total') return byTotal(problem, candidates, known, easy);
  const search = new Search(problem, candidates, known);
  const root = search.rootBound();
  const isLeast = (found: readonly PricedSet[]): boolean => compare({ greatest: Math.max(root.greatest, easy.greatest), total: 0 }, { greatest: valueOf(found).greatest, total: 0 }, 'greatest') >= 0;
  // No set can be cheaper than the greatest of these: what is left is the least total of sets that cost no more.
  if (!isLeast(known) && search.run()) return best(search.best);
  if (!isLeast(search.best)) return unproved(problem, search.best, { greatest: Math.max(root.greatest, easy.greatest), total: Math.max(root.total, easy.total) });
  const { greatest } = valueOf(search.best);
  const rest = byTotal({ ...problem, objective: 'total' }, candidates.filter((s) => s.cost <= greatest * (1 + tie)), search.best, easy);
  return rest.proof.kind === 'best' ? rest : { sets: rest.sets, proof: { kind: 'not-proved', bound: greatest, objectiveProved: true } };
}

/** Least total of these sets: the multipliers rule out most of them. */
function byTotal(problem: MatchProblem, candidates: readonly PricedSet[], known: readonly PricedSet[], easy: ChoiceValue): Solved {
  const { total } = valueOf(known);
  const { prices, bound } = multipliersFor(problem, candidates, total);
  const search = new Search(problem, candidates, known, prices);
  if (search.run()) return best(search.best);
  return unproved(problem, search.best, { greatest: easy.greatest, total: Math.max(bound, search.rootBound().total, easy.total) });
}

function unproved({ objective }: MatchProblem, sets: readonly PricedSet[], bound: ChoiceValue): Solved {
  const value = valueOf(sets);
  if (compare(bound, value, objective) >= 0) return best(sets);
  const objectiveProved = bound[objective] >= value[objective] * (1 - tie);
  return { sets, proof: { kind: 'not-proved', bound: Math.min(bound[objective], value[objective]), objectiveProved } };
}

/**
 * Bounds from one criterion at a time, where the best sets are neighbours in its order: the least cost of any set, and the
 * least greatest and least total cost of as many disjoint ones.
 */
function lineBound({ members, criteria, sets, of }: MatchProblem): ChoiceValue & { readonly least: number } {
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
