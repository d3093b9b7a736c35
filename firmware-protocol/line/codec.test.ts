import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { checkLine, integerField, LineReader, nameField, sealLine, textField } from './codec.ts';
import { crc16 } from './crc16.ts';

/** Reads one field out of a body `x <field>`. */
function reader(field: string): LineReader {
  const reading = new LineReader(sealLine(`x${field}`).slice(0, -1));
  reading.mark();
  return reading;
}

describe('form of a line', () => {
  it('LINE-5 LINE-6 the tail is a space, #, and the checksum of all before the # in capitals', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme-ascii', maxLength: 100 }), (body) => {
        const line = sealLine(body);
        expect(line.endsWith('\n')).toBe(true);
        const hash = line.lastIndexOf('#');
        expect(line.slice(0, hash)).toBe(`${body} `);
        expect(line.slice(hash + 1, -1)).toBe(crc16(line.slice(0, hash)).toString(16).toUpperCase().padStart(4, '0'));
        expect(checkLine(line.slice(0, -1), 120)).toBeNull();
      }),
    );
  });

  it('LINE-3 the bound includes the LF', () => {
    const line = sealLine('y'.repeat(113)).slice(0, -1);
    expect(line.length).toBe(119);
    expect(checkLine(line, 120)).toBeNull();
    expect(checkLine(line, 119)).toBe('too-long');
  });

  it('LINE-9 says why a line is bad', () => {
    const good = sealLine('? 1 alive').slice(0, -1);
    expect(checkLine(good.replace('1', '2'), 120)).toBe('wrong-checksum');
    expect(checkLine('', 120)).toBe('no-checksum');
    expect(checkLine('? 1 alive', 120)).toBe('no-checksum');
    expect(checkLine(good.replace(' #', '_#'), 120)).toBe('no-checksum');
    expect(checkLine(`${good.slice(0, -1)}g`, 120)).toBe('no-checksum');
    expect(checkLine('? 1 al\u0007ive #0000', 120)).toBe('not-printable');
    expect(checkLine('\u00ff', 120)).toBe('not-printable');
  });

  it('LINE-6 small letters are not a checksum', () => {
    const line = sealLine('? 106 arm').slice(0, -1);
    expect(line).toBe('? 106 arm #8FAE');
    expect(checkLine(line.toLowerCase(), 120)).toBe('no-checksum');
  });
});

describe('fields', () => {
  it('LINE-7 an integer is written in one way only', () => {
    const low = -1000;
    const high = 2 ** 48 - 1;
    for (const good of ['0', '7', '-1', '-1000', '281474976710655']) {
      const line = reader(` k=${good}`);
      expect(line.integer(' k=', low, high)).toBe(Number(good));
      expect(line.complete()).toBe(true);
    }
    for (const bad of ['', '-', '-0', '00', '01', '-01', '+1', '1.0', '1e3', '0x1', ' 1', '1 ', '281474976710656', '-1001', '9'.repeat(40)]) {
      const line = reader(` k=${bad}`);
      line.integer(' k=', low, high);
      expect(line.complete(), bad).toBe(false);
    }
  });

  it('LINE-7 whatever is accepted as an integer prints back the same', () => {
    fc.assert(
      fc.property(fc.string({ unit: fc.constantFrom(...'0123456789-+. e'.split('')), maxLength: 17 }), (text) => {
        const line = reader(` k=${text}`);
        const value = line.integer(' k=', -(2 ** 31), 2 ** 48);
        if (line.complete()) expect(String(value)).toBe(text);
      }),
    );
  });

  it('LINE-8 names and texts', () => {
    const name = reader(' k=Ab-1._');
    expect(name.name(' k=', 7)).toBe('Ab-1._');
    expect(name.complete()).toBe(true);
    for (const bad of ['', 'a b', 'a,b', 'ä', 'toolongg']) {
      const line = reader(` k=${bad}`);
      line.name(' k=', 7);
      expect(line.complete(), bad).toBe(false);
    }
    const text = reader(' text=A #B = 1, "c"');
    expect(text.rest(' text=', 20)).toBe('A #B = 1, "c"');
    expect(text.complete()).toBe(true);
    for (const bad of ['', ' a', 'a ', 'a\tb', 'a'.repeat(21)]) {
      const line = reader(` text=${bad}`);
      line.rest(' text=', 20);
      expect(line.complete(), bad).toBe(false);
    }
  });

  it('LINE-10 the first field that does not fit spoils all that follow', () => {
    const line = reader(' a=1 b=2');
    expect(line.integer(' b=', 0, 9)).toBe(0);
    expect(line.integer(' a=', 0, 9)).toBe(0);
    expect(line.complete()).toBe(false);
  });

  it('does not write what the other end would refuse', () => {
    for (const bad of [Number.NaN, 0.5, -1, 65_536, Number.POSITIVE_INFINITY]) {
      expect(() => integerField(bad, 0, 65_535)).toThrow(RangeError);
    }
    for (const bad of ['', 'a b', 'ü', 'a\n', 'x'.repeat(9)]) expect(() => nameField(bad, 8)).toThrow(RangeError);
    for (const bad of ['', ' a', 'a ', 'a\n', 'x'.repeat(9)]) expect(() => textField(bad, 8)).toThrow(RangeError);
  });
});
