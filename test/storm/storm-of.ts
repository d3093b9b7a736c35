/** What a storm is of: how it is drawn, run and judged. */
import type { RunEventBody } from '../../app/journal/events.ts';
import type { Drawn, Sea } from './draw.ts';
import type { Seen } from './world.ts';

/** What every storm's evidence says of it. */
export interface Sighted {
  readonly seen: readonly Seen[];
  readonly deaths: number;
  readonly benchS: number;
  readonly hash: string;
}

/** A storm of something: of a run, or of the whole house. */
export interface StormOf<D extends Drawn, E extends Sighted> {
  readonly draw: (seed: number, sea?: Sea) => D;
  readonly happenings: (drawn: D) => readonly { readonly kind: string }[];
  readonly withHappenings: (drawn: D, list: readonly { readonly kind: string }[]) => D;
  readonly run: (drawn: D) => Promise<E>;
  readonly judges: readonly { readonly rule: string; readonly name: string; readonly violations: (evidence: E) => readonly string[] | Promise<readonly string[]> }[];
  /** All journals of it. */
  readonly events: (evidence: E) => readonly RunEventBody[];
}
