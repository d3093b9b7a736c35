/** A desk that is a process of its own: one archive, open for reading; one job after the other. */
import { setPriority } from 'node:os';
import type { MessagePortMain, ParentPort } from 'electron';
import { openArchive } from '../archive/archive.ts';
import { wait } from '../clock/clock.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { patientDisk } from '../export/files.ts';
import { chromiumPrinter, type PdfPrinter } from '../report/pdf.ts';
import { shellPrinter } from '../report/pdf-by-shell.ts';
import type { ToDesk } from './desk.ts';
import type { DeskPriority, FromDesk } from './desk-process.ts';
import { RunSignals } from './desk-signals.ts';
import { answerAtDesk } from './desk-work.ts';
import { removeAbandonedExports, removeExportsOf } from './export-folder.ts';
import { keepDeskSmall, withRoom } from './small-heap.ts';

/** To and from the host. */
interface Line {
  readonly hear: (take: (message: ToDesk) => void) => void;
  readonly say: (message: FromDesk) => void;
  readonly close: () => void;
}

/** Of a child of the host. `onGone`: the line was shut, from here or because the host has died. */
function childLine(onGone: () => void): Line {
  process.on('disconnect', onGone);
  return {
    hear: (take) => process.on('message', (message) => take(message as ToDesk)),
    // A host that was killed hears nothing any more, and its end is told next: that is no defect of this process.
    say: (message) => process.send?.(message, undefined, undefined, () => undefined),
    close: () => process.disconnect(),
  };
}

/** Of a process that the desktop's shell has started for the host: over a port that it is given. */
function portLine(shell: ParentPort, onGone: () => void): Line {
  let port: MessagePortMain | null = null;
  return {
    hear: (take) => {
      shell.once('message', ({ ports: [given] }) => {
        if (given === undefined) return;
        port = given;
        given.on('message', ({ data }) => take(data as ToDesk));
        given.on('close', onGone);
        given.start();
      });
    },
    say: (message) => port?.postMessage(message),
    close: () => {
      port?.close();
      onGone();
    },
  };
}

const [archivePath = '', ownerText = '', priority = ''] = process.argv.slice(2) as [string?, string?, DeskPriority?];
const owner = Number(ownerText);
if (priority === 'gives-way') setPriority(5);
keepDeskSmall();
let asked = false;
const onGone = (): void => {
  // A host that has died gives nothing to anybody any more.
  if (!asked) removeExportsOf(owner);
  process.exit();
};
const { parentPort } = process as { readonly parentPort?: ParentPort };
// What a terminal sends to everybody is for the host, which ends this process too. By SIGTERM the desktop's shell tears it down.
for (const signal of ['SIGINT', 'SIGHUP', 'SIGQUIT', 'SIGBREAK', ...(parentPort === undefined ? (['SIGTERM'] as const) : [])] as const) process.on(signal, () => undefined);
const line = parentPort === undefined ? childLine(onGone) : portLine(parentPort, onGone);

/** The desktop prints by itself; elsewhere a Chromium of the machine does. */
function printerOf(shell: ParentPort | undefined): PdfPrinter {
  if (shell === undefined) return chromiumPrinter();
  const printer = shellPrinter((message) => shell.postMessage(message));
  shell.on('message', ({ data }) => printer.hear(data));
  return printer.print;
}
const print = printerOf(parentPort);

const opened = openArchive(archivePath, { readOnly: true, checked: true });
removeAbandonedExports();

const signals = new RunSignals();
const ending = new AbortController();
let before = Promise.resolve();
line.hear((message) => {
  // It may be at something that takes minutes.
  if (message === null) ending.abort(new Error('the desk is ending'));
  before = before.then(async () => {
    if (message !== null) {
      const { id, job } = message;
      const onProgress = (progress: number): void => line.say({ id, progress });
      line.say({ id, answer: await answerAtDesk(opened, job, { owner, onProgress, turn: () => wait(machineClock, 0), ending: ending.signal, disk: patientDisk(machineClock), entropy: machineEntropy, print, signals, withRoom }) });
      return;
    }
    if (opened.ok) opened.archive.close();
    asked = true;
    line.close();
  });
});
