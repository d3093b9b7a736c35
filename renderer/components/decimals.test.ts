import { afterEach, expect, test } from 'vitest';
import { useSettings } from '../settings/settings.ts';
import { dateTimeText, clockTime } from './dates.ts';
import { cellShown, decimals } from './decimals.ts';

const before = useSettings.getState();
afterEach(() => useSettings.setState(before));

test('WIN-33: a comma stands before the decimals of numbers, and nothing else is changed', () => {
  const texts = ['1.345 ± 0.004', '−0.5 to +12.25 kPa', 'SN-4.5', 'v1.2.3', 'http://127.0.0.1:80/a1.5', 'R/4.5', '10:22.5', 'attempts.csv', '3.', '(0.68)', 'a factor of 2.13.', '27.11.2026', 'firmware 1.0, over'];
  for (const text of texts) expect(decimals(text)).toBe(text);
  useSettings.setState({ ...before, decimal: 'comma' });
  expect(texts.map(decimals)).toEqual(['1,345 ± 0,004', '−0,5 to +12,25 kPa', 'SN-4.5', 'v1.2.3', 'http://127.0.0.1:80/a1.5', 'R/4.5', '10:22.5', 'attempts.csv', '3.', '(0,68)', 'a factor of 2,13.', '27.11.2026', 'firmware 1.0, over']);
  expect([cellShown(1.5), cellShown('2.5 V'), cellShown(null)]).toEqual(['1,5', '2,5 V', null]);
});

test('WIN-35: one style of dates, by choice; ISO 8601 has the zone', () => {
  const at = new Date(2026, 10, 5, 9, 7).getTime();
  const tomorrow = at + 24 * 3600e3;
  expect([dateTimeText(at), clockTime(at, at), clockTime(at, tomorrow)]).toEqual(['5 Nov 2026, 09:07', '09:07', '5 Nov, 09:07']);
  useSettings.setState({ ...before, dates: 'de' });
  expect([dateTimeText(at), clockTime(at, tomorrow)]).toEqual(['05.11.2026, 09:07', '05.11., 09:07']);
  useSettings.setState({ ...before, dates: 'iso' });
  expect(dateTimeText(at)).toMatch(/^2026-11-05T09:07[+-]\d\d:\d\d$/u);
  expect(Math.abs(Date.parse(dateTimeText(at)) - at)).toBe(0);
});
