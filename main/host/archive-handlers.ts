/** The archive as a whole. */
import { basename, dirname, extname, join } from 'node:path';
import type { archiveRequests } from '../../app/contract/archive-requests.ts';
import { isoTime } from '../clock/dating.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const archiveHandlers = ({ parts, sessions, desk }: HostRoom): HandlersOf<typeof archiveRequests> => ({
  'runs.list': (params) => desk.text({ kind: 'list', params }),
  search: ({ text }) => desk.text({ kind: 'search', text }),
  'archive.head': () => desk.value({ kind: 'head' }),
  'archive.verify': (params, window) => desk.value({ kind: 'verify', params }, (share) => sessions.tellOne(window, 'archive.checking', { share })),
  'archive.backup': () => desk.value({ kind: 'backup', path: backupPath(parts.archive.path, parts.clock.unixNow()) }),
});

/** Beside the archive, with the time in UTC: `railhouse 2026-03-31 12.05.09.sqlite`. */
function backupPath(archivePath: string, now: number): string {
  const extension = extname(archivePath);
  const stamp = isoTime(now).replace(/\.\d{3}Z$/, '').replace('T', ' ').replaceAll(':', '.');
  return join(dirname(archivePath), `${basename(archivePath, extension)} ${stamp}${extension}`);
}
