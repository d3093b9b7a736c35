/**
 * Enters what an archive without a ledger holds (migration 5): from then on it is bound as it stood on that day. What was done to it
 * before cannot be told. Rows are read by pages, because the connection allows no write while a read is open.
 */
import { chainStart, recordOf, type RunRecordRow } from './chain.ts';
import { dataHash, Ledger } from './ledger.ts';
import { equipmentHash, partHash, planHash, type EquipmentRow, type PartRow, type StoredPlanRow } from './library.ts';
import { meterCheckHash } from './meter-checks.ts';
import type { Database } from './sqlite.ts';

/** Rows that one entry names at most. */
const perEntry = 500;

/** `at`: Unix milliseconds; `from`: version of the file that is taken over, 0: a new file. */
export function takeOver(db: Database, at: number, from: number): void {
  const ledger = new Ledger(db);
  ledger.enter({ kind: 'begun', at, from });
  takeOverLibrary(db, ledger);
  for (const run of db.prepare<[], RunRecordRow>('SELECT * FROM runs ORDER BY no').all()) takeOverRun(db, ledger, run);
}

function takeOverLibrary(db: Database, ledger: Ledger): void {
  /** n of the entry of the latest version of each thing. */
  const latest = new Map<string, number>();
  const set = (table: string, key: string) => db.prepare(`UPDATE ${table} SET entry = ? WHERE ${key} = ? AND version = ?`);
  const setPart = set('part_versions', 'part');
  for (const row of db.prepare<[], PartRow>('SELECT * FROM part_versions ORDER BY part, version').all()) {
    const entry = ledger.enter({ kind: 'parts', rows: [{ part: row.part, version: row.version, parent: latest.get(`part ${row.part}`) ?? null, row: partHash(row) }] });
    setPart.run(entry, row.part, row.version);
    latest.set(`part ${row.part}`, entry);
  }
  const setPlan = set('plan_versions', 'plan');
  for (const row of db.prepare<[], StoredPlanRow & { document: string }>('SELECT * FROM plan_versions ORDER BY plan, version').all()) {
    const entry = ledger.enter({ kind: 'plan', plan: row.plan, version: row.version, parent: latest.get(`plan ${row.plan}`) ?? null, row: planHash(row) });
    setPlan.run(entry, row.plan, row.version);
    latest.set(`plan ${row.plan}`, entry);
  }
  const setEquipment = db.prepare('UPDATE equipment_versions SET entry = ? WHERE version = ?');
  for (const row of db.prepare<[], EquipmentRow>('SELECT * FROM equipment_versions ORDER BY version').all()) {
    const entry = ledger.enter({ kind: 'equipment', version: row.version, parent: latest.get('equipment') ?? null, row: equipmentHash(row) });
    setEquipment.run(entry, row.version);
    latest.set('equipment', entry);
  }
  for (const row of db.prepare<[], { no: number; saved_at: number; document: string }>('SELECT no, saved_at, document FROM meter_checks ORDER BY no').all()) {
    ledger.enter({ kind: 'meter-check', no: row.no, row: meterCheckHash(row) });
  }
}

/** Chunks and attempts in as many entries as they need; the journal with the last, so that this one names the run's head. */
function takeOverRun(db: Database, ledger: Ledger, run: RunRecordRow): void {
  const record = chainStart(recordOf(run));
  ledger.enter({ kind: 'run', run: run.id, record, simulated: null });
  const events = db.prepare<[number], { n: number }>('SELECT count(*) AS n FROM events WHERE run = ?').get(run.no)?.n ?? 0;
  const head = db.prepare<[number], { hash: Buffer }>('SELECT hash FROM events WHERE run = ? ORDER BY seq DESC LIMIT 1').get(run.no);
  const segments = db.prepare<[number], { segment: number; boot_id: string }>('SELECT segment, boot_id FROM segments WHERE run = ? ORDER BY segment').all(run.no);
  const attempts = db.prepare<[number], { seq: number; segment: number | null }>('SELECT seq, segment FROM attempts WHERE run = ? ORDER BY seq').all(run.no);
  const page = db.prepare<[number, number], { chunk: number; segment: number; data: Buffer }>(
    `SELECT chunk, segment, data FROM telemetry WHERE run = ? AND chunk > ? ORDER BY chunk LIMIT ${perEntry}`,
  );
  let lastChunk = -1;
  for (let block = 0, more = true; more; block += 1) {
    const chunks = page.all(run.no, lastChunk);
    lastChunk = chunks.at(-1)?.chunk ?? lastChunk;
    more = chunks.length === perEntry || (block + 1) * perEntry < attempts.length;
    ledger.enter({
      kind: 'events', run: run.id, seq: 0, events: more ? 0 : events, head: more || head === undefined ? record : head.hash.toString('hex'),
      ...(block === 0 ? { segments: segments.map((row): [number, string] => [row.segment, row.boot_id]) } : {}),
      chunks: chunks.map((row): [number, number, string] => [row.chunk, row.segment, dataHash(row.data)]),
      attempts: attempts.slice(block * perEntry, (block + 1) * perEntry).map((row): [number, number | null] => [row.seq, row.segment]),
    });
  }
}
