/** `verify` against people who change the file with SQL. Rules: main/archive/README.md. */
import { copyFileSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { headText, type Head } from '../../main/archive/ledger.ts';
import type { Verification } from '../../main/archive/verify.ts';
import { makeLabArchive } from '../builders/lab-archive.ts';
import { forge, forgeries, rewriteLedger } from './forgeries.ts';

let folder = '';
let archive = '';
let noted: Head = { n: 0, hash: '' };

function verify(file: string, heads: readonly Head[] = []): Verification {
  const opened = openArchive(file, { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  try {
    return opened.archive.verify(heads);
  } finally {
    opened.archive.close();
  }
}

const foundBy = (verification: Verification): string[] => verification.checks.filter((check) => !check.passed).map((check) => check.name);

/** A copy of the archive with something done to it. */
function forged(work: Parameters<typeof forge>[1]): string {
  const file = join(folder, 'forged.sqlite');
  copyFileSync(archive, file);
  forge(file, work);
  return file;
}

const rewritten = (work: Parameters<typeof forge>[1]): string =>
  forged((db) => {
    work(db);
    rewriteLedger(db);
  });

beforeAll(async () => {
  const out = join(import.meta.dirname, '../.out');
  mkdirSync(out, { recursive: true });
  folder = mkdtempSync(join(out, 'forgeries-'));
  archive = join(folder, 'archive.sqlite');
  await makeLabArchive(archive);
  const whole = verify(archive);
  expect(foundBy(whole)).toEqual([]);
  noted = whole.head ?? noted;
}, 60_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('ARC-7 ARC-8 the ledger against every row, and the schema', () => {
  test('there are at least 26 forgeries, and one that changes nothing is not one', () => {
    expect(forgeries.length).toBeGreaterThanOrEqual(26);
    expect(foundBy(verify(forged(() => undefined), [noted]))).toEqual([]);
  });

  test.each(forgeries)('$how: $what is found', ({ forge: work }) => {
    expect(foundBy(verify(forged(work)))).not.toEqual([]);
  });
});

describe('ARC-9 a head that was noted', () => {
  test('a ledger that is written anew over what was not changed has the same head', () => {
    const again = verify(forged(rewriteLedger), [noted]);
    expect(foundBy(again)).toEqual([]);
    expect(again.head).toEqual(noted);
  });

  test.each(forgeries)('$how, and the whole ledger written anew: $what is found by the head', ({ forge: work }) => {
    const found = verify(rewritten(work), [noted]);
    const heads = found.checks.find((check) => check.name === 'heads');
    // What still contradicts itself in the file is found there, and may leave the head as it is (a table that is derived, a strange trigger).
    if (foundBy(found).some((name) => name !== 'heads')) return;
    expect(heads?.text).toContain(`The head ${headText(noted)} does not lie in the history of this archive`);
    expect(heads?.passed).toBe(false);
  });

  test('what nothing in the file can show: a forger who writes everything anew, with the ledger, is found by the head alone', () => {
    const complete = forgeries.filter(({ forge: work }) => foundBy(verify(rewritten(work))).length === 0).map((one) => one.what);
    // README.md says so. If this list grows shorter, say that instead.
    expect(complete).toContain('every mass is 3 % larger, in window, telemetry and chain');
    expect(complete).toContain('somebody else measured, at another time');
    expect(complete).toContain('a run that never was, made from another');
    expect(complete).toContain('the last event is cut off');
  });

  test('the end of the ledger cut off with what belongs to it: the head finds it, and an earlier head still holds', () => {
    const before = { n: 0, hash: '' };
    const file = forged((db) => {
      const { n = 0 } = db.prepare<[], { n: number }>(`SELECT max(n) AS n FROM ledger WHERE text LIKE '{"kind":"meter-check"%'`).get() ?? {};
      before.n = n;
      const run = db.prepare<[], { no: number }>('SELECT no FROM runs').all();
      for (const { no } of run) for (const table of ['counting', 'run_status', 'telemetry', 'segments', 'attempts', 'events']) db.prepare(`DELETE FROM ${table} WHERE run = ?`).run(no);
      db.exec(`DELETE FROM runs; DELETE FROM ledger WHERE n > ${n}`);
    });
    const cut = verify(file, [noted]);
    expect(foundBy(cut)).toEqual(['heads']);
    expect(cut.head?.n).toBe(before.n);
    // The head as it was at that entry lies in both.
    expect(foundBy(verify(archive, cut.head === null ? [] : [cut.head, noted]))).toEqual([]);
  });
});

describe('ARC-6 the ledger itself', () => {
  test.each<[string, string]>([
    ['an entry says something else', `UPDATE ledger SET text = replace(text, '"events"', '"event"') WHERE n = 20`],
    ['an entry is gone', 'DELETE FROM ledger WHERE n = 20'],
    ['the last entry is gone', 'DELETE FROM ledger WHERE n = (SELECT max(n) FROM ledger)'],
    ['two entries have changed places', 'UPDATE ledger SET n = 1000 WHERE n = 20; UPDATE ledger SET n = 20 WHERE n = 21; UPDATE ledger SET n = 21 WHERE n = 1000'],
    ['a hash is another', `UPDATE ledger SET hash = zeroblob(32) WHERE n = 20`],
    ['the archive has another id', `UPDATE archive SET id = '019b0000-0000-7000-8000-00000000beef'`],
    ['a run says that its bench was none of this program', 'UPDATE runs SET simulated = 0'],
    ['a plan says that it came with another entry', 'UPDATE plan_versions SET entry = 5 WHERE version = 2'],
  ])('%s', (_, sql) => {
    expect(foundBy(verify(forged((db) => void db.exec(sql))))).not.toEqual([]);
  });
});
