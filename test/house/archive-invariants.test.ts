import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { sampleEquipment, samplePlan, scratchFolder } from '../builders/in-process.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { ArchiveBroken, brokenByPlace, commitsMustBeForced, type EndOfRun } from '../../main/archive/invariants.ts';
import { openDatabase, type Database } from '../../main/archive/sqlite.ts';

let folder = '';
let archive: Archive;
let db: Database;
let id = '';

const skipped = { kind: 'wait-skipped', step: 'settle', point: 0, attempt: 1 } as const;
const frame = (number: number): BenchFrame =>
  ({ at: number / 20, number, bootId: 'aa', supply: 0, pressure: 4e5, railTemperature: 293, meterTemperature: 293, current: 0, edges: 0, lastEdgeAt: 0, burst: { number: 0, active: false, commanded: 0, done: 0 }, armed: false, fault: null, interlocks: 7 }) as unknown as BenchFrame;

beforeEach(() => {
  folder = scratchFolder();
  const opened = openArchive(join(folder, 'archive.sqlite'), {
    now: () => unixMillis(Date.UTC(2026, 1, 1)), entropy: machineEntropy,
    openFile: (path, options) => (db = openDatabase(path, options)),
  });
  if (!opened.ok) throw new Error(opened.text);
  archive = opened.archive;
  const made = archive.createRun({ plan: samplePlan('small-plan'), equipment: sampleEquipment(), operator: 'A. Tester', software: 'test', simulated: true });
  if (!made.ok) throw new Error(made.text);
  id = made.id;
  expect(archive.append(id, [skipped], [frame(1), frame(2)])).toMatchObject({ ok: true });
});
afterEach(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

/** As a commit would stand there that the writer takes for not done, or that another program wrote. */
function behindItsBack(sql: string): void {
  db.exec(sql);
}
const counts = (): unknown => db.prepare('SELECT (SELECT count(*) FROM events) AS events, (SELECT count(*) FROM telemetry) AS chunks, (SELECT count(*) FROM ledger) AS entries').get();

describe('what must hold of a commit', () => {
  const end: EndOfRun = { events: 3, head: 'ab', telemetry: { chunks: 2, lastFrame: 40 } };

  it('ARC-61 ARC-62 ARC-63 it is inside a transaction, and follows what lies in the file', () => {
    expect(brokenByPlace(end, end, true)).toBeNull();
    expect(brokenByPlace(end, { ...end, telemetry: null }, true)).toBeNull();
    expect(brokenByPlace({ ...end, events: 0 }, { ...end, events: 0, head: null }, true)).toBeNull();
    expect(brokenByPlace(end, end, false)).toMatch(/outside of a transaction/);
    for (const events of [2, 4]) expect(brokenByPlace({ ...end, events }, end, true)).toMatch(/has 3 events and its writer remembers/);
    expect(brokenByPlace({ ...end, head: 'ac' }, end, true)).toMatch(/Event 3/);
    expect(brokenByPlace({ ...end, telemetry: { chunks: 1, lastFrame: 40 } }, end, true)).toMatch(/2 stretches/);
    expect(brokenByPlace({ ...end, telemetry: { chunks: 2, lastFrame: 20 } }, end, true)).toMatch(/ends with frame 40/);
  });

  it('ARC-64 commits are forced to the disk, or the archive is not opened', () => {
    expect(() => { commitsMustBeForced(db, 'x'); }).not.toThrow();
    db.pragma('synchronous = NORMAL');
    expect(() => { commitsMustBeForced(db, 'x'); }).toThrow(ArchiveBroken);
  });
});

describe('ARC-65 an archive that finds its writer wrong', () => {
  it.each([
    ['an event more than it remembers', "INSERT INTO events (run, seq, at, kind, body, hash) SELECT run, seq + 1, at, kind, body, hash FROM events", /has 2 events and its writer remembers 1/],
    ['telemetry that it does not remember', 'INSERT INTO telemetry (run, chunk, segment, from_us, to_us, last_frame, frames, data) SELECT run, chunk + 1, segment, to_us, to_us + 1, last_frame + 1, 1, data FROM telemetry', /2 stretches/],
  ])('%s: nothing of the commit is written, and nothing after it', (_, sql, what) => {
    behindItsBack(sql);
    const before = counts();
    expect(() => archive.append(id, [skipped], [frame(3)])).toThrow(what);
    expect(counts()).toEqual(before);
    for (const again of [archive.append(id, [skipped], []), archive.createRun({ plan: samplePlan('small-plan'), equipment: sampleEquipment(), operator: 'A. Tester', software: 'test', simulated: true })]) {
      expect(again).toMatchObject({ ok: false, code: 'not-writable' });
      expect(again.ok ? '' : again.text).toMatch(/fault of its own.*is kept. Start the program again/);
    }
    expect(counts()).toEqual(before);
  });

  it('a second end of an attempt is written into no archive', () => {
    const ended = { kind: 'attempt-ended', point: 0, attempt: 1, verdict: 'cut', cause: 'stopped', window: null, reasons: [] } as unknown as Parameters<Archive['append']>[1][number];
    expect(archive.append(id, [ended], [])).toMatchObject({ ok: true });
    const before = counts();
    expect(() => archive.append(id, [ended], [])).toThrow(/attempts: rows are never changed/);
    expect(counts()).toEqual(before);
  });
});
