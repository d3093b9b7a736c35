/** Writes a set of files so that all of it is there, or what was there before. */
import { createHash } from 'node:crypto';
import { open, readdir, realpath, rename, rmdir, unlink } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { makeFolder } from '../archive/make-folder.ts';
import { wait, type Clock } from '../clock/clock.ts';

/** `Piece`: text, and bytes where a format is not text. */
export interface FileToWrite<Piece extends string | Uint8Array = string> {
  readonly name: string;
  /** The contents, in pieces of any size; asked for once. */
  readonly pieces: Iterable<Piece> | AsyncIterable<Piece>;
}

type AnyFile = FileToWrite<string | Uint8Array>;

export type WriteResult =
  /** Full paths, in the order given; `note`: what is left to be done, null: nothing. */
  | { readonly kind: 'written'; readonly files: readonly string[]; readonly note: string | null }
  | { readonly kind: 'failed'; readonly reason: 'unwritable' | 'held' | 'disk-full' | 'foreign' | 'other'; readonly path: string; readonly text: string };

/** The calls on the file system that can fail here; a parameter, so that a full disk, a file held open and a death in between can be tested. */
export interface ExportDisk {
  /** Where a path leads, links followed; the path itself where nothing is there yet. */
  readonly real: (path: string) => Promise<string>;
  readonly mkdir: (path: string) => Promise<void>;
  /** Names of what lies in a folder; null: there is no such folder. */
  readonly list: (path: string) => Promise<readonly string[] | null>;
  readonly create: (path: string) => Promise<ExportFile>;
  readonly rename: (from: string, to: string) => Promise<void>;
  readonly unlink: (path: string) => Promise<void>;
  readonly rmdir: (path: string) => Promise<void>;
  /** Forces the names in a folder to the disk, where the system knows such a thing. */
  readonly sync: (path: string) => Promise<void>;
  /** Whether another program keeps this one from changing a file. Only asked after a refusal. */
  readonly isHeld: (path: string) => Promise<boolean>;
  readonly pause: (ms: number) => Promise<void>;
}

interface ExportFile {
  readonly write: (piece: string | Uint8Array) => Promise<void>;
  /** Forces what was written to the disk and closes. */
  readonly finish: () => Promise<void>;
  readonly abandon: () => Promise<void>;
}

const codeOf = (error: unknown): string => (error as NodeJS.ErrnoException).code ?? '';

/** The file system of this machine; nothing is waited for. */
export const realDisk: ExportDisk = {
  real: async (path) => {
    try {
      return await realpath(path);
    } catch (error) {
      if (codeOf(error) === 'ENOENT') return path;
      throw error;
    }
  },
  mkdir: (path) =>
    new Promise((made) => {
      makeFolder(path);
      made();
    }),
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
  isHeld: async (path) => {
    try {
      await (await open(path, 'r+')).close();
      return false;
    } catch (error) {
      return heldCodes.has(codeOf(error));
    }
  },
  pause: () => Promise.resolve(),
};

/** The same with patience. `clock`: real time. */
export const patientDisk = (clock: Clock): ExportDisk => ({ ...realDisk, pause: (ms) => wait(clock, ms) });

/**
 * What systems say of a file or folder that another program has open: Windows of a name that is to be changed (a sharing violation is EBUSY,
 * a folder with an open file in it EPERM or EACCES, one whose files go only when they are closed ENOTEMPTY), Linux of a mount point (rename(2)).
 */
const heldCodes: ReadonlySet<string> = new Set(['EBUSY', 'EPERM', 'EACCES', 'ENOTEMPTY', 'ETXTBSY']);

/** Virus scanners and indexers look into what was just written and let go of it by themselves (EXP-4). */
const PATIENCE_TRIES = 20;
const PATIENCE_MS = 100;

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

/** The file that a spreadsheet says it has open, by the file that it lays beside it meanwhile; null: this is none of those. */
const openElsewhere = (name: string): string | null => /^\.~lock\.(.+)#$/u.exec(name)?.[1] ?? /^~\$(.+)$/u.exec(name)?.[1] ?? null;

