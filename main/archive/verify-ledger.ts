/** Holds the ledger against every row of every table, and every row against the ledger. ARC-6, ARC-7, ARC-9. */
import { chainStart, recordOf, type RunRecordRow } from './chain.ts';
import { Findings, type ArchiveCheck } from './findings.ts';
import { dataHash, entryHash, entryOf, headText, ledgerStart, type Entry, type Head, type Ledger } from './ledger.ts';
import { equipmentHash, partHash, planHash, type EquipmentRow, type PartRow, type StoredPlanRow } from './library.ts';
import { GrowingTree, leafHash } from './merkle.ts';
import { meterCheckHash } from './meter-checks.ts';
import { recordHash, type RecordRow } from './records.ts';
import type { Database } from './sqlite.ts';
import { visitHash } from './visits.ts';

interface RunRow extends RunRecordRow {
  readonly simulated: number | null;
}

/** What the entries so far say of a run. */
interface EnteredRun {
  readonly row: RunRow;
  head: string;
  events: number;
  chunks: number;
  readonly segments: Map<number, string>;
  readonly attempts: Map<number, number | null>;
}

function statements(db: Database) {
  return {
    runs: db.prepare<[], RunRow>('SELECT * FROM runs'),
    event: db.prepare<[number, number], { hash: Buffer }>('SELECT hash FROM events WHERE run = ? AND seq = ?'),
    chunk: db.prepare<[number, number], { segment: number; data: Buffer }>('SELECT segment, data FROM telemetry WHERE run = ? AND chunk = ?'),
    events: db.prepare<[number], { n: number }>('SELECT count(*) AS n FROM events WHERE run = ?'),
    chunks: db.prepare<[number], { n: number }>('SELECT count(*) AS n FROM telemetry WHERE run = ?'),
    segments: db.prepare<[number], { segment: number; boot_id: string }>('SELECT segment, boot_id FROM segments WHERE run = ?'),
    attempts: db.prepare<[number], { seq: number; segment: number | null }>('SELECT seq, segment FROM attempts WHERE run = ?'),
    part: db.prepare<[string, number], PartRow>('SELECT * FROM part_versions WHERE part = ? AND version = ?'),
    plan: db.prepare<[string, number], StoredPlanRow & { document: string }>('SELECT * FROM plan_versions WHERE plan = ? AND version = ?'),
    equipment: db.prepare<[number], EquipmentRow>('SELECT * FROM equipment_versions WHERE version = ?'),
    meterCheck: db.prepare<[number], { no: number; saved_at: number; document: string }>('SELECT no, saved_at, document FROM meter_checks WHERE no = ?'),
    visit: db.prepare<[number], { no: number; saved_at: number; serial_number: string; document: string }>('SELECT no, saved_at, serial_number, document FROM visit_records WHERE no = ?'),
    photo: db.prepare<[string], { data: Buffer }>('SELECT data FROM photos WHERE sha256 = ?'),
    record: db.prepare<[string, string, number], RecordRow>('SELECT * FROM record_versions WHERE kind = ? AND name = ? AND version = ?'),
  };
}

const versionTables = [
  { kind: 'part', what: 'injectors', table: 'part_versions' },
  { kind: 'plan', what: 'plans', table: 'plan_versions' },
  { kind: 'equipment', what: 'equipment records', table: 'equipment_versions' },
  { kind: 'meter check', what: 'meter checks', table: 'meter_checks' },
  { kind: 'visit', what: 'visit records', table: 'visit_records' },
  { kind: 'photo', what: 'photos', table: 'photos' },
  { kind: 'record', what: 'records', table: 'record_versions' },
] as const;

/** What has a number and no versions, as it is called. */
const numbered: Readonly<Record<string, string>> = { 'meter check': 'Meter check', visit: 'Visit record' };

class EnteredContents {
  readonly #db: Database;
  readonly #sql: ReturnType<typeof statements>;
  readonly #found: Findings;
  readonly #rows: ReadonlyMap<string, RunRow>;
  readonly #runs = new Map<string, EnteredRun>();
  /** n of the entry of each version, by kind, thing and number. */
  readonly #versions = new Map<string, number>();
  readonly #counts = new Map<string, number>();

  constructor(db: Database, found: Findings) {
    this.#db = db;
    this.#sql = statements(db);
    this.#found = found;
    this.#rows = new Map(this.#sql.runs.all().map((row) => [row.id, row]));
  }

