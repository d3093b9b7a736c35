/** What a judge is, and how it looks at what was seen. */
import type { Evidence, Seen } from './world.ts';

export interface Judge {
  readonly rule: string;
  readonly name: string;
  readonly violations: (evidence: Evidence) => readonly string[] | Promise<readonly string[]>;
}

/** What was seen, by its kind: it is sorted once, and every judge asks. */
const sorted = new WeakMap<readonly Seen[], ReadonlyMap<Seen['kind'], Seen[]>>();

export function only<K extends Seen['kind']>(seen: readonly Seen[], kind: K): readonly Extract<Seen, { kind: K }>[] {
  let byKind = sorted.get(seen);
  if (byKind === undefined) {
    byKind = Map.groupBy(seen, (one) => one.kind);
    sorted.set(seen, byKind);
  }
  return (byKind.get(kind) ?? []) as Extract<Seen, { kind: K }>[];
}

export const seconds = (at: number): string => `${at.toFixed(2)} s`;
