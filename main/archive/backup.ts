/** A copy of an archive that is made while runs are being written to it. */
import { existsSync, renameSync, rmSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import { storageFailure } from './sqlite.ts';
import type { Database, StorageFailure } from './sqlite.ts';

export type BackupResult =
  | { readonly ok: true; readonly path: string; readonly bytes: number }
  | StorageFailure
  | { readonly ok: false; readonly code: 'exists' | 'absent' | 'not-whole'; readonly text: string };

/**
 * Copies the archive to `path`, a bit at a time between other work, so that a run goes on meanwhile. What was committed
 * when the copy ends is in it. The copy gets its name only after `faultOf` has opened it and found nothing.
 */
export async function backupTo(db: Database, path: string, faultOf: (copy: string) => string | null): Promise<BackupResult> {
  if (existsSync(path)) {
    return { ok: false, code: 'exists', text: `There is already a file ${path}. It was left as it is and no backup was made. Choose another name.` };
  }
  if (!existsSync(dirname(path))) {
    return { ok: false, code: 'absent', text: `The folder of ${path} does not exist. No backup was made. Choose another folder.` };
  }
  const unfinished = `${path}.unfinished`;
  try {
    rmSync(unfinished, { force: true });
    await db.backup(unfinished);
    const fault = faultOf(unfinished);
    if (fault !== null) {
      rmSync(unfinished, { force: true });
      return { ok: false, code: 'not-whole', text: `The backup could not be read back, so it was removed; the archive itself is as it was. ${fault}` };
    }
    renameSync(unfinished, path);
    return { ok: true, path, bytes: statSync(path).size };
  } catch (error) {
    rmSync(unfinished, { force: true });
    const failure = storageFailure(error, path);
    if (failure === null) throw error;
    return failure;
  }
}
