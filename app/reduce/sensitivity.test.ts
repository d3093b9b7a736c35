import { describe, expect, it } from 'vitest';
import { coilCircuitOf, deadTimeByClamp, deadTimeByPressure, deadTimeByResistance, deadTimeByTemperature, deadTimeByVoltage } from './sensitivity.ts';
import { interpolateMonotone } from './monotone.ts';

/** Dead times that fall as a power of the voltage, s. */
const power = (exponent: number) => (at: number) => ({ at, deadTime: 1e-3 * (at / 14) ** exponent });

describe('RED-16 dead time over voltage and pressure', () => {
  it('follows its neighbours: a power of the voltage has its exponent, times dead time over voltage', () => {
    const found = deadTimeByVoltage([8, 11, 14].map(power(-1.7)), 11, power(-1.7)(11).deadTime);
    expect(found.from).toBe('neighbours');
    expect(found.value).toBeCloseTo((-1.7 * power(-1.7)(11).deadTime) / 11, 12);
    const chord = deadTimeByVoltage([8, 14].map(power(-1.7)), 14, 1e-3);
    expect(chord.value).toBeCloseTo((-1.7 * 1e-3) / 14, 12);
  });

  it('is -2 t0 / V without a neighbour, and where the neighbours say that it rises, with exponents from 1 to 3', () => {
    for (const known of [[], [power(-1.7)(14)], [8, 11, 14].map(power(0.5))]) {
      const found = deadTimeByVoltage(known, 14, 1e-3);
      expect(found.from).toBe('default');
      expect(found.value).toBeCloseTo(-2e-3 / 14, 12);
      expect(found.u).toBeCloseTo(1e-3 / 14 / Math.sqrt(3), 12);
    }
  });

  it('is the derivative of the parabola through the three nearest places, wherever between them, and leaves out dead times that are none', () => {
    // In logarithms: y = -2 x + 0.3 x^2 over x = ln(V / 14).
    const curve = (at: number) => ({ at, deadTime: 1e-3 * Math.exp(-2 * Math.log(at / 14) + 0.3 * Math.log(at / 14) ** 2) });
    for (const at of [9, 10, 12.3, 15]) {
      const { deadTime } = curve(at);
      const found = deadTimeByVoltage([8, 11, 14].map(curve), at, deadTime);
      expect(found.value / (((-2 + 0.6 * Math.log(at / 14)) * deadTime) / at)).toBeCloseTo(1, 9);
      // A place far off, and one without a dead time, change nothing.
      expect(deadTimeByVoltage([{ at: 100, deadTime: 1 }, { at, deadTime: -1e-3 }, { at: at + 0.01, deadTime: 0 }, ...[8, 11, 14].map(curve)], at, deadTime).value).toBeCloseTo(found.value, 12);
    }
    const parabola = (at: number) => ({ at, deadTime: 1e-3 + 2e-10 * at + 3e-16 * at * at });
    for (const at of [210e3, 333e3, 400e3]) {
      const found = deadTimeByPressure([200e3, 320e3, 400e3].map(parabola), at, 1e-3);
      expect(found.value / (2e-10 + 6e-16 * at)).toBeCloseTo(1, 9);
    }
  });

  it('of a dead time that is none, or of one that no voltage changes, keeps to what it can say', () => {
    for (const deadTime of [0, -1e-4]) expect(deadTimeByVoltage([8, 11, 14].map(power(-1.7)), 11, deadTime)).toMatchObject({ from: 'default', u: Math.abs((deadTime * 2) / 11) * (1 / 2 / Math.sqrt(3)) });
    expect(deadTimeByVoltage([8, 11, 14].map(power(0)), 11, 1e-3)).toMatchObject({ from: 'neighbours' });
  });

  it('over pressure is the slope of its neighbours, and without one what the plan states, else 4 % for 100 kPa, to a third of itself', () => {
    const line = [200e3, 300e3, 400e3].map((at) => ({ at, deadTime: 1e-3 + at * 2e-10 }));
    expect(deadTimeByPressure(line, 300e3, 1e-3)).toMatchObject({ from: 'neighbours' });
    expect(deadTimeByPressure(line, 300e3, 1e-3).value).toBeCloseTo(2e-10, 18);
    const alone = deadTimeByPressure([], 300e3, 1e-3);
    expect(alone).toMatchObject({ from: 'default' });
    expect(alone.value).toBeCloseTo(4e-10, 18);
    expect(alone.u).toBeCloseTo(4e-10 / 3, 18);
    expect(deadTimeByPressure([], 300e3, 2e-3, { relativePerPascal: 5e-7, u: 1e-7 })).toEqual({ value: 1e-9, u: 2e-10, from: 'stated' });
    expect(deadTimeByPressure(line, 300e3, 1e-3, { relativePerPascal: 5e-7, u: 1e-7 })).toMatchObject({ from: 'neighbours' });
  });
});

