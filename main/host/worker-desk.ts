/** The desk as threads of their own, which read the archive and compute beside the thread that the bench hangs on. */
import { once } from 'node:events';
import { Worker } from 'node:worker_threads';
import type { Clock } from '../clock/clock.ts';
import type { Desk } from './desk.ts';
import type { DeskAnswer, DeskFailure, DeskJob, DeskResults } from './desk-work.ts';

interface Waiting {
  readonly job: DeskJob;
  readonly settle: (answer: DeskAnswer) => void;
}

/** Jobs that may take minutes; they have a thread of their own, so that a page does not wait for them. */
const long: ReadonlySet<DeskJob['kind']> = new Set<DeskJob['kind']>(['verify', 'backup', 'export']);

const CLOSE_DEADLINE_MS = 10_000;

export class WorkerDesk implements Desk {
  readonly #quick: DeskThread;
  readonly #long: DeskThread;

  /** `workerFile` is desk-worker, as this program was built. */
  constructor(archivePath: string, workerFile: URL, clock: Clock) {
    this.#quick = new DeskThread(archivePath, workerFile, clock);
    this.#long = new DeskThread(archivePath, workerFile, clock);
    // The first page that is opened does not wait for the thread to begin.
    this.#quick.begin();
  }

  /** Jobs of a kind are done in the order they were given. */
  do<J extends DeskJob>(job: J): Promise<{ readonly ok: true; readonly value: DeskResults[J['kind']] } | DeskFailure> {
    return (long.has(job.kind) ? this.#long : this.#quick).do(job) as Promise<{ readonly ok: true; readonly value: DeskResults[J['kind']] } | DeskFailure>;
  }

  async close(): Promise<void> {
    await Promise.all([this.#quick.close(), this.#long.close()]);
  }
}

/** One that died is started again with the next job. */
class DeskThread {
  readonly #archivePath: string;
  readonly #workerFile: URL;
  readonly #clock: Clock;
  readonly #waiting = new Map<number, Waiting>();
  #nextId = 0;
  #worker: Worker | null = null;
  #closed = false;

  constructor(archivePath: string, workerFile: URL, clock: Clock) {
    this.#archivePath = archivePath;
    this.#workerFile = workerFile;
    this.#clock = clock;
  }

  begin(): void {
    this.#worker ??= this.#start();
    this.#worker.unref();
  }

  do(job: DeskJob): Promise<DeskAnswer> {
    if (this.#closed) return Promise.resolve({ ok: false, code: 'archive', text: 'The host is ending; the archive is being closed.' });
    return new Promise((settle) => {
      const id = this.#nextId++;
      this.#waiting.set(id, { job, settle });
      this.#worker ??= this.#start();
      this.#worker.ref();
      this.#worker.postMessage({ id, job });
    });
  }

  /**
   * Asks the thread to end after the job it is at. Only one that is not done in time is torn down: a thread that is torn
   * down while it loads or calls native code may take the whole process with it.
   */
  async close(): Promise<void> {
    this.#closed = true;
    const worker = this.#worker;
    if (worker !== null) {
      worker.ref();
      const ended = once(worker, 'exit');
      worker.postMessage(null);
      const inTime = this.#clock.after(CLOSE_DEADLINE_MS, () => void worker.terminate());
      await ended;
      inTime();
    }
    this.#giveUp('The host has ended.');
  }

  #start(): Worker {
    const worker = new Worker(this.#workerFile, { workerData: { archivePath: this.#archivePath } });
    worker.on('message', ({ id, answer }: { readonly id: number; readonly answer: DeskAnswer }) => {
      const waiting = this.#waiting.get(id);
      this.#waiting.delete(id);
      waiting?.settle(answer);
      // An idle desk keeps no program alive.
      if (this.#waiting.size === 0) worker.unref();
    });
    worker.on('error', (error: unknown) => this.#giveUp(`The thread that reads the archive ended: ${(error as Error).message}`));
    worker.on('exit', () => {
      if (this.#worker === worker) this.#worker = null;
      this.#giveUp('The thread that reads the archive ended.');
    });
    return worker;
  }

  #giveUp(text: string): void {
    const waiting = [...this.#waiting.values()];
    this.#waiting.clear();
    for (const { settle } of waiting) settle({ ok: false, code: 'defect', text });
  }
}
