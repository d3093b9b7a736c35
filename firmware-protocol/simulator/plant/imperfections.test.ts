import { describe, expect, it } from 'vitest';
import { truthOf } from '../truth.ts';
import { EDGES_PER_REVOLUTION } from './k-factor.ts';
import { Meter } from './meter.ts';
import { createPlant } from './plant.ts';
import { RandomSource } from './random.ts';
import { scenarioSchema } from './scenario.ts';
import type { Scenario } from './scenario.ts';
import { settledRise } from './thermal.ts';

const benchWith = (imperfections: Partial<Scenario['imperfections']>): Scenario =>
  scenarioSchema.parse({ scenarioVersion: 1, seed: 7, noise: false, instrumentErrors: false, rail: { pump: false, relief: false, shutOff: false }, imperfections });

/** Edges a second of injector 1 at 14 V, pulses of `width` ms in 20 ms, over 8 s after `settle` s; and the mean readings. */
function measured(imperfections: Partial<Scenario['imperfections']>, width = 8, settle = 4): { readonly hertz: number; readonly pressure: number; readonly supply: number } {
  const plant = createPlant(benchWith(imperfections));
  plant.setSupply(14_000);
  plant.advanceTo(2e6);
  const pulses = 50 * (settle + 8);
  const [from, to] = [2e6 + settle * 1e6, 2e6 + (settle + 8) * 1e6];
  for (let i = 0; i < pulses; i += 1) plant.pulse(1, 2e6 + i * 20_000, width * 1e3);
  plant.advanceTo(from);
  const before = plant.read();
  let [pressure, supply, n] = [0, 0, 0];
  for (let us = from; us < to; us += 1700) {
    plant.advanceTo(us);
    const { pressurePa, supplyMv } = plant.read();
    pressure += pressurePa;
    supply += supplyMv;
    n += 1;
  }
  plant.advanceTo(to);
  const after = plant.read();
  return { hertz: (after.edges - before.edges) / ((after.lastEdgeUs - before.lastEdgeUs) / 1e6), pressure: pressure / n, supply: supply / n };
}

