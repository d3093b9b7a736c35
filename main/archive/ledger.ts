/**
 * The ledger: one entry for each committed transaction, each with a hash over the one before it. An entry names what the transaction
 * wrote, with hashes of it, so whatever lies in the archive is bound by the ledger, in its order. The head of the ledger
 * (how many entries, and one hash over all of them) therefore stands for the whole contents; see README.md, ARC-1 to ARC-5.
 */
import { hash as digest } from 'node:crypto';
import { z } from 'zod';
import { sha256 } from './chain.ts';
import { GrowingTree, leafHash } from './merkle.ts';
import type { Database } from './sqlite.ts';

const number = z.int().min(0);
const hex = z.string().regex(/^[0-9a-f]{64}$/u);
/** n of the entry of the version before; null: the first version. */
const parent = z.int().min(1).nullable();
const version = z.int().min(1);

/** What a record is of (`records.ts`). */
const recordKinds = ['injector type', 'qualification', 'report details', 'withdrawal'] as const;
export type RecordKind = (typeof recordKinds)[number];

/** What an entry says. Fields are only ever added, each optional. */
const entrySchema = z.discriminatedUnion('kind', [
  /** The first entry of each archive. `at`: Unix milliseconds; `from`: version of the file that was taken over, 0: a new file. */
  z.strictObject({ kind: z.literal('begun'), at: z.int(), from: number }),
  /** `record`: the hash before the run's first event (`chainStart`). `simulated`: null: a run from before this was noted. */
  z.strictObject({ kind: z.literal('run'), run: z.string(), record: hex, simulated: z.boolean().nullable() }),
  /** `events` events of a run from `seq` on; `head`: hash of the run's last event then. */
  z.strictObject({
    kind: z.literal('events'), run: z.string(), seq: number, events: number, head: hex,
    /** Number and boot id of each segment that began. */
    segments: z.array(z.tuple([number, z.string()])).optional(),
    /** Number, segment and SHA-256 of the data of each chunk of telemetry. */
    chunks: z.array(z.tuple([number, number, hex])).optional(),
    /** Number of the event and segment of each attempt that ended. */
    attempts: z.array(z.tuple([number, number.nullable()])).optional(),
  }),
  /** Versions of injectors. `row`: hash of the row (`rowHash`). */
  z.strictObject({ kind: z.literal('parts'), rows: z.array(z.strictObject({ part: z.string(), version, parent, row: hex })) }),
  z.strictObject({ kind: z.literal('plan'), plan: z.string(), version, parent, row: hex }),
  z.strictObject({ kind: z.literal('equipment'), version, parent, row: hex }),
  z.strictObject({ kind: z.literal('meter-check'), no: z.int().min(1), row: hex }),
  /** `photos`: SHA-256 of each that came with it and was not there yet. */
  z.strictObject({ kind: z.literal('visit'), no: z.int().min(1), row: hex, photos: z.array(hex).min(1).optional() }),
  /** A version of the record of something. */
  z.strictObject({ kind: z.literal('record'), of: z.enum(recordKinds), name: z.string(), version, parent, row: hex }),
]);
export type Entry = z.infer<typeof entrySchema>;

/** An entry as its text has it; null: this program cannot have written it. */
export function entryOf(text: string): Entry | null {
  try {
    const parsed = entrySchema.safeParse(JSON.parse(text));
    return parsed.success ? parsed.data : null;
  } catch {
    return null;
  }
}

/** The hash before the first entry. */
export const ledgerStart = (archiveId: string): string => sha256(`archive ${archiveId}`);

export const entryHash = (previous: string, n: number, text: string): string => sha256(`${previous} ${n} ${text}`);

/** Hash of the columns of a row, without the one that names its entry. */
export const rowHash = (...columns: readonly (string | number | null)[]): string => sha256(JSON.stringify(columns));

export const dataHash = (data: Buffer): string => digest('sha256', data, 'hex');

/** How many entries a ledger has, and the root of the Merkle tree over the hashes of all of them (64 hexadecimal digits). */
export interface Head {
  readonly n: number;
  readonly hash: string;
}

/** As people note it: `41:9f86d0...`. */
export const headText = ({ n, hash }: Head): string => `${n}:${hash}`;

/** A head as a person gives it; null: it is none. */
export function parseHead(text: string): Head | null {
  const found = /^(\d{1,15}):([0-9a-f]{64})$/u.exec(text.trim().toLowerCase());
  const n = Number(found?.[1]);
  return found === null || n < 1 ? null : { n, hash: found[2] ?? '' };
}

export interface EntryRow {
  readonly n: number;
  readonly text: string;
  readonly hash: Buffer;
}

/** The ledger of one open archive. Entering through a connection that only reads fails. */
export class Ledger {
  readonly #last;
  readonly #id;
  readonly #put;
  readonly #after;
  readonly #hashesAfter;
  /** Over the entries that were read so far. Entries never change, so a tree only grows. */
  readonly #tree = new GrowingTree();

  constructor(db: Database) {
    this.#last = db.prepare<[], { n: number; hash: Buffer }>('SELECT n, hash FROM ledger ORDER BY n DESC LIMIT 1');
    this.#id = db.prepare<[], { id: string }>('SELECT id FROM archive');
    this.#put = db.prepare('INSERT INTO ledger (n, text, hash) VALUES (?, ?, ?)');
    this.#after = db.prepare<[number], EntryRow>('SELECT n, text, hash FROM ledger WHERE n > ? ORDER BY n LIMIT 1000');
    this.#hashesAfter = db.prepare<[number], { n: number; hash: Buffer }>('SELECT n, hash FROM ledger WHERE n > ? ORDER BY n');
  }

  /** UUID of version 7 (RFC 9562): no other archive has it. */
  id(): string {
    const row = this.#id.get();
    if (row === undefined) throw new Error('the archive has no id');
    return row.id;
  }

  /** n of the entry that comes next. Inside a transaction it stays so until `enter`. */
  next(): number {
    return (this.#last.get()?.n ?? 0) + 1;
  }

  /** Adds the entry of the transaction that is open, and returns its n. */
  enter(entry: Entry): number {
    const last = this.#last.get();
    const n = (last?.n ?? 0) + 1;
    const text = JSON.stringify(entry);
    this.#put.run(n, text, Buffer.from(entryHash(last?.hash.toString('hex') ?? ledgerStart(this.id()), n, text), 'hex'));
    return n;
  }

  /** The head as it stands now. The first call reads the hash of every entry, later ones only what was added. */
  head(): Head {
    for (const row of this.#hashesAfter.iterate(this.#tree.size)) this.#tree.add(leafHash(row.hash));
    return { n: this.#tree.size, hash: this.#tree.root().toString('hex') };
  }

  /** Every entry in order, read by pages. */
  *entries(): Generator<EntryRow> {
    for (let page = this.#after.all(0); page.length > 0; page = this.#after.all(page.at(-1)?.n ?? Number.MAX_SAFE_INTEGER)) yield* page;
  }
}
