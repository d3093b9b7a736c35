/**
 * Uncertainty that travels: each number with what every error does to it, and each error under a name that anybody who has two documents knows
 * again. From two certificates of one bench alone whatever is computed of their numbers treats an error that they share as one (JCGM 100:2008, 5.2). TAB-23, TAB-24.
 */
import { identityIn } from '../results/across-runs.ts';
import type { RunOfErrors } from '../results/across-runs.ts';
import { carried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource, isErrorQuantity, isRectangular, labelOf, ownerOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { ControllerDocument } from './document.ts';
import { twelveDigits } from './units.ts';

type TravellingSource = NonNullable<ControllerDocument['errorSources']>[number];
export type TravellingPart = readonly [source: number, effect: number] | readonly [source: number, effect: number, dof: number | null, scale: string];

/** The UUID of a name, always the same for the same name (RFC 9562, version 5). Handed in: hashes are the machine's. */
export type UuidOfName = (name: string) => string;

/**
 * Of the standard uncertainty of a number: an effect that is smaller comes of rounding, or might as well. A thousand of them change U by less than its twelfth
 * digit, and that of a difference which is a thousand times better known than its two numbers by less than 1e-9. TAB-31
 */
const belowAnyDigit = 1e-9;

/** Collects the error sources of one document while its numbers are written. */
export class ErrorRegister {
  readonly sources: TravellingSource[] = [];
  readonly #places = new Map<string, number>();
  readonly #run: RunOfErrors;
  readonly #uuidOf: UuidOfName;

  constructor(run: RunOfErrors, uuidOf: UuidOfName) {
    this.#run = run;
    this.#uuidOf = uuidOf;
  }

  /** What each error does to a value, in its unit, with twelve digits. Those below any digit are left out (TAB-31). */
  partsOf({ parts }: Carried): TravellingPart[] {
    const least = belowAnyDigit * Math.hypot(...[...parts.values()].map((part) => part.effect));
    return [...parts.values()].flatMap((part): TravellingPart[] => {
      if (Math.abs(part.effect) <= least) return [];
      const effect = twelveDigits(part.effect);
      const source = this.#placeOf(part.source, part.kind);
      if (part.kind === 'shared') return [[source, effect]];
      return [[source, effect, Number.isFinite(part.dof) ? part.dof : null, this.#uuidOf(`scale ${part.scale} | run ${this.#run.id}`)]];
    });
  }

  #placeOf(source: ErrorSource, kind: 'random' | 'shared'): number {
    const known = this.#places.get(source.key);
    if (known !== undefined) return known;
    const { identity, instrument, certificate } = identityIn(this.#run, source);
    this.sources.push({ uuid: this.#uuidOf(identity), quantity: source.quantity, place: source.place, name: labelOf(source), of: ownerOf(source), instrument, certificate, kind, rectangular: isRectangular(source) });
    this.#places.set(source.key, this.sources.length - 1);
    return this.sources.length - 1;
  }
}

/** A number of a document as a value that can be computed with those of other documents, in its own unit; null: the document says nothing of its errors. */
export function carriedFrom(value: number, parts: readonly TravellingPart[] | undefined, sources: readonly TravellingSource[] | undefined): Carried | null {
  if (parts === undefined || sources === undefined) return null;
  return carried(
    value,
    parts.flatMap(([at, effect, dof, scale]) => {
      const source = sources[at];
      if (source === undefined) return [];
      const { uuid, quantity, place, kind, rectangular } = source;
      // Of another program, or of a later version of this one: its errors are as good as ours.
      const known = isErrorQuantity(quantity) && isRectangular(errorSource(quantity)) === rectangular ? quantity : rectangular ? 'stated-bound' : 'stated-elsewhere';
      return [{ source: { ...errorSource(known, place), key: uuid }, effect, kind, dof: dof ?? Number.POSITIVE_INFINITY, scale: scale ?? '' }];
    }),
  );
}
