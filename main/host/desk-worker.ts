/** A desk that is a thread or a process of its own: one archive, open for reading; one job after the other. */
import { setPriority } from 'node:os';
import { parentPort, workerData } from 'node:worker_threads';
import { openArchive } from '../archive/archive.ts';
import type { ToDeskThread } from './desk.ts';
import { answerAtDesk, type DeskAnswer } from './desk-work.ts';
import { removeAbandonedExports, removeExportsOf } from './export-folder.ts';

/** To and from whoever started it. */
interface Line {
  readonly archivePath: string;
  /** The process of the host. */
  readonly owner: number;
  readonly hear: (take: (message: ToDeskThread) => void) => void;
  readonly say: (answer: { readonly id: number; readonly answer: DeskAnswer }) => void;
  readonly close: () => void;
}

function threadLine(port: NonNullable<typeof parentPort>): Line {
  return {
    ...(workerData as Pick<Line, 'archivePath' | 'owner'>),
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
  const owner = Number(process.argv[3]);
  let asked = false;
  process.on('disconnect', () => {
    // A host that has died gives nothing to anybody any more.
    if (!asked) removeExportsOf(owner);
    process.exit();
  });
  return {
    archivePath: process.argv[2] ?? '',
    owner,
    hear: (take) => process.on('message', (message) => take(message as ToDeskThread)),
    say: (answer) => process.send?.(answer),
    close: () => {
      asked = true;
      process.disconnect();
    },
  };
}

const line = parentPort === null ? processLine() : threadLine(parentPort);
const opened = openArchive(line.archivePath, { readOnly: true, checked: true });

removeAbandonedExports();

const ending = new AbortController();
let before = Promise.resolve();
line.hear((asked) => {
  // It may be at something that takes minutes.
  if (asked === null) ending.abort(new Error('the desk is ending'));
  before = before.then(async () => {
    if (asked !== null) {
      line.say({ id: asked.id, answer: await answerAtDesk(opened, asked.job, { owner: line.owner, ending: ending.signal }) });
      return;
    }
    if (opened.ok) opened.archive.close();
    line.close();
  });
});
