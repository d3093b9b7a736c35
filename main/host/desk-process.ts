/** The desk in processes of its own beside the host: desk-worker.ts, as this program was built. */
import { fork } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { StartDesk } from './desk.ts';
import type { DeskAnswer } from './desk-work.ts';
import { removeUnfinishedExports } from './export-folder.ts';

/**
 * What the processor gives a desk. Somebody looks at a page and waits for it, so the quick desk is `like-the-host`: on a busy machine one that
 * gives way to everybody waits for tens of seconds, beginning with its own start. What takes minutes `gives-way`.
 */
export type DeskPriority = 'like-the-host' | 'gives-way';

/** In which a desk that is asked to end must have ended. */
export const DESK_PATIENCE_MS = 2000;

/** What a desk says. */
export type FromDesk = { readonly id: number } & ({ readonly answer: DeskAnswer } | { readonly progress: number });

export function hearDesk(ears: Parameters<StartDesk>[0], message: FromDesk): void {
  if ('answer' in message) ears.onAnswer(message.id, message.answer);
  else ears.onProgress(message.id, message.progress);
}

/** What desk-worker.ts is started with. */
export const deskArguments = (archivePath: string, owner: number, priority: DeskPriority): string[] => [archivePath, String(owner), priority];

/** As a child of this process: what it takes of memory is not the host's, and the host does not die of it. */
export const deskProcess =
  (archivePath: string, workerFile: URL, priority: DeskPriority): StartDesk =>
  (ears) => {
    const child = fork(fileURLToPath(workerFile), deskArguments(archivePath, process.pid, priority), { serialization: 'advanced', stdio: ['ignore', 'inherit', 'inherit', 'ipc'] });
    let why: string | null = null;
    let ended = false;
    const end = (): void => {
      if (!ended) ears.onEnd(why);
      ended = true;
    };
    child.on('message', (message) => hearDesk(ears, message as FromDesk));
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
      patienceMs: DESK_PATIENCE_MS,
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
