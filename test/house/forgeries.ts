/**
 * Forgeries of an archive, made with nothing but SQL on its file: guards are taken off and put back, and hashes computed anew
 * where a forger would think of them. `verify` is held against each of them in forgeries.test.ts.
 */
import type { BenchFrame } from '../../app/bench/port.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { pascals } from '../../app/quantities/quantity.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { summariseWindow } from '../../app/run/window.ts';
import { chainHash, chainStart, recordOf, sha256, type RunRecordRow } from '../../main/archive/chain.ts';
import { dataHash, entryHash, ledgerStart, type Entry, type EntryRow } from '../../main/archive/ledger.ts';
import { equipmentHash, partHash, planHash, type EquipmentRow, type PartRow, type StoredPlanRow } from '../../main/archive/library.ts';
import { meterCheckHash } from '../../main/archive/meter-checks.ts';
import { visitHash } from '../../main/archive/visits.ts';
import { recordHash, type RecordRow } from '../../main/archive/records.ts';
import { openDatabase, type Database } from '../../main/archive/sqlite.ts';
import { decodeFrames, encodeFrames } from '../../main/archive/telemetry-chunk.ts';
import { rebuildDerived } from '../../main/archive/write.ts';

export interface Forgery {
  readonly what: string;
  /**
   * naive: no hash was thought of, or only the plain one of a document; cut: the end or a whole is gone and the rest made to fit;
   * rewritten: the hashes of the journal were computed anew.
   */
  readonly how: 'naive' | 'cut' | 'rewritten';
  readonly forge: (db: Database) => void;
}

/** Opens the file as a forger does: every trigger off meanwhile, and put back word for word. */
export function forge(file: string, work: (db: Database) => void): void {
  const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
  try {
    const triggers = db.prepare<[], { name: string; sql: string }>(`SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'`).all();
    db.pragma('foreign_keys = OFF');
    for (const { name } of triggers) db.exec(`DROP TRIGGER ${name}`);
    work(db);
    for (const { sql } of triggers) db.exec(sql);
    db.pragma('wal_checkpoint(TRUNCATE)');
  } finally {
    db.close();
  }
}

interface Row {
  readonly seq: number;
  readonly at: number;
  readonly body: string;
}

const runs = (db: Database) => db.prepare<[], RunRecordRow>('SELECT * FROM runs ORDER BY no').all();
const first = (db: Database): number => runs(db)[0]?.no ?? -1;
const last = (db: Database): number => runs(db).at(-1)?.no ?? -1;
const eventsOf = (db: Database, run: number) => db.prepare<[number], Row>('SELECT seq, at, body FROM events WHERE run = ? ORDER BY seq').all(run);

/** The chain of a run's journal, computed anew over whatever it says now. */
function rechain(db: Database, no: number): void {
  const run = runs(db).find((one) => one.no === no);
  if (run === undefined) throw new Error('there is no such run');
  let head = chainStart(recordOf(run));
  const put = db.prepare('UPDATE events SET hash = ? WHERE run = ? AND seq = ?');
  for (const { seq, at, body } of eventsOf(db, no)) {
    head = chainHash(head, seq, at, body);
    put.run(Buffer.from(head, 'hex'), no, seq);
  }
}

/**
 * The ledger written anew over whatever lies in the tables now, entry by entry and in the same order, so that it is the same again if
 * nothing was changed: only a head that was kept elsewhere can tell.
 */
