import { describe, expect, test } from 'vitest';
import { kilopascals, volts } from '../../app/quantities/quantity.ts';
import { frame } from './frames.test-helper.ts';
import { LiveBench } from './live-bench.ts';

const ramp = (from: number, to: number, bootId = 'a') =>
  Array.from({ length: Math.round((to - from) * 20) }, (_, i) => frame({ at: from + i / 20, number: Math.round(from * 20) + i, bootId, supply: volts(i) }));

describe('the live bench', () => {
  test('has the latest frame, counts those that did not come, and tells its listeners once per delivery', () => {
    const bench = new LiveBench();
    let told = 0;
    const stop = bench.onChange(() => {
      told += 1;
    });
    bench.push(ramp(0, 1), 1000);
    bench.push(ramp(1.5, 2), 2000);
    expect(bench.latest).toMatchObject({ frame: { at: 1.95 }, receivedAt: 2000 });
    expect(bench.lostFrames).toBe(10);
    expect(told).toBe(2);
    stop();
    bench.push(ramp(2, 3), 3000);
    expect(told).toBe(2);
  });

  test('goes on in time when the controller starts anew, with the gap that the wall clock saw', () => {
    const bench = new LiveBench();
    bench.push(ramp(100, 110), 50_000);
    bench.push(ramp(0.5, 2, 'b'), 57_000);
    const { times } = bench.trend('pressure', 'ten-minutes').view;
    expect(times.every((time, i) => i === 0 || time >= (times[i - 1] ?? 0))).toBe(true);
    expect(bench.now).toBeCloseTo(109.95 + 7 + 1.45, 1);
  });

  test('keeps ten minutes and the whole', () => {
    const bench = new LiveBench();
    for (let minute = 0; minute < 60; minute += 1) {
      bench.push(Array.from({ length: 600 }, (_, i) => frame({ at: minute * 60 + i / 10, number: minute * 600 + i, pressure: kilopascals(minute === 3 && i === 7 ? 999 : 400) })), minute);
    }
    const recent = bench.trend('pressure', 'ten-minutes').view;
    const whole = bench.trend('pressure', 'since-start').view;
    expect((recent.times.at(-1) ?? 0) - (recent.times[0] ?? 0)).toBeCloseTo(600, -1);
    expect(Math.max(...recent.high)).toBe(400e3);
    expect(whole.times[0]).toBeLessThan(5);
    expect(Math.max(...whole.high)).toBe(999e3);
  });

  test('begins the whole with what was stored, and forgets another bench', () => {
    const bench = new LiveBench();
    bench.push(ramp(100, 101), 0);
    bench.startWith([...ramp(0, 50), ...ramp(0, 10, 'other')]);
    bench.push(ramp(101, 102), 1000);
    const { times } = bench.trend('supply', 'since-start').view;
    expect(times[0]).toBeLessThan(1);
    expect(times.at(-1)).toBeCloseTo(101.95, 6);
    bench.clear();
    expect(bench.latest).toBeNull();
    expect(bench.trend('supply', 'since-start').view.times).toHaveLength(0);
  });
});
