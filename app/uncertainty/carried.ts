/**
 * Values that carry where their uncertainty comes from, so that whatever is computed from several of them treats an error
 * that they have in common as one error (JCGM 100:2008, 5.2 and F.1.2): set means, ratios, interpolated cells.
 */
import { effectiveDegrees, result } from './budget.ts';
import type { Result } from './budget.ts';
import { isLeftIn, isRectangular } from './source.ts';
import type { ErrorSource } from './source.ts';

/** One independent error, with the sign with which one standard uncertainty of it moves the value. */
interface CarriedPart {
  readonly source: ErrorSource;
  readonly effect: number;
  readonly kind: 'random' | 'shared';
  readonly dof: number;
  /** Parts of one scale have their standard uncertainties from the same estimate, so their degrees of freedom are not added. */
  readonly scale: string;
}

export interface Carried {
  readonly value: number;
  /** By the key of the source. */
  readonly parts: ReadonlyMap<string, CarriedPart>;
}

/** Of two parts of one source the later stands. */
export function carried(value: number, parts: Iterable<CarriedPart> = []): Carried {
  return { value, parts: new Map([...parts].map((part) => [part.source.key, part])) };
}

export const randomPart = (source: ErrorSource, effect: number, dof: number, scale: string): CarriedPart => ({ source, effect, kind: 'random', dof, scale });
export const sharedPart = (source: ErrorSource, effect: number): CarriedPart => ({ source, effect, kind: 'shared', dof: Number.POSITIVE_INFINITY, scale: '' });

/** `value` with the parts of all terms, each times its sensitivity: first-order propagation (JCGM 100:2008, 5.2.2). */
export function combine(value: number, terms: readonly { readonly of: Carried; readonly sensitivity: number }[]): Carried {
  const parts = new Map<string, CarriedPart>();
  for (const { of, sensitivity } of terms) {
    for (const [key, part] of of.parts) {
      const before = parts.get(key);
      parts.set(key, { ...part, effect: sensitivity * part.effect + (before?.effect ?? 0) });
    }
  }
  return { value, parts };
}

/** Root of the sum of squares of all parts. */
export const standardUncertainty = (of: Carried): number => Math.sqrt(covarianceOfTwo(of, of));

/** Covariance of two values: what one standard uncertainty of every error that they share does to both. */
export function covarianceOfTwo(a: Carried, b: Carried): number {
  let sum = 0;
  for (const [key, { effect }] of a.parts) sum += effect * (b.parts.get(key)?.effect ?? 0);
  return sum;
}

/** The same value with one more error. */
export function withPart(of: Carried, part: CarriedPart): Carried {
  return { value: of.value, parts: new Map([...of.parts, [part.source.key, part]]) };
}

/** The random parts alone, of a value that they move: the rest is said otherwise. */
export function randomOnly(of: Carried, value: number): Carried {
  return { value, parts: new Map([...of.parts].filter(([, part]) => part.kind === 'random')) };
}

/** States the value with its expanded uncertainty; parts of one scale share their degrees of freedom. */
export function stateCarried(of: Carried): Result {
  const scales = new Map<string, { squares: number; dof: number }>();
  let shared = 0;
  let rectangular = 0;
  let leftIn = 0;
  for (const part of of.parts.values()) {
    const square = part.effect * part.effect;
    if (part.kind === 'shared') {
      shared += square;
      if (square > rectangular && isRectangular(part.source)) rectangular = square;
      if (square > leftIn && isLeftIn(part.source)) leftIn = square;
      continue;
    }
    const scale = scales.get(part.scale);
    if (scale === undefined) scales.set(part.scale, { squares: square, dof: part.dof });
    else scale.squares += square;
  }
  const random = [...scales.values()].map(({ squares, dof }) => ({ u: Math.sqrt(squares), dof }));
  return result(of.value, Math.hypot(...random.map((r) => r.u)), effectiveDegrees(random), Math.sqrt(shared), Math.sqrt(rectangular), Math.sqrt(leftIn));
}