export function rewriteLedger(db: Database): void {
  const id = db.prepare<[], { id: string }>('SELECT id FROM archive').get()?.id ?? '';
  const before = db.prepare<[], EntryRow>('SELECT * FROM ledger ORDER BY n').all().map((row) => JSON.parse(row.text) as Entry);
  const known = new Map(runs(db).map((run) => [run.id, run]));
  const entered = new Map<string, Extract<Entry, { kind: 'events' }>>();
  const entries = before.flatMap((entry) => againEntry(db, known, entered, entry));
  for (const run of known.values()) {
    if (!entries.some((entry) => entry.kind === 'run' && entry.run === run.id)) {
      // Put in where it says that it was made: right after the run that it was made from.
      const model = runs(db)[0]?.id;
      const after = entries.findLastIndex((entry) => 'run' in entry && entry.run === model) + 1;
      entries.splice(after, 0, ...before.flatMap((entry) => ('run' in entry && entry.run === model ? againEntry(db, known, entered, { ...entry, run: run.id }) : [])));
    }
  }
  db.exec('DELETE FROM ledger');
  const put = db.prepare('INSERT INTO ledger (n, text, hash) VALUES (?, ?, ?)');
  const latest = new Map<string, number>();
  let head = ledgerStart(id);
  for (const [i, entry] of entries.entries()) {
    const n = i + 1;
    const text = JSON.stringify(placed(db, latest, n, entry));
    head = entryHash(head, n, text);
    put.run(n, text, Buffer.from(head, 'hex'));
  }
}

/** What an entry would say of the rows as they are now; nothing if it has none left. */
function againEntry(db: Database, known: ReadonlyMap<string, RunRecordRow>, entered: Map<string, Extract<Entry, { kind: 'events' }>>, entry: Entry): Entry[] {
  switch (entry.kind) {
    case 'begun':
      return [entry];
    case 'run': {
      const run = known.get(entry.run);
      return run === undefined ? [] : [{ ...entry, record: chainStart(recordOf(run)) }];
    }
    case 'events': {
      const run = known.get(entry.run);
      if (run === undefined) return [];
      const last = entered.get(entry.run);
      const seq = last === undefined ? 0 : last.seq + last.events;
      const rows = db.prepare<[number, number, number], { hash: Buffer }>('SELECT hash FROM events WHERE run = ? AND seq >= ? ORDER BY seq LIMIT ?').all(run.no, seq, entry.events);
      const chunks = entry.chunks?.flatMap(([chunk]): [number, number, string][] => {
        const row = db.prepare<[number, number], { segment: number; data: Buffer }>('SELECT segment, data FROM telemetry WHERE run = ? AND chunk = ?').get(run.no, chunk);
        return row === undefined ? [] : [[chunk, row.segment, dataHash(row.data)]];
      });
      const attempts = entry.attempts?.flatMap(([at]): [number, number | null][] =>
        db.prepare<[number, number], { seq: number; segment: number | null }>('SELECT seq, segment FROM attempts WHERE run = ? AND seq = ?').all(run.no, at).map((row) => [row.seq, row.segment]),
      );
      const segments = entry.segments?.flatMap(([segment]): [number, string][] =>
        db.prepare<[number, number], { segment: number; boot_id: string }>('SELECT segment, boot_id FROM segments WHERE run = ? AND segment = ?').all(run.no, segment).map((row) => [row.segment, row.boot_id]),
      );
      if (rows.length + (chunks?.length ?? 0) === 0) return [];
      const again = {
        ...entry, seq, events: rows.length, head: rows.at(-1)?.hash.toString('hex') ?? last?.head ?? chainStart(recordOf(run)),
        ...(segments === undefined ? {} : { segments }), ...(chunks === undefined ? {} : { chunks }), ...(attempts === undefined ? {} : { attempts }),
      };
      entered.set(entry.run, again);
      return [again];
    }
    case 'parts':
      return [{
        ...entry,
        rows: entry.rows.map((one) => {
          const row = db.prepare<[string, number], PartRow>('SELECT * FROM part_versions WHERE part = ? AND version = ?').get(one.part, one.version);
          return row === undefined ? one : { ...one, row: partHash(row) };
        }),
      }];
    case 'plan':
      return db.prepare<[string, number], StoredPlanRow & { document: string }>('SELECT * FROM plan_versions WHERE plan = ? AND version = ?').all(entry.plan, entry.version)
        .map((row) => ({ ...entry, row: planHash(row) }));
    case 'equipment':
      return db.prepare<[number], EquipmentRow>('SELECT * FROM equipment_versions WHERE version = ?').all(entry.version).map((row) => ({ ...entry, row: equipmentHash(row) }));
    case 'meter-check':
      return db.prepare<[number], { no: number; saved_at: number; document: string }>('SELECT no, saved_at, document FROM meter_checks WHERE no = ?').all(entry.no)
        .map((row) => ({ ...entry, row: meterCheckHash(row) }));
    case 'visit':
      return db.prepare<[number], { no: number; saved_at: number; serial_number: string; document: string }>('SELECT no, saved_at, serial_number, document FROM visit_records WHERE no = ?').all(entry.no)
        .map((row) => ({ ...entry, row: visitHash(row) }));
    case 'record':
      return db.prepare<[string, string, number], RecordRow>('SELECT * FROM record_versions WHERE kind = ? AND name = ? AND version = ?').all(entry.of, entry.name, entry.version)
        .map((row) => ({ ...entry, row: recordHash(row) }));
  }
}

