/** Records that the lab keeps in versions: of types of injectors, and qualifications of benches. HOST-130 to HOST-133 */
import type { recordRequests, StoredType } from '../../app/contract/record-requests.ts';
import { benchName, evaluateQualification, parseQualification } from '../../app/qualification/qualification.ts';
import { parseTypeRecord } from '../../app/type-record/type-record.ts';
import type { StoredRecord } from '../archive/records.ts';
import { isoTime } from '../clock/dating.ts';
import { Failed, notSaved } from './outcome.ts';
import { readSpan } from './read-span.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

/** A list stays well below the most that is handed to a window (HOST-10). */
const MOST_CHARACTERS = 384 * 1024;
const MOST_VERSIONS = 100;

/** As many as a window may be handed at once; `cut`: there are more. */
export function withinWindow(records: readonly StoredRecord[]): { readonly within: readonly StoredRecord[]; readonly cut: boolean } {
  let length = 0;
  const end = records.findIndex(({ document }, index) => {
    length += JSON.stringify(document).length;
    return length > MOST_CHARACTERS && index > 0;
  });
  return end < 0 ? { within: records, cut: false } : { within: records.slice(0, end), cut: true };
}

function typeRows(records: readonly StoredRecord[]): { readonly rows: StoredType[]; readonly cut: boolean } {
  const { within, cut } = withinWindow(records);
  return { rows: within.map(({ name, version, savedAt, savedBy, document }) => ({ type: name, version, savedAt, savedBy, document })), cut };
}

export const recordHandlers = ({ parts: { archive, clock }, bench, records: equipment }: HostRoom): HandlersOf<typeof recordRequests> => ({
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
  'qualification.read': async ({ seconds }) => {
    const read = await readSpan(bench, clock, seconds);
    if (read instanceof Failed) return read;
    const { clock: apart, ...rest } = read;
    return { ...rest, clock: apart === null ? null : { ppm: 1e6 * apart.difference, uncertaintyPpm: 1e6 * apart.u } };
  },
  'qualifications.list': ({ bench: name }) => {
    const stored = name === null ? archive.records.latest('qualification') : archive.records.versions('qualification', name, MOST_VERSIONS + 1);
    const sheets = stored.slice(0, MOST_VERSIONS).map(({ name: of, version, savedAt, document }) => ({ bench: of, version, savedAt, document }));
    return { now: equipment.now(), cut: stored.length > sheets.length, sheets };
  },
  'qualification.keep': ({ document, by }) => {
    const at = equipment.now();
    const parsed = parseQualification(typeof document === 'object' && document !== null ? { ...document, doneAt: isoTime(at), by } : document);
    if (!parsed.ok) return { problems: [...parsed.problems], kept: null };
    const { qualification } = parsed;
    const saved = archive.records.save({ kind: 'qualification', name: benchName(qualification.controller), document: qualification, by });
    if (!saved.ok) return notSaved(saved);
    const { qualified, text } = evaluateQualification(qualification);
    return { problems: [], kept: { version: saved.version, qualified, text } };
  },
});
