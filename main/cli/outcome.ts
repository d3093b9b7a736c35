import { outText } from '../../app/run/ending.ts';
import type { RunState } from '../../app/run/fold.ts';
import { exitCode, type ExitCode } from './exit-codes.ts';

export interface Outcome {
  readonly exitCode: ExitCode;
  readonly text: string;
  readonly canContinue: boolean;
}

/** What a resting run comes to for a person and for a script. */
export function foldedOutcome(state: RunState, mode: 'ready' | 'paused' | 'tripped' | 'ended'): Outcome {
  const { accepted, skipped, attempts } = state.counts;
  const out = outText(state);
  const counts = `${accepted} of ${state.points.length} points accepted in ${attempts} attempts${skipped > 0 ? `, ${skipped} left out` : ''}.${out === '' ? '' : ` ${out}. Put right what is wrong, then measure its points again.`}`;
  switch (mode) {
    case 'ready':
      return { exitCode: exitCode.refused, text: `The run has not begun. ${counts}`, canContinue: true };
    case 'paused':
      return { exitCode: exitCode.unfinished, text: `The run is paused, the bench safe. ${counts}`, canContinue: true };
    case 'tripped':
      return {
        exitCode: exitCode.unfinished,
        text: `The run has tripped and stays so until a person has found the cause and acknowledges it. ${counts}`,
        canContinue: true,
      };
    case 'ended':
      return { exitCode: state.ending === 'complete' ? exitCode.done : exitCode.pointsFailed, text: counts, canContinue: false };
  }
}
