import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Trend } from './trend.ts';

const values = fc.array(fc.tuple(fc.double({ min: 0, max: 3, noNaN: true }), fc.double({ min: -1e3, max: 1e3, noNaN: true })), { minLength: 1, maxLength: 400 });

/** Times from steps. */
function timed(steps: readonly (readonly [number, number])[]): readonly { readonly at: number; readonly value: number }[] {
  let at = 0;
  return steps.map(([step, value]) => ({ at: (at += step), value }));
}

describe('a trend', () => {
  test.each(['drop-oldest', 'widen'] as const)('that would %s keeps within its slots, in order of time, low below high', (whenFull) => {
    fc.assert(
      fc.property(values, (steps) => {
        const trend = new Trend({ slot: 0.5, capacity: 16, whenFull });
        for (const { at, value } of timed(steps)) trend.add(at, value);
        const { times, low, high } = trend.view;
        expect(times.length).toBeLessThanOrEqual(16);
        expect(low.length).toBe(times.length);
        expect(high.length).toBe(times.length);
        times.forEach((time, i) => {
          expect(low[i]).toBeLessThanOrEqual(high[i] ?? Number.NaN);
          if (i > 0) expect(time).toBeGreaterThanOrEqual(times[i - 1] ?? Number.NaN);
        });
      }),
    );
  });

  test('that widens loses neither the lowest nor the highest value, nor the beginning', () => {
    fc.assert(
      fc.property(values, (steps) => {
        const trend = new Trend({ slot: 0.5, capacity: 8, whenFull: 'widen' });
        const all = timed(steps);
        for (const { at, value } of all) trend.add(at, value);
        const { times, low, high, slot } = trend.view;
        expect(Math.min(...low)).toBe(Math.min(...all.map(({ value }) => value)));
        expect(Math.max(...high)).toBe(Math.max(...all.map(({ value }) => value)));
        expect(times.at(-1)).toBe(all.at(-1)?.at);
        // Two slots at most were merged into the first over and over: it ends within one width of the first value.
        expect(times[0]).toBeLessThanOrEqual((all[0]?.at ?? 0) + 2 * slot);
      }),
    );
  });

  test('that drops the oldest holds the extremes of the slots it still has', () => {
    const trend = new Trend({ slot: 1, capacity: 4, whenFull: 'drop-oldest' });
    for (let i = 0; i < 100; i += 1) trend.add(i / 10, i === 85 ? 1000 : i);
    const { times, low, high } = trend.view;
    expect([...times]).toEqual([6.9, 7.9, 8.9, 9.9]);
    expect([...low]).toEqual([60, 70, 80, 90]);
    expect([...high]).toEqual([69, 79, 1000, 99]);
  });

  test('leaves out what is no number and what comes too late, and begins again after clearing', () => {
    const trend = new Trend({ slot: 1, capacity: 4, whenFull: 'widen' });
    trend.add(5, 1);
    trend.add(6, Number.NaN);
    trend.add(4, 9);
    trend.add(Number.POSITIVE_INFINITY, 9);
    expect([...trend.view.times]).toEqual([5]);
    trend.clear();
    expect(trend.view.times).toHaveLength(0);
    trend.add(1, 2);
    expect([...trend.view.high]).toEqual([2]);
  });
});