/** The entry as number `n`, with the rows that came with it, and the one before it, told so. */
function placed(db: Database, latest: Map<string, number>, n: number, entry: Entry): Entry {
  const place = (thing: string, sql: string, ...key: readonly (string | number)[]): number | null => {
    db.prepare(sql).run(n, ...key);
    const before = latest.get(thing) ?? null;
    latest.set(thing, n);
    return before;
  };
  switch (entry.kind) {
    case 'parts':
      return { ...entry, rows: entry.rows.map((one) => ({ ...one, parent: place(`part ${one.part}`, 'UPDATE part_versions SET entry = ? WHERE part = ? AND version = ?', one.part, one.version) })) };
    case 'plan':
      return { ...entry, parent: place(`plan ${entry.plan}`, 'UPDATE plan_versions SET entry = ? WHERE plan = ? AND version = ?', entry.plan, entry.version) };
    case 'equipment':
      return { ...entry, parent: place('equipment', 'UPDATE equipment_versions SET entry = ? WHERE version = ?', entry.version) };
    case 'record':
      return { ...entry, parent: place(`${entry.of} ${entry.name}`, 'UPDATE record_versions SET entry = ? WHERE kind = ? AND name = ? AND version = ?', entry.of, entry.name, entry.version) };
    default:
      return entry;
  }
}

type Ended = Extract<RunEventBody, { kind: 'attempt-ended' }>;

/** Every end of an attempt of a run as `change` gives it back; null leaves one as it is. */
function editAttempts(db: Database, run: number, change: (ended: Ended) => Ended | null): void {
  const put = db.prepare('UPDATE events SET body = ? WHERE run = ? AND seq = ?');
  for (const { seq, body } of eventsOf(db, run)) {
    const parsed = JSON.parse(body) as RunEventBody;
    const changed = parsed.kind === 'attempt-ended' ? change(parsed) : null;
    if (changed !== null) put.run(JSON.stringify(changed), run, seq);
  }
}

function editFrames(db: Database, run: number, change: (frame: BenchFrame) => BenchFrame): void {
  const put = db.prepare('UPDATE telemetry SET data = ? WHERE run = ? AND chunk = ?');
  for (const { chunk, data } of db.prepare<[number], { chunk: number; data: Buffer }>('SELECT chunk, data FROM telemetry WHERE run = ?').all(run)) {
    put.run(encodeFrames(decodeFrames(data).map(change)), run, chunk);
  }
}

const framesOf = (db: Database, run: number): BenchFrame[] =>
  db.prepare<[number], { data: Buffer }>('SELECT data FROM telemetry WHERE run = ? ORDER BY chunk').all(run).flatMap(({ data }) => decodeFrames(data));

function windowsOf(db: Database, run: number): { readonly from: number; readonly to: number }[] {
  return eventsOf(db, run).flatMap(({ body }) => {
    const parsed = JSON.parse(body) as RunEventBody;
    if (parsed.kind !== 'attempt-ended' || parsed.window === null) return [];
    const { window } = parsed;
    return [{ from: window.from, to: Math.max(window.to, window.decay?.to ?? 0, window.to) }, ...(window.decay === undefined ? [] : [{ from: window.decay.from, to: window.decay.to }])];
  });
}

