import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { brief, degrees, figure, percentFigure, plain, plusMinus, withSign } from './figures.ts';

describe('figures', () => {
  it('end at the digit at which the uncertainty ends (JCGM 100:2008, 7.2.6)', () => {
    expect(plusMinus(1.345267, 0.00368)).toBe('1.3453 ± 0.0037');
    expect(plusMinus(47.8, 0.099)).toBe('47.800 ± 0.099');
    // An uncertainty that rounds up into the next place keeps two digits.
    expect(plusMinus(0.6, 0.00996)).toBe('0.600 ± 0.010');
    expect(plusMinus(1234.5, 37)).toBe('1235 ± 37');
  });
  it('are those of the examples of JCGM 100:2008, 7.2.2, 7.2.4 and 7.2.6', () => {
    expect(figure(100.02147, 0.35e-3)).toBe('100.02147');
    expect(plusMinus(100.02147, 0.79e-3)).toBe('100.02147 ± 0.00079');
    expect(figure(10.05762, 0.027)).toBe('10.058');
  });
  it.each([
    [0.6861234, 0.0012, '0.6861'],
    [0.6861234, 0.000996, '0.6861'],
    [0.6861234, 0.00994, '0.6861'],
    [0.6861234, 0.00996, '0.686'],
    [0.6861234, 3, '0.7'],
    // Digits that the uncertainty does not reach are not shown as if they were known.
    [1234.4, 120, '1230'],
    [-0.00001, 0.01, '0.000'],
    [-1.23456, 0.01, '−1.235'],
  ])('show %d with u %d as %s', (value, u, text) => {
    expect(figure(value, u)).toBe(text);
  });
  it('differ from the value by less than half a unit of the second digit of the uncertainty', () => {
    fc.assert(
      fc.property(fc.double({ min: -1e6, max: 1e6, noNaN: true }), fc.double({ min: 1e-9, max: 1e5, noNaN: true }), (value, u) => {
        const text = figure(value, u);
        expect(text).toMatch(/^−?\d+(\.\d+)?$/u);
        // The second digit of u is worth at most u / 10 * 1.05 (rounding up at 9.95).
        expect(Math.abs(Number.parseFloat(text.replace('−', '-')) - value)).toBeLessThanOrEqual(u * 0.0526 + 1e-9);
      }),
    );
  });
  it('never show what is not a number as one', () => {
    for (const missing of [null, Number.NaN, Number.POSITIVE_INFINITY]) expect(plusMinus(missing, 1)).toBe('–');
    expect(figure(2.5, Number.NaN)).toBe('2.500');
    expect(brief(Number.NaN)).toBe('–');
  });
  it('carry their sign where they are differences, and none where they are zero', () => {
    expect(plusMinus(0.0123, 0.0045, true)).toBe('+0.0123 ± 0.0045');
    expect(plusMinus(-0.0123, 0.0045, true)).toBe('−0.0123 ± 0.0045');
    expect(plusMinus(-0.00001, 0.0045, true)).toBe('0.0000 ± 0.0045');
    expect(withSign('–')).toBe('–');
  });
  it('tell plan numbers without the bits of a conversion, percents and degrees of freedom', () => {
    expect(plain(0.0028 * 1e3)).toBe('2.8');
    expect(percentFigure(0.00123)).toBe('0.12');
    expect([degrees(28.4), degrees(3.26), degrees(Number.POSITIVE_INFINITY)]).toEqual(['28', '3.3', 'very many']);
    expect(brief(0)).toBe('0');
  });
});
