import { Ajv2020 } from 'ajv/dist/2020.js';
import { spawn, spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { SerialPort } from 'serialport';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Plan } from '../../app/plan/plan.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { servePtyBench, type PtyBench } from '../../main/bench/pty-bench.ts';
import { WallClock } from '../../main/clock/clock.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { sampleEquipment, samplePlan, scratchFolder } from '../builders/in-process.ts';
import { onWindows } from '../builders/systems.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
/** Bench time against real time for what runs on a pseudo-terminal. */
const SPEED = 5;

interface Ended {
  readonly code: number | null;
  readonly said: string;
}

interface Hosting {
  readonly ended: Promise<Ended>;
  /** Resolves when the program has said something that matches. */
  readonly says: (pattern: RegExp) => Promise<void>;
  readonly signal: (name: NodeJS.Signals) => void;
}

function host(...args: readonly string[]): Hosting {
  const child = spawn(process.execPath, [command, ...args], { stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  const listeners = new Set<() => void>();
  for (const stream of [child.stdout, child.stderr]) {
    stream.on('data', (bytes: Buffer) => {
      said += bytes.toString();
      for (const listener of listeners) listener();
    });
  }
  const ended = new Promise<Ended>((resolve) => child.on('close', (code) => resolve({ code, said })));
  return {
    ended,
    says: (pattern) =>
      new Promise((resolve, reject) => {
        const look = (): void => {
          if (!pattern.test(said)) return;
          listeners.delete(look);
          resolve();
        };
        listeners.add(look);
        look();
        void ended.then(() => {
          reject(new Error(`ended without saying ${String(pattern)}: ${said}`));
        });
      }),
    signal: (name) => void child.kill(name),
  };
}

/** A command that measures, in the name of a person. */
const measuring = (...args: readonly string[]): Hosting => host(...args, '--operator', 'A. Tester');

let folder = '';
let archive = '';
const benches: PtyBench[] = [];

beforeEach(() => {
  folder = scratchFolder();
  archive = join(folder, 'archive.sqlite');
});
afterEach(() => {
  rmSync(folder, { recursive: true, force: true });
});
afterAll(() => {
  for (const bench of benches) bench.close();
});

function planFile(change: (plan: Plan) => unknown): string {
  const path = join(folder, 'plan.json');
  writeFileSync(path, JSON.stringify(change(samplePlan('small-plan'))));
  return path;
}

/** A plan whose dead-man bears a busy machine at the speed of these tests. */
const patient = (): string => planFile((plan) => ({ ...plan, link: { ...plan.link, deadManMs: 4000 } }));

async function ptyBench(): Promise<PtyBench> {
  const bench = await servePtyBench(scenarioSchema.parse({ scenarioVersion: 1 }), new WallClock(SPEED));
  benches.push(bench);
  return bench;
}

describe('bad input', () => {
  it('an unknown field of a plan is said with its path, and nothing is made', async () => {
    const { code, said } = await measuring('sweep', planFile((plan) => ({ ...plan, settelS: 1 })), '--archive', archive).ended;
    expect(code).toBe(2);
    expect(said).toMatch(/settelS: There is no field of this name/);
    expect(() => statSync(archive)).toThrow();
  });

  it('a plan that is not JSON, and one that is not there', async () => {
    const path = join(folder, 'broken.json');
    writeFileSync(path, '{ "planVersion": 1, ');
    const broken = await host('check-plan', path).ended;
    expect(broken.code).toBe(2);
    expect(broken.said).toMatch(/is not JSON/);
    const absent = await host('check-plan', join(folder, 'nowhere.json')).ended;
    expect(absent.code).toBe(2);
    expect(absent.said).toMatch(/cannot be read/);
  });

  it('the schemas of plan and equipment record are printed, and take the samples (PLAN-30)', async () => {
    for (const [command, sample] of [['plan-schema', 'plan'], ['equipment-schema', 'equipment']] as const) {
      const { code, said } = await host(command).ended;
      expect(code).toBe(0);
      const valid = new Ajv2020({ formats: { date: true }, strictTypes: false }).compile(JSON.parse(said) as object);
      expect(valid(readSample(sample))).toBe(true);
      expect(valid({})).toBe(false);
    }
  });

  it('a voltage out of reach refuses the start, with the rule', async () => {
    const plan = planFile((p) => ({ ...p, axes: { ...p.axes, voltageV: [12, 42] } }));
    const { code, said } = await measuring('sweep', plan, '--archive', archive).ended;
    expect(code).toBe(3);
    expect(said).toMatch(/\(PRE-4\): .*42 V is out of reach/);
    const sheet = await host('check-plan', plan).ended;
    expect(sheet.code).toBe(3);
    expect(sheet.said).toMatch(/PRE-4\s+refuse/);
  });

  it('a duty over 100 % is an error of the plan', async () => {
    const { code, said } = await measuring('sweep', planFile((p) => ({ ...p, axes: { ...p.axes, widthMs: [3, 5, 25] } })), '--archive', archive).ended;
    expect(code).toBe(2);
    expect(said).toMatch(/axes\.\w+\[\d\]: .*%/);
  });

  it('an unknown command and a wrong option', async () => {
    expect((await host('swep').ended).code).toBe(2);
    expect((await host('runs', '--nonsense').ended).code).toBe(2);
    expect((await host('--help').ended).code).toBe(0);
  });
});

describe('the archive', () => {
  it('of a newer version is refused and left as it is', async () => {
    await measuring('sweep', samplePath('small-plan'), '--archive', archive).ended;
    const { default: Database } = await import('better-sqlite3');
    const db = new Database(archive);
    db.pragma('user_version = 999');
    db.close();
    const before = readFileSync(archive);
    const { code, said } = await measuring('sweep', samplePath('small-plan'), '--archive', archive).ended;
    expect(code).toBe(7);
    expect(said).toMatch(/written by a newer version/);
    expect(readFileSync(archive).equals(before)).toBe(true);
  });

  it('in use by another instance is refused, and the other goes on', async () => {
    // Slow enough that it is still at it when the second has started on a busy machine.
    const first = measuring('sweep', samplePath('small-plan'), '--archive', archive, '--speed', '2');
    await first.says(/watchdog works/);
    const second = await measuring('sweep', samplePath('small-plan'), '--archive', archive).ended;
    expect(second.code).toBe(7);
    expect(second.said).toMatch(/another program|already/i);
    first.signal('SIGINT');
    expect((await first.ended).code).toBe(5);
  });

  const mountable = process.getuid?.() === 0 && process.platform === 'linux';
  it.skipIf(!mountable)('RUN-177 on a full disk: the bench is made safe, what was committed is kept, and the run can be continued', async () => {
    const disk = join(folder, 'disk');
    mkdirSync(disk);
    const mounted = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=40m', 'tmpfs', disk]);
    if (mounted.status !== 0) {
      process.stderr.write(`SKIPPED: no tmpfs can be mounted here (${mounted.stderr.toString().trim()})\n`);
      return;
    }
    try {
      const small = join(disk, 'archive.sqlite');
      const run = measuring('sweep', samplePath('small-plan'), '--archive', small, '--speed', '10', '--every-point');
      await run.says(/Point 1, attempt \d+, accepted/);
      const filler = join(disk, 'filler');
      spawnSync('dd', ['if=/dev/zero', `of=${filler}`, 'bs=4k']);
      const full = await run.ended;
      expect(full.code).toBe(7);
      expect(full.said).toMatch(/disk .* is full/);
      expect(full.said).toMatch(/The bench was made safe/);
      rmSync(filler);
      const continued = await measuring('continue', '--archive', small, '--every-point').ended;
      expect(continued.said).not.toMatch(/Point 1, attempt/);
      expect(continued.said).toMatch(/17 of 17 points accepted/);
      expect(continued.code).toBe(0);
      expect((await host('verify', small).ended).code).toBe(0);
    } finally {
      spawnSync('umount', [disk]);
    }
  });
});

describe('the port', () => {
  it('absent', async () => {
    const { code, said } = await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--port', '/dev/no-such-port', '--equipment', samplePath('equipment')).ended;
    expect(code).toBe(6);
    expect(said).toMatch(/no-such-port/);
    expect(said).toMatch(/There is no|does not exist|not there/i);
  });

  it.skipIf(onWindows)('busy', async () => {
    const bench = await ptyBench();
    const other = new SerialPort({ path: bench.path, baudRate: 115_200, autoOpen: false });
    await new Promise<void>((resolve, reject) => {
      other.open((error) => {
        if (error === null) resolve();
        else reject(error);
      });
    });
    const { code, said } = await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--port', bench.path, '--equipment', samplePath('equipment')).ended;
    expect(code).toBe(6);
    expect(said).toMatch(/in use|another program/i);
    await new Promise<void>((resolve) => other.close(() => resolve()));
  });

  it.skipIf(onWindows)('RUN-171 vanishing in mid run: the run is left unfinished, nothing is lost, and it is continued when the bench is there again', async () => {
    const bench = await ptyBench();
    const run = measuring('sweep', patient(), '--archive', archive, '--port', bench.path, '--equipment', samplePath('equipment'), '--speed', String(SPEED), '--wait-for-bench', '10', '--every-point');
    await run.says(/Point 1, attempt \d+, accepted/);
    bench.close();
    const { code, said } = await run.ended;
    expect(code).toBe(6);
    expect(said).toMatch(/What was accepted was read back from the archive: nothing of it is lost/);
    const continued = await measuring('continue', '--archive', archive).ended;
    expect(continued.code).toBe(0);
    expect(continued.said).toMatch(/17 of 17 points accepted/);
    expect((await host('verify', archive).ended).code).toBe(0);
  });
});

describe('EQ-7 a bench on a port', () => {
  const ofBench = (change: object): string => {
    const path = join(folder, 'equipment.json');
    writeFileSync(path, JSON.stringify({ ...sampleEquipment(), ...change }));
    return path;
  };

  it.skipIf(onWindows)('is not measured on without an equipment record, and no record of another bench stands in for it', async () => {
    const bench = await ptyBench();
    const { code, said } = await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--port', bench.path).ended;
    expect(code).toBe(2);
    expect(said).toMatch(/needs its equipment record.*--equipment FILE/);
  });

  it.skipIf(onWindows)('PRE-40 refuses a record that names another controller', async () => {
    const bench = await ptyBench();
    const other = ofBench({ controller: { model: 'simulated-bench', serialNumber: 'SIM-0002' } });
    const { code, said } = await host('sweep', patient(), '--archive', archive, '--port', bench.path, '--speed', String(SPEED), '--equipment', other, '--operator', 'A. Tester').ended;
    expect(code).toBe(3);
    expect(said).toMatch(/PRE-40 {2}refuse .*belongs to the controller simulated-bench SIM-0002, and simulated-bench SIM-0001 is connected/);
    expect(said).not.toMatch(/watchdog works/);
  });

  it.skipIf(onWindows)('PRE-40 EQ-6 refuses a record of version 1 and says what to add', async () => {
    const bench = await ptyBench();
    const old = Object.fromEntries(Object.entries(sampleEquipment()).filter(([field]) => !['controller', 'wiring', 'driver', 'timeBase'].includes(field)));
    const path = join(folder, 'old.json');
    writeFileSync(path, JSON.stringify({ ...old, equipmentVersion: 1 }));
    const { code, said } = await host('sweep', patient(), '--archive', archive, '--port', bench.path, '--speed', String(SPEED), '--equipment', path, '--operator', 'A. Tester').ended;
    expect(code).toBe(3);
    expect(said).toMatch(/"controller": \{"model": "simulated-bench", "serialNumber": "SIM-0001"\}.*"timeBase"/);
  });
});

describe('RUN-113 who measures', () => {
  it.each([['sweep', samplePath('small-plan')], ['continue'], ['measure-again', '--failed']])('is asked of %s, and never a login name', async (...args) => {
    const { code, said } = await host(...args, '--archive', archive).ended;
    expect(code).toBe(2);
    expect(said).toMatch(/Say who measures.*--operator NAME/);
  });
});

describe('RUN-110 instruments out of date', () => {
  const ended = (): string => {
    const equipment = sampleEquipment();
    const path = join(folder, 'equipment.json');
    writeFileSync(path, JSON.stringify({ ...equipment, meter: { ...equipment.meter, certificate: { number: 'C-1', date: '2020-01-01', validUntil: '2021-01-01' } } }));
    return path;
  };

  it('refuse the start; by an explicit choice the run is made, and every table and file of it says that it is not traceable and why', async () => {
    const refused = await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--equipment', ended()).ended;
    expect(refused.code).toBe(3);
    expect(refused.said).toMatch(/PRE-12 {2}refuse/);

    const chosen = await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--equipment', ended(), '--not-traceable').ended;
    expect(chosen.code).toBe(0);
    const why = /NOT TRACEABLE\. Not in calibration on \S+: the flow meter SIM-FM-01 \(certificate C-1, ended on 2021-01-01\)/;
    expect(chosen.said).toMatch(why);
    const reduced = await host('reduce', '--archive', archive).ended;
    const tables = reduced.said.split('\n\n').filter((text) => text.includes('expanded uncertainty'));
    expect(tables.length).toBeGreaterThan(1);
    for (const table of tables) expect(table).toMatch(why);
    for (const args of [['outliers'], ['reduce', '--budget', '1'], ['reduce', '--findings']]) expect((await host(...args, '--archive', archive).ended).said).toMatch(why);

    const to = join(folder, 'tables');
    expect((await host('export', '--archive', archive, '--to', to).ended).code).toBe(0);
    const files = readdirSync(to);
    expect(files.length).toBeGreaterThan(8);
    for (const file of files) {
      const text = readFileSync(join(to, file), 'utf8');
      if (file.endsWith('.json')) expect((JSON.parse(text) as { notTraceable: string[] }).notTraceable).toEqual([expect.stringContaining('certificate C-1, ended on 2021-01-01')]);
      else for (const line of text.trimEnd().split('\r\n').slice(1).filter((row) => !row.startsWith('"'))) expect(line).toMatch(/ended on 2021-01-01\)\."?$/);
    }
    expect((await host('verify', archive).ended).code).toBe(0);
  });
});

describe('a person at the terminal', () => {
  it.skipIf(onWindows)('Ctrl-C makes safe, commits and says how to continue', async () => {
    const run = measuring('sweep', samplePath('small-plan'), '--archive', archive, '--speed', '10', '--every-point');
    await run.says(/Point 1, attempt \d+, accepted/);
    run.signal('SIGINT');
    const { code, said } = await run.ended;
    expect(code).toBe(5);
    expect(said).toMatch(/To go on: npm run cli -- continue \S+ --archive/);
    const continued = await measuring('continue', '--archive', archive).ended;
    expect(continued.code).toBe(0);
    expect(continued.said).not.toMatch(/Point 1, attempt 2/);
    expect(continued.said).toMatch(/17 of 17 points accepted/);
  });

  it.skipIf(onWindows)('RUN-153 after STOP says how many points have no result, and measures them with one command', async () => {
    const run = measuring('sweep', samplePath('small-plan'), '--archive', archive, '--speed', '4', '--every-point');
    await run.says(/Point 1, attempt \d+, accepted/);
    // Two different ones: two of one kind may arrive as one.
    run.signal('SIGINT');
    await run.says(/Stopping/);
    run.signal('SIGINT');
    const stopped = await run.ended;
    expect(stopped.said).not.toMatch(/emergency stop/i);
    expect(stopped.code).toBe(4);
    expect(stopped.said).toMatch(/The run has ended: stopped with STOP/);
    expect(stopped.said).toMatch(/\d+ points have no result\. To measure them: npm run cli -- measure-again \S+ --remaining/);
    const refused = await measuring('continue', '--archive', archive).ended;
    expect(refused.said).toMatch(/This run has ended: stopped with STOP.*measure-again --remaining/);
    const again = await measuring('measure-again', '--remaining', '--archive', archive, '--every-point').ended;
    expect(again.code).toBe(0);
    expect(again.said).not.toMatch(/Point 1, attempt/);
    expect(again.said).toMatch(/17 of 17 points accepted/);
    expect((await host('verify', archive).ended).code).toBe(0);
  });

  it('RUN-150, RUN-151 a trip by the emergency stop is acknowledged, the bench rests, and the run goes on', async () => {
    const scenario = join(folder, 'pressed.json');
    writeFileSync(scenario, JSON.stringify({ scenarioVersion: 1, faults: [{ begins: { atBurst: 3 }, forS: 2, fault: { kind: 'emergency-stop' } }] }));
    const first = await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--scenario', scenario).ended;
    expect(first.code).toBe(5);
    expect(first.said).toMatch(/The emergency stop (of the bench )?is pressed/);
    const continued = await measuring('continue', '--acknowledge', '--archive', archive).ended;
    expect(continued.code).toBe(0);
    expect(continued.said).toMatch(/17 of 17 points accepted/);
  });

  it('measures a failed point again; earlier attempts are kept', async () => {
    const scenario = join(folder, 'stuck.json');
    // The third burst of the run, purge and proof included, meets an injector that does not open, and so do its repeats.
    writeFileSync(scenario, JSON.stringify({ scenarioVersion: 1, faults: [{ begins: { atBurst: 2 }, forS: 30, fault: { kind: 'injector-stuck-shut', channel: 1 } }] }));
    const first = await measuring('sweep', planFile((p) => ({ ...p, repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 } })), '--archive', archive, '--scenario', scenario).ended;
    expect(first.code).toBe(4);
    expect(first.said).toMatch(/rejected/);
    const again = await measuring('measure-again', '--remaining', '--archive', archive).ended;
    expect(again.code).toBe(0);
    expect(again.said).toMatch(/17 of 17 points accepted/);
    const exported = await host('export', '--archive', archive, '--to', join(folder, 'tables')).ended;
    expect(exported.code).toBe(0);
    const attempts = readFileSync(join(folder, 'tables', 'attempts.csv'), 'utf8');
    expect(attempts).toMatch(/,rejected,false,/);
    const budget = await host('reduce', '--archive', archive, '--budget', '3').ended;
    expect(budget.code).toBe(0);
    expect(budget.said).toMatch(/meter K-factor .* shared .* certificate \S+ of \d{4}-\d{2}-\d{2}/);
    expect(budget.said).toMatch(/Qd = \(.*±.*\)\s*mg/u);
    const findings = await host('reduce', '--archive', archive, '--findings').ended;
    expect(findings.said).toMatch(/static\.replicates/);
    expect(findings.said).not.toMatch(/NaN|undefined/);
    expect((await host('reduce', '--archive', archive, '--budget', '999').ended).code).toBe(2);
    expect((await host('export', '--archive', archive, '--voltages', '12,9').ended).code).toBe(2);
    expect((await host('verify', archive).ended).code).toBe(0);
  });

  it('checks a controller, records a run and replays it', async () => {
    const checked = await host('check-controller').ended;
    expect(checked.code).toBe(0);
    expect(checked.said).toMatch(/ 0 broken/);
    const transcript = join(folder, 'transcript.jsonl');
    expect((await measuring('sweep', samplePath('small-plan'), '--archive', archive, '--record', transcript).ended).code).toBe(0);
    const read = await host('replay', transcript).ended;
    expect(read.code).toBe(0);
    expect(read.said).toMatch(/0 refusals/);
    const again = await host('replay', transcript, '--plan', samplePath('small-plan'), '--archive', join(folder, 'replayed.sqlite')).ended;
    expect(again.said).toMatch(/0 departures/);
    expect(again.code).toBe(0);
  });

  it('backs up an archive and verifies both', async () => {
    expect((await measuring('sweep', samplePath('small-plan'), '--archive', archive).ended).code).toBe(0);
    const copy = join(folder, 'copy.sqlite');
    expect((await host('backup', copy, '--archive', archive).ended).code).toBe(0);
    expect((await host('verify', copy).ended).code).toBe(0);
    expect((await host('backup', copy, '--archive', archive).ended).code).toBe(7);
  });
});
