/** What a judge is, and how it looks at what was seen. */
import type { Evidence, Seen } from './world.ts';

export interface Judge {
  readonly rule: string;
  readonly name: string;
  readonly violations: (evidence: Evidence) => readonly string[] | Promise<readonly string[]>;
}

export const only = <K extends Seen['kind']>(seen: readonly Seen[], kind: K): Extract<Seen, { kind: K }>[] =>
  seen.filter((one): one is Extract<Seen, { kind: K }> => one.kind === kind);

export const seconds = (at: number): string => `${at.toFixed(2)} s`;
