/** Sets of alike injectors with what is known of how alike they are. Rules (MA-n) in README.md beside this file. */
import type { Result } from '../uncertainty/budget.ts';
import { deviationsFromMean, meanOf, percentOf, rangeOf } from '../uncertainty/set.ts';
import { stateCarried, type Carried } from '../uncertainty/carried.ts';
import { criterionOf, type Candidate, type MatchPoint } from './candidates.ts';
import { chooseSets, type NoChoice, type ChoiceProof } from './choose.ts';
import type { SetsWanted } from './problem.ts';

/** A set at one point. */
interface SetAtPoint {
  /** Mean of the set, in the unit of the values. */
  readonly mean: Result;
  /** From the set's mean: percent of it, or us. One for each member. */
  readonly deviations: readonly Result[];
  /** Largest minus smallest, likewise. */
  readonly spread: Result;
}

export interface MatchedSet {
  readonly members: readonly Candidate[];
  /** Weighted spread at the worst point. */
  readonly cost: number;
  readonly points: readonly SetAtPoint[];
}

export interface Match {
  readonly kind: 'match';
  readonly sets: readonly MatchedSet[];
  /** Those in no set. */
  readonly left: readonly Candidate[];
  readonly greatest: number;
  readonly total: number;
  readonly proof: ChoiceProof;
  readonly text: string;
}

/** Chooses the sets and states every deviation in them with its uncertainty. */
export function matchSets(candidates: readonly Candidate[], points: readonly MatchPoint[], wanted: SetsWanted): Match | NoChoice {
  const choice = chooseSets(
    candidates.map((c) => ({ id: c.serialNumber, values: c.values.map((v) => v.value) })),
    points.map(criterionOf),
    wanted,
  );
  if (choice.kind === 'no-choice') return choice;
  const sets = choice.sets.map(({ members, cost }): MatchedSet => {
    const own = members.flatMap((m) => candidates[m] ?? []);
    return { members: own, cost, points: points.map((point, p) => atPoint(own.flatMap((c) => c.values[p] ?? []), point)) };
  });
  const taken = new Set(choice.sets.flatMap((s) => s.members));
  const { greatest, total, proof } = choice;
  return { kind: 'match', sets, left: candidates.filter((_, i) => !taken.has(i)), greatest, total, proof, text: proofText(proof, wanted.objective, choice[wanted.objective], choice[wanted.objective === 'greatest' ? 'total' : 'greatest']) };
}

function proofText(proof: ChoiceProof, objective: SetsWanted['objective'], reached: number, other: number): string {
  if (proof.kind === 'best') return 'Proved best by the measured values: every other choice was weighed or ruled out.';
  const [what, second] = objective === 'greatest' ? ['greatest cost of a set', 'total cost'] : ['total cost', 'greatest cost of a set'];
  if (proof.objectiveProved) return `Proved by the measured values: no choice has a ${what} below ${reached.toFixed(3)}. Not proved: whether one of that has a ${second} below ${other.toFixed(3)}.`;
  return `Not proved best: the batch is too large to rule out every other choice. This one has a ${what} of ${reached.toFixed(3)}; none can have less than ${proof.bound.toFixed(3)}.`;
}

/** MA-9: errors that all members share are taken out by name before what is left is added up. */
function atPoint(values: readonly Carried[], point: MatchPoint): SetAtPoint {
  const mean = meanOf(values);
  const stated = (of: Carried): Result => stateCarried(criterionOf(point).scale === 'percent' ? percentOf(of, mean) : of);
  return { mean: stateCarried(mean), deviations: deviationsFromMean(values).map(stated), spread: stated(rangeOf(values)) };
}
