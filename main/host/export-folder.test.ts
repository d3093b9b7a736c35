import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { hostname, tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { newExportFolder, readPiece, removeAbandonedExports, removeUnfinishedExports } from './export-folder.ts';

/** Of a process that has ended. */
const gone = spawnSync(process.execPath, ['-e', '']).pid;

test('HOST-17 exports of processes that are gone are removed, and no others', () => {
  const [ofGone, ofThis] = [newExportFolder(gone), newExportFolder(process.pid)];
  const place = mkdtempSync(join(tmpdir(), 'railhouse-elsewhere-'));
  const here = hostname().replaceAll(/\W/g, '_');
  const ofOtherMachine = join(tmpdir(), `railhouse-export-${here}x-${gone}-${gone}-abcdef`);
  const link = join(tmpdir(), `railhouse-export-${here}-${gone}-${gone}-links`);
  const unknown = mkdtempSync(join(tmpdir(), 'railhouse-export-'));
  try {
    mkdirSync(ofGone);
    writeFileSync(join(ofGone, 'attempts.csv'), 'x');
    writeFileSync(join(place, 'kept'), 'x');
    mkdirSync(ofOtherMachine);
    // On Windows a link of this kind needs no right of its own.
    symlinkSync(place, link, 'junction');
    removeAbandonedExports();
    expect(existsSync(dirname(ofGone))).toBe(false);
    for (const kept of [dirname(ofThis), ofOtherMachine, unknown, join(place, 'kept')]) expect(existsSync(kept), kept).toBe(true);
  } finally {
    for (const path of [dirname(ofGone), dirname(ofThis), ofOtherMachine, link, unknown, place]) rmSync(path, { recursive: true, force: true });
  }
});

test('HOST-17 what a maker has left unfinished is removed, and what it has finished is not', () => {
  const [finished, unfinished] = [newExportFolder(process.pid), newExportFolder(process.pid)];
  try {
    mkdirSync(finished);
    mkdirSync(`${unfinished}.export-next`);
    removeUnfinishedExports(gone);
    expect(existsSync(dirname(unfinished))).toBe(true);
    removeUnfinishedExports(process.pid);
    expect([existsSync(finished), existsSync(dirname(unfinished))]).toEqual([true, false]);
  } finally {
    for (const path of [finished, unfinished]) rmSync(dirname(path), { recursive: true, force: true });
  }
});

test.each([[''], ['a'], ['µ'.repeat(300_001)], ['a' + '€'.repeat(200_000)], ['ab' + '😀'.repeat(150_000)], ['x"y\n'.repeat(100_000)]])('HOST-11 the pieces of a file are its text, cut between characters', (text) => {
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-pieces-'));
  try {
    const path = join(folder, 'file');
    writeFileSync(path, text);
    const pieces: string[] = [];
    for (let from: number | null = 0; from !== null; ) {
      const piece: ReturnType<typeof readPiece> = readPiece(path, from);
      expect(Buffer.byteLength(piece.text)).toBeLessThanOrEqual(96 * 1024);
      expect(piece.text).not.toContain('\ufffd');
      pieces.push(piece.text);
      from = piece.next;
    }
    expect(pieces.join('') === text).toBe(true);
    expect(readPiece(path, Buffer.byteLength(text) + 10)).toEqual({ text: '', next: null });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});
