/** The table of error rates with few cases; `npm run show -- error-rates` draws more. */
import { expect, it } from 'vitest';
import { errorRates, keeps } from './error-rates.ts';

it('ST-7: what is said of outliers, charts, drift, lack of fit, meter checks, maps and injectors that are recognised is wrong no more often than claimed', () => {
  const rows = errorRates(120, 2);
  expect(rows.filter((r) => !keeps(r))).toEqual([]);
  expect(new Set(rows.map((r) => r.method.split(',')[0]))).toEqual(new Set(['outliers', 'charts', 'newest run', 'drift', 'lack of fit', 'meter check', 'maps', 'recognised']));
  const rateOf = (method: string, data: string): number => rows.find((r) => r.method === method && r.data.startsWith(data))?.rate ?? Number.NaN;
  // And methods that say nothing would keep every limit of false alarms.
  expect(rateOf('outliers', '480 groups of 3, 5 % of windows 10 sd off')).toBeLessThan(0.1);
  expect(rateOf('drift, with or without', '5 sd over 20 points')).toBeLessThan(0.2);
  expect(rateOf('recognised', 'two exchanged, spread 2 %')).toBeLessThan(0.2);
  expect(rateOf('meter check', 'unchanged meter, against a check of the same lot')).toBeLessThan(0.1);
}, 60_000);

it('ST-7: a rate beyond what is claimed is noticed', () => {
  const row = { method: 'm', data: 'd', what: 'false alarm', rate: 0.2, sd: 0.02, limit: 0.05 } as const;
  expect(keeps(row)).toBe(false);
  expect(keeps({ ...row, rate: 0.1 })).toBe(true);
  expect(keeps({ ...row, what: 'held', rate: 0.8, limit: 0.95 })).toBe(false);
  expect(keeps({ ...row, limit: null })).toBe(true);
});
