import { expect, test } from 'vitest';
import { tmpdir } from 'node:os';
import { shareNote, shareOf, type MountedDisks } from './network-share.ts';

const machine = (platform: NodeJS.Platform, mounts = '', real = (folder: string): string => folder): MountedDisks => ({ platform, mounts: () => mounts, real });

const linux = machine(
  'linux',
  [
    '25 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw',
    '30 25 0:40 / /mnt/lab\\040data rw,relatime shared:9 - cifs //nas/lab\\040data rw,vers=3.1.1',
    '31 25 0:41 / /home rw - nfs4 files:/export/home rw',
    '32 31 8:2 / /home/local rw - xfs /dev/sdb1 rw',
    '33 25 0:42 / /mnt/ssh rw - fuse.sshfs lab@host:/data rw',
    '34 25 0:43 / /mnt/ntfs rw - fuseblk /dev/sdc1 rw',
  ].join('\n'),
);
const mac = machine('darwin', '/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)\n/dev/disk3s5 on /System/Volumes/Data (apfs, local, journaled)\n//ann@nas._smb._tcp.local/lab on /Volumes/lab data (smbfs, nodev, nosuid, mounted by ann)\n');

test.each<[MountedDisks, string, string | null]>([
  [linux, '/srv/archive', null],
  [linux, '/mnt/lab data/2026', '//nas/lab data (cifs)'],
  [linux, '/mnt/lab datum', null],
  [linux, '/home/ann', 'files:/export/home (nfs4)'],
  [linux, '/home/local/ann', null],
  [linux, '/mnt/ssh', 'lab@host:/data (fuse.sshfs)'],
  [linux, '/mnt/ntfs', null],
  [mac, '/Users/ann', null],
  [mac, '/Volumes/lab data/x', '//ann@nas._smb._tcp.local/lab (smbfs)'],
  [machine('win32', '', () => '\\\\nas\\lab\\2026'), 'Z:\\2026', '\\\\nas\\lab\\2026'],
  [machine('win32', '', () => '\\\\?\\UNC\\nas\\lab'), 'Z:\\', '\\\\?\\UNC\\nas\\lab'],
  [machine('win32', '', () => '\\\\?\\C:\\data'), 'C:\\data', null],
  [machine('win32', '', (folder) => folder), 'C:\\data', null],
  [machine('freebsd'), '/data', null],
])('ARC-60 a share is told from a disk of this machine (%#)', (disks, folder, share) => {
  expect(shareOf(folder, disks)).toBe(share);
});

test('ARC-60 of a share is said what is not promised there and what to do; of a local disk nothing', () => {
  expect(shareNote('/home/ann/data/railhouse.sqlite', linux)).toMatch(/lies on another machine: files:\/export\/home \(nfs4\)\..*Keep the archive on a disk of this machine and copy it there with "backup"\.$/);
  expect(shareNote('/srv/railhouse.sqlite', linux)).toBeNull();
  // This machine's own table is read.
  expect(shareOf(tmpdir())).toBeNull();
});
