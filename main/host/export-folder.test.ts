import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readPiece } from './export-folder.ts';

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
