import { expect, test } from 'vitest';
import { isoDay, isoMinute, isoTime, undatable } from './dating.ts';

test('ARC-20 what can be dated, and how a time is written that cannot', () => {
  expect(undatable(Date.UTC(2026, 1, 1))).toBeNull();
  expect(undatable(1)).toBeNull();
  expect(undatable(0)).toContain('1970-01-01, which is before 1970');
  expect(undatable(Date.UTC(1969, 6, 20))).toContain('1969-07-20');
  expect(undatable(Date.UTC(10_000, 0, 1))).toContain('beyond the year 9999');
  expect(isoMinute(Date.UTC(2026, 1, 1, 12, 30, 5, 7))).toBe('2026-02-01 12:30');
  for (const never of [Number.NaN, 1e300, -1e300, 8.64e15 + 1]) expect([isoTime(never), isoDay(never), isoMinute(never)]).toEqual(['no date', 'no date', 'no date']);
});
