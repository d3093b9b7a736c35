import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { machineEntropy } from '../clock/machine.ts';
import { openArchive, type Archive } from './archive.ts';
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
  folder = mkdtempSync(join(tmpdir(), 'railhouse-records-'));
  now = Date.UTC(2026, 0, 1);
  archive = open();
});

afterEach(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

function save(name: string, document: unknown, more: { readonly by?: string; readonly basedOn?: number; readonly kind?: 'injector type' | 'qualification' } = {}): number {
  const saved = archive.records.save({ kind: 'injector type', by: 'A', name, document, ...more });
  if (!saved.ok) throw new Error(saved.text);
  return saved.version;
}

test('every version of a record is there as it was saved, each name by itself, each kind by itself', () => {
  expect([save('P4', { a: 1 }), save('P4', { a: 2 }, { by: 'B' }), save('K2', { a: 3 }), save('P4', { q: 1 }, { kind: 'qualification' })]).toEqual([1, 2, 1, 1]);
  archive.close();
  archive = open({ readOnly: true });
  expect(archive.records.latest('injector type').map(({ name, version, savedBy, document }) => [name, version, savedBy, document])).toEqual([['K2', 1, 'A', { a: 3 }], ['P4', 2, 'B', { a: 2 }]]);
  expect(archive.records.versions('injector type', 'P4', 10).map(({ version, document }) => [version, document])).toEqual([[2, { a: 2 }], [1, { a: 1 }]]);
  expect(archive.records.versions('injector type', 'P4', 1)).toHaveLength(1);
  expect(archive.records.versions('qualification', 'P4', 10).map((r) => r.document)).toEqual([{ q: 1 }]);
  expect(archive.records.versions('injector type', 'none', 10)).toEqual([]);
});

test('a change that was made on another version than the latest is refused', () => {
  expect(save('P4', { a: 1 }, { basedOn: 0 })).toBe(1);
  expect(() => save('P4', { a: 2 }, { basedOn: 0 })).toThrow('Version 1 of P4 was saved meanwhile');
  expect(save('P4', { a: 2 }, { basedOn: 1 })).toBe(2);
  expect(archive.records.latest('injector type').map((r) => r.version)).toEqual([2]);
});

test('no version can be changed, removed or replaced, whoever tries; verify finds who did, and a version that is missing', () => {
  save('P4', { a: 1 });
  save('P4', { a: 2 });
  save('K2', { a: 3 });
  expect(archive.verify().passed).toBe(true);
  archive.close();
  const db = openDatabase(join(folder, 'archive.sqlite'), { readOnly: false, busyTimeout: 0 });
  expect(() => db.exec('UPDATE record_versions SET saved_at = 1')).toThrow('never changed');
  expect(() => db.exec('DELETE FROM record_versions')).toThrow('never changed');
  expect(() => db.exec('REPLACE INTO record_versions SELECT * FROM record_versions')).toThrow('never changed');
  db.exec(`DROP TRIGGER record_versions_no_update; DROP TRIGGER record_versions_no_delete;
    UPDATE record_versions SET document = '{"a":9}' WHERE name = 'K2'; DELETE FROM record_versions WHERE name = 'P4' AND version = 1`);
  db.close();
  archive = open();
  const failed = archive.verify().checks.filter((check) => !check.passed);
  expect(failed.map((check) => check.name)).toEqual(expect.arrayContaining(['records', 'entered']));
  expect(failed.find(({ name }) => name === 'records')?.text).toMatch(/K2 is not what was saved.*P4 a version is missing/su);
  expect(() => archive.records.latest('injector type')).toThrow('not what was saved');
});

test.each([Date.UTC(1969, 6, 20), Date.UTC(10_000, 0, 1), Number.NaN])('ARC-20 by a clock that says %f no record is saved', (wall) => {
  now = wall - 1000;
  expect(archive.records.save({ kind: 'qualification', name: 'B', by: 'A', document: {} })).toMatchObject({ ok: false, code: 'refused', text: expect.stringContaining('Nothing was saved') as string });
  now = Date.UTC(2026, 0, 2);
  expect(archive.records.latest('qualification')).toEqual([]);
});

test('ARC-4 a version names the entry of the version before', () => {
  save('P4', { a: 1 });
  save('K2', { a: 1 });
  save('P4', { a: 2 });
  archive.close();
  const db = openDatabase(join(folder, 'archive.sqlite'), { readOnly: true, busyTimeout: 0 });
  const entries = db.prepare<[], { n: number; text: string }>('SELECT n, text FROM ledger ORDER BY n').all().filter(({ text }) => text.includes('"kind":"record"'));
  const stored = db.prepare<[], { entry: number }>('SELECT entry FROM record_versions ORDER BY entry').all();
  db.close();
  archive = open();
  const told = entries.map(({ n, text }) => ({ n, ...(JSON.parse(text) as { name: string; parent: number | null }) }));
  expect(told.map(({ name, parent }) => [name, parent])).toEqual([['P4', null], ['K2', null], ['P4', told[0]?.n]]);
  expect(stored.map((row) => row.entry)).toEqual(told.map(({ n }) => n));
});