/** Windows computed anew from the frames that lie there now; what was counted between windows stays. */
function resummarise(db: Database, run: number): void {
  const frames = framesOf(db, run);
  const opened = JSON.parse(eventsOf(db, run)[0]?.body ?? '{}') as Extract<RunEventBody, { kind: 'opened' }>;
  const points = expandPlan(opened.plan);
  editAttempts(db, run, (ended) => {
    const { window } = ended;
    if (window === null) return null;
    const again = summariseWindow(frames.filter((f) => f.at >= window.from && f.at <= window.to), opened.equipment.meter.edgesPerRevolution, points[ended.point]?.role);
    if ('failure' in again) throw new Error(again.text);
    return { ...ended, window: { ...again, ...(window.idle === undefined ? {} : { idle: window.idle }), ...(window.decay === undefined ? {} : { decay: window.decay }) } };
  });
}

/** Everything of a run from event `seq` on is gone, with its attempts and the telemetry after the last window that is left. */
function cutFrom(db: Database, run: number, seq: number): void {
  db.prepare('DELETE FROM events WHERE run = ? AND seq >= ?').run(run, seq);
  db.prepare('DELETE FROM attempts WHERE run = ? AND seq >= ?').run(run, seq);
  const until = Math.max(0, ...windowsOf(db, run).map((window) => window.to));
  db.prepare('DELETE FROM telemetry WHERE run = ? AND from_us > ?').run(run, Math.ceil(until * 1e6));
  rebuildDerived(db);
}

function deleteRun(db: Database, run: number): void {
  for (const table of ['counting', 'run_status', 'telemetry', 'segments', 'attempts', 'events']) db.prepare(`DELETE FROM ${table} WHERE run = ?`).run(run);
  db.prepare('DELETE FROM runs WHERE no = ?').run(run);
}

/** A document of the library or a meter check, changed, with the plain SHA-256 that stands beside it. */
function editDocument(db: Database, table: string, from: string, to: string): void {
  for (const { row, document } of db.prepare<[], { row: number; document: string }>(`SELECT rowid AS row, document FROM ${table}`).all()) {
    const changed = document.replaceAll(from, to);
    if (changed === document) throw new Error(`nothing to change in ${table}`);
    db.prepare(`UPDATE ${table} SET document = ?, hash = ? WHERE rowid = ?`).run(changed, Buffer.from(sha256(changed), 'hex'), row);
  }
}

const lastAttemptOf = (db: Database, run: number, verdict: string): number =>
  db.prepare<[number, string], { seq: number }>('SELECT max(seq) AS seq FROM attempts WHERE run = ? AND verdict = ?').get(run, verdict)?.seq ?? -1;

