import { describe, expect, it } from 'vitest';
import { RandomSource } from './random.ts';
import { Creep, riseAfterPause, riseAfterPulse, settledRise } from './thermal.ts';

describe('coil temperature', () => {
  it('held on, rises to 0.5 K for each watt with a time constant of a second', () => {
    expect(riseAfterPulse(0, 10 * 1, 1)).toBeCloseTo(5 * (1 - 1 / Math.E), 9);
    expect(riseAfterPulse(0, 10 * 30, 30)).toBeCloseTo(5, 6);
    expect(riseAfterPause(5, 1)).toBeCloseTo(5 / Math.E, 9);
  });

  it('settles in a train of pulses where its formula says', () => {
    let rise = 0;
    for (let i = 0; i < 1000; i += 1) rise = riseAfterPause(riseAfterPulse(rise, 0.06, 4e-3), 16e-3);
    expect(rise).toBeCloseTo(settledRise(0.06, 4e-3, 20e-3), 7);
    // 3 W in the mean.
    expect(rise).toBeCloseTo(1.5, 1);
  });
});

describe('creep', () => {
  it('stays inside its amplitude, moves over hours and not over seconds', () => {
    const creep = new Creep(RandomSource.named(1, 'creep'), 0.6, 14_000);
    const values = Array.from({ length: 1000 }, (_, i) => creep.at(i * 60));
    expect(Math.max(...values.map(Math.abs))).toBeLessThanOrEqual(0.6 * 1.75);
    expect(Math.max(...values) - Math.min(...values)).toBeGreaterThan(0.6);
    for (let s = 0; s < 1000; s += 10) expect(Math.abs(creep.at(s + 1) - creep.at(s))).toBeLessThan(2e-3);
  });
});
