/** Runs in words. */
import { endingWords } from '../../../app/run/ending.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { dateTimeText } from '../../components/dates.ts';
import type { RunResults } from '../../../app/results/run-results.ts';

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
