import { isKept } from '../journal/fold.ts';
import type { RunState } from '../journal/state.ts';
import type { CountingAttempt } from './reduction.ts';

/**
 * The attempts of a run that count, one for each point that has one, with the order in which they were made. Throws for a state that
 * is there to drive the run: its windows stand in the journal.
 */
export function countingAttempts({ points }: Pick<RunState, 'points'>): readonly CountingAttempt[] {
  const counting: CountingAttempt[] = [];
  let point = -1;
  for (const { chosen, attempts } of points) {
    point += 1;
    const found = chosen === null ? undefined : attempts.find((a) => a.attempt === chosen);
    const window = found?.window ?? null;
    if (window !== null && !isKept(window)) throw new Error('a state for driving a run keeps no windows: fold its journal to reduce it');
    if (found === undefined || window === null) continue;
    const one = { point, attempt: found.attempt, window, order: found.order };
    counting.push(found.blind === undefined && found.drivenWidth === undefined ? one : { ...one, ...(found.blind === undefined ? {} : { blindShift: found.blind.shift }), ...(found.drivenWidth === undefined ? {} : { drivenWidth: found.drivenWidth }) });
  }
  return counting;
}
