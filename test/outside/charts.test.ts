/** Constants of control charts against published tables. */
import { describe, expect, it } from 'vitest';
import { chartConstants } from '../../app/charts/constants.ts';

describe('constants of control charts', () => {
  // T. Pyzdek, The Six Sigma Handbook, table of control chart constants; four decimals.
  it.each([
    [2, 1.1284, 0.8525, 0.7979, 0, 3.2666, 2.6587],
    [3, 1.6926, 0.8884, 0.8862, 0, 2.5746, 1.7725],
    [4, 2.0588, 0.8798, 0.9213, 0, 2.2821, 1.4572],
    [5, 2.3259, 0.8641, 0.94, 0, 2.1145, 1.2898],
    [6, 2.5344, 0.848, 0.9515, 0, 2.0038, 1.1837],
    [7, 2.7044, 0.8332, 0.9594, 0.0757, 1.9243, 1.1093],
    [8, 2.8472, 0.8198, 0.965, 0.1362, 1.8638, 1.0537],
    [9, 2.97, 0.8078, 0.9693, 0.184, 1.816, 1.0101],
    [10, 3.0775, 0.7971, 0.9727, 0.223, 1.777, 0.9748],
  ])('CH-1: for %d values: d2, d3, c4, D3, D4, E2', (n, d2, d3, c4, D3, D4, e2) => {
    const found = chartConstants(n);
    for (const [name, value, published] of [['d2', found.d2, d2], ['d3', found.d3, d3], ['c4', found.c4, c4], ['D3', found.D3, D3], ['D4', found.D4, D4], ['E2', found.e2, e2]] as const) {
      expect(Math.abs(value - published), name).toBeLessThan(1.01e-4);
    }
  });

  it('CH-1: of two values they are known in closed form', () => {
    const { d2, d3, c4 } = chartConstants(2);
    expect(d2).toBeCloseTo(2 / Math.sqrt(Math.PI), 8);
    expect(d3).toBeCloseTo(Math.sqrt(2 - 4 / Math.PI), 6);
    expect(c4).toBeCloseTo(Math.sqrt(2 / Math.PI), 12);
  });

  it('CH-1: refuses samples that have no range', () => {
    for (const n of [1, 0, 2.5, Number.NaN, 101]) expect(() => chartConstants(n)).toThrow(RangeError);
  });
});
