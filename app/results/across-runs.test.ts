import { describe, expect, it } from 'vitest';
import type { Equipment } from '../equipment/equipment.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { carried, combine, randomPart, sharedPart, stateCarried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ErrorQuantity } from '../uncertainty/source.ts';
import { carriedIn, sharedBetween, sourceIn } from './across-runs.ts';

type BenchEquipment = Extract<Equipment, { equipmentVersion: 2 }>;

const bench: BenchEquipment = {
  ...syntheticEquipment,
  equipmentVersion: 2,
  controller: { model: 'bench', serialNumber: 'B-1' },
  wiring: { sensedAt: 'the terminals of the supply', harnessOhm: 0.1, harnessUncertaintyOhm: 0.01 },
  driver: { type: 'saturated switch', clampV: 47, clampUncertaintyV: 0.4, channelUncertaintyV: 0.4 },
  timeBase: { kind: 'crystal', uncertaintyPpm: 20, refuseAbovePpm: 500 },
};

const sameIn = (a: Equipment, b: Equipment, quantity: ErrorQuantity, place = ''): boolean =>
  sourceIn({ id: 'a', equipment: a }, errorSource(quantity, place)).key === sourceIn({ id: 'b', equipment: b }, errorSource(quantity, place)).key;

describe('RED-65: the error of one run in another', () => {
  it('is the same one for an instrument under the same certificate, each instrument by itself', () => {
    const cases: readonly (readonly [ErrorQuantity, BenchEquipment])[] = [
      ['k-factor', { ...bench, meter: { ...bench.meter, certificate: { ...bench.meter.certificate, number: 'C-9' } } }],
      ['k-factor-point', { ...bench, meter: { ...bench.meter, serialNumber: 'M-9' } }],
      ['rail-pressure', { ...bench, pressure: { ...bench.pressure, certificate: { ...bench.pressure.certificate, number: 'C-9' } } }],
      ['rail-temperature', { ...bench, temperature: { ...bench.temperature, serialNumber: 'T-9' } }],
      ['meter-temperature', { ...bench, temperature: { ...bench.temperature, certificate: { ...bench.temperature.certificate, number: 'C-9' } } }],
      ['supply-read-back', { ...bench, supply: { ...bench.supply, certificate: { ...bench.supply.certificate, number: 'C-9' } } }],
      ['harness-resistance', { ...bench, wiring: { ...bench.wiring, harnessOhm: 0.2 } }],
      ['harness-effect', { ...bench, wiring: { ...bench.wiring, harnessUncertaintyOhm: 0.02 } }],
      ['driver-clamp', { ...bench, driver: { ...bench.driver, clampV: 48 } }],
      ['driver-clamp-channel', { ...bench, driver: { ...bench.driver, type: 'another' } }],
      ['time-base', { ...bench, controller: { ...bench.controller, serialNumber: 'B-2' } }],
      ['fluid-density', { ...bench, fluid: { ...bench.fluid, lot: 'L-2' } }],
      // The same lot, measured: the error is now that of the measurement.
      ['fluid-density', { ...bench, fluid: { ...bench.fluid, measuredDensity: { kgPerM3: 684, atC: 20, on: '2026-02-01' } } }],
    ];
    const all = [...new Set(cases.map(([quantity]) => quantity))];
    const together: readonly (readonly ErrorQuantity[])[] = [['k-factor', 'k-factor-point'], ['rail-temperature', 'meter-temperature'], ['harness-resistance', 'harness-effect'], ['driver-clamp', 'driver-clamp-channel']];
    for (const [quantity, other] of cases) {
      const ofOne = together.find((list) => list.includes(quantity)) ?? [quantity];
      // Wiring and drivers belong to the controller that stands between them.
      const changed = quantity === 'time-base' ? ['time-base', ...together.slice(2).flat()] : ofOne;
      for (const one of all) expect([one, sameIn(bench, other, one)]).toEqual([one, !changed.includes(one)]);
      expect(sharedBetween({ id: 'a', equipment: bench }, { id: 'b', equipment: other }).other).not.toEqual([]);
    }
    expect(sharedBetween({ id: 'a', equipment: bench }, { id: 'b', equipment: bench }).other).toEqual([]);
  });

  it('is another one in each run for leak, coil, window and scatter, and the same in all for the model of the coil', () => {
    for (const quantity of ['leak', 'leak-meter', 'leak-path', 'leak-change', 'coil-over-rail', 'coil-late', 'line-slope', 'width-mass', 'static-flow', 'steadiness'] as const) {
      expect([quantity, sameIn(bench, bench, quantity, '1')]).toEqual([quantity, false]);
    }
    expect(sameIn(bench, { ...bench, controller: { ...bench.controller, serialNumber: 'B-2' } }, 'coil-model')).toBe(true);
  });

  it('stands for one channel, block or point of a curve and not for another', () => {
    const run = { id: 'a', equipment: bench };
    expect(sourceIn(run, errorSource('driver-clamp-channel', '1')).key).not.toBe(sourceIn(run, errorSource('driver-clamp-channel', '2')).key);
    expect(sourceIn(run, errorSource('driver-clamp')).key).not.toBe(sourceIn(run, errorSource('driver-clamp-channel', '1')).key);
  });

  it('records of version 1 say nothing of wiring, drivers and clock: taken for the same among themselves, and never for that of another record', () => {
    expect(sameIn(syntheticEquipment, syntheticEquipment, 'driver-clamp')).toBe(true);
    expect(sameIn(syntheticEquipment, bench, 'driver-clamp')).toBe(false);
    expect(sameIn(syntheticEquipment, bench, 'k-factor')).toBe(true);
  });

  it('cancels in a difference where it is the same, counts twice where it is not; scatter always counts twice (JCGM 100:2008, F.1.2.3)', () => {
    const value = carried(1, [sharedPart(errorSource('k-factor'), 3), randomPart(errorSource('line-slope', 'x'), 4, 10, 'x')]);
    const difference = (b: Equipment) => stateCarried(combine(0, [{ of: carriedIn({ id: 'b', equipment: b }, value), sensitivity: 1 }, { of: carriedIn({ id: 'a', equipment: bench }, value), sensitivity: -1 }]));
    const other = { ...bench, meter: { ...bench.meter, serialNumber: 'M-9' } };
    expect(difference(bench).uShared).toBe(0);
    expect(difference(other).uShared).toBeCloseTo(3 * Math.SQRT2, 12);
    for (const equipment of [bench, other]) {
      expect(difference(equipment).uRandom).toBeCloseTo(4 * Math.SQRT2, 12);
      // Two estimates of ten degrees of freedom each, of equal size: twenty (G.4.1).
      expect(difference(equipment).dofRandom).toBeCloseTo(20, 9);
    }
  });
});
