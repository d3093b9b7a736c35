/**
 * Can a window hold up a run? A real host on a bench behind a pseudo-terminal (a process of its own, in real time, with a
 * dead-man of 1 s) measures, while a window that only watches asks at once for everything of a run of 100 000 attempts.
 */
import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { samplePath } from '../../main/samples/samples.ts';
import { servedAt, socketWindow, type SocketWindow } from '../house/socket-window.ts';
import { makeLongArchive } from './long-archive.ts';
import type { BenchReport } from './report.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
const out = join(import.meta.dirname, '..', '.out');
const REPLICATES = Number(process.env['BENCH_REPLICATES'] ?? 29);
const STOPS = 500;

const pause = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));
const quantile = (values: readonly number[], q: number): number => values.toSorted((a, b) => a - b)[Math.min(values.length - 1, Math.floor(q * values.length))] ?? Number.NaN;

interface Stored {
  readonly events: readonly { readonly seq: number; readonly body: { readonly kind: string } }[];
  readonly more: boolean;
}

/** The journal of a run, page by page; `take` sees each. */
async function journal(window: SocketWindow, id: string, take: (page: Stored) => void = () => undefined): Promise<void> {
  for (let fromSeq = 0, more = true; more; ) {
    const page = (await window.ask('run.journal', { id, fromSeq, limit: 5000 })) as Stored;
    take(page);
    fromSeq += page.events.length;
    more = page.more;
  }
}

async function everything(window: SocketWindow, id: string): Promise<number> {
  let bytes = 0;
  const exported = async (): Promise<void> => {
    const made = (await window.ask('run.export', { id })) as { readonly export: string; readonly files: readonly { readonly name: string }[] };
    for (const { name } of made.files) {
      for (let from: number | null = 0; from !== null; ) {
        const piece = (await window.ask('export.piece', { export: made.export, file: name, from })) as { readonly text: string; readonly next: number | null };
        bytes += Buffer.byteLength(piece.text);
        from = piece.next;
      }
    }
  };
  await Promise.all([
    exported(), journal(window, id), journal(window, id), window.ask('archive.verify', {}), window.ask('archive.head', {}),
    ...Array.from({ length: 5 }, () => window.ask('run.telemetry', { id, most: 2000 })),
    ...Array.from({ length: 20 }, () => window.ask('runs.list', { limit: 500 })),
  ]);
  return bytes;
}

/** MB, the most that a process had until now. */
function peakOf(pid: number): number {
  const [, kB] = /VmHWM:\s+(\d+) kB/.exec(readFileSync(`/proc/${pid}/status`, 'utf8')) ?? [];
  return Number(kB) / 1e3;
}

async function served(): Promise<{ readonly child: ChildProcess; readonly path: string }> {
  const child = spawn(process.execPath, [command, 'serve-bench'], { stdio: ['ignore', 'pipe', 'ignore'] });
  const [path] = (await once(createInterface({ input: child.stdout }), 'line')) as [string];
  return { child, path };
}

