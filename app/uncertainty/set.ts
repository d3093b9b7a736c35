/** Sets of values that were measured alike: their mean, how far each lies from it, how far they spread. RED-22, RED-67. */
import { combine } from './carried.ts';
import type { Carried } from './carried.ts';

/** Shares of each member in a sum. */
const weighed = (members: readonly Carried[], shares: readonly number[]): Carried =>
  combine(
    members.reduce((sum, { value }, i) => sum + (shares[i] ?? 0) * value, 0),
    members.map((of, i) => ({ of, sensitivity: shares[i] ?? 0 })),
  );

/**
 * The mean of these members, not of a population: their spread is no part of its uncertainty. What is random averages out; an error
 * that they have in common does not. Empty: throws.
 */
export function meanOf(members: readonly Carried[]): Carried {
  if (members.length === 0) throw new RangeError('an empty set has no mean');
  const n = members.length;
  return combine(members.reduce((sum, { value }) => sum + value, 0) / n, members.map((of) => ({ of, sensitivity: 1 / n })));
}

/**
 * How far each member lies from the mean of all. A member is part of its own mean, so its random part enters with 1 - 1/n and the
 * others' with 1/n each; of an error in common only what moves the members differently is left.
 */
export function deviationsFromMean(members: readonly Carried[]): readonly Carried[] {
  return members.map((_, own) => weighed(members, members.map((__, i) => (i === own ? 1 : 0) - 1 / members.length)));
}

/** Largest less smallest; of equal ones the first. Empty: throws. */
export function rangeOf(members: readonly Carried[]): Carried {
  const rising = members.map((_, i) => i).sort((a, b) => (members[a]?.value ?? 0) - (members[b]?.value ?? 0));
  if (rising.length === 0) throw new RangeError('an empty set has no spread');
  const [lowest, highest] = [rising[0], rising.at(-1)];
  return weighed(members, members.map((_, i) => (i === highest ? 1 : 0) - (i === lowest ? 1 : 0)));
}

/** `of` in percent of `whole`, where an error of the whole counts too. */
export function percentOf(of: Carried, whole: Carried): Carried {
  const percent = (100 * of.value) / whole.value;
  return combine(percent, [
    { of, sensitivity: 100 / whole.value },
    { of: whole, sensitivity: -percent / whole.value },
  ]);
}
