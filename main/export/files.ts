/** Writes a set of files so that all of it is there, or what was there before. */
import { createHash } from 'node:crypto';
import { mkdir, open, readdir, rename, rmdir, unlink } from 'node:fs/promises';
import { dirname, join } from 'node:path';

/** `Piece`: text, and bytes where a format is not text. */
export interface FileToWrite<Piece extends string | Uint8Array = string> {
  readonly name: string;
  /** The contents, in pieces of any size; asked for once. */
  readonly pieces: Iterable<Piece> | AsyncIterable<Piece>;
}

type AnyFile = FileToWrite<string | Uint8Array>;

export type WriteResult =
  /** Full paths, in the order given. */
  | { readonly kind: 'written'; readonly files: readonly string[] }
  | { readonly kind: 'failed'; readonly reason: 'unwritable' | 'disk-full' | 'foreign' | 'other'; readonly path: string; readonly text: string };

/** The calls on the file system that can fail here; a parameter, so that a full disk and a death in between can be tested. */
export interface ExportDisk {
  readonly mkdir: (path: string) => Promise<void>;
  /** Names of what lies in a folder; null: there is no such folder. */
  readonly list: (path: string) => Promise<readonly string[] | null>;
  readonly create: (path: string) => Promise<ExportFile>;
  readonly rename: (from: string, to: string) => Promise<void>;
  readonly unlink: (path: string) => Promise<void>;
  readonly rmdir: (path: string) => Promise<void>;
  /** Forces the names in a folder to the disk, where the system knows such a thing. */
  readonly sync: (path: string) => Promise<void>;
}

interface ExportFile {
  readonly write: (piece: string | Uint8Array) => Promise<void>;
  /** Forces what was written to the disk and closes. */
  readonly finish: () => Promise<void>;
  readonly abandon: () => Promise<void>;
}

const codeOf = (error: unknown): string => (error as NodeJS.ErrnoException).code ?? '';

export const realDisk: ExportDisk = {
  mkdir: async (path) => {
    await mkdir(path, { recursive: true });
  },
  list: async (path) => {
    try {
      return await readdir(path);
    } catch (error) {
      if (codeOf(error) === 'ENOENT') return null;
      throw error;
    }
  },
  create: async (path) => {
    const handle = await open(path, 'w');
    return {
      write: async (piece) => {
        await handle.writeFile(piece);
      },
      finish: async () => {
        try {
          await handle.sync();
        } finally {
          await handle.close();
        }
      },
      abandon: () => handle.close(),
    };
  },
  rename,
  unlink,
  rmdir,
  sync: async (path) => {
    try {
      const handle = await open(path, 'r');
      await handle.sync().finally(() => handle.close());
    } catch (error) {
      // Some systems open no folders, or do not sync them.
      if (!['EISDIR', 'EPERM', 'EINVAL', 'ENOTSUP'].includes(codeOf(error))) throw error;
    }
  },
};

/** What was written of a file: its length, and its SHA-256 in hexadecimal digits. */
export interface WrittenFile {
  readonly name: string;
  readonly bytes: number;
  readonly sha256: string;
}

/** A set of files that belong together, and the last of them, which names the others. */
export interface FileSet {
  readonly files: readonly AnyFile[];
  readonly closing: (written: readonly WrittenFile[]) => FileToWrite;
  /** Names that an earlier set of this kind may have had and this one has not; absent: sets of this kind all have the same names. */
  readonly earlier?: (name: string) => boolean;
}

/** Pieces are gathered to at least this many characters before they are written. */
const chunk = 1 << 16;

/** Writes one file in pieces and returns what was written. */
async function writePieces({ name, pieces }: AnyFile, write: (piece: string | Uint8Array) => Promise<void>, ending: AbortSignal | undefined): Promise<WrittenFile> {
  const digest = createHash('sha256');
  let bytes = 0;
  let text = '';
  const out = async (piece: string | Uint8Array): Promise<void> => {
    ending?.throwIfAborted();
    digest.update(piece);
    bytes += Buffer.byteLength(piece);
    await write(piece);
  };
  const rest = async (): Promise<void> => {
    if (text !== '') await out(text);
    text = '';
  };
  for await (const piece of pieces) {
    if (typeof piece === 'string') {
      text += piece;
      if (text.length >= chunk) await rest();
    } else {
      await rest();
      await out(piece);
    }
  }
  await rest();
  return { name, bytes, sha256: digest.digest('hex') };
}

/** What systems put into folders by themselves. */
const ofTheSystem: ReadonlySet<string> = new Set(['.DS_Store', 'Thumbs.db', 'desktop.ini']);

/**
 * Writes a set into a folder of its own, and changes from the earlier set to this one in one step (ARC-18): everything is written into a
 * folder beside it, and only when all of it is on the disk the two folders change names. Whenever this process dies, the folder
 * holds one whole set or, between the two names, the earlier one lies beside it, whole, and the next export puts it back. A folder that
 * holds anything else is refused. Errors of the file system are answered; an error of `pieces` is thrown, and so is the reason of
 * `ending` when it is aborted before all is written: then the folder holds what it held before.
 */
