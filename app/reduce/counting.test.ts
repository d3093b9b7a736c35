import { describe, expect, it } from 'vitest';
import { forDriving } from '../journal/fold.ts';
import { List } from '../journal/list.ts';
import type { RunState } from '../journal/state.ts';
import { countingAttempts } from './counting.ts';

/** A window as the fold keeps it, told apart by its edges. */
const kept = (edges: number) => ({ from: 0, to: 1, frames: 20, missingFrames: 0, edges, firstEdgeAt: 0, lastEdgeAt: 1, partRates: [], pulses: 50 });
const stateOf = (points: readonly { readonly chosen: number | null; readonly attempts: readonly object[] }[]): Pick<RunState, 'points'> => ({ points }) as unknown as Pick<RunState, 'points'>;

describe('RED-1 the attempts that count', () => {
  it('are the chosen ones, in the order of their points, with the order in which they were made', () => {
    const found = countingAttempts(
      stateOf([
        { chosen: 2, attempts: [{ attempt: 1, order: 4, window: kept(10) }, { attempt: 2, order: 9, window: kept(20) }] },
        { chosen: null, attempts: [{ attempt: 1, order: 5, window: kept(30) }] },
        { chosen: 1, attempts: [{ attempt: 1, order: 6, window: kept(40), drivenWidth: 2e-3 }] },
        { chosen: 1, attempts: [{ attempt: 1, order: 7, window: null }] },
        { chosen: 3, attempts: [{ attempt: 1, order: 8, window: kept(50) }] },
      ]),
    );
    expect(found).toEqual([
      { point: 0, attempt: 2, order: 9, window: kept(20) },
      { point: 2, attempt: 1, order: 6, window: kept(40), drivenWidth: 2e-3 },
    ]);
  });

  it('are not told from a state for driving a run, whose windows stand in the journal', () => {
    const state = { setPoints: List.of([]), points: List.of([{ chosen: 1, attempts: [{ attempt: 1, order: 1, window: kept(10) }] }]) } as unknown as RunState;
    expect(countingAttempts(state)).toHaveLength(1);
    expect(() => countingAttempts(forDriving(state))).toThrow('keeps no windows');
  });
});
