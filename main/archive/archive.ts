/** The archive: one SQLite file that keeps every run. One writer at a time, any number of readers. */
import { copyFileSync, existsSync, mkdtempSync, realpathSync, renameSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, dirname, join, resolve } from 'node:path';
import type { BenchFrame } from '../../app/bench/port.ts';
import type { UnixMillis } from '../../app/quantities/quantity.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { Entropy } from '../clock/entropy.ts';
import { V7Generator } from 'uuidv7';
import { backupTo, removeUnfinished } from './backup.ts';
import type { BackupResult } from './backup.ts';
import { sha256 } from './chain.ts';
import { commitsMustBeForced } from './invariants.ts';
import type { Head } from './ledger.ts';
import { Library } from './library.ts';
import { Records } from './records.ts';
import { MeterChecks } from './meter-checks.ts';
import { applicationId, currentVersion, migrate, type Birth } from './migrations.ts';
import { ArchiveReader, ArchiveUnreadable } from './read.ts';
import { Shelf } from './shelf.ts';
import { openDatabase, storageFailure, unfitNode } from './sqlite.ts';
import type { Database, StorageCode, StorageFailure } from './sqlite.ts';
import { verifying } from './verify.ts';
import type { Verification, VerifyProgress } from './verify.ts';
import { Visits } from './visits.ts';
import { takeWriterLock } from './writer-lock.ts';
import { Whereabouts } from './whereabouts.ts';
import { ArchiveWriter, rebuildDerived } from './write.ts';
import type { AppendResult, CreateResult, NewRun } from './write.ts';

type OpenCode = StorageCode | 'absent' | 'newer' | 'unfit-node';

interface OpenFailure {
  readonly ok: false;
  readonly code: OpenCode;
  /** What happened, what is safe and what to do. */
  readonly text: string;
}

export type OpenedArchive = { readonly ok: true; readonly archive: Archive } | OpenFailure;

interface ReadOptions {
  /** Asks for no lock and changes nothing; the file must exist. One of an earlier version is read from a copy (ARC-51). */
  readonly readOnly: true;
  /** Another connection of this program has the archive open, so its structure was looked at already. */
  readonly checked?: boolean;
}

interface WriteOptions {
  readonly readOnly?: false;
  readonly now: () => UnixMillis;
  /** Where the random part of ids comes from. */
  readonly entropy: Entropy;
  /** The archive refuses to grow over this and then reports a full disk. Absent: as large as the disk lets it. */
  readonly maxBytes?: number;
  /** Keeps heads in a second place: at each rest of a run, and when the archive is closed. */
  readonly heads?: HeadKeeper;
  /** How the archive's own file is opened; absent: as it is. For whoever must watch the writing or make it fail. */
  readonly openFile?: typeof openDatabase;
}

interface HeadKeeper {
  /** Returns at once. */
  note(archiveId: string, head: Head): void;
  /** Returns when it is kept. */
  finish(archiveId: string, head: Head): void;
}

/** Events after which a run does not go on by itself. */
const rests: ReadonlySet<RunEventBody['kind']> = new Set<RunEventBody['kind']>(['paused', 'tripped', 'ended']);

export type OpenOptions = ReadOptions | WriteOptions;

/**
 * Up to this size the structure of the file is checked at every opening; the check reads the whole file, so a larger
 * one is checked by `verify` only. See the figures of test/bench/archive.ts.
 */
const quickCheckMaxBytes = 64 * 2 ** 20;

/** Pages in the write-ahead log before they are moved to the main file, which costs one commit a few milliseconds. */
const checkpointPages = 1000;

const busyTimeoutMs = 5000;

type Inspection = { readonly ok: true; readonly version: number } | OpenFailure;

