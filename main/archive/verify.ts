/** Holds an archive against everything that it promises, by reading alone. */
import { shown } from '../../app/boundary/text.ts';
import { shownPoint } from '../../app/plan/points.ts';
import { isDeepStrictEqual } from 'node:util';
import type { RunEventBody } from '../../app/journal/events.ts';
import { foldRun, forDriving } from '../../app/journal/fold.ts';
import { emptyOutline, outlineOf, type Outline } from '../../app/journal/outline.ts';
import type { RunState } from '../../app/journal/state.ts';
import { summariseDecay } from '../../app/reduce/pressure-decay.ts';
import { summariseWindow } from '../../app/run/window.ts';
import type { WindowSummary } from '../../app/journal/measured.ts';
import { chainHash, chainStart, documentHashes } from './chain.ts';
import { sealOf } from './seal.ts';
import { Findings, type ArchiveCheck } from './findings.ts';
import type { Head } from './ledger.ts';
import { libraryProblems } from './library.ts';
import { recordProblems } from './records.ts';
import { meterCheckProblems } from './meter-checks.ts';
import { visitProblems } from './visits.ts';
import { migrate } from './migrations.ts';
import { ArchiveUnreadable, eventOf, parseStored } from './read.ts';
import type { ArchiveReader, ChunkRow, StoredRun } from './read.ts';
import { openDatabase, storageFailure } from './sqlite.ts';
import type { Database } from './sqlite.ts';
import { NamedQualifications, qualificationsText } from './verify-qualification.ts';
import { checkLedger } from './verify-ledger.ts';
import { rebuildDerived } from './write.ts';

export interface Verification {
  readonly passed: boolean;
  readonly checks: readonly ArchiveCheck[];
  /** Id of the archive and the head of its ledger, as they lie there; null: the file is too damaged to read them. */
  readonly archiveId: string | null;
  readonly head: Head | null;
}

function structure(db: Database): ArchiveCheck {
  const findings = new Findings('structure', () => 'The file is whole: every page and every index is as SQLite wrote it (integrity_check).');
  try {
    for (const row of db.pragma('integrity_check(20)') as { integrity_check: string }[]) {
      findings.expect(row.integrity_check === 'ok', () => `SQLite found: ${row.integrity_check}.`);
    }
  } catch (error) {
    const failure = storageFailure(error, db.name);
    if (failure === null) throw error;
    findings.fail(failure.text);
  }
  return findings.done();
}

function references(db: Database): ArchiveCheck {
  const findings = new Findings('references', () => 'Every row has the row that it refers to (foreign_key_check).');
  for (const row of db.pragma('foreign_key_check') as { table: string; rowid: number | null; parent: string }[]) {
    findings.fail(`A row of "${row.table}" refers to a row of "${row.parent}" that is not there.`);
  }
  return findings.done();
}

/** Tables that SQLite itself makes for its statistics (ANALYZE). */
const statistics: ReadonlySet<string> = new Set(['sqlite_stat1', 'sqlite_stat4']);

/** ARC-8. Tables, indexes and the triggers that keep rows from being changed: those, and no others. */
const schemaOf = (db: Database): ReadonlyMap<string, string | null> =>
  new Map(
    db
      .prepare<[], { name: string; sql: string | null }>('SELECT name, sql FROM sqlite_schema')
      .all()
      .map((row) => [row.name, row.sql]),
  );

let known: ReadonlyMap<string, string | null> | null = null;

/** What this program makes of an empty archive: the same at any time, so it is made once. */
function knownSchema(): ReadonlyMap<string, string | null> {
  if (known !== null) return known;
  const fresh = openDatabase(':memory:', { readOnly: false, busyTimeout: 0 });
  try {
    migrate(fresh, 0, { id: 'of no archive', at: 0 }, rebuildDerived);
    known = schemaOf(fresh);
    return known;
  } finally {
    fresh.close();
  }
}

function schema(db: Database): ArchiveCheck {
  const findings = new Findings(
    'schema',
    (asked) => `All ${asked} tables, indexes and triggers are as this program makes them, and there are no others; recorded rows cannot be changed by mistake.`,
  );
  const found = schemaOf(db);
  for (const [name, sql] of knownSchema()) findings.expect(found.has(name) && found.get(name) === sql, () => `"${name}" is missing or has been changed.`);
  for (const name of found.keys()) {
    if (!knownSchema().has(name) && !statistics.has(name)) findings.fail(`"${name}" is not of this program.`);
  }
  return findings.done();
}

