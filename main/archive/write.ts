/** Everything that is written to an archive. Each call is one transaction that is on the disk when it returns. */
import { V7Generator } from 'uuidv7';
import type { BenchFrame } from '../../app/bench/port.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { UnixMillis } from '../../app/quantities/quantity.ts';
import type { RunEvent, RunEventBody } from '../../app/journal/events.ts';
import { emptyOutline, outlined, type CountingAttempts, type Outline } from '../../app/journal/outline.ts';
import type { Entropy } from '../clock/entropy.ts';
import { chainHash, chainStart, sha256 } from './chain.ts';
import { ArchiveBroken, brokenByPlace, type EndOfRun } from './invariants.ts';
import { dataHash, type Entry } from './ledger.ts';
import type { ArchiveReader } from './read.ts';
import { eventOf } from './read.ts';
import { storageFailure } from './sqlite.ts';
import type { Database, StorageFailure } from './sqlite.ts';
import { encodeFrames, maxFramesPerChunk } from './telemetry-chunk.ts';

export interface NewRun {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly operator: string;
  /** Name and version of the program. */
  readonly software: string;
  /** The bench is a simulated one of this program. */
  readonly simulated: boolean;
}

export type CreateResult = { readonly ok: true; readonly id: string } | StorageFailure;
export type AppendResult = { readonly ok: true; readonly events: readonly RunEvent[] } | StorageFailure;

/** Where the next event and the next frame of a run go. */
interface Position {
  readonly no: number;
  readonly head: string;
  readonly status: Outline;
  readonly nextChunk: number;
  readonly segment: { readonly number: number; readonly bootId: string; readonly lastFrame: number; readonly lastAt: number } | null;
}

function endStatements(db: Database) {
  return {
    event: db.prepare<[number], { seq: number; hash: Buffer }>('SELECT seq, hash FROM events WHERE run = ? ORDER BY seq DESC LIMIT 1'),
    chunk: db.prepare<[number], { chunk: number; last_frame: number }>('SELECT chunk, last_frame FROM telemetry WHERE run = ? ORDER BY chunk DESC LIMIT 1'),
  };
}

