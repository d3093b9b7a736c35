/** Reduces runs beside the window, so that the page never stands still for it. */
import { resultsOf } from '../../../app/results/run-results.ts';
import type { RunToReduce, RunResults } from '../../../app/results/run-results.ts';

export interface ReduceQuestion {
  readonly ask: number;
  readonly request: RunToReduce;
}
/** What is not in the question: the rest, thousands of points, need not pass between two threads twice. */
export type ReducedOfRun = Pick<RunResults, 'reduction' | 'masses'>;
export type ReduceAnswer = { readonly ask: number; readonly ok: true; readonly results: ReducedOfRun } | { readonly ask: number; readonly ok: false; readonly text: string };

addEventListener('message', ({ data }: MessageEvent<ReduceQuestion>) => {
  let answer: ReduceAnswer;
  try {
    const { reduction, masses } = resultsOf(data.request);
    answer = { ask: data.ask, ok: true, results: { reduction, masses } };
  } catch (error) {
    answer = { ask: data.ask, ok: false, text: error instanceof Error ? error.message : String(error) };
  }
  postMessage(answer);
});
