/** What the parts of the archive beside its runs have in common: how they are read, dated and saved. */
import type { UnixMillis } from '../../app/quantities/quantity.ts';
import { undatable } from '../clock/dating.ts';
import { readingFile } from './read.ts';
import { storageFailure, type Database, type StorageFailure } from './sqlite.ts';

/** Something about the request itself, which the person who made it can correct. */
export interface NotKept {
  readonly ok: false;
  readonly code: 'refused';
  readonly text: string;
}

export type Saved<T> = { readonly ok: true; readonly value: T } | NotKept | StorageFailure;

/** Thrown inside a transaction, so that nothing of it stays. */
export class KeepingRefused extends Error {}

export class Shelf {
  readonly db: Database;
  readonly #path: string;
  readonly #now: () => UnixMillis;
  readonly #strayed: () => StorageFailure | null;

  /** `strayed`: why what was just committed cannot be found again; null: it can. */
  constructor(db: Database, path: string, now: () => UnixMillis, strayed: () => StorageFailure | null) {
    this.db = db;
    this.#path = path;
    this.#now = now;
    this.#strayed = strayed;
  }

  /** All or nothing, under the date that `work` is given; it is on the disk when this returns. */
  durably<T>(work: (savedAt: UnixMillis) => T): Saved<T> {
    try {
      const value = this.db.transaction(work).immediate(this.#dated());
      return this.#strayed() ?? { ok: true, value };
    } catch (error) {
      if (error instanceof KeepingRefused) return { ok: false, code: 'refused', text: error.message };
      const failure = storageFailure(error, this.#path);
      if (failure === null) throw error;
      return this.#strayed() ?? failure;
    }
  }

  reading<T>(read: () => T): T {
    return readingFile(this.#path, read);
  }

  /** Now; refuses to save anything by a clock that dates nothing (ARC-20). */
  #dated(): UnixMillis {
    const at = this.#now();
    const fault = undatable(at);
    if (fault !== null) throw new KeepingRefused(`${fault}. Nothing was saved. Set the clock, then save again.`);
    return at;
  }
}