/** Which set lies in the folder: the earlier one (or none), none because its new name was given and could not be taken back, the new one. */
type Standing = 'earlier' | 'between' | 'new';

/**
 * Writes a set into a folder of its own, and changes from the earlier set to this one in one step (ARC-18): everything is written into a
 * folder beside it, and only when all of it is on the disk the two folders change names. Whenever this process dies, the folder
 * holds one whole set or, between the two names, the earlier one lies beside it, whole, and the next export puts it back. A folder that
 * holds anything else is refused, and so is one of which another program holds a file open (EXP-3). Errors of the file system are answered; an
 * error of `pieces` is thrown, and so is the reason of `ending` when it is aborted before all is written: then the folder holds what it held before.
 */
export async function writeSet(directory: string, set: FileSet, disk: ExportDisk = realDisk, ending?: AbortSignal): Promise<WriteResult> {
  const names = [...set.files.map((file) => file.name), set.closing([]).name];
  const onDisk = new DiskCalls(disk, ending);
  let standing: Standing = 'earlier';
  let place = directory;
  let folders = new ExportFolders(place, names, onDisk, set.earlier);
  try {
    // A link stays what it is; its folder changes names.
    place = await onDisk.call(directory, disk.real(directory));
    folders = new ExportFolders(place, names, onDisk, set.earlier);
    await folders.tidy();
    await folders.writeNext(set, ending);
    const replaces = await folders.exists(place);
    if (replaces) await onDisk.patiently(place, () => disk.rename(place, folders.before));
    try {
      await onDisk.patiently(place, () => disk.rename(folders.next, place));
    } catch (error) {
      if (replaces && !(await onDisk.takesBack(() => disk.rename(folders.before, place)))) standing = 'between';
      throw error;
    }
    standing = 'new';
    await onDisk.call(place, disk.sync(dirname(place)));
    const left = replaces ? await folders.removeBefore() : null;
    return { kind: 'written', files: names.map((name) => join(directory, name)), note: left };
  } catch (error) {
    const refused = onDisk.refusal(error);
    await folders.remove(folders.next).catch(() => undefined);
    if (refused === null) throw error;
    return failure(refused, directory, standsNow(standing, folders, directory), refused.moving ? await folders.held() : []);
  }
}

/** What a person has now, as a sentence (EXP-5). */
function standsNow(standing: Standing, { had, before }: ExportFolders, directory: string): string {
  const data = 'The measured data in the archive are not touched';
  switch (standing) {
    case 'earlier':
      return had ? `${data}, and the earlier export in ${directory} is still there, whole.` : `${data}; there was no earlier export in ${directory}, and there is none now.`;
    case 'between':
      return had ? `${data}. The earlier export is whole and lies in ${before} now; the next export to ${directory} puts it back first.` : `${data}; there is no export in ${directory}.`;
    case 'new':
      return `${data}. The new export lies in ${directory}, whole, but it is not certain that it outlasts a power cut now.`;
  }
}

/** The folder of an export and those beside it. */
class ExportFolders {
  readonly next: string;
  readonly before: string;
  /** There is an earlier export. */
  had = false;
  readonly #place: string;
  readonly #old: string;
  readonly #isOurs: (name: string) => boolean;
  readonly #onDisk: DiskCalls;

  /** `names`: of the files of the set; `earlier`: as in the set. */
  constructor(place: string, names: readonly string[], onDisk: DiskCalls, earlier: FileSet['earlier'] = () => false) {
    this.#place = place;
    this.next = `${place}.export-next`;
    this.before = `${place}.export-before`;
    this.#old = `${place}.export-old`;
    // Earlier versions wrote each file beside its place.
    const ours = new Set([...names, ...names.map((name) => `${name}.part`), ...ofTheSystem]);
    this.#isOurs = (name) => ours.has(name) || earlier(name);
    this.#onDisk = onDisk;
  }