describe('imperfections of the simulated bench', () => {
  const plain = measured({});

  it('are off unless the scenario says so, and move the flow the way that they should', () => {
    expect(measured({}).hertz).toBe(plain.hertz);
    // 0.5 % an hour reads 10 s after the beginning hardly more; 100 % an hour reads a quarter of a percent more.
    expect(measured({ driftPercentPerH: 100 }).hertz / plain.hertz - 1).toBeCloseTo(0.0028, 3);
    expect(Math.abs(measured({ walkPercentPerRootH: 20 }).hertz / plain.hertz - 1)).toBeGreaterThan(1e-3);
    expect(measured({ curvaturePercent: 3 }).hertz / plain.hertz - 1).toBeCloseTo((0.03 * 7.4) / 12, 2);
    expect(Math.abs(measured({ gross: { part: 1, percent: 3 } }).hertz / plain.hertz - 1)).toBeGreaterThan(2e-3);
    expect(measured({ studentDof: 3 }).hertz).not.toBe(plain.hertz);
  });

  it('leave a slow coil colder for longer, and the truth holds for its settled warmth', () => {
    expect(measured({ coil: { kelvinPerWatt: 2, tauS: 30 } }, 8, 1).hertz).not.toBe(plain.hertz);
    expect(settledRise(0.1, 8e-3, 20e-3, { kelvinPerWatt: 2, tauS: 30 })).toBeCloseTo(2 * (0.1 / 20e-3), 1);
    const question = { channel: 1, voltageV: 14, pressureKpa: 400, widthsMs: [4, 8, 12], periodMs: 20, referenceC: 20 };
    const [warm, plainTruth, curved] = [{ coil: { kelvinPerWatt: 2, tauS: 30 } }, {}, { curvaturePercent: 1 }].map((what) => truthOf(benchWith(what), question));
    // Four times the resistance to the fuel, and a little less heat in warmer copper.
    const [cold, hot] = [(plainTruth?.coilC[2] ?? 0) - 20, (warm?.coilC[2] ?? 0) - 20];
    expect(hot / cold).toBeGreaterThan(3.6);
    expect(hot / cold).toBeLessThan(4);
    expect(warm?.deadTimeMs).not.toBe(plainTruth?.deadTimeMs);
    expect((curved?.massesMg[2] ?? 0) / (plainTruth?.massesMg[2] ?? 1) - 1).toBeCloseTo((0.01 * 11.4) / 12, 3);
  });

  it('let the rail dip and the supply sag while the means stay', () => {
    const soft = measured({ rail: { complianceMlPerMpa: 5, refillMs: 3 } });
    expect(soft.hertz).toBeLessThan(plain.hertz * (1 - 1e-3));
    const sagging = measured({ sagOhm: 0.2 }, 3);
    const short = measured({}, 3);
    expect(Math.abs(sagging.supply - short.supply)).toBeLessThan(3);
    expect(sagging.hertz).toBeLessThan(short.hertz * (1 - 1e-3));
  });

  it('LINE-130 tell the sag where the controller reads the supply inside pulses, and nothing where nothing is driven', () => {
    const inPulse = (sagOhm: number, width: number): { readonly below: number; readonly current: number } => {
      const plant = createPlant({ ...benchWith({ sagOhm }), readsInPulses: true });
      expect(plant.further).toEqual(['supplyInPulseMv']);
      plant.setSupply(14_000);
      plant.advanceTo(2e6);
      expect(plant.read().supplyInPulseMv).toBeUndefined();
      for (let i = 0; i < 60; i += 1) plant.pulse(1, 2e6 + i * 20e3, width * 1e3);
      let [below, current, n] = [0, 0, 0];
      for (let us = 2.4e6; us < 3e6; us += 1700) {
        plant.advanceTo(us);
        const { supplyMv, supplyInPulseMv = Number.NaN, currentMa } = plant.read();
        below += supplyMv - supplyInPulseMv;
        current += currentMa;
        n += 1;
      }
      plant.advanceTo(4e6);
      expect(plant.read().supplyInPulseMv).toBeUndefined();
      return { below: below / n, current: current / n };
    };
    for (const width of [3, 8]) {
      const { below, current } = inPulse(0.2, width);
      // Ohms of supply and sag times what the pulse draws above its mean.
      expect(below / (0.203 * current * (20 / width - 1))).toBeCloseTo(1, 1);
      expect(Math.abs(inPulse(0, width).below)).toBeLessThan(6);
    }
    expect(createPlant(benchWith({})).further).toEqual([]);
  });

  it('let the curve of the meter differ from its certificate by frequency, and edges stand unevenly in a turn', () => {
    const ratios = [1, 3, 8].map((width) => measured({ meterCurvePercent: 2 }, width === 1 ? 2 : width).hertz / measured({}, width === 1 ? 2 : width).hertz);
    expect(Math.max(...ratios) - Math.min(...ratios)).toBeGreaterThan(1e-3);
    /** Relative scatter of the times of half turns at a steady flow. */
    const uneven = (inRotation: number): number => {
      const meter = new Meter(RandomSource.named(4, 'meter'), 0);
      meter.inRotation = inRotation;
      const times: number[] = [];
      for (let ms = 0; ms < 20_000; ms += 1) {
        const before = meter.edges;
        meter.pass(ms * 1e3, 1e-3, (t) => t * 1e-6);
        if (ms % 20 === 19) meter.tick(0.02);
        if (meter.edges > before && meter.edges % (EDGES_PER_REVOLUTION / 2) === 0) times.push(meter.lastEdgeUs);
      }
      const spans = times.slice(11).map((at, i) => at - (times[i + 10] ?? 0));
      const mean = spans.reduce((sum, one) => sum + one, 0) / spans.length;
      return Math.sqrt(spans.reduce((sum, one) => sum + (one - mean) ** 2, 0) / spans.length) / mean;
    };
    expect(uneven(0.05)).toBeGreaterThan(5 * uneven(0.003));
  });
});
