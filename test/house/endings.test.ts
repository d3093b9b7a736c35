/**
 * Every way out of a program that has a bench in hand, with real processes on a bench that remembers what it was told:
 * each ends with the bench told to be safe and seen to be so, before the process is gone (HOST-1 to HOST-6 of main/host/README.md).
 */
import { spawn, type ChildProcess } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { loadRun } from '../../main/service/run-service.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { sampleEquipment, samplePlan, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';
import { socketWindow } from './socket-window.ts';
import { listeningBench, type ListeningBench } from './listening-bench.ts';
import { onWindows } from '../builders/systems.ts';

const house = join(import.meta.dirname, '..', '..');
const command = join(house, 'main', 'cli', 'main.ts');
const launcher = join(house, 'main', 'launch', 'launch.mjs');
/** Bench time against real time. */
const SPEED = 5;
/** Bears a busy machine at this speed. */
const DEAD_MAN_MS = 4000;
/** Where a run must go on undisturbed: the process of the bench itself may stand still for a quarter of a second, and after 1 s of bench time telemetry is missed. */
const SLOW = 2;

interface Ended {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly out: string;
  readonly err: string;
  /** As performance.now() in this process. */
  readonly at: number;
}

interface Program {
  readonly child: ChildProcess;
  readonly ended: Promise<Ended>;
}

/** Starts a program; `group`: as the leader of a process group of its own. */
function start(args: readonly string[], { node = [] as readonly string[], group = false, input = false } = {}): Program {
  const child = spawn(process.execPath, [...node, ...args], { stdio: [input ? 'pipe' : 'ignore', 'pipe', 'pipe'], detached: group });
  const said = { out: '', err: '' };
  child.stdout?.on('data', (bytes: Buffer) => void (said.out += bytes.toString()));
  child.stderr?.on('data', (bytes: Buffer) => void (said.err += bytes.toString()));
  const ended = new Promise<Ended>((resolve) => {
    let at = 0;
    child.on('exit', () => {
      at = performance.now();
    });
    child.on('close', (code, signal) => resolve({ code, signal, ...said, at }));
  });
  return { child, ended };
}

let folder = '';
let archive = '';
let bench: ListeningBench;

beforeEach(async () => {
  folder = scratchFolder();
  archive = join(folder, 'archive.sqlite');
  bench = await listeningBench(SPEED);
});
afterEach(() => {
  bench.close();
  rmSync(folder, { recursive: true, force: true });
});

/** A sweep on the bench whose bursts last for seconds. */
const sweep = (...more: readonly string[]): string[] => sweepAt(SPEED, ...more);

function sweepAt(speed: number, ...more: readonly string[]): string[] {
  const plan = samplePlan('small-plan', (small) => ({
    ...withoutLeakChecks(small),
    link: { ...small.link, deadManMs: DEAD_MAN_MS },
    window: { ...small.window, minS: (8 * speed) / SPEED },
  }));
  const planPath = join(folder, 'plan.json');
  const equipmentPath = join(folder, 'equipment.json');
  writeFileSync(planPath, JSON.stringify(plan));
  writeFileSync(equipmentPath, JSON.stringify(sampleEquipment()));
  return [
    'sweep', planPath, '--archive', archive, '--port', bench.path, '--equipment', equipmentPath, '--operator', 'A. Tester', '--speed', String(speed), '--every-point', ...more,
  ];
}

