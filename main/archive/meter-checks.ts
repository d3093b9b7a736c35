/** Checks of flow meters as they were written down, in the order they came in. None is ever changed or taken out. */
import { parseMeterCheck, type MeterCheck } from '../../app/meter-check/meter-check.ts';
import { unixMillis, type UnixMillis } from '../../app/quantities/quantity.ts';
import { sha256 } from './chain.ts';
import { rowHash, type Ledger } from './ledger.ts';
import { ArchiveUnreadable } from './read.ts';
import type { NotKept, Shelf } from './shelf.ts';
import type { Database, StorageFailure } from './sqlite.ts';

export interface StoredMeterCheck {
  /** From 1, without a gap. */
  readonly no: number;
  readonly savedAt: UnixMillis;
  readonly check: MeterCheck;
}

interface Row {
  readonly no: number;
  readonly saved_at: number;
  readonly document: string;
  readonly hash: Buffer;
}

/** What the ledger binds of a row. */
export const meterCheckHash = (row: Omit<Row, 'hash'>): string => rowHash('meter-check', row.no, row.saved_at, row.document);

const select = 'SELECT no, saved_at, document, hash FROM meter_checks ORDER BY no';
const hashOf = (text: string): Buffer => Buffer.from(sha256(text), 'hex');

export class MeterChecks {
  readonly #shelf: Shelf;
  readonly #list;
  readonly #add;
  readonly #last;

  constructor(shelf: Shelf, ledger: Ledger) {
    this.#shelf = shelf;
    const { db } = shelf;
    this.#list = db.prepare<[], Row>(select);
    const last = db.prepare<[], { no: number | null }>('SELECT max(no) AS no FROM meter_checks');
    this.#last = last;
    const put = db.prepare('INSERT INTO meter_checks (no, saved_at, document, hash) VALUES (?, ?, ?, ?)');
    this.#add = (savedAt: UnixMillis, text: string): number => {
      const no = (last.get()?.no ?? 0) + 1;
      put.run(no, savedAt, text, hashOf(text));
      ledger.enter({ kind: 'meter-check', no, row: meterCheckHash({ no, saved_at: savedAt, document: text }) });
      return no;
    };
  }

  /** Every check, the oldest entry first. Throws `ArchiveUnreadable` for one that is not what was saved. */
  list(): StoredMeterCheck[] {
    return this.#shelf.reading(() => this.#list.all()).map((row) => {
      const read = readRow(row);
      if (typeof read === 'string') throw new ArchiveUnreadable(read);
      return read;
    });
  }

  /** How many are kept: the number of the latest. */
  count(): number {
    return this.#last.get()?.no ?? 0;
  }

  /** Keeps a check for good; it is on the disk when this returns. Refused where the clock dates nothing (ARC-20). */
  add(check: MeterCheck): { readonly ok: true; readonly stored: StoredMeterCheck } | NotKept | StorageFailure {
    const saved = this.#shelf.durably((savedAt) => ({ no: this.#add(savedAt, JSON.stringify(check)), savedAt, check }));
    return saved.ok ? { ok: true, stored: saved.value } : saved;
  }
}

/** The check of a row, or what is wrong with the row. */
function readRow(row: Row): StoredMeterCheck | string {
  if (!hashOf(row.document).equals(row.hash)) return `Meter check ${row.no} is not what was saved: its hash does not fit.`;
  const parsed = parseMeterCheck(JSON.parse(row.document));
  if (!parsed.ok) return `Meter check ${row.no} cannot be read: ${parsed.problems[0]?.text ?? 'it is of another form.'}`;
  return { no: row.no, savedAt: unixMillis(row.saved_at), check: parsed.check };
}

/** Holds the meter checks against what the archive promises of them. */
export function meterCheckProblems(db: Database): { readonly asked: number; readonly problems: readonly string[] } {
  const problems: string[] = [];
  const rows = db.prepare<[], Row>(select).all();
  rows.forEach((row, index) => {
    if (row.no !== index + 1) problems.push(`Before meter check ${row.no} one is missing.`);
    const read = readRow(row);
    if (typeof read === 'string') problems.push(read);
  });
  return { asked: rows.length, problems };
}
