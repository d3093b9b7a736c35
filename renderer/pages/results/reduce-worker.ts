/** Reduces runs beside the window, so that the page never stands still for it. */
import { reduceForPage } from './results.ts';
import type { ReduceRequest, RunResults } from './results.ts';

export interface ReduceQuestion {
  readonly ask: number;
  readonly request: ReduceRequest;
}
export type ReduceAnswer = { readonly ask: number; readonly ok: true; readonly results: RunResults } | { readonly ask: number; readonly ok: false; readonly text: string };

addEventListener('message', ({ data }: MessageEvent<ReduceQuestion>) => {
  let answer: ReduceAnswer;
  try {
    answer = { ask: data.ask, ok: true, results: reduceForPage(data.request) };
  } catch (error) {
    answer = { ask: data.ask, ok: false, text: error instanceof Error ? error.message : String(error) };
  }
  postMessage(answer);
});
