/** How a run that has worked off its plan ends, and what is said at the end (RUN-9). */
import { shownPoint } from '../plan/points.ts';
import type { Ending, OutKind } from '../journal/events.ts';
import { failedPoints } from '../journal/targets.ts';
import type { RunState } from '../journal/state.ts';

/** One word for one end, on every page, in the terminal and in the archive's lists; null: it has not ended. */
export function endingWords(ending: Ending | null): string {
  switch (ending) {
    case 'complete':
      return 'complete';
    case 'complete-with-failures':
      return 'complete, with failed points';
    case 'finished-early':
      return 'finished early';
    case 'aborted':
      return 'aborted';
    case 'emergency-stopped':
      return 'stopped with STOP';
    case null:
      return 'unfinished';
  }
}

/** What is whole is complete, however it came about. Looks at every point. */
export function endingOf(state: RunState): Ending {
  if (state.counts.accepted === state.points.length) return 'complete';
  const untried = state.points.some((point) => point.attempts.length === 0 && point.skipped === null && !point.waiting);
  return state.finishing || untried ? 'finished-early' : 'complete-with-failures';
}

/** Which injectors are out, with how many points wait for each, without a full stop; empty: none is. */
export function outText(state: RunState): string {
  return [...state.out]
    .map(([injector, { how, points }]) => {
      const waiting = points.filter((index) => state.points.at(index)?.waiting === true).length;
      const { serialNumber, channel } = state.plan.injectors[injector] ?? { serialNumber: String(injector), channel: injector };
      return `${serialNumber} on channel ${channel} was ${outWords[how]}; ${waiting} of its points wait`;
    })
    .join('; ');
}

const outWords: Readonly<Record<OutKind, string>> = { 'set-aside': 'set aside', 'given-up': 'given up' };

/** What was reached and what to do about the rest. */
export function endText(state: RunState, ending: Ending): string {
  const { accepted, skipped } = state.counts;
  const all = state.points.length;
  const out = outText(state);
  const tally = `${accepted} of ${all} points have an attempt that counts${skipped > 0 ? `, ${skipped} ${skipped === 1 ? 'was' : 'were'} left out` : ''}${out === '' ? '' : `. ${out}`}`;
  const again = 'the others can be measured in this run at any time.';
  switch (ending) {
    case 'complete':
      // Somebody may have decided since that no attempt of a point counts.
      if (accepted < all) return `${tally}; by a decision the others have none.`;
      return all === 1 ? 'The only point has an attempt that counts.' : `All ${all} points have an attempt that counts.`;
    case 'complete-with-failures': {
      const failed = failedPoints(state);
      const named = failed.slice(0, 20).map(shownPoint).join(', ') + (failed.length > 20 ? ` and ${failed.length - 20} more` : '');
      if (failed.length === 0) return out === '' ? `${tally}.` : `${tally}. Put right what is wrong with it, then measure its points again.`;
      return `${tally}. Without one: ${named}. Look at what their attempts say, then measure these points again.`;
    }
    case 'finished-early':
      return `Finished early: ${tally}; ${again}`;
    case 'aborted':
      return `Aborted: ${tally}. What was accepted stays; ${again}`;
    case 'emergency-stopped':
      return `Stopped with STOP: ${tally}. Find out why before anything is measured again.`;
  }
}
