/** Blind windows through the whole house: sealed, found, told, and held against their seals. */
import { join } from 'node:path';
import { rmSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { seconds, unixMillis } from '../../app/quantities/quantity.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { sealOf } from '../../main/archive/seal.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';
import { reduction, runInProcess, samplePlan, scenario, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';

test('RUN-210 RUN-211 RUN-212 RED-115 a run on the simulated bench seals its shifts, tells them at its end, and the reduction has found them', async () => {
  const small = withoutLeakChecks(samplePlan('small-plan'));
  const plan = { ...small, axes: { ...small.axes, widthMs: [3, 4, 5, 6, 8, 10], replicates: 2 }, blind: { percent: 20, mostUs: 20 } };
  const { state, events, verified } = await runInProcess({ plan, scenario: scenario({ seed: 5 }) });
  expect(state.ending).toBe('complete');
  expect(verified).toBe(true);
  const told = events.flatMap((e) => (e.kind === 'blind-unsealed' ? e.shifts : []));
  const sealed = events.flatMap((e) => (e.kind === 'blind-sealed' ? [e] : []));
  expect(told).toHaveLength(9);
  expect(sealed.map((s) => s.seal)).toEqual(told.map(sealOf));
  const { blind } = reduction(state);
  expect(blind.length).toBeGreaterThan(5);
  for (const { found, u, truth } of blind) expect(Math.abs(found - (truth ?? Number.NaN)) / u).toBeLessThan(5);
  // They were found, and not only because there was nothing to find.
  expect(Math.max(...told.map((t) => Math.abs(t.shift)))).toBeGreaterThan(5e-6);
}, 120_000);

describe('a secret that is told', () => {
  let folder = '';
  let archive: Archive;
  let run = '';

  beforeAll(() => {
    folder = scratchFolder();
    let at = 1_750_000_000_000;
    const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis((at += 1000)), entropy: machineEntropy });
    if (!opened.ok) throw new Error(opened.text);
    archive = opened.archive;
    const plan = planOf('Run', 'Order 1', ['S-1']);
    const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test 1', simulated: true });
    if (!created.ok) throw new Error(created.text);
    run = created.id;
    const frames = framesFrom(1, 40);
    archive.append(run, [openedBody(plan)], []);
    archive.append(run, attemptBodies(0, 1, 'accepted', frames), frames);
  });

  afterAll(() => {
    archive.close();
    rmSync(folder, { recursive: true, force: true });
  });

  const check = () => archive.verify().checks.find((c) => c.name === 'blind windows');

  test('RUN-212 verify holds it against its seal', () => {
    const secret = { point: 0, attempt: 1, shift: seconds(7e-6), salt: 'salt' };
    archive.append(run, [{ kind: 'blind-sealed', point: 0, attempt: 1, seal: sealOf(secret) }, { kind: 'blind-unsealed', shifts: [secret] }], []);
    expect(check()).toMatchObject({ passed: true });
    expect(archive.verify().passed).toBe(true);
    archive.append(run, [{ kind: 'blind-unsealed', shifts: [{ ...secret, shift: seconds(7.5e-6) }] }], []);
    const found = check();
    expect(found?.passed).toBe(false);
    expect(JSON.stringify(found)).toContain('not the one that was sealed');
  });
});