function library(db: Database): ArchiveCheck {
  const { asked, problems } = libraryProblems(db);
  const findings = new Findings('library', () => `Each of ${asked} saved plans and equipment records is what was saved, and no version of anything is missing.`);
  for (const problem of problems) findings.fail(problem);
  return findings.done();
}

function meterChecks(db: Database): ArchiveCheck {
  const { asked, problems } = meterCheckProblems(db);
  const findings = new Findings('meter checks', () => `Each of ${asked} meter checks is what was saved, can be read, and none is missing.`);
  for (const problem of problems) findings.fail(problem);
  return findings.done();
}

function visits(db: Database): ArchiveCheck {
  const { asked, problems } = visitProblems(db);
  const findings = new Findings('visits', () => `Each of ${asked} records of visits and photos is what was kept, can be read, and none is missing.`);
  for (const problem of problems) findings.fail(problem);
  return findings.done();
}

function records(db: Database): ArchiveCheck {
  const { asked, problems } = recordProblems(db);
  const findings = new Findings('records', () => `Each of ${asked} records of types and benches is what was saved, and no version is missing.`);
  for (const problem of problems) findings.fail(problem);
  return findings.done();
}

interface RunFindings {
  readonly chain: Findings;
  readonly journal: Findings;
  readonly attempts: Findings;
  readonly status: Findings;
  readonly telemetry: Findings;
  readonly windows: Findings;
  readonly seals: Findings;
  readonly qualifications: Findings;
  /** Attempts inside whose window the controller's clock stepped back, in archives from before such a window was refused. */
  readonly stepped: string[];
}

/** That a window is what was computed does not make a measurement of it (RUN-160 refuses such a window today). */
function steppedText(stepped: readonly string[]): string {
  if (stepped.length === 0) return '';
  const named = stepped.slice(0, 5).join(', ') + (stepped.length > 5 ? ` and ${stepped.length - 5} more` : '');
  return ` In ${stepped.length} of them the clock of the controller stepped back, so their frames were taken by number: that they are what was computed is proved, that they measure a flow is not. Measure again: ${named}.`;
}

const sealsText = (asked: number): string => (asked === 0 ? 'No blind window was told.' : `Each of ${asked} secret shifts of blind windows is the one that was sealed before its pulses.`);

const startRunFindings = (stepped: string[] = []): RunFindings => ({
  stepped,
  chain: new Findings('hash chain', (asked) => `Nothing in the journals was changed, removed or put in between: the hashes of ${asked} events hold, from each run's record to its last event.`),
  journal: new Findings('journals', (asked) => `Each of ${asked} journals can be replayed from its first event to its last.`),
  attempts: new Findings('attempts', (asked) => `Each of ${asked} ended attempts has its row, and no row is without its event.`),
  status: new Findings('list of runs', (asked) => `What the list shows of ${asked} runs is what their journals say.`),
  telemetry: new Findings('telemetry', (asked) => `Each of ${asked} chunks of telemetry can be read, follows the one before and does not overlap it.`),
  windows: new Findings('windows', (asked) => `Each of ${asked} measuring windows comes out exactly the same when it is computed again from the stored telemetry.${steppedText(stepped)}`),
  seals: new Findings('blind windows', sealsText),
  qualifications: new Findings('qualifications', qualificationsText),
});

type AttemptEnded = Extract<RunEventBody, { kind: 'attempt-ended' }>;

/** How many steps the work is told of in, each of some hundredths of a millisecond. */
type Steps = Generator<undefined>;

/**
 * Walks the journal once: chain and fold, and the attempts as they end; returns the last state, without windows, with its outline.
 * The windows stay in the archive: those of a long run are hundreds of megabytes.
 */
