/**
 * Can a window hold up a run? A real host on a bench behind a pseudo-terminal (a process of its own, in real time, with a
 * dead-man of 1 s) goes on with a run that has 100 000 attempts already, while a window that only watches asks at once for
 * everything of that run; then STOP is pressed, again and again, while it still asks.
 *
 * BENCH_REPLICATES: 3 456 attempts each (30); BENCH_LIMIT_S: after so long it prints what it has (900).
 */
import type { ChildProcess } from 'node:child_process';
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { setTimeout as sleep } from 'node:timers/promises';
import { Worker } from 'node:worker_threads';
import type { EventData, EventName, ToWindow } from '../../app/contract/contract.ts';
import { deskArguments } from '../../main/host/desk-process.ts';
import type { DeskAnswer } from '../../main/host/desk-work.ts';
import { removeExportFolder } from '../../main/host/export-folder.ts';
import { servedAt, socketWindow, type SocketWindow } from '../house/socket-window.ts';
import { childrenOf, endChild, peakOf, startChild } from './child.ts';
import { makeLongArchive, makeUnfinishedArchive } from './long-archive.ts';
import type { BenchReport } from './report.ts';
import type { AskedFor } from './watching-window.ts';

const out = join(import.meta.dirname, '..', '.out');
const REPLICATES = Number(process.env['BENCH_REPLICATES'] ?? 30);
const LIMIT_MS = 1e3 * Number(process.env['BENCH_LIMIT_S'] ?? 900);
/** Points that are left to be measured meanwhile. */
const LEFT = 500;
/** STOP while pulses flow, and while the bench rests. */
const STOPS_OF_A_RUN = 20;
const STOPS_AT_REST = 500;
const SMALL = 4;
const rests = ['held', 'tripped', 'paused'];

const say = (text: string): void => void process.stderr.write(`${text}\n`);
const quantile = (values: readonly number[], q: number): number => values.toSorted((a, b) => a - b)[Math.min(values.length - 1, Math.floor(q * values.length))] ?? Number.NaN;

/** What a window is told of the run on the bench. */
class Told {
  readonly kinds = new Map<string, number>();
  mode = '';
  #onMode: () => void = () => undefined;

  constructor({ socket }: SocketWindow) {
    socket.on('message', (data: Buffer) => {
      const message = JSON.parse(data.toString()) as ToWindow;
      if (!('event' in message)) return;
      const of = <N extends EventName>(name: N): EventData<N> | null => (message.event === name ? (message.data as EventData<N>) : null);
      for (const { body } of of('run.events')?.events ?? []) this.kinds.set(body.kind, (this.kinds.get(body.kind) ?? 0) + 1);
      this.mode = of('run.status')?.status.mode ?? this.mode;
      this.#onMode();
    });
  }

