/** The journal room from outside: the one door (RUN-180), and points that were added, through archive, list, window and files (RUN-183). */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { requests } from '../../app/contract/contract.ts';
import { createEngine } from '../../app/run/engine.ts';
import { TestRun } from '../../app/run/scripted-bench.test-helper.ts';
import { volts } from '../../app/quantities/quantity.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { exportRun } from '../../main/export/export-run.ts';
import { loadRun } from '../../main/service/run-service.ts';
import { JournalFeed } from '../../renderer/host/journal-feed.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';

const root = join(import.meta.dirname, '../..');

describe('the door to the past', () => {
  const product = execFileSync('git', ['ls-files', '-z', 'app/*.ts', 'main/*.ts', 'renderer/*.ts', 'renderer/*.tsx'], { cwd: root, encoding: 'utf8' })
    .split('\0')
    .filter((path) => path !== '' && !/\.test(-helper)?\.tsx?$/.test(path));
  /** Ways in which what was stored or sent becomes an event: a cast, a schema that checks nothing. */
  const otherDoor = /\bas (?:unknown as )?(?:readonly )?RunEvent(?:Body)?\b|custom<(?:readonly )?RunEvent(?:Body)?\b|ZodType<RunEvent(?:Body)?\b/;

  it('RUN-180 is the only one: no other product file makes an event of what it does not know', () => {
    expect(product.length).toBeGreaterThan(250);
    const doors = product.filter((path) => otherDoor.test(readFileSync(join(root, path), 'utf8')));
    expect(doors.sort()).toEqual(['app/journal/upcast.ts']);
  });

  it('RUN-180 is passed by rows of the archive and by what a window hears, and by nothing else', () => {
    const users = product.filter((path) => /from '[./a-z-]*journal\/upcast\.ts'/.test(readFileSync(join(root, path), 'utf8')));
    expect(users).toEqual(['app/contract/run-requests.ts', 'main/archive/read.ts']);
    // A text of the archive becomes an object in one place, and its events go through the door from there.
    const readers = product.filter((path) => path.startsWith('main/archive/') && /JSON\.parse\((?:row\.body|body|text)\b/.test(readFileSync(join(root, path), 'utf8')));
    expect(readers.sort()).toEqual(['main/archive/ledger.ts', 'main/archive/read.ts']);
  });
});

describe('points that were added', () => {
  let folder = '';
  beforeEach(() => {
    folder = scratchFolder();
  });
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  it('RUN-183 are in the archive, its list, the window and the files like those of the plan', async () => {
    const run = new TestRun();
    const [first] = run.points;
    if (first === undefined) throw new Error('no point');
    const planned = run.points.length;
    const { role, injector, channel, pressure, width, period, replicate } = first;
    run.journal.push({
      kind: 'points-added', points: [{ role, injector, channel, voltage: volts(12.5), pressure, width, period, replicate }], by: { rule: 'RUN-183' }, why: 'the curve over voltage is not known well enough',
    });
    run.engine = createEngine(run.refold());
    run.start();
    run.runUntil((r) => r.mode === 'ended', 5000);

    const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => machineClock.unixNow(), entropy: machineEntropy });
    if (!opened.ok) throw new Error(opened.text);
    const { archive } = opened;
    try {
      const state = run.refold();
      const made = archive.createRun({ plan: state.plan, equipment: state.equipment, operator: 'op', software: 'test', simulated: true });
      if (!made.ok) throw new Error(made.text);
      for (const body of run.journal) expect(archive.append(made.id, [body], []).ok).toBe(true);
      expect(archive.run(made.id)?.status).toMatchObject({ points: planned + 1, counting: planned + 1, ending: 'complete' });
      const checks = new Map(archive.verify().checks.map(({ name, passed }) => [name, passed]));
      expect(['hash chain', 'journals', 'attempts', 'list of runs'].map((name) => checks.get(name))).toEqual([true, true, true, true]);

      const page = requests['run.journal'].result.parse(JSON.parse(JSON.stringify({ events: [...archive.events(made.id)], more: false })));
      const feed = new JournalFeed(() => Promise.resolve({ ok: true, value: page }), () => undefined);
      await feed.fill();
      expect(feed.view.state?.setPoints.at(-1)).toMatchObject({ index: planned, voltage: 12.5 });
      expect(feed.view.state?.points.at(planned)).toMatchObject({ chosen: 1 });

      const loaded = loadRun(archive, made.id);
      if (!loaded.ok) throw new Error(loaded.text);
      const to = join(folder, 'tables');
      mkdirSync(to);
      const written = await exportRun(to, { archive, runId: made.id, state: loaded.state, software: 'test' });
      expect(written.kind).not.toBe('failed');
      const attempts = readFileSync(join(to, 'attempts.csv'), 'utf8').trim().split('\n');
      expect(attempts.at(-1)).toContain('12.5');
      const file = JSON.parse(readFileSync(join(to, 'reduction.json'), 'utf8')) as { reduction: { windows: { at: { voltage: number } }[] } };
      expect(JSON.stringify(file)).toContain('12.5');
    } finally {
      archive.close();
    }
  });
});
