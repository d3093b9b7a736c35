/**
 * The shape of the archive file, as numbered steps. A step that has been released is never edited: a file of any older
 * version comes to the present one by the steps that it lacks, all in one transaction.
 *
 * The tables in words:
 * - `runs`: what a run was opened with. Never changed.
 * - `events`: the journal, hash-chained (chain.ts). Never changed. Plan and equipment lie in the `opened` event.
 * - `attempts`: one row for each `attempt-ended` event, with what lists ask for. Never changed.
 * - `segments`: one stretch of the controller's clock, which only goes forward inside it: a controller start, or part of
 *   one if a controller breaks the rule and comes back with an old boot id. Never changed.
 * - `telemetry`: frames in compressed chunks (telemetry-chunk.ts), numbered in the run without a gap. `from_us` and
 *   `to_us` are for the index: the controller clock rounded outward to whole microseconds. Never changed.
 * - `part_versions`, `plan_versions`, `equipment_versions`: what the lab keeps beside its runs (library.ts), each change a
 *   row with the next version number; documents with their SHA-256. Never changed.
 * - `meter_checks`: checks of flow meters as they were written down (meter-checks.ts), with their SHA-256. Never changed.
 * - `archive`: one row, the id of the archive. Never changed.
 * - `ledger`: one entry for each committed transaction, hash-chained over the whole archive (ledger.ts). Never changed. The column
 *   `entry` of other tables is the n of the entry that a row came with.
 * - `counting`, `run_status`: derived from the events in the same transaction (app/journal/outline.ts), so that a list of runs
 *   needs no fold. Rebuilt after a migration.
 */
import { chainHash, chainStart, documentHashes } from './chain.ts';
import { parseStored } from './read.ts';
import { takeOver } from './take-over.ts';
import type { Database } from './sqlite.ts';

/** "RHar": marks the file as an archive of this program (application id of the SQLite file header). */
export const applicationId = 0x52486172;

/** What an archive gets when it is made, or when it comes to the version that has a ledger. */
export interface Birth {
  /** Of the archive: UUID of version 7. */
  readonly id: string;
  /** Unix milliseconds. */
  readonly at: number;
}

export interface Migration {
  readonly version: number;
  readonly what: string;
  /** `from`: version of the file before the first of these steps, 0: a new file. */
  readonly apply: (db: Database, birth: Birth, from: number) => void;
}

const appendOnly = (table: string, verbs: readonly ('UPDATE' | 'DELETE')[] = ['UPDATE', 'DELETE']): string =>
  verbs
    .map(
      (verb) =>
        `CREATE TRIGGER ${table}_no_${verb.toLowerCase()} BEFORE ${verb} ON ${table} BEGIN SELECT RAISE(ABORT, '${table}: rows are never changed'); END;`,
    )
    .join('\n');

/** REPLACE removes the row that is in its way without asking the DELETE trigger, so that needs a guard of its own. */
const neverReplaced = (table: string, keys: readonly (readonly string[])[]): string =>
  keys
    .map((key, i) => {
      const same = key.map((column) => `${column} = NEW.${column}`).join(' AND ');
      return `CREATE TRIGGER ${table}_no_replace_${i + 1} BEFORE INSERT ON ${table} WHEN EXISTS (SELECT 1 FROM ${table} WHERE ${same}) BEGIN SELECT RAISE(ABORT, '${table}: rows are never changed'); END;`;
    })
    .join('\n');

