import { describe, expect, it } from 'vitest';
import { simulatedBenchEquipment } from './certificates.ts';
import { nominalKFactor } from './k-factor.ts';

describe('certificates of the simulated bench', () => {
  it('give the K-factor by straight lines to 0.005 %, far below their uncertainty', () => {
    const points = simulatedBenchEquipment.meter.kFactor;
    let worst = 0;
    for (let i = 1; i < points.length; i += 1) {
      const a = points[i - 1];
      const b = points[i];
      if (a === undefined || b === undefined) throw new Error('hole in the table');
      expect(b.hertz).toBeGreaterThan(a.hertz);
      for (let part = 0; part <= 1; part += 0.1) {
        const line = a.edgesPerLitre + part * (b.edgesPerLitre - a.edgesPerLitre);
        worst = Math.max(worst, Math.abs(line / nominalKFactor(a.hertz + part * (b.hertz - a.hertz)) - 1));
      }
    }
    expect(worst).toBeLessThan(5e-5);
  });

  it('state about 48 edges for a millilitre', () => {
    for (const { edgesPerLitre } of simulatedBenchEquipment.meter.kFactor) {
      expect(Math.abs(edgesPerLitre / 48_000 - 1)).toBeLessThan(0.01);
    }
  });
});