function* walkJournal(reader: ArchiveReader, run: StoredRun, attempts: AttemptCheck, qualifications: NamedQualifications, to: RunFindings) {
  const seals = new Map<string, string>();
  let state: RunState | null = null;
  let lastAt = 0;
  let replays = true;
  let head = chainStart(run);
  let next = 0;
  for (const row of reader.eventRows(run)) {
    yield;
    const where = `Event ${row.seq} of run ${run.id}`;
    if (row.seq !== next) to.chain.fail(`Run ${run.id} has no event ${next}.`);
    next = row.seq + 1;
    const hash = chainHash(head, row.seq, row.at, row.body);
    const stored = row.hash.toString('hex');
    to.chain.expect(hash === stored, () => `${where} is not what was written: its hash does not fit.`);
    // Go on from the stored hash, so that one changed event is named and not all after it.
    head = stored;
    let body: RunEventBody;
    try {
      ({ body } = eventOf(row, where));
    } catch (error) {
      to.journal.fail((error as Error).message);
      replays = false;
      continue;
    }
    if (body.kind !== row.kind) to.chain.fail(`${where} is filed as "${row.kind}" but is "${body.kind}".`);
    if (body.kind === 'opened') {
      const { planHash, equipmentHash } = documentHashes(parseStored(row.body, where));
      if (planHash !== run.planHash || equipmentHash !== run.equipmentHash) to.chain.fail(`${where} opens another plan or equipment than the run was made for.`);
    }
    if (body.kind === 'attempt-ended') yield* attempts.ended(row.seq, body, replays ? state : null);
    qualifications.follow(body, where);
    if (body.kind === 'blind-sealed') seals.set(`${body.point}/${body.attempt}`, body.seal);
    if (body.kind === 'blind-unsealed') {
      for (const secret of body.shifts) to.seals.expect(seals.get(`${secret.point}/${secret.attempt}`) === sealOf(secret), () => `${where} tells a shift of point ${shownPoint(secret.point)}, attempt ${secret.attempt}, that is not the one that was sealed.`);
    }
    if (!replays) continue;
    try {
      state = state === null ? forDriving(foldRun(state, body)) : foldRun(state, body);
      lastAt = row.at;
    } catch (error) {
      to.journal.fail(`${where} cannot follow the events before it: ${(error as Error).message}`);
      replays = false;
    }
  }
  to.journal.expect(replays, () => `The journal of run ${run.id} cannot be replayed.`);
  return { state: replays ? state : null, outline: state === null ? emptyOutline : outlineOf(state, lastAt), replays };
}

type Walked = ReturnType<typeof walkJournal> extends Generator<undefined, infer W> ? W : never;

function checkStatus(db: Database, run: StoredRun, walked: Walked, to: RunFindings): void {
  if (!walked.replays) return;
  const stored = new Map(
    db
      .prepare<[number], { point: number; attempt: number }>('SELECT point, attempt FROM counting WHERE run = ?')
      .all(run.no)
      .map((row) => [row.point, row.attempt]),
  );
  const { state, outline } = walked;
  const counting = new Map(state?.points.flatMap(({ chosen }, point) => (chosen === null ? [] : [[point, chosen] as const])));
  // Lists that an earlier version made hold characters that are not shown as they are.
  const plainly = (list: Outline): Outline => ({ ...list, search: shown(list.search) });
  const agrees = isDeepStrictEqual(plainly(outline), plainly(run.status)) && isDeepStrictEqual(counting, stored);
  to.status.expect(agrees, () => `The list shows run ${run.id} otherwise than its journal.`);
}

interface AttemptRow {
  readonly point: number;
  readonly attempt: number;
  readonly seq: number;
  readonly verdict: string;
  readonly segment: number | null;
}

/**
 * Holds the rows of attempts against their events, and computes their windows again. Windows and telemetry are gone through in the order
 * in which they came: the chunks are looked at up to the end of a window just before it, so that each is unpacked once for both.
 */
class AttemptCheck {
  readonly #reader: ArchiveReader;
  readonly #run: StoredRun;
  readonly #telemetry: TelemetryCheck;
  readonly #to: RunFindings;
  /** Those that no event has been found for, by its number. */
  readonly #rows: Map<number, AttemptRow>;

