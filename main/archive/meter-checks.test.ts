import { readFileSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { parseMeterCheck, type MeterCheck } from '../../app/meter-check/meter-check.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { machineEntropy } from '../clock/machine.ts';
import { openArchive, type Archive } from './archive.ts';
import { ArchiveUnreadable } from './read.ts';
import { openDatabase } from './sqlite.ts';

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

function open(readOnly = false): Archive {
  const result = openArchive(file, readOnly ? { readOnly } : { now: () => unixMillis(1_780_000_000_000), entropy: machineEntropy });
  if (!result.ok) throw new Error(result.text);
  opened.push(result.archive);
  return result.archive;
}

function close(archive: Archive): void {
  archive.close();
  opened = opened.filter((other) => other !== archive);
}

function check(number: string): MeterCheck {
  const parsed = parseMeterCheck(JSON.parse(readFileSync(join(import.meta.dirname, '../samples/meter-check.json'), 'utf8')));
  if (!parsed.ok) throw new Error('the sample does not parse');
  return { ...parsed.check, certificate: { ...parsed.check.certificate, number } };
}

describe('meter checks', () => {
  it('MC-14: come back as they were written, numbered from 1, also after the file was closed', () => {
    const archive = open();
    expect(archive.meterChecks.list()).toEqual([]);
    expect(archive.meterChecks.add(check('A'))).toMatchObject({ ok: true, stored: { no: 1 } });
    expect(archive.meterChecks.add(check('B'))).toMatchObject({ ok: true, stored: { no: 2 } });
    close(archive);
    const again = open(true);
    expect(again.meterChecks.list()).toEqual([
      { no: 1, savedAt: 1_780_000_000_000, check: check('A') },
      { no: 2, savedAt: 1_780_000_000_000, check: check('B') },
    ]);
    expect(again.verify().checks.filter((c) => !c.passed)).toEqual([]);
    expect(() => again.meterChecks.add(check('C'))).toThrow('open for reading only');
  });

  it('MC-14: no row can be changed, removed or replaced', () => {
    const archive = open();
    archive.meterChecks.add(check('A'));
    close(archive);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    for (const change of ['UPDATE meter_checks SET saved_at = 1', 'DELETE FROM meter_checks', 'INSERT OR REPLACE INTO meter_checks SELECT * FROM meter_checks']) {
      expect(() => db.exec(change)).toThrow('meter_checks: rows are never changed');
    }
    db.close();
  });

  it.each([
    ['its hash does not fit', `UPDATE meter_checks SET document = replace(document, '"edges":7200', '"edges":7300') WHERE no = 1`],
    ['Before meter check 2 one is missing', 'DELETE FROM meter_checks WHERE no = 1'],
  ])('MC-14: verification finds a file that was edited (%s)', (found, change) => {
    const archive = open();
    archive.meterChecks.add(check('A'));
    archive.meterChecks.add(check('B'));
    close(archive);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    const triggers = db.prepare<[], { name: string; sql: string }>(`SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'meter_checks'`).all();
    for (const { name } of triggers) db.exec(`DROP TRIGGER ${name}`);
    db.exec(change);
    for (const { sql } of triggers) db.exec(sql);
    db.close();
    const edited = open(true);
    const failed = edited.verify().checks.filter((c) => !c.passed);
    expect(failed.map((c) => c.name)).toEqual(['meter checks', 'entered']);
    expect(failed[0]?.text).toContain(found);
    if (change.startsWith('UPDATE')) expect(() => edited.meterChecks.list()).toThrow(ArchiveUnreadable);
  });
});
