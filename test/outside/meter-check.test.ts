/** Air buoyancy against numbers that others have published or computed. */
import { describe, expect, it } from 'vitest';
import { buoyancyFactor } from '../../app/meter-check/buoyancy.ts';

describe('air buoyancy', () => {
  // Equation of NISTIR 6969 SOP 2 with the conventional densities; computed independently (Python).
  it('turns a balance reading of 100 g into mass', () => {
    expect(100 * buoyancyFactor(684)).toBeCloseTo(100.160721, 6);
    expect(100 * buoyancyFactor(998.2)).toBeCloseTo(100.105343, 6);
  });

  // First-order form of ISO 4185 (from memory): 1 + rho_air (1/rho_liquid - 1/rho_weights).
  it('agrees with the first-order form to its own order', () => {
    expect(1.2 * (1 / 684 - 1 / 8000)).toBeCloseTo(1.604e-3, 6);
    expect(buoyancyFactor(684) - 1).toBeCloseTo(1.604e-3, 5);
  });

  it('is none for a liquid as dense as the weights', () => {
    expect(buoyancyFactor(8000)).toBe(1);
  });
});
