/**
 * The death of the host: the command line runs a small plan on a simulated bench behind a pseudo-terminal, as on a real
 * port, and is killed (SIGKILL) at a random instant. The bench lives on, as a real one would. Each time: the controller's
 * dead-man has made the bench safe; every acceptance that had been announced is in the archive; the run is continued and
 * ends complete; no point is accepted twice; the archive is whole. The same while points of a run that has ended are measured
 * again: every second time of a run that is complete, where four points are asked for, and of one with points that failed; and of a plan with
 * targets, whose points are decided while it is measured: its journal begins with what it was at the kill, and every target is reached.
 */
import { spawn } from 'node:child_process';
import { copyFileSync, existsSync, rmSync, writeFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import type { BenchFrame } from '../../app/bench/port.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { howFar, progressOf } from '../../app/schedule/progress.ts';
import { decideNext, soFarOf } from '../../app/schedule/schedule.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { connectBench } from '../../main/bench/driver.ts';
import { servePtyBench, type PtyBench } from '../../main/bench/pty-bench.ts';
import { exitCode } from '../../main/cli/exit-codes.ts';
import { WallClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { loadRun } from '../../main/service/load-run.ts';
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
  /** From its start to its first line (NaN: it said none), and to its end. */
  readonly openedMs: number;
  readonly lastedMs: number;
}

/** When a command is killed: so long after it was started, or after it said its first line, which is when its run is open. */
interface Instant {
  readonly from: 'start' | 'first line';
  readonly ms: number;
}

/** Runs the command line until it ends, or kills it. */
function hosted(args: readonly string[], kill?: Instant): Promise<Ended> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [command, ...args, '--speed', String(SPEED), '--every-point'], { stdio: ['ignore', 'ignore', 'pipe'] });
    const announced: string[] = [];
    const lines: string[] = [];
    const started = performance.now();
    let openedMs = Number.NaN;
    let timer: NodeJS.Timeout | undefined;
    const killFrom = (instant: Instant['from']): void => {
      if (kill?.from === instant) timer = setTimeout(() => child.kill('SIGKILL'), kill.ms);
    };
    killFrom('start');
    createInterface({ input: child.stderr }).on('line', (line) => {
      if (lines.length === 0) {
        openedMs = performance.now() - started;
        killFrom('first line');
      }
      lines.push(line);
      const match = acceptedLine.exec(line);
      // Told from 1, stored from 0 (RUN-154).
      if (match !== null) announced.push(`${Number(match[1]) - 1}:${match[2] ?? ''}`);
    });
    child.on('close', (code) => {
      clearTimeout(timer);
      resolve({ code, announced, text: lines.join('\n'), openedMs, lastedMs: performance.now() - started });
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
  readonly ended: boolean;
  /** Somebody's wish to measure points again is in the journal. */
  readonly again: boolean;
  /** The journal, event by event. */
  readonly journal: readonly string[];
  /** How many points it has so far. */
  readonly points: number;
  /** Of a plan with targets: cells that instruments or the plan's own limit keep from them. */
  readonly kept: number;
  /** Of a plan with targets: what is left to measure, and cells that are not known as well as was wanted; null: all are. */
  readonly wanting: string | null;
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
      ended: run.status.ending !== null,
      journal: [...opened.archive.events(run.id)].map((event) => JSON.stringify(event)),
      ...ofPoints(opened.archive, run.id),
      again: [...opened.archive.events(run.id)].some(({ body }) => body.kind === 'commanded' && body.command.kind === 'measure-again' && body.answer === 'accepted'),
    };
  } finally {
    opened.archive.close();
  }
}

