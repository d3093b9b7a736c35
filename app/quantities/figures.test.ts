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
