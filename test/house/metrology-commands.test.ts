/** The metrology commands as a shell sees them. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { replicatedPlan, scratchFolder } from '../builders/in-process.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
const sample = join(import.meta.dirname, '..', '..', 'main', 'samples', 'meter-check.json');
let folder = '';
let archive = '';

function cli(...args: readonly string[]): { readonly code: number | null; readonly said: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...args, '--archive', archive], { encoding: 'utf8' });
  return { code: status, said: stdout + stderr };
}

beforeAll(() => {
  folder = scratchFolder();
  archive = join(folder, 'archive.sqlite');
  const plan = join(folder, 'plan.json');
  writeFileSync(plan, JSON.stringify(replicatedPlan()));
  const swept = cli('sweep', plan, '--operator', 'A. Tester');
  if (swept.code !== 0) throw new Error(swept.said);
}, 120_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('outliers', () => {
  it('says what was tested, and repeatability over width', () => {
    const { code, said } = cli('outliers');
    expect(code).toBe(0);
    expect(said).toMatch(/among 16 pairs of replicates\. What lies less than about \d\.\d standard deviations/);
    expect(said).toMatch(/5\.000 ms\s+0\.\d{3} %.*4 degrees of freedom/);
  });
});

describe('match', () => {
  it('prints sets with deviations and whether they are proved best', () => {
    const { code, said } = cli('match', '--sets', '2', '--of', '2', '--at', 'mass:14V:400kPa:3ms', 'dead-time:14V:400kPa:x0.1');
    expect(code).toBe(0);
    expect(said).toMatch(/Point 2: dead time at 14 V, 400 kPa, period 20 ms, weight 0\.1/);
    expect(said).toMatch(/Set 2, cost/);
    expect(said).toMatch(/spread\s+\d+\.\d+ ± \d+\.\d+ %\s+\d+\.\d+ ± \d+\.\d+ µs/);
    expect(said).toMatch(/Proved best/);
    expect(said).not.toMatch(/NaN|undefined/);
  });

  it('refuses what it cannot do in a sentence', () => {
    expect(cli('match', '--sets', '3', '--of', '2')).toMatchObject({ code: 2 });
    expect(cli('match', '--sets', '3', '--of', '2').said).toMatch(/need 6 injectors .* there are 4\./);
    for (const at of ['mass:14V:400kPa', 'weight:14V', 'slope:14V:400kPa:3ms', 'mass:14V:400kPa:3ms:x-1']) {
      const { code, said } = cli('match', '--at', at);
      expect(code).toBe(2);
      expect(said).toMatch(/^--at /);
    }
    expect(cli('match', '--of', '1').code).toBe(2);
    expect(cli('match', '--of', '2', '--at', 'mass:9V:400kPa:3ms').said).toMatch(/Left out: S-1\. Its run did not measure 9 V/);
  });
});

describe('reference-history', () => {
  it('lists the runs, and says why there are no limits yet', () => {
    const { code, said } = cli('reference-history');
    expect(code).toBe(0);
    expect(said).toMatch(/Reference injector S-1 at 14 V, 400 kPa, 5 ms/);
    expect(said).toMatch(/meter SIM-26-001/);
    expect(said).toMatch(/No limits: The baseline needs 8 points and there are 1\..*\nThree runs before the newest at least are needed to judge it by them\./);
    expect(cli('reference-history', 'S-9').code).toBe(2);
    expect(cli('reference-history', '--baseline', '2').code).toBe(2);
  });
});

describe('qualification', () => {
  const sheet = join(import.meta.dirname, '..', '..', 'main', 'samples', 'qualification.json');
  const bench = 'simulated-bench SIM-0001';
  const changed = (change: object): string => {
    const path = join(folder, 'qualification.json');
    writeFileSync(path, JSON.stringify({ ...(JSON.parse(readFileSync(sheet, 'utf8')) as object), ...change }));
    return path;
  };

  it('CLI-40 keeps a sheet, says what each line came to, and ends with 8 where it qualifies nothing', () => {
    expect(cli('qualification', 'list').said).toContain('holds no qualification of a bench');
    const added = cli('qualification', 'add', sheet);
    expect(added.code).toBe(0);
    expect(added.said).toMatch(/Sheet 1 of simulated-bench SIM-0001 .* by A\. Tester/u);
    expect(added.said).toMatch(/Leak +passes +1 edge in 90 s, at 400 kPa: 0\.014 mL\/min \(0\.05 mL\/min at most\)/u);
    expect(added.said).toContain('Qualified until 2026-03-03 07:30 UTC.');
    const failed = cli('qualification', 'add', changed({ vented: { kpa: 3, source: 'by-hand' } }));
    expect(failed.code).toBe(8);
    expect(failed.said).toMatch(/Pressure, vented +FAILS +3\.00 kPa .*by hand\n/u);
    expect(cli('qualification', 'add', changed({ doneAt: '2199-01-01T00:00:00Z' }))).toMatchObject({ code: 2, said: expect.stringContaining('Nothing was kept') as string });
    expect(cli('qualification', 'add', changed({ limits: 1 }))).toMatchObject({ code: 2 });
    expect(cli('verify').code).toBe(0);
  });

  it('CLI-41 PRE-66 lists the sheets and what counts now, and a plan that requires a qualification is refused by check-plan without one that holds', () => {
    const listed = cli('qualification', 'list', '--bench', bench);
    expect(listed.code).toBe(0);
    expect(listed.said.match(/^Sheet \d/gmu)).toEqual(['Sheet 1', 'Sheet 2']);
    expect(listed.said).toContain('The latest qualification of simulated-bench SIM-0001');
    expect(cli('qualification', 'list', '--bench', 'none')).toMatchObject({ code: 2 });
    const plan = join(folder, 'requiring.json');
    writeFileSync(plan, JSON.stringify({ ...replicatedPlan(), qualification: 'required' }));
    const check = (): string => /^PRE-66 +(\w+)/mu.exec(cli('check-plan', plan).said)?.[1] ?? '';
    expect(check()).toBe('refuse');
    expect(cli('sweep', plan, '--operator', 'A. Tester')).toMatchObject({ code: 3, said: expect.stringContaining('PRE-66') as string });
    expect(cli('qualification', 'add', changed({ doneAt: new Date(Date.now() - 3_600_000).toISOString() })).code).toBe(0);
    expect(check()).toBe('pass');
  });

  it('EQ-25, REP-53 a run says under which qualification it was opened, so that the sheet can be held against it, and one without says none', () => {
    const plan = join(folder, 'requiring.json');
    expect(cli('sweep', plan, '--operator', 'A. Tester').code).toBe(0);
    const opened = openArchive(archive, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    const [latest, first] = opened.archive.runs({ limit: 50, text: '' });
    const named = (id: string) => [...opened.archive.events(id)].flatMap(({ body }) => (body.kind === 'preflight' ? [body.qualification] : []));
    const [sheet] = opened.archive.records.versions('qualification', bench, 1);
    expect(named(latest?.id ?? '')).toEqual([{ bench, version: 3, sha256: createHash('sha256').update(JSON.stringify(sheet?.document)).digest('hex'), until: expect.any(Number) as number }]);
    expect(named(first?.id ?? '')).toEqual([undefined]);
    opened.archive.close();
    expect(cli('report', '--to', join(folder, 'report'), '--length', 'full').code).toBe(0);
    expect(readFileSync(join(folder, 'report', 'report.html'), 'utf8')).toMatch(/The bench simulated-bench SIM-0001 was qualified until .* sheet 3 of the laboratory/u);
  });
});

describe('meter-check', () => {
  it('keeps a check, and gives the record of the run that refers to it', () => {
    expect(cli('meter-check', 'in-force')).toMatchObject({ code: 8 });
    const added = cli('meter-check', 'add', sample);
    expect(added.code).toBe(0);
    expect(added.said).toMatch(/within the 0\.3 % allowed\. It came into force\./);
    expect(added.said).toContain('ISO 4185');
    expect(cli('meter-check', 'list', '--date', '2026-12-31').said).toMatch(/In force on 2026-12-31: check 1 \(SIM-MC-26-01\)/);
    const record = join(folder, 'equipment.json');
    expect(cli('meter-check', 'in-force', '--date', '2026-12-31', '--to', record).code).toBe(0);
    expect(parseEquipment(JSON.parse(readFileSync(record, 'utf8')))).toMatchObject({ ok: true, equipment: { meter: { certificate: { number: 'SIM-MC-26-01' } } } });
    expect(JSON.parse(cli('meter-check', 'in-force', '--date', '2026-12-31').said)).toEqual(JSON.parse(readFileSync(record, 'utf8')));
    expect(cli('meter-check', 'in-force', '--date', '2026-03-01')).toMatchObject({ code: 8 });
    expect(cli('verify').code).toBe(0);
  });

  it('MC-19, PRE-63: keeps a check that found a drift too, suspends by it, and says so to scripts and to whoever measures', () => {
    const drifted = JSON.parse(readFileSync(sample, 'utf8')) as { purpose: string; certificate: object; flowRates: { runs: { startG: number; endG: number }[] }[] };
    drifted.purpose = 'verification';
    drifted.certificate = { number: 'SIM-MC-26-02', date: '2026-04-02', validUntil: '2099-12-31' };
    for (const { runs } of drifted.flowRates) for (const run of runs) run.endG = run.startG + 0.99 * (run.endG - run.startG);
    const path = join(folder, 'drifted.json');
    writeFileSync(path, JSON.stringify(drifted));
    const added = cli('meter-check', 'add', path);
    expect(added.code).toBe(8);
    expect(added.said).toMatch(/drifted by more than 0\.3 %.*It suspends the calibration in force\./);
    // MC-19: the run above was measured after the last good check.
    expect(added.said).toMatch(/Measured with meter SIM-FM-01 since 2026-03-02, when it was last known to be good, and in doubt:\n {2}20\d\d-\d\d-\d\d {2}[0-9a-f-]{36}\n/);
    // PRE-63: whoever measures is told.
    const next = cli('sweep', join(folder, 'plan.json'), '--operator', 'A. Tester');
    expect(next.code).toBe(3);
    expect(next.said).toMatch(/PRE-63\s+refuse\s+No calibration of meter SIM-FM-01 is in force .* drifted/);
    expect(cli('check-plan', join(folder, 'plan.json')).said).toMatch(/PRE-63\s+refuse/);
    const now = cli('meter-check', 'in-force', '--date', '2026-12-31');
    expect(now.code).toBe(8);
    expect(now.said).toMatch(/check 2 \(SIM-MC-26-02, 2026-04-02\) found that the meter has drifted/);
  });

  it('refuses what is no check, another meter and no day', () => {
    const path = join(folder, 'wrong.json');
    const good = JSON.parse(readFileSync(sample, 'utf8')) as object;
    writeFileSync(path, JSON.stringify({ ...good, evaporation: undefined }));
    expect(cli('meter-check', 'add', path).said).toMatch(/evaporation: This field is missing/);
    writeFileSync(path, JSON.stringify({ ...good, meterSerialNumber: 'X' }));
    expect(cli('meter-check', 'add', path)).toMatchObject({ code: 2 });
    expect(cli('meter-check', 'add', path).said).toMatch(/check is of meter X.*Nothing was kept\./);
    expect(cli('meter-check', 'list', '--date', 'tomorrow')).toMatchObject({ code: 2 });
  });
});

describe('blind-history', () => {
  it('without a blind window there is nothing to hold: said, with what to do', () => {
    const { code, said } = cli('blind-history');
    expect(code).toBe(2);
    expect(said).toMatch(/No run in .* has a blind window that counts\. Give plans blind\.percent above 0\./);
  });
});
