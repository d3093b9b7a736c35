/** Records that the lab keeps in versions: of types of injectors, and qualifications of benches. HOST-130, HOST-131 */
import type { recordRequests, StoredType } from '../../../app/contract/record-requests.ts';
import { parseTypeRecord } from '../../../app/type-record/type-record.ts';
import type { StoredRecord } from '../../archive/records.ts';
import { notSaved } from '../outcome.ts';
import type { HandlersOf, HostRoom } from './room.ts';

/** A list stays well below the most that is handed to a window (HOST-10). */
const MOST_CHARACTERS = 384 * 1024;
const MOST_VERSIONS = 100;

function typeRows(records: readonly StoredRecord[]): { readonly rows: StoredType[]; readonly cut: boolean } {
  const rows: StoredType[] = [];
  let length = 0;
  for (const { name, version, savedAt, savedBy, document } of records) {
    length += JSON.stringify(document).length;
    if (length > MOST_CHARACTERS && rows.length > 0) return { rows, cut: true };
    rows.push({ type: name, version, savedAt, savedBy, document });
  }
  return { rows, cut: false };
}

export const recordHandlers = ({ parts: { archive } }: HostRoom): HandlersOf<typeof recordRequests> => ({
  'types.list': () => {
    const { rows, cut } = typeRows(archive.records.latest('injector type'));
    return { types: rows, cut };
  },
  'types.versions': ({ type }) => {
    // One more, to know whether there is more.
    const stored = archive.records.versions('injector type', type, MOST_VERSIONS + 1);
    const { rows, cut } = typeRows(stored.slice(0, MOST_VERSIONS));
    return { versions: rows, cut: cut || stored.length > MOST_VERSIONS };
  },
  'types.save': ({ document, by, reason, basedOn }) => {
    const parsed = parseTypeRecord(document);
    if (!parsed.ok) return { version: null, problems: [...parsed.problems] };
    const { record } = parsed;
    // Who said so last is not who says so now.
    const saved = archive.records.save({ kind: 'injector type', name: record.type, document: { ...record, changed: { by, reason } }, by, basedOn });
    return saved.ok ? { version: saved.version, problems: [] } : notSaved(saved);
  },
});
