/** A copy of an archive that is made while runs are being written to it. */
import { existsSync, renameSync, rmSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import { openDatabase, storageFailure } from './sqlite.ts';
import type { Database, StorageFailure } from './sqlite.ts';

export type BackupResult =
  | { readonly ok: true; readonly path: string; readonly bytes: number }
  | StorageFailure
  | { readonly ok: false; readonly code: 'exists' | 'absent' | 'not-whole'; readonly text: string };

/**
 * Copies the archive to `path`, a bit at a time between other work, so that a run goes on meanwhile. The copy gets its
 * name only after `faultOf` has looked at it and found nothing.
 *
 * The copying has a connection of its own, which holds on to the state at the beginning: otherwise each commit of another
 * process would make it start again, and beside a busy bench it would never end.
 */
export async function backupTo(
  open: () => Database,
  path: string,
  faultOf: (copy: Database, path: string) => string | null,
): Promise<BackupResult> {
  if (existsSync(path)) {
    return { ok: false, code: 'exists', text: `There is already a file ${path}. It was left as it is and no backup was made. Choose another name.` };
  }
  if (!existsSync(dirname(path))) {
    return { ok: false, code: 'absent', text: `The folder of ${path} does not exist. No backup was made. Choose another folder.` };
  }
  const unfinished = unfinishedOf(path);
  try {
    removeUnfinished(unfinished);
    const source = open();
    try {
      source.exec('BEGIN');
      source.prepare('SELECT count(*) FROM sqlite_schema').get();
      await source.backup(unfinished);
    } finally {
      source.close();
    }
    const fault = faultIn(unfinished, faultOf);
    if (fault !== null) {
      return { ok: false, code: 'not-whole', text: `The backup could not be read back, so it was removed; the archive itself is as it was. ${fault}` };
    }
    renameSync(unfinished, path);
    return { ok: true, path, bytes: statSync(path).size };
  } catch (error) {
    const failure = storageFailure(error, path);
    if (failure === null) throw error;
    return failure;
  } finally {
    removeUnfinished(unfinished);
  }
}

/** Where a copy lies until it is whole. */
export const unfinishedOf = (path: string): string => `${path}.unfinished`;

/** Half a copy that a death has left, with the journal of its making. */
export function removeUnfinished(unfinished: string): void {
  for (const name of [unfinished, `${unfinished}-journal`]) rmSync(name, { force: true });
}

function faultIn(copy: string, faultOf: (copy: Database, path: string) => string | null): string | null {
  const db = openDatabase(copy, { readOnly: false, busyTimeout: 0 });
  try {
    // Out of write-ahead mode: one file that is complete by itself and can be read where nothing can be written.
    db.pragma('journal_mode = DELETE');
    return faultOf(db, copy);
  } finally {
    db.close();
  }
}
