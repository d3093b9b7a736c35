/** The one door to SQLite: refuses an unfit Node before native code runs, and turns SQLite's codes into sentences. */
import Sqlite from 'better-sqlite3';

export type Database = Sqlite.Database;

/**
 * Why this Node cannot load the database module, or null when it can. The module needs Node-API 10; an older Node ends
 * at once, without a word, when the native code is loaded, which happens with the first database that is opened.
 */
export function unfitNode(versions: NodeJS.ProcessVersions = process.versions): string | null {
  const have = Number(versions['napi'] ?? 0);
  if (have >= 10) return null;
  return `The archive needs Node 24 (Node-API 10); this is Node ${versions.node} with Node-API ${have}. Nothing was opened. Start the program with "npm start", which brings its own Node.`;
}

interface OpenOptions {
  readonly readOnly: boolean;
  /** Milliseconds to wait for another connection's lock. */
  readonly busyTimeout: number;
}

/** Opens a database file; throws what SQLite throws. `unfitNode` must have been asked before. */
export function openDatabase(path: string, options: OpenOptions): Database {
  return new Sqlite(path, { readonly: options.readOnly, fileMustExist: options.readOnly, timeout: options.busyTimeout });
}

export type StorageCode = 'strayed' | 'disk-full' | 'busy' | 'damaged' | 'not-an-archive' | 'not-writable' | 'io';

export interface StorageFailure {
  readonly ok: false;
  readonly code: StorageCode;
  readonly text: string;
}

/**
 * An expected failure of storage as a result; null for anything else (a violated constraint, a wrong statement), which
 * is an error of the program and must go on as an exception.
 */
export function storageFailure(error: unknown, path: string): StorageFailure | null {
  const code = error instanceof Sqlite.SqliteError ? error.code : undefined;
  if (code === undefined) return null;
  const fail = (kind: StorageCode, text: string): StorageFailure => ({ ok: false, code: kind, text });
  // The shared-memory file beside the archive cannot grow: on Linux that is a full disk too.
  if (code === 'SQLITE_FULL' || code === 'SQLITE_IOERR_SHMSIZE') {
    return fail('disk-full', `The disk that holds the archive ${path} is full. Nothing of this step was written and everything before it is kept. Free some space and try again.`);
  }
  if (code.startsWith('SQLITE_BUSY') || code === 'SQLITE_LOCKED') {
    return fail('busy', `The archive ${path} is in use by another program. Nothing was changed. Close the other program and try again.`);
  }
  if (code === 'SQLITE_NOTADB') {
    return fail('not-an-archive', `The file ${path} is not an archive, or its first bytes are destroyed. Nothing was changed. Choose another file or restore a backup.`);
  }
  if (code.startsWith('SQLITE_CORRUPT')) {
    return fail('damaged', `The archive ${path} is damaged. SQLite found: ${code}. Nothing was changed. Keep the file and continue from a backup.`);
  }
  if (code.startsWith('SQLITE_READONLY') || code === 'SQLITE_PERM' || code.startsWith('SQLITE_CANTOPEN')) {
    return fail('not-writable', `The archive ${path} cannot be opened as needed (${code}). Nothing was changed. Check that you may read and write in its folder, or copy it to a folder where you may.`);
  }
  if (code.startsWith('SQLITE_IOERR')) {
    return fail('io', `The disk that holds the archive ${path} reported an error (${code}). Nothing of this step was written. Check the disk and try again.`);
  }
  return null;
}
