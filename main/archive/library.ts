/**
 * What the lab keeps beside its runs: injectors taken in, plans and equipment records. Every change is a new version; an
 * earlier one never changes, so what somebody saw or signed on a day can be shown again.
 */
import { V7Generator } from 'uuidv7';
import { unixMillis, type UnixMillis } from '../../app/quantities/quantity.ts';
import type { Entropy } from '../clock/entropy.ts';
import { sha256 } from './chain.ts';
import { rowHash, type Entry, type Ledger } from './ledger.ts';
import { ArchiveUnreadable } from './read.ts';
import { KeepingRefused, type Saved, type Shelf } from './shelf.ts';
import type { Database } from './sqlite.ts';

/** An injector that was taken in. */
export interface StoredPart {
  readonly id: string;
  readonly order: string;
  readonly type: string;
  readonly serialNumber: string;
  readonly coilResistanceOhm: number | null;
  readonly condition: string;
  /** Driver channel and place on the rail; null: not mounted. */
  readonly channel: number | null;
}

/** `id` absent: a new one. */
export type PartToSave = Omit<StoredPart, 'id'> & { readonly id?: string | undefined };

export interface PlanVersion {
  readonly id: string;
  readonly version: number;
  readonly name: string;
  readonly savedAt: UnixMillis;
  readonly savedBy: string;
}

export interface EquipmentVersion {
  /** From 1, without a gap, over the records of all benches of the archive. */
  readonly version: number;
  readonly savedAt: UnixMillis;
  /** As it was saved. */
  readonly document: unknown;
}

export interface PlanToSave {
  /** null: a new plan. */
  readonly id: string | null;
  readonly name: string;
  readonly document: unknown;
  readonly by: string;
}

export interface PartRow {
  readonly part: string;
  readonly version: number;
  readonly saved_at: number;
  readonly order_text: string;
  readonly type: string;
  readonly serial_number: string;
  readonly coil_resistance_ohm: number | null;
  readonly condition: string;
  readonly channel: number | null;
  readonly entry: number;
}

type PartsEntered = Extract<Entry, { kind: 'parts' }>['rows'];

export interface StoredPlanRow {
  readonly plan: string;
  readonly version: number;
  readonly name: string;
  readonly saved_at: number;
  readonly saved_by: string;
  readonly entry: number;
}

export interface EquipmentRow {
  readonly version: number;
  readonly saved_at: number;
  readonly document: string;
  readonly entry: number;
}

/** What the ledger binds of a row: all of it but the n of its entry. */
export const partHash = (row: Omit<PartRow, 'entry'>): string =>
  rowHash('part', row.part, row.version, row.saved_at, row.order_text, row.type, row.serial_number, row.coil_resistance_ohm, row.condition, row.channel);
export const planHash = (row: Omit<StoredPlanRow, 'entry'> & { readonly document: string }): string =>
  rowHash('plan', row.plan, row.version, row.name, row.saved_at, row.saved_by, row.document);
export const equipmentHash = (row: Omit<EquipmentRow, 'entry'>): string => rowHash('equipment', row.version, row.saved_at, row.document);

const partFromRow = (row: PartRow): StoredPart => ({
  id: row.part,
  order: row.order_text,
  type: row.type,
  serialNumber: row.serial_number,
  coilResistanceOhm: row.coil_resistance_ohm,
  condition: row.condition,
  channel: row.channel,
});

const planFromRow = (row: StoredPlanRow): PlanVersion => ({
  id: row.plan,
  version: row.version,
  name: row.name,
  savedAt: unixMillis(row.saved_at),
  savedBy: row.saved_by,
});

/** Whether an injector has been withdrawn (withdrawals.ts): what the latest record of it says. */
const isWithdrawn = `coalesce((SELECT json_extract(document, '$.withdrawn') FROM record_versions WHERE kind = 'withdrawal' AND name = p.part ORDER BY version DESC LIMIT 1), 0)`;
const latestParts = (withdrawn: 0 | 1): string => `SELECT part, version, saved_at, order_text, type, serial_number, coil_resistance_ohm, condition, channel, entry FROM part_versions p
  WHERE version = (SELECT max(version) FROM part_versions WHERE part = p.part) AND ${isWithdrawn} = ${withdrawn} ORDER BY part`;
