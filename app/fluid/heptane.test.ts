import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { equipmentSchema } from '../equipment/equipment.ts';
import { celsius, kelvins, kilopascals, pascals } from '../quantities/quantity.ts';
import { densityOfRun, densityUncertainty } from './density-of-run.ts';
import { heptaneCovers, heptaneState } from './heptane.ts';
import { densityOfHeptane } from './heptane.test-helper.ts';

const temperatures = fc.double({ min: 263.15, max: 333.15, noNaN: true }).map(kelvins);
const pressures = fc.double({ min: 50e3, max: 10e6, noNaN: true }).map(pascals);

describe('density of n-heptane', () => {
  test('is liquid everywhere in its range, falls with temperature and rises with pressure', () => {
    fc.assert(
      fc.property(temperatures, pressures, (t, p) => {
        const density = densityOfHeptane(t, p);
        expect(density).toBeGreaterThan(640);
        expect(density).toBeLessThan(725);
        if (heptaneCovers(kelvins(t + 0.1), p)) expect(densityOfHeptane(kelvins(t + 0.1), p)).toBeLessThan(density);
        if (heptaneCovers(t, pascals(p + 1e3))) expect(densityOfHeptane(t, pascals(p + 1e3))).toBeGreaterThan(density);
      }),
    );
  });

  test('expansion and compressibility are the slopes of the density', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 264, max: 332, noNaN: true }).map(kelvins),
        fc.double({ min: 100e3, max: 9e6, noNaN: true }).map(pascals),
        (t, p) => {
          const { density, thermalExpansion, compressibility } = heptaneState(t, p);
          const overT = (densityOfHeptane(kelvins(t + 0.01), p) - densityOfHeptane(kelvins(t - 0.01), p)) / 0.02;
          const overP = (densityOfHeptane(t, pascals(p + 1e4)) - densityOfHeptane(t, pascals(p - 1e4))) / 2e4;
          expect(-overT / density / thermalExpansion).toBeCloseTo(1, 5);
          expect(overP / density / compressibility).toBeCloseTo(1, 5);
        },
      ),
    );
  });

  test('does not answer outside its range', () => {
    for (const [t, p] of [[263, 4e5], [334, 4e5], [293, 49e3], [293, 11e6], [NaN, 4e5], [293, NaN]] as const) {
      expect(heptaneCovers(kelvins(t), pascals(p))).toBe(false);
      expect(() => densityOfHeptane(kelvins(t), pascals(p))).toThrow(RangeError);
    }
  });
});

describe('density of a run', () => {
  const certificate = { number: 'C', date: '2026-01-05', validUntil: '2027-01-04' };
  const equipment = (measuredDensity?: { kgPerM3: number; atC: number; on: string }) =>
    equipmentSchema.parse({
      equipmentVersion: 1,
      name: 'Bench',
      meter: { kind: 'gear', serialNumber: 'M', kFactor: [{ hertz: 1, edgesPerLitre: 48_000 }], relativeUncertaintyPercent: 0.1, edgesPerRevolution: 24, certificate },
      pressure: { serialNumber: 'P', uncertaintyKpa: 0.4, certificate },
      temperature: { serialNumber: 'T', uncertaintyC: 0.1, certificate },
      supply: { serialNumber: 'S', uncertaintyMv: 5, certificate },
      fluid: { name: 'n-heptane', lot: 'L', openedOn: '2026-01-05', densityUncertaintyPercent: 0.1, ...(measuredDensity && { measuredDensity }) },
      ambientKpa: 100,
    });

  test('is that of the equation of state where nothing was measured', () => {
    expect(densityOfRun(equipment(), celsius(22), kilopascals(500))).toEqual(heptaneState(celsius(22), kilopascals(500)));
  });

  test('meets the measured value where it was measured, and keeps its proportion elsewhere', () => {
    const measured = equipment({ kgPerM3: 685, atC: 20, on: '2026-02-01' });
    expect(densityOfRun(measured, celsius(20), kilopascals(100))?.density).toBeCloseTo(685, 9);
    const factor = 685 / densityOfHeptane(celsius(20), kilopascals(100));
    expect(densityOfRun(measured, celsius(27), kilopascals(500))?.density).toBeCloseTo(factor * densityOfHeptane(celsius(27), kilopascals(500)), 9);
  });

  test('is not known outside the range', () => {
    expect(densityOfRun(equipment(), celsius(70), kilopascals(500))).toBeNull();
    expect(densityOfRun(equipment({ kgPerM3: 600, atC: 90, on: '2026-02-01' }), celsius(20), kilopascals(500))).toBeNull();
  });

  test('RED-75: of a lot that was not measured is uncertain by its purity too', () => {
    const { fluid } = equipment();
    expect(densityUncertainty(fluid)).toBe(0.001);
    // Three percent of a companion that differs by 12 %, rectangular: 0.208 %.
    expect(densityUncertainty({ ...fluid, purityPercent: 97 })).toBeCloseTo(Math.hypot(0.001, 0.002078), 6);
    expect(densityUncertainty({ ...fluid, purityPercent: 97, measuredDensity: { kgPerM3: 684, atC: 20, on: '2026-02-01' } })).toBe(0.001);
  });
});
