/**
 * One writer for an archive, across processes. The lock is SQLite's own reserved lock on a small database beside the
 * archive: the operating system lets go of it when the process dies, however it dies. Readers do not ask for it.
 *
 * The lock file stays behind on purpose (removing it would race with the next writer); it holds no data. Nothing else in
 * this process may open or close the lock file or the archive through `fs`: on POSIX systems, closing any handle of a
 * file drops the locks of the whole process on it.
 */
import { openDatabase, storageFailure } from './sqlite.ts';
import type { StorageFailure } from './sqlite.ts';

export interface WriterLock {
  readonly ok: true;
  readonly release: () => void;
}

/** Takes the writer lock of the archive at `path` (absolute, links resolved), or says who has it. */
export function takeWriterLock(path: string): WriterLock | StorageFailure {
  let db;
  try {
    db = openDatabase(`${path}.lock`, { readOnly: false, busyTimeout: 0 });
  } catch (error) {
    const failure = storageFailure(error, path);
    if (failure === null) throw error;
    return failure;
  }
  try {
    // Written and let go first, because what is not committed cannot be read by the one who is refused.
    db.pragma('journal_mode = MEMORY');
    db.pragma('synchronous = OFF');
    db.exec('BEGIN IMMEDIATE');
    db.exec('CREATE TABLE IF NOT EXISTS holder (process INTEGER NOT NULL) STRICT; DELETE FROM holder');
    db.prepare('INSERT INTO holder (process) VALUES (?)').run(process.pid);
    db.exec('COMMIT; BEGIN IMMEDIATE');
  } catch (error) {
    const failure = storageFailure(error, `${path}.lock`);
    if (failure?.code !== 'busy') {
      db.close();
      if (failure === null) throw error;
      return failure;
    }
    let who = 'another process';
    try {
      const holder = db.prepare<[], { process: number }>('SELECT process FROM holder').get();
      if (holder !== undefined) who = holder.process === process.pid ? 'this same program' : `process ${holder.process}`;
    } catch {
      // The other one is between creating the file and writing its number: then the general words must do.
    }
    db.close();
    return {
      ok: false,
      code: 'busy',
      text: `The archive ${path} is already being written by ${who}. Nothing was changed, and it can still be read. End the other program first, or use another archive.`,
    };
  }
  return { ok: true, release: () => void db.close() };
}