const version1 = `
PRAGMA application_id = ${applicationId};
CREATE TABLE runs (
  no INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  created_at INTEGER NOT NULL,
  plan_name TEXT NOT NULL,
  order_text TEXT NOT NULL,
  operator TEXT NOT NULL,
  software TEXT NOT NULL
) STRICT;
CREATE TABLE events (
  run INTEGER NOT NULL REFERENCES runs (no),
  seq INTEGER NOT NULL CHECK (seq >= 0),
  at INTEGER NOT NULL,
  kind TEXT NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (run, seq)
) STRICT;
CREATE TABLE attempts (
  run INTEGER NOT NULL,
  point INTEGER NOT NULL CHECK (point >= 0),
  attempt INTEGER NOT NULL,
  seq INTEGER NOT NULL,
  verdict TEXT NOT NULL CHECK (verdict IN ('accepted', 'rejected', 'cut')),
  segment INTEGER,
  PRIMARY KEY (run, point, attempt),
  FOREIGN KEY (run, seq) REFERENCES events (run, seq) DEFERRABLE INITIALLY DEFERRED,
  FOREIGN KEY (run, segment) REFERENCES segments (run, segment) DEFERRABLE INITIALLY DEFERRED
) STRICT, WITHOUT ROWID;
CREATE TABLE segments (
  run INTEGER NOT NULL REFERENCES runs (no),
  segment INTEGER NOT NULL CHECK (segment >= 0),
  boot_id TEXT NOT NULL,
  PRIMARY KEY (run, segment)
) STRICT, WITHOUT ROWID;
CREATE TABLE telemetry (
  run INTEGER NOT NULL,
  chunk INTEGER NOT NULL CHECK (chunk >= 0),
  segment INTEGER NOT NULL,
  from_us INTEGER NOT NULL,
  to_us INTEGER NOT NULL CHECK (to_us >= from_us),
  last_frame INTEGER NOT NULL,
  frames INTEGER NOT NULL CHECK (frames > 0),
  data BLOB NOT NULL,
  PRIMARY KEY (run, chunk),
  FOREIGN KEY (run, segment) REFERENCES segments (run, segment)
) STRICT;
CREATE INDEX telemetry_by_time ON telemetry (run, segment, to_us);
${['runs', 'events', 'attempts', 'segments', 'telemetry'].map((table) => appendOnly(table)).join('\n')}
`;

const version2Before = `
DROP TRIGGER runs_no_update;
ALTER TABLE runs ADD COLUMN plan_hash TEXT NOT NULL DEFAULT '';
ALTER TABLE runs ADD COLUMN equipment_hash TEXT NOT NULL DEFAULT '';
CREATE INDEX runs_by_time ON runs (created_at, id);
CREATE TABLE chained_events (
  run INTEGER NOT NULL REFERENCES runs (no),
  seq INTEGER NOT NULL CHECK (seq >= 0),
  at INTEGER NOT NULL,
  kind TEXT NOT NULL,
  body TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32),
  PRIMARY KEY (run, seq)
) STRICT;
`;

const version2After = `
DROP TABLE events;
ALTER TABLE chained_events RENAME TO events;
CREATE TABLE counting (
  run INTEGER NOT NULL,
  point INTEGER NOT NULL,
  attempt INTEGER NOT NULL,
  PRIMARY KEY (run, point),
  FOREIGN KEY (run, point, attempt) REFERENCES attempts (run, point, attempt) DEFERRABLE INITIALLY DEFERRED
) STRICT, WITHOUT ROWID;
CREATE TABLE run_status (
  run INTEGER PRIMARY KEY REFERENCES runs (no),
  events INTEGER NOT NULL,
  last_at INTEGER,
  points INTEGER NOT NULL,
  attempts INTEGER NOT NULL,
  counting INTEGER NOT NULL,
  ending TEXT,
  search TEXT NOT NULL
) STRICT;
${appendOnly('runs', ['UPDATE'])}
${appendOnly('events')}
${neverReplaced('runs', [['no'], ['id']])}
${neverReplaced('events', [['run', 'seq']])}
${neverReplaced('attempts', [['run', 'point', 'attempt']])}
${neverReplaced('segments', [['run', 'segment']])}
${neverReplaced('telemetry', [['run', 'chunk']])}
`;