  async #list(folder: string): Promise<readonly string[] | null> {
    return this.#onDisk.call(folder, this.#onDisk.disk.list(folder));
  }

  async exists(folder: string): Promise<boolean> {
    return (await this.#list(folder)) !== null;
  }

  /** Puts back or removes what a death has left, and refuses what is not ours. */
  async tidy(): Promise<void> {
    if (await this.exists(this.#old)) await this.remove(this.#old);
    if (await this.exists(this.before)) {
      if (await this.exists(this.#place)) await this.#discardBefore();
      else await this.#onDisk.patiently(this.#place, () => this.#onDisk.disk.rename(this.before, this.#place));
    }
    if (await this.exists(this.next)) await this.remove(this.next);
    const found = (await this.#list(this.#place)) ?? [];
    this.had = found.some((name) => this.#isOurs(name) && !ofTheSystem.has(name));
    this.#refuseOthers(this.#place, found);
  }

  async writeNext(set: FileSet, ending: AbortSignal | undefined): Promise<void> {
    const { disk } = this.#onDisk;
    await this.#onDisk.call(this.next, disk.mkdir(this.next));
    const written: WrittenFile[] = [];
    const write = async (file: AnyFile): Promise<void> => {
      const path = join(this.next, file.name);
      const out = await this.#onDisk.call(path, disk.create(path));
      let whole = false;
      try {
        written.push(await writePieces(file, (piece) => this.#onDisk.call(path, out.write(piece)), ending));
        whole = true;
      } finally {
        if (!whole) await out.abandon().catch(() => undefined);
      }
      await this.#onDisk.call(path, out.finish());
    };
    for (const file of set.files) await write(file);
    await write(set.closing(written));
    await this.#onDisk.call(this.next, disk.sync(this.next));
  }

  async remove(folder: string): Promise<void> {
    const { disk } = this.#onDisk;
    const found = (await this.#list(folder)) ?? [];
    this.#refuseOthers(folder, found);
    for (const name of found) {
      const path = join(folder, name);
      await this.#onDisk.patiently(path, () => disk.unlink(path));
    }
    await this.#onDisk.patiently(folder, () => disk.rmdir(folder));
  }

  /** Under another name first: what has the name of the one before is always whole. */
  async #discardBefore(): Promise<void> {
    await this.#onDisk.patiently(this.before, () => this.#onDisk.disk.rename(this.before, this.#old));
    await this.remove(this.#old);
  }

  /** The new set is in its place. What is to be said of an earlier one that cannot be removed; null: it is gone. */
  async removeBefore(): Promise<string | null> {
    try {
      await this.#discardBefore();
      return null;
    } catch (error) {
      const refused = this.#onDisk.refusal(error);
      if (refused === null) throw error;
      return `The new export is in its place, whole. The earlier one could not be removed (${refused.code === '' ? refused.text : refused.code}), most likely because another program has a file of it open: it lies in ${(await this.exists(this.before)) ? this.before : this.#old}, and goes with the next export once it is closed.`;
    }
  }

  /** The files that another program holds, as far as that can be told. */
  async held(): Promise<readonly string[]> {
    const { disk } = this.#onDisk;
    const found = (await disk.list(this.#place).catch(() => null)) ?? [];
    const asked = await Promise.all(found.map(async (name) => ({ name, held: await disk.isHeld(join(this.#place, name)).catch(() => false) })));
    return asked.filter(({ held }) => held).map(({ name }) => name);
  }

  #refuseOthers(folder: string, found: readonly string[]): void {
    const held = found.find((name) => openElsewhere(name) !== null);
    if (held !== undefined) throw this.#onDisk.refuse(folder, OPEN, held);
    const foreign = found.find((name) => !this.#isOurs(name));
    if (foreign !== undefined) throw this.#onDisk.refuse(folder, FOREIGN, foreign);
  }
}

/** An error of the file system, or something in its place. */
interface Refusal {
  readonly code: string;
  readonly path: string;
  readonly text: string;
  /** A name was to be changed or removed: what keeps it is another program, as a rule. */
  readonly moving: boolean;
}

/** In place of an error of the disk: there is something that no export has put there; a spreadsheet says that it has a file open. */
const FOREIGN = 'RAILHOUSE_FOREIGN';
const OPEN = 'RAILHOUSE_OPEN';

/** Remembers which error came from the file system and at which path, to tell it from an error of the caller's pieces. */
class DiskCalls {
  readonly disk: ExportDisk;
  readonly #ending: AbortSignal | undefined;
  #error: unknown = null;
  #path = '';
  #moving = false;

  constructor(disk: ExportDisk, ending?: AbortSignal) {
    this.disk = disk;
    this.#ending = ending;
  }

  /** null: it did not come from here. */
  refusal(error: unknown): Refusal | null {
    return error === this.#error && error instanceof Error ? { code: codeOf(error), path: this.#path, text: error.message, moving: this.#moving } : null;
  }

  refuse(folder: string, code: string, name: string): Error {
    this.#path = folder;
    const error = Object.assign(new Error(name), { code });
    this.#error = error;
    return error;
  }

  async call<T>(path: string, work: Promise<T>, moving = false): Promise<T> {
    try {
      return await work;
    } catch (error) {
      this.#error = error;
      this.#path = path;
      this.#moving = moving;
      throw error;
    }
  }

  /** Tries again for a while where another program may have it open (EXP-4). */
  async patiently(path: string, work: () => Promise<void>): Promise<void> {
    for (let left = PATIENCE_TRIES; ; left -= 1) {
      try {
        await this.call(path, work(), true);
        return;
      } catch (error) {
        if (left === 0 || this.#ending?.aborted === true || !heldCodes.has(codeOf(error))) throw error;
      }
      await this.disk.pause(PATIENCE_MS);
    }
  }

  /** The same, beside the error that is told. */
  async takesBack(work: () => Promise<void>): Promise<boolean> {
    return new DiskCalls(this.disk).patiently('', work).then(() => true, () => false);
  }
}

/** `now`: what a person has, in a sentence. `held`: files that another program holds, as far as that can be told. */
function failure({ code, path, text, moving }: Refusal, directory: string, now: string, held: readonly string[]): WriteResult {
  const failed = (reason: Extract<WriteResult, { kind: 'failed' }>['reason'], said: string): WriteResult => ({ kind: 'failed', reason, path, text: said });
  if (code === OPEN) {
    return failed('held', `The export did not begin, because ${openElsewhere(text) ?? ''} in ${path} is open in a spreadsheet (it keeps ${text} beside it). ${now} Close it there, and export again, or export to another folder. If no program has it open, one that crashed has left ${text}: remove that file.`);
  }
  if (code === FOREIGN) {
    return failed('foreign', `The folder ${path} holds something else (${text}). An export has a folder of its own, so that it can be replaced as a whole. Nothing was written and nothing removed. Choose a new or empty folder, or one that holds an earlier export.`);
  }
  if (code === 'EBUSY' || code === 'ETXTBSY' || (moving && heldCodes.has(code))) {
    const what = held.length > 0 ? `${held.join(', ')} in ${directory} ${held.length === 1 ? 'is' : 'are'} held open by another program` : `${basename(path)} in ${dirname(path)} is held by another program (a spreadsheet or viewer with one of its files open, a terminal that stands in it), or belongs to another account or to a disk of its own`;
    return failed('held', `The export could not take its place, because ${what} (${code}). ${now} Close it there, and export again, or export to another folder.`);
  }
  switch (code) {
    case 'ENOSPC':
    case 'EDQUOT':
    case 'EFBIG':
      return failed('disk-full', `The export stopped because the disk that holds ${directory} is full (${code}). ${now} Free some space or choose another directory, and export again.`);
    case 'EACCES':
    case 'EPERM':
    case 'EROFS':
    case 'ENOENT':
    case 'ENOTDIR':
    case 'EEXIST':
    case 'EISDIR':
      return failed('unwritable', `The export cannot write ${path} (${code}). ${now} Choose a directory that this account may write to, and export again.`);
    default:
      return failed('other', `The export failed while writing ${path}: ${text}. ${now} Check the disk, and export again.`);
  }
}