/** What the file is, by reading only. Version 0: empty, not yet an archive. */
function inspect(db: Database, path: string): Inspection {
  const id = db.pragma('application_id', { simple: true }) as number;
  const version = db.pragma('user_version', { simple: true }) as number;
  const tables = db.prepare<[], { n: number }>('SELECT count(*) AS n FROM sqlite_schema').get()?.n ?? 0;
  if (id === 0 && version === 0 && tables === 0) {
    // An archive's main file is complete before it gets a log: an empty one that is not of no bytes at all had all it held in there.
    if (statSync(path).size === 0) return { ok: true, version: 0 };
    return {
      ok: false,
      code: 'damaged',
      text: `The file ${path} is empty: what an archive or another database held was in the log beside it (${path}-wal), and that is not there. Nothing was changed. Look for the log, put it beside the file and try again, or continue from a backup.`,
    };
  }
  if (id !== applicationId || version < 1) {
    return {
      ok: false,
      code: 'not-an-archive',
      text: `The file ${path} is a database of another program, not an archive. Nothing was changed. Choose another file.`,
    };
  }
  if (version > currentVersion) {
    return {
      ok: false,
      code: 'newer',
      text: `The archive ${path} was written by a newer version of this program (archive version ${version}; this program reads up to ${currentVersion}). Nothing was changed. Use the newer program to open it.`,
    };
  }
  return { ok: true, version };
}

function quickCheck(db: Database, path: string, maxBytes: number): OpenFailure | null {
  if (statSync(path).size > maxBytes) return null;
  const found = db.pragma('quick_check(1)', { simple: true }) as string;
  return found === 'ok' ? null : damaged(path, `SQLite found: ${found.replaceAll('\n', ' ')}.`);
}

/** The same archive has the same name, however it was called: the lock hangs on the name. */
function fullPath(path: string): string {
  const absolute = resolve(path);
  if (existsSync(absolute)) return realpathSync(absolute);
  return existsSync(dirname(absolute)) ? join(realpathSync(dirname(absolute)), basename(absolute)) : absolute;
}

/**
 * Opens an archive; without `readOnly` makes it when it is absent, takes the writer lock and brings an older file to the
 * present version (the file as it was stays beside it under `.before-version-N`). Every failure leaves the file as it was.
 */
export function openArchive(path: string, options: OpenOptions): OpenedArchive {
  const unfit = unfitNode();
  if (unfit !== null) return { ok: false, code: 'unfit-node', text: unfit };
  const file = fullPath(path);
  const absent = !existsSync(file);
  if (absent && (options.readOnly === true || !existsSync(dirname(file)))) {
    const what = options.readOnly === true ? `There is no archive ${file}.` : `The folder of the archive ${file} does not exist.`;
    return { ok: false, code: 'absent', text: `${what} Nothing was made. Check the path.` };
  }
  try {
    return options.readOnly === true ? openAnywhere(file, options.checked === true ? 0 : quickCheckMaxBytes) : openWriter(file, options);
  } catch (error) {
    const failure = error instanceof ArchiveUnreadable ? damaged(file, error.message) : storageFailure(error, file);
    if (failure === null) throw error;
    return failure;
  }
}

const damaged = (path: string, how: string): OpenFailure => ({
  ok: false,
  code: 'damaged',
  text: `The archive ${path} is damaged. ${how} Nothing was changed. Keep the file and continue from a backup.`,
});

const openForReading = (file: string): Database => openDatabase(file, { readOnly: true, busyTimeout: busyTimeoutMs });

/**
 * SQLite makes a file beside an archive even to read it. Where that cannot be, on a medium that is read only, a copy is read in
 * the system's folder for temporary files, which goes when the archive is closed.
 */
function openAnywhere(file: string, checkMaxBytes: number): OpenedArchive {
  try {
    return openReader(file, checkMaxBytes);
  } catch (error) {
    if (storageFailure(error, file)?.code !== 'not-writable') throw error;
    const { folder, leave } = folderForCopy();
    return closingOnFailure(leave, () => {
      const copy = join(folder, basename(file));
      try {
        for (const suffix of ['', '-wal']) if (existsSync(file + suffix)) copyFileSync(file + suffix, copy + suffix);
      } catch {
        throw error;
      }
      return openReader(file, checkMaxBytes, { copy, leave });
    });
  }
}

/** It goes with `leave`, and with this process, should that end before. */
function folderForCopy(): { readonly folder: string; readonly leave: () => void } {
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-copy-'));
  const remove = (): void => {
    rmSync(folder, { recursive: true, force: true });
  };
  process.once('exit', remove);
  return {
    folder,
    leave: () => {
      process.off('exit', remove);
      remove();
    },
  };
}

