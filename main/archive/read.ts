/** Everything that is read from an archive. Reads come in pages and hold no lock between them. */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { Ending, RunEvent, RunEventBody, Verdict } from '../../app/journal/events.ts';
import type { WindowSummary } from '../../app/journal/measured.ts';
import { searchable, type Outline } from '../../app/journal/outline.ts';
import { upcast } from '../../app/journal/upcast.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import type { Seconds, UnixMillis } from '../../app/quantities/quantity.ts';
import { recordOf, type RunRecord, type RunRecordRow } from './chain.ts';
import { Ledger, type Head } from './ledger.ts';
import { storageFailure } from './sqlite.ts';
import type { Database } from './sqlite.ts';
import { decodeFrames, maxFramesPerChunk } from './telemetry-chunk.ts';

/**
 * Thrown by reads when the file cannot be read or holds what this program cannot have written. The message is a text
 * for people: it says where. Nothing was changed.
 */
export class ArchiveUnreadable extends Error {
  override readonly name = 'ArchiveUnreadable';
}

/** A failure of the file, as far as it is one, becomes a text for people. */
export function readingFile<T>(path: string, read: () => T): T {
  try {
    return read();
  } catch (error) {
    const failure = storageFailure(error, path);
    throw failure === null ? error : new ArchiveUnreadable(failure.text);
  }
}

/** A run as the list shows it. */
export interface StoredRun extends RunRecord {
  /** Its number in the file; means nothing outside. */
  readonly no: number;
  readonly createdAt: UnixMillis;
  /** Measured on a simulated bench of this program; null: from before this was noted. */
  readonly simulated: boolean | null;
  readonly status: Outline;
}

export interface RunsPage {
  /** Case does not matter; found in plan name, order, serial numbers and injector types. */
  readonly text?: string;
  /** Last run of the page before; runs come newest first. */
  readonly after?: { readonly createdAt: UnixMillis; readonly id: string };
  readonly limit: number;
}

type AttemptEnded = Extract<RunEventBody, { kind: 'attempt-ended' }>;

export interface StoredAttempt {
  readonly point: number;
  readonly attempt: number;
  /** Of the `attempt-ended` event. */
  readonly seq: number;
  readonly at: UnixMillis;
  readonly verdict: Verdict;
  /** This is the attempt of its point that counts. */
  readonly counts: boolean;
  /** Controller start in whose time the window is given; null: no frame was stored before the attempt ended. */
  readonly bootId: string | null;
  readonly body: AttemptEnded;
}

export interface AttemptsPage {
  readonly point?: number;
  /** Last attempt of the page before; attempts come by point, then by attempt. */
  readonly after?: { readonly point: number; readonly attempt: number };
  readonly limit: number;
}

/** JSON that stands in the archive. */
export function parseStored(text: string, where: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    throw new ArchiveUnreadable(`${where} cannot be read: its text is not JSON.`);
  }
}

/** An event as it is stored: `body` is the JSON of its contents. */
export type StoredEvent = Pick<EventRow, 'seq' | 'at' | 'kind' | 'body'>;

/** An event as JSON: what is stored of it, but for an opening, whose plan and record have by now what earlier versions left out. */
export const textOfEvent = (event: RunEvent, { seq, at, body }: StoredEvent): string => (event.body.kind === 'opened' ? JSON.stringify(event) : `{"seq":${seq},"at":${at},"body":${body}}`);

/** The event of a stored row (RUN-180). Whether it is what was written is the hash chain's affair. */
export function eventOf({ seq, at, body }: Pick<EventRow, 'seq' | 'at' | 'body'>, where: string): RunEvent {
  const read = upcast({ seq, at, body: parseStored(body, where) });
  if (!read.ok) throw new ArchiveUnreadable(`${where} ${read.text}.`);
  return read.event;
}

interface RunRow extends RunRecordRow {
  readonly simulated: number | null;
  readonly events: number;
  readonly last_at: number | null;
  readonly points: number;
  readonly attempts: number;
  readonly counting: number;
  readonly ending: Ending | null;
  readonly search: string;
}

const runColumns = `no, id, created_at, plan_name, order_text, operator, software, plan_hash, equipment_hash, simulated,
  events, last_at, points, attempts, counting, ending, search`;

