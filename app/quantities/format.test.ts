import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { formatQuantity } from './format.ts';
import { celsius, kelvins, kilograms, kilopascals, milligrams, milliseconds, ohms, seconds, volts } from './quantity.ts';

const plain = (text: string) => text.replaceAll('\u00a0', ' ');

describe('digits follow the uncertainty', () => {
  test('the examples of JCGM 100:2008, 7.2.2, 7.2.4 and 7.2.6', () => {
    const mass = kilograms(0.10002147);
    expect(plain(formatQuantity(mass, 'g', { u: milligrams(0.35) }))).toBe('100.02147 g');
    expect(plain(formatQuantity(mass, 'g', { expanded: milligrams(0.79) }))).toBe('(100.02147 ± 0.00079) g');
    expect(plain(formatQuantity(ohms(10.05762), 'Ω', { u: ohms(0.027) }))).toBe('10.058 Ω');
  });

  test.each([
    [0.6861234, 0.0012, '0.6861 ms'],
    [0.6861234, 0.000996, '0.6861 ms'],
    [0.6861234, 0.00994, '0.6861 ms'],
    [0.6861234, 0.00996, '0.686 ms'],
    [0.6861234, 3, '0.7 ms'],
    [1234.4, 120, '1230 ms'],
    [-0.00001, 0.01, '0.000 ms'],
    [-1.23456, 0.01, '-1.235 ms'],
  ])('%d with u %d is %s', (value, u, text) => {
    expect(plain(formatQuantity(milliseconds(value), 'ms', { u: milliseconds(u) }))).toBe(text);
  });

  test('what is shown differs from the value by less than half a unit of the second digit of u', () => {
    fc.assert(
      fc.property(fc.double({ min: -1e6, max: 1e6, noNaN: true }), fc.double({ min: 1e-9, max: 1e5, noNaN: true }), (value, u) => {
        const text = plain(formatQuantity(volts(value), 'V', { u: volts(u) }));
        expect(text).toMatch(/^-?\d+(\.\d+)? V$/u);
        // The second digit of u is worth at most u / 10 * 1.05 (rounding up at 9.95).
        expect(Math.abs(Number.parseFloat(text) - value)).toBeLessThanOrEqual(u * 0.0526 + 1e-9);
      }),
    );
  });
});

describe('units', () => {
  test('are converted from SI and stand after a no-break space', () => {
    expect(formatQuantity(kilopascals(400), 'kPa', { decimals: 1 })).toBe('400.0\u00a0kPa');
    expect(formatQuantity(celsius(21.34), '°C', { decimals: 1 })).toBe('21.3\u00a0°C');
    expect(formatQuantity(seconds(0.0123), 'µs', { decimals: 0 })).toBe('12300\u00a0µs');
    expect(formatQuantity(0.00123, '%', { decimals: 2 })).toBe('0.12\u00a0%');
  });

  test('an uncertainty in degrees is a difference', () => {
    expect(plain(formatQuantity(celsius(21.3456), '°C', { u: kelvins(0.1) }))).toBe('21.35 °C');
    expect(plain(formatQuantity(celsius(21.3456), '°C', { expanded: kelvins(0.2) }))).toBe('(21.35 ± 0.20) °C');
  });

  test('without an uncertainty four significant digits are shown', () => {
    expect(plain(formatQuantity(milligrams(12.3456), 'mg'))).toBe('12.35 mg');
    expect(plain(formatQuantity(milligrams(0), 'mg'))).toBe('0.000 mg');
  });

  test('the locale decides the decimal sign and nothing else', () => {
    expect(plain(formatQuantity(volts(12345.678), 'V', { u: volts(0.1), locale: 'de' }))).toBe('12345,68 V');
    expect(plain(formatQuantity(volts(12345.678), 'V', { u: volts(0.1) }))).toBe('12345.68 V');
  });
});

describe('what is missing', () => {
  test('is a dash with the reason, never a number', () => {
    expect(plain(formatQuantity<'ms'>(null, 'ms', { missing: 'too few widths' }))).toBe('– (too few widths)');
    for (const value of [NaN, Infinity, -Infinity]) expect(plain(formatQuantity(seconds(value), 'ms'))).toBe('– (not known)');
  });

  test('an uncertainty that is not one decides nothing', () => {
    for (const u of [0, -1, NaN, Infinity]) {
      expect(plain(formatQuantity(volts(12.3456), 'V', { u: volts(u), decimals: 1 }))).toBe('12.3 V');
    }
    expect(plain(formatQuantity(volts(12.3456), 'V', { u: null, expanded: null, decimals: 1 }))).toBe('12.3 V');
  });
});