const planColumns = 'plan, version, name, saved_at, saved_by, entry';

function statements(db: Database) {
  return {
    parts: db.prepare<[], PartRow>(latestParts(0)),
    withdrawnParts: db.prepare<[], PartRow>(latestParts(1)),
    partHistory: db.prepare<[string], PartRow>(
      'SELECT part, version, saved_at, order_text, type, serial_number, coil_resistance_ohm, condition, channel, entry FROM part_versions WHERE serial_number = ? ORDER BY saved_at, part, version',
    ),
    putPart: db.prepare(
      `INSERT INTO part_versions (part, version, saved_at, order_text, type, serial_number, coil_resistance_ohm, condition, channel, entry)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    plans: db.prepare<[], StoredPlanRow>(
      `SELECT ${planColumns} FROM plan_versions p WHERE version = (SELECT max(version) FROM plan_versions WHERE plan = p.plan)
       ORDER BY saved_at DESC, plan DESC`,
    ),
    planVersions: db.prepare<[string], StoredPlanRow>(`SELECT ${planColumns} FROM plan_versions WHERE plan = ? ORDER BY version DESC`),
    plan: db.prepare<[string, number], StoredPlanRow & { document: string; hash: Buffer }>(
      `SELECT ${planColumns}, document, hash FROM plan_versions WHERE plan = ? AND version = ?`,
    ),
    lastPlanVersion: db.prepare<[string], { version: number; entry: number }>('SELECT version, entry FROM plan_versions WHERE plan = ? ORDER BY version DESC LIMIT 1'),
    putPlan: db.prepare('INSERT INTO plan_versions (plan, version, name, saved_at, saved_by, document, hash, entry) VALUES (?, ?, ?, ?, ?, ?, ?, ?)'),
    equipment: db.prepare<[], EquipmentRow & { hash: Buffer }>(
      'SELECT version, saved_at, document, hash, entry FROM equipment_versions ORDER BY version DESC LIMIT 1',
    ),
    equipmentOf: db.prepare<[string, string], EquipmentRow & { hash: Buffer }>(
      `SELECT version, saved_at, document, hash, entry FROM equipment_versions
       WHERE json_extract(document, '$.controller.model') = ? AND json_extract(document, '$.controller.serialNumber') = ? ORDER BY version DESC LIMIT 1`,
    ),
    equipmentVersions: db.prepare<[number], EquipmentRow & { hash: Buffer }>(
      'SELECT version, saved_at, document, hash, entry FROM equipment_versions ORDER BY version DESC LIMIT ?',
    ),
    putEquipment: db.prepare('INSERT INTO equipment_versions (version, saved_at, document, hash, entry) VALUES (?, ?, ?, ?, ?)'),
  };
}

export class Library {
  readonly #shelf: Shelf;
  readonly #sql;
  readonly #ledger: Ledger;
  readonly #ids: V7Generator;

  constructor(shelf: Shelf, ledger: Ledger, entropy: Entropy) {
    this.#shelf = shelf;
    this.#ledger = ledger;
    this.#ids = new V7Generator(entropy);
    this.#sql = statements(shelf.db);
  }

  /** Every injector as it is now, in the order they were taken in, without those that were withdrawn. */
  parts(): StoredPart[] {
    return this.#shelf.reading(() => this.#sql.parts.all()).map(partFromRow);
  }

  /** Those that were withdrawn, as they were then. */
  withdrawnParts(): StoredPart[] {
    return this.#shelf.reading(() => this.#sql.withdrawnParts.all()).map(partFromRow);
  }

  /** Takes a withdrawn injector off its channel, which another may have by now. */
  unmountWithdrawn(id: string): Saved<null> {
    return this.#shelf.durably((at) => {
      const before = this.#sql.withdrawnParts.all().find(({ part }) => part === id);
      if (before === undefined) throw new KeepingRefused('This injector has not been withdrawn. Nothing was saved. Load the list again.');
      this.#ledger.enter({ kind: 'parts', rows: [this.#put({ ...partFromRow(before), channel: null }, before, at, this.#ledger.next()).entered] });
      return null;
    });
  }

  /** The next version of an injector: its row, and what the ledger names of it. */
  #put(part: StoredPart, before: PartRow | undefined, at: UnixMillis, entry: number): { readonly row: PartRow; readonly entered: PartsEntered[number] } {
    const version = (before?.version ?? 0) + 1;
    this.#sql.putPart.run(part.id, version, at, part.order, part.type, part.serialNumber, part.coilResistanceOhm, part.condition, part.channel, entry);
    const row: PartRow = {
      part: part.id, version, saved_at: at, order_text: part.order, type: part.type, serial_number: part.serialNumber,
      coil_resistance_ohm: part.coilResistanceOhm, condition: part.condition, channel: part.channel, entry,
    };
    return { row, entered: { part: part.id, version, parent: before?.entry ?? null, row: partHash(row) } };
  }

  /** What was saved of injectors with this serial number, the oldest first. */
  partHistory(serialNumber: string): readonly (Omit<StoredPart, 'id' | 'serialNumber'> & { readonly savedAt: number })[] {
    return this.#shelf.reading(() => this.#sql.partHistory.all(serialNumber)).map((row) => {
      const { order, type, coilResistanceOhm, condition, channel } = partFromRow(row);
      return { savedAt: row.saved_at, order, type, coilResistanceOhm, condition, channel };
    });
  }

  /**
   * Takes in or changes injectors, all or none, and returns every injector as it is then. An injector that is put on a channel takes the
   * place of the one that was there. Type and serial number together belong to one injector.
   */
  saveParts(parts: readonly PartToSave[]): Saved<StoredPart[]> {
    return this.#shelf.durably((at) => {
      const rows = new Map(this.#sql.parts.all().map((row) => [row.part, row]));
      const entry = this.#ledger.next();
      const entered: PartsEntered = [];
      const put = (part: StoredPart): void => {
        const { row, entered: one } = this.#put(part, rows.get(part.id), at, entry);
        entered.push(one);
        rows.set(part.id, row);
      };
      const saved = new Set<string>();
      for (const part of parts) {
        const what = `${part.type} ${part.serialNumber}`;
        if (part.id !== undefined && !rows.has(part.id)) throw new KeepingRefused(`${what} was to be changed, but this archive has no such injector. Nothing was saved. Load the list again.`);
        const id = part.id ?? this.#ids.generateOrResetWithTs(at).toString();
        if (saved.has(id)) throw new KeepingRefused(`${what} is given twice. Nothing was saved.`);
        saved.add(id);
        for (const row of rows.values()) {
          if (row.part === id) continue;
          if (row.type === part.type && row.serial_number === part.serialNumber) {
            throw new KeepingRefused(`${what} has been booked in already. Nothing was saved. Change that entry, or correct the serial number.`);
          }
          if (part.channel === null || row.channel !== part.channel) continue;
          if (saved.has(row.part)) throw new KeepingRefused(`${what} and ${row.type} ${row.serial_number} cannot both be on channel ${part.channel}. Nothing was saved.`);
          if (!parts.some((other) => other.id === row.part)) put({ ...partFromRow(row), channel: null });
        }
        put({ ...part, id });
      }
      if (entered.length > 0) this.#ledger.enter({ kind: 'parts', rows: entered });
      return [...rows.values()].map(partFromRow);
    });
  }

  /** The latest version of each plan, the one saved last first. */
  plans(): PlanVersion[] {
    return this.#shelf.reading(() => this.#sql.plans.all()).map(planFromRow);
  }

  /** Every version of a plan, the latest first; empty for a plan that is not there. */
  planVersions(id: string): PlanVersion[] {
    return this.#shelf.reading(() => this.#sql.planVersions.all(id)).map(planFromRow);
  }

  /** One version as it was saved; null when there is none. */
  plan(id: string, version: number): { readonly row: PlanVersion; readonly document: unknown } | null {
    const row = this.#shelf.reading(() => this.#sql.plan.get(id, version));
    return row === undefined ? null : { row: planFromRow(row), document: documentOf(row, `Version ${version} of plan ${id}`) };
  }

  savePlan({ id, name, document, by }: PlanToSave): Saved<PlanVersion> {
    return this.#shelf.durably((savedAt) => {
      const last = id === null ? null : this.#sql.lastPlanVersion.get(id);
      if (last === undefined) throw new KeepingRefused('This archive has no such plan. Nothing was saved. Save it as a new plan.');
      const row = { id: id ?? this.#ids.generateOrResetWithTs(savedAt).toString(), version: (last?.version ?? 0) + 1, name, savedAt, savedBy: by };
      const text = JSON.stringify(document);
      this.#sql.putPlan.run(row.id, row.version, name, savedAt, by, text, hashOf(text), this.#ledger.next());
      const hash = planHash({ plan: row.id, version: row.version, name, saved_at: savedAt, saved_by: by, document: text });
      this.#ledger.enter({ kind: 'plan', plan: row.id, version: row.version, parent: last?.entry ?? null, row: hash });
      return row;
    });
  }

  /** The latest equipment record: of this controller, or where none of it is there, of any; null: none was saved yet. */
  equipment(of: { readonly model: string; readonly serialNumber: string } | null = null): unknown {
    const row = this.#shelf.reading(() => (of === null ? undefined : this.#sql.equipmentOf.get(of.model, of.serialNumber)) ?? this.#sql.equipment.get());
    return row === undefined ? null : documentOf(row, `Version ${row.version} of the equipment record`);
  }

  /** How many records were saved: the number of the latest version. */
  equipmentVersion(): number {
    return this.#shelf.reading(() => this.#sql.equipment.get())?.version ?? 0;
  }

  /** Every record as it was saved, the latest first, at most `limit`. */
  equipmentVersions(limit: number): EquipmentVersion[] {
    return this.#shelf.reading(() => this.#sql.equipmentVersions.all(limit)).map((row) => ({
      version: row.version, savedAt: unixMillis(row.saved_at), document: documentOf(row, `Version ${row.version} of the equipment record`),
    }));
  }

  saveEquipment(document: unknown): Saved<number> {
    return this.#shelf.durably((savedAt) => {
      const last = this.#sql.equipment.get();
      const version = (last?.version ?? 0) + 1;
      const text = JSON.stringify(document);
      this.#sql.putEquipment.run(version, savedAt, text, hashOf(text), this.#ledger.next());
      this.#ledger.enter({ kind: 'equipment', version, parent: last?.entry ?? null, row: equipmentHash({ version, saved_at: savedAt, document: text }) });
      return version;
    });
  }
}

const hashOf = (text: string): Buffer => Buffer.from(sha256(text), 'hex');

function documentOf(row: { readonly document: string; readonly hash: Buffer }, where: string): unknown {
  if (!hashOf(row.document).equals(row.hash)) throw new ArchiveUnreadable(`${where} is not what was saved: its hash does not fit.`);
  return JSON.parse(row.document) as unknown;
}

/** Holds the library against what it promises: every document is what was saved, and no version is missing. */
export function libraryProblems(db: Database): { readonly asked: number; readonly problems: readonly string[] } {
  const problems: string[] = [];
  let asked = 0;
  const documents = [
    { what: 'plan', table: 'plan_versions', name: 'plan' },
    { what: 'equipment record', table: 'equipment_versions', name: "''" },
  ];
  for (const { what, table, name } of documents) {
    const rows = db.prepare<[], { name: string; version: number; document: string; hash: Buffer }>(`SELECT ${name} AS name, version, document, hash FROM ${table}`);
    for (const row of rows.iterate()) {
      asked += 1;
      if (!hashOf(row.document).equals(row.hash)) problems.push(`Version ${row.version} of ${what} ${row.name} is not what was saved: its hash does not fit.`);
    }
  }
  for (const { what, table, name } of [...documents, { what: 'injector', table: 'part_versions', name: 'part' }]) {
    const gaps = db.prepare<[], { name: string }>(`SELECT ${name} AS name FROM ${table} GROUP BY ${name} HAVING max(version) <> count(*) OR min(version) <> 1`);
    for (const row of gaps.all()) problems.push(`Of the ${what} ${row.name} a version is missing.`);
  }
  return { asked, problems };
}
