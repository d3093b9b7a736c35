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
    expect(found.u / Math.abs(found.value)).toBeCloseTo(0.05, 12);
    const chord = deadTimeByVoltage([8, 14].map(power(-1.7)), 14, 1e-3);
    expect(chord.value).toBeCloseTo((-1.7 * 1e-3) / 14, 12);
    expect(chord.u / Math.abs(chord.value)).toBeCloseTo(0.25, 12);
  });

  it('is -2 t0 / V without a neighbour, and where the neighbours say that it rises, to a quarter of itself', () => {
    for (const known of [[], [power(-1.7)(14)], [8, 11, 14].map(power(0.5))]) {
      const found = deadTimeByVoltage(known, 14, 1e-3);
      expect(found.from).toBe('default');
      expect(found.value).toBeCloseTo(-2e-3 / 14, 12);
      expect(found.u).toBeCloseTo(0.25 * (2e-3 / 14), 12);
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
      expect(found.u / found.value).toBeCloseTo(0.05, 12);
    }
    const falling = deadTimeByPressure([200e3, 400e3].map((at) => ({ at, deadTime: 1e-3 - 2e-10 * at })), 300e3, 1e-3);
    expect(falling.u).toBeCloseTo(0.25 * 2e-10, 18);
  });

  it('of a dead time that is none, or of one that no voltage changes, keeps to what it can say', () => {
    for (const deadTime of [0, -1e-4]) expect(deadTimeByVoltage([8, 11, 14].map(power(-1.7)), 11, deadTime)).toMatchObject({ from: 'default', u: Math.abs(0.5 * deadTime) / 11 });
    expect(deadTimeByVoltage([8, 11, 14].map(power(0)), 11, 1e-3)).toMatchObject({ from: 'neighbours' });
  });

  it('over pressure is the slope of its neighbours, and 3 % for 100 kPa without one, to a quarter of itself', () => {
    const line = [200e3, 300e3, 400e3].map((at) => ({ at, deadTime: 1e-3 + at * 2e-10 }));
    expect(deadTimeByPressure(line, 300e3, 1e-3)).toMatchObject({ from: 'neighbours' });
    expect(deadTimeByPressure(line, 300e3, 1e-3).value).toBeCloseTo(2e-10, 18);
    const alone = deadTimeByPressure([], 300e3, 1e-3);
    expect(alone.value).toBeCloseTo(3e-10, 18);
    expect(alone.u).toBeCloseTo(0.75e-10, 18);
  });
});

describe('RED-17 RED-60 dead time over temperature, clamp and wiring', () => {
  const byVoltage = { value: -1.2e-4, u: 1e-5, from: 'neighbours' } as const;

  it('is copper times what a larger resistance does: -V dt0/dV - t0', () => {
    const found = deadTimeByTemperature(byVoltage, 14, 1e-3);
    expect(found.value).toBeCloseTo(0.00393 * (14 * 1.2e-4 - 1e-3), 12);
    expect(found.u).toBeCloseTo(0.00393 * Math.hypot(1.5e-4, 14e-5), 12);
  });

  it('takes the part of a known clamp off, with the movements', () => {
    const sensitivity = deadTimeByClamp(14, 60);
    expect(sensitivity.value).toBeCloseTo(0.4e-3 * (1 / 48 - 1 / 60), 12);
    expect(sensitivity.u / sensitivity.value).toBeCloseTo(0.4, 12);
    const clamp = { clampV: 60, sensitivity };
    const value = 14 * 1.2e-4 - 1e-3 - (60 * sensitivity.value - 0.7e-4);
    const u = Math.hypot(0.7e-4, 14e-5, 60 * sensitivity.u);
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
