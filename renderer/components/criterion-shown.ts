/** What an attempt was held against, as pages show it. */
import { allowedText, criterionText, shownUnit } from '../../app/run/criterion.ts';
import type { Criterion } from '../../app/journal/events.ts';
import { allShown } from '../settings/quantities.ts';

/** Limits with six digits, and those of a count as counts: between 252.99 and 257.01 pulses are 253 to 257 (WIN-132). */
function readable<C extends Criterion>(criterion: C): C {
  const { low, high, unit } = criterion;
  const shown = (value: number | null | undefined, whole: (of: number) => number) => (value == null ? value : unit === '' ? whole(value) : Number(value.toPrecision(6)));
  return { ...criterion, low: shown(low, Math.ceil), high: shown(high, Math.floor) };
}

/** What was allowed, in the chosen unit; empty: nothing was limited. */
export const allowedShown = (criterion: Criterion): string => allShown(shownUnit(criterion.unit ?? ''), allowedText(readable(criterion)), criterion.quantity === 'pressureScatter');

/** What was found and what was allowed, in a sentence of the house's units. */
export const criterionShown = (criterion: Criterion): string => criterionText(readable(criterion));
