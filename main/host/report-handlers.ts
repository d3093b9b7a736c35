/** Reports, and the details that the lab keeps for them. */
import type { reportRequests } from '../../app/contract/report-requests.ts';
import { detailsRecord, parseDetails } from '../../app/report/details.ts';
import { isoTime } from '../clock/dating.ts';
import { Failed, notSaved } from './outcome.ts';
import { withinWindow } from './records-handlers.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const reportHandlers = ({ parts, exports, given, desk }: HostRoom): HandlersOf<typeof reportRequests> => ({
  'details.list': () => {
    const { within, cut } = withinWindow(parts.archive.records.latest('report details'));
    return { details: within.map(({ name, version, savedAt, savedBy, document }) => ({ name, version, savedAt, savedBy, document })), cut };
  },
  'details.save': ({ name, document, by, reason, basedOn }) => {
    const parsed = parseDetails(document);
    if (!parsed.ok) return { version: null, problems: [...parsed.problems] };
    const saved = parts.archive.records.save({ kind: 'report details', name, document: detailsRecord(parsed.details, reason), by, basedOn });
    return saved.ok ? { version: saved.version, problems: [] } : notSaved(saved);
  },
  'run.report': async (params) => {
    const made = await desk.value({ kind: 'report', params });
    return made instanceof Failed ? made : exports.keep(made);
  },
  'reports.list': () => desk.text({ kind: 'issued-list' }),
  'report.issue': (params) => desk.value({ kind: 'issue', params, at: isoTime(parts.clock.unixNow()) }),
  'report.read': async (params) => {
    const made = await desk.value({ kind: 'issued', params });
    return made instanceof Failed ? made : exports.keep(made);
  },
  'report.stamp': (params) => desk.value({ kind: 'stamp', params }),
  'file.give': ({ upload, text }) => {
    const problem = given.add(upload, text);
    return problem === '' ? {} : new Failed('bad-request', problem);
  },
  'report.prove': ({ upload, ...params }) => {
    const text = given.take(upload);
    return text === null ? new Failed('bad-request', 'The file of the report did not come, or not whole. Choose it again.') : desk.value({ kind: 'prove', params, text });
  },
});
