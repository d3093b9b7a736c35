import { describe, expect, it } from 'vitest';
import { logarithmicScale, scaleOver } from './scale.ts';

describe('scales of logarithms', () => {
  it('WIN-201 go from one round number to another around all values, with decades alone where there are many', () => {
    expect(logarithmicScale([0.0038, 0.047, 0.0031, -1, 0, Number.NaN])).toMatchObject({ from: 0.002, to: 0.05, ticks: [0.002, 0.005, 0.01, 0.02, 0.05] });
    expect(logarithmicScale([0.7, 4000]).ticks).toEqual([1, 10, 100, 1000]);
    expect(logarithmicScale([3, 3])).toMatchObject({ from: 2, to: 5 });
    expect(logarithmicScale([1, 10])).toMatchObject({ from: 1, to: 10 });
    const none = logarithmicScale([]);
    expect(none.to).toBeGreaterThan(none.from);
  });
});

describe('scales', () => {
  it('hold all values between round ticks', () => {
    const scale = scaleOver([0.137, 1.94, Number.NaN, -0.02]);
    expect(scale.from).toBeLessThanOrEqual(-0.02);
    expect(scale.to).toBeGreaterThanOrEqual(1.94);
    expect(scale.ticks.map(scale.label)).toEqual(['−0.5', '0.0', '0.5', '1.0', '1.5', '2.0']);
  });
  it('label steps of a quarter with two decimals', () => {
    const { ticks, label } = scaleOver([0, 1.25], 5);
    expect(ticks.map(label)).toEqual(['0.00', '0.25', '0.50', '0.75', '1.00', '1.25']);
  });
  it('have room where all values are the same or none is there', () => {
    for (const values of [[3, 3], [0], [], [0.1 + 0.2, 0.3]]) {
      const { from, to, ticks } = scaleOver(values);
      expect(to).toBeGreaterThan(from);
      expect(ticks.length).toBeGreaterThan(1);
    }
  });
});
