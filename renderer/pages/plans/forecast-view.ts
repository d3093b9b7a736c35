/** What a forecast is shown as: rows, and the curve of hours against U95 (WIN-162). */
import type { Bought, Forecast, ForecastCell } from '../../../app/schedule/forecast.ts';
import { isOfMap, isRelative, wantedQuantity, type CellProgress } from '../../../app/schedule/progress.ts';
import { labelOf } from '../../../app/uncertainty/source.ts';
import { quantityText } from '../../settings/quantities.ts';
import type { Series } from '../results/series.ts';

/** Hours around those that a plan will take, two digits each, rising. */
export const budgetsAround = (hours: number): readonly number[] => [...new Set([0.2, 0.4, 0.7, 1, 1.5].map((part) => Number((part * hours).toPrecision(2))))].filter((one) => one > 0);

interface ForecastRow {
  readonly key: string;
  readonly place: string;
  readonly expanded: string;
  readonly least: string;
  readonly wanted: string;
  readonly standing: string;
  /** What stands in the way, and what would help. */
  readonly largest: string;
}

const us = (s: number | null): string => (s === null ? '–' : `${(s * 1e6).toFixed(1)} µs`);

function standingOf({ expanded, least, wanted }: ForecastCell): string {
  if (expanded === null || least === null) return 'no line';
  if (wanted === null) return '';
  if (expanded <= wanted) return 'reached';
  return least > wanted ? 'no effort reaches it' : 'not reached';
}

const standings: Readonly<Record<CellProgress['state'], string>> = { reached: 'reached', open: 'not reached', 'used-up': 'not reached', beyond: 'no effort reaches it', 'no-line': 'no value' };

function ofOther(cell: CellProgress): ForecastRow {
  const { of, voltage, pressure, period, expanded, least, wanted, state, largest, advice } = cell;
  const amount = (value: number | null): string => (value === null ? '–' : isRelative(cell) ? `${(100 * value).toFixed(2)} %` : us(value));
  const at = quantityText(pressure / 1e3, 'kPa');
  return {
    key: `${of} ${voltage} ${pressure} ${period}`,
    place: isOfMap(cell) ? `${voltage} V, ${at}, map${of === 'map-slope' ? ', slope' : ''}` : `${of === 'slope' ? `${voltage} V, ` : ''}${at}, ${wantedQuantity(cell)}`,
    expanded: amount(expanded), least: amount(least), wanted: amount(wanted), standing: standings[state],
    largest: [largest === null ? '' : labelOf(largest), advice].filter((text) => text !== '').join(': '),
  };
}

export function forecastRows({ cells, others }: Forecast): readonly ForecastRow[] {
  return [
    ...cells.map((cell): ForecastRow => {
      const { voltage, pressure, expanded, least, wanted, largest, without } = cell;
      return {
        key: `${voltage} ${pressure}`, place: `${voltage} V, ${quantityText(pressure / 1e3, 'kPa')}`, expanded: us(expanded), least: us(least), wanted: us(wanted), standing: standingOf(cell),
        largest: largest === null ? '' : `${largest}: without it ${us(without)}`,
      };
    }),
    ...others.map(ofOther),
  ];
}

const cellKey = ({ voltage, pressure }: { readonly voltage: number; readonly pressure: number }): string => `${voltage} ${pressure}`;

/** A line for each dead time: hours that are taken, and U95 in microseconds. */
export function curveSeries(curve: readonly Bought[]): readonly Series[] {
  const places = curve[0]?.cells ?? [];
  return places.map((place, look) => ({
    id: cellKey(place), title: `${place.voltage} V${new Set(places.map((p) => p.pressure)).size > 1 ? `, ${quantityText(place.pressure / 1e3, 'kPa')}` : ''}`, look,
    points: curve.flatMap(({ took, cells }) => {
      const expanded = cells.find((c) => cellKey(c) === cellKey(place))?.expanded ?? null;
      return expanded === null ? [] : [{ x: took, y: expanded * 1e6, low: null, high: null }];
    }),
  }));
}
