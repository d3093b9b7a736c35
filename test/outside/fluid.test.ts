/** Density of n-heptane against published values. */
import { describe, expect, test } from 'vitest';
import { heptaneState } from '../../app/fluid/heptane.ts';
import { densityOfHeptane } from '../../app/fluid/heptane.test-helper.ts';
import { celsius, kilopascals, pascals } from '../../app/quantities/quantity.ts';

const relative = (found: number, published: number) => Math.abs(found / published - 1);

describe('Span and Wagner 2003, as computed by a second, independent implementation of the same equation', () => {
  // Coefficients of Int. J. Thermophys. 24 (2003) 41-109 as in CoolProp's n-Heptane.json, evaluated in Python.
  // degC, density kg/m3, thermal expansion 1e-3/K, isothermal compressibility 1/GPa at 101.325 kPa absolute.
  test.each([
    [0, 700.5304, 1.18611, 1.19162],
    [5, 696.3708, 1.19622, 1.23961],
    [10, 692.1997, 1.20701, 1.29008],
    [15, 688.0152, 1.21853, 1.34321],
    [20, 683.8153, 1.23079, 1.39922],
    [21, 682.9734, 1.23333, 1.41078],
    [25, 679.5982, 1.24381, 1.45831],
    [30, 675.3617, 1.25765, 1.52073],
    [35, 671.1038, 1.27234, 1.58676],
    [40, 666.8223, 1.28792, 1.65668],
  ])('%d degC at 101.325 kPa', (c, density, expansion, compressibility) => {
    const state = heptaneState(celsius(c), pascals(101_325));
    expect(relative(state.density, density)).toBeLessThan(1e-7);
    expect(relative(state.thermalExpansion, expansion * 1e-3)).toBeLessThan(1e-5);
    expect(relative(state.compressibility, compressibility * 1e-9)).toBeLessThan(1e-5);
  });

  test.each([
    [500, 10, 692.5548], [500, 15, 688.3826], [500, 20, 684.1958], [500, 25, 679.9922], [500, 30, 675.77], [500, 40, 667.2613],
    [501.325, 10, 692.556], [501.325, 15, 688.3839], [501.325, 20, 684.197], [501.325, 21, 683.3577], [501.325, 25, 679.9935],
    [501.325, 30, 675.7713], [501.325, 40, 667.2627],
  ])('%d kPa absolute at %d degC', (kPa, c, density) => {
    expect(relative(densityOfHeptane(celsius(c), kilopascals(kPa)), density)).toBeLessThan(1e-7);
  });
});

describe('other published values', () => {
  test.each([
    // Saturated liquid after the VDI heat atlas form (PPDS coefficients); the room's pressure adds less than 0.02 %.
    ['VDI form, 10 degC', 10, 692.273, 2e-4],
    ['VDI form, 20 degC', 20, 683.818, 2e-4],
    ['VDI form, 30 degC', 30, 675.298, 2e-4],
    ['VDI form, 40 degC', 40, 666.702, 2e-4],
    // CRC Handbook, Physical constants of organic compounds (25 degC inferred: the data file names no temperature).
    ['CRC Handbook', 25, 679.525, 2e-4],
    // COSTALD (Hankinson and Thomson), a general correlation for saturated liquids.
    ['COSTALD', 20, 682.403, 2.5e-3],
  ])('%s', (_source, c, density, within) => {
    expect(relative(densityOfHeptane(celsius(c), pascals(101_325)), density)).toBeLessThan(within);
  });

  test('the handbook forms in common use are off by what is known of them', () => {
    // DIPPR-105 with the coefficients of Perry's handbook at 20 degC: 685.750; Rackett with Z_RA 0.2604: 688.50.
    const density = densityOfHeptane(celsius(20), pascals(101_325));
    expect(685.75 / density - 1).toBeCloseTo(0.0028, 3);
    expect(688.5 / density - 1).toBeCloseTo(0.0069, 3);
  });
});