describe('RED-141 how well a derivative is told', () => {
  const pullIn = (part: number, lowest: number, a: number) => {
    const vp = part * lowest;
    return { of: (v: number) => a + 1e-3 * Math.log(v / (v - vp)), slope: (v: number) => (-1e-3 * vp) / (v * (v - vp)) };
  };

  it.each([{ grid: [9, 10.5, 12, 14, 16], most: 0.25 }, { grid: [8, 12, 16], most: 0.3 }, { grid: [9, 16], most: 1 }])('over voltage, at $grid V: what it misses coils of any pull-in voltage by is within what it states', ({ grid, most }) => {
    let squares = 0;
    let n = 0;
    for (const part of [0.35, 0.5, 0.65, 0.78]) {
      for (const a of [-2e-4, 0, 3e-4]) {
        const { of, slope } = pullIn(part, Math.min(...grid), a);
        if (!grid.every((v) => of(v) > 1e-4)) continue;
        for (const v of grid) {
          const found = deadTimeByVoltage(grid.map((at) => ({ at, deadTime: of(at) })), v, of(v));
          expect(found.u / Math.abs(found.value)).toBeLessThan(most);
          squares += ((found.value - slope(v)) / found.u) ** 2;
          n += 1;
        }
      }
    }
    expect(n).toBeGreaterThan(10);
    // No more than stated, and not a fifth of it.
    expect(Math.sqrt(squares / n)).toBeLessThan(1.2);
    expect(Math.sqrt(squares / n)).toBeGreaterThan(0.2);
  });

  it('is better told the closer the places are', () => {
    const { of } = pullIn(0.5, 9, 0);
    const relative = (grid: readonly number[]): number => {
      const found = deadTimeByVoltage(grid.map((at) => ({ at, deadTime: of(at) })), 12, of(12));
      return found.u / Math.abs(found.value);
    };
    expect(relative([11, 12, 13])).toBeLessThan(relative([10, 12, 14]) / 2);
    expect(relative([10, 12, 14])).toBeLessThan(relative([9, 12, 16]));
    expect(relative([11, 12, 13])).toBeLessThan(relative([12, 13]) / 4);
  });

  it('over pressure: the mean of three powers is missed by what is stated, in the middle of three places by little', () => {
    for (const power of [0.5, 1, 2]) {
      const of = (p: number): number => 1e-3 + 1e-4 * (p / 4e5) ** power;
      const exact = ((p: number) => (power * 1e-4 * (p / 4e5) ** (power - 1)) / 4e5);
      for (const [grid, p] of [[[200e3, 300e3, 400e3], 300e3], [[300e3, 400e3], 400e3]] as const) {
        const found = deadTimeByPressure(grid.map((at) => ({ at, deadTime: of(at) })), p, of(p));
        expect(Math.abs(found.value - exact(p))).toBeLessThan(2 * found.u);
        expect(found.u / found.value).toBeLessThan(grid.length === 3 ? 0.03 : 0.25);
      }
    }
  });

  it('where no form goes through the dead times it is told as if there were none', () => {
    const flat = deadTimeByPressure([200e3, 400e3].map((at) => ({ at, deadTime: 1e-3 })), 300e3, 1e-3);
    expect(flat).toMatchObject({ value: 0, u: 0, from: 'neighbours' });
  });
});