const runFromRow = (row: RunRow): StoredRun => ({
  ...recordOf(row),
  no: row.no,
  createdAt: unixMillis(row.created_at),
  simulated: row.simulated === null ? null : row.simulated === 1,
  status: {
    events: row.events,
    lastAt: row.last_at,
    points: row.points,
    attempts: row.attempts,
    counting: row.counting,
    ending: row.ending,
    search: row.search,
  },
});

export interface EventRow {
  readonly seq: number;
  readonly at: number;
  readonly kind: string;
  readonly body: string;
  readonly hash: Buffer;
}

interface AttemptRow {
  readonly point: number;
  readonly attempt: number;
  readonly seq: number;
  readonly verdict: Verdict;
  readonly segment: number | null;
  readonly boot_id: string | null;
  readonly counts: number;
  readonly at: number;
  readonly body: string;
}

export interface ChunkRow {
  readonly chunk: number;
  readonly segment: number;
  readonly from_us: number;
  readonly to_us: number;
  readonly last_frame: number;
  readonly frames: number;
  readonly data: Buffer;
}

const eventsPerPage = 500;
const runsPerPage = 200;
const attemptsPerPage = 1000;
/** A few chunks of the longest; a commit of its own has fewer, and then more are kept. */
const unpackedFramesKept = 3 * maxFramesPerChunk;

const chunkFrames = (row: ChunkRow, run: RunRecord): BenchFrame[] => {
  try {
    return decodeFrames(row.data);
  } catch (error) {
    throw new ArchiveUnreadable(`Telemetry chunk ${row.chunk} of run ${run.id} cannot be read: ${(error as Error).message}.`);
  }
};

/** Reads over one connection; the statements are prepared once. What cannot be read throws `ArchiveUnreadable`. */
export class ArchiveReader {
  /** Absolute, links resolved. */
  readonly path: string;
  readonly ledger: Ledger;
  readonly #run;
  readonly #runs;
  readonly #latest;
  readonly #events;
  readonly #bodies;
  readonly #attempts;
  readonly #segments;
  readonly #chunks;
  readonly #chunk;
  readonly #endingAt;
  readonly #backwards;
  readonly #frameCount;
  readonly #notes;
  /** By run and chunk, the latest used last. */
  readonly #unpacked = new Map<string, readonly BenchFrame[]>();
  #unpackedFrames = 0;

