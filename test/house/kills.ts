/**
 * The death of the host: the command line runs a small plan on a simulated bench behind a pseudo-terminal, as on a real
 * port, and is killed (SIGKILL) at a random instant. The bench lives on, as a real one would. Each time: the controller's
 * dead-man has made the bench safe; every acceptance that had been announced is in the archive; the run is continued and
 * ends complete; no point is accepted twice; the archive is whole.
 */
import { spawn } from 'node:child_process';
import { existsSync, rmSync, writeFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import type { BenchFrame } from '../../app/bench/port.ts';
import { RandomSource } from '../../firmware-protocol/simulator/random.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { connectBench } from '../../main/bench/driver.ts';
import { servePtyBench, type PtyBench } from '../../main/bench/pty-bench.ts';
import { exitCode } from '../../main/cli/exit-codes.ts';
import { WallClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { serialPortSource } from '../../main/link/serial-ports.ts';
import { sampleEquipment, samplePlan, scenario, scratchFolder, withoutLeakChecks } from '../builders/in-process.ts';

/** Bench time against real time. Not more, so that a busy machine is not taken for a host that fell silent. */
const SPEED = 8;
const DEAD_MAN_MS = 4000;
const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
const acceptedLine = /^Point (\d+), attempt (\d+), accepted/;

interface Ended {
  readonly code: number | null;
  readonly announced: readonly string[];
  readonly text: string;
}

/** Runs the command line until it ends, or kills it after `killAfterMs`. */
function hosted(args: readonly string[], killAfterMs?: number): Promise<Ended> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [command, ...args, '--speed', String(SPEED), '--every-point'], { stdio: ['ignore', 'ignore', 'pipe'] });
    const announced: string[] = [];
    const lines: string[] = [];
    createInterface({ input: child.stderr }).on('line', (line) => {
      lines.push(line);
      const match = acceptedLine.exec(line);
      // Told from 1, stored from 0 (RUN-154).
      if (match !== null) announced.push(`${Number(match[1]) - 1}:${match[2] ?? ''}`);
    });
    const timer = killAfterMs === undefined ? undefined : setTimeout(() => child.kill('SIGKILL'), killAfterMs);
    child.on('close', (code) => {
      clearTimeout(timer);
      resolve({ code, announced, text: lines.join('\n') });
    });
  });
}

/** What a fresh host sees on the bench, from outside. */
async function benchSeen(bench: PtyBench): Promise<BenchFrame | string> {
  const clock = new WallClock();
  const frames: BenchFrame[] = [];
  const connected = await connectBench({
    channels: serialPortSource(bench.path, clock), clock, entropy: machineEntropy, deadManMs: DEAD_MAN_MS, telemetryHz: 20,
    onFrame: (frame) => frames.push(frame), onLink: () => undefined,
  });
  if (!connected.ok) return connected.text;
  for (let i = 0; i < 500 && frames.length === 0; i += 1) await new Promise((r) => setTimeout(r, 10));
  await connected.bench.close();
  return frames.at(-1) ?? 'no telemetry';
}

interface Stored {
  /** `point:attempt` of every accepted attempt, and of those that count. */
  readonly accepted: readonly string[];
  readonly counting: readonly string[];
  readonly whole: boolean;
}

function stored(path: string): Stored | null {
  if (!existsSync(path)) return null;
  const opened = openArchive(path, { readOnly: true });
  // The file of an archive that was being made may be there without anything in it yet.
  if (!opened.ok && opened.code === 'not-an-archive') return null;
  if (!opened.ok) throw new Error(opened.text);
  try {
    const run = opened.archive.latestRun();
    if (run === null) return null;
    const attempts = opened.archive.attempts(run.id, { limit: 10_000 });
    const named = (list: typeof attempts): string[] => list.map((a) => `${a.point}:${a.attempt}`);
    return {
      accepted: named(attempts.filter((a) => a.verdict === 'accepted')),
      counting: named(attempts.filter((a) => a.counts)),
      whole: opened.archive.verify().passed,
    };
  } finally {
    opened.archive.close();
  }
}

export interface KillFindings {
  readonly kills: number;
  /** The host died before it had a run to lose. */
  readonly beforeTheRun: number;
  readonly whilePulsing: number;
  readonly announced: number;
  readonly lost: number;
  readonly twice: number;
  readonly unsafe: number;
  readonly notCompleted: number;
  readonly problems: readonly string[];
}

const measuring = ['--operator', 'A. Tester'];

