import { describe, expect, it } from 'vitest';
import { cellsOfSeed } from './coverage.ts';

describe('the stated 95 % intervals', () => {
  it('hold the simulated truth, on a bench whose instruments are as wrong as their certificates allow', async () => {
    const cells = await cellsOfSeed(101);
    expect(cells).toHaveLength(40);
    // Shared errors make the cells of one bench miss together; far outside would be a mistake, not bad luck.
    for (const { deadTimeZ, slopeZ } of cells) {
      expect(Math.abs(deadTimeZ)).toBeLessThan(4.5);
      expect(Math.abs(slopeZ)).toBeLessThan(4.5);
    }
    expect(cells.filter((c) => c.deadTimeInside).length).toBeGreaterThan(20);
  });
});
