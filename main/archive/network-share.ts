/**
 * Whether an archive lies on another machine's disk. SQLite's write-ahead log needs memory that all programs share, so all of them have to be on
 * one machine, and its locks are only as good as the share's (sqlite.org/wal.html, "Overview" and "Use of WAL Without Shared-Memory";
 * sqlite.org/useovernet.html). ARC-60
 */
import { execFileSync } from 'node:child_process';
import { readFileSync, realpathSync } from 'node:fs';
import { dirname } from 'node:path';

/** What is asked of a machine. */
export interface MountedDisks {
  readonly platform: NodeJS.Platform;
  /** Of Linux /proc/self/mountinfo (proc(5)), of macOS what `mount` prints; empty where it cannot be had. */
  readonly mounts: () => string;
  /** A folder's place with links and drive letters followed. */
  readonly real: (folder: string) => string;
}

const thisMachine: MountedDisks = {
  platform: process.platform,
  mounts: () => {
    try {
      return process.platform === 'linux' ? readFileSync('/proc/self/mountinfo', 'utf8') : execFileSync('/sbin/mount', { encoding: 'utf8', timeout: 2000, stdio: ['ignore', 'pipe', 'ignore'] });
    } catch {
      return '';
    }
  },
  real: (folder) => {
    try {
      return realpathSync.native(folder);
    } catch {
      return folder;
    }
  },
};

/** File systems of other machines, as Linux and macOS call them; those of FUSE by what is behind it. */
const remote = /^(nfs\d?|cifs|smb\d?|smbfs|afpfs|afs|ncpfs|coda|ceph|9p|webdav|ftp|lustre|gfs2|ocfs2|beegfs|glusterfs|fuse\.(sshfs|rclone|davfs2?|glusterfs|s3fs|ceph|smbnetfs|gvfsd-fuse))$/;

interface Mount {
  readonly at: string;
  readonly type: string;
  readonly from: string;
}

/** proc(5): spaces and the like are written in octal digits. */
const plain = (text: string): string => text.replaceAll(/\\(\d{3})/g, (_, digits: string) => String.fromCodePoint(Number.parseInt(digits, 8)));

function mountsOfLinux(table: string): readonly Mount[] {
  return table.split('\n').flatMap((line) => {
    const [before = '', after = ''] = line.split(' - ');
    const at = before.split(' ')[4];
    const [type = '', from = ''] = after.split(' ');
    return at === undefined || type === '' ? [] : [{ at: plain(at), type, from: plain(from) }];
  });
}

/** "FROM on PLACE (TYPE, ...)". */
const mountsOfMac = (table: string): readonly Mount[] =>
  table.split('\n').flatMap((line) => {
    const [, from, at, type] = /^(.*?) on (.*) \((\w+)[,)]/.exec(line) ?? [];
    return from === undefined || at === undefined || type === undefined ? [] : [{ at, type, from }];
  });

const isUnder = (place: string, folder: string): boolean => folder === '/' || place === folder || place.startsWith(`${folder}/`);

/** The share that a folder lies on, as a person knows it; null: it is a disk of this machine, or nobody can tell. */
export function shareOf(folder: string, machine: MountedDisks = thisMachine): string | null {
  const place = machine.real(folder);
  // A drive letter of a share comes out as \\server\share; \\?\ and \\.\ are this machine's own.
  if (machine.platform === 'win32') return /^\\\\(\?\\UNC\\|(?![?.]\\))/i.test(place) ? place : null;
  const mounts = machine.platform === 'linux' ? mountsOfLinux(machine.mounts()) : machine.platform === 'darwin' ? mountsOfMac(machine.mounts()) : [];
  // The one that was mounted last over a place is the one that is seen.
  const over = mounts.filter(({ at }) => isUnder(place, at)).reduce<Mount | null>((longest, mount) => (longest === null || mount.at.length >= longest.at.length ? mount : longest), null);
  return over !== null && remote.test(over.type) ? `${over.from} (${over.type})` : null;
}

/** What is to be said of an archive that is written there; null: nothing. */
export function shareNote(archive: string, machine: MountedDisks = thisMachine): string | null {
  const share = shareOf(dirname(archive), machine);
  return share === null
    ? null
    : `The archive ${archive} lies on another machine: ${share}. What is committed can be verified as ever, but there SQLite cannot promise that a commit outlasts a power cut, or that a second machine is kept from writing, which damages the file; and a share that goes away pauses the run. Keep the archive on a disk of this machine and copy it there with "backup".`;
}
