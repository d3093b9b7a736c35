/** How long a bench takes to settle, as a shell asks it, on simulated benches whose rail fills up again with a known time constant. */
import { spawnSync } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { bareEnvironment, samplePlan, scratchFolder } from '../builders/in-process.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
let folder = '';
const at = (name: string): string => join(folder, name);

function cli(...args: readonly string[]): { readonly code: number | null; readonly said: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...args], { cwd: folder, env: bareEnvironment(folder), encoding: 'utf8', timeout: 300_000 });
  return { code: status, said: stdout + stderr };
}

interface Told {
  readonly waitedS: number;
  readonly pressure: { readonly within: number; readonly attempts: number };
  readonly flow: readonly { readonly fromS: number; readonly toS: number; readonly mean: number; readonly expanded: number; readonly attempts: number }[];
  readonly flowFromS: number | null;
}

/** What is said of a sweep on a bench whose meter sees what flows with this delay. */
function on(name: string, refillMs: number): { readonly told: Told; readonly said: string } {
  writeFileSync(at(`${name}.json`), JSON.stringify({ scenarioVersion: 1, seed: 5, noise: false, imperfections: { rail: { complianceMlPerMpa: 100, refillMs } } }));
  const archive = ['--archive', at(`${name}.sqlite`)];
  const swept = cli('sweep', at('plan.json'), '--scenario', at(`${name}.json`), '--operator', 'A. Tester', ...archive);
  if (swept.code !== 0) throw new Error(swept.said);
  const [json, text] = [cli('settling', '--json', ...archive), cli('settling', ...archive)];
  expect([json.code, text.code]).toEqual([0, 0]);
  return { told: JSON.parse(json.said) as Told, said: text.said };
}

beforeAll(() => {
  folder = scratchFolder();
  const plan = samplePlan('small-plan', (small) => ({ ...small, settleS: 0.5, purge: { ...small.purge, pulses: 0 }, axes: { ...small.axes, widthMs: [2.5, 4], replicates: 4 }, window: { ...small.window, minS: 5, maxS: 20 } }));
  writeFileSync(at('plan.json'), JSON.stringify(plan));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('settling of a bench', () => {
  it('CLI-77 RUN-247: a bench that settles at once is told so, with the time that its plan waits too long', { timeout: 300_000 }, () => {
    const { told, said } = on('quick', 30);
    expect(told).toMatchObject({ waitedS: 0.5, pressure: { within: told.pressure.attempts } });
    expect(told.pressure.attempts).toBeGreaterThanOrEqual(32);
    for (const { mean, expanded } of told.flow.slice(1)) expect(Math.abs(mean)).toBeLessThan(2 * expanded + 1e-3);
    expect(told.flowFromS).not.toBeNull();
    expect(said).toMatch(/the plan waits 0\.5 s, which is \d+(\.\d+)? s (more )?over all of them\./u);
    expect(said).not.toMatch(/NaN|undefined|Infinity|too short/u);
  });

  it('CLI-77: where the meter sees the flow with a delay, the flow is told to come up with its time constant, and the wait is too short', { timeout: 300_000 }, () => {
    const tauS = 0.3;
    const { told, said } = on('slow', tauS * 1e3);
    const [first, second, third] = told.flow;
    if (first === undefined || second === undefined || third === undefined) throw new Error(said);
    // Of the first row only that it is lower still: it begins with its first edge, and with what flows after the attempt before.
    expect(first.mean).toBeLessThan(second.mean);
    expect(second.mean).toBeLessThan(third.mean);
    expect(third.mean).toBeLessThan(-0.001);
    expect(Math.abs(Math.log(second.mean / third.mean) - (third.fromS - second.fromS) / tauS)).toBeLessThan(0.4);
    expect(told.flowFromS).toBeNull();
    expect(said).toMatch(/The wait is too short: 0\.5 s after the pulses began the flow was still \d+\.\d+ % below what it came to\./u);
  });

  it('CLI-77: a run whose attempts are too few is refused with how many are needed', { timeout: 300_000 }, () => {
    writeFileSync(at('one.json'), JSON.stringify(samplePlan('small-plan', (small) => ({ ...small, axes: { ...small.axes, voltageV: [14], widthMs: [5] } }))));
    expect(cli('sweep', at('one.json'), '--operator', 'A. Tester', '--archive', at('one.sqlite')).code).toBe(0);
    expect(cli('settling', '--archive', at('one.sqlite'))).toMatchObject({ code: 2, said: expect.stringMatching(/5 are needed at least/u) as string });
  });
});
