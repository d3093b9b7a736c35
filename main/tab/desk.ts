/** The desk of a tab: in the same thread, one job after the other. The simulated bench stands still meanwhile (`VirtualClock`), so nothing is late by it. */
import type { OpenedArchive } from '../archive/archive.ts';
import type { StartDesk } from '../host/desk.ts';
import { answerAtDesk } from '../host/desk-work.ts';

export const deskHere =
  (open: () => OpenedArchive): StartDesk =>
  (ears) => {
    const opened = open();
    let before = Promise.resolve();
    return {
      post: (message) => {
        before = before.then(async () => {
          if (message === null) {
            if (opened.ok) opened.archive.close();
            ears.onEnd(null);
            return;
          }
          const answer = await answerAtDesk(opened, message.job, { owner: 1, onProgress: (share) => ears.onProgress(message.id, share) });
          ears.onAnswer(message.id, structuredClone(answer));
        });
      },
      keepsAlive: () => undefined,
      patienceMs: 10_000,
      tearDown: () => ears.onEnd('It was ended.'),
    };
  };
