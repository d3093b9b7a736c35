/** Tables with a Monte Carlo beside each number, worked out beside the window: they take seconds. TAB-56 */
import type { ControllerTable } from '../../../app/handover/document.ts';
import type { ControllerLayout } from '../../../app/handover/layout.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import { tablesOfInjector } from './controller-view.ts';

export interface TrialsQuestion {
  readonly results: Pick<RunResults, 'plan' | 'equipment' | 'reduction'>;
  readonly injector: number;
  readonly layout: ControllerLayout;
  /** The run. */
  readonly seed: string;
}
/** A text: why there are none. */
export type TrialsAnswer = readonly ControllerTable[] | string;

addEventListener('message', ({ data: { results, injector, layout, seed } }: MessageEvent<TrialsQuestion>) => {
  let answer: TrialsAnswer;
  try {
    answer = tablesOfInjector(results, injector, layout, seed);
  } catch (error) {
    answer = error instanceof Error ? error.message : String(error);
  }
  postMessage(answer);
});
