/**
 * Records that the lab keeps beside its runs, each under the name of what it is of: of a type of injector, and the qualifications of a bench.
 * Every change is a new version; an earlier one never changes.
 */
import { unixMillis, type UnixMillis } from '../../app/quantities/quantity.ts';
import { sha256 } from './chain.ts';
import { rowHash, type Ledger, type RecordKind } from './ledger.ts';
import { ArchiveUnreadable } from './read.ts';
import { KeepingRefused, type NotKept, type Shelf } from './shelf.ts';
import type { Database, StorageFailure } from './sqlite.ts';

export interface StoredRecord {
  /** What it is of. */
  readonly name: string;
  /** From 1, without a gap, of each name. */
  readonly version: number;
  readonly savedAt: UnixMillis;
  readonly savedBy: string;
  /** As it was saved. */
  readonly document: unknown;
}

export interface RecordToSave {
  readonly kind: RecordKind;
  readonly name: string;
  readonly document: unknown;
  readonly by: string;
  /** Version that the change was made on; 0: none was there. Refused where another was saved since; absent: whatever is there. */
  readonly basedOn?: number | undefined;
}

export interface RecordRow {
  readonly kind: string;
  readonly name: string;
  readonly version: number;
  readonly saved_at: number;
  readonly saved_by: string;
  readonly document: string;
  readonly entry: number;
}

type Saved = { readonly ok: true; readonly version: number } | NotKept | StorageFailure;
type HashedRow = RecordRow & { readonly hash: Buffer };

/** What the ledger binds of a row: all of it but the n of its entry. */
export const recordHash = (row: Omit<RecordRow, 'entry'>): string => rowHash('record', row.kind, row.name, row.version, row.saved_at, row.saved_by, row.document);

const hashOf = (text: string): Buffer => Buffer.from(sha256(text), 'hex');
const columns = 'kind, name, version, saved_at, saved_by, document, hash, entry';

export class Records {
  readonly #shelf: Shelf;
  readonly #latest;
  readonly #versions;
  readonly #add;

  constructor(shelf: Shelf, ledger: Ledger) {
    this.#shelf = shelf;
    const { db } = shelf;
    this.#latest = db.prepare<[string], HashedRow>(
      `SELECT ${columns} FROM record_versions r WHERE kind = ? AND version = (SELECT max(version) FROM record_versions WHERE kind = r.kind AND name = r.name) ORDER BY name`,
    );
    this.#versions = db.prepare<[string, string, number], HashedRow>(`SELECT ${columns} FROM record_versions WHERE kind = ? AND name = ? ORDER BY version DESC LIMIT ?`);
    const last = db.prepare<[string, string], { version: number; entry: number }>('SELECT version, entry FROM record_versions WHERE kind = ? AND name = ? ORDER BY version DESC LIMIT 1');
    const put = db.prepare('INSERT INTO record_versions (kind, name, version, saved_at, saved_by, document, hash, entry) VALUES (?, ?, ?, ?, ?, ?, ?, ?)');
    this.#add = ({ kind, name, document, by, basedOn }: RecordToSave, savedAt: UnixMillis): number => {
      const before = last.get(kind, name);
      const there = before?.version ?? 0;
      if (basedOn !== undefined && there !== basedOn) {
        throw new KeepingRefused(`Version ${there} of ${name} was saved meanwhile, and this change was made on ${basedOn === 0 ? 'none' : `version ${basedOn}`}. Nothing was saved. Look at what was changed, and make your change on it.`);
      }
      const version = there + 1;
      const text = JSON.stringify(document);
      put.run(kind, name, version, savedAt, by, text, hashOf(text), ledger.next());
      ledger.enter({ kind: 'record', of: kind, name, version, parent: before?.entry ?? null, row: recordHash({ kind, name, version, saved_at: savedAt, saved_by: by, document: text }) });
      return version;
    };
  }

  /** The latest version of each name, by name. */
  latest(kind: RecordKind): StoredRecord[] {
    return this.#reading(() => this.#latest.all(kind));
  }

  /** Versions of a name, the latest first, at most `limit`. */
  versions(kind: RecordKind, name: string, limit: number): StoredRecord[] {
    return this.#reading(() => this.#versions.all(kind, name, limit));
  }

  /** It is on the disk when this returns. Refused where the clock dates nothing (ARC-20). */
  save(record: RecordToSave): Saved {
    const saved = this.#shelf.durably((savedAt) => this.#add(record, savedAt));
    return saved.ok ? { ok: true, version: saved.value } : saved;
  }

  #reading(read: () => HashedRow[]): StoredRecord[] {
    return this.#shelf.reading(read).map((row) => {
      if (!hashOf(row.document).equals(row.hash)) throw new ArchiveUnreadable(`${inWords(row)} is not what was saved: its hash does not fit.`);
      return { name: row.name, version: row.version, savedAt: unixMillis(row.saved_at), savedBy: row.saved_by, document: JSON.parse(row.document) as unknown };
    });
  }
}

const inWords = ({ kind, name, version }: Pick<RecordRow, 'kind' | 'name' | 'version'>): string => `Version ${version} of the ${kind} record ${name}`;

/** Holds the records against what the archive promises of them. */
export function recordProblems(db: Database): { readonly asked: number; readonly problems: readonly string[] } {
  const problems: string[] = [];
  let asked = 0;
  for (const row of db.prepare<[], HashedRow>(`SELECT ${columns} FROM record_versions`).iterate()) {
    asked += 1;
    if (!hashOf(row.document).equals(row.hash)) problems.push(`${inWords(row)} is not what was saved: its hash does not fit.`);
  }
  const gaps = db.prepare<[], { kind: string; name: string }>('SELECT kind, name FROM record_versions GROUP BY kind, name HAVING max(version) <> count(*) OR min(version) <> 1');
  for (const { kind, name } of gaps.all()) problems.push(`Of the ${kind} record ${name} a version is missing.`);
  return { asked, problems };
}