export async function killMany(kills: number, seed: number): Promise<KillFindings> {
  const chance = RandomSource.named(seed, 'kills');
  const planFolder = scratchFolder();
  const planFile = join(planFolder, 'plan.json');
  const plan = samplePlan('small-plan', (small) => ({
    ...withoutLeakChecks(small),
    axes: { ...small.axes, widthMs: small.axes.widthMs.slice(1) },
    link: { ...small.link, deadManMs: DEAD_MAN_MS },
    // At this speed a busy machine stands still for seconds of the bench.
    byItself: { ...small.byItself, gapS: 60 },
  }));
  writeFileSync(planFile, JSON.stringify(plan));
  const points = plan.injectors.length * plan.axes.voltageV.length * plan.axes.widthMs.length;
  const total = { kills: 0, beforeTheRun: 0, whilePulsing: 0, announced: 0, lost: 0, twice: 0, unsafe: 0, notCompleted: 0 };
  const problems: string[] = [];
  const undisturbed = await measureOnce(planFile, seed);
  const one = async (number: number): Promise<void> => {
    const folder = scratchFolder();
    const archive = join(folder, 'archive.sqlite');
    const bench = await servePtyBench(scenario({ seed: number }), new WallClock(SPEED));
    const at = chance.uniform() * undisturbed;
    const where = `kill ${number} at ${at.toFixed(0)} ms`;
    const problem = (text: string): void => void problems.push(`${where}: ${text}`);
    try {
      const begin = ['sweep', planFile, '--archive', archive, '--port', bench.path, '--equipment', equipmentFile(folder, number), ...measuring];
      const killed = await hosted(begin, at);
      total.kills += 1;
      total.announced += killed.announced.length;
      // The dead-man's time, and some more for the supply to fall.
      await new Promise((r) => setTimeout(r, (DEAD_MAN_MS + 4000) / SPEED));
      const seen = await benchSeen(bench);
      if (typeof seen === 'string' || seen.armed || seen.burst.active || seen.supply > 0.5) {
        total.unsafe += 1;
        problem(typeof seen === 'string' ? seen : `the bench is not safe: ${JSON.stringify(seen)}`);
      } else if (seen.burst.number > 0 && seen.burst.done < seen.burst.commanded) total.whilePulsing += 1;
      const before = stored(archive);
      if (before === null) total.beforeTheRun += 1;
      else if (!before.whole) problem('the archive is not whole after the kill');
      const lostAtOnce = killed.announced.filter((name) => before?.counting.includes(name) !== true);
      total.lost += lostAtOnce.length;

      const onward = before === null ? begin : ['continue', '--archive', archive, '--port', bench.path, ...measuring];
      let continued = await hosted(onward);
      // A bench that did not answer in time (a busy machine, at this speed) is tried again, as a person would.
      for (let tries = 1; tries < 4 && continued.code === exitCode.bench; tries += 1) {
        continued = await hosted(stored(archive) === null ? begin : ['continue', '--archive', archive, '--port', bench.path, ...measuring]);
      }
      const after = stored(archive);
      if (after === null || !after.whole) problem('the archive is not whole after the run was continued');
      const lost = (before?.counting ?? []).filter((name) => after?.counting.includes(name) !== true);
      total.lost += lost.length;
      const acceptedPoints = (after?.accepted ?? []).map((name) => name.split(':')[0]);
      total.twice += acceptedPoints.length - new Set(acceptedPoints).size;
      // A kill in the last instant of a complete run leaves nothing to continue, which is a good end too.
      if (after?.counting.length !== points) {
        total.notCompleted += 1;
        problem(`ended with ${after?.counting.length ?? 0} of ${points} points and code ${continued.code ?? 'none'}: ${continued.text.split('\n').slice(-4).join(' / ')}`);
      }
    } finally {
      bench.close();
      rmSync(folder, { recursive: true, force: true });
    }
  };
  const waiting = Array.from({ length: kills }, (_, i) => i + 1);
  const worker = async (): Promise<void> => {
    for (let next = waiting.shift(); next !== undefined; next = waiting.shift()) await one(next);
  };
  await Promise.all(Array.from({ length: Math.min(kills, availableParallelism()) }, worker));
  rmSync(planFolder, { recursive: true, force: true });
  return { ...total, problems };
}

/** The record of the simulated bench that a seed makes. */
function equipmentFile(folder: string, seed: number): string {
  const path = join(folder, 'equipment.json');
  writeFileSync(path, JSON.stringify({ ...sampleEquipment(), controller: { model: 'simulated-bench', serialNumber: `SIM-${String(seed).padStart(4, '0')}` } }));
  return path;
}

/** How long the whole command takes when nobody disturbs it, ms. */
async function measureOnce(planFile: string, seed: number): Promise<number> {
  const folder = scratchFolder();
  const bench = await servePtyBench(scenario({ seed }), new WallClock(SPEED));
  try {
    const started = performance.now();
    const ended = await hosted(['sweep', planFile, '--archive', join(folder, 'archive.sqlite'), '--port', bench.path, '--equipment', equipmentFile(folder, seed), ...measuring]);
    if (ended.code !== 0) throw new Error(`the undisturbed run ended with code ${ended.code ?? 'none'}: ${ended.text}`);
    return performance.now() - started;
  } finally {
    bench.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

export async function showKills([count = '200', seed = '1']: readonly string[]): Promise<boolean> {
  const found = await killMany(Number(count), Number(seed));
  process.stdout.write(
    `${found.kills} hosts killed (${found.beforeTheRun} before the run was opened, ${found.whilePulsing} with a pulse train cut by the dead-man): ` +
      `${found.announced} acceptances announced before, ${found.lost} lost, ${found.twice} points accepted twice, ${found.unsafe} benches found unsafe, ${found.notCompleted} runs not completed\n`,
  );
  for (const problem of found.problems) process.stdout.write(`  ${problem}\n`);
  return found.lost + found.twice + found.unsafe + found.notCompleted + found.problems.length === 0;
}
