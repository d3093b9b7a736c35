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
/** null: end, once everything asked before is answered. */
port.on('message', (asked: { readonly id: number; readonly job: DeskJob } | null) => {
  before = before.then(async () => {
    if (asked !== null) {
      port.postMessage({ id: asked.id, answer: await answer(asked.job) });
      return;
    }
    if (opened.ok) opened.archive.close();
    port.close();
  });
});
