import { describe, expect, it } from 'vitest';
import { RandomSource } from './random.ts';

describe('seeded chance', () => {
  it('gives the same numbers on every machine', () => {
    // Own values, written down so that a change of generator or package is noticed: old seeds must keep their benches.
    const random = RandomSource.named(1, 'injector 1');
    expect([random.uniform(), random.uniform(), random.normal(), random.normal()]).toEqual([0.46093092768358046, 0.7591892947424477, 0.9057334383099893, -0.4182119931079149]);
  });

  it('gives another stream for another name and another seed', () => {
    const first = (seed: number, name: string) => RandomSource.named(seed, name).uniform();
    const all = [first(1, 'a'), first(1, 'b'), first(2, 'a'), first(2, 'b'), first(0, ''), first(0xffffffff, 'a')];
    expect(new Set(all).size).toBe(all.length);
  });

  it('has the moments of a standard normal', () => {
    const random = RandomSource.named(7, 'moments');
    const n = 100_000;
    const sums = [0, 0, 0, 0];
    for (let i = 0; i < n; i += 1) {
      const x = random.normal();
      for (let k = 0; k < 4; k += 1) sums[k] = (sums[k] ?? 0) + x ** (k + 1);
    }
    const [mean, square, cube, fourth] = sums.map((s) => s / n);
    // Five standard errors: sqrt of 1, 2, 15, 96 over n.
    expect(Math.abs(mean ?? NaN)).toBeLessThan(5 * Math.sqrt(1 / n));
    expect(Math.abs((square ?? NaN) - 1)).toBeLessThan(5 * Math.sqrt(2 / n));
    expect(Math.abs(cube ?? NaN)).toBeLessThan(5 * Math.sqrt(15 / n));
    expect(Math.abs((fourth ?? NaN) - 3)).toBeLessThan(5 * Math.sqrt(96 / n));
  });

  it('spreads uniform numbers evenly and streams independently', () => {
    const a = RandomSource.named(3, 'scatter 1');
    const b = RandomSource.named(3, 'scatter 2');
    const n = 50_000;
    const bins = Array.from({ length: 16 }, () => 0);
    let product = 0;
    for (let i = 0; i < n; i += 1) {
      const u = a.uniform();
      const bin = Math.floor(u * 16);
      bins[bin] = (bins[bin] ?? 0) + 1;
      product += (u - 0.5) * (b.uniform() - 0.5);
    }
    const chiSquare = bins.reduce((sum, found) => sum + (found - n / 16) ** 2 / (n / 16), 0);
    // chi-square, 15 degrees of freedom: 0.999 quantile 37.7 (tables).
    expect(chiSquare).toBeLessThan(37.7);
    expect(Math.abs(product / n)).toBeLessThan((5 / 12) / Math.sqrt(n));
  });
});
