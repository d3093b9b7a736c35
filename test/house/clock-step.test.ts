/** ARC-21: archives from before a step of the controller's clock inside a window was refused (RUN-160). */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { seconds, unixMillis } from '../../app/quantities/quantity.ts';
import { migrations } from '../../main/archive/migrations.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { openDatabase } from '../../main/archive/sqlite.ts';
import { encodeFrames } from '../../main/archive/telemetry-chunk.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';
import { scratchFolder } from '../builders/in-process.ts';

let folder = '';
let file = '';
beforeEach(() => {
  folder = scratchFolder();
  file = join(folder, 'archive.sqlite');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** From the 20th frame on the clock of the controller says less by `s`: an earlier version waited until its window was long enough by that clock. */
const stepped = (s: number): readonly BenchFrame[] =>
  framesFrom(101, 40 + Math.ceil(20 * s)).map((frame, i) => (i < 20 ? frame : { ...frame, at: seconds(frame.at - s), lastEdgeAt: seconds(frame.lastEdgeAt - s) }));

const plan = planOf('Old', 'Order 1', ['S-1']);
const bodies = (frames: readonly BenchFrame[]) => [openedBody(plan), ...attemptBodies(0, 1, 'accepted', framesFrom(1, 40)), ...attemptBodies(1, 1, 'accepted', frames)];

/** Written by this version, with the journal of an earlier one. */
function written(frames: readonly BenchFrame[]): Archive {
  const opened = openArchive(file, { now: () => unixMillis(1_750_000_000_000), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const made = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test 1', simulated: true });
  if (!made.ok) throw new Error(made.text);
  const [opening, ...rest] = bodies(frames);
  if (opening === undefined) throw new Error('there are bodies');
  archive.append(made.id, [opening], []);
  archive.append(made.id, rest.slice(0, rest.length / 2), framesFrom(1, 40));
  // In two commits, as a run writes them.
  archive.append(made.id, [], frames.slice(0, 30));
  archive.append(made.id, rest.slice(rest.length / 2), [...frames.slice(30), ...framesFrom(101 + frames.length, 10)].map((frame, i) => (i < frames.length - 30 ? frame : { ...frame, at: seconds(frame.at + 1000) })));
  return archive;
}

/** Written by version 1: no hash chain, no ledger. */
function migrated(frames: readonly BenchFrame[]): Archive {
  const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
  migrations.find((step) => step.version === 1)?.apply(db, { id: 'of later versions', at: 0 }, 0);
  db.pragma('user_version = 1');
  db.transaction(() => {
    db.prepare('INSERT INTO runs VALUES (?, ?, ?, ?, ?, ?, ?)').run(0, '0190a000-0000-7000-8000-000000000001', 1_720_000_000_000, plan.name, plan.order, 'Operator 1', 'test 1');
    const backAt = frames.findIndex((frame, i) => i > 0 && frame.at < (frames[i - 1]?.at ?? 0));
    [framesFrom(1, 40), frames.slice(0, backAt), frames.slice(backAt)].forEach((stretch, chunk) => {
      const [first, last] = [stretch[0], stretch.at(-1)];
      if (first === undefined || last === undefined) throw new Error('a stretch has frames');
      const segment = chunk < 2 ? 0 : 1;
      if (chunk !== 1) db.prepare('INSERT INTO segments VALUES (?, ?, ?)').run(0, segment, first.bootId);
      db.prepare('INSERT INTO telemetry VALUES (?, ?, ?, ?, ?, ?, ?, ?)').run(0, chunk, segment, Math.floor(first.at * 1e6), Math.ceil(last.at * 1e6), last.number, stretch.length, encodeFrames(stretch));
    });
    bodies(frames).forEach((body, seq) => {
      db.prepare('INSERT INTO events VALUES (?, ?, ?, ?, ?)').run(0, seq, 1_720_000_000_000 + seq, body.kind, JSON.stringify(body));
      if (body.kind === 'attempt-ended') db.prepare('INSERT INTO attempts VALUES (?, ?, ?, ?, ?, ?)').run(0, body.point, body.attempt, seq, body.verdict, body.point);
    });
  })();
  db.close();
  const opened = openArchive(file, { now: () => unixMillis(1_750_000_000_000), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  return opened.archive;
}

const windowsOf = (archive: Archive) => archive.verify().checks.find(({ name }) => name === 'windows');

describe('ARC-21 a clock step inside a window of an old archive', () => {
  it.each([
    ['of this version, back by 0.7 s', written, 0.7],
    ['of this version, back by 5 s', written, 5],
    ['of version 1, back by 0.7 s', migrated, 0.7],
    ['of version 1, back by 5 s', migrated, 5],
  ])('%s: proved by the numbers of the frames, and said to be no measurement', (_, make, s) => {
    const frames = stepped(s);
    const archive = make(frames);
    try {
      expect(archive.verify().checks.filter(({ passed }) => !passed)).toEqual([]);
      expect(windowsOf(archive)?.text).toMatch(/In 1 of them the clock of the controller stepped back.*is proved, that they measure a flow is not\. Measure again: Attempt 1 of point 2 of run/);
      const run = archive.latestRun();
      // Who asks for the telemetry of the window gets the frames that it was computed from.
      expect(archive.windowFrames(run?.id ?? '', { point: 1, attempt: 1 }).map(({ number }) => number)).toEqual(frames.map(({ number }) => number));
    } finally {
      archive.close();
    }
  });

  it('without a step nothing is said of one', () => {
    const archive = written(framesFrom(101, 40));
    expect(windowsOf(archive)).toMatchObject({ passed: true, text: expect.not.stringContaining('stepped back') as string });
    archive.close();
  });

  it('a window that was changed is found, step or no step', () => {
    const frames = stepped(0.7);
    written(frames).close();
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    const [row] = db.prepare<[], { seq: number; body: string }>("SELECT seq, body FROM events WHERE kind = 'attempt-ended' ORDER BY seq DESC LIMIT 1").all();
    if (row === undefined) throw new Error('there is an attempt');
    db.exec('DROP TRIGGER events_no_update');
    db.prepare('UPDATE events SET body = ? WHERE seq = ?').run(row.body.replace(/"pulses":(\d+)/, (_, n: string) => `"pulses":${Number(n) + 1}`), row.seq);
    db.close();
    const opened = openArchive(file, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    expect(windowsOf(opened.archive)).toMatchObject({ passed: false, text: expect.stringContaining('comes out differently') as string });
    opened.archive.close();
  });
});
