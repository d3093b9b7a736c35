/** Writes a set of files so that each is there whole or not at all; what stood there before stays until then. */
import { mkdir, open, rename, unlink } from 'node:fs/promises';
import { join } from 'node:path';

export interface FileToWrite {
  readonly name: string;
  /** The text, in pieces of any size; asked for once. */
  readonly pieces: Iterable<string> | AsyncIterable<string>;
}

export type WriteResult =
  /** Full paths, in the order given. */
  | { readonly kind: 'written'; readonly files: readonly string[] }
  | { readonly kind: 'failed'; readonly reason: 'unwritable' | 'disk-full' | 'other'; readonly path: string; readonly text: string };

/** The calls on the file system that can fail here; a parameter, so that a full disk can be tested. */
export interface ExportDisk {
  readonly mkdir: (path: string) => Promise<void>;
  readonly create: (path: string) => Promise<ExportFile>;
  readonly rename: (from: string, to: string) => Promise<void>;
  readonly unlink: (path: string) => Promise<void>;
}

interface ExportFile {
  readonly write: (text: string) => Promise<void>;
  /** Forces what was written to the disk and closes. */
  readonly finish: () => Promise<void>;
  readonly abandon: () => Promise<void>;
}

export const realDisk: ExportDisk = {
  mkdir: async (path) => {
    await mkdir(path, { recursive: true });
  },
  create: async (path) => {
    const handle = await open(path, 'w');
    return {
      write: async (text) => {
        await handle.writeFile(text);
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
};

/** Pieces are gathered to at least this many characters before they are written. */
const chunk = 1 << 16;

/**
 * Writes all files under temporary names, and only when all of them are on the disk gives them their own: a failure
 * leaves an earlier export untouched (unless it comes between two renames of the last step) and no half file behind.
 * Makes the directory if it is not there. Errors of the file system are answered; an error of `pieces` is thrown.
 */
export async function writeFiles(directory: string, files: readonly FileToWrite[], disk: ExportDisk = realDisk): Promise<WriteResult> {
  const finished: { readonly temporary: string; readonly path: string }[] = [];
  const onDisk = new DiskCalls();
  try {
    await onDisk.call(directory, disk.mkdir(directory));
    for (const { name, pieces } of files) {
      const path = join(directory, name);
      const temporary = `${path}.part`;
      const file = await onDisk.call(path, disk.create(temporary));
      finished.push({ temporary, path });
      let whole = false;
      try {
        let text = '';
        for await (const piece of pieces) {
          text += piece;
          if (text.length < chunk) continue;
          await onDisk.call(path, file.write(text));
          text = '';
        }
        if (text !== '') await onDisk.call(path, file.write(text));
        whole = true;
      } finally {
        if (!whole) await file.abandon().catch(() => undefined);
      }
      await onDisk.call(path, file.finish());
    }
    for (const { temporary, path } of finished) await onDisk.call(path, disk.rename(temporary, path));
    return { kind: 'written', files: finished.map((f) => f.path) };
  } catch (error) {
    for (const { temporary } of finished) await disk.unlink(temporary).catch(() => undefined);
    if (error !== onDisk.error || !(error instanceof Error)) throw error;
    return failure(error, onDisk.path, directory);
  }
}

/** Remembers which error came from the file system and at which path, to tell it from an error of the caller's pieces. */
class DiskCalls {
  error: unknown = null;
  path = '';

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

function failure(error: Error, path: string, directory: string): WriteResult {
  const code = (error as NodeJS.ErrnoException).code ?? '';
  const safe = 'The measured data in the archive are not touched, and an earlier export in that directory is still there.';
  switch (code) {
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
