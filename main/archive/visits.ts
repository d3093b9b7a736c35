/** Records of visits of injectors and the photos in them, in the order they came in. None is ever changed or taken out: a correction is a record of its own. ARC-66 to ARC-68 */
import { unixMillis, type UnixMillis } from '../../app/quantities/quantity.ts';
import { parseVisitRecord, type KeptPhoto, type StatedVisit, type VisitRecord } from '../../app/visit/visit.ts';
import { sha256 } from './chain.ts';
import { dataHash, rowHash, type Ledger } from './ledger.ts';
import { ArchiveUnreadable } from './read.ts';
import { KeepingRefused, type NotKept, type Shelf } from './shelf.ts';
import type { Database, StorageFailure } from './sqlite.ts';

export interface StoredVisit {
  /** From 1, without a gap. */
  readonly no: number;
  readonly savedAt: UnixMillis;
  readonly record: VisitRecord;
}

interface Row {
  readonly no: number;
  readonly saved_at: number;
  readonly serial_number: string;
  readonly document: string;
  readonly hash: Buffer;
}

/** What the ledger binds of a row. */
export const visitHash = (row: Omit<Row, 'hash'>): string => rowHash('visit', row.no, row.saved_at, row.serial_number, row.document);

const columns = 'no, saved_at, serial_number, document, hash';
const hashOf = (text: string): Buffer => Buffer.from(sha256(text), 'hex');

/** A photo that was looked at and comes with a record. */
export interface PhotoToKeep extends Omit<KeptPhoto, 'sha256' | 'bytes'> {
  readonly data: Buffer;
}

type Added = { readonly ok: true; readonly stored: StoredVisit } | NotKept | StorageFailure;

export class Visits {
  readonly #shelf: Shelf;
  readonly #of;
  readonly #latest;
  readonly #one;
  readonly #photo;
  readonly #add;

  constructor(shelf: Shelf, ledger: Ledger) {
    this.#shelf = shelf;
    const { db } = shelf;
    this.#of = db.prepare<[string], Row>(`SELECT ${columns} FROM visit_records WHERE serial_number = ? ORDER BY no`);
    this.#latest = db.prepare<[number], Row>(`SELECT ${columns} FROM visit_records ORDER BY no DESC LIMIT ?`);
    this.#one = db.prepare<[number], Row>(`SELECT ${columns} FROM visit_records WHERE no = ?`);
    this.#photo = db.prepare<[string], { data: Buffer }>('SELECT data FROM photos WHERE sha256 = ?');
    const last = db.prepare<[], { no: number | null }>('SELECT max(no) AS no FROM visit_records');
    const put = db.prepare(`INSERT INTO visit_records (${columns}) VALUES (?, ?, ?, ?, ?)`);
    const putPhoto = db.prepare('INSERT INTO photos (sha256, data) VALUES (?, ?)');
    this.#add = (savedAt: UnixMillis, stated: StatedVisit, photos: readonly PhotoToKeep[]): StoredVisit => {
      const against = this.#against(stated);
      if (against !== null) throw new KeepingRefused(against);
      const added: string[] = [];
      const kept = photos.map(({ data, ...about }): KeptPhoto => {
        const hash = dataHash(data);
        if (this.#photo.get(hash) === undefined) {
          putPhoto.run(hash, data);
          added.push(hash);
        }
        return { ...about, sha256: hash, bytes: data.length };
      });
      const record: VisitRecord = { ...stated, photos: kept };
      const row = { no: (last.get()?.no ?? 0) + 1, saved_at: savedAt, serial_number: stated.serialNumber, document: JSON.stringify(record) };
      put.run(row.no, row.saved_at, row.serial_number, row.document, hashOf(row.document));
      ledger.enter({ kind: 'visit', no: row.no, row: visitHash(row), ...(added.length === 0 ? {} : { photos: added }) });
      return { no: row.no, savedAt, record };
    };
  }

  /** What was kept of injectors with this serial number, the oldest entry first. Throws `ArchiveUnreadable` for one that is not what was saved. */
  of(serialNumber: string): readonly StoredVisit[] {
    return this.#read(() => this.#of.all(serialNumber));
  }

  /** The latest entries of all injectors, the latest first, at most `limit`. Throws as `of` does. */
  latest(limit: number): readonly StoredVisit[] {
    return this.#read(() => this.#latest.all(limit));
  }

  /** The entry of a number; null: there is none. Throws as `of` does. */
  one(no: number): StoredVisit | null {
    return this.#read(() => this.#one.all(no))[0] ?? null;
  }

  #read(rows: () => Row[]): readonly StoredVisit[] {
    return this.#shelf.reading(rows).map((row) => {
      const read = readRow(row);
      if (typeof read === 'string') throw new ArchiveUnreadable(read);
      return read;
    });
  }

  /** The bytes of a photo; null: there is none of this SHA-256. Throws `ArchiveUnreadable` for one that is not what was kept. */
  photo(hash: string): Buffer | null {
    const data = this.#shelf.reading(() => this.#photo.get(hash))?.data ?? null;
    if (data !== null && dataHash(data) !== hash) throw new ArchiveUnreadable(`The photo ${hash} is not what was kept: its hash does not fit.`);
    return data;
  }

  /** Keeps a record with its photos for good, all or nothing; it is on the disk when this returns. Refused where the clock dates nothing (ARC-20) and for a correction of nothing (ARC-68). */
  add(stated: StatedVisit, photos: readonly PhotoToKeep[]): Added {
    const saved = this.#shelf.durably((savedAt) => this.#add(savedAt, stated, photos));
    return saved.ok ? { ok: true, stored: saved.value } : saved;
  }

  #against({ corrects, serialNumber }: StatedVisit): string | null {
    if (corrects === null) return null;
    const records = this.of(serialNumber);
    if (!records.some(({ no }) => no === corrects)) return `There is no record ${corrects} of injector ${serialNumber} that could be corrected. Nothing was saved.`;
    const later = records.find(({ record }) => record.corrects === corrects);
    return later === undefined ? null : `Record ${corrects} was corrected by record ${later.no} already. Nothing was saved. Correct that one.`;
  }
}

