/** Runs in words. */
import type { Ending } from '../../../app/run/events.ts';
import type { RunState } from '../../../app/run/fold.ts';
import type { Tone } from '../../components/status.tsx';
import { dateTimeText } from './dates.ts';
import type { RunResults } from './results.ts';

/** null: it has not ended. */
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
      return 'ended by an emergency stop';
    case null:
      return 'not finished';
  }
}

/** A run that did not give a whole result stands out, but nothing is wrong with the archive. */
export function endingTone(ending: Ending | null): Tone {
  switch (ending) {
    case 'complete':
      return 'good';
    case 'complete-with-failures':
    case 'aborted':
    case 'emergency-stopped':
      return 'note';
    case 'finished-early':
    case null:
      return 'off';
  }
}

/** As a list of runs has it, which passed the line to the host as a text. */
export function knownEnding(text: string | null): Ending | null {
  return endings.find((ending) => ending === text) ?? null;
}

const endings: readonly Ending[] = ['complete', 'complete-with-failures', 'finished-early', 'aborted', 'emergency-stopped'];

/** To choose by from a list. */
export function shortRunText(planName: string, order: string, createdAt: number | null): string {
  return [createdAt === null ? '' : dateTimeText(createdAt), order, planName].filter((part) => part !== '').join(' · ');
}

export function runText({ plan, operator, ending, counts, points }: RunState, openedAt: number | null): string {
  return [
    plan.name,
    plan.order === '' ? '' : `order ${plan.order}`,
    openedAt === null ? '' : dateTimeText(openedAt),
    operator === '' ? '' : `by ${operator}`,
    `${counts.accepted} of ${points.length} points count`,
    endingWords(ending),
  ]
    .filter((part) => part !== '')
    .join(' · ');
}

/** How much of what the plan asks for has a line. */
export function resultsSentence({ reduction: { cells }, plan }: RunResults): string {
  const lines = cells.filter((cell) => cell.kind === 'line').length;
  const referred = `Referred to ${plan.reduction.referenceC} °C.`;
  return lines === cells.length
    ? `All ${cells.length} lines (injector, voltage, pressure, period) are there. ${referred}`
    : `${lines} of ${cells.length} lines (injector, voltage, pressure, period) are there; the others say why not. ${referred}`;
}