  constructor(db: Database, path: string) {
    this.path = path;
    this.ledger = new Ledger(db);
    const from = 'FROM runs JOIN run_status ON run_status.run = runs.no';
    this.#run = db.prepare<[string], RunRow>(`SELECT ${runColumns} ${from} WHERE id = ?`);
    this.#runs = db.prepare<[number, string, string, number], RunRow>(
      `SELECT ${runColumns} ${from} WHERE (created_at, id) < (?, ?) AND events > 0 AND instr(search, ?) > 0
       ORDER BY created_at DESC, id DESC LIMIT ?`,
    );
    this.#latest = db.prepare<[], RunRow>(`SELECT ${runColumns} ${from} WHERE events > 0 ORDER BY no DESC LIMIT 1`);
    this.#events = db.prepare<[number, number, number], EventRow>(
      'SELECT seq, at, kind, body, hash FROM events WHERE run = ? AND seq >= ? ORDER BY seq LIMIT ?',
    );
    // Without the hash, which few ask for: to hand over a piece of memory of its own costs more than all else of a short row.
    this.#bodies = db.prepare<[number, number, number], StoredEvent>('SELECT seq, at, kind, body FROM events WHERE run = ? AND seq >= ? ORDER BY seq LIMIT ?');
    this.#attempts = db.prepare<[number, number, number, number, number], AttemptRow>(
      `SELECT a.point, a.attempt, a.seq, a.verdict, a.segment, s.boot_id, c.attempt IS a.attempt AS counts, e.at, e.body
       FROM attempts a
       JOIN events e ON e.run = a.run AND e.seq = a.seq
       LEFT JOIN segments s ON s.run = a.run AND s.segment = a.segment
       LEFT JOIN counting c ON c.run = a.run AND c.point = a.point
       WHERE a.run = ? AND (a.point, a.attempt) > (?, ?) AND a.point <= ?
       ORDER BY a.point, a.attempt LIMIT ?`,
    );
    this.#segments = db.prepare<[number], { segment: number; boot_id: string }>(
      'SELECT segment, boot_id FROM segments WHERE run = ? ORDER BY segment',
    );
    this.#chunks = db.prepare<[number, number, number], ChunkRow>(
      `SELECT chunk, segment, from_us, to_us, last_frame, frames, data FROM telemetry
       WHERE run = ? AND segment = ? AND to_us >= ? ORDER BY to_us`,
    );
    this.#endingAt = db.prepare<[number, number, number], { chunk: number }>(
      'SELECT chunk FROM telemetry WHERE run = ? AND segment = ? AND to_us >= ? ORDER BY to_us LIMIT 2',
    );
    this.#backwards = db.prepare<[number, number], ChunkRow>(
      'SELECT chunk, segment, from_us, to_us, last_frame, frames, data FROM telemetry WHERE run = ? AND chunk <= ? ORDER BY chunk DESC',
    );
    this.#chunk = db.prepare<[number, number], ChunkRow>(
      'SELECT chunk, segment, from_us, to_us, last_frame, frames, data FROM telemetry WHERE run = ? AND chunk = ?',
    );
    this.#notes = db.prepare<[], EventRow & { id: string }>(
      `SELECT runs.id AS id, seq, at, kind, body, hash FROM events JOIN runs ON runs.no = events.run WHERE kind = 'commanded' AND instr(body, '"kind":"note"') > 0 ORDER BY runs.no, seq`,
    );
    this.#frameCount = db.prepare<[number], { n: number }>('SELECT coalesce(sum(frames), 0) AS n FROM telemetry WHERE run = ?');
  }

  /** A run by its id; null when the archive has none of that id. */
  run(id: string): StoredRun | null {
    const row = this.#reading(() => this.#run.get(id));
    return row === undefined ? null : runFromRow(row);
  }

  /**
   * One page of runs, newest first, of those whose journal has begun. A page with `limit` runs may have another behind it.
   */
  runs(page: RunsPage): StoredRun[] {
    // Before everything that sorts below it: beyond the latest time that a date can have.
    const after = page.after ?? { createdAt: Number.MAX_SAFE_INTEGER, id: '' };
    return this.#reading(() => this.#runs.all(after.createdAt, after.id, searchable(page.text ?? ''), page.limit)).map(runFromRow);
  }

  /** Every run, newest first; read by pages, so that runs may be added and others read meanwhile. */
  *everyRun(filter: Pick<RunsPage, 'text'> = {}): Generator<StoredRun> {
    let page = this.runs({ ...filter, limit: runsPerPage });
    while (page.length > 0) {
      yield* page;
      const last = page.at(-1);
      page = last === undefined ? [] : this.runs({ ...filter, limit: runsPerPage, after: last });
    }
  }

  /** UUID of version 7 that no other archive has; a backup has that of its archive. */
  archiveId(): string {
    return this.#reading(() => this.ledger.id());
  }

  /** Stands for the whole contents as they are now: how many entries the ledger has, and one hash over all of them. */
  head(): Head {
    return this.#reading(() => this.ledger.head());
  }

  /** The run that was opened last, by its number: the wall clock may have been set between two runs. One without a journal is none. */
  latestRun(): StoredRun | null {
    return this.#reading(() => {
      const row = this.#latest.get();
      return row === undefined ? null : runFromRow(row);
    });
  }

  /** What was written down as a note in any run, in the order of the runs. */
  notedEvents(): { readonly id: string; readonly event: RunEvent }[] {
    return this.#reading(() => this.#notes.all()).map((row) => ({ id: row.id, event: eventOf(row, `Event ${row.seq} of run ${row.id}`) }));
  }

  /** Events of a run as rows, from `fromSeq` on, in order; more may be appended while it is read. */
  eventRows(run: { readonly no: number }, fromSeq = 0): Generator<EventRow> {
    return this.#inPages(this.#events, run, fromSeq);
  }

  *#inPages<Row extends { readonly seq: number }>(statement: { readonly all: (run: number, from: number, limit: number) => readonly Row[] }, run: { readonly no: number }, fromSeq: number, most = Number.POSITIVE_INFINITY): Generator<Row> {
    let next = fromSeq;
    for (let left = most; left > 0; ) {
      const from = next;
      const limit = Math.min(left, eventsPerPage);
      const page = this.#reading(() => statement.all(run.no, from, limit));
      yield* page;
      const last = page.at(-1);
      if (last === undefined || page.length < limit) return;
      left -= page.length;
      next = last.seq + 1;
    }
  }

  /** At most so many events as they are stored: whoever wants one of them reads it by `eventOf`. */
  storedEvents(id: string, fromSeq: number, most: number): Generator<StoredEvent> {
    return this.#inPages(this.#bodies, this.#known(id), fromSeq, most);
  }

  *events(id: string, fromSeq = 0): Generator<RunEvent> {
    for (const row of this.#inPages(this.#bodies, this.#known(id), fromSeq)) yield eventOf(row, `Event ${row.seq} of run ${id}`);
  }

  /** The same as JSON texts. Only an event that upcasting changed is put into text again. */
  *eventTexts(id: string, fromSeq = 0): Generator<string> {
    for (const row of this.#inPages(this.#bodies, this.#known(id), fromSeq)) yield textOfEvent(eventOf(row, `Event ${row.seq} of run ${id}`), row);
  }

  /** One page of attempts, by point and attempt. The page is full when it has `limit` rows; then there may be more. */
  attempts(id: string, page: AttemptsPage): StoredAttempt[] {
    return this.#attemptRows(this.#known(id), page).map((row) => this.#attemptFromRow(id, row));
  }

  /** Every attempt of a run, by point and attempt; read by pages. */
  *everyAttempt(id: string): Generator<StoredAttempt> {
    let page = this.attempts(id, { limit: attemptsPerPage });
    while (page.length > 0) {
      yield* page;
      const last = page.at(-1);
      page = last === undefined ? [] : this.attempts(id, { limit: attemptsPerPage, after: last });
    }
  }

  /** The frames of an attempt's window, exactly as the engine had them; empty when it never came to a window. */
  windowFrames(id: string, attempt: { readonly point: number; readonly attempt: number }): BenchFrame[] {
    const run = this.#known(id);
    const row = this.#attemptRows(run, { point: attempt.point, after: { point: attempt.point, attempt: attempt.attempt - 1 }, limit: 1 })[0];
    if (row?.attempt !== attempt.attempt) throw new Error(`run ${id} has no attempt ${attempt.attempt} of point ${attempt.point}`);
    const { window } = this.#attemptFromRow(id, row).body;
    if (window === null || row.segment === null) return [];
    return this.framesOfWindow(run, row.segment, window).frames;
  }

  /**
   * The frames that a stored window was computed from; `stepped`: the controller's clock stepped back inside it, so that they lie in more
   * than one stretch and are taken by their number, back from the last of them (ARC-21).
   */
  framesOfWindow(run: StoredRun, segment: number, window: Pick<WindowSummary, 'from' | 'to' | 'frames'>): { readonly frames: BenchFrame[]; readonly stepped: boolean } {
    const inStretch = this.segmentFrames(run, segment, window.from, window.to);
    if (inStretch.length === window.frames && inStretch[0]?.at === window.from) return { frames: inStretch, stepped: false };
    const across = this.#reading(() => this.#framesBackFrom(run, segment, window));
    return across === null ? { frames: inStretch, stepped: false } : { frames: across, stepped: true };
  }

  /**
   * Frames from controller clock `from` to `to`, both included, in the order they came; of one controller start when
   * `bootId` is given, else of each in turn.
   */
  telemetry(id: string, from: Seconds, to: Seconds, bootId?: string): BenchFrame[] {
    const run = this.#known(id);
    return this.#reading(() => this.#segments.all(run.no))
      .filter((s) => bootId === undefined || s.boot_id === bootId)
      .flatMap((s) => this.segmentFrames(run, s.segment, from, to));
  }

  /** How many frames are stored with a run. */
  frameCount(id: string): number {
    const run = this.#known(id);
    return this.#reading(() => this.#frameCount.get(run.no))?.n ?? 0;
  }

  /**
   * The frames of a run in the order they came, a chunk at a time; frames may be appended while it is read. A chunk that
   * `wanted` does not want, by the number of its first frame (from 0) and of its frames, is left out and not unpacked.
   */
  *telemetryChunks(id: string, wanted: (first: number, count: number) => boolean = () => true): Generator<{ readonly first: number; readonly frames: readonly BenchFrame[] }> {
    const run = this.#known(id);
    let first = 0;
    for (let next = 0; ; next += 1) {
      const chunk = next;
      const row = this.#reading(() => this.#chunk.get(run.no, chunk));
      if (row === undefined) return;
      if (wanted(first, row.frames)) yield { first, frames: this.framesOf(row, run) };
      first += row.frames;
    }
  }

  /** As many frames as the window has, back from its last one, over the beginning of a stretch of the same start of the controller; null: they are not there. */
  #framesBackFrom(run: StoredRun, segment: number, window: Pick<WindowSummary, 'from' | 'to' | 'frames'>): BenchFrame[] | null {
    const found: BenchFrame[] = [];
    let firstSegment = segment;
    // The window's last frame lies in one of two chunks: its time is known to the microsecond there.
    const ending = this.#endingAt.all(run.no, segment, Math.floor(window.to * 1e6)).map(({ chunk }) => chunk);
    for (const row of this.#backwards.iterate(run.no, Math.max(-1, ...ending))) {
      if (found.length === 0 && !ending.includes(row.chunk)) return null;
      for (const frame of this.framesOf(row, run).toReversed()) {
        if (found.length === 0 && frame.at !== window.to) continue;
        found.push(frame);
        firstSegment = row.segment;
        if (found.length < window.frames) continue;
        return frame.at === window.from && firstSegment < segment && frame.bootId === found[0]?.bootId ? found.reverse() : null;
      }
    }
    return null;
  }

  /** Frames of one segment from controller clock `from` to `to`, both included. */
  segmentFrames(run: StoredRun, segment: number, from: Seconds, to: Seconds): BenchFrame[] {
    return this.#reading(() => {
      const found: BenchFrame[] = [];
      for (const row of this.#chunks.iterate(run.no, segment, Math.floor(from * 1e6))) {
        if (row.from_us > Math.ceil(to * 1e6)) break;
        for (const frame of this.framesOf(row, run)) {
          if (frame.at >= from && frame.at <= to) found.push(frame);
        }
      }
      return found;
    });
  }

  /** Windows that follow each other lie in the same chunk: the latest few are not unpacked again. A chunk never changes. */
  framesOf(row: ChunkRow, run: StoredRun): readonly BenchFrame[] {
    const key = `${run.no}/${row.chunk}`;
    const known = this.#unpacked.get(key);
    if (known !== undefined) {
      this.#unpacked.delete(key);
      this.#unpacked.set(key, known);
      return known;
    }
    const frames = chunkFrames(row, run);
    this.#unpacked.set(key, frames);
    this.#unpackedFrames += frames.length;
    for (const [oldest, { length }] of this.#unpacked) {
      if (this.#unpackedFrames <= unpackedFramesKept) break;
      this.#unpacked.delete(oldest);
      this.#unpackedFrames -= length;
    }
    return frames;
  }

  /** What lies in the file is read anew. */
  forgetFrames(): void {
    this.#unpacked.clear();
    this.#unpackedFrames = 0;
  }

  #attemptRows(run: StoredRun, page: AttemptsPage): AttemptRow[] {
    const after = page.after ?? { point: page.point ?? -1, attempt: Number.MIN_SAFE_INTEGER };
    const lastPoint = page.point ?? Number.MAX_SAFE_INTEGER;
    return this.#reading(() => this.#attempts.all(run.no, after.point, after.attempt, lastPoint, page.limit));
  }

  #attemptFromRow(id: string, row: AttemptRow): StoredAttempt {
    const where = `Event ${row.seq} of run ${id}`;
    const { body } = eventOf(row, where);
    if (body.kind !== 'attempt-ended') throw new ArchiveUnreadable(`${where} is not the end of an attempt, but an attempt refers to it.`);
    return {
      point: row.point,
      attempt: row.attempt,
      seq: row.seq,
      at: unixMillis(row.at),
      verdict: row.verdict,
      counts: row.counts === 1,
      bootId: row.boot_id,
      body,
    };
  }

  #reading<T>(read: () => T): T {
    return readingFile(this.path, read);
  }

  #known(id: string): StoredRun {
    const run = this.run(id);
    if (run === null) throw new Error(`the archive has no run ${id}`);
    return run;
  }
}
