/** Runs in words. */
import { quantityText } from '../../settings/quantities.ts';
import { endingWords } from '../../../app/run/ending.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { dateTimeText } from '../../components/dates.ts';
import type { RunResults } from '../../../app/results/run-results.ts';

/** To choose by from a list. */
export function shortRunText(planName: string, order: string, createdAt: number | null): string {
  return [createdAt === null ? '' : dateTimeText(createdAt), order, planName].filter((part) => part !== '').join(' · ');
}

/** `whole` false: the journal is still being read, and what the run came to is not known yet (WIN-18). */
export function runText({ plan, operator, ending, counts, points }: RunState, openedAt: number | null, whole: boolean): string {
  return [
    plan.name,
    plan.order === '' ? '' : `job ${plan.order}`,
    openedAt === null ? '' : dateTimeText(openedAt),
    operator === '' ? '' : `by ${operator}`,
    whole ? `${counts.accepted} of ${points.length} points valid` : '',
    whole ? endingWords(ending) : '',
  ]
    .filter((part) => part !== '')
    .join(' · ');
}

/** How much of what the plan asks for has a line. */
export function resultsSentence({ reduction: { cells }, plan }: RunResults): string {
  const lines = cells.filter((cell) => cell.kind === 'line').length;
  const referred = `Referred to ${quantityText(plan.reduction.referenceC, '°C')}.`;
  return lines === cells.length
    ? `All ${cells.length} lines (injector, voltage, pressure, period) are there. ${referred}`
    : `${lines} of ${cells.length} lines (injector, voltage, pressure, period) are there; the others say why not. ${referred}`;
}