function ofPoints(archive: Archive, id: string): Pick<Stored, 'points' | 'kept' | 'wanting'> {
  const loaded = loadRun(archive, id);
  if (!loaded.ok) throw new Error(loaded.text);
  const { state } = loaded;
  if (state.plan.targets === undefined || state.ending === null) return { points: state.setPoints.length, kept: 0, wanting: null };
  const soFar = soFarOf(state);
  const cells = progressOf(soFar, reduceRun(soFar));
  // What instruments keep from its target, or has had its windows, is told as that at the end of the run.
  const missed = cells.filter((cell) => cell.state === 'open' || cell.state === 'no-line').length;
  const left = decideNext(soFar).additions.length;
  const kept = cells.filter((cell) => cell.state === 'beyond' || cell.state === 'used-up').length;
  return {
    points: state.setPoints.length, kept,
    wanting: missed + left > 0 ? `${missed} cells are not known as well as was wanted and nobody was told why, and ${left} additions are left` : kept > 0 ? howFar(cells) : null,
  };
}

export interface KillFindings {
  readonly kills: number;
  /** The host died before it had a run to lose, or before the wish to measure again was written. */
  readonly beforeTheRun: number;
  readonly whilePulsing: number;
  readonly announced: number;
  readonly lost: number;
  readonly twice: number;
  readonly unsafe: number;
  readonly notCompleted: number;
  /** Cells that instruments, or the windows that the plan allows, kept from their target; the run said so. */
  readonly kept: number;
  /** Continuations that came to rest before the end and had to be repeated. */
  readonly triedAgain: number;
  readonly problems: readonly string[];
}

const measuring = ['--operator', 'A. Tester'];

/** A run that is killed, and how it goes on. */
interface Killed {
  /** The command that is killed. */
  readonly begin: readonly string[];
  /** What lies in the archive before it; null: nothing. */
  readonly base: Stored | null;
  /** Points that the command measures, counted from 0; `all`: whatever the run comes to have. */
  readonly measures: readonly number[] | 'all';
}

function smallPlan(folder: string, attempts: { readonly attemptsAtOnce: number; readonly attemptsSecondPass: number } | null): { readonly file: string; readonly points: number } {
  const file = join(folder, 'plan.json');
  const plan = samplePlan('small-plan', (small) => ({
    ...withoutLeakChecks(small),
    axes: { ...small.axes, widthMs: small.axes.widthMs.slice(1) },
    link: { ...small.link, deadManMs: DEAD_MAN_MS },
    // At this speed a busy machine stands still for seconds of the bench.
    byItself: { ...small.byItself, gapS: 60 },
    ...(attempts === null ? {} : { repeats: attempts }),
  }));
  writeFileSync(file, JSON.stringify(plan));
  return { file, points: plan.injectors.length * plan.axes.voltageV.length * plan.axes.widthMs.length };
}

type Totals = { -readonly [K in Exclude<keyof KillFindings, 'problems'>]: number };