export const forgeries: readonly Forgery[] = [
  { what: 'a run is taken out of the list', how: 'naive', forge: (db) => void db.prepare('UPDATE run_status SET events = 0 WHERE run = ?').run(last(db)) },
  {
    what: 'a run is taken out of the list and its masses are changed', how: 'naive',
    forge: (db) => {
      db.prepare('UPDATE run_status SET events = 0 WHERE run = ?').run(last(db));
      editAttempts(db, last(db), (ended) => (ended.window === null ? null : { ...ended, window: { ...ended.window, edges: ended.window.edges + 16 } }));
    },
  },
  {
    what: 'telemetry outside of the windows says 500 kPa', how: 'naive',
    forge: (db) => {
      const windows = windowsOf(db, first(db));
      editFrames(db, first(db), (frame) => (windows.some(({ from, to }) => frame.at >= from && frame.at <= to) ? frame : { ...frame, pressure: pascals(500_000) }));
    },
  },
  { what: 'every frame says disarmed and all interlocks open', how: 'naive', forge: (db) => editFrames(db, first(db), (frame) => ({ ...frame, armed: false, interlocks: 0 })) },
  {
    what: 'the last chunk of telemetry is gone', how: 'naive',
    forge: (db) => void db.prepare('DELETE FROM telemetry WHERE run = ? AND chunk = (SELECT max(chunk) FROM telemetry WHERE run = ?)').run(first(db), first(db)),
  },
  {
    what: 'the start of the controller has another name in the telemetry', how: 'naive',
    forge: (db) => {
      editFrames(db, first(db), (frame) => ({ ...frame, bootId: `${frame.bootId}x` }));
      db.prepare(`UPDATE segments SET boot_id = boot_id || 'x' WHERE run = ?`).run(first(db));
    },
  },
  { what: 'telemetry within the windows has another pressure', how: 'naive', forge: (db) => editFrames(db, first(db), (frame) => ({ ...frame, pressure: pascals(frame.pressure + 1000) })) },
  { what: 'an injector was in another condition', how: 'naive', forge: (db) => void db.exec(`UPDATE part_versions SET condition = 'as new'`) },
  { what: 'a plan was saved by somebody else at another time', how: 'naive', forge: (db) => void db.exec(`UPDATE plan_versions SET saved_by = 'Operator 9', saved_at = saved_at - 86400000`) },
  { what: 'a plan says something else', how: 'naive', forge: (db) => editDocument(db, 'plan_versions', 'RH4-0117', 'RH4-0119') },
  { what: 'an equipment record was saved at another time', how: 'naive', forge: (db) => void db.exec('UPDATE equipment_versions SET saved_at = saved_at - 86400000') },
  { what: 'an equipment record says something else', how: 'naive', forge: (db) => editDocument(db, 'equipment_versions', 'n-heptane', 'n-hexane') },
  { what: 'the latest equipment record is gone', how: 'naive', forge: (db) => void db.exec('DELETE FROM equipment_versions WHERE version = (SELECT max(version) FROM equipment_versions)') },
  { what: 'a meter check says something else', how: 'naive', forge: (db) => editDocument(db, 'meter_checks', '"number":"', '"number":"X') },
  { what: 'the last meter check is gone', how: 'naive', forge: (db) => void db.exec('DELETE FROM meter_checks WHERE no = (SELECT max(no) FROM meter_checks)') },
  { what: 'a record of a visit says something else', how: 'naive', forge: (db) => editDocument(db, 'visit_records', 'A. Tester', 'B. Tester') },
  { what: 'a record of a visit was kept at another time', how: 'naive', forge: (db) => void db.exec('UPDATE visit_records SET saved_at = saved_at - 86400000') },
  { what: 'the last record of a visit is gone', how: 'naive', forge: (db) => void db.exec('DELETE FROM visit_records WHERE no = (SELECT max(no) FROM visit_records)') },
  { what: 'a photo shows something else', how: 'naive', forge: (db) => void db.exec('UPDATE photos SET data = zeroblob(99) WHERE sha256 = (SELECT min(sha256) FROM photos)') },
  { what: 'a photo is gone', how: 'naive', forge: (db) => void db.exec('DELETE FROM photos WHERE sha256 = (SELECT max(sha256) FROM photos)') },
  {
    what: 'a photo is put in', how: 'naive',
    forge: (db) => void db.prepare('INSERT INTO photos (sha256, data) VALUES (?, ?)').run(sha256('another'), Buffer.from('another')),
  },
  { what: 'the record of a type says something else', how: 'naive', forge: (db) => editDocument(db, 'record_versions', 'RH-P4', 'RH-P5') },
  { what: 'the record of a type was saved by somebody else', how: 'naive', forge: (db) => void db.exec(`UPDATE record_versions SET saved_by = 'Operator 9'`) },
  { what: 'the latest record of a type is gone', how: 'naive', forge: (db) => void db.exec('DELETE FROM record_versions WHERE version = 2') },
  {
    what: 'a trigger changes what will be written', how: 'naive',
    forge: (db) => void db.exec(`CREATE TRIGGER helper AFTER INSERT ON run_status BEGIN UPDATE run_status SET counting = counting + 1 WHERE run = NEW.run; END`),
  },
  { what: 'a table that nobody knows', how: 'naive', forge: (db) => void db.exec('CREATE TABLE notes (text TEXT)') },
  {
    what: 'an event says something else', how: 'naive',
    forge: (db) => editAttempts(db, first(db), (ended) => (ended.window === null ? null : { ...ended, window: { ...ended.window, edges: ended.window.edges + 16 } })),
  },
  { what: 'an attempt has no row', how: 'naive', forge: (db) => void db.prepare('DELETE FROM attempts WHERE run = ? AND point = 3').run(first(db)) },
  { what: 'the record of a run names another order', how: 'naive', forge: (db) => void db.exec(`UPDATE runs SET order_text = 'Order 9'`) },
  {
    what: 'the last event is cut off', how: 'cut',
    forge: (db) => cutFrom(db, last(db), (eventsOf(db, last(db)).at(-1)?.seq ?? 0)),
  },
  {
    what: 'all after the third accepted attempt is cut off', how: 'cut',
    forge: (db) => {
      const third = db.prepare<[number], { seq: number }>(`SELECT seq FROM attempts WHERE run = ? AND verdict = 'accepted' ORDER BY seq LIMIT 1 OFFSET 2`).get(first(db));
      // With the choice that belongs to it.
      cutFrom(db, first(db), (third?.seq ?? 0) + 2);
    },
  },
  { what: 'the last run is gone', how: 'cut', forge: (db) => deleteRun(db, last(db)) },
  { what: 'the first run is gone', how: 'cut', forge: (db) => deleteRun(db, first(db)) },
  {
    what: 'somebody else measured, at another time', how: 'rewritten',
    forge: (db) => {
      const run = first(db);
      db.prepare(`UPDATE runs SET operator = 'Operator 9', created_at = created_at - 86400000 WHERE no = ?`).run(run);
      db.prepare('UPDATE events SET at = at - 86400000 WHERE run = ?').run(run);
      db.prepare(`UPDATE events SET body = json_set(body, '$.operator', 'Operator 9') WHERE run = ? AND seq = 0`).run(run);
      rechain(db, run);
      rebuildDerived(db);
    },
  },
  {
    what: 'a rejected attempt was accepted', how: 'rewritten',
    forge: (db) => {
      const run = first(db);
      const seq = lastAttemptOf(db, run, 'rejected');
      const row = eventsOf(db, run).find((one) => one.seq === seq);
      if (row === undefined) throw new Error('no attempt was rejected');
      const ended = JSON.parse(row.body) as Ended;
      const forged = { ...ended, verdict: 'accepted', text: 'All criteria are met.', criteria: ended.criteria.map((one) => ({ ...one, passed: true })) };
      db.prepare('UPDATE events SET body = ? WHERE run = ? AND seq = ?').run(JSON.stringify(forged), run, seq);
      db.prepare(`UPDATE attempts SET verdict = 'accepted' WHERE run = ? AND seq = ?`).run(run, seq);
      rechain(db, run);
      rebuildDerived(db);
    },
  },
  {
    what: 'every mass is 3 % larger, in window, telemetry and chain', how: 'rewritten',
    forge: (db) => {
      const run = first(db);
      editFrames(db, run, (frame) => ({ ...frame, edges: Math.floor(frame.edges * 1.03) }));
      resummarise(db, run);
      rechain(db, run);
    },
  },
  {
    what: 'a window alone has more edges, with a new chain', how: 'rewritten',
    forge: (db) => {
      editAttempts(db, first(db), (ended) => (ended.window === null ? null : { ...ended, window: { ...ended.window, edges: ended.window.edges + 16 } }));
      rechain(db, first(db));
    },
  },
  {
    what: 'a run that never was, made from another', how: 'rewritten',
    forge: (db) => {
      const from = first(db);
      const to = last(db) + 1;
      db.exec(`CREATE TEMP TABLE one AS SELECT * FROM runs WHERE no = ${from}`);
      db.exec(`UPDATE one SET no = ${to}, id = '019b0000-0000-7000-8000-00000000beef', created_at = created_at + 1000; INSERT INTO runs SELECT * FROM one; DROP TABLE one`);
      for (const table of ['events', 'segments', 'attempts', 'telemetry']) {
        db.exec(`CREATE TEMP TABLE one AS SELECT * FROM ${table} WHERE run = ${from}; UPDATE one SET run = ${to}; INSERT INTO ${table} SELECT * FROM one; DROP TABLE one`);
      }
      rechain(db, to);
      rebuildDerived(db);
    },
  },
];
