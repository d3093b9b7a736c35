/** Words of the targets of a run: how far a cell is, what stands in its way, when the run is expected to be over. */
import { isOfMap, isRelative, wantedQuantity } from '../../../app/schedule/progress.ts';
import type { CellProgress } from '../../../app/schedule/progress.ts';
import type { Remaining } from '../../../app/schedule/outlook.ts';
import { labelOf } from '../../../app/uncertainty/source.ts';
import { clockTime } from '../../components/dates.ts';
import { roughDuration } from '../../components/durations.ts';
import type { LastDecision } from './log.ts';
import { plural } from '../../components/plural.ts';

export type Standing = 'reached' | 'open' | 'beyond' | 'used-up' | 'waiting';

/** In the order of the legend. */
export const standings: readonly { readonly standing: Standing; readonly glyph: string; readonly word: string; readonly meaning: string }[] = [
  { standing: 'reached', glyph: '✓', word: 'known', meaning: 'known as well as was wanted' },
  { standing: 'open', glyph: '▸', word: 'on the way', meaning: 'more windows bring it to its target' },
  { standing: 'waiting', glyph: '·', word: 'no line yet', meaning: 'too few windows so far for a line through them' },
  { standing: 'beyond', glyph: '⊘', word: 'cannot be reached', meaning: 'the best that the instruments allow is more than the target, however many windows are measured' },
  { standing: 'used-up', glyph: '■', word: 'windows used up', meaning: 'it has had the windows that the plan allows for a cell' },
];

export const standingOf = ({ state }: CellProgress): Standing => (state === 'no-line' ? 'waiting' : state);

const inMicroseconds = (s: number): string => `${(s * 1e6).toFixed(1)}\u00a0µs`;

/** U95 of a cell in the unit in which it is wanted. */
export const amountText = (of: CellProgress['of'], value: number): string => (isRelative({ of }) ? `${(100 * value).toFixed(2)}\u00a0%` : inMicroseconds(value));

/** Of what a table of targets is. */
export const tableText = (of: CellProgress['of']): string => ({ line: 'U95 of the dead time', slope: 'U95 of the slope', 'static-flow': 'U95 of the static flow', 'map-dead-time': 'Map: U95 of the dead time', 'map-slope': 'Map: U95 of the slope' })[of];

/** Short, for the cell itself. */
export function cellText(cell: CellProgress): string {
  const glyph = standings.find(({ standing }) => standing === standingOf(cell))?.glyph ?? '';
  return cell.expanded === null ? glyph : `${glyph} ${amountText(cell.of, cell.expanded)}`;
}

/** Of a plan whose hours are spent where the worst cell gains most. */
const weighedWords: Readonly<Partial<Record<CellProgress['state'], string>>> = {
  reached: 'It is as near as is sensible to the best that the instruments allow.',
  open: 'The hours of the plan are spent where the worst cell gains most.',
  'used-up': 'It has had the windows that the plan allows.',
};

/** Where a cell is, and how many windows it has there. */
function cellPlace(cell: CellProgress): string {
  const { of, serialNumber, voltage, pressure, windows } = cell;
  if (isOfMap(cell)) return `${serialNumber} in the map at ${voltage} V and ${pressure / 1e3} kPa${windows === 0 ? ', not measured there' : `, ${plural(windows, 'window')} there`}`;
  return `${serialNumber} at ${of === 'static-flow' ? `${pressure / 1e3} kPa` : `${voltage} V`}, ${plural(windows, 'window')}`;
}

/** What it is called that a cell has no U95. */
const noValueYet = (cell: CellProgress): string => (isOfMap(cell) || (cell.of === 'static-flow' && cell.windows > 0) ? 'no value yet' : cell.windows === 0 ? 'not begun' : 'no line yet');