function insertStatements(db: Database) {
  return {
    run: db.prepare(
      `INSERT INTO runs (id, created_at, plan_name, order_text, operator, software, plan_hash, equipment_hash, simulated)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    event: db.prepare('INSERT INTO events (run, seq, at, kind, body, hash) VALUES (?, ?, ?, ?, ?, ?)'),
    attempt: db.prepare('INSERT INTO attempts (run, point, attempt, seq, verdict, segment) VALUES (?, ?, ?, ?, ?, ?)'),
    segment: db.prepare('INSERT INTO segments (run, segment, boot_id) VALUES (?, ?, ?)'),
    chunk: db.prepare(
      `INSERT INTO telemetry (run, chunk, segment, from_us, to_us, last_frame, frames, data) VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
  };
}

function countingStatements(db: Database) {
  return {
    get: db.prepare<[number, number], { attempt: number }>('SELECT attempt FROM counting WHERE run = ? AND point = ?'),
    set: db.prepare('INSERT INTO counting (run, point, attempt) VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET attempt = excluded.attempt'),
    delete: db.prepare('DELETE FROM counting WHERE run = ? AND point = ?'),
  };
}

const countingOf = (statements: ReturnType<typeof countingStatements>, run: number): CountingAttempts => ({
  get: (point) => statements.get.get(run, point)?.attempt,
  set: (point, attempt) => statements.set.run(run, point, attempt),
  delete: (point) => statements.delete.run(run, point),
});

const statusStatement = (db: Database) =>
  db.prepare(
    `INSERT INTO run_status (run, events, last_at, points, attempts, counting, ending, search) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
     ON CONFLICT DO UPDATE SET events = excluded.events, last_at = excluded.last_at, points = excluded.points,
       attempts = excluded.attempts, counting = excluded.counting, ending = excluded.ending, search = excluded.search`,
  );

const putStatus = (statement: ReturnType<typeof statusStatement>, run: number, s: Outline): unknown =>
  statement.run(run, s.events, s.lastAt, s.points, s.attempts, s.counting, s.ending, s.search);

/** Makes the derived tables again from the events: after a migration, inside its transaction. */
export function rebuildDerived(db: Database): void {
  db.exec('DELETE FROM counting; DELETE FROM run_status');
  const counting = countingStatements(db);
  const status = statusStatement(db);
  const events = db.prepare<[number, number], { seq: number; at: number; body: string }>(
    'SELECT seq, at, body FROM events WHERE run = ? AND seq > ? ORDER BY seq LIMIT 500',
  );
  for (const { no, id } of db.prepare<[], { no: number; id: string }>('SELECT no, id FROM runs').all()) {
    let state = emptyOutline;
    let last = -1;
    for (let page = events.all(no, last); page.length > 0; page = events.all(no, last)) {
      for (const row of page) {
        state = outlined(state, countingOf(counting, no), eventOf(row, `Event ${row.seq} of run ${id}`));
        last = row.seq;
      }
    }
    putStatus(status, no, state);
  }
}

/** Stretches of frames that can be one chunk each: one segment, forward in time, bounded in number. */
function* stretches(frames: readonly BenchFrame[], last: Position['segment']): Generator<{ readonly begins: boolean; readonly frames: BenchFrame[] }> {
  let stretch: BenchFrame[] = [];
  let begins = false;
  let before = last === null ? null : { bootId: last.bootId, number: last.lastFrame, at: last.lastAt };
  for (const frame of frames) {
    const follows = before !== null && frame.bootId === before.bootId && frame.number > before.number && frame.at >= before.at;
    if (!follows || stretch.length === maxFramesPerChunk) {
      if (stretch.length > 0) yield { begins, frames: stretch };
      stretch = [];
      begins = !follows;
    }
    stretch.push(frame);
    before = frame;
  }
  if (stretch.length > 0) yield { begins, frames: stretch };
}

type EventsEntry = Extract<Entry, { kind: 'events' }>;

/** What one append wrote beside its events, as the ledger names it. */
interface Written {
  readonly segments: NonNullable<EventsEntry['segments']>;
  readonly chunks: NonNullable<EventsEntry['chunks']>;
  readonly attempts: NonNullable<EventsEntry['attempts']>;
}

/** Lists that are empty are left out. */
const named = (written: Written): Partial<Written> => Object.fromEntries(Object.entries(written).filter(([, list]) => (list as readonly unknown[]).length > 0));

export class ArchiveWriter {
  readonly #db: Database;
  readonly #path: string;
  readonly #now: () => UnixMillis;
  readonly #reader: ArchiveReader;
  readonly #insert;
  readonly #ends;
  /** What was broken; from then on nothing is written any more (ARC-65). */
  #broken: string | null = null;
  readonly #counting;
  readonly #status;
  readonly #ids: V7Generator;
  /** Made once: it costs as much as a small commit. */
  readonly #transaction;
  /** Of committed transactions only. */
  readonly #positions = new Map<string, Position>();

  constructor(db: Database, path: string, { now, entropy }: { readonly now: () => UnixMillis; readonly entropy: Entropy }, reader: ArchiveReader) {
    this.#db = db;
    this.#path = path;
    this.#now = now;
    this.#ids = new V7Generator(entropy);
    this.#reader = reader;
    this.#insert = insertStatements(db);
    this.#ends = endStatements(db);
    this.#counting = countingStatements(db);
    this.#status = statusStatement(db);
    this.#transaction = db.transaction((work: () => unknown) => work());
  }

  createRun(run: NewRun): CreateResult {
    const createdAt = this.#now();
    const record = {
      id: this.#ids.generateOrResetWithTs(createdAt).toString(),
      createdAt,
      planName: run.plan.name,
      order: run.plan.order,
      operator: run.operator,
      software: run.software,
      planHash: sha256(JSON.stringify(run.plan)),
      equipmentHash: sha256(JSON.stringify(run.equipment)),
    };
    return this.#durably(() => {
      const { lastInsertRowid } = this.#insert.run.run(
        record.id,
        record.createdAt,
        record.planName,
        record.order,
        record.operator,
        record.software,
        record.planHash,
        record.equipmentHash,
        run.simulated ? 1 : 0,
      );
      putStatus(this.#status, Number(lastInsertRowid), emptyOutline);
      this.#reader.ledger.enter({ kind: 'run', run: record.id, record: chainStart(record), simulated: run.simulated });
      return { ok: true, id: record.id };
    });
  }

  append(id: string, bodies: readonly RunEventBody[], frames: readonly BenchFrame[]): AppendResult {
    const at = this.#now();
    const position = this.#positions.get(id) ?? this.#position(id);
    let after = position;
    const result = this.#durably((): AppendResult => {
      this.#mustFollow(position, frames.length > 0);
      const written: Written = { segments: [], chunks: [], attempts: [] };
      const { next, segmentOf } = this.#putFrames(position, frames, written);
      const counting = countingOf(this.#counting, position.no);
      let { head, status } = position;
      const events = bodies.map((body): RunEvent => {
        const seq = status.events;
        const text = JSON.stringify(body);
        head = chainHash(head, seq, at, text);
        this.#insert.event.run(position.no, seq, at, body.kind, text, Buffer.from(head, 'hex'));
        if (body.kind === 'attempt-ended') {
          const segment = body.window === null ? (next.segment?.number ?? null) : segmentOf(body.window.to);
          this.#insert.attempt.run(position.no, body.point, body.attempt, seq, body.verdict, segment);
          written.attempts.push([seq, segment]);
        }
        const event: RunEvent = { seq, at, body };
        status = outlined(status, counting, event);
        return event;
      });
      if (bodies.length > 0) putStatus(this.#status, position.no, status);
      after = { ...next, head, status };
      if (bodies.length + written.chunks.length > 0) {
        this.#reader.ledger.enter({ kind: 'events', run: id, seq: position.status.events, events: bodies.length, head, ...named(written) });
      }
      return { ok: true, events };
    });
    if (result.ok) this.#positions.set(id, after);
    return result;
  }

  /** Inside the transaction that writes what follows `position`. */
  #mustFollow({ no, head, status, nextChunk, segment }: Position, withFrames: boolean): void {
    const event = this.#ends.event.get(no);
    const chunk = withFrames ? this.#ends.chunk.get(no) : undefined;
    const stored: EndOfRun = {
      events: event === undefined ? 0 : event.seq + 1,
      head: event?.hash.toString('hex') ?? null,
      telemetry: withFrames ? { chunks: chunk === undefined ? 0 : chunk.chunk + 1, lastFrame: chunk?.last_frame ?? null } : null,
    };
    const broken = brokenByPlace({ events: status.events, head, telemetry: { chunks: nextChunk, lastFrame: segment?.lastFrame ?? null } }, stored, this.#db.inTransaction);
    if (broken !== null) throw new ArchiveBroken(broken);
  }

  #durably<T>(work: () => T): T | StorageFailure {
    if (this.#broken !== null) {
      return { ok: false, code: 'not-writable', text: `Nothing is written into the archive ${this.#path} any more, because the program found a fault of its own: ${this.#broken} What was committed before is kept. Start the program again.` };
    }
    try {
      return this.#transaction.immediate(work) as T;
    } catch (error) {
      if (error instanceof ArchiveBroken) this.#broken = error.message;
      const failure = storageFailure(error, this.#path);
      if (failure === null) throw error;
      return failure;
    }
  }

  /** Stores the frames; `segmentOf` gives the segment that holds the last frame of a window that ends at `to`. */
  #putFrames(position: Position, frames: readonly BenchFrame[], written: Written): { next: Position; segmentOf: (to: number) => number | null } {
    let { nextChunk, segment } = position;
    const added: { number: number; from: number; to: number }[] = [];
    for (const stretch of stretches(frames, segment)) {
      const first = stretch.frames[0];
      const last = stretch.frames.at(-1);
      if (first === undefined || last === undefined) continue;
      let number = segment?.number ?? 0;
      if (stretch.begins) {
        number = segment === null ? 0 : segment.number + 1;
        this.#insert.segment.run(position.no, number, first.bootId);
        written.segments.push([number, first.bootId]);
      }
      const data = encodeFrames(stretch.frames);
      this.#insert.chunk.run(
        position.no,
        nextChunk,
        number,
        Math.floor(first.at * 1e6),
        Math.ceil(last.at * 1e6),
        last.number,
        stretch.frames.length,
        data,
      );
      written.chunks.push([nextChunk, number, dataHash(data)]);
      nextChunk += 1;
      segment = { number, bootId: last.bootId, lastFrame: last.number, lastAt: last.at };
      added.push({ number, from: first.at, to: last.at });
    }
    return {
      next: { ...position, nextChunk, segment },
      segmentOf: (to) => added.findLast((s) => s.from <= to && to <= s.to)?.number ?? position.segment?.number ?? null,
    };
  }

  #position(id: string): Position {
    const run = this.#reader.run(id);
    if (run === null) throw new Error(`the archive has no run ${id}`);
    const lastHash = this.#db
      .prepare<[number], { hash: Buffer }>('SELECT hash FROM events WHERE run = ? ORDER BY seq DESC LIMIT 1')
      .get(run.no);
    const lastChunk = this.#db
      .prepare<[number], { chunk: number; segment: number; boot_id: string; last_frame: number; to_us: number }>(
        `SELECT chunk, t.segment, boot_id, last_frame, to_us FROM telemetry t JOIN segments s ON s.run = t.run AND s.segment = t.segment
         WHERE t.run = ? ORDER BY chunk DESC LIMIT 1`,
      )
      .get(run.no);
    return {
      no: run.no,
      head: lastHash?.hash.toString('hex') ?? chainStart(run),
      status: run.status,
      nextChunk: lastChunk === undefined ? 0 : lastChunk.chunk + 1,
      segment:
        lastChunk === undefined
          ? null
          : {
              number: lastChunk.segment,
              bootId: lastChunk.boot_id,
              lastFrame: lastChunk.last_frame,
              // Rounded up: a frame that is later than the last is at most a microsecond from being taken for earlier.
              lastAt: Math.floor(lastChunk.to_us - 1) / 1e6,
            },
    };
  }
}
