/** A thread of the desk in this process: a reading connection of its own, and a time of its own for each job. */
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { wait, type VirtualClock } from '../../main/clock/clock.ts';
import type { StartDesk } from '../../main/host/desk.ts';
import { answerAtDesk } from '../../main/host/desk-work.ts';
import type { HostClock } from './machine.ts';

interface DeskMachine {
  readonly world: VirtualClock;
  readonly clock: HostClock;
  readonly archivePath: string;
  /** What its process has open, so that a dead one lets go of it. */
  readonly readers: Set<Archive>;
  readonly delayMs: () => number;
  readonly isAlive: () => boolean;
}

export const deskThread =
  ({ world, clock, archivePath, readers, delayMs, isAlive }: DeskMachine): StartDesk =>
  (ears) => {
    const opened = openArchive(archivePath, { readOnly: true, checked: true });
    if (opened.ok) readers.add(opened.archive);
    let before = Promise.resolve();
    return {
      post: (message) => {
        before = before.then(async () => {
          await wait(clock, delayMs());
          if (!isAlive()) return;
          if (message === null) {
            if (opened.ok) {
              readers.delete(opened.archive);
              opened.archive.close();
            }
            ears.onEnd(null);
            return;
          }
          // What the disk does takes a time that is never the same: the world waits for it.
          const work = answerAtDesk(opened, message.job);
          world.holdFor(work);
          const answer = await work;
          if (!isAlive()) return;
          clock.input += 1;
          ears.onAnswer(message.id, structuredClone(answer));
        });
      },
      keepsAlive: () => undefined,
      patienceMs: 10_000,
      tearDown: () => {
        ears.onEnd('It was torn down.');
      },
    };
  };
