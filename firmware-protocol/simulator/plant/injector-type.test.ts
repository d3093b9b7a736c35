import { describe, expect, it } from 'vitest';
import { drawInjector, INJECTOR_SPREAD, NOMINAL_INJECTOR } from './injector-type.ts';

describe('production spread', () => {
  const drawn = Array.from({ length: 400 }, (_, i) => drawInjector(i, 1 + (i % 8)));

  it('keeps every part within two of the stated standard deviations and uses the room', () => {
    for (const part of Object.keys(INJECTOR_SPREAD) as (keyof typeof INJECTOR_SPREAD)[]) {
      const off = drawn.map((d) => (d.parts[part] / NOMINAL_INJECTOR[part] - 1) / INJECTOR_SPREAD[part]);
      expect(Math.max(...off.map(Math.abs))).toBeLessThanOrEqual(2 + 1e-9);
      // A normal cut at two has a standard deviation of 0.880.
      const sd = Math.sqrt(off.reduce((sum, x) => sum + x * x, 0) / off.length);
      expect(Math.abs(sd - 0.88)).toBeLessThan(0.15);
    }
  });

  it('gives the same part for the same seed and channel, and eight different ones on a bench', () => {
    expect(drawInjector(5, 3)).toEqual(drawInjector(5, 3));
    expect(new Set([1, 2, 3, 4, 5, 6, 7, 8].map((c) => drawInjector(5, c).parts.resistance)).size).toBe(8);
    expect(drawInjector(6, 3)).not.toEqual(drawInjector(5, 3));
  });

  it('leaves healthy seats a leak below half a cubic millimetre a minute', () => {
    for (const { seatLeak } of drawn) {
      expect(seatLeak).toBeGreaterThanOrEqual(0);
      expect(seatLeak * 60).toBeLessThan(0.5e-9);
    }
  });
});
