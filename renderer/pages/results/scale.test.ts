import { describe, expect, it } from 'vitest';
import { isSameScale, labelsThatFit, logarithmicScale, scaleOver } from './scale.ts';

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
  it('WIN-170 name every n-th tick where all would touch, the first among them', () => {
    const names = Array.from({ length: 24 }, (_, i) => `RH4-0${100 + i}`);
    const few = labelsThatFit(names, (name) => name, 600);
    expect(few[0]).toBe(names[0]);
    expect(few.length).toBeGreaterThan(4);
    expect((600 / 23) * names.indexOf(few[1] ?? '')).toBeGreaterThanOrEqual(8 * 7 + 8);
    expect(labelsThatFit(names.slice(0, 8), (name) => name, 600)).toHaveLength(8);
    const { ticks, label } = scaleOver([0, 12], 7);
    expect(labelsThatFit(ticks, label, 500)).toEqual(ticks);
  });
  it('WIN-170 are the same where limits and labels are, whatever values they are over', () => {
    const scale = scaleOver([0.3, 11.9], 7);
    expect(isSameScale(scale, scaleOver([0.1, 11.8], 7))).toBe(true);
    expect(isSameScale(scale, scaleOver([0.3, 12.1], 7))).toBe(false);
    expect(isSameScale(scale, scaleOver([0.3, 11.9], 3))).toBe(false);
    const named = (...names: readonly string[]) => ({ from: -0.5, to: 1.5, ticks: [0, 1], label: (at: number) => names[at] ?? '' });
    expect(isSameScale(named('A', 'B'), named('A', 'B'))).toBe(true);
    expect(isSameScale(named('A', 'B'), named('A', 'C'))).toBe(false);
    expect(isSameScale(named('A', 'B'), { ...named('A', 'B'), to: 2 })).toBe(false);
    expect(isSameScale(named('A', 'B'), { ...named('A', 'B'), kind: 'log' })).toBe(false);
  });
});