/** Kills one host and judges what is left, and what comes of it when it is gone on with. */
async function killOne(killed: Killed, at: Instant, bench: PtyBench, archive: string, total: Totals, problem: (text: string) => void): Promise<void> {
  const { begin, base } = killed;
  const died = await hosted(begin, at);
  total.kills += 1;
  total.announced += died.announced.length;
  // The dead-man's time, and some more for the supply to fall.
  await new Promise((r) => setTimeout(r, (DEAD_MAN_MS + 4000) / SPEED));
  const seen = await benchSeen(bench);
  if (typeof seen === 'string' || seen.armed || seen.burst.active || seen.supply > 0.5) {
    total.unsafe += 1;
    problem(typeof seen === 'string' ? seen : `the bench is not safe: ${JSON.stringify(seen)}`);
  } else if (seen.burst.number > 0 && seen.burst.done < seen.burst.commanded) total.whilePulsing += 1;
  const before = stored(archive);
  const isBegun = (now: Stored | null): boolean => now !== null && (base === null || now.again);
  if (!isBegun(before)) total.beforeTheRun += 1;
  if (before !== null && !before.whole) problem('the archive is not whole after the kill');
  const missing = (names: readonly string[], from: Stored | null): number => names.filter((name) => from?.accepted.includes(name) !== true).length;
  total.lost += missing(died.announced, before) + missing(base?.accepted ?? [], before) + died.announced.filter((name) => before?.counting.includes(name) !== true).length;

  // Where the wish was not written, a person gives the command again; a run that was complete in the last instant needs nothing.
  const onward = async (): Promise<Ended> => {
    const now = stored(archive);
    if (!isBegun(now)) return hosted(begin);
    // The clocks of a busy machine and of a bench eight times as fast may differ by more than the record allows: a person looks and acknowledges.
    return hosted(['continue', '--acknowledge', '--archive', archive, ...begin.slice(begin.indexOf('--port'), begin.indexOf('--port') + 2), ...measuring]);
  };
  let continued = await onward();
  // On a busy machine, at this speed, a bench may not answer in time, or its telemetry be old: a person tries again.
  const rests: readonly (number | null)[] = [exitCode.bench, exitCode.unfinished, exitCode.refused];
  for (let tries = 1; tries < 12 && rests.includes(continued.code); tries += 1) {
    total.triedAgain += 1;
    continued = await onward();
  }
  const after = stored(archive);
  if (after === null || !after.whole) problem('the archive is not whole after the run was continued');
  total.lost += missing(before?.accepted ?? [], after);
  // What was committed is what the next host goes on from, to the letter.
  if (isBegun(before) && before?.journal.some((event, i) => after?.journal[i] !== event) === true) problem('the journal does not begin with what it was at the kill');
  if (after?.wanting != null) problem(after.wanting);
  total.kept += after?.kept ?? 0;
  const measures = killed.measures === 'all' ? Array.from({ length: after?.points ?? 0 }, (_, index) => index) : killed.measures;
  for (const point of new Set([...measures, ...(after?.accepted ?? []).map((name) => Number(name.split(':')[0]))])) {
    const times = (names: readonly string[] | undefined): number => (names ?? []).filter((name) => name.startsWith(`${point}:`)).length;
    const due = times(base?.accepted) + (measures.includes(point) ? 1 : 0);
    if (times(after?.accepted) > due) {
      total.twice += 1;
      problem(`point ${point} was accepted ${times(after?.accepted)} times, ${due} were asked for`);
    }
  }
  // What was asked for counts, by an attempt that was not there before, and the run has ended.
  const open = measures.filter((point) => after?.counting.some((name) => name.startsWith(`${point}:`) && base?.accepted.includes(name) !== true) !== true);
  if (open.length > 0 || after?.ended !== true) {
    total.notCompleted += 1;
    problem(`ended with ${measures.length - open.length} of ${measures.length} points and code ${continued.code ?? 'none'}: ${continued.text.split('\n').slice(-4).join(' / ')}`);
  }
}

async function withWorkers(kills: number, one: (number: number) => Promise<void>): Promise<void> {
  const waiting = Array.from({ length: kills }, (_, i) => i + 1);
  const worker = async (): Promise<void> => {
    for (let next = waiting.shift(); next !== undefined; next = waiting.shift()) await one(next);
  };
  await Promise.all(Array.from({ length: Math.min(kills, availableParallelism()) }, worker));
}

const nothingYet = (): Totals => ({ kills: 0, beforeTheRun: 0, whilePulsing: 0, announced: 0, lost: 0, twice: 0, unsafe: 0, notCompleted: 0, kept: 0, triedAgain: 0 });

/** Measured until it is known; targets that a bench of these scenarios reaches: of measured cells, or of a map between them. */
function targetsPlan(folder: string, of: 'cells' | 'map'): string {
  const file = join(folder, `plan-${of}.json`);
  const wanted = of === 'cells' ? { deadTimeUs: 30 } : { map: { voltageV: [12, 13, 14], pressureKpa: [400], deadTimeUs: 40 } };
  const plan = samplePlan('small-plan', (small) => ({
    ...withoutLeakChecks(small),
    axes: { ...small.axes, voltageV: of === 'cells' ? [14] : [12, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] },
    link: { ...small.link, deadManMs: DEAD_MAN_MS },
    byItself: { ...small.byItself, gapS: 60 },
    targets: { ...wanted, atVoltage: [], hours: 2, attemptsPerCell: 60, known: [] },
  }));
  writeFileSync(file, JSON.stringify(plan));
  return file;
}

