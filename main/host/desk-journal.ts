/** Pages of a journal, whole or condensed, as the text that goes to a window. */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { condensed, withoutLimitsKept } from '../../app/journal/condensed.ts';
import type { Archive } from '../archive/archive.ts';
import { eventOf, textOfEvent, type StoredEvent } from '../archive/read.ts';
import type { AsJson } from './as-json.ts';

/** Of a page: what is handed to the control thread is small (HOST-10). */
const MOST_CHARACTERS = 192 * 1024;

export function journalPage(archive: Archive, { id, fromSeq, limit }: ParsedParams<'run.journal'>): AsJson<AnswerTo<'run.journal'>> {
  const events: string[] = [];
  const page = (more: boolean) => ({ json: `{"events":[${events.join(',')}],"more":${more}}` });
  let length = 0;
  for (const text of archive.eventTexts(id, fromSeq)) {
    length += text.length;
    // One at least, or a window would come no further.
    if (events.length === limit || (length > MOST_CHARACTERS && events.length > 0)) return page(true);
    events.push(text);
  }
  return page(false);
}

/** HOST-170 */
export function condensedPage(archive: Archive, { id, fromSeq, limit }: ParsedParams<'run.condensed'>): AsJson<AnswerTo<'run.condensed'>> {
  const events: string[] = [];
  const page = (next: number, more: boolean) => ({ json: `{"events":[${events.join(',')}],"next":${next},"more":${more}}` });
  let read = 0;
  const counted = function* (): Generator<StoredEvent> {
    for (const row of archive.storedEvents(id, fromSeq, limit)) {
      read += 1;
      yield row;
    }
  };
  let length = 0;
  for (const row of condensed(counted(), ({ kind }) => kind)) {
    const event = eventOf(row, `Event ${row.seq} of run ${id}`);
    const text = event.body.kind === 'attempt-ended' ? JSON.stringify(withoutLimitsKept(event)) : textOfEvent(event, row);
    length += text.length;
    if (length > MOST_CHARACTERS && events.length > 0) return page(row.seq, true);
    events.push(text);
  }
  return page(fromSeq + read, read === limit);
}
