/** Good choices, found without a proof: sets grown, members swapped, three sets at a time chosen anew. */
import { at, compare, price, valueOf, type PricedSet, type MatchProblem } from './problem.ts';
import { Search, setsUpTo } from './search.ts';

/** Sets grown one member at a time, each around the seed with which that ends best; then the next from what is left. */
export function grown(problem: MatchProblem): readonly PricedSet[] {
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

/** Ways to take two of `of` places. */
const pairsOf = (of: number): readonly (readonly [number, number])[] => Array.from({ length: of }, (_, i) => Array.from({ length: of - 1 - i }, (__, j): [number, number] => [i, i + 1 + j])).flat();

/** Swaps members between sets, one for one and two for two, and with those left over, for as long as that makes the choice better. */
export function improved(problem: MatchProblem, start: readonly PricedSet[]): readonly PricedSet[] {
  let sets = [...start];
  const taken = new Set(sets.flatMap((s) => s.members));
  const left = [...problem.members.keys()].filter((m) => !taken.has(m));
  const swap = (set: PricedSet, out: number, into: number): PricedSet => price(problem, set.members.map((m) => (m === out ? into : m)));
  const attempt = (changed: PricedSet[]): boolean => {
    if (compare(valueOf(changed), valueOf(sets), problem.objective) >= 0) return false;
    sets = changed;
    return true;
  };
  const pairs = problem.of > 2 ? pairsOf(problem.of) : [];
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
      for (let b = a + 1; b < sets.length; b += 1) {
        for (const [p, q] of pairs) {
          for (const [r, t] of pairs) {
            const [mine, theirs] = [at(sets, a).members, at(sets, b).members];
            const exchange = (list: readonly number[], out: readonly number[], into: readonly number[]): PricedSet => price(problem, [...list.filter((m) => !out.includes(m)), ...into].sort((x, y) => x - y));
            const [out, into] = [[at(mine, p), at(mine, q)], [at(theirs, r), at(theirs, t)]];
            if (attempt(sets.with(a, exchange(mine, out, into)).with(b, exchange(theirs, into, out)))) better = true;
          }
        }
      }
    }
    if (!better) break;
  }
  return sets;
}

/** Steps for choosing three sets anew. */
const effortOfThree = 20_000;
/** Sets beyond which three of them are not tried in every way. */
const mostSets = 16;

/** Takes three sets apart and chooses them anew, the best of all ways, for every three and for as long as that makes the choice better. */
export function rechosen(problem: MatchProblem, start: readonly PricedSet[]): readonly PricedSet[] {
  let sets = [...start];
  if (sets.length < 3 || sets.length > mostSets) return sets;
  for (let round = 0; round < 5; round += 1) {
    let better = false;
    for (let a = 0; a < sets.length; a += 1) {
      for (let b = a + 1; b < sets.length; b += 1) {
        for (let c = b + 1; c < sets.length; c += 1) {
          const three = [at(sets, a), at(sets, b), at(sets, c)];
          const places = three.flatMap((s) => s.members).sort((x, y) => x - y);
          const part: MatchProblem = { ...problem, members: places.map((m) => at(problem.members, m)), sets: 3, effort: effortOfThree };
          const own = three.map((s) => ({ ...s, members: s.members.map((m) => places.indexOf(m)).sort((x, y) => x - y) }));
          const { greatest, total } = valueOf(three);
          const candidates = setsUpTo(part, problem.objective === 'greatest' ? greatest : total);
          if (candidates === null) continue;
          const search = new Search(part, candidates, own);
          search.run();
          if (compare(valueOf(search.best), valueOf(three), problem.objective) >= 0) continue;
          const anew = search.best.map((s) => ({ ...s, members: s.members.map((m) => at(places, m)) }));
          const changed = sets.with(a, at(anew, 0)).with(b, at(anew, 1)).with(c, at(anew, 2));
          if (compare(valueOf(changed), valueOf(sets), problem.objective) >= 0) continue;
          sets = changed;
          better = true;
        }
      }
    }
    if (!better) break;
  }
  return sets;
}
