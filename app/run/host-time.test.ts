import { describe, expect, it } from 'vitest';
import { HostTime, spanText } from './host-time.ts';

/** What is told after the last of these inputs: monotonic clock, wall clock, count of suspended time. */
function after(...inputs: readonly (readonly [now: number, wall?: number, asleep?: number])[]): HostTime {
  const time = new HostTime();
  for (const [now, wall, asleep] of inputs) time.take(Number.POSITIVE_INFINITY, now, wall, asleep);
  return time;
}

describe('RUN-164 for how long nobody watched', () => {
  it('is nothing at the first input, whatever the clocks say', () => {
    expect(after([7, 1000, 50])).toMatchObject({ gap: 0, leap: 0, stoodStill: 0, stepped: false });
    expect(after([7])).toMatchObject({ stoodStill: 0, stepped: false, wasSuspended: null });
  });

  it('is how long nothing came by the monotonic clock, which never runs backwards', () => {
    expect(after([7, 1000], [11, 1004])).toMatchObject({ gap: 4, leap: 0, stoodStill: 4 });
    expect(after([7, 1000], [6, 999])).toMatchObject({ gap: 0, stoodStill: 0 });
  });

  it('is how far the wall clock leapt, where nothing counts suspended time', () => {
    expect(after([7, 1000], [8, 1031])).toMatchObject({ gap: 1, leap: 30, stoodStill: 30, wasSuspended: null });
    expect(after([7, 1000], [8, 990])).toMatchObject({ leap: -11, stoodStill: 1 });
  });

  it('is the count of suspended time where there is one, whatever the wall clock says', () => {
    expect(after([7, 1000, 50], [8, 1031, 50])).toMatchObject({ leap: 30, slept: 0, stoodStill: 1, wasSuspended: false });
    expect(after([7, 1000, 50], [8, 1001, 80])).toMatchObject({ leap: 0, slept: 30, stoodStill: 30, wasSuspended: false });
    expect(after([7, 1000, 50], [8, 1031, 80])).toMatchObject({ leap: 30, slept: 30, wasSuspended: true });
  });

  it('is told by what was known before too: a clock that is heard of for the first time has not leapt', () => {
    expect(after([7], [8, 1000, 50])).toMatchObject({ leap: 0, stoodStill: 1, wasSuspended: null });
    expect(after([7, 1000, 50], [8], [9, 1500])).toMatchObject({ leap: 0, stoodStill: 1, wasSuspended: null });
  });
});

describe('RUN-168 a step of the wall clock', () => {
  it.each([[0.5, true], [-0.5, true], [0.4375, false], [-0.4375, false]])('by %d s is worth noting: %s', (by, stepped) => {
    expect(after([8, 1024], [9, 1025 + by]).stepped).toBe(stepped);
  });

  it.each([[0.4375, true], [-0.4375, true], [0.5, false], [-0.5, false]])('is a suspended computer where the two agree within half a second: off by %d s, %s', (off, wasSuspended) => {
    expect(after([8, 1024, 64], [9, 1025 + 30, 64 + 30 + off]).wasSuspended).toBe(wasSuspended);
  });
});

describe('spanText', () => {
  it.each([[0.25, '0.3 s'], [9.9, '9.9 s'], [10, '10 s'], [89.4, '89 s'], [90, '2 min'], [5399, '90 min'], [5400, '1.5 h'], [90_000, '25.0 h']])('%d s are %s', (s, text) => {
    expect(spanText(s)).toBe(text);
  });
});
