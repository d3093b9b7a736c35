/** The archive's file under a program that has it open: removed, renamed, replaced, cut off; copied without its log; on a medium that is read only. */
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, readdirSync, renameSync, rmSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { parsePlan } from '../../app/plan/parse.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { openDatabase } from '../../main/archive/sqlite.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { RunService } from '../../main/service/run-service.ts';
import { equipment, openedBody, planOf } from '../builders/archived-run.ts';

let folder = '';
let file = '';
const opened: Archive[] = [];
const clocks: VirtualClock[] = [];

beforeEach(() => {
  const out = join(import.meta.dirname, '../.out');
  mkdirSync(out, { recursive: true });
  folder = mkdtempSync(join(out, 'whereabouts-'));
  mkdirSync(join(folder, 'lab'));
  file = join(folder, 'lab', 'archive.sqlite');
});

afterEach(() => {
  for (const archive of opened.splice(0)) archive.close();
  for (const clock of clocks.splice(0)) clock.stop();
  rmSync(folder, { recursive: true, force: true });
});

function open(path: string, readOnly = false): Archive {
  const result = openArchive(path, readOnly ? { readOnly } : { now: () => unixMillis(1_750_000_000_000), entropy: machineEntropy });
  if (!result.ok) throw new Error(result.text);
  opened.push(result.archive);
  return result.archive;
}

function newRun(archive: Archive): string {
  const plan = planOf('Run', 'Order 1', ['S-1']);
  const made = archive.createRun({ plan, equipment, operator: 'a person', software: 'test', simulated: true });
  if (!made.ok) throw new Error(made.text);
  const written = archive.append(made.id, [openedBody(plan)], []);
  if (!written.ok) throw new Error(written.text);
  return made.id;
}

const attacks: Readonly<Record<string, () => void>> = {
  'removed or renamed': () => rmSync(file),
  'removed or renamed ': () => renameSync(file, `${file}.elsewhere`),
  'replaced by another file': () => {
    writeFileSync(`${file}.other`, 'something else');
    renameSync(`${file}.other`, file);
  },
  'cut off': () => truncateSync(file, 4096),
  'removed or renamed (folder)': () => rmSync(join(folder, 'lab'), { recursive: true }),
  'removed or renamed (log)': () => rmSync(`${file}-wal`),
};

describe('a file that strays', () => {
  it.each(Object.entries(attacks))('ARC-40 is noticed with the next commit, which is not announced: %s', (name, attack) => {
    const archive = open(file);
    const run = newRun(archive);
    expect(archive.strayed()).toBeNull();
    attack();
    expect(archive.strayed()).toContain(name.replace(/ ?(\(.*\))?$/, ''));
    const written = archive.append(run, [{ kind: 'paused' }], []);
    expect(written).toMatchObject({ ok: false, code: 'strayed' });
  });

  it('ARC-41 is saved from the program that still has it, with all that was committed, also when its folder is gone', () => {
    const archive = open(file);
    const run = newRun(archive);
    rmSync(join(folder, 'lab'), { recursive: true });
    const text = archive.rescue();
    const copy = /saved to (\S+\.sqlite) and read back: 1 run\./.exec(text)?.[1] ?? '';
    expect(copy.startsWith(tmpdir())).toBe(true);
    try {
      expect([...open(copy, true).events(run)]).toHaveLength(1);
    } finally {
      rmSync(copy, { force: true });
    }
  });

  it('is not asked for anything any more once it was closed: a bench may take longer to be made safe than its host stays', () => {
    const archive = open(file);
    opened.pop();
    archive.close();
    expect(archive.rescue()).toMatch(/was closed meanwhile/);
  });

  it('RUN-177 ARC-40 ARC-41 makes the bench safe within a second, and the run says where everything is', async () => {
    const parsed = parsePlan(readSample('small-plan'));
    if (!parsed.ok) throw new Error('the sample is no plan');
    const clock = new VirtualClock(1_750_000_000_000);
    clocks.push(clock);
    const bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1, seed: 3 }), clock);
    const archive = open(file);
    const result = await RunService.open(
      { archive, clock, simulated: true, entropy: machineEntropy, freeDiskBytes: () => null, channels: () => Promise.resolve([new SimulatedChannel(bench)]) },
      { kind: 'new', plan: parsed.plan, equipment, operator: 'a person', software: 'test' },
    );
    if (!result.ok) throw new Error(result.text);
    const { service } = result;
    service.command({ kind: 'accept-untraceable' }, 'a person');
    expect(service.command({ kind: 'start' }, 'a person')).toMatchObject({ accepted: true });
    await new Promise<void>((resolve) => {
      service.listen((bodies) => {
        if (bodies.some(({ kind }) => kind === 'attempt-ended')) resolve();
      });
    });
    const strayedAt = clock.now();
    rmSync(file);
    const rest = await service.rest();
    expect(clock.now() - strayedAt).toBeLessThan(2000);
    expect(rest).toMatchObject({ kind: 'failed', code: 'archive' });
    const text = rest.kind === 'failed' ? rest.text : '';
    expect(text).toMatch(/was removed or renamed while this program had it open.*The bench was made safe.*saved to .*rescued-\d+\.sqlite and read back: 1 run/);
    expect(text).not.toMatch(/is kept/);
    const saved = readdirSync(join(folder, 'lab')).find((name) => name.includes('rescued')) ?? '';
    const found = open(join(folder, 'lab', saved), true);
    expect([...found.events(service.id)].some(({ body }) => body.kind === 'attempt-ended')).toBe(true);
    await service.close();
  });
});

