import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { inflateRawSync, crc32 as reference } from 'node:zlib';
import { expect, test } from 'vitest';
import { zipped } from './zip.ts';

const entries = [
  { name: 'Job-1_Plän/README.txt', pieces: ['Grüße\r\n'] },
  { name: 'Job-1_Plän/a.csv', pieces: ['a,b\r\n', '1,2\r\n'.repeat(5000)] },
  { name: 'Job-1_Plän/empty.csv', pieces: [] },
];

test('EXP-7 a ZIP archive holds its files byte for byte, with names in UTF-8, and another program reads it', async () => {
  const bytes = Buffer.concat(await zipped(entries, new Date(Date.UTC(2026, 2, 1, 8, 30, 2))));
  // By the central directory, as a reader goes about it.
  const end = bytes.lastIndexOf(Buffer.from([0x50, 0x4b, 5, 6]));
  expect(bytes.readUInt16LE(end + 10)).toBe(3);
  let at = bytes.readUInt32LE(end + 16);
  for (const { name, pieces } of entries) {
    const text = pieces.join('');
    expect(bytes.readUInt32LE(at)).toBe(0x02014b50);
    const [packed, plain, nameLength, local] = [bytes.readUInt32LE(at + 20), bytes.readUInt32LE(at + 24), bytes.readUInt16LE(at + 28), bytes.readUInt32LE(at + 42)];
    expect(bytes.subarray(at + 46, at + 46 + nameLength).toString()).toBe(name);
    expect(bytes.readUInt16LE(at + 8) & 0x0800).toBe(0x0800);
    const data = local + 30 + bytes.readUInt16LE(local + 26) + bytes.readUInt16LE(local + 28);
    const out = inflateRawSync(bytes.subarray(data, data + packed));
    expect(out.toString()).toBe(text);
    expect([plain, bytes.readUInt32LE(at + 16)]).toEqual([Buffer.byteLength(text), reference(text)]);
    at += 46 + nameLength;
  }
  expect(at).toBe(end);
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-zip-'));
  try {
    writeFileSync(join(folder, 'a.zip'), bytes);
    const read = (() => {
      try {
        return execFileSync('python3', ['-c', 'import sys,zipfile; z=zipfile.ZipFile(sys.argv[1]); assert z.testzip() is None; [print(i.filename, i.file_size, i.date_time) for i in z.infolist()]', join(folder, 'a.zip')], { encoding: 'utf8' });
      } catch (error) {
        // A machine without that program.
        if ((error as NodeJS.ErrnoException).code === 'ENOENT') return null;
        throw error;
      }
    })();
    if (read !== null) expect(read.trim().split('\n')).toEqual(['Job-1_Plän/README.txt 9 (2026, 3, 1, 8, 30, 2)', 'Job-1_Plän/a.csv 25005 (2026, 3, 1, 8, 30, 2)', 'Job-1_Plän/empty.csv 0 (2026, 3, 1, 8, 30, 2)']);
    expect(readFileSync(join(folder, 'a.zip')).length).toBeLessThan(2000);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});
