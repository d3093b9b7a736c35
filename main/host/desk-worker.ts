/** A desk that is a thread or a process of its own: one archive, open for reading; one job after the other. */
import { setPriority } from 'node:os';
import { parentPort, workerData } from 'node:worker_threads';
import { openArchive } from '../archive/archive.ts';
import type { ToDeskThread } from './desk.ts';
import { answerAtDesk, type DeskAnswer } from './desk-work.ts';

/** To and from whoever started it. */
interface Line {
  readonly archivePath: string;
  readonly hear: (take: (message: ToDeskThread) => void) => void;
  readonly say: (answer: { readonly id: number; readonly answer: DeskAnswer }) => void;
  readonly close: () => void;
}

function threadLine(port: NonNullable<typeof parentPort>): Line {
  return {
    archivePath: (workerData as { readonly archivePath: string }).archivePath,
    hear: (take) => port.on('message', take),
    say: (answer) => port.postMessage(answer),
    close: () => port.close(),
  };
}

function processLine(): Line {
  // The bench comes first.
  setPriority(5);
  // What a terminal sends to everybody is for the host, which ends this process too.
  for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP', 'SIGQUIT'] as const) process.on(signal, () => undefined);
  process.on('disconnect', () => process.exit());
  return {
    archivePath: process.argv[2] ?? '',
    hear: (take) => process.on('message', (message) => take(message as ToDeskThread)),
    say: (answer) => process.send?.(answer),
    close: () => process.disconnect(),
  };
}

const line = parentPort === null ? processLine() : threadLine(parentPort);
const opened = openArchive(line.archivePath, { readOnly: true, checked: true });

let before = Promise.resolve();
line.hear((asked) => {
  before = before.then(async () => {
    if (asked !== null) {
      line.say({ id: asked.id, answer: await answerAtDesk(opened, asked.job) });
      return;
    }
    if (opened.ok) opened.archive.close();
    line.close();
  });
});