function openReader(file: string, checkMaxBytes: number, instead?: { readonly copy: string; readonly leave: () => void }): OpenedArchive {
  const db = openForReading(instead?.copy ?? file);
  return closingOnFailure(db.close.bind(db), () => {
    const inspection = inspect(db, file);
    if (!inspection.ok) return inspection;
    if (inspection.version === 0) {
      return { ok: false, code: 'not-an-archive', text: `The file ${file} is empty. Nothing was changed. Choose another file.` };
    }
    const damage = quickCheck(db, file, checkMaxBytes);
    if (damage !== null) return damage;
    return inspection.version < currentVersion ? openUpToDate(db, file, inspection.version, instead?.leave) : { ok: true, archive: new Archive(db, file, null, instead) };
  });
}

/** ARC-51. Closes `db`, and leaves what it is a copy in when the archive is closed. */
function openUpToDate(db: Database, file: string, version: number, leaveOriginal: () => void = () => undefined): OpenedArchive {
  const { folder, leave } = folderForCopy();
  return closingOnFailure(leave, () => {
    const copy = join(folder, `version-${currentVersion}-${basename(file)}`);
    try {
      db.prepare('VACUUM INTO ?').run(copy);
      db.close();
      const migrating = openDatabase(copy, { readOnly: false, busyTimeout: 0 });
      try {
        migrate(migrating, version, birthOfCopy(migrating), rebuildDerived);
      } finally {
        migrating.close();
      }
    } catch (error) {
      const failure = storageFailure(error, copy);
      if (failure === null) throw error;
      return { ...failure, text: `The archive ${file} is of version ${version}, and a copy of it that this program can read could not be made. ${failure.text}` };
    }
    const reader = openForReading(copy);
    const note = `The archive ${file} is of version ${version}. It was not changed: what is read is a copy that was brought up to version ${currentVersion}, in the folder for temporary files, and goes when this is done. Id and head of the archive are that copy's: the file itself has none, and will have others when it is brought up to date ('bring-up-to-date').`;
    return closingOnFailure(reader.close.bind(reader), () => ({
      ok: true,
      archive: new Archive(reader, file, null, {
        copy,
        note,
        leave: () => {
          leave();
          leaveOriginal();
        },
      }),
    }));
  });
}

/** The same contents have the same id and head however often they are read, so that what was read once can be compared with what is read later. */
function birthOfCopy(db: Database): Birth {
  const runs = db.prepare<[], { id: string; created_at: number; events: number }>('SELECT id, created_at, (SELECT count(*) FROM events WHERE run = runs.no) AS events FROM runs ORDER BY no').all();
  const at = Math.max(1, ...runs.map((run) => run.created_at));
  const random = sha256(JSON.stringify(runs));
  let words = 0;
  const nextUint32 = (): number => {
    const from = (8 * words++) % random.length;
    return Number.parseInt(random.slice(from, from + 8), 16);
  };
  return { id: newArchiveId(at, { nextUint32 }), at };
}

function openWriter(file: string, options: WriteOptions): OpenedArchive {
  // A journal beside it is a change that was cut off, by the power or a death in the making of the archive: only a writer
  // can take it back, and the file is looked at after that.
  if (existsSync(file) && !existsSync(`${file}-journal`)) {
    // Before anything is made beside it or changed in it: is this an archive at all?
    const db = openForReading(file);
    try {
      const inspection = inspect(db, file);
      if (!inspection.ok) return inspection;
    } finally {
      db.close();
    }
  }
  const lock = takeWriterLock(file);
  if (!lock.ok) return lock;
  return closingOnFailure(lock.release, () => {
    const db = (options.openFile ?? openDatabase)(file, { readOnly: false, busyTimeout: busyTimeoutMs });
    return closingOnFailure(db.close.bind(db), () => {
      const inspection = inspect(db, file);
      if (!inspection.ok) return inspection;
      const damage = quickCheck(db, file, quickCheckMaxBytes);
      if (damage !== null) return damage;
      // A new archive is complete in its main file before it gets a log, so that a file without its log can be told from a new one.
      if (inspection.version > 0) db.pragma('journal_mode = WAL');
      db.pragma('synchronous = FULL');
      commitsMustBeForced(db, file);
      db.pragma('foreign_keys = ON');
      db.pragma(`wal_autocheckpoint = ${checkpointPages}`);
      if (options.maxBytes !== undefined) {
        db.pragma(`max_page_count = ${Math.floor(options.maxBytes / (db.pragma('page_size', { simple: true }) as number))}`);
      }
      if (inspection.version < currentVersion) {
        if (inspection.version > 0) keepCopy(db, `${file}.before-version-${currentVersion}`);
        const at = options.now();
        migrate(db, inspection.version, { id: newArchiveId(at, options.entropy), at }, rebuildDerived);
      }
      if (inspection.version === 0) db.pragma('journal_mode = WAL');
      return { ok: true, archive: new Archive(db, file, { now: options.now, entropy: options.entropy, ...(options.heads === undefined ? {} : { heads: options.heads }), release: lock.release }) };
    });
  });
}