const version3 = `
CREATE TABLE part_versions (
  part TEXT NOT NULL,
  version INTEGER NOT NULL CHECK (version >= 1),
  saved_at INTEGER NOT NULL,
  order_text TEXT NOT NULL,
  type TEXT NOT NULL,
  serial_number TEXT NOT NULL,
  coil_resistance_ohm REAL CHECK (coil_resistance_ohm > 0),
  condition TEXT NOT NULL,
  channel INTEGER CHECK (channel >= 1),
  PRIMARY KEY (part, version)
) STRICT, WITHOUT ROWID;
CREATE TABLE plan_versions (
  plan TEXT NOT NULL,
  version INTEGER NOT NULL CHECK (version >= 1),
  name TEXT NOT NULL,
  saved_at INTEGER NOT NULL,
  saved_by TEXT NOT NULL,
  document TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32),
  PRIMARY KEY (plan, version)
) STRICT;
CREATE TABLE equipment_versions (
  version INTEGER PRIMARY KEY CHECK (version >= 1),
  saved_at INTEGER NOT NULL,
  document TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;
${['part_versions', 'plan_versions', 'equipment_versions'].map((table) => appendOnly(table)).join('\n')}
${neverReplaced('part_versions', [['part', 'version']])}
${neverReplaced('plan_versions', [['plan', 'version']])}
${neverReplaced('equipment_versions', [['version']])}
`;

const version4 = `
CREATE TABLE meter_checks (
  no INTEGER PRIMARY KEY CHECK (no >= 1),
  saved_at INTEGER NOT NULL,
  document TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;
${appendOnly('meter_checks')}
${neverReplaced('meter_checks', [['no']])}
`;

const version5 = `
CREATE TABLE archive (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  id TEXT NOT NULL
) STRICT;
CREATE TABLE ledger (
  n INTEGER PRIMARY KEY CHECK (n >= 1),
  text TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;
ALTER TABLE runs ADD COLUMN simulated INTEGER CHECK (simulated IN (0, 1));
ALTER TABLE part_versions ADD COLUMN entry INTEGER NOT NULL DEFAULT 0;
ALTER TABLE plan_versions ADD COLUMN entry INTEGER NOT NULL DEFAULT 0;
ALTER TABLE equipment_versions ADD COLUMN entry INTEGER NOT NULL DEFAULT 0;
${['archive', 'ledger'].map((table) => appendOnly(table)).join('\n')}
${neverReplaced('archive', [['one']])}
${neverReplaced('ledger', [['n']])}
`;

const version6 = `
CREATE TABLE visit_records (
  no INTEGER PRIMARY KEY CHECK (no >= 1),
  saved_at INTEGER NOT NULL,
  serial_number TEXT NOT NULL,
  document TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;
CREATE INDEX visit_records_of ON visit_records (serial_number, no);
CREATE TABLE photos (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  data BLOB NOT NULL
) STRICT;
${['visit_records', 'photos'].map((table) => appendOnly(table)).join('\n')}
${neverReplaced('visit_records', [['no']])}
${neverReplaced('photos', [['sha256']])}
`;

const version7 = `
CREATE TABLE record_versions (
  kind TEXT NOT NULL,
  name TEXT NOT NULL,
  version INTEGER NOT NULL CHECK (version >= 1),
  saved_at INTEGER NOT NULL,
  saved_by TEXT NOT NULL,
  document TEXT NOT NULL,
  hash BLOB NOT NULL CHECK (length(hash) = 32),
  entry INTEGER NOT NULL,
  PRIMARY KEY (kind, name, version)
) STRICT;
${appendOnly('record_versions')}
${neverReplaced('record_versions', [['kind', 'name', 'version']])}
`;

const versioned = ['part_versions', 'plan_versions', 'equipment_versions'];

/** Everything that lies there is entered as it stands on the day of the migration. */
function enterAll(db: Database, birth: Birth, from: number): void {
  db.exec(version5);
  db.prepare('INSERT INTO archive (one, id) VALUES (1, ?)').run(birth.id);
  for (const table of versioned) db.exec(`DROP TRIGGER ${table}_no_update`);
  takeOver(db, birth.at, from);
  for (const table of versioned) db.exec(appendOnly(table, ['UPDATE']));
}

