import { endingWords, outText } from '../../app/run/ending.ts';
import { pointsWithoutResult } from '../../app/journal/targets.ts';
import type { RunState } from '../../app/journal/state.ts';
import { safeClause } from '../../app/run/safe-words.ts';
import { exitCode, type ExitCode } from './exit-codes.ts';

export interface CommandOutcome {
  readonly exitCode: ExitCode;
  readonly text: string;
  readonly canContinue: boolean;
  /** Points that have no result and could be measured in this run; 0 unless it has ended. */
  readonly remaining: number;
}

/** What a resting run comes to for a person and for a script. */
export function foldedOutcome(state: RunState, mode: 'ready' | 'paused' | 'tripped' | 'ended'): CommandOutcome {
  const { accepted, skipped, attempts } = state.counts;
  const out = outText(state);
  const counts = `${accepted} of ${state.points.length} points accepted in ${attempts} attempts${skipped > 0 ? `, ${skipped} left out` : ''}.${out === '' ? '' : ` ${out}. Put right what is wrong, then measure its points again.`}`;
  const unconfirmed = state.safe?.confirmed === false ? ` ${state.safe.text}` : '';
  const resting = state.safe?.confirmed === false ? exitCode.bench : exitCode.unfinished;
  switch (mode) {
    case 'ready':
      return { exitCode: exitCode.refused, text: `The run has not begun. ${counts}`, canContinue: true, remaining: 0 };
    case 'paused':
      return { exitCode: resting, text: `The run is paused; ${safeClause(state.safe?.confirmed)}. ${counts}${unconfirmed}`, canContinue: true, remaining: 0 };
    case 'tripped':
      return {
        exitCode: resting,
        text: `The run has tripped and stays so until a person has found the cause and acknowledges it; ${safeClause(state.safe?.confirmed)}. ${counts}${unconfirmed}`,
        canContinue: true,
        remaining: 0,
      };
    case 'ended':
      return {
        exitCode: state.ending === 'complete' ? exitCode.done : exitCode.pointsFailed,
        text: `The run has ended: ${endingWords(state.ending)}. ${counts}${unconfirmed}`,
        canContinue: false,
        remaining: pointsWithoutResult(state).length,
      };
  }
}