/** The mode that the journal leaves the only run in. */
function storedMode(): string {
  const opened = openArchive(archive, { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  try {
    const loaded = loadRun(opened.archive, opened.archive.latestRun()?.id ?? '');
    return loaded.ok ? loaded.state.mode : loaded.text;
  } finally {
    opened.archive.close();
  }
}

/** In the middle of the first measuring burst; the first of all is that of the proof of the dead-man. */
const measuring = (): Promise<void> => bench.inBurst(2);

const processesBelow = (pid: number): number[] =>
  readFileSync(`/proc/${pid}/task/${pid}/children`, 'utf8').trim().split(' ').filter((text) => text !== '').map(Number);

const isThere = (pid: number): boolean => {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
};

async function gone(pid: number): Promise<number> {
  while (isThere(pid)) await new Promise((r) => setTimeout(r, 2));
  return performance.now();
}

describe.skipIf(onWindows)('HOST-1 a run in mid burst', () => {
  it.each(['SIGTERM', 'SIGHUP', 'SIGQUIT', 'SIGINT'] as const)('%s: paused, the bench confirmed safe, code 5', async (signal) => {
    const run = start([command, ...sweep()]);
    await measuring();
    run.child.kill(signal);
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(5);
    expect(ended.err).toMatch(/The run is paused; the bench is safe\./);
    expect(storedMode()).toBe('paused');
  });

  it('CLI-30 standard input ends, as another program asks for the end on every system: paused, code 5', async () => {
    const run = start([command, ...sweep('--end-with-input')], { input: true });
    await measuring();
    run.child.stdin?.end();
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(5);
    expect(ended.err).toMatch(/Standard input has ended/);
    expect(storedMode()).toBe('paused');
  });

  it('Ctrl-Z does not stop the program in mid burst', async () => {
    const run = start([command, ...sweep()]);
    await measuring();
    run.child.kill('SIGTSTP');
    await new Promise((r) => setTimeout(r, (2 * DEAD_MAN_MS) / SPEED));
    run.child.kill('SIGCONT');
    run.child.kill('SIGTERM');
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.err).toMatch(/Ctrl-Z/);
    expect(ended.code).toBe(5);
  });

  it('Ctrl-C again and again: STOP, and the program stays until the bench is safe', async () => {
    const run = start([command, ...sweep()]);
    await measuring();
    for (let i = 0; i < 5; i += 1) {
      run.child.kill('SIGINT');
      await new Promise((r) => setTimeout(r, 20));
    }
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(4);
    expect(storedMode()).toBe('ended');
  });

  it.each(['stdout', 'stderr'] as const)('whoever reads its %s has gone: paused, code 5', async (stream) => {
    const run = start([command, ...sweep()]);
    await measuring();
    if (stream === 'stdout') run.child.kill('SIGTERM');
    run.child[stream]?.destroy();
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(5);
    expect(storedMode()).toBe('paused');
  });

  it.each([
    ['an exception that nobody catches', "setTimeout(() => { throw new Error('made for the test'); })"],
    ['a promise that nobody catches', "void Promise.reject(new Error('made for the test'))"],
    ['one exception after the other', "setInterval(() => { throw new Error('made for the test'); }, 1)"],
  ])('%s: made safe, code 1, and what happened is said', async (_name, fault) => {
    const faulty = join(folder, 'faulty.mjs');
    writeFileSync(faulty, `process.on('SIGUSR2', () => { ${fault}; });\n`);
    const run = start([command, ...sweep()], { node: ['--import', faulty] });
    await measuring();
    run.child.kill('SIGUSR2');
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(1);
    expect(ended.err).toMatch(/This is a defect of the program/);
    expect(ended.err).toMatch(/made for the test/);
    expect(ended.err).toMatch(/The bench was made safe/);
  });

  it('a bench that answers no more: says that it is not confirmed safe, and what to do', async () => {
    const run = start([command, ...sweep('--wait-for-bench', '600')]);
    await measuring();
    bench.close();
    run.child.kill('SIGTERM');
    const ended = await run.ended;
    expect(ended.err).toMatch(/the bench has NOT confirmed that it is safe/);
    expect(ended.err).toMatch(/Press the emergency stop of the bench/);
    expect(ended.code).toBe(6);
  });
});

/** A program in a terminal, which may stand still. */
interface InTerminal {
  readonly kill: (signal: string) => void;
  /** Presses keys. */
  readonly write: (keys: string) => void;
  readonly onData: (take: (text: string) => void) => void;
  readonly onExit: (ended: (how: { readonly exitCode: number }) => void) => void;
}

describe.skipIf(onWindows)('HOST-6 a terminal that stands still', () => {
  it('(Ctrl-S) does not hold up the heartbeat of a run', async () => {
    const { spawn: inTerminal } = (await import('@lydell/node-pty')) as unknown as { readonly spawn: (file: string, args: readonly string[], options: object) => InTerminal };
    bench.close();
    bench = await listeningBench(SLOW);
    const terminal = inTerminal(process.execPath, [command, ...sweepAt(SLOW)], { cols: 100, rows: 30 });
    let said = '';
    terminal.onData((text) => void (said += text));
    const ended = new Promise<number>((resolve) => terminal.onExit(({ exitCode }) => resolve(exitCode)));
    await measuring();
    terminal.write('\x13');
    // Points end and are told meanwhile.
    await bench.inBurst(4);
    await new Promise((r) => setTimeout(r, (2 * DEAD_MAN_MS) / SLOW));
    expect(bench.deadManActed()).toBe(false);
    terminal.write('\x11');
    terminal.kill('SIGTERM');
    expect(await ended).toBe(5);
    expect(said).not.toMatch(/Held by guard|stood still/);
  });
});

describe.skipIf(onWindows)('HOST-7 the host of a window', () => {
  /** A window that drives a long burst by hand on the bench, which lives in real time. */
  async function driving(program: Program): Promise<void> {
    const window = await socketWindow(program.child);
    await window.ask('bench.connect', { bench: { kind: 'port', path: bench.path } });
    await vi.waitFor(async () => {
      expect(await window.ask('manual.supply', { volts: 12 })).toMatchObject({ accepted: true });
    }, 10_000);
    await vi.waitFor(async () => {
      expect(await window.ask('manual.burst', { channel: 1, widthMs: 3, periodMs: 20, count: 5000 })).toMatchObject({ accepted: true });
    }, 10_000);
    await bench.inBurst(1);
  }

  const host = (): string[] => ['window', '--archive', archive, '--port', bench.path];

  beforeEach(async () => {
    bench.close();
    bench = await listeningBench(1);
  });

  it.each(['SIGTERM', 'SIGHUP', 'SIGINT'] as const)('%s while a burst is driven by hand: made safe, code 0, and that is said', async (signal) => {
    const program = start([command, ...host()]);
    await driving(program);
    program.child.kill(signal);
    const ended = await program.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(0);
    expect(ended.err).toMatch(/The bench was made safe: not pulsing, supply at its safe value, disarmed/);
  });

  it('SIGTERM to the group of the launcher, and again while the host makes safe', async () => {
    const program = start([launcher, 'cli', ...host()], { group: true });
    await driving(program);
    process.kill(-(program.child.pid ?? 0), 'SIGTERM');
    process.kill(-(program.child.pid ?? 0), 'SIGINT');
    const ended = await program.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(0);
  });

  it('an exception that nobody catches: made safe, code 1', async () => {
    const faulty = join(folder, 'faulty.mjs');
    writeFileSync(faulty, `process.on('SIGUSR2', () => { throw new Error('made for the test'); });\n`);
    const program = start([command, ...host()], { node: ['--import', faulty] });
    await driving(program);
    program.child.kill('SIGUSR2');
    const ended = await program.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(1);
    expect(ended.err).toMatch(/The bench was made safe/);
  });

  it('a bench that answers no more: code 6, and what to do', async () => {
    const program = start([command, ...host()]);
    await driving(program);
    bench.close();
    program.child.kill('SIGTERM');
    const ended = await program.ended;
    expect(ended.code).toBe(6);
    expect(ended.err).toMatch(/press its emergency stop/);
  });
});

describe.skipIf(onWindows)('HOST-2 started by the launcher', () => {
  it.each(['SIGTERM', 'SIGHUP', 'SIGINT'] as const)('%s to the whole group is one request: paused, code 5', async (signal) => {
    const run = start([launcher, 'cli', ...sweep()], { group: true });
    await measuring();
    process.kill(-(run.child.pid ?? 0), signal);
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(5);
    expect(storedMode()).toBe('paused');
  });

  it.each(['SIGTERM', 'SIGHUP', 'SIGINT', 'SIGQUIT'] as const)('%s to the launcher alone is passed on: paused, code 5', async (signal) => {
    const run = start([launcher, 'cli', ...sweep()]);
    await measuring();
    run.child.kill(signal);
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(5);
    expect(storedMode()).toBe('paused');
  });

  it('Ctrl-C twice through the launcher is STOP', async () => {
    const run = start([launcher, 'cli', ...sweep()], { group: true });
    await measuring();
    process.kill(-(run.child.pid ?? 0), 'SIGINT');
    await new Promise((r) => setTimeout(r, 30));
    process.kill(-(run.child.pid ?? 0), 'SIGINT');
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(4);
  });

  it('a launcher that is killed leaves no run behind: paused, and its program ends', async () => {
    const run = start([launcher, 'cli', ...sweep()]);
    await measuring();
    const [program] = processesBelow(run.child.pid ?? 0);
    if (program === undefined) throw new Error('the launcher has no program');
    run.child.kill('SIGKILL');
    try {
      const at = await Promise.race([gone(program), new Promise<null>((r) => setTimeout(() => r(null), 15_000))]);
      if (at === null) throw new Error('the program runs on without its launcher');
      expect(bench.wrongWithEnd(at)).toEqual([]);
    } finally {
      if (isThere(program)) process.kill(program, 'SIGKILL');
      await run.ended;
    }
    expect(storedMode()).toBe('paused');
  });
});

describe.skipIf(onWindows)('HOST-3 checks of a controller', () => {
  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)('%s while a channel is driven: made safe, the recording is whole, code 5', async (signal) => {
    const record = join(folder, 'transcript');
    const run = start([command, 'check-controller', '--port', bench.path, '--energise', '--speed', String(SPEED), '--record', record]);
    await bench.burstAsked();
    run.child.kill(signal);
    const ended = await run.ended;
    expect(bench.wrongWithEnd(ended.at)).toEqual([]);
    expect(ended.code).toBe(5);
    expect(ended.err).toMatch(/The bench was made safe/);
    expect(readFileSync(record, 'utf8').trimEnd().split('\n').at(-1)).toMatch(/"closed"/);
  });
});

