/** A desk beside the thread that the bench hangs on: desk-worker.ts, as this program was built. */
import { fork } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { Worker, type ResourceLimits } from 'node:worker_threads';
import type { StartDeskThread } from './desk.ts';
import type { DeskAnswer } from './desk-work.ts';
import { removeUnfinishedExports } from './export-folder.ts';

/**
 * For a thread with the short jobs alone: without a bound it leaves hundreds of megabytes of garbage lying, which are the
 * host's. Many times what a page, a list or the check of the largest plan needs; a thread that goes beyond is started anew.
 */
export const shortJobs: ResourceLimits = { maxOldGenerationSizeMb: 192, maxYoungGenerationSizeMb: 16 };

/** One that is torn down while it loads or calls native code may take the whole process with it; one of its own process takes nobody. */
const THREAD_PATIENCE_MS = 10_000;
const PROCESS_PATIENCE_MS = 2000;

/** By default the engine lets garbage grow to about the size of what is alive; so an export takes a third less, in the same processor time. */
export const sparing = ['--heap-growing-percent=30'];

/** As a thread of this process. */
export const workerThread =
  (archivePath: string, workerFile: URL, resourceLimits: ResourceLimits = {}): StartDeskThread =>
  (ears) => {
    const worker = new Worker(workerFile, { workerData: { archivePath, owner: process.pid }, resourceLimits });
    let why: string | null = null;
    worker.on('message', ({ id, answer }: { readonly id: number; readonly answer: DeskAnswer }) => ears.onAnswer(id, answer));
    worker.on('error', (error: unknown) => {
      why = (error as Error).message;
    });
    // Comes after an error too.
    worker.on('exit', () => ears.onEnd(why));
    return {
      patienceMs: THREAD_PATIENCE_MS,
      post: (message) => worker.postMessage(message),
      keepsAlive: (yes) => (yes ? worker.ref() : worker.unref()),
      tearDown: () => void worker.terminate(),
    };
  };

/**
 * The same as a process. What it takes of memory is not the host's, and the host does not die of it; it gives way to the host
 * where processors are short.
 */
export const deskProcess =
  (archivePath: string, workerFile: URL): StartDeskThread =>
  (ears) => {
    const child = fork(fileURLToPath(workerFile), [archivePath, String(process.pid)], { execArgv: [...process.execArgv, ...sparing], serialization: 'advanced', stdio: ['ignore', 'inherit', 'inherit', 'ipc'] });
    let why: string | null = null;
    let ended = false;
    const end = (): void => {
      if (!ended) ears.onEnd(why);
      ended = true;
    };
    child.on('message', (message) => {
      const { id, answer } = message as { readonly id: number; readonly answer: DeskAnswer };
      ears.onAnswer(id, answer);
    });
    child.on('error', (error) => {
      why = error.message;
      // One that could not be started does not exit.
      if (child.pid === undefined) end();
    });
    child.on('exit', (code, signal) => {
      if (code !== 0) {
        why ??= `it ended with ${signal ?? `code ${String(code)}`}`;
        removeUnfinishedExports(child.pid ?? 0);
      }
      end();
    });
    return {
      patienceMs: PROCESS_PATIENCE_MS,
      // A send that fails is followed by the end.
      post: (message) => child.connected && child.send(message as object, () => undefined),
      keepsAlive: (yes) => {
        if (yes) {
          child.ref();
          child.channel?.ref();
        } else {
          child.unref();
          child.channel?.unref();
        }
      },
      tearDown: () => void child.kill('SIGKILL'),
    };
  };