/** Kills hosts that measure a run from its beginning: one of a grid, or of a plan with targets. */
export async function killMany(kills: number, seed: number, of: 'grid' | 'targets' = 'grid'): Promise<KillFindings> {
  const chance = RandomSource.named(seed, 'kills');
  const planFolder = scratchFolder();
  const { file, points } = of === 'grid' ? smallPlan(planFolder, null) : { file: '', points: null };
  // Of plans with targets every other wants a map.
  const files = of === 'grid' ? [file] : [targetsPlan(planFolder, 'cells'), targetsPlan(planFolder, 'map')];
  const total = nothingYet();
  const problems: string[] = [];
  const lasted: Awaited<ReturnType<typeof measureOnce>>[] = [];
  for (const one of files) lasted.push(await measureOnce(one, seed));
  await withWorkers(kills, async (number) => {
    const folder = scratchFolder();
    const [planFile = '', undisturbed = { lastedMs: 0, openedMs: 0 }] = [files[number % files.length], lasted[number % files.length]];
    const archive = join(folder, 'archive.sqlite');
    const bench = await servePtyBench(scenario({ seed: number }), new WallClock(SPEED));
    // Of a plan with targets all but every tenth after the run was opened: what is looked for is in its decisions.
    const from = of === 'targets' && number % 10 !== 0 ? 'first line' : 'start';
    const ms = chance.uniform() * (undisturbed.lastedMs - (from === 'start' ? 0 : undisturbed.openedMs));
    const where = `kill ${number} ${ms.toFixed(0)} ms after its ${from}`;
    try {
      const begin = ['sweep', planFile, '--archive', archive, '--port', bench.path, '--equipment', equipmentFile(folder, number), ...measuring];
      const measures = points === null ? 'all' : Array.from({ length: points }, (_, index) => index);
      await killOne({ begin, base: null, measures }, { from, ms }, bench, archive, total, (text) => problems.push(`${where}: ${text}`));
    } finally {
      bench.close();
      rmSync(folder, { recursive: true, force: true });
    }
  });
  rmSync(planFolder, { recursive: true, force: true });
  return { ...total, problems };
}

/** A run that has ended, as a file to copy, and what is measured again of it. */
interface EndedRun {
  readonly archive: string;
  readonly base: Stored;
  readonly measures: readonly number[];
  /** Of `measure-again`. */
  readonly which: readonly string[];
  /** How long the command goes on after its first line when nobody disturbs it, ms. */
  readonly undisturbed: number;
}

/** Complete, or with points that failed because the meter was silent for a while. */
async function endedRun(folder: string, seed: number, kind: 'complete' | 'failed'): Promise<EndedRun> {
  const { file } = smallPlan(folder, kind === 'complete' ? null : { attemptsAtOnce: 1, attemptsSecondPass: 0 });
  const archive = join(folder, `${kind}.sqlite`);
  // The 8th burst is the purge of the fourth point.
  const silent = { begins: { atBurst: 8 }, forS: 12, fault: { kind: 'meter-silent' as const } };
  const made = await servePtyBench(scenario({ seed, faults: kind === 'complete' ? [] : [silent] }), new WallClock(SPEED));
  try {
    const ended = await hosted(['sweep', file, '--archive', archive, '--port', made.path, '--equipment', equipmentFile(folder, seed), ...measuring]);
    const base = stored(archive);
    const failed = kind === 'complete' ? exitCode.done : exitCode.pointsFailed;
    if (ended.code !== failed || base?.ended !== true) throw new Error(`the run to measure again ended with code ${ended.code ?? 'none'}: ${ended.text}`);
    const all = [...new Set(stored(archive)?.accepted.map((name) => Number(name.split(':')[0])))];
    const measures = kind === 'complete' ? [1, 2, 5, 6] : Array.from({ length: 8 }, (_, index) => index).filter((point) => !all.includes(point));
    const which = kind === 'complete' ? ['--points', measures.map((point) => point + 1).join(',')] : ['--failed'];
    const copy = join(folder, 'undisturbed.sqlite');
    copyFileSync(archive, copy);
    const again = await hosted(['measure-again', ...which, '--archive', copy, '--port', made.path, ...measuring]);
    if (again.code !== exitCode.done || again.announced.length !== measures.length) throw new Error(`measured again without a kill it ended with code ${again.code ?? 'none'}: ${again.text}`);
    return { archive, base, measures, which, undisturbed: again.lastedMs - again.openedMs };
  } finally {
    made.close();
  }
}

