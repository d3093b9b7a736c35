/** Works out beside the window how far the targets of a run are, so that the page never stands still for it. */
import { outlooks } from '../../../app/schedule/outlook.ts';
import type { Outlook, SoFarAndOpen } from '../../../app/schedule/outlook.ts';

const outlookOf = outlooks();

export type TargetsAnswer = { readonly ok: true; readonly outlook: Outlook } | { readonly ok: false; readonly text: string };

addEventListener('message', ({ data }: MessageEvent<SoFarAndOpen>) => {
  let answer: TargetsAnswer;
  try {
    answer = { ok: true, outlook: outlookOf(data) };
  } catch (error) {
    answer = { ok: false, text: error instanceof Error ? error.message : String(error) };
  }
  postMessage(answer);
});