/** Everything of a cell, in sentences. */
export function cellSentences(cell: CellProgress): string {
  const { of, wanted, expanded, least, largest, state, advice } = cell;
  const place = cellPlace(cell);
  const advised = advice === '' ? '' : ` ${advice}`;
  if (expanded === null || least === null) return `${place}: ${noValueYet(cell)}; ${amountText(of, wanted)} wanted.${advised}`;
  const leave = `${isOfMap(cell) ? 'The instruments and the curve between measured places allow' : 'The instruments allow'} ${amountText(of, least)} at best${largest === null ? '' : `, most of it: ${labelOf(largest)}`}.${advised}`;
  if (cell.weighed) return `${place}: U95 of the ${wantedQuantity(cell)} is ${amountText(of, expanded)} now. ${weighedWords[state] ?? ''} ${leave}`;
  const now = `${place}: U95 of the ${wantedQuantity(cell)} is ${amountText(of, expanded)} now, ${amountText(of, wanted)} wanted.`;
  switch (state) {
    case 'reached':
      return `${now} It is known as well as was wanted.`;
    case 'beyond':
      return `${now} No sensible number of windows reaches it. ${leave}`;
    case 'used-up':
      return `${now} ${isOfMap(cell) ? 'The lines that it rests on have' : 'It has'} had the windows that the plan allows. ${leave}`;
    default:
      return `${now} More windows are measured. ${leave}`;
  }
}

/** What keeps cells from their targets for good, voltage by voltage, those of a map by what would help; empty: nothing does. */
export function inTheWay(cells: readonly CellProgress[]): string {
  const beyond = Map.groupBy(cells.filter(({ state }) => state === 'beyond'), ({ of, voltage }) => (of === 'line' ? `${voltage} V` : { slope: 'Slopes', 'static-flow': 'Static flows', 'map-dead-time': 'Map', 'map-slope': 'Slopes of the map' }[of]));
  const parts = [...beyond].map(([where, list]) => {
    const least = list.map((c) => c.least ?? 0);
    const sources = new Set(list.flatMap(({ largest }) => (largest === null ? [] : [labelOf(largest)])));
    const [from, to] = [Math.min(...least), Math.max(...least)].map((value) => amountText(list[0]?.of ?? 'line', value));
    const places = [...new Set(list.flatMap((c) => /^Measure (.*) as well\.$/u.exec(c.advice)?.[1] ?? []))];
    const advice = places.length === 0 ? '' : `measure ${places.join(' or ')} as well; `;
    return `${where}, ${plural(list.length, 'cell')}: ${advice}${list.some(isOfMap) ? 'the instruments and the curve allow' : 'the instruments allow'} ${from === to ? from : `${from} to ${to}`} at best, most of it ${[...sources].join(' or ')}`;
  });
  return parts.length === 0 ? '' : `Cannot be reached: ${parts.join('; ')}.`;
}

/** `12 of 40 cells known`. */
export const knownText = (cells: readonly CellProgress[]): string => `${cells.filter(({ state }) => state === 'reached').length} of ${plural(cells.length, 'cell')} known`;

/**
 * When the run is expected to be over: a time of day, and between which. `remaining` in s of the bench's time as it was at `at`, which passes `speed`
 * times as fast as the clock; `at` and `now`: ms since 1970.
 */
export function endByClock({ low, likely, high }: Remaining, at: number, now: number, speed: number): string {
  if (high <= 0) return 'nothing left to measure';
  const left = (s: number): number => Math.max(0, s / speed - (now - at) / 1e3);
  const when = (s: number): string => clockTime(now + left(s) * 1e3, now);
  const about = left(likely) < 50 ? '' : 'about ';
  return `${about}${roughDuration(left(likely))} left${speed === 1 ? '' : ' by the clock'}, done about ${when(likely)} (${when(low)} to ${when(high)})`;
}

/** What was decided last, in a sentence. */
export function decisionText({ windows, reasons }: LastDecision): string {
  const [first = '', ...others] = [...new Set(reasons)];
  return `${plural(windows, 'point')} added: ${first}${others.length === 0 ? '' : `, and ${plural(others.length, 'other reason')}`}.`;
}
