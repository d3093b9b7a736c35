/** How a run stands, with its sign: the same on every page (WIN-12). Only a whole result is marked as good. */
import type { Ending } from '../../app/journal/events.ts';
import type { Tone } from './status.tsx';

/** null: it has not ended. */
export function endingTone(ending: Ending | null): Tone {
  return ending === 'complete' ? 'good' : 'note';
}

/** As a list of runs has it, which passed the line to the host as a text. */
export function knownEnding(text: string | null): Ending | null {
  return endings.find((ending) => ending === text) ?? null;
}

const endings: readonly Ending[] = ['complete', 'complete-with-failures', 'finished-early', 'aborted', 'emergency-stopped'];
