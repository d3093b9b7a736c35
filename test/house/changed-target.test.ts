/** A target is changed by command in the middle of a run. */
import { spawn, spawnSync } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { bareEnvironment, samplePlan, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';
import { onWindows } from '../builders/systems.ts';

const main = join(import.meta.dirname, '../../main/cli/main.ts');
const plan = samplePlan('small-plan', (small) => ({
  ...withoutLeakChecks(small),
  axes: { ...small.axes, voltageV: [12, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] },
  targets: { deadTimeUs: 2, atVoltage: [], map: { voltageV: [12, 13, 14], pressureKpa: small.axes.pressureKpa, deadTimeUs: 60 }, hours: 2, attemptsPerCell: 30, known: [] },
}));

describe.skipIf(onWindows)('continue with other targets', () => {
  let folder = '';
  beforeAll(() => {
    folder = scratchFolder();
    writeFileSync(join(folder, 'plan.json'), JSON.stringify(plan));
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  const where = (): readonly string[] => ['--archive', join(folder, 'archive.sqlite'), '--operator', 'A. Tester', '--quiet', '--json'];
  const goOn = (...targets: readonly string[]) => spawnSync(process.execPath, [main, 'continue', '--target', ...targets, ...where()], { cwd: folder, env: bareEnvironment(folder), encoding: 'utf8', timeout: 240_000 });
  /** Target changes of the only run, and how it ended. */
  const kept = () => {
    const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis(0), entropy: { nextUint32: () => 1 } });
    if (!opened.ok) throw new Error(opened.text);
    try {
      const run = opened.archive.latestRun();
      return [...opened.archive.events(run?.id ?? '')].map(({ body }) => body);
    } finally {
      opened.archive.close();
    }
  };

  it('CLI-50: the run goes on by them, as its journal says; what is none is refused before anything is driven', { timeout: 480_000 }, async () => {
    const sweep = spawn(process.execPath, [main, 'sweep', join(folder, 'plan.json'), '--speed', '100', ...where()], { cwd: folder, env: bareEnvironment(folder), stdio: ['ignore', 'pipe', 'ignore'] });
    // As fast as it can the run is over before anybody could ask.
    let [said, asked] = ['', false];
    sweep.stdout.on('data', (bytes: Buffer) => {
      said += bytes.toString();
      if (asked || !/"accepted":[1-9]/u.test(said)) return;
      asked = true;
      sweep.kill('SIGINT');
    });
    expect(await new Promise((resolve) => sweep.on('close', resolve))).toBe(5);
    const before = kept().length;
    for (const [given, words] of [['x', 'is no target'], ['0', 'is no target'], ['9V=8', 'none of the voltages'], ['2', 'already'], ['12V=2', 'already'], ['1V=', 'is no target'], ['map:60', 'at every voltage of the map already'], ['map:9V=8', 'none of the voltages of the map: 12, 13, 14 V']] as const) {
      const { status, stderr } = goOn(given);
      expect({ given, status, told: stderr.includes(words) }).toEqual({ given, status: 2, told: true });
    }
    expect(kept().length).toBe(before);
    const { status, stderr } = goOn('40', '14V=30', 'map:13V=55');
    expect(`${status ?? ''} ${stderr}`).toMatch(/^0 /);
    const after = kept();
    expect(after.filter((event) => event.kind === 'target-changed')).toMatchObject([{ voltageV: null, deadTimeUs: 40, before: 2, by: 'A. Tester' }, { voltageV: 14, deadTimeUs: 30, before: 40 }, { voltageV: 13, deadTimeUs: 55, before: 60, ofMap: true }]);
    expect(after.some((event) => event.kind === 'ended')).toBe(true);
  });
});
