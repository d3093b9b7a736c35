/** Exports that were made for windows: each is a folder of files that a window reads piece by piece (HOST-11). */
import { closeSync, existsSync, fstatSync, lstatSync, mkdtempSync, openSync, readdirSync, readSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { isProcessThere, machineName } from '../ending/process-there.ts';

/** Before what JSON makes of it: quotes may double it. */
const PIECE_BYTES = 96 * 1024;

/** `railhouse-export-MACHINE-OWNER-MAKER-xxxxxx`: the owner is the process that keeps it for windows, the maker the one that writes it. */
const PREFIX = 'railhouse-export-';
const named = /^railhouse-export-(\w*)-(\d+)-(\d+)-\w+$/;
const FILES = 'files';

/** A place for the files of an export, in a new folder that only this account may read. `owner`: the process whose windows it is for. */
export const newExportFolder = (owner: number): string => join(mkdtempSync(join(tmpdir(), `${PREFIX}${machineName()}-${owner}-${process.pid}-`)), FILES);

export const removeExportFolder = (folder: string): void => rmSync(dirname(folder), { recursive: true, force: true });

/** Removes what a maker that has died has left unfinished (HOST-17). */
export const removeUnfinishedExports = (maker: number): void => removeExports((folder) => folder.maker === maker && !existsSync(join(folder.path, FILES)));

/** Removes every export of a process that has ended (HOST-17). */
export const removeExportsOf = (owner: number): void => removeExports((folder) => folder.owner === owner);

/** Removes the exports of all processes of this machine that are not there any more (HOST-17). */
export const removeAbandonedExports = (): void => removeExports((folder) => !isProcessThere(folder.owner));

interface ExportFolder {
  readonly path: string;
  readonly owner: number;
  readonly maker: number;
}

/** What cannot be removed, as that of another account, stays. */
function removeExports(wanted: (folder: ExportFolder) => boolean): void {
  for (const name of readdirSync(tmpdir())) {
    const [, at, owner, maker] = named.exec(name) ?? [];
    const path = join(tmpdir(), name);
    if (at !== machineName() || !wanted({ path, owner: Number(owner), maker: Number(maker) })) continue;
    try {
      // A link under that name is not followed.
      if (lstatSync(path).isDirectory()) rmSync(path, { recursive: true, force: true });
    } catch {
      continue;
    }
  }
}

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