/** A UUID of version 7; a clock before 1970 has no place in it. */
const newArchiveId = (at: number, entropy: Entropy): string => new V7Generator(entropy).generateOrResetWithTs(Math.min(Math.max(1, at), 2 ** 48 - 1)).toString();

function keepCopy(db: Database, copy: string): void {
  if (existsSync(copy)) return;
  const unfinished = `${copy}.unfinished`;
  removeUnfinished(unfinished);
  try {
    db.prepare('VACUUM INTO ?').run(unfinished);
    renameSync(unfinished, copy);
  } finally {
    removeUnfinished(unfinished);
  }
}

function closingOnFailure(close: () => unknown, open: () => OpenedArchive): OpenedArchive {
  let result: OpenedArchive | null = null;
  try {
    result = open();
    return result;
  } finally {
    if (result?.ok !== true) close();
  }
}

/** A copy that is read in the place of a file, and goes when the archive is closed. */
interface ReadInstead {
  readonly copy: string;
  readonly leave: () => void;
  readonly note?: string;
}

/** An open archive. Its reads are those of `ArchiveReader`. Writing through a reader is an error of the program. */
export class Archive extends ArchiveReader {
  /** Injectors, plans and equipment records. Saving through a reader is an error of the program. */
  readonly library: Library;
  /** Checks of flow meters, records of visits, of types and of benches. Adding through a reader is an error of the program. */
  readonly meterChecks: MeterChecks;
  readonly visits: Visits;
  readonly records: Records;
  readonly #db: Database;
  readonly #writer: ArchiveWriter | null;
  readonly #heads: HeadKeeper | null;
  readonly #release: () => unknown;
  readonly #whereabouts: Whereabouts | null;
  readonly #now: () => UnixMillis;
  /** How what is read differs from the file, in sentences for whoever reads it; null: it does not. */
  readonly note: string | null;
  /** Where the file is that is read: a copy of it, where it cannot be read in its place. */
  readonly #readFrom: string;

