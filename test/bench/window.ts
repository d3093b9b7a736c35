/**
 * The live view while a run goes on: every strip of the bench page open, 50 frames a second by the bench's clock, ten minutes
 * of it. The simulated bench runs ten times faster than a real one, so the window gets ten times the frames per second.
 *
 * A watching window in a real browser at the real host; a second client drives the bench. Tasks are those of the page's main
 * thread by the browser's own trace: by the clock (a busy machine makes them longer) and by the processor time they took
 * (what the window itself is to blame for). The heap is taken after a collection.
 */
import { once } from 'node:events';
import { rmSync } from 'node:fs';
import { loadavg } from 'node:os';
import { setTimeout as sleep } from 'node:timers/promises';
import { WebSocket } from 'ws';
import samplePlan from '../../main/samples/plan.json' with { type: 'json' };
import { scratchFolder } from '../builders/in-process.ts';
import { complaintsOf, HostProcess, launchBrowser } from '../builders/window.ts';
import type { BenchReport } from './report.ts';

const speed = 10;
const telemetryHz = 50;
const benchSeconds = 600;

interface Task {
  /** ms by the clock, and of processor time. */
  readonly lasted: number;
  readonly worked: number;
}

export async function bench(): Promise<BenchReport> {
  const folder = scratchFolder();
  const browser = await launchBrowser('--enable-precise-memory-info');
  const host = await HostProcess.start(folder, {});
  try {
    const { address } = host;
    const driver = await Driver.connect(address);
    await driver.ask('bench.connect', { bench: { kind: 'simulated', speed } });
    const context = await browser.newContext({ viewport: { width: 1440, height: 1200 } });
    const page = await context.newPage();
    const complaints = complaintsOf(page);
    await page.goto(address);
    await page.locator('.strip canvas').nth(5).waitFor();

    const { id } = (await driver.ask('run.open', { document: { ...samplePlan, link: { telemetryHz } }, operator: 'Benchmark' })) as { id: string };
    await driver.ask('run.command', { id, command: { kind: 'start' }, by: 'Benchmark', commandId: 'start' });
    const cdp = await context.newCDPSession(page);
    await cdp.send('Performance.enable');
    const heap = async (): Promise<number> => {
      await cdp.send('HeapProfiler.collectGarbage');
      const { metrics } = await cdp.send('Performance.getMetrics');
      return (metrics.find(({ name }) => name === 'JSHeapUsedSize')?.value ?? Number.NaN) / 1e6;
    };
    // The trends have their full size from the beginning; what is loaded once has been by now.
    await sleep(5000);
    const heapAtStart = await heap();
    await browser.startTracing(page, { categories: ['toplevel', '__metadata'] });
    const framesBefore = driver.frames;
    const scriptBefore = await taskSeconds();
    const began = performance.now();
    await sleep((benchSeconds / speed) * 500);
    const heapHalfway = await heap();
    await sleep((benchSeconds / speed) * 500);
    const wall = (performance.now() - began) / 1e3;
    const busy = (await taskSeconds()) - scriptBefore;
    const frames = driver.frames - framesBefore;
    const tasks = mainThreadTasks(await browser.stopTracing());
    const heapAtEnd = await heap();
    driver.close();
    const long = tasks.filter(({ lasted }) => lasted > 50);
    if (complaints.length > 0) throw new Error(`The window complained: ${complaints.join(' | ')}`);
    return {
      name: `Live view: ${Math.round(frames / wall)} frames a second into six strips, ${Math.round(wall * speed)} s of bench time in ${Math.round(wall)} s`,
      figures: [
        { label: 'frames shown', value: frames, unit: 'frames' },
        { label: 'tasks of over 50 ms processor time (aim 0)', value: long.filter(({ worked }) => worked > 50).length, unit: 'tasks' },
        { label: 'longest task, processor time', value: Math.max(...tasks.map(({ worked }) => worked)), unit: 'ms' },
        { label: 'tasks of over 50 ms by the clock', value: long.length, unit: 'tasks' },
        { label: 'longest task by the clock', value: Math.max(...tasks.map(({ lasted }) => lasted)), unit: 'ms' },
        { label: 'load of the machine when it ended (1 min)', value: loadavg()[0] ?? Number.NaN, unit: '' },
        { label: 'main thread busy', value: (100 * busy) / wall, unit: '%' },
        { label: 'heap after a collection, start', value: heapAtStart, unit: 'MB' },
        { label: 'heap after a collection, halfway', value: heapHalfway, unit: 'MB' },
        { label: 'heap after a collection, end', value: heapAtEnd, unit: 'MB' },
      ],
    };

    async function taskSeconds(): Promise<number> {
      const { metrics } = await cdp.send('Performance.getMetrics');
      return metrics.find(({ name }) => name === 'TaskDuration')?.value ?? Number.NaN;
    }
  } finally {
    await browser.close();
    await host.end();
    rmSync(folder, { recursive: true, force: true });
  }
}