  /** Resolves when the run is in a mode; rejects after a minute. */
  async until(mode: string): Promise<void> {
    const late = AbortSignal.timeout(60_000);
    while (this.mode !== mode) {
      late.throwIfAborted();
      await Promise.race([sleep(1000), new Promise<void>((resolve) => (this.#onMode = resolve))]);
    }
  }

  count(...kinds: readonly string[]): number {
    return kinds.reduce((sum, kind) => sum + (this.kinds.get(kind) ?? 0), 0);
  }
}

/** The time of each small request, ms, and how late this process itself is by its own clock, until told to end. */
async function probe(window: SocketWindow, name: string, whileTrue: () => boolean): Promise<{ readonly replies: number[]; readonly late: number[] }> {
  const replies: number[] = [];
  const late: number[] = [];
  while (whileTrue()) {
    const at = performance.now();
    await window.ask(name, {});
    const answered = performance.now();
    replies.push(answered - at);
    await sleep(20);
    late.push(performance.now() - answered - 20);
  }
  return { replies, late };
}

const times = (what: string, values: readonly number[]): BenchReport['figures'] => [
  { label: `${what}, median of ${values.length}`, value: quantile(values, 0.5), unit: 'ms' },
  { label: `${what}, 99 %`, value: quantile(values, 0.99), unit: 'ms' },
  { label: `${what}, longest`, value: Math.max(...values), unit: 'ms' },
];

/** An export by a desk process alone: the most memory that it had, MB, and its time. */
async function exportAlone(archive: string, id: string): Promise<{ readonly peak: number; readonly seconds: number }> {
  const began = performance.now();
  const desk = fork(join(import.meta.dirname, '..', '..', 'main', 'host', 'desk-worker.ts'), deskArguments(archive, process.pid, 'gives-way'), { serialization: 'advanced' });
  try {
    desk.send({ id: 0, job: { kind: 'export', params: { id }, software: 'bench 1' } });
    const [{ answer }] = (await once(desk, 'message')) as [{ readonly answer: DeskAnswer }];
    if (!answer.ok) throw new Error(answer.text);
    const seconds = (performance.now() - began) / 1e3;
    const peak = peakOf(desk.pid ?? 0);
    removeExportFolder((answer.value as { readonly folder: string }).folder);
    return { peak, seconds };
  } finally {
    desk.disconnect();
  }
}

async function memoryOfExports(folder: string, id: string, archive: string, attempts: number): Promise<BenchReport['figures']> {
  const figures: BenchReport['figures'][number][] = [];
  const small = join(folder, 'small.sqlite');
  const of = { attempts: makeLongArchive(small, SMALL), archive: small, id: '' };
  for (const each of [of, { attempts, archive, id }]) {
    const run = each.id === '' ? await latestRun(each.archive) : each.id;
    const { peak, seconds } = await exportAlone(each.archive, run);
    figures.push({ label: `export of ${each.attempts} attempts: most memory of its process`, value: peak, unit: 'MB' });
    figures.push({ label: `export of ${each.attempts} attempts: time`, value: seconds, unit: 's' });
  }
  return figures;
}

async function latestRun(path: string): Promise<string> {
  const { openArchive } = await import('../../main/archive/archive.ts');
  const opened = openArchive(path, { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  const id = opened.archive.latestRun()?.id ?? '';
  opened.archive.close();
  return id;
}

export async function bench(): Promise<BenchReport> {
  const deadline = performance.now() + LIMIT_MS;
  const inTime = (): boolean => performance.now() < deadline;
  mkdirSync(out, { recursive: true });
  const folder = mkdtempSync(join(out, 'host-bench-'));
  const children: ChildProcess[] = [];
  const child = (args: readonly string[]): ChildProcess => {
    const started = startChild(args);
    children.push(started);
    return started;
  };
  let watcher: Worker | null = null;
  // What is asked to end cleans up first.
  const asked = new AbortController();
  const onSignal = (): void => asked.abort(new Error('The benchmark was asked to end.'));
  process.once('SIGINT', onSignal).once('SIGTERM', onSignal);
  try {
    const archive = join(folder, 'archive.sqlite');
    const { id, attempts } = await makeUnfinishedArchive(archive, REPLICATES, LEFT);
    say(`an archive with a run of ${attempts} attempts is made`);
    const exports = await memoryOfExports(folder, id, archive, attempts);
    say('exported by a process alone');

    const controller = child(['serve-bench']);
    const [path] = (await once(createInterface({ input: controller.stdout as NodeJS.ReadableStream }), 'line', { signal: asked.signal })) as [string];
    const host = child(['window', '--archive', archive, '--port', path]);
    const pid = host.pid ?? 0;
    const address = await servedAt(host);
    const driver = await socketWindow(address, 'driver');
    const prober = await socketWindow(address, 'prober');
    const told = new Told(driver);
    await driver.ask('bench.connect', { bench: { kind: 'port', path } });
    const opening = performance.now();
    await driver.ask('run.continue', { id });
    const opened = (performance.now() - opening) / 1e3;
    const command = (kind: string): Promise<unknown> => driver.ask('run.command', { id, command: { kind }, by: 'Bench', commandId: `${kind} ${performance.now()}` });
    say(`run.continue took ${opened.toFixed(1)} s; ${JSON.stringify(await command('start'))}`);
    await told.until('measuring');
    await sleep(3000);
    const before = { rss: peakOf(pid), attempts: told.count('attempt-ended'), lost: told.count('link-lost'), rests: told.count(...rests) };

    say('the run measures; everything is asked for ...');
    const rounds: (readonly AskedFor[])[] = [];
    const began = performance.now();
    const watching = new Worker(new URL('watching-window.ts', import.meta.url), { workerData: { address: String(address), id } });
    watcher = watching;
    const failed = new Promise<never>((_resolve, reject) => {
      watching.on('error', reject);
      asked.signal.addEventListener('abort', () => reject(asked.signal.reason as Error));
    });
    failed.catch(() => undefined);
    watching.on('message', (round: readonly AskedFor[]) => rounds.push(round));
    // A third of the limit at least is for STOP.
    const probing = probe(prober, 'equipment.read', () => rounds.length === 0 && performance.now() < deadline - LIMIT_MS / 3);
    const small = await Promise.race([probing, failed]);
    const took = (performance.now() - began) / 1e3;
    const during = { attempts: told.count('attempt-ended') - before.attempts, lost: told.count('link-lost') - before.lost, rests: told.count(...rests) - before.rests };

    say(`${rounds.length > 0 ? 'all answered' : 'NOT all answered'} after ${took.toFixed(0)} s; STOP is pressed while the window asks on ...`);
    const ofRun: number[] = [];
    while (ofRun.length < STOPS_OF_A_RUN && inTime()) {
      await Promise.race([told.until('measuring'), failed]);
      await sleep(500);
      const at = performance.now();
      await prober.ask('stop', {});
      ofRun.push(performance.now() - at);
      await told.until('ended');
      await command('measure-remaining');
    }
    await told.until('measuring');
    let left = STOPS_AT_REST;
    const atRest = await Promise.race([probe(prober, 'stop', () => (left -= 1) >= 0 && inTime()), failed]);
    const peak = peakOf(pid);
    const [deskPeak = 0, quickPeak = 0] = childrenOf(pid).map(peakOf).sort((a, b) => b - a);
    await watching.terminate();
    const end = await endChild(host);
    const [first] = rounds;
    return {
      name: `A window that watches asks for everything of a run of ${attempts} attempts while that run goes on, with a dead-man of 1 s`,
      figures: [
        ...(first ?? []).map(({ what, answers, megabytes, seconds }) => ({ label: `asked: ${what} (${answers} answers, ${megabytes.toFixed(0)} MB)`, value: seconds, unit: 's' })),
        { label: first === undefined ? 'NOT everything was answered within' : 'everything was answered after', value: took, unit: 's' },
        { label: 'lost links meanwhile (missed heartbeats)', value: during.lost, unit: '' },
        { label: 'holds, trips and pauses meanwhile', value: during.rests, unit: '' },
        { label: 'attempts that ended meanwhile', value: during.attempts, unit: '' },
        ...times('small request meanwhile', small.replies),
        ...times('STOP while pulses flow, until answered', ofRun),
        ...times('STOP at rest, until answered', atRest.replies),
        { label: 'lateness of a timer in this benchmark itself, 99 %', value: quantile([...small.late, ...atRest.late], 0.99), unit: 'ms' },
        { label: 'opening of the stored run', value: opened, unit: 's' },
        { label: 'memory of the host before it is asked, most', value: before.rss, unit: 'MB' },
        { label: 'memory of the host, most', value: peak, unit: 'MB' },
        { label: 'memory of the process that pages wait for, most', value: quickPeak, unit: 'MB' },
        { label: 'memory of the process of its long work, most', value: deskPeak, unit: 'MB' },
        { label: `end of the host in the middle of that work${end.byItself ? '' : ' (KILLED)'}`, value: end.seconds, unit: 's' },
        ...exports,
      ],
    };
  } finally {
    process.off('SIGINT', onSignal).off('SIGTERM', onSignal);
    await watcher?.terminate();
    await Promise.all(children.map(endChild));
    rmSync(folder, { recursive: true, force: true });
  }
}
