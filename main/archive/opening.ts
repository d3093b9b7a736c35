import type { RunEventBody } from '../../app/journal/events.ts';
import type { Archive } from './archive.ts';
import { eventOf } from './read.ts';

/** What a run was opened with; null: its journal does not begin so. No more of it is read. */
export function openingOf(archive: Archive, id: string): Extract<RunEventBody, { kind: 'opened' }> | null {
  const [row] = archive.storedEvents(id, 0, 1);
  const body = row === undefined ? null : eventOf(row, `Event ${row.seq} of run ${id}`).body;
  return body?.kind === 'opened' ? body : null;
}
