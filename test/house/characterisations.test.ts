import { describe, expect, it } from 'vitest';
import { characterise } from './characterisations.ts';

describe('stated intervals of whole characterisations', () => {
  it('RED-19, RED-24, RED-32, RED-33: hold the truth of lines, static flows and tables on three new benches', () => {
    const outcomes = [91, 92, 93].flatMap((seed) => characterise(seed));
    const quantities = [...new Set(outcomes.map((o) => o.quantity))];
    for (const quantity of ['dead time', 'slope', 'static flow', 'static / slope', 'table: dead time', 'table: slope', 'table: short pulse'] as const) {
      expect(quantities).toContain(quantity);
      // Three benches share few errors: far outside would be a mistake, not bad luck. `npm run show` judges hundreds.
      for (const o of outcomes.filter((one) => one.quantity === quantity)) expect(Math.abs(o.z), `${quantity} at ${o.voltage} V`).toBeLessThan(6);
    }
  }, 60_000);

  it('RED-174: hold that of short pulses where the needle bounces between the measured widths', () => {
    const short = [94, 95, 96, 97, 98, 99].flatMap((seed) => characterise(seed, 'none', false)).filter((o) => o.quantity === 'unresolved short pulse' && o.voltage === 9);
    expect(short.length).toBeGreaterThanOrEqual(12);
    // By the steepness that the measured widths show one of four did.
    expect(short.filter((o) => o.inside).length / short.length).toBeGreaterThan(0.75);
  }, 60_000);
});
