/** The thread of the desk: one archive, open for reading; one job after the other. */
import { parentPort, workerData } from 'node:worker_threads';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { openArchive } from '../archive/archive.ts';
import { ArchiveUnreadable } from '../archive/read.ts';
import { doAtDesk, type DeskAnswer, type DeskJob } from './desk-work.ts';

if (parentPort === null) throw new Error('this file is a worker thread');
const port = parentPort;
const opened = openArchive((workerData as { readonly archivePath: string }).archivePath, { readOnly: true, checked: true, now: () => unixMillis(Date.now()) });

async function answer(job: DeskJob): Promise<DeskAnswer> {
  if (!opened.ok) return { ok: false, code: 'archive', text: opened.text };
  try {
    return await doAtDesk(opened.archive, job);
  } catch (error) {
    if (error instanceof ArchiveUnreadable) return { ok: false, code: 'archive', text: error.message };
    return { ok: false, code: 'defect', text: (error as Error).stack ?? String(error) };
  }
}

let before = Promise.resolve();
port.on('message', ({ id, job }: { readonly id: number; readonly job: DeskJob }) => {
  before = before.then(async () => {
    port.postMessage({ id, answer: await answer(job) });
  });
});
