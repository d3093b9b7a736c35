/** A worker thread of the desk: desk-worker.ts, as this program was built. */
import { Worker } from 'node:worker_threads';
import type { StartDeskThread } from './desk.ts';
import type { DeskAnswer } from './desk-work.ts';

export const workerThread =
  (archivePath: string, workerFile: URL): StartDeskThread =>
  (ears) => {
    const worker = new Worker(workerFile, { workerData: { archivePath } });
    let why: string | null = null;
    worker.on('message', ({ id, answer }: { readonly id: number; readonly answer: DeskAnswer }) => ears.onAnswer(id, answer));
    worker.on('error', (error: unknown) => {
      why = (error as Error).message;
    });
    // Comes after an error too.
    worker.on('exit', () => ears.onEnd(why));
    return {
      post: (message) => worker.postMessage(message),
      keepsAlive: (yes) => (yes ? worker.ref() : worker.unref()),
      tearDown: () => void worker.terminate(),
    };
  };
