import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { madePng } from '../../app/visit/photo.test-helper.ts';
import type { StatedVisit } from '../../app/visit/visit.ts';
import { machineEntropy } from '../clock/machine.ts';
import { openArchive, type Archive } from './archive.ts';
import { dataHash } from './ledger.ts';
import { ArchiveUnreadable } from './read.ts';
import { openDatabase } from './sqlite.ts';
import type { PhotoToKeep } from './visits.ts';

let folder = '';
let file = '';
let opened: Archive[] = [];

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-'));
  file = join(folder, 'archive.sqlite');
  opened = [];
});
afterEach(() => {
  for (const archive of opened) archive.close();
  rmSync(folder, { recursive: true, force: true });
});

function open(readOnly = false, now = 1_780_000_000_000): Archive {
  const result = openArchive(file, readOnly ? { readOnly } : { now: () => unixMillis(now), entropy: machineEntropy });
  if (!result.ok) throw new Error(result.text);
  opened.push(result.archive);
  return result.archive;
}

function close(archive: Archive): void {
  archive.close();
  opened = opened.filter((other) => other !== archive);
}

const stated = (change: Partial<StatedVisit> = {}): StatedVisit => ({
  visitVersion: 1, serialNumber: 'RH4-0117', type: 'RH-P4', order: 'J-1', stage: 'as-found', doneOn: '2026-03-31', by: 'A. Tester', visual: 'varnish', coil: null, insulation: null, leak: null, spray: '', remark: '', corrects: null,
  ...change,
});
const photo = (grey: number): PhotoToKeep => ({ media: 'image/png', width: 20, height: 10, shows: 'spray', data: Buffer.from(madePng(20, 10, grey)) });
const failedChecks = (archive: Archive) => archive.verify().checks.filter((check) => !check.passed);

describe('records of visits', () => {
  it('ARC-66 come back as they were kept, numbered over all injectors, with photos byte for byte, also after the file was closed', () => {
    const archive = open();
    expect(archive.visits.of('RH4-0117')).toEqual([]);
    expect(archive.visits.add(stated(), [photo(1), photo(2)])).toMatchObject({ ok: true, stored: { no: 1 } });
    archive.visits.add(stated({ serialNumber: 'RH4-0118' }), []);
    // The same photo again lies there once.
    expect(archive.visits.add(stated({ stage: 'as-left' }), [photo(2)])).toMatchObject({ ok: true, stored: { no: 3 } });
    const head = archive.head();
    close(archive);
    const again = open(true);
    const records = again.visits.of('RH4-0117');
    expect(records.map(({ no, savedAt, record }) => [no, savedAt, record.stage, record.by, record.photos.length])).toEqual([[1, 1_780_000_000_000, 'as-found', 'A. Tester', 2], [3, 1_780_000_000_000, 'as-left', 'A. Tester', 1]]);
    const { sha256, bytes } = records[0]?.record.photos[1] ?? { sha256: '', bytes: 0 };
    expect(sha256).toBe(dataHash(photo(2).data));
    expect(records[1]?.record.photos[0]?.sha256).toBe(sha256);
    expect(again.visits.photo(sha256)).toEqual(photo(2).data);
    expect(bytes).toBe(photo(2).data.length);
    expect(again.visits.photo('0'.repeat(64))).toBeNull();
    expect(failedChecks(again)).toEqual([]);
    expect(again.verify([head]).passed).toBe(true);
    expect(() => again.visits.add(stated(), [])).toThrow('open for reading only');
    const db = openDatabase(file, { readOnly: true, busyTimeout: 0 });
    expect(db.prepare('SELECT count(*) AS n FROM photos').get()).toEqual({ n: 2 });
    db.close();
  });

  it('ARC-66 no row of either can be changed, removed or replaced, and nothing is kept by a clock that dates nothing', () => {
    const archive = open();
    archive.visits.add(stated(), [photo(1)]);
    close(archive);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    for (const table of ['visit_records', 'photos']) {
      for (const change of [`UPDATE ${table} SET ${table === 'photos' ? 'data = zeroblob(1)' : 'saved_at = 1'}`, `DELETE FROM ${table}`, `INSERT OR REPLACE INTO ${table} SELECT * FROM ${table}`]) {
        expect(() => db.exec(change), change).toThrow(`${table}: rows are never changed`);
      }
    }
    db.close();
    expect(open(false, -5).visits.add(stated(), [])).toMatchObject({ ok: false, code: 'refused' });
  });

  it.each([
    ['visit_records', `UPDATE visit_records SET document = replace(document, 'varnish', 'clean') WHERE no = 1`, 'its hash does not fit'],
    ['visit_records', `UPDATE visit_records SET serial_number = 'RH4-0119' WHERE no = 1`, 'under another serial number'],
    ['visit_records', 'DELETE FROM visit_records WHERE no = 1', 'Before visit record 2 one is missing'],
    ['photos', 'UPDATE photos SET data = zeroblob(9)', 'its hash does not fit'],
    ['photos', 'DELETE FROM photos', 'of a visit record is missing'],
    ['photos', `INSERT INTO photos VALUES ('${'ab'.repeat(32)}', zeroblob(9))`, 'belongs to no record'],
  ])('ARC-67 verification finds a file that was edited (%s: %s)', (table, change, found) => {
    const archive = open();
    archive.visits.add(stated(), []);
    archive.visits.add(stated(), [photo(1)]);
    const hash = archive.visits.of('RH4-0117')[1]?.record.photos[0]?.sha256 ?? '';
    close(archive);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    const triggers = db.prepare<[string], { name: string; sql: string }>(`SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = ?`).all(table);
    for (const { name } of triggers) db.exec(`DROP TRIGGER ${name}`);
    db.exec(change);
    for (const { sql } of triggers) db.exec(sql);
    db.close();
    const edited = open(true);
    const failed = failedChecks(edited);
    expect(failed.map((c) => c.name)).toEqual(['visits', 'entered']);
    expect(failed[0]?.text).toContain(found);
    if (change.startsWith('UPDATE visit') && !change.includes('serial')) expect(() => edited.visits.of('RH4-0117')).toThrow(ArchiveUnreadable);
    if (change.startsWith('UPDATE photos')) expect(() => edited.visits.photo(hash)).toThrow(ArchiveUnreadable);
  });

  it('ARC-68 a correction is a record of its own, of one that is there and was not corrected yet', () => {
    const archive = open();
    archive.visits.add(stated(), []);
    archive.visits.add(stated({ serialNumber: 'RH4-0118' }), []);
    const correct = (corrects: number) => archive.visits.add(stated({ corrects, remark: 'another range', visual: 'lacquer' }), [photo(3)]);
    expect(correct(7)).toMatchObject({ ok: false, text: expect.stringContaining('no record 7 of injector RH4-0117') as string });
    expect(correct(2)).toMatchObject({ ok: false, code: 'refused' });
    const db = openDatabase(file, { readOnly: true, busyTimeout: 0 });
    expect(db.prepare('SELECT count(*) AS n FROM photos').get()).toEqual({ n: 0 });
    db.close();
    expect(correct(1)).toMatchObject({ ok: true, stored: { no: 3 } });
    expect(correct(1)).toMatchObject({ ok: false, text: expect.stringContaining('was corrected by record 3 already') as string });
    expect(correct(3)).toMatchObject({ ok: true, stored: { no: 4 } });
    expect(archive.visits.of('RH4-0117').map(({ no, record }) => [no, record.visual, record.corrects])).toEqual([[1, 'varnish', null], [3, 'lacquer', 1], [4, 'lacquer', 3]]);
    expect(failedChecks(archive)).toEqual([]);
  });
});
