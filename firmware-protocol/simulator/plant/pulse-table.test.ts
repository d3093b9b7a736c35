import { describe, expect, it } from 'vitest';
import { RandomSource } from './random.ts';
import { simulatePulse } from './injector.ts';
import { drawInjector } from './injector-type.ts';
import { PulseTable } from './pulse-table.ts';
import { driveAt } from './supply.ts';

describe('table of pulses', () => {
  it('agrees with direct integration to 0.02 % of the pulse or 0.05 us of open time, bounce region included', () => {
    const random = RandomSource.named(11, 'table');
    const { parts } = drawInjector(1, 2);
    const table = new PulseTable(parts);
    for (const volts of [9, 12, 14, 16]) {
      for (const width of [0.9e-3, 1.1e-3, 1.3e-3, 1.7e-3, 2e-3, 3e-3, 6e-3]) {
        for (let i = 0; i < 8; i += 1) {
          const v = volts + (random.uniform() - 0.5) * 0.04;
          const p = 4e5 + (random.uniform() - 0.5) * 8000;
          const k = 22 + (random.uniform() - 0.5) * 4;
          const found = table.pulse(width, v, p, k);
          const direct = simulatePulse(parts, driveAt(v), p, k, width);
          const allowed = Math.max(2e-4 * direct.areaTime, 0.05e-6 * table.openArea);
          expect(Math.abs(found.areaTime - direct.areaTime), `${v} V ${width} s`).toBeLessThanOrEqual(allowed);
          expect(Math.abs(found.charge - direct.charge)).toBeLessThanOrEqual(1e-3 * direct.charge);
          expect(Math.abs(found.heat - direct.heat)).toBeLessThanOrEqual(1e-3 * direct.heat);
        }
      }
    }
  });

  it('knows nothing opens at no voltage, and no negative mass', () => {
    const table = new PulseTable(drawInjector(1, 1).parts);
    expect(table.pulse(5e-3, 0, 4e5, 20).areaTime).toBe(0);
    for (let width = 0.2e-3; width < 1.2e-3; width += 0.05e-3) {
      expect(table.pulse(width, 14.003, 401e3, 20.7).areaTime).toBeGreaterThanOrEqual(0);
    }
  });
});
