/** Exports that were made for windows: each is a folder of files that a window reads piece by piece (HOST-11). */
import { closeSync, fstatSync, mkdtempSync, openSync, readSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, dirname, join } from 'node:path';

/** Before what JSON makes of it: quotes may double it. */
const PIECE_BYTES = 96 * 1024;

/** A place for the files of an export, in a new folder that only this account may read. */
export const newExportFolder = (): string => join(mkdtempSync(join(tmpdir(), 'railhouse-export-')), 'files');

export const removeExportFolder = (folder: string): void => rmSync(dirname(folder), { recursive: true, force: true });

/** What a set of files comes to, in the order given. */
export const sizesOf = (paths: readonly string[]): { readonly name: string; readonly bytes: number }[] =>
  paths.map((path) => ({ name: basename(path), bytes: statSync(path).size }));

/** The text of a file from a byte on, cut between two characters; `next`: where the following piece begins, null: there is none. */
export function readPiece(path: string, from: number): { readonly text: string; readonly next: number | null } {
  const file = openSync(path, 'r');
  try {
    const { size } = fstatSync(file);
    const bytes = Buffer.alloc(Math.max(0, Math.min(PIECE_BYTES, size - from)));
    let length = readSync(file, bytes, 0, bytes.length, from);
    if (from + length >= size) return { text: bytes.toString('utf8', 0, length), next: null };
    // A byte that goes on with a character (RFC 3629) is left to the following piece, with those before it.
    while (length > 0 && isWithin(readOne(file, from + length))) length -= 1;
    return { text: bytes.toString('utf8', 0, length), next: from + length };
  } finally {
    closeSync(file);
  }
}

const isWithin = (byte: number): boolean => (byte & 0xc0) === 0x80;

function readOne(file: number, at: number): number {
  const one = Buffer.alloc(1);
  readSync(file, one, 0, 1, at);
  return one[0] ?? 0;
}
