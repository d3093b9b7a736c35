/** The fall of pressure in a rail that is shut off: RED-49, RUN-107. */
import { describe, expect, it } from 'vitest';
import { densityOfHeptane } from '../fluid/heptane.test-helper.ts';
import type { BenchFrame } from '../bench/port.ts';
import { celsius, kelvins, kilopascals, pascals, seconds } from '../quantities/quantity.ts';
import { decayText, leakOfDecay, summariseDecay } from './pressure-decay.ts';
import { syntheticEquipment } from './synthetic.test-helper.ts';

/** NIST Statistical Reference Datasets, linear regression, Norris: y, x, in rising x. */
const norris: readonly (readonly [number, number])[] = [
  [0.1, 0.2], [0.3, 0.3], [0.6, 0.3], [0.3, 0.4], [0.2, 0.5], [0.1, 0.6], [9.2, 10.1], [10.2, 11.1], [10.8, 11.6], [338.8, 337.4], [118.1, 118.2], [888.0, 884.6], [228.1, 226.5], [668.5, 666.3], [449.1, 448.6], [778.9, 777.0], [559.2, 558.2], [778.1, 775.5], [668.8, 666.9], [339.3, 338.0],
  [448.9, 447.5], [557.7, 556.0], [228.3, 228.1], [998.0, 995.8], [888.8, 887.6], [119.6, 120.2], [557.6, 556.8], [339.3, 339.1], [888.0, 887.2], [778.9, 779.0], [117.6, 118.3],
  [228.9, 229.2], [668.4, 669.1], [449.2, 448.9], [998.5, 996.3], [998.5, 999.0],
];

/** What the decay reads of a frame; the rest of one is not looked at. */
const frame = (at: number, pressure: number, railTemperature: number, bootId = 1, number = 1): BenchFrame =>
  ({ at: seconds(at), pressure: pascals(pressure), railTemperature: kelvins(railTemperature), bootId, burst: { number } }) as unknown as BenchFrame;
const frames = (n: number): BenchFrame[] => Array.from({ length: n }, (_, i) => frame(10 + i, 4e5 - 40 * i, 293.15 + 0.01 * i));
const shutOff = { complianceMlPerMpa: 80, complianceUncertaintyPercent: 3, volumeMl: 50 };
const bench = { ...syntheticEquipment, rail: shutOff };

describe('RUN-107 what a shut rail shows', () => {
  it('is a line over the controller clock, with the standard uncertainty of its slope (NIST StRD Norris, certified values)', () => {
    const found = summariseDecay(norris.map(([y, x]) => frame(x, y, 2 * y)));
    expect(found?.slope).toBeCloseTo(1.00211681802045, 9);
    expect(found?.uSlope).toBeCloseTo(0.429796848199937e-3, 12);
    expect(found?.warming).toBeCloseTo(2 * 1.00211681802045, 9);
    expect(found?.uWarming).toBeCloseTo(2 * 0.429796848199937e-3, 12);
    const mean = norris.reduce((sum, [y]) => sum + y, 0) / norris.length;
    expect(found?.pressure).toBeCloseTo(mean, 9);
    expect(found?.railTemperature).toBeCloseTo(2 * mean, 9);
    expect(found).toMatchObject({ from: 0.2, to: 999, frames: 36 });
  });

  it('is nothing with fewer than five frames, without time between them, or over a restart or a new burst', () => {
    expect(summariseDecay([])).toBeNull();
    expect(summariseDecay(frames(4))).toBeNull();
    expect(summariseDecay(frames(5))).not.toBeNull();
    expect(summariseDecay(Array.from({ length: 5 }, () => frame(10, 4e5, 293)))).toBeNull();
    expect(summariseDecay([...frames(5)].reverse())).toBeNull();
    expect(summariseDecay([...frames(5), frame(16, 4e5, 293, 2)])).toBeNull();
    expect(summariseDecay([...frames(5), frame(16, 4e5, 293, 1, 2)])).toBeNull();
  });
});

describe('RED-49 the leak that a fall of pressure tells', () => {
  const decay = { from: seconds(60), to: seconds(80), frames: 400, pressure: kilopascals(399), railTemperature: celsius(22), slope: -42, uSlope: 2, warming: 1e-3, uWarming: 2e-4 };
  /** Thermal expansion by the difference of densities, 1/K. */
  const expansion = (): number => {
    const rho = (t: number): number => densityOfHeptane(celsius(t), kilopascals(399 + 101.325));
    return -(rho(22.01) - rho(21.99)) / 0.02 / rho(22);
  };

  it('is what the compliance gives up, and what the warming fluid would have added', () => {
    const found = leakOfDecay(decay, bench);
    const [fall, thermal] = [80e-12 * 42, expansion() * 50e-6 * 1e-3];
    expect((found?.leak ?? 0) / (fall + thermal)).toBeCloseTo(1, 6);
    // Slope, compliance to 3 %, warming, and fluid that does not warm all alike to 30 %.
    expect((found?.u ?? 0) / Math.hypot(80e-12 * 2, 0.03 * fall, expansion() * 50e-6 * 2e-4, 0.3 * thermal)).toBeCloseTo(1, 6);
    // Each by itself.
    expect((leakOfDecay({ ...decay, uSlope: 0, uWarming: 0, warming: 0 }, bench)?.u ?? 0) / (0.03 * fall)).toBeCloseTo(1, 9);
    expect((leakOfDecay({ ...decay, uSlope: 0, uWarming: 0, slope: 0 }, bench)?.u ?? 0) / (0.3 * thermal)).toBeCloseTo(1, 6);
    // A rail that rises in a leaking house is one that warms: negative where nothing warms.
    expect((leakOfDecay({ ...decay, slope: 42, warming: 0 }, bench)?.leak ?? 0) / -fall).toBeCloseTo(1, 12);
  });

  it('is not told without a rail in the record, or outside the range of the density', () => {
    expect(leakOfDecay(decay, syntheticEquipment)).toBeNull();
    expect(leakOfDecay({ ...decay, railTemperature: celsius(90) }, bench)).toBeNull();
  });

  it('is said in mL/min with its uncertainty, or what is missing', () => {
    const found = leakOfDecay(decay, bench);
    const text = decayText(decay, bench);
    expect(text).toContain('Shut off for 20.0 s, the rail changed its pressure by -42.0 +/- 4.0 Pa/s (k = 2)');
    expect(text).toContain(`a leak of ${((found?.leak ?? 0) * 6e7).toFixed(3)} +/- ${((found?.u ?? 0) * 12e7).toFixed(3)} mL/min (k = 2)`);
    expect(decayText(decay, syntheticEquipment)).toContain('does not say what compliance the rail has');
  });
});
