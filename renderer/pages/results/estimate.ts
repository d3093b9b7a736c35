/** Uncertainties of what the pages derive from the reduction: means of a width, deviations and differences. SI units. */
import { coverageFactor, effectiveDegrees, result } from '../../../app/uncertainty/budget.ts';
import type { Result } from '../../../app/uncertainty/budget.ts';
import type { LineCell, SharedPart, WidthResult } from '../../../app/reduce/reduction.ts';

/** A value with its expanded uncertainty (95 %); null where replicates that could tell it are missing. */
export interface Estimate {
  readonly value: number;
  readonly u95: number | null;
}

interface RandomPart {
  readonly u: number;
  readonly dof: number;
}

/** Random standard uncertainty of the mean mass of a width, kg; null where no scatter could be seen. */
export function randomOfWidth({ scatter }: LineCell, { uMass }: WidthResult): RandomPart | null {
  return uMass > 0 && scatter.dof >= 1 ? { u: uMass, dof: scatter.dof } : null;
}

/** U95 of random parts alone; null: not known. */
export function expandedRandom(parts: readonly (RandomPart | null)[]): number | null {
  const known = parts.filter((part) => part !== null);
  if (known.length < parts.length || known.length === 0) return null;
  return coverageFactor(effectiveDegrees(known)) * Math.hypot(...known.map((part) => part.u));
}

/** U95 of a random part with a standard uncertainty that is shared; null: the random part is not known. */
export function expandedWith(random: RandomPart | null, uShared: number): number | null {
  return random === null ? null : result(0, random.u, random.dof, uShared).expanded;
}

/** Values of several injectors that were measured by the same instruments. */
export interface Member {
  readonly value: number;
  readonly random: RandomPart | null;
  /** With its sign: the same source moves all members together. */
  readonly shared: readonly { readonly source: string; readonly effect: number }[];
}

/**
 * Deviation of each member from the mean of all of them. A member is part of its own mean, so its random part enters with
 * 1 - 1/n and the others' with 1/n each; of an instrument's error only what moves the members differently is left.
 */
export function deviationsFromMean(members: readonly Member[]): readonly Estimate[] {
  const n = members.length;
  const mean = members.reduce((sum, m) => sum + m.value, 0) / n;
  const meanEffects = new Map<string, number>();
  for (const { shared } of members) for (const { source, effect } of shared) meanEffects.set(source, (meanEffects.get(source) ?? 0) + effect / n);
  return members.map((member, own) => {
    const parts = members.map(({ random }, i) => (random === null ? null : { u: random.u * (i === own ? 1 - 1 / n : 1 / n), dof: random.dof }));
    const known = parts.filter((part) => part !== null);
    const value = member.value - mean;
    if (known.length < n || n < 2) return { value, u95: null };
    const effects = new Map(member.shared.map(({ source, effect }) => [source, effect]));
    const uShared = Math.hypot(...[...meanEffects].map(([source, effect]) => (effects.get(source) ?? 0) - effect));
    return { value, u95: result(value, Math.hypot(...known.map((p) => p.u)), effectiveDegrees(known), uShared).expanded };
  });
}

/** The mean of all members: random parts average away, an instrument's error does not. `u95` null: scatter is not known. */
export function meanOfMembers(members: readonly Member[]): Estimate | null {
  const n = members.length;
  if (n === 0) return null;
  const value = members.reduce((sum, m) => sum + m.value, 0) / n;
  const effects = new Map<string, number>();
  for (const { shared } of members) for (const { source, effect } of shared) effects.set(source, (effects.get(source) ?? 0) + effect / n);
  const known = members.flatMap(({ random }) => (random === null ? [] : [{ u: random.u / n, dof: random.dof }]));
  if (known.length < n) return { value, u95: null };
  return { value, u95: result(value, Math.hypot(...known.map((p) => p.u)), effectiveDegrees(known), Math.hypot(...effects.values())).expanded };
}

/** A result of the reduction as a member. `on`: which effect of the shared parts belongs to it. */
export function memberOf(of: Result, shared: readonly SharedPart[], on: 'onSlope' | 'onDeadTime'): Member {
  return { value: of.value, random: { u: of.uRandom, dof: of.dofRandom }, shared: shared.map((part) => ({ source: part.source, effect: part[on] })) };
}
