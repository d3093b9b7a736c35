import { describe, expect, it } from 'vitest';
import { heptaneDensity } from './fluid.ts';

describe('density of the simulated n-heptane', () => {
  // Span and Wagner, Int. J. Thermophys. 24 (2003) 41, short equation of state, computed independently.
  it.each([
    [10, 101.325, 692.1997],
    [20, 101.325, 683.8153],
    [25, 101.325, 679.5982],
    [40, 101.325, 666.8223],
    [10, 500, 692.5548],
    [20, 500, 684.1958],
    [30, 500, 675.77],
    [20, 501.325, 684.197],
    [21, 501.325, 683.3577],
  ])('%d degC, %d kPa: %d kg/m3', (celsius, kPa, expected) => {
    expect(Math.abs(heptaneDensity(celsius, kPa * 1e3) / expected - 1)).toBeLessThan(2e-6);
  });

  it('agrees with a published value: 679.525 kg/m3 at 25 degC (CRC Handbook), and the 0.684 g/cm3 of the trade', () => {
    expect(Math.abs(heptaneDensity(25, 101_325) / 679.525 - 1)).toBeLessThan(3e-4);
    expect(Math.abs(heptaneDensity(20, 101_325) / 684 - 1)).toBeLessThan(5e-4);
  });
});
