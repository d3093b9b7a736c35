/** The thread of the desk: one archive, open for reading; one job after the other. */
import { parentPort, workerData } from 'node:worker_threads';
import { openArchive } from '../archive/archive.ts';
import type { ToDeskThread } from './desk.ts';
import { answerAtDesk } from './desk-work.ts';

if (parentPort === null) throw new Error('this file is a worker thread');
const port = parentPort;
const opened = openArchive((workerData as { readonly archivePath: string }).archivePath, { readOnly: true, checked: true });

let before = Promise.resolve();
port.on('message', (asked: ToDeskThread) => {
  before = before.then(async () => {
    if (asked !== null) {
      port.postMessage({ id: asked.id, answer: await answerAtDesk(opened, asked.job) });
      return;
    }
    if (opened.ok) opened.archive.close();
    port.close();
  });
});
