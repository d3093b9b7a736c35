/**
 * A thread with a window that only watches and asks at once for everything of a run, again and again until it is ended. A thread
 * of its own, so that what it receives holds up nobody whose time is taken.
 */
import { parentPort, workerData } from 'node:worker_threads';
import { socketWindow } from '../house/socket-window.ts';

/** What was asked, and what came of it. */
export interface AskedFor {
  readonly what: string;
  readonly answers: number;
  readonly megabytes: number;
  readonly seconds: number;
}

const { address, id } = workerData as { readonly address: string; readonly id: string };
const window = await socketWindow(new URL(address), 'watcher');

interface Tally {
  answers: number;
  bytes: number;
}

async function ask(tally: Tally, name: string, params: object): Promise<unknown> {
  const answer = await window.ask(name, params);
  tally.answers += 1;
  tally.bytes += JSON.stringify(answer).length;
  return answer;
}

const times = (n: number, one: () => Promise<unknown>): Promise<unknown> => Promise.all(Array.from({ length: n }, one));

const everything: Readonly<Record<string, (tally: Tally) => Promise<unknown>>> = {
  'export, and its files piece by piece': async (tally) => {
    const made = (await ask(tally, 'run.export', { id })) as { readonly export: string; readonly files: readonly { readonly name: string }[] };
    for (const { name } of made.files) {
      for (let from: number | null = 0; from !== null; ) {
        from = ((await ask(tally, 'export.piece', { export: made.export, file: name, from })) as { readonly next: number | null }).next;
      }
    }
  },
  'journal, page by page, twice at once': (tally) =>
    times(2, async () => {
      for (let fromSeq = 0, more = true; more; ) {
        const page = (await ask(tally, 'run.journal', { id, fromSeq, limit: 5000 })) as { readonly events: readonly unknown[]; readonly more: boolean };
        fromSeq += page.events.length;
        more = page.more;
      }
    }),
  'telemetry, five times': (tally) => times(5, () => ask(tally, 'run.telemetry', { id, most: 2000 })),
  'list of runs, twenty times': (tally) => times(20, () => ask(tally, 'runs.list', { limit: 500 })),
  verify: (tally) => ask(tally, 'archive.verify', {}),
  head: (tally) => ask(tally, 'archive.head', {}),
};

for (;;) {
  const began = performance.now();
  const asked = await Promise.all(
    Object.entries(everything).map(async ([what, of]): Promise<AskedFor> => {
      const tally: Tally = { answers: 0, bytes: 0 };
      await of(tally);
      return { what, answers: tally.answers, megabytes: tally.bytes / 1e6, seconds: (performance.now() - began) / 1e3 };
    }),
  );
  parentPort?.postMessage(asked);
}
