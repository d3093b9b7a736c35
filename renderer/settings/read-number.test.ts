import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { numberIn, readNumber } from './read-number.ts';

describe('WIN-1: one reader of numbers', () => {
  test.each([
    ['1.5', 1.5], ['1,5', 1.5], [' 1,5 ', 1.5], ['\u00a01.5\u00a0', 1.5], ['-0,25', -0.25], ['\u22120.25', -0.25], ['+4', 4], ['.5', 0.5], [',5', 0.5], ['5,', 5], ['1e-3', 0.001],
    ['1,234', 1.234], ['1.234', 1.234], ['0012', 12],
  ])('%j is %d', (text, value) => expect(readNumber(text)).toMatchObject({ kind: 'number', value }));

  test.each(['', ' ', '\t'])('%j is empty', (text) => expect(readNumber(text)).toEqual({ kind: 'empty' }));

  test.each([
    ['1,234.5', /one point or comma/], ['1.234,5', /one point or comma/], ['1 000', /between thousands/], ["1'000", /between thousands/], ['1\u00a0000', /between thousands/], ['1,2,3', /one point or comma/],
    ['1..5', /one point or comma/], ['abc', /"abc" is not a number/], ['12 V', /not a number/], ['0x10', /not a number/], ['Infinity', /not a number/], ['NaN', /not a number/], ['1e999', /not a number/], ['.', /not a number/], ['-', /not a number/],
  ])('%j is named, not guessed at', (text, words) => {
    const read = readNumber(text);
    expect(read).toMatchObject({ kind: 'unreadable', why: expect.stringMatching(words) as string });
    expect(read).toMatchObject({ why: expect.stringContaining(text) as string });
    expect(numberIn(text)).toBeNaN();
  });

  test('every number reads the same with a point and with a comma, whatever is around it', () => {
    fc.assert(
      fc.property(fc.double({ noNaN: true, noDefaultInfinity: true }).map((n) => (n === 0 ? 0 : n)), fc.constantFrom('', ' ', '\u00a0', '\t'), (value, blank) => {
        const text = String(value);
        for (const typed of [text, text.replace('.', ',')]) expect(numberIn(`${blank}${typed}${blank}`)).toBe(value);
      }),
    );
  });

  test('no text that reads as a number is read as ten times another: digits keep their places about the mark', () => {
    fc.assert(
      fc.property(fc.string({ unit: fc.constantFrom('0', '1', '5', '9', '.', ',', ' ', "'", '-', '\u00a0') }), (typed) => {
        const read = readNumber(typed);
        if (read.kind !== 'number') return;
        // What a person sees: the digits before and after the only mark.
        const [whole = '', part = ''] = typed.trim().replace(/^[-+]/u, '').split(/[.,]/u);
        expect(Math.abs(read.value)).toBeCloseTo(Number(whole === '' ? 0 : whole) + (part === '' ? 0 : Number(part) / 10 ** part.length), 9);
      }),
    );
  });
});