/** The record of a row, or what is wrong with the row. */
function readRow(row: Row): StoredVisit | string {
  if (!hashOf(row.document).equals(row.hash)) return `Visit record ${row.no} is not what was saved: its hash does not fit.`;
  const parsed = parseVisitRecord(JSON.parse(row.document));
  if (!parsed.ok) return `Visit record ${row.no} cannot be read: ${parsed.problems[0]?.text ?? 'it is of another form.'}`;
  if (parsed.record.serialNumber !== row.serial_number) return `Visit record ${row.no} lies under another serial number than its own.`;
  return { no: row.no, savedAt: unixMillis(row.saved_at), record: parsed.record };
}

/** Holds records and photos against what the archive promises of them. `asked`: records and photos. */
export function visitProblems(db: Database): { readonly asked: number; readonly problems: readonly string[] } {
  const problems: string[] = [];
  const named = new Set<string>();
  let records = 0;
  for (const row of db.prepare<[], Row>(`SELECT ${columns} FROM visit_records ORDER BY no`).iterate()) {
    records += 1;
    if (row.no !== records) problems.push(`Before visit record ${row.no} one is missing.`);
    records = row.no;
    const read = readRow(row);
    if (typeof read === 'string') problems.push(read);
    else for (const { sha256: hash } of read.record.photos) named.add(hash);
  }
  let photos = 0;
  // One at a time in memory.
  for (const { sha256: hash, data } of db.prepare<[], { sha256: string; data: Buffer }>('SELECT sha256, data FROM photos').iterate()) {
    photos += 1;
    if (dataHash(data) !== hash) problems.push(`The photo ${hash} is not what was kept: its hash does not fit.`);
    if (!named.delete(hash)) problems.push(`The photo ${hash} belongs to no record.`);
  }
  for (const hash of named) problems.push(`The photo ${hash} of a visit record is missing.`);
  return { asked: records + photos, problems };
}
