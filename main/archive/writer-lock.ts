/**
 * One writer for an archive, across processes. The lock is SQLite's own reserved lock on a small database beside the
 * archive: the operating system lets go of it when the process dies, however it dies. Readers do not ask for it.
 *
 * The lock file stays behind on purpose (removing it would race with the next writer); it holds no data. Nothing else in
 * this process may open or close the lock file or the archive through `fs`: on POSIX systems, closing any handle of a
 * file drops the locks of the whole process on it.
 */
import { openDatabase, storageFailure } from './sqlite.ts';
import type { Database, StorageFailure } from './sqlite.ts';

export interface WriterLock {
  readonly ok: true;
  readonly release: () => unknown;
}

/** Takes the writer lock of the archive at `path` (absolute, links resolved), or says who has it. */
export function takeWriterLock(path: string): WriterLock | StorageFailure {
  const lockPath = `${path}.lock`;
  let db: Database | undefined;
  try {
    db = openDatabase(lockPath, { readOnly: false, busyTimeout: 0 });
    // The number is committed and the lock taken anew, because what is not committed cannot be read by the one refused.
    db.exec('BEGIN IMMEDIATE; CREATE TABLE IF NOT EXISTS holder (process INTEGER NOT NULL) STRICT; DELETE FROM holder');
    db.prepare('INSERT INTO holder (process) VALUES (?)').run(process.pid);
    db.exec('COMMIT; BEGIN IMMEDIATE');
    return { ok: true, release: db.close.bind(db) };
  } catch (error) {
    const failure = storageFailure(error, lockPath);
    const who = failure?.code === 'busy' && db !== undefined ? holderOf(db) : '';
    db?.close();
    if (failure === null) throw error;
    switch (failure.code) {
      case 'busy':
        return {
          ...failure,
          text: `The archive ${path} is already being written by ${who}. Nothing was changed, and it can still be read. End the other program first, or use another archive.`,
        };
      case 'damaged':
      case 'not-an-archive':
        return {
          ok: false,
          code: 'io',
          text: `The lock file ${lockPath} is damaged, so it cannot be said whether another program writes to the archive. Nothing was changed, and the archive itself is not concerned. Make sure that no other program uses it, remove the lock file and try again.`,
        };
      case 'strayed':
      case 'disk-full':
      case 'not-writable':
      case 'io':
        return failure;
    }
  }
}

function holderOf(lock: Database): string {
  try {
    const holder = lock.prepare<[], { process: number }>('SELECT process FROM holder').get();
    if (holder !== undefined) return holder.process === process.pid ? 'this same program' : `process ${holder.process}`;
  } catch {
    // The other one is just writing its number: then the general words must do.
  }
  return 'another process';
}