export async function bench(): Promise<BenchReport> {
  mkdirSync(out, { recursive: true });
  // It takes minutes to make, and is kept.
  const kept = join(out, `long-${REPLICATES}.sqlite`);
  if (!existsSync(kept)) {
    rmSync(`${kept}.part`, { force: true });
    makeLongArchive(`${kept}.part`, REPLICATES);
    renameSync(`${kept}.part`, kept);
  }
  const folder = mkdtempSync(join(out, 'host-bench-'));
  const archive = join(folder, 'archive.sqlite');
  copyFileSync(kept, archive);
  const controller = await served();
  const host = spawn(process.execPath, [command, 'window', '--archive', archive, '--port', controller.path], { stdio: ['ignore', 'pipe', 'inherit'] });
  const pid = host.pid ?? 0;
  try {
    const { windows, id } = await opened(host);
    const [driver, watcher, prober] = windows;
    await driver.ask('bench.connect', { bench: { kind: 'port', path: controller.path } });
    await driver.ask('equipment.save', { document: JSON.parse(readFileSync(samplePath('equipment'), 'utf8')) as unknown });
    const plan = JSON.parse(readFileSync(samplePath('plan'), 'utf8')) as { readonly link?: object };
    const run = (await driver.ask('run.open', { document: { ...plan, link: { ...plan.link, deadManMs: 1000 } }, operator: 'Bench' })) as { readonly id: string };
    await driver.ask('run.command', { id: run.id, command: { kind: 'start' }, by: 'Bench', commandId: 'begin' });
    // The proof of the dead-man, and into the first pulses.
    await pause(15_000);
    process.stderr.write('the run measures; everything is asked for ...\n');
    const startRss = peakOf(pid);
    const began = performance.now();
    const asking = everything(watcher, id);
    const first = { over: false };
    void asking.finally(() => (first.over = true));
    const replies: number[] = [];
    while (!first.over) {
      const at = performance.now();
      await prober.ask('equipment.read', {});
      replies.push(performance.now() - at);
      await pause(20);
    }
    const bytes = await asking;
    const took = (performance.now() - began) / 1e3;
    const kinds = new Map<string, number>();
    await journal(driver, run.id, ({ events }) => {
      for (const { body } of events) kinds.set(body.kind, (kinds.get(body.kind) ?? 0) + 1);
    });
    const stops: number[] = [];
    let asked: Promise<unknown> = everything(watcher, id);
    const second = { over: false };
    const note = (): void => void asked.finally(() => (second.over = true));
    note();
    for (let i = 0; i < STOPS; i += 1) {
      if (second.over) {
        second.over = false;
        asked = everything(watcher, id);
        note();
      }
      const at = performance.now();
      await prober.ask('stop', {});
      stops.push(performance.now() - at);
      await pause(20);
    }
    asked.catch(() => undefined);
    const count = (kind: string): number => kinds.get(kind) ?? 0;
    return {
      name: `A window that watches asks for everything of a run of ${(REPLICATES * 3456).toString()} attempts while another run measures`,
      figures: [
        { label: 'everything answered (export, 2 journals, verify, ...) in', value: took, unit: 's' },
        { label: 'files of the export, read piece by piece', value: bytes / 1e6, unit: 'MB' },
        { label: 'lost links in the run meanwhile', value: count('link-lost'), unit: '' },
        { label: 'holds and trips in the run meanwhile', value: count('held') + count('tripped'), unit: '' },
        { label: 'attempts that ended in the run meanwhile', value: count('attempt-ended'), unit: '' },
        { label: `small request during the run, median of ${replies.length}`, value: quantile(replies, 0.5), unit: 'ms' },
        { label: 'small request during the run, 99 %', value: quantile(replies, 0.99), unit: 'ms' },
        { label: 'small request during the run, longest', value: Math.max(...replies), unit: 'ms' },
        { label: `STOP until answered, median of ${stops.length}`, value: quantile(stops, 0.5), unit: 'ms' },
        { label: 'STOP until answered, 99 %', value: quantile(stops, 0.99), unit: 'ms' },
        { label: 'STOP until answered, longest', value: Math.max(...stops), unit: 'ms' },
        { label: 'memory of the host before, most', value: startRss, unit: 'MB' },
        { label: 'memory of the host, most', value: peakOf(pid), unit: 'MB' },
        { label: 'memory of the process of its long work, most', value: Math.max(0, ...childrenOf(pid).map(peakOf)), unit: 'MB' },
      ],
    };
  } finally {
    host.kill('SIGTERM');
    await once(host, 'exit');
    controller.child.kill('SIGTERM');
    rmSync(folder, { recursive: true, force: true });
  }
}

const childrenOf = (pid: number): number[] =>
  readFileSync(`/proc/${pid}/task/${pid}/children`, 'utf8').trim().split(' ').filter((text) => text !== '').map(Number);

async function opened(host: ChildProcess): Promise<{ readonly windows: readonly [SocketWindow, SocketWindow, SocketWindow]; readonly id: string }> {
  const address = await servedAt(host);
  const windows = [await socketWindow(address, 'driver'), await socketWindow(address, 'watcher'), await socketWindow(address, 'prober')] as const;
  const [row] = (await windows[1].ask('runs.list', { limit: 1 })) as readonly { readonly id: string }[];
  return { windows, id: row?.id ?? '' };
}
