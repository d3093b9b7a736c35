/** What must hold of each commit of a run, whatever came in (ARC-61 to ARC-65). Looked at in production, inside the transaction and before anything of it is written. */
import type { Database } from './sqlite.ts';

/** A fault of the program: the writer is wrong about its own file. Nothing of the commit was written. */
export class ArchiveBroken extends Error {}

/** SQLite's number of `synchronous = FULL`. */
const forced = 2;

/** Once, when an archive is opened for writing: what is announced must outlive a power cut (ARC-64). Throws. */
export function commitsMustBeForced(db: Database, path: string): void {
  if (db.pragma('synchronous', { simple: true }) !== forced) throw new ArchiveBroken(`Commits into ${path} would not be forced to the disk (ARC-64). It was not opened.`);
}

/** Where a run ends by what its writer remembers, and by what lies in the file; `telemetry` null: the commit brings no frames. */
export interface EndOfRun {
  /** How many events, and the hash of the last; without events that is no event's. */
  readonly events: number;
  readonly head: string | null;
  readonly telemetry: { readonly chunks: number; readonly lastFrame: number | null } | null;
}

/** What is broken; null: nothing. */
export function brokenByPlace(remembered: EndOfRun, stored: EndOfRun, inTransaction: boolean): string | null {
  if (!inTransaction) return 'It was about to write outside of a transaction (ARC-61).';
  if (stored.events !== remembered.events) return `The journal on the disk has ${stored.events} events and its writer remembers ${remembered.events} (ARC-62).`;
  if (stored.head !== null && stored.head !== remembered.head) return `Event ${stored.events} on the disk is another than its writer remembers (ARC-62).`;
  if (stored.telemetry === null || remembered.telemetry === null) return null;
  if (stored.telemetry.chunks !== remembered.telemetry.chunks) return `The disk has ${stored.telemetry.chunks} stretches of telemetry and their writer remembers ${remembered.telemetry.chunks} (ARC-63).`;
  if (stored.telemetry.lastFrame !== remembered.telemetry.lastFrame) return `The telemetry on the disk ends with frame ${stored.telemetry.lastFrame ?? 'none'} and its writer remembers ${remembered.telemetry.lastFrame ?? 'none'} (ARC-63).`;
  return null;
}