  constructor(db: Database, reader: ArchiveReader, run: StoredRun, telemetry: TelemetryCheck, to: RunFindings) {
    this.#reader = reader;
    this.#run = run;
    this.#telemetry = telemetry;
    this.#to = to;
    this.#rows = new Map(
      db
        .prepare<[number], AttemptRow>('SELECT point, attempt, seq, verdict, segment FROM attempts WHERE run = ? ORDER BY point, attempt')
        .all(run.no)
        .map((row) => [row.seq, row]),
    );
  }

  /** `state`: of the run before it; null: it could not be replayed up to there. */
  *ended(seq: number, { point, attempt, verdict, window }: AttemptEnded, state: RunState | null): Steps {
    const row = this.#rows.get(seq);
    if (row === undefined) {
      this.#to.attempts.fail(`Attempt ${attempt} of point ${shownPoint(point)} of run ${this.#run.id} has no row.`);
      return;
    }
    this.#rows.delete(seq);
    if (!this.#to.attempts.expect(row.point === point && row.attempt === attempt && row.verdict === verdict, () => this.#disagrees(row))) return;
    if (window === null || state === null) return;
    if (row.segment !== null) yield* this.#telemetry.upTo(row.segment, window.to);
    this.#computeAgain(row, window, state);
  }

  /** The rows that are left have no event. */
  rest(): void {
    for (const row of this.#rows.values()) this.#to.attempts.fail(this.#disagrees(row));
  }

  readonly #where = ({ point, attempt }: AttemptRow): string => `Attempt ${attempt} of point ${shownPoint(point)} of run ${this.#run.id}`;
  readonly #disagrees = (row: AttemptRow): string => `${this.#where(row)} does not agree with the journal.`;

  #computeAgain(row: AttemptRow, window: WindowSummary, { equipment, setPoints }: RunState): void {
    const { segment } = row;
    const { windows, stepped } = this.#to;
    const where = this.#where(row);
    try {
      const found = segment === null ? { frames: [], stepped: false } : this.#reader.framesOfWindow(this.#run, segment, window);
      // Through JSON, because that is the way the stored one came. A zero point has a window of its own kind.
      const { current, ...again } = JSON.parse(JSON.stringify(summariseWindow(found.frames, equipment.meter.edgesPerRevolution, setPoints[row.point]?.role))) as Partial<WindowSummary>;
      // Journals of earlier versions do not hold the current (RUN-130).
      // What was counted between two windows lies outside the frames of this one (RUN-104).
      const own = { ...window };
      delete own.idle;
      delete own.decay;
      const comparable = window.current === undefined ? again : { ...again, current };
      const { decay } = window;
      if (decay !== undefined) {
        const shut: unknown = JSON.parse(JSON.stringify(summariseDecay(segment === null ? [] : this.#reader.segmentFrames(this.#run, segment, decay.from, decay.to))));
        windows.expect(isDeepStrictEqual(shut, decay), () => `${where}: its pressure decay comes out differently from the stored telemetry.`);
      }
      const same = isDeepStrictEqual(comparable, own);
      if (same && found.stepped) stepped.push(where);
      windows.expect(same, () => `${where}: its window comes out differently from the stored telemetry.`);
    } catch (error) {
      if (!(error instanceof ArchiveUnreadable)) throw error;
      windows.fail(`${where}: its window cannot be computed again. ${error.message}`);
    }
  }
}

/** Goes on from chunk to chunk as far as it is asked to. */
class TelemetryCheck {
  readonly #reader: ArchiveReader;
  readonly #run: StoredRun;
  readonly #to: RunFindings;
  // One after the other, because a connection on which a walk over rows is open can do nothing else between two steps.
  readonly #after;
  #row: (ChunkRow & { readonly boot_id: string }) | null | undefined = null;
  #last: { readonly segment: number; readonly at: number; readonly number: number } | null = null;

  constructor(db: Database, reader: ArchiveReader, run: StoredRun, to: RunFindings) {
    this.#reader = reader;
    this.#run = run;
    this.#to = to;
    this.#after = db.prepare<[number, number], ChunkRow & { readonly boot_id: string }>(
      `SELECT chunk, t.segment, s.boot_id, from_us, to_us, last_frame, frames, data FROM telemetry t
       LEFT JOIN segments s ON s.run = t.run AND s.segment = t.segment WHERE t.run = ? AND chunk > ? ORDER BY chunk LIMIT 1`,
    );
  }

  /** All chunks up to the one that holds the controller's time `at`, s, of a segment. */
  *upTo(segment: number, at: number): Steps {
    while (this.#row !== undefined && (this.#row === null || this.#row.segment < segment || (this.#row.segment === segment && this.#row.to_us < at * 1e6))) {
      const row = this.#after.get(this.#run.no, this.#row?.chunk ?? -1);
      const expected = this.#row === null ? 0 : this.#row.chunk + 1;
      this.#row = row;
      if (row === undefined) return;
      yield;
      this.#check(row, expected);
    }
  }

  #check(row: ChunkRow & { readonly boot_id: string }, expected: number): void {
    const { telemetry } = this.#to;
    const where = `Telemetry chunk ${row.chunk} of run ${this.#run.id}`;
    if (row.chunk !== expected) telemetry.fail(`Run ${this.#run.id} has no telemetry chunk ${expected}.`);
    let frames;
    try {
      frames = this.#reader.framesOf(row, this.#run);
    } catch (error) {
      if (!(error instanceof ArchiveUnreadable)) throw error;
      telemetry.fail(error.message);
      return;
    }
    const first = frames[0];
    const end = frames.at(-1);
    if (first === undefined || end === undefined) return;
    const filed =
      frames.length === row.frames &&
      end.number === row.last_frame &&
      Math.floor(first.at * 1e6) === row.from_us &&
      Math.ceil(end.at * 1e6) === row.to_us &&
      frames.every((f) => f.bootId === row.boot_id);
    telemetry.expect(filed, () => `${where} does not hold the frames that it is filed under.`);
    for (const frame of frames) {
      if (this.#last?.segment === row.segment && (frame.number <= this.#last.number || frame.at < this.#last.at)) {
        telemetry.fail(`${where} overlaps what came before it.`);
        break;
      }
      this.#last = { segment: row.segment, at: frame.at, number: frame.number };
    }
  }
}

/** How much of a check is done, from 0 to 1. */
export type VerifyProgress = Generator<number, Verification>;

/** Between two yields: some milliseconds. */
const STEPS_AT_A_STRETCH = 200;

/**
 * Every check over the whole archive, step by step; time grows with its size (all telemetry is unpacked, once). `expected`: heads that
 * were noted or kept elsewhere, each of which must lie in the history of this archive. Nothing else may be done over the connection until
 * the last step, or until it is ended early by `return`.
 */
export function* verifying(db: Database, reader: ArchiveReader, expected: readonly Head[]): VerifyProgress {
  try {
    // One read transaction: an archive that is being written meanwhile is seen as it stood at one instant.
    db.exec('BEGIN');
    reader.forgetFrames();
    const { checks, ...identity } = yield* everyCheck(db, reader, expected);
    db.exec('COMMIT');
    return { passed: checks.every((check) => check.passed), checks, ...identity };
  } catch (error) {
    // What passed the check of the structure may still be more than SQLite can read, or end a transaction on.
    const text = error instanceof ArchiveUnreadable ? error.message : storageFailure(error, db.name)?.text;
    if (text === undefined) throw error;
    return { passed: false, checks: [{ name: 'contents', passed: false, text: `The contents cannot be read. ${text}` }], archiveId: null, head: null };
  } finally {
    if (db.inTransaction) db.exec('ROLLBACK');
  }
}

function* everyCheck(db: Database, reader: ArchiveReader, expected: readonly Head[]): Generator<number, Omit<Verification, 'passed'>> {
  const whole = structure(db);
  if (!whole.passed) {
    const contents = { name: 'contents', passed: false, text: 'The contents were not checked, because the file itself is damaged. Restore a backup.' };
    return { checks: [whole, contents], archiveId: null, head: null };
  }
  const rows = (table: string): number => db.prepare<[], { n: number }>(`SELECT count(*) AS n FROM ${table}`).get()?.n ?? 0;
  const all = rows('events') + rows('telemetry') + rows('ledger');
  let done = 0;
  function* told<T>(work: Generator<undefined, T>): Generator<number, T> {
    for (;;) {
      const step = work.next();
      if (step.done === true) return step.value;
      done += 1;
      if (done % STEPS_AT_A_STRETCH === 0) yield Math.min(1, done / all);
    }
  }
  const found = startRunFindings();
  // The runs themselves, and not the list of them, which is derived and can be made to leave one out.
  let number: number | null = null;
  for (const { no, id } of db.prepare<[], { no: number; id: string }>('SELECT no, id FROM runs ORDER BY no').all()) {
    if (no !== (number ?? Math.min(no, 1) - 1) + 1) found.status.fail(`Before run ${id} the numbers of runs have a gap: a run is missing.`);
    number = no;
    const run = reader.run(id);
    if (run === null) {
      found.status.fail(`The list leaves out run ${id}, which the archive holds.`);
      continue;
    }
    const telemetry = new TelemetryCheck(db, reader, run, found);
    const attempts = new AttemptCheck(db, reader, run, telemetry, found);
    checkStatus(db, run, yield* told(walkJournal(reader, run, attempts, new NamedQualifications(db, found.qualifications), found)), found);
    attempts.rest();
    yield* told(telemetry.upTo(Number.POSITIVE_INFINITY, 0));
  }
  const entered = yield* told(checkLedger(db, reader.ledger, expected));
  return {
    checks: [
      whole, references(db), schema(db), library(db), meterChecks(db), visits(db), records(db), ...[found.chain, found.journal, found.attempts, found.status, found.telemetry, found.windows, found.seals, found.qualifications].map((findings) => findings.done()),
      ...entered.checks,
    ],
    archiveId: entered.archiveId,
    head: entered.head,
  };
}
