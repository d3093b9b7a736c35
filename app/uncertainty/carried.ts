/**
 * Values that carry where their uncertainty comes from, so that whatever is computed from several of them treats an error
 * that they have in common as one error (JCGM 100:2008, 5.2 and F.1.2): set means, ratios, interpolated cells.
 */
import { effectiveDegrees, result } from './budget.ts';
import type { Result } from './budget.ts';

/** One independent source of error, with the sign with which one standard uncertainty of it moves the value. */
interface CarriedPart {
  readonly effect: number;
  readonly kind: 'random' | 'shared';
  readonly dof: number;
  /** Parts of one scale have their standard uncertainties from the same estimate, so their degrees of freedom are not added. */
  readonly scale: string;
}

export interface Carried {
  readonly value: number;
  /** By the name of the source: the same name is the same error. */
  readonly parts: ReadonlyMap<string, CarriedPart>;
}

/** A value with one random part of its own. */
export function carried(value: number, parts: Iterable<readonly [string, CarriedPart]> = []): Carried {
  return { value, parts: new Map(parts) };
}

export const randomPart = (effect: number, dof: number, scale: string): CarriedPart => ({ effect, kind: 'random', dof, scale });
export const sharedPart = (effect: number): CarriedPart => ({ effect, kind: 'shared', dof: Number.POSITIVE_INFINITY, scale: '' });

/** `value` with the parts of all terms, each times its sensitivity: first-order propagation (JCGM 100:2008, 5.2.2). */
export function combine(value: number, terms: readonly { readonly of: Carried; readonly sensitivity: number }[]): Carried {
  const parts = new Map<string, CarriedPart>();
  for (const { of, sensitivity } of terms) {
    for (const [name, part] of of.parts) {
      const before = parts.get(name);
      parts.set(name, { ...part, effect: sensitivity * part.effect + (before?.effect ?? 0) });
    }
  }
  return { value, parts };
}

/** The same value with one more source of error. */
export function withPart(of: Carried, name: string, part: CarriedPart): Carried {
  return { value: of.value, parts: new Map([...of.parts, [name, part]]) };
}

/** States the value with its expanded uncertainty; parts of one scale share their degrees of freedom. */
export function stateCarried(of: Carried): Result {
  const scales = new Map<string, { squares: number; dof: number }>();
  let shared = 0;
  for (const part of of.parts.values()) {
    const square = part.effect * part.effect;
    if (part.kind === 'shared') {
      shared += square;
      continue;
    }
    const scale = scales.get(part.scale);
    if (scale === undefined) scales.set(part.scale, { squares: square, dof: part.dof });
    else scale.squares += square;
  }
  const random = [...scales.values()].map(({ squares, dof }) => ({ u: Math.sqrt(squares), dof }));
  return result(of.value, Math.hypot(...random.map((r) => r.u)), effectiveDegrees(random), Math.sqrt(shared));
}
