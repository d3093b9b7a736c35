/** A forecast as rows of text, the same for whoever shows it (SCH-11, SCH-20). Units in plain letters. */
import { labelOf } from '../uncertainty/source.ts';
import { microsecondsText } from './cells.ts';
import type { Forecast, ForecastCell } from './forecast.ts';
import { isOfMap, isRelative, wantedQuantity, type CellProgress } from './progress.ts';

export interface ForecastRow {
  /** Of what: voltage and pressure, or what else is wanted there. */
  readonly place: string;
  /** U95 that is expected, what instruments leave of it, what is wanted; `-`: there is none. */
  readonly expanded: string;
  readonly least: string;
  readonly wanted: string;
  /** Whether it is reached, or that there is no line; empty: nothing is wanted. */
  readonly standing: string;
  /** What makes the largest part that no window takes off, and what would help. */
  readonly largest: string;
}

/** `5.4 us`; `-`: null. */
export const expectedText = (s: number | null): string => (s === null ? '-' : microsecondsText(s));

export const cellPlace = ({ voltage, pressure }: { readonly voltage: number; readonly pressure: number }): string => `${voltage} V, ${pressure / 1e3} kPa`;

function reach({ expanded, least, wanted }: ForecastCell): string {
  if (expanded === null || least === null) return 'no line';
  if (wanted === null) return '';
  if (expanded <= wanted) return 'reached';
  return least > wanted ? 'no effort reaches it' : 'not reached';
}

const states: Readonly<Record<CellProgress['state'], string>> = { reached: 'reached', open: 'not reached', 'used-up': 'not reached', beyond: 'no effort reaches it', 'no-line': 'no value' };

function otherPlace(cell: CellProgress): string {
  const { of, voltage, pressure } = cell;
  return isOfMap(cell) ? `${cellPlace(cell)}, map${of === 'map-slope' ? ', slope' : ''}` : `${of === 'slope' ? `${voltage} V, ` : ''}${pressure / 1e3} kPa, ${wantedQuantity(cell)}`;
}

function otherRow(cell: CellProgress, place: string): ForecastRow {
  const { expanded, least, wanted, state, largest, advice } = cell;
  const amount = (value: number | null): string => (value !== null && isRelative(cell) ? `${(100 * value).toFixed(2)} %` : expectedText(value));
  return {
    place,
    expanded: amount(expanded), least: amount(least), wanted: amount(wanted), standing: states[state], largest: [largest === null ? '' : labelOf(largest), advice].filter((text) => text !== '').join(': '),
  };
}

/** Each place once: where a plan has several periods, those of the same name are told apart by them. */
export function forecastRows({ cells, others }: Forecast): readonly ForecastRow[] {
  const named = Map.groupBy(others, otherPlace);
  return [
    ...cells.map((cell): ForecastRow => ({
      place: cellPlace(cell), expanded: expectedText(cell.expanded), least: expectedText(cell.least), wanted: expectedText(cell.wanted), standing: reach(cell),
      largest: cell.largest === null ? '' : `${cell.largest}: without it ${expectedText(cell.without)}`,
    })),
    ...others.map((cell) => {
      const place = otherPlace(cell);
      return otherRow(cell, named.get(place)?.length === 1 ? place : `${place}, ${Number((cell.period * 1e3).toFixed(3))} ms`);
    }),
  ];
}
