import { describe, expect, it } from 'vitest';
import type { Bought, Forecast } from '../../../app/schedule/forecast.ts';
import { forecastRows } from '../../../app/schedule/forecast-rows.ts';
import { budgetsAround, curveSeries, shownRow } from './forecast-view.ts';

const forecast: Forecast = {
  hours: 2.68, points: 100,
  cells: [
    { voltage: 9, pressure: 4e5, expanded: 5.44e-6, least: 4.4e-6, wanted: 2e-6, largest: 'supply read-back', without: 3.1e-6 },
    { voltage: 14, pressure: 4e5, expanded: 4e-6, least: 3.8e-6, wanted: 4.5e-6, largest: 'driver clamp', without: 2.2e-6 },
    { voltage: 16, pressure: 4e5, expanded: null, least: null, wanted: null, largest: null, without: null },
  ],
  others: [],
};

describe('WIN-162', () => {
  it('a target that no effort reaches is told from one that is reached, with what stands in the way', () => {
    expect(forecastRows(forecast).map(shownRow).map(({ place, expanded, least, wanted, standing, largest }) => [place, expanded, least, wanted, standing, largest])).toEqual([
      ['9 V, 400 kPa', '5.4\u00a0µs', '4.4\u00a0µs', '2.0\u00a0µs', 'no effort reaches it', 'supply read-back: without it 3.1\u00a0µs'],
      ['14 V, 400 kPa', '4.0\u00a0µs', '3.8\u00a0µs', '4.5\u00a0µs', 'reached', 'driver clamp: without it 2.2\u00a0µs'],
      ['16 V, 400 kPa', '–', '–', '–', 'no line', ''],
    ]);
  });

  it('what is wanted at the same place of two periods has a row of its own for each, told apart by the period', () => {
    const slope = (voltage: number, period: number) => ({ of: 'slope', injector: 0, serialNumber: 'S-1', voltage, pressure: 4e5, period, expanded: 0.003, least: 0.001, wanted: 0.004, state: 'reached', largest: null, advice: '', windows: 8, weighed: false }) as unknown as Forecast['others'][number];
    const places = (others: Forecast['others']) => forecastRows({ ...forecast, cells: [], others }).map(({ place }) => place);
    expect(places([slope(9, 0.02), slope(14, 0.02)])).toEqual(['9 V, 400 kPa, slope', '14 V, 400 kPa, slope']);
    expect(places([slope(9, 0.02), slope(14, 0.02), slope(9, 0.025)])).toEqual(['9 V, 400 kPa, slope, 20 ms', '14 V, 400 kPa, slope', '9 V, 400 kPa, slope, 25 ms']);
  });

  it('the curve lies around what the plan takes, over the hours that are taken, a line for each dead time', () => {
    expect(budgetsAround(2.68)).toEqual([0.54, 1.1, 1.9, 2.7, 4]);
    expect(budgetsAround(1e-3).every((hours, i, all) => hours > (all[i - 1] ?? 0))).toBe(true);
    const bought = (hours: number, expanded: number | null): Bought => ({ hours, took: hours * 0.99, cells: [{ voltage: 9, pressure: 4e5, expanded, least: 1e-6 }, { voltage: 14, pressure: 4e5, expanded: 3e-6, least: 1e-6 }] });
    const [at9, at14] = curveSeries([bought(1, null), bought(2, 5e-6)]);
    expect([at9?.title, at9?.points.map(({ x, y }) => [x, Number(y.toFixed(3))]), at14?.points.length]).toEqual(['9 V', [[1.98, 5]], 2]);
  });
});