  take(n: number, entry: Entry): void {
    switch (entry.kind) {
      case 'begun':
        if (n !== 1) this.#found.fail(`Entry ${n} of the ledger says that the archive begins there.`);
        break;
      case 'run':
        this.#takeRun(n, entry);
        break;
      case 'events':
        this.#takeEvents(n, entry);
        break;
      case 'parts':
        for (const { part, version, parent, row } of entry.rows) {
          const stored = this.#sql.part.get(part, version);
          this.#takeVersion(n, 'part', part, version, parent, row, stored === undefined ? null : { hash: partHash(stored), entry: stored.entry });
        }
        break;
      case 'plan': {
        const stored = this.#sql.plan.get(entry.plan, entry.version);
        this.#takeVersion(n, 'plan', entry.plan, entry.version, entry.parent, entry.row, stored === undefined ? null : { hash: planHash(stored), entry: stored.entry });
        break;
      }
      case 'equipment': {
        const stored = this.#sql.equipment.get(entry.version);
        this.#takeVersion(n, 'equipment', '', entry.version, entry.parent, entry.row, stored === undefined ? null : { hash: equipmentHash(stored), entry: stored.entry });
        break;
      }
      case 'meter-check': {
        const stored = this.#sql.meterCheck.get(entry.no);
        this.#takeVersion(n, 'meter check', '', entry.no, null, entry.row, stored === undefined ? null : { hash: meterCheckHash(stored), entry: n });
        break;
      }
      case 'visit': {
        const stored = this.#sql.visit.get(entry.no);
        this.#takeVersion(n, 'visit', '', entry.no, null, entry.row, stored === undefined ? null : { hash: visitHash(stored), entry: n });
        for (const hash of entry.photos ?? []) this.#takePhoto(n, hash);
        break;
      }
      case 'record': {
        const stored = this.#sql.record.get(entry.of, entry.name, entry.version);
        this.#takeVersion(n, 'record', `${entry.of} ${entry.name}`, entry.version, entry.parent, entry.row, stored === undefined ? null : { hash: recordHash(stored), entry: stored.entry });
        break;
      }
    }
  }

  #takeRun(n: number, entry: Extract<Entry, { kind: 'run' }>): void {
    const row = this.#rows.get(entry.run);
    if (row === undefined) {
      this.#found.fail(`Run ${entry.run} is in the ledger (entry ${n}) but not in the archive.`);
      return;
    }
    const simulated = row.simulated === null ? null : row.simulated === 1;
    this.#found.expect(entry.record === chainStart(recordOf(row)) && entry.simulated === simulated, () => `The record of run ${entry.run} is not what was entered (entry ${n}).`);
    if (this.#runs.has(entry.run)) this.#found.fail(`Run ${entry.run} is entered twice.`);
    this.#runs.set(entry.run, { row, head: entry.record, events: 0, chunks: 0, segments: new Map(), attempts: new Map() });
  }

  #takeEvents(n: number, entry: Extract<Entry, { kind: 'events' }>): void {
    const run = this.#runs.get(entry.run);
    if (run === undefined) {
      // The run that is gone was named already; one whose record was never entered was not.
      if (this.#rows.has(entry.run)) this.#found.fail(`Entry ${n} of the ledger goes on with run ${entry.run} before that run was entered.`);
      return;
    }
    const { no } = run.row;
    if (entry.seq !== run.events) this.#found.fail(`Entry ${n} of the ledger goes on with run ${entry.run} at event ${entry.seq} instead of ${run.events}.`);
    run.events = entry.seq + entry.events;
    const head = entry.events === 0 ? run.head : this.#sql.event.get(no, run.events - 1)?.hash.toString('hex');
    this.#found.expect(entry.head === head, () => `The journal of run ${entry.run} up to event ${run.events - 1} is not what was entered (entry ${n}).`);
    run.head = entry.head;
    for (const [segment, bootId] of entry.segments ?? []) run.segments.set(segment, bootId);
    for (const [seq, segment] of entry.attempts ?? []) run.attempts.set(seq, segment);
    for (const [chunk, segment, hash] of entry.chunks ?? []) {
      if (chunk !== run.chunks) this.#found.fail(`Entry ${n} of the ledger goes on with telemetry chunk ${chunk} of run ${entry.run} instead of ${run.chunks}.`);
      run.chunks = chunk + 1;
      const stored = this.#sql.chunk.get(no, chunk);
      const same = stored !== undefined && stored.segment === segment && dataHash(stored.data) === hash;
      this.#found.expect(same, () => `Telemetry chunk ${chunk} of run ${entry.run} is missing or not what was entered (entry ${n}).`);
    }
  }

  #takeVersion(n: number, kind: string, thing: string, version: number, parent: number | null, hash: string, stored: { readonly hash: string; readonly entry: number } | null): void {
    const what = `Version ${version} of ${kind}${thing === '' ? '' : ` ${thing}`}`;
    const name = kind in numbered ? `${numbered[kind] ?? ''} ${version}` : what;
    this.#found.expect(stored?.hash === hash && stored.entry === n, () => `${name} is missing or not what was entered (entry ${n}).`);
    const before = kind in numbered ? null : (this.#versions.get(`${kind} ${thing} ${version - 1}`) ?? null);
    if (parent !== before) this.#found.fail(`${name} was entered as if it followed another version (entry ${n}).`);
    const key = `${kind} ${thing} ${version}`;
    if (this.#versions.has(key)) this.#found.fail(`${name} is entered twice.`);
    else this.#counts.set(kind, (this.#counts.get(kind) ?? 0) + 1);
    this.#versions.set(key, n);
  }

  #takePhoto(n: number, hash: string): void {
    const stored = this.#sql.photo.get(hash);
    this.#found.expect(stored !== undefined && dataHash(stored.data) === hash, () => `The photo ${hash} is missing or not what was entered (entry ${n}).`);
    this.#counts.set('photo', (this.#counts.get('photo') ?? 0) + 1);
  }