interface TraceEvent {
  readonly name: string;
  readonly ph: string;
  readonly pid: number;
  readonly tid: number;
  /** us */
  readonly dur?: number;
  readonly tdur?: number;
  readonly args?: { readonly name?: string };
}

/** The tasks of the busiest renderer's main thread: the page's own; other renderers of the browser do nothing. */
function mainThreadTasks(trace: Buffer): readonly Task[] {
  const { traceEvents } = JSON.parse(trace.toString('utf8')) as { traceEvents: readonly TraceEvent[] };
  const mains = new Set(traceEvents.filter(({ name, args }) => name === 'thread_name' && args?.name === 'CrRendererMain').map(({ pid, tid }) => `${pid} ${tid}`));
  const tasks = new Map<string, Task[]>();
  for (const { name, ph, pid, tid, dur = 0, tdur = 0 } of traceEvents) {
    const thread = `${pid} ${tid}`;
    if (ph !== 'X' || !name.endsWith('RunTask') || !mains.has(thread)) continue;
    const all = tasks.get(thread) ?? [];
    all.push({ lasted: dur / 1e3, worked: tdur / 1e3 });
    tasks.set(thread, all);
  }
  const busiest = [...tasks.values()].sort((a, b) => b.length - a.length)[0];
  if (busiest === undefined) throw new Error('The trace of the browser has no task of the page.');
  return busiest;
}

/** The client that holds control. It counts the frames that windows are sent. */
class Driver {
  frames = 0;
  readonly #socket: WebSocket;
  readonly #waiting = new Map<number, (message: { result?: unknown; failure?: { text: string } }) => void>();
  #lastId = 0;

  private constructor(socket: WebSocket) {
    this.#socket = socket;
    socket.on('message', (data: Buffer) => {
      const message = JSON.parse(data.toString('utf8')) as { id?: number; event?: string; data?: { frames?: unknown[] }; result?: unknown; failure?: { text: string } };
      if (message.event === 'frames') this.frames += message.data?.frames?.length ?? 0;
      if (message.id !== undefined) this.#waiting.get(message.id)?.(message);
    });
  }

  static async connect(address: string): Promise<Driver> {
    const { origin, host, search } = new URL(address);
    const socket = new WebSocket(`ws://${host}/host${search}`, { origin });
    await once(socket, 'open');
    const driver = new Driver(socket);
    await driver.ask('hello', { name: 'Benchmark' });
    await driver.ask('control.take', {});
    return driver;
  }

  ask(name: string, params: unknown): Promise<unknown> {
    const id = ++this.#lastId;
    return new Promise((resolve, reject) => {
      this.#waiting.set(id, ({ result, failure }) => {
        this.#waiting.delete(id);
        if (failure === undefined) resolve(result);
        else reject(new Error(`${name}: ${failure.text}`));
      });
      this.#socket.send(JSON.stringify({ id, name, params }));
    });
  }

  close(): void {
    this.#socket.close();
  }
}
