import { describe, expect, it } from 'vitest';
import { scaleOver } from './scale.ts';

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