interface RunRow1 {
  readonly no: number;
  readonly id: string;
  readonly created_at: number;
  readonly plan_name: string;
  readonly order_text: string;
  readonly operator: string;
  readonly software: string;
}

/** Chains the events of a version 1 file: from here on they are held fast as they stood on the day of the migration. */
function chainVersion1(db: Database): void {
  const opened = db.prepare<[number], { body: string }>(
    `SELECT body FROM events WHERE run = ? AND kind = 'opened' ORDER BY seq LIMIT 1`,
  );
  const events = db.prepare<[number], { seq: number; at: number; kind: string; body: string }>(
    'SELECT seq, at, kind, body FROM events WHERE run = ? ORDER BY seq',
  );
  const setHashes = db.prepare('UPDATE runs SET plan_hash = ?, equipment_hash = ? WHERE no = ?');
  const put = db.prepare('INSERT INTO chained_events (run, seq, at, kind, body, hash) VALUES (?, ?, ?, ?, ?, ?)');
  for (const run of db.prepare<[], RunRow1>('SELECT * FROM runs ORDER BY no').all()) {
    const first = opened.get(run.no);
    // As they were stored, and not as they are read today: the hashes hold them fast.
    const { planHash, equipmentHash } = documentHashes(first === undefined ? null : parseStored(first.body, `The opening of run ${run.id}`));
    setHashes.run(planHash, equipmentHash, run.no);
    let head = chainStart({
      id: run.id,
      createdAt: run.created_at,
      planName: run.plan_name,
      order: run.order_text,
      operator: run.operator,
      software: run.software,
      planHash,
      equipmentHash,
    });
    // The connection allows no write while a read is open: the events of one run are taken in whole.
    for (const event of events.all(run.no)) {
      head = chainHash(head, event.seq, event.at, event.body);
      put.run(run.no, event.seq, event.at, event.kind, event.body, Buffer.from(head, 'hex'));
    }
  }
}

export const migrations: readonly Migration[] = [
  { version: 1, what: 'runs, events, attempts and telemetry', apply: (db) => void db.exec(version1) },
  {
    version: 2,
    what: 'hash chain over the events; status of each run for the list; rows cannot be replaced',
    apply: (db) => {
      db.exec(version2Before);
      chainVersion1(db);
      db.exec(version2After);
    },
  },
  { version: 3, what: 'injectors, plans and equipment records, each in versions', apply: (db) => void db.exec(version3) },
  { version: 4, what: 'checks of flow meters', apply: (db) => void db.exec(version4) },
  { version: 5, what: 'archive id and ledger; runs say whether the bench was simulated', apply: enterAll },
  { version: 6, what: 'records of visits of injectors, with photos', apply: (db) => void db.exec(version6) },
  { version: 7, what: 'records of types of injectors and qualifications of benches, each in versions', apply: (db) => void db.exec(version7) },
];

/** The version that this program reads and writes. */
export const currentVersion = migrations.length;

/**
 * Brings a file from `version` (0: empty) to the present version, or throws and leaves it as it was. `rebuild` makes
 * the derived tables again. Foreign keys are off while tables are rebuilt, as SQLite asks (ALTER TABLE, section 7), and
 * checked before the transaction ends.
 */
export function migrate(db: Database, version: number, birth: Birth, rebuild: (db: Database) => void): void {
  db.pragma('foreign_keys = OFF');
  try {
    db.transaction(() => {
      for (const step of migrations) {
        if (step.version > version) step.apply(db, birth, version);
      }
      rebuild(db);
      const broken = db.pragma('foreign_key_check') as unknown[];
      if (broken.length > 0) throw new Error(`the migrated archive would hold ${broken.length} rows without their parent`);
      db.pragma(`user_version = ${currentVersion}`);
    }).immediate();
  } finally {
    db.pragma('foreign_keys = ON');
  }
}