  constructor(db: Database, path: string, writing: { readonly now: () => UnixMillis; readonly entropy: Entropy; readonly heads?: HeadKeeper; readonly release: () => unknown } | null, instead?: ReadInstead) {
    super(db, path);
    this.note = instead?.note ?? null;
    this.#readFrom = instead?.copy ?? path;
    this.#db = db;
    const forReading = (): never => {
      throw new Error('the archive is open for reading only');
    };
    this.#now = writing?.now ?? forReading;
    const shelf = new Shelf(db, path, this.#now, () => this.#lost());
    this.library = new Library(shelf, this.ledger, writing?.entropy ?? { nextUint32: forReading });
    this.meterChecks = new MeterChecks(shelf, this.ledger);
    this.visits = new Visits(shelf, this.ledger);
    this.records = new Records(shelf, this.ledger);
    this.#heads = writing?.heads ?? null;
    // Read once now, so that at a rest only the latest entries are.
    if (this.#heads !== null) this.head();
    this.#writer = writing === null ? null : new ArchiveWriter(db, path, writing, this);
    this.#release = writing?.release ?? instead?.leave ?? (() => undefined);
    this.#whereabouts = writing === null ? null : new Whereabouts(path);
  }

  /** Makes the record of a run; its id is a UUID of version 7 (RFC 9562). Its journal begins with the first `append`. */
  createRun(run: NewRun): CreateResult {
    const made = this.#writing().createRun(run);
    return this.#lost() ?? made;
  }

  /**
   * Appends events and the frames that came with them, all or nothing, and returns the events as they stand in the
   * journal once they are on the disk. Give each frame once, in the order received; an attempt's frames come at the
   * latest with its `attempt-ended` event. On failure nothing of the call was written and it may be made again.
   */
  append(id: string, bodies: readonly RunEventBody[], frames: readonly BenchFrame[]): AppendResult {
    const written = this.#writing().append(id, bodies, frames);
    const lost = this.#lost();
    if (lost !== null) return lost;
    if (written.ok && bodies.some((body) => rests.has(body.kind))) this.#heads?.note(this.archiveId(), this.head());
    return written;
  }

  /** Asked after each commit: what went into a file that is nobody's any more is not announced. It is also why one may have failed. */
  #lost(): StorageFailure | null {
    const strayed = this.strayed();
    return strayed === null ? null : { ok: false, code: 'strayed', text: strayed };
  }

  /** Why what is written can no longer be found where the archive was opened, in a sentence; null: it can. Costs microseconds. */
  strayed(): string | null {
    const how = this.#whereabouts?.strayed() ?? null;
    return how === null ? null : `${how} while this program had it open: nothing more can be kept in it.`;
  }

  /**
   * Moves what was committed from the log to the main file, so that a copy of that alone is not empty. Milliseconds. With readers
   * still there, SQLite would leave the latest commits in the log when the archive is closed.
   */
  checkpoint(): void {
    try {
      this.#db.pragma('wal_checkpoint(PASSIVE)');
    } catch (error) {
      // On a full or failing disk they stay in the log, where they are as safe.
      if (storageFailure(error, this.path) === null) throw error;
    }
  }

  /**
   * Saves everything that was committed from an archive that has strayed, as a file of its own beside where it was (in the system's
   * folder for temporary files, if that is gone too). In sentences: where it is and what is in it, or why it could not be done.
   */
  rescue(): string {
    // The bench took longer to be made safe than whoever had the archive open waited.
    if (!this.#db.open) return 'The archive was closed meanwhile; what was committed before is kept in its file, wherever that is now.';
    const name = `${basename(this.path, '.sqlite')}.rescued-${this.#now().toString()}.sqlite`;
    const copy = join(existsSync(dirname(this.path)) ? dirname(this.path) : tmpdir(), name);
    try {
      this.#db.prepare('VACUUM INTO ?').run(copy);
      const reader = openReader(copy, quickCheckMaxBytes);
      if (!reader.ok) return `What was committed could not be saved to ${copy}: ${reader.text}`;
      const runs = [...reader.archive.everyRun()].length;
      reader.archive.close();
      return `All that was committed until then was saved to ${copy} and read back: ${runs} ${runs === 1 ? 'run' : 'runs'}. Look for the archive; where it is gone for good, continue from that file.`;
    } catch (error) {
      const failure = storageFailure(error, copy);
      if (failure === null) throw error;
      return `What was committed could not be saved to ${copy}: ${failure.text}`;
    }
  }

  /**
   * Holds the whole archive against what it promises, and against heads that were noted or kept elsewhere; changes nothing. May take
   * minutes for a large archive; `onProgress` is told the share that is done.
   */
  verify(expected: readonly Head[] = [], onProgress: (share: number) => void = () => undefined): Verification {
    const work = this.verifying(expected);
    for (let step = work.next(); ; step = work.next()) {
      if (step.done === true) return step.value;
      onProgress(step.value);
    }
  }

  /** The same in steps of some milliseconds, each with how much is done, so that others have their turn; it may be ended early by `return`. */
  verifying(expected: readonly Head[] = []): VerifyProgress {
    return verifying(this.#db, this, expected);
  }

  /**
   * Makes a checked copy at `path`, which must not exist: one self-contained file that holds what was committed when the
   * copying began. Runs may be written meanwhile, by this program or another.
   */
  backup(path: string): Promise<BackupResult> {
    return backupTo(
      () => openForReading(this.#readFrom),
      resolve(path),
      (db, copy) => {
        const inspection = inspect(db, copy);
        const failure = inspection.ok ? quickCheck(db, copy, quickCheckMaxBytes) : inspection;
        return failure?.text ?? null;
      },
    );
  }

  /** Ends all use of the file; a writer lets go of its lock. */
  close(): void {
    if (this.#writer !== null) {
      this.#keepHead();
      this.checkpoint();
    }
    this.#db.close();
    this.#release();
  }

  #keepHead(): void {
    if (this.#heads === null) return;
    try {
      this.#heads.finish(this.archiveId(), this.head());
    } catch (error) {
      // An archive that cannot be read any more has no head to keep, and must be closed all the same.
      if (!(error instanceof ArchiveUnreadable) && storageFailure(error, this.path) === null) throw error;
    }
  }

  #writing(): ArchiveWriter {
    if (this.#writer === null) throw new Error('the archive is open for reading only');
    return this.#writer;
  }
}
