import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { machineEntropy } from '../clock/machine.ts';
import { openArchive, type Archive } from './archive.ts';
import type { PartToSave } from './library.ts';
import { openDatabase } from './sqlite.ts';

let folder: string;
let archive: Archive;
let now: number;

function open(more: { readonly readOnly?: boolean } = {}): Archive {
  const opened = openArchive(join(folder, 'archive.sqlite'), more.readOnly === true ? { readOnly: true } : { now: () => unixMillis((now += 1000)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  return opened.archive;
}

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-library-'));
  now = Date.UTC(2026, 0, 1);
  archive = open();
});

afterEach(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

const part = (serialNumber: string, more: Partial<PartToSave> = {}): PartToSave => ({
  order: 'O-1', type: 'T', serialNumber, coilResistanceOhm: 14.5, condition: 'clean', channel: null, ...more,
});

function saved<T>(result: { readonly ok: true; readonly value: T } | { readonly ok: false; readonly text: string }): T {
  if (!result.ok) throw new Error(result.text);
  return result.value;
}

test('injectors keep their order and identity through changes and reopening', () => {
  const [first, second] = saved(archive.library.saveParts([part('1'), part('2')]));
  saved(archive.library.saveParts([{ ...part('1'), id: first?.id, condition: 'dirty' }]));
  archive.close();
  archive = open();
  expect(archive.library.parts()).toEqual([{ ...first, condition: 'dirty' }, second]);
});

test('an injector that is put on a channel takes the place of the one that was there', () => {
  const [first, second] = saved(archive.library.saveParts([part('1', { channel: 1 }), part('2', { channel: 2 })]));
  const third = saved(archive.library.saveParts([part('3', { channel: 1 })]));
  expect(third.map((p) => [p.serialNumber, p.channel])).toEqual([['1', null], ['2', 2], ['3', 1]]);
  // Two that change places at once.
  const swapped = saved(archive.library.saveParts([{ ...part('2', { channel: 1 }), id: second?.id }, { ...part('3', { channel: 2 }), id: third[2]?.id }]));
  expect(swapped.map((p) => [p.serialNumber, p.channel])).toEqual([['1', null], ['2', 1], ['3', 2]]);
  expect(first?.id).toBe(swapped[0]?.id);
});

test.each<[string, (id: string) => PartToSave[]]>([
  ['the same type and serial number again', () => [part('1')]],
  ['the same twice in one go', () => [part('9'), part('9')]],
  ['two on one channel', () => [part('8', { channel: 3 }), part('9', { channel: 3 })]],
  ['a change of one that is not there', () => [{ ...part('9'), id: 'no-such' }]],
  ['one changed twice', (id) => [{ ...part('1'), id }, { ...part('9'), id }]],
  ['a serial number that another has', (id) => [{ ...part('2'), id }]],
])('%s is refused, and nothing of it is saved', (_what, parts) => {
  const before = saved(archive.library.saveParts([part('1'), part('2')]));
  const result = archive.library.saveParts([part('7'), ...parts(before[0]?.id ?? '')]);
  expect(result).toMatchObject({ ok: false, code: 'refused', text: expect.stringContaining('Nothing was saved') as string });
  expect(archive.library.parts()).toEqual(before);
});

test('every version of a plan is there as it was saved', () => {
  const first = saved(archive.library.savePlan({ id: null, name: 'A', document: { a: 1 }, by: 'X' }));
  const second = saved(archive.library.savePlan({ id: first.id, name: 'B', document: { a: 2 }, by: 'Y' }));
  const other = saved(archive.library.savePlan({ id: null, name: 'C', document: [], by: 'Z' }));
  expect(archive.library.plans()).toEqual([other, second]);
  expect(archive.library.planVersions(first.id)).toEqual([second, first]);
  expect(archive.library.plan(first.id, 1)).toEqual({ row: first, document: { a: 1 } });
  expect(archive.library.plan(first.id, 3)).toBeNull();
  expect(archive.library.savePlan({ id: 'no-such', name: 'D', document: 1, by: 'X' })).toMatchObject({ ok: false, code: 'refused' });
});

test('ARC-4 a version is entered in the ledger, and names the entry of the version that it was made from', () => {
  const first = saved(archive.library.savePlan({ id: null, name: 'A', document: { a: 1 }, by: 'X' }));
  saved(archive.library.saveEquipment({ n: 1 }));
  saved(archive.library.savePlan({ id: first.id, name: 'B', document: { a: 2 }, by: 'Y' }));
  saved(archive.library.saveEquipment({ n: 2 }));
  archive.close();
  const db = openDatabase(join(folder, 'archive.sqlite'), { readOnly: true, busyTimeout: 0 });
  const entries = db.prepare<[], { n: number; text: string }>('SELECT n, text FROM ledger ORDER BY n').all();
  const named = db.prepare<[], { version: number; entry: number }>('SELECT version, entry FROM plan_versions ORDER BY version').all();
  db.close();
  archive = open();
  const of = (kind: string) => entries.flatMap(({ n, text }) => (text.includes(`"kind":"${kind}"`) ? [{ n, ...(JSON.parse(text) as { version: number; parent: number | null }) }] : []));
  for (const kind of ['plan', 'equipment']) {
    const [one, two] = of(kind);
    expect([one?.version, one?.parent, two?.version, two?.parent], kind).toEqual([1, null, 2, one?.n]);
  }
  expect(named).toEqual(of('plan').map(({ version, n }) => ({ version, entry: n })));
});

test('the latest equipment record is the one in force', () => {
  expect(archive.library.equipment()).toBeNull();
  expect(saved(archive.library.saveEquipment({ n: 1 }))).toBe(1);
  expect(saved(archive.library.saveEquipment({ n: 2 }))).toBe(2);
  expect(archive.library.equipment()).toEqual({ n: 2 });
});

test('no version can be changed, removed or replaced, whoever tries', () => {
  saved(archive.library.saveParts([part('1')]));
  saved(archive.library.savePlan({ id: null, name: 'A', document: { a: 1 }, by: 'X' }));
  saved(archive.library.saveEquipment({ n: 1 }));
  archive.close();
  const db = openDatabase(join(folder, 'archive.sqlite'), { readOnly: false, busyTimeout: 0 });
  for (const table of ['part_versions', 'plan_versions', 'equipment_versions']) {
    expect(() => db.exec(`UPDATE ${table} SET saved_at = 1`)).toThrow('never changed');
    expect(() => db.exec(`DELETE FROM ${table}`)).toThrow('never changed');
    expect(() => db.exec(`REPLACE INTO ${table} SELECT * FROM ${table}`)).toThrow('never changed');
  }
  db.close();
  archive = open();
});

test('verify finds a document that was changed behind its back, and a version that is missing', () => {
  saved(archive.library.savePlan({ id: null, name: 'A', document: { a: 1 }, by: 'X' }));
  const { id } = saved(archive.library.savePlan({ id: null, name: 'B', document: { a: 1 }, by: 'X' }));
  saved(archive.library.savePlan({ id, name: 'B', document: { a: 2 }, by: 'X' }));
  expect(archive.verify().passed).toBe(true);
  archive.close();
  const db = openDatabase(join(folder, 'archive.sqlite'), { readOnly: false, busyTimeout: 0 });
  db.exec(`DROP TRIGGER plan_versions_no_update; DROP TRIGGER plan_versions_no_delete;
    UPDATE plan_versions SET document = '{"a":3}' WHERE name = 'A'; DELETE FROM plan_versions WHERE name = 'B' AND version = 1`);
  db.close();
  archive = open();
  const check = archive.verify().checks.find(({ name }) => name === 'library');
  expect(check).toMatchObject({ passed: false, text: expect.stringMatching(/is not what was saved.*version is missing/s) as string });
  const [a] = archive.library.plans().filter((p) => p.name === 'A');
  expect(() => archive.library.plan(a?.id ?? '', 1)).toThrow('not what was saved');
});

test.each([Date.UTC(1969, 6, 20), 0, -1, Date.UTC(10_000, 0, 1), 8.7e15, Number.NaN])('ARC-20 by a clock that says %f nothing is saved, and the words say why', (wall) => {
  const [first] = saved(archive.library.saveParts([part('1', { channel: 1 })]));
  const plan = saved(archive.library.savePlan({ id: null, name: 'P', document: { a: 1 }, by: 'x' }));
  const head = archive.verify().head;
  const at = (): Archive['library'] => {
    now = wall - 1000;
    return archive.library;
  };
  const refused = { ok: false, code: 'refused', text: expect.stringMatching(/^The clock of this computer says .*(before 1970|beyond the year 9999)\. Nothing was saved\./) as string };
  expect(at().saveParts([part('2', { channel: 1 })])).toMatchObject(refused);
  expect(at().savePlan({ id: null, name: 'Q', document: {}, by: 'x' })).toMatchObject(refused);
  expect(at().savePlan({ id: plan.id, name: 'P', document: {}, by: 'x' })).toMatchObject(refused);
  expect(at().saveEquipment({})).toMatchObject(refused);
  expect(archive.library.parts()).toEqual([first]);
  expect(archive.library.plans()).toEqual([plan]);
  expect(archive.library.equipment()).toBeNull();
  expect(archive.verify()).toMatchObject({ passed: true, head });
});