describe('a file without its log', () => {
  it('ARC-42 is complete as soon as it is made, and after a checkpoint', () => {
    const archive = open(file);
    const alone = join(folder, 'alone.sqlite');
    copyFileSync(file, alone);
    expect([...open(alone, true).everyRun()]).toEqual([]);
    newRun(archive);
    archive.checkpoint();
    copyFileSync(file, join(folder, 'later.sqlite'));
    expect([...open(join(folder, 'later.sqlite'), true).everyRun()]).toHaveLength(1);
  });

  it('ARC-43 is said to have lost it, and no new archive is made of it', () => {
    // As it was written before: a main file of one page, and everything in the log.
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    db.pragma('journal_mode = WAL');
    db.exec('CREATE TABLE t (x)');
    const alone = join(folder, 'alone.sqlite');
    copyFileSync(file, alone);
    db.close();
    for (const readOnly of [true, false]) {
      const result = openArchive(alone, readOnly ? { readOnly } : { now: () => unixMillis(0), entropy: machineEntropy });
      expect(result).toMatchObject({ ok: false, code: 'damaged' });
      expect(!result.ok && result.text).toMatch(/was in the log beside it .* and that is not there/);
    }
    expect(statSync(alone).size).toBe(4096);
  });
});

const mountable = process.getuid?.() === 0 && process.platform === 'linux';
it.skipIf(!mountable)('ARC-44 an archive on a medium that is read only is listed, verified and backed up', async () => {
  const archive = open(file);
  newRun(archive);
  archive.close();
  opened.pop();
  const lab = join(folder, 'lab');
  const mounted = spawnSync('sh', ['-c', `mount --bind '${lab}' '${lab}' && mount -o remount,bind,ro '${lab}'`]);
  if (mounted.status !== 0) {
    process.stderr.write(`SKIPPED: nothing can be mounted here (${mounted.stderr.toString().trim()})\n`);
    spawnSync('umount', [lab]);
    return;
  }
  try {
    const copies = (): number => readdirSync(tmpdir()).filter((name) => name.startsWith('railhouse-copy-')).length;
    const before = copies();
    const reader = open(file, true);
    expect(reader.path).toBe(file);
    expect([...reader.everyRun()]).toHaveLength(1);
    expect(reader.verify().checks.filter(({ passed }) => !passed)).toEqual([]);
    expect(await reader.backup(join(folder, 'backup.sqlite'))).toMatchObject({ ok: true });
    reader.close();
    opened.pop();
    expect(copies()).toBe(before);
    expect(existsSync(`${file}-shm`)).toBe(false);
    expect(openArchive(file, { now: () => unixMillis(0), entropy: machineEntropy })).toMatchObject({ ok: false });
  } finally {
    spawnSync('umount', [lab]);
  }
});
