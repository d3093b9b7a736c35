import type { Amounts } from './amounts.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import type { Selection, Wish } from './selection.ts';

/** What every view of a run's results is given. */
export interface ViewProps {
  readonly results: RunResults;
  readonly selection: Selection;
  readonly onWish: (wish: Partial<Wish>) => void;
  readonly amounts: Amounts;
}