describe('RED-17 RED-60 dead time over temperature, clamp and wiring', () => {
  const byVoltage = { value: -1.2e-4, u: 1e-5, from: 'neighbours' } as const;

  it('is copper times what a larger resistance does: -V dt0/dV - t0', () => {
    const found = deadTimeByTemperature(byVoltage, 14, 1e-3);
    expect(found.value).toBeCloseTo(0.00393 * (14 * 1.2e-4 - 1e-3), 12);
    expect(found.u).toBeCloseTo(0.00393 * Math.hypot(1.7e-4, 14e-5), 12);
  });

  it('takes the part of a known clamp off, with the movements', () => {
    const sensitivity = deadTimeByClamp(14, 60);
    expect(sensitivity.value).toBeCloseTo(0.4e-3 * (1 / 48 - 1 / 60), 12);
    expect(sensitivity.u / sensitivity.value).toBeCloseTo(0.6, 12);
    const clamp = { clampV: 60, sensitivity };
    const value = 14 * 1.2e-4 - 1e-3 - (60 * sensitivity.value - 1e-4);
    const u = Math.hypot(1e-4, 14e-5, 60 * sensitivity.u);
    const byTemperature = deadTimeByTemperature(byVoltage, 14, 1e-3, clamp);
    expect(byTemperature.value).toBeCloseTo(0.00393 * value, 12);
    expect(byTemperature.u).toBeCloseTo(0.00393 * u, 12);
    const byResistance = deadTimeByResistance(byVoltage, 14, 1e-3, clamp, { ohm: 12, uRelative: 0.1, from: 'current' });
    expect(byResistance.value).toBeCloseTo(value / 12, 12);
    expect(byResistance.u).toBeCloseTo(Math.hypot(u, 0.1 * value) / 12, 12);
  });

  it('the circuit is what the charge of longer pulses says, and the usual one where that makes no sense', () => {
    const windows = [2e-3, 4e-3, 8e-3].map((width) => ({ width, period: 0.02, mean: ((14 / 12.5) * (width - 1e-3)) / 0.02 }));
    expect(coilCircuitOf(windows, 14, null)).toMatchObject({ from: 'current', uRelative: 0.05 });
    expect(coilCircuitOf(windows, 14, null).ohm).toBeCloseTo(12.5, 9);
    expect(coilCircuitOf(windows, 14, null, 0.01)).toMatchObject({ from: 'current', uRelative: 0.01 });
    const senseless = [[], windows.slice(0, 1), ...[0, 100, -1].map((factor) => windows.map((w) => ({ ...w, mean: w.mean * factor })))];
    for (const none of senseless) expect(coilCircuitOf(none, 14, null)).toEqual({ ohm: 14, uRelative: 3 / 14 / Math.sqrt(3), from: 'default' });
  });

  it('RED-140 the circuit is what the plan states of the coil where nothing is read, as well as that is known of a warm coil', () => {
    const windows = [2e-3, 4e-3, 8e-3].map((width) => ({ width, period: 0.02, mean: ((14 / 12.5) * (width - 1e-3)) / 0.02 }));
    const stated = { ohm: 12, u: 0.3 };
    expect(coilCircuitOf(windows, 14, stated)).toMatchObject({ from: 'current' });
    const found = coilCircuitOf([], 14, stated);
    expect(found).toMatchObject({ ohm: 12, from: 'stated' });
    expect(found.uRelative).toBeCloseTo(Math.hypot(0.025, (15 * 0.00393) / Math.sqrt(3)), 12);
  });
});

describe('interpolation that keeps the shape', () => {
  it('takes two knots or more that rise, each with its value', () => {
    expect(() => interpolateMonotone([1], [1], 1)).toThrow('two knots');
    expect(() => interpolateMonotone([1, 2, 3], [1, 2], 1)).toThrow('two knots');
    expect(() => interpolateMonotone([1, 1], [1, 2], 1)).toThrow('rise');
    expect(interpolateMonotone([1, 3], [10, 20], 2)).toBeCloseTo(15, 12);
  });
});
