import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { ascending, listText, readValues, withValues } from './value-list.ts';

const values = (text: string) => {
  const read = readValues(text);
  return read.ok ? read.values : read.text;
};

describe('values of an axis', () => {
  test.each([
    ['', []],
    ['  ', []],
    ['9, 10.5, 12-16 by 1', ['9', '10.5', '12', '13', '14', '15', '16']],
    ['9;10.50\n12\t14', ['9', '10.50', '12', '14']],
    ['0.1-0.5 by 0.1', ['0.1', '0.2', '0.3', '0.4', '0.5']],
    ['1.8 to 2.4 step 0.2', ['1.8', '2.0', '2.2', '2.4']],
    ['16-12 by 2', ['16', '14', '12']],
    ['9 – 11 by 1 14', ['9', '10', '11', '14']],
    ['2-2 by 1', ['2']],
    ['.5-1.5 by .5', ['0.5', '1.0', '1.5']],
    ['400,', ['400']],
    ['1e-3', ['1e-3']],
  ])('%j', (text, expected) => expect(values(text)).toEqual(expected));

  test.each([
    ['9, 12-16', 3, 'without a step. Write 12-16 by 1'],
    ['9, twelve', 3, '"twelve" is neither'],
    ['-5', 0, '"-5" is neither'],
    ['12-16 by 0', 0, 'no step'],
    ['12-16 by 3', 0, 'does not end at 16 but at 15'],
    ['16-12 by 3', 0, 'does not end at 12 but at 13'],
    ['1-2 by 0.0001', 0, 'more than 10000'],
    ['1-99999999999999999999999 by 1', 0, 'more than 10000'],
    ['10.5.2', 0, '"10.5.2" is neither'],
    ['9-12 by', 0, 'without a step'],
    ['0x10', 0, '"0x10" is neither'],
  ])('%j is refused with its place', (text, at, words) => {
    expect(readValues(text)).toEqual({ ok: false, at, text: expect.stringContaining(words) as string, readings: [] });
  });

  test('a list of numbers comes back as it was written', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: 0, max: 1e9, noNaN: true, noDefaultInfinity: true }).map((n) => String(Math.abs(n)))), (list) => {
        expect(values(listText(list))).toEqual(list);
      }),
    );
  });

  test('a range holds the same values as counting by hand in whole numbers', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 5000 }), fc.integer({ min: 1, max: 500 }), fc.integer({ min: 1, max: 60 }), fc.integer({ min: 0, max: 3 }), (from, step, count, decimals) => {
        const text = (n: number) => (n / 10 ** decimals).toFixed(decimals);
        const expected = Array.from({ length: count }, (_, i) => text(from + i * step));
        expect(values(`${text(from)}-${text(from + (count - 1) * step)} by ${text(step)}`)).toEqual(expected);
      }),
    );
  });

  test('any text is read or refused inside itself', () => {
    fc.assert(
      fc.property(fc.string({ unit: fc.constantFrom('1', '9', '.', '-', ' ', ',', 'b', 'y', 't', 'o', 'e', '\n') }), (text) => {
        const read = readValues(text);
        if (read.ok) for (const v of read.values) expect(Number(v)).toBeGreaterThanOrEqual(0);
        else expect(read.at).toBeLessThan(text.length);
      }),
    );
  });
});

describe('WIN-3: a comma in a list', () => {
  test.each([
    ['1,8; 2,2', ['1.8', '2.2']],
    ['1,8; 2,2; 3; 5; 8', ['1.8', '2.2', '3', '5', '8']],
    ['1,8\t2,2', ['1.8', '2.2']],
    ['1,8\n2,2\n', ['1.8', '2.2']],
    ['1,8\r\n2,2', ['1.8', '2.2']],
    ['0,1-0,5 by 0,2; 3', ['0.1', '0.3', '0.5', '3']],
    [';,5', ['0.5']],
    ['9, 10.5, 12', ['9', '10.5', '12']],
    ['9, 10;', ['9', '10']],
  ])('%j is decimal beside ;, tab or end of line, and separates before a blank', (text, expected) => expect(values(text)).toEqual(expected));

  test.each([
    ['1,8', [['1.8'], ['1', '8']], 'Does it mean 1.8, or 1 and 8?'],
    ['1,8\n', [['1.8'], ['1', '8']], 'Does it mean 1.8, or 1 and 8?'],
    ['1,8, 2,2', [['1.8', '2.2'], ['1', '8', '2', '2']], 'Does it mean 1.8 and 2.2, or 1; 8; 2; 2?'],
    ['9,10,11', [['9', '10', '11']], 'Does it mean 9; 10; 11?'],
    ['9,10.5', [['9', '10.5']], 'Does it mean 9 and 10.5?'],
    ['0,1-0,5 by 0,2', [['0.1', '0.3', '0.5']], 'Does it mean 0.1; 0.3; 0.5?'],
    [',5', [['0.5'], ['5']], 'Does it mean 0.5, or 5?'],
    ['x,5', [], 'neither'],
  ])('%j is asked about', (text, readings, words) => {
    const read = readValues(text);
    expect(read).toMatchObject({ ok: false, text: expect.stringContaining(words) as string });
    expect(read.ok ? [] : read.readings.map((reading) => reading.values)).toEqual(readings);
  });

  test('with ; between them values read the same with a point and with a comma', () => {
    const decimal = fc.tuple(fc.nat(999), fc.nat(999)).map(([whole, part]) => `${whole}.${String(part).padStart(3, '0')}`);
    fc.assert(fc.property(fc.array(decimal, { minLength: 2 }), fc.constantFrom(';', '; ', '\t', '\n'), (list, between) => {
      expect(values(list.join(between).replaceAll('.', ','))).toEqual(list);
    }));
  });

  test('a comma before a digit is never taken for granted where nothing else separates', () => {
    fc.assert(fc.property(fc.string({ unit: fc.constantFrom('1', '9', '.', ',', ' ', '-') }), (text) => {
      if (/,\d/u.test(text)) expect(readValues(text).ok).toBe(false);
    }));
  });
});

describe('adding and sorting', () => {
  test('a value that is there already is told and not added', () => {
    expect(withValues(['9', '10.5'], ['10.50', '12', '12.0'])).toEqual({ list: ['9', '10.5', '12'], added: 1, alreadyThere: ['10.50', '12.0'] });
  });
  test('ascending by number, not by text', () => {
    expect(ascending(['10', '9', 'x', '100.0', '9.5'])).toEqual(['9', '9.5', '10', '100.0', 'x']);
  });
});