describe.skipIf(onWindows)('HOST-4 a program ends when it has said its last word', () => {
  const places: readonly (readonly [string, () => string])[] = [
    ['a file that exists', () => {
      const path = join(folder, 'exists');
      writeFileSync(path, '');
      return path;
    }],
    ['a folder that is not there', () => join(folder, 'nowhere', 'transcript')],
    ['a folder', () => {
      const path = join(folder, 'folder');
      mkdirSync(path);
      return path;
    }],
  ];
  it.each(places)('--record onto %s is an error of the command line, at once', async (_name, path) => {
    const record = path();
    for (const args of [
      ['sweep', join(house, 'main', 'samples', 'small-plan.json'), '--archive', archive, '--operator', 'A. Tester', '--record', record],
      ['check-plan', join(house, 'main', 'samples', 'small-plan.json'), '--record', record],
      ['check-controller', '--record', record],
    ]) {
      const run = start([command, ...args]);
      const late = setTimeout(() => run.child.kill('SIGKILL'), 15_000);
      const ended = await run.ended;
      clearTimeout(late);
      expect(ended.signal).toBeNull();
      expect(ended.code).toBe(2);
      expect(ended.err).toMatch(/cannot be made/);
    }
  });
});

describe.skipIf(onWindows)('HOST-5 output that nobody takes', () => {
  const shell = (line: string): Promise<Ended> => {
    const child = spawn('bash', ['-c', `set -o pipefail; ${line}`], { stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, NODE: process.execPath, CLI: command, ARCHIVE: archive } });
    const said = { out: '', err: '' };
    child.stdout.on('data', (bytes: Buffer) => void (said.out += bytes.toString()));
    child.stderr.on('data', (bytes: Buffer) => void (said.err += bytes.toString()));
    return new Promise((resolve) => child.on('close', (code, signal) => resolve({ code, signal, ...said, at: 0 })));
  };

  it('a reader that has had enough is no error', async () => {
    for (const args of ['plan-schema', '--help', 'check-plan main/samples/plan.json']) {
      const ended = await shell(`"$NODE" "$CLI" ${args} | head -n 1`);
      expect(ended.err).toBe('');
      expect(ended.code).toBe(0);
    }
  });

  it('a full disk is said, with code 7', async () => {
    const ended = await shell('"$NODE" "$CLI" plan-schema > /dev/full');
    expect(ended.err).toMatch(/could not be written/);
    expect(ended.err).not.toMatch(/at .*\.ts:\d+/);
    expect(ended.code).toBe(7);
  });

  it('a run whose progress cannot be written is not begun', async () => {
    const ended = await shell(`"$NODE" "$CLI" ${sweep().map((word) => `'${word}'`).join(' ')} 2> /dev/full`);
    expect(bench.told()).not.toContain('arm');
    expect(ended.code).toBe(3);
  });
});
