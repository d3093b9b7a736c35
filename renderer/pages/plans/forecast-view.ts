/** What a forecast is shown as: rows, and the curve of hours against U95 (WIN-162). */
import type { Bought } from '../../../app/schedule/forecast.ts';
import type { ForecastRow } from '../../../app/schedule/forecast-rows.ts';
import { shownText } from '../../components/shown-text.ts';
import { quantityText } from '../../settings/quantities.ts';
import type { Series } from '../results/series.ts';

/** Hours around those that a plan will take, two digits each, rising. */
export const budgetsAround = (hours: number): readonly number[] => [...new Set([0.2, 0.4, 0.7, 1, 1.5].map((part) => Number((part * hours).toPrecision(2))))].filter((one) => one > 0);

/** A row as it is shown: chosen units, signs, and a dash where nothing is. */
export function shownRow(row: ForecastRow): ForecastRow {
  return Object.fromEntries(Object.entries(row as unknown as Readonly<Record<string, string>>).map(([part, text]) => [part, text === '-' ? '–' : shownText(text)])) as unknown as ForecastRow;
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