export async function writeSet(directory: string, set: FileSet, disk: ExportDisk = realDisk, ending?: AbortSignal): Promise<WriteResult> {
  const next = `${directory}.export-next`;
  const before = `${directory}.export-before`;
  const onDisk = new DiskCalls();
  const names = [...set.files.map((file) => file.name), set.closing([]).name];
  // Earlier versions wrote each file beside its place.
  const ours = new Set([...names, ...names.map((name) => `${name}.part`), ...ofTheSystem]);
  const isOurs = (name: string): boolean => ours.has(name) || set.earlier?.(name) === true;
  const remove = async (folder: string): Promise<void> => {
    for (const name of (await onDisk.call(folder, disk.list(folder))) ?? []) {
      if (!isOurs(name)) throw onDisk.foreign(folder, name);
      await onDisk.call(join(folder, name), disk.unlink(join(folder, name)));
    }
    await onDisk.call(folder, disk.rmdir(folder));
  };
  const exists = async (folder: string): Promise<boolean> => (await onDisk.call(folder, disk.list(folder))) !== null;
  try {
    // What a death between the two names has left.
    if (await exists(before)) {
      if (await exists(directory)) await remove(before);
      else await onDisk.call(directory, disk.rename(before, directory));
    }
    if (await exists(next)) await remove(next);
    for (const name of (await onDisk.call(directory, disk.list(directory))) ?? []) {
      if (!isOurs(name)) throw onDisk.foreign(directory, name);
    }
    await onDisk.call(next, disk.mkdir(next));
    const written: WrittenFile[] = [];
    const write = async (file: AnyFile): Promise<void> => {
      const path = join(next, file.name);
      const out = await onDisk.call(path, disk.create(path));
      let whole = false;
      try {
        written.push(await writePieces(file, (piece) => onDisk.call(path, out.write(piece)), ending));
        whole = true;
      } finally {
        if (!whole) await out.abandon().catch(() => undefined);
      }
      await onDisk.call(path, out.finish());
    };
    for (const file of set.files) await write(file);
    await write(set.closing(written));
    await onDisk.call(next, disk.sync(next));
    const replaces = await exists(directory);
    if (replaces) await onDisk.call(directory, disk.rename(directory, before));
    try {
      await onDisk.call(directory, disk.rename(next, directory));
    } catch (error) {
      if (replaces) await disk.rename(before, directory);
      throw error;
    }
    await onDisk.call(directory, disk.sync(dirname(directory)));
    if (replaces) await remove(before);
    return { kind: 'written', files: names.map((name) => join(directory, name)) };
  } catch (error) {
    const { path } = onDisk;
    const ofDisk = error === onDisk.error && error instanceof Error;
    await remove(next).catch(() => undefined);
    if (!ofDisk) throw error;
    return failure(error, path, directory);
  }
}

/** Remembers which error came from the file system and at which path, to tell it from an error of the caller's pieces. */
class DiskCalls {
  error: unknown = null;
  path = '';

  /** An error in place of one of the disk: there is something that no export has put there. */
  foreign(folder: string, name: string): Error {
    this.path = folder;
    const error = Object.assign(new Error(name), { code: FOREIGN });
    this.error = error;
    return error;
  }

  async call<T>(path: string, work: Promise<T>): Promise<T> {
    try {
      return await work;
    } catch (error) {
      this.error = error;
      this.path = path;
      throw error;
    }
  }
}

const FOREIGN = 'RAILHOUSE_FOREIGN';

function failure(error: Error, path: string, directory: string): WriteResult {
  const code = (error as NodeJS.ErrnoException).code ?? '';
  const safe = 'The measured data in the archive are not touched, and an earlier export in that directory is still there.';
  switch (code) {
    case FOREIGN:
      return {
        kind: 'failed',
        reason: 'foreign',
        path,
        text: `The folder ${path} holds something else (${error.message}). An export has a folder of its own, so that it can be replaced as a whole. Nothing was written and nothing removed. Choose a new or empty folder, or one that holds an earlier export.`,
      };
    case 'ENOSPC':
    case 'EDQUOT':
    case 'EFBIG':
      return {
        kind: 'failed',
        reason: 'disk-full',
        path,
        text: `The export stopped because the disk that holds ${directory} is full (${code}). ${safe} Free some space or choose another directory, and export again.`,
      };
    case 'EACCES':
    case 'EPERM':
    case 'EROFS':
    case 'ENOENT':
    case 'ENOTDIR':
    case 'EEXIST':
    case 'EISDIR':
      return {
        kind: 'failed',
        reason: 'unwritable',
        path,
        text: `The export cannot write ${path} (${code}). ${safe} Choose a directory that this account may write to, and export again.`,
      };
    default:
      return {
        kind: 'failed',
        reason: 'other',
        path,
        text: `The export failed while writing ${path}: ${error.message}. ${safe} Check the disk, and export again.`,
      };
  }
}
