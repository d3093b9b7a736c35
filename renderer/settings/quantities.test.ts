import fc from 'fast-check';
import { afterEach, describe, expect, test } from 'vitest';
import { allShown, decimalsShown, quantityText, sentenceShown, shownIn, storedFrom, storedFromTyped, typedFromStored } from './quantities.ts';
import { useSettings } from './settings.ts';
import type { PressureUnit, TemperatureUnit } from './settings.ts';

const before = useSettings.getState();
afterEach(() => useSettings.setState(before));
const choose = (pressureUnit: PressureUnit, temperatureUnit: TemperatureUnit = 'degC'): void => useSettings.setState({ ...before, pressureUnit, temperatureUnit });

describe('WIN-34: pressure and temperature in the chosen unit', () => {
  test('3 bar is 300 kPa, 145 psi is 999.74 kPa (NIST SP 811: 1 psi = 6.894 757 kPa), 77 degF is 25 degC', () => {
    choose('bar', 'degF');
    expect(storedFrom('kPa', 3)).toBe(300);
    expect(storedFromTyped('kPa', '3,5')).toBe('350');
    expect(storedFrom('°C', 77)).toBe(25);
    expect(storedFrom('°C', 1.8, true)).toBe(1);
    expect(quantityText(399.9, 'kPa')).toBe('3.999 bar');
    expect(decimalsShown('kPa', 1)).toBe(3);
    choose('psi');
    expect(storedFrom('kPa', 145)).toBeCloseTo(145 * 6.894757293168, 6);
    expect(typedFromStored('kPa', storedFromTyped('kPa', '145'))).toBe('145');
    expect(shownIn('V', 14)).toBe(14);
  });

  test('what is typed comes back as it was typed, through what is stored, in each unit', () => {
    fc.assert(
      fc.property(fc.constantFrom<PressureUnit>('kPa', 'bar', 'psi'), fc.constantFrom<TemperatureUnit>('degC', 'degF'), fc.integer({ min: -99_999, max: 9_999_999 }), fc.integer({ min: 0, max: 4 }), fc.constantFrom('kPa', '°C'), fc.boolean(), (pressure, temperature, whole, decimals, unit, difference) => {
        choose(pressure, temperature);
        const typed = String(whole / 10 ** decimals);
        expect(typedFromStored(unit, storedFromTyped(unit, typed, difference), difference)).toBe(typed);
      }),
      { numRuns: 2000 },
    );
  });

  test('what is stored and shown and read again is the same to a millionth of a kPa and of a degree', () => {
    fc.assert(
      fc.property(fc.constantFrom<PressureUnit>('bar', 'psi'), fc.double({ min: 1, max: 2000, noNaN: true }), (pressure, kpa) => {
        choose(pressure, 'degF');
        expect(Math.abs(storedFrom('kPa', shownIn('kPa', kpa)) - kpa)).toBeLessThan(1e-6);
        expect(Math.abs(storedFrom('°C', shownIn('°C', kpa)) - kpa)).toBeLessThan(1e-6);
      }),
    );
  });

  test('what cannot be read stays as it was typed, and kPa and degC change nothing', () => {
    choose('psi', 'degF');
    for (const text of ['', '4o0', '1,2,3']) expect([storedFromTyped('kPa', text), typedFromStored('kPa', text)]).toEqual([text, text]);
    choose('kPa', 'degC');
    for (const text of ['400', '400.0', '4,5']) expect([storedFromTyped('kPa', text), typedFromStored('kPa', text)]).toEqual([text, text]);
  });

  test('WIN-131, WIN-132: a field shows the shortest number that is stored as this one, and what is stored in another unit with six digits', () => {
    choose('psi', 'degF');
    expect(typedFromStored('kPa', '400')).toBe('58.0151');
    expect(typedFromStored('kPa', storedFromTyped('kPa', '58.01509512'))).toBe('58.01509512');
    expect(quantityText(400, 'kPa')).toBe('58.0151 psi');
    // A difference has no zero, and K is always one.
    expect([typedFromStored('°C', '0.1', true), typedFromStored('K', '0.1'), typedFromStored('°C', '25')]).toEqual(['0.18', '0.18', '77']);
    expect(allShown('kPa', 'at most 2 kPa')).toBe('at most 0.290075 psi');
    expect(allShown('°C', '15 to 30\u00a0°C')).toBe('59 to 86\u00a0°F');
    choose('kPa', 'degC');
    expect([allShown('kPa', 'at most 2 kPa'), quantityText(999.739807519, 'kPa')]).toEqual(['at most 2 kPa', '999.74 kPa']);
  });

  test('sentences of the engine are shown in the chosen unit, ranges and tolerances too, and nothing else of them changes', () => {
    choose('bar');
    expect(sentenceShown('Set the rail pressure to 300 kPa; it reads 412.3 kPa, band 380 to 420.5 kPa, at 14 V of 8 points.')).toBe('Set the rail pressure to 3 bar; it reads 4.123 bar, band 3.8 to 4.205 bar, at 14 V of 8 points.');
    expect(sentenceShown('point 3 at 400 ± 5 kPa')).toBe('point 3 at 4 ± 0.05 bar');
    choose('kPa');
    expect(sentenceShown('at 400 kPa')).toBe('at 400 kPa');
  });

  test('WIN-190: temperatures of a sentence too, with their ranges and tolerances; a coil that is stated at 20 degC, and differences in K, stay', () => {
    const sentence = 'Rail 24.35 degC, meter -5 degC, band 15 to 30 degC, 20 ± 2.5 °C, +/- 0.5 K; coil 14.50 ohm at 20 degC at 400 kPa, 12.1 ohm at 25 degC. The mass is at 20 degC.';
    expect(sentenceShown(sentence)).toBe(sentence);
    choose('kPa', 'degF');
    expect(sentenceShown(sentence)).toBe('Rail 75.83 °F, meter 23 °F, band 59 to 86 °F, 68 ± 4.5 °F, +/- 0.5 K; coil 14.50 ohm at 20 degC at 400 kPa, 12.1 ohm at 77 °F. The mass is at 68 °F.');
    expect(sentenceShown('At 20 °C, for injectors without one.')).toBe('At 20 °C, for injectors without one.');
    expect(sentenceShown('-40 degC and 3 degCx, SN-4 degC, 15-30 degC')).toBe('−40 °F and 3 degCx, SN-4 degC, 15-30 degC');
  });
});
