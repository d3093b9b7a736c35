import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { scenarioSchema } from './plant/scenario.ts';
import { truthOf, type TruthQuestion } from './truth.ts';

const scenario = scenarioSchema.parse({ scenarioVersion: 1, seed: 3 });
const question: TruthQuestion = {
  channel: 1,
  voltageV: 14,
  pressureKpa: 400,
  widthsMs: [3, 4, 6, 8, 10],
  periodMs: 20,
  referenceC: 20,
};

describe('truth', () => {
  it('is the same for ever, and does not depend on noise', () => {
    expect(truthOf(scenario, question)).toEqual(truthOf({ ...scenario, noise: false }, question));
  });

  it('is a straight line in the linear region: every mass within 0.05 % of it at 9 to 16 V, for all eight injectors', () => {
    for (let channel = 1; channel <= 8; channel += 1) {
      for (const voltageV of [9, 10.5, 12, 14, 16]) {
        const truth = truthOf(scenario, { ...question, channel, voltageV });
        truth.massesMg.forEach((mass, i) => {
          const line = truth.slopeMgPerMs * ((question.widthsMs[i] ?? NaN) - truth.deadTimeMs);
          expect(Math.abs(mass / line - 1), `channel ${channel}, ${voltageV} V, width ${i}`).toBeLessThan(5e-4);
        });
        // Plausible for the kind; from memory, no citable table.
        expect(truth.deadTimeMs).toBeGreaterThan(0.35);
        expect(truth.deadTimeMs).toBeLessThan(1.7);
        expect(truth.staticMgPerS).toBeGreaterThan(3950 * 0.96);
        expect(truth.staticMgPerS).toBeLessThan(3950 * 1.04);
        // Longer pulses warm the coil, which costs a little opening: the slope is a little below the static flow.
        expect(truth.slopeMgPerMs * 1e3).toBeLessThan(truth.staticMgPerS);
        expect(truth.slopeMgPerMs * 1e3).toBeGreaterThan(0.998 * truth.staticMgPerS);
      }
    }
  });

  it('follows the square root of pressure and of density', () => {
    const at = (change: Partial<TruthQuestion>) => truthOf(scenario, { ...question, ...change }).staticMgPerS;
    // 300 to 400 kPa 1.154701 and the liquid denser by 0.014 % for 100 kPa, 20 to 25 degC 0.996923.
    expect(at({ pressureKpa: 400 }) / at({ pressureKpa: 300 })).toBeCloseTo(1.154701 * 1.00007, 4);
    expect(at({ referenceC: 25 }) / at({ referenceC: 20 })).toBeCloseTo(0.996923, 5);
  });

  it('knows the coil: warmer by half a kelvin for each watt, and longer dead time when warmer', () => {
    const truth = truthOf(scenario, question);
    // 14^2 / 12.08 W for 10 ms in 20 ms, less the time the current takes to rise.
    expect(truth.coilC[4]).toBeGreaterThan(20 + 0.5 * 16 * 0.5 * 0.85);
    expect(truth.coilC[4]).toBeLessThan(20 + 0.5 * 16.3 * 0.5);
    expect(truthOf(scenario, { ...question, referenceC: 24 }).deadTimeMs).toBeGreaterThan(truth.deadTimeMs);
  });

  it('is out of reach of the product: nothing in app, main and renderer imports it', () => {
    const root = join(import.meta.dirname, '../..');
    let files = 0;
    for (const room of ['app', 'main', 'renderer']) {
      for (const name of readdirSync(join(root, room), { recursive: true, encoding: 'utf8' })) {
        if (!/\.(ts|tsx|mjs)$/.test(name) || name.includes('.test.')) continue;
        files += 1;
        expect(readFileSync(join(root, room, name), 'utf8'), name).not.toMatch(/simulator\/truth/);
      }
    }
    expect(files).toBeGreaterThan(20);
  });

  it('is used by nothing in the simulator itself', () => {
    for (const name of readdirSync(import.meta.dirname, { recursive: true, encoding: 'utf8' })) {
      if (!name.endsWith('.ts') || name.endsWith('.test.ts')) continue;
      expect(readFileSync(join(import.meta.dirname, name), 'utf8'), name).not.toMatch(/from '.*\/truth\.ts'/);
    }
  });
});
