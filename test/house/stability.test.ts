/** How steady a bench holds a point, as a shell asks it, on simulated benches on which the answer is known in closed form. */
import { spawnSync } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePath } from '../../main/samples/samples.ts';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
/** Steps of a second held: enough for averages of two minutes. */
const HELD_S = 600;
let folder = '';

function cli(...args: readonly string[]): { readonly code: number | null; readonly said: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...args], { cwd: folder, env: bareEnvironment(folder), encoding: 'utf8', timeout: 300_000 });
  return { code: status, said: stdout + stderr };
}

interface Line {
  readonly signal: string;
  readonly stepS: number;
  readonly durationS: number;
  readonly rows: readonly { readonly timeS: number; readonly deviation: number; readonly low: number; readonly high: number; readonly dof: number; readonly noise: string }[];
  readonly paysUntil: { readonly timeS: number | null } | null;
  readonly drift: { readonly perSecond: number; readonly expanded: number; readonly called: boolean };
}

const told = (archive: string): readonly Line[] => {
  const { code, said } = cli('stability', '--json', '--archive', archive);
  if (code !== 0) throw new Error(said);
  return said.trim().split('\n').map((line) => JSON.parse(line) as Line);
};

/** The mass of a hold on a bench of which nothing moves but what is planted. */
function massOn(name: string, imperfections: object): Line {
  const [bench, archive] = [join(folder, `${name}.json`), join(folder, `${name}.sqlite`)];
  writeFileSync(bench, JSON.stringify({ scenarioVersion: 1, seed: 91, noise: false, imperfections }));
  const { code, said } = cli('sweep', join(folder, 'hold.json'), '--scenario', bench, '--operator', 'A. Tester', '--archive', archive);
  if (code !== 0) throw new Error(said);
  const mass = told(archive).find((line) => line.signal === 'mass');
  if (mass === undefined) throw new Error('no mass');
  return mass;
}

/** Each row that a fair number of averages tell, within four of its own standard deviations of what it is by the closed form. */
function expectRows({ rows }: Line, from: number, expected: (time: number) => number): void {
  const sure = rows.filter((r) => r.timeS >= from && r.dof >= 10);
  expect(sure.length).toBeGreaterThanOrEqual(2);
  for (const row of sure) expect(Math.abs(Math.log(row.deviation / expected(row.timeS)))).toBeLessThan(4 / Math.sqrt(2 * row.dof));
}

beforeAll(() => {
  folder = scratchFolder();
  const sample = JSON.parse(readFileSync(samplePath('reference-hold'), 'utf8')) as { window: object };
  writeFileSync(join(folder, 'hold.json'), JSON.stringify({ ...sample, look: { windowS: 0 }, zero: { windowS: 0 }, window: { ...sample.window, minS: HELD_S, maxS: HELD_S + 60 } }));
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('stability of a reference hold', () => {
  it('CLI-75 RED-165 white scatter goes down with the root of the time, and averaging pays to the end', () => {
    // Spans of 3 s, each 0.1 % off by itself: averages that begin anywhere in them have sigma^2 (3 / t) (1 - 1.5 / t).
    const mass = massOn('white', { studentDof: 200 });
    expect(mass.durationS).toBeGreaterThan(HELD_S - 10);
    expectRows(mass, 8, (t) => 1e-3 * Math.sqrt((3 / t) * (1 - 1.5 / t)));
    expect(mass.rows.at(-1)?.noise).toBe('white');
    expect(mass.drift.called).toBe(false);
  }, 300_000);

  it('a random walk grows as K sqrt(time / 3), and averaging never pays', () => {
    const mass = massOn('walk', { walkPercentPerRootH: 2 });
    expectRows(mass, 2, (t) => 0.02 * Math.sqrt(t / 3600 / 3));
    expect(mass.rows.at(-1)?.noise).toBe('walk');
    expect(mass.paysUntil?.timeS ?? Infinity).toBeLessThan(8);
  }, 300_000);

  it('a drift is D time / sqrt(2), and is called', () => {
    const mass = massOn('drift', { driftPercentPerH: 20 });
    const perSecond = 0.2 / 3600;
    // Relative to the mean, at which half an hour of it has passed already or is to come: within a few per cent.
    for (const row of mass.rows.filter((r) => r.timeS >= 8)) expect(row.deviation / ((perSecond * row.timeS) / Math.SQRT2)).toBeCloseTo(1, 1);
    expect(mass.drift.called).toBe(true);
    expect(Math.abs(mass.drift.perSecond / perSecond - 1)).toBeLessThan(0.05);
  }, 300_000);

  it('says of each signal what a person needs, and of a run without a hold what to do', () => {
    const hold = join(folder, 'white.sqlite');
    const { code, said } = cli('stability', '--archive', hold);
    expect(code).toBe(0);
    expect(said).toMatch(/RH4-0117 at 14 V, 400 kPa, 8 ms of 20 ms: point \d+, \d+ s in steps of 1 s/u);
    for (const name of ['Mass per pulse: Allan deviation, %', 'Rail pressure: Allan deviation, Pa', 'Averaging pays', 'Drift:', 'No plan takes its window length from this']) expect(said).toContain(name);
    expect(said).not.toMatch(/NaN|undefined|Infinity/u);
    expect(cli('stability', '--archive', hold, '--point', '1').said).toMatch(/point 1, /u);
    expect(cli('stability', '--archive', hold, '--point', '99')).toMatchObject({ code: 2, said: expect.stringMatching(/No attempt counts for this point/u) as string });
    const short = join(folder, 'short.sqlite');
    expect(cli('sweep', samplePath('small-plan'), '--operator', 'A. Tester', '--archive', short).code).toBe(0);
    expect(cli('stability', '--archive', short)).toMatchObject({ code: 2, said: expect.stringMatching(/At least 32 s are needed.*measure a reference hold/u) as string });
  }, 300_000);
});