  /** Whatever lies in a table and was never entered. */
  leftOver(): void {
    for (const [id, row] of this.#rows) {
      const run = this.#runs.get(id);
      if (run === undefined) {
        this.#found.fail(`Run ${id} lies in the archive but was never entered.`);
        continue;
      }
      const count = (what: string, stored: number, entered: number): boolean =>
        this.#found.expect(stored === entered, () => `Run ${id} has ${stored} ${what}, but ${entered} were entered.`);
      count('events', this.#sql.events.get(row.no)?.n ?? 0, run.events);
      count('telemetry chunks', this.#sql.chunks.get(row.no)?.n ?? 0, run.chunks);
      const segments = this.#sql.segments.all(row.no);
      if (count('stretches of the controller clock', segments.length, run.segments.size)) {
        const same = segments.every((one) => run.segments.get(one.segment) === one.boot_id);
        this.#found.expect(same, () => `The starts of the controller in run ${id} are not those that were entered.`);
      }
      const attempts = this.#sql.attempts.all(row.no);
      if (count('ended attempts', attempts.length, run.attempts.size)) {
        const same = attempts.every((one) => run.attempts.get(one.seq) === one.segment);
        this.#found.expect(same, () => `The attempts of run ${id} are not those that were entered.`);
      }
    }
    for (const { kind, what, table } of versionTables) {
      const stored = this.#db.prepare<[], { n: number }>(`SELECT count(*) AS n FROM ${table}`).get()?.n ?? 0;
      const entered = this.#counts.get(kind) ?? 0;
      this.#found.expect(stored === entered, () => `The archive holds ${stored} versions of ${what}, but ${entered} were entered.`);
    }
  }
}

/** `expected`: heads that must lie in this history. */
export function* checkLedger(db: Database, ledger: Ledger, expected: readonly Head[]): Generator<undefined, { readonly checks: readonly ArchiveCheck[]; readonly archiveId: string | null; readonly head: Head }> {
  const chain = new Findings('ledger', (asked) => `Nothing was changed, removed or put in between the ${asked} entries of the ledger.`);
  const contents = new Findings('entered', () => 'Every row of every table was entered in the ledger and is what was entered, and every entry has its rows.');
  const heads = new Findings('heads', (asked) => `The history of this archive goes through each of ${asked} heads that were kept elsewhere.`);
  const ids = db.prepare<[], { id: string }>('SELECT id FROM archive').all();
  const archiveId = ids[0]?.id ?? null;
  if (ids.length !== 1 || archiveId === null) chain.fail('The archive has no id, or more than one.');
  let previous = ledgerStart(archiveId ?? '');
  let next = 1;
  const tree = new GrowingTree();
  const rootAt = new Map(expected.map(({ n }): [number, string | null] => [n, null]));
  const entered = new EnteredContents(db, contents);
  for (const { n, text, hash } of ledger.entries()) {
    yield;
    if (n !== next) chain.fail(`The ledger has no entry ${next}.`);
    next = n + 1;
    const stored = hash.toString('hex');
    chain.expect(entryHash(previous, n, text) === stored, () => `Entry ${n} of the ledger is not what was written: its hash does not fit.`);
    // Go on from the stored hash, so that one changed entry is named and not all after it.
    previous = stored;
    tree.add(leafHash(hash));
    if (rootAt.has(tree.size)) rootAt.set(tree.size, tree.root().toString('hex'));
    const entry = entryOf(text);
    if (n === 1 && entry?.kind !== 'begun') chain.fail('The first entry of the ledger does not say how the archive began.');
    if (entry === null) chain.fail(`Entry ${n} of the ledger cannot be read.`);
    else entered.take(n, entry);
  }
  entered.leftOver();
  for (const head of expected) {
    heads.expect(rootAt.get(head.n) === head.hash, () =>
      head.n > tree.size
        ? `The head ${headText(head)} does not lie in the history of this archive: the ledger has only ${tree.size} entries. The end was cut off, or an earlier copy was put in its place, or the head is of another archive.`
        : `The head ${headText(head)} does not lie in the history of this archive: up to entry ${head.n} it says something else. It was rewritten, or the head is of another archive.`,
    );
  }
  return {
    checks: [chain.done(), contents.done(), ...(expected.length === 0 ? [] : [heads.done()])],
    archiveId,
    head: { n: tree.size, hash: tree.root().toString('hex') },
  };
}