/** Kills hosts that measure points of an ended run again. */
export async function killManyAgain(kills: number, seed: number): Promise<KillFindings> {
  const chance = RandomSource.named(seed, 'kills while measuring again');
  const runFolders = [scratchFolder(), scratchFolder()];
  const total = nothingYet();
  const problems: string[] = [];
  try {
    const runs = [await endedRun(runFolders[0] ?? '', seed, 'complete'), await endedRun(runFolders[1] ?? '', seed, 'failed')];
    await withWorkers(kills, async (number) => {
      const run = runs[number % 2];
      if (run === undefined) throw new Error('there are two runs');
      const folder = scratchFolder();
      const archive = join(folder, 'archive.sqlite');
      copyFileSync(run.archive, archive);
      // The bench of that run, with everything put right.
      const bench = await servePtyBench(scenario({ seed }), new WallClock(SPEED));
      // Every tenth while the program starts and opens the run.
      const from = number % 10 === 0 ? 'start' : 'first line';
      const ms = chance.uniform() * (from === 'start' ? 1500 : run.undisturbed);
      const where = `kill ${number} ${ms.toFixed(0)} ms after its ${from}`;
      try {
        const begin = ['measure-again', ...run.which, '--archive', archive, '--port', bench.path, ...measuring];
        await killOne({ begin, base: run.base, measures: run.measures }, { from, ms }, bench, archive, total, (text) => problems.push(`${where}: ${text}`));
      } finally {
        bench.close();
        rmSync(folder, { recursive: true, force: true });
      }
    });
  } finally {
    for (const folder of runFolders) rmSync(folder, { recursive: true, force: true });
  }
  return { ...total, problems };
}

/** The record of the simulated bench that a seed makes. */
function equipmentFile(folder: string, seed: number): string {
  const path = join(folder, 'equipment.json');
  writeFileSync(path, JSON.stringify({ ...sampleEquipment(), controller: { model: 'simulated-bench', serialNumber: `SIM-${String(seed).padStart(4, '0')}` } }));
  return path;
}

/** How long the command takes when nobody disturbs it. */
async function measureOnce(planFile: string, seed: number): Promise<Pick<Ended, 'openedMs' | 'lastedMs'>> {
  const folder = scratchFolder();
  const bench = await servePtyBench(scenario({ seed }), new WallClock(SPEED));
  try {
    const ended = await hosted(['sweep', planFile, '--archive', join(folder, 'archive.sqlite'), '--port', bench.path, '--equipment', equipmentFile(folder, seed), ...measuring]);
    if (ended.code !== 0) throw new Error(`the undisturbed run ended with code ${ended.code ?? 'none'}: ${ended.text}`);
    return ended;
  } finally {
    bench.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

export async function showKills([count = '200', seed = '1', when = 'run']: readonly string[]): Promise<boolean> {
  if (when !== 'run' && when !== 'again' && when !== 'targets') throw new Error('Kills come while a run is measured (run), one of a plan with targets (targets), or while points of one are measured again (again).');
  const found = await (when === 'again' ? killManyAgain(Number(count), Number(seed)) : killMany(Number(count), Number(seed), when === 'targets' ? 'targets' : 'grid'));
  process.stdout.write(
    `${found.kills} hosts killed ${when === 'again' ? 'while points were measured again ' : ''}(${found.beforeTheRun} before ${when === 'again' ? 'that was written down' : 'the run was opened'}, ${found.whilePulsing} with a pulse train cut by the dead-man): ` +
      `${found.announced} acceptances announced before, ${found.lost} lost, ${found.twice} points accepted twice, ${found.unsafe} benches found unsafe, ${found.notCompleted} runs not completed, ${found.kept} cells kept from their target (${found.triedAgain} continuations repeated)\n`,
  );
  for (const problem of found.problems) process.stdout.write(`  ${problem}\n`);
  return found.lost + found.twice + found.unsafe + found.notCompleted + found.kept + found.problems.length === 0;
}
