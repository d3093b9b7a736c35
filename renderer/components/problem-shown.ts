/** What is wrong with a field, as it stands beside it. WIN-206 */
import { quantityFigure, shownIn, typedFromStored, unitShown } from '../settings/quantities.ts';
import { shownText } from './shown-text.ts';

const number = String.raw`-?\d+(?:\.\d+)?(?:e[+-]?\d+)?`;
/** How the reader of a document tells a limit and what it found: bare numbers in the unit of the document. */
const ofLimit = new RegExp(String.raw`\b(at least|at most|more than|less than) (${number}), but it is (${number})\.`, 'gu');

/** The limit with six digits that is still inside: who types it is not refused for what rounding made of it. */
function limitShown(unit: string, limit: number, isUpper: boolean, difference: boolean): string {
  const shown = shownIn(unit, limit, difference);
  const near = Number(shown.toPrecision(6));
  if (near === shown || (isUpper ? near < shown : near > shown)) return quantityFigure(limit, unit, difference);
  const step = 10 ** (Math.floor(Math.log10(Math.abs(shown))) - 5);
  return String(Number((near + (isUpper ? -step : step)).toPrecision(6)));
}

/** As it was typed; what was typed in another unit, with six digits. */
function foundShown(unit: string, found: string, difference: boolean): string {
  const isAsTyped = unitShown(unit) !== unit || Number.isInteger(Number(found));
  return isAsTyped ? typedFromStored(unit, found, difference) : quantityFigure(Number(found), unit, difference);
}

/**
 * A problem of a field in the unit in which the field is typed, with that unit behind its numbers. `unit`: of the document; empty: a count or a text.
 * `difference`: a tolerance, which of a temperature has no zero.
 */
export function problemShown(text: string, unit = '', difference = false): string {
  const behind = unit === '' ? '' : ` ${unitShown(unit)}`;
  return shownText(
    text.replaceAll(ofLimit, (_, how: string, limit: string, found: string) => {
      const shown = limitShown(unit, Number(limit), how === 'at most' || how === 'less than', difference);
      return `${how} ${shown}${behind}, but it is ${foundShown(unit, found, difference)}${behind}.`;
    }),
  );
}
