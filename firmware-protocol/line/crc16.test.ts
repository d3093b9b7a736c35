import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { crc16 } from './crc16.ts';

/** The specification's own text (LINE-6), bit by bit: an independent second way. */
function bitByBit(bytes: Uint8Array): number {
  let crc = 0xffff;
  for (const b of bytes) {
    crc ^= b << 8;
    for (let i = 0; i < 8; i += 1) crc = (crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1) & 0xffff;
  }
  return crc;
}

describe('LINE-6 checksum', () => {
  it('gives the check value of CRC-16/IBM-3740 in the RevEng Catalogue of parametrised CRC algorithms', () => {
    expect(crc16('123456789')).toBe(0x29b1);
  });

  it('agrees with another implementation (Python 3, binascii.crc_hqx(data, 0xFFFF))', () => {
    expect(crc16('')).toBe(0xffff);
    expect(crc16('A')).toBe(0xb915);
    expect(crc16('? 106 arm ')).toBe(0x8fae);
    expect(crc16(Uint8Array.from({ length: 256 }, (_, i) => i))).toBe(0x3fbd);
  });

  it('is the algorithm of the specification, for text and bytes alike, and over a beginning', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 400 }), fc.nat(400), (bytes, cut) => {
        const length = Math.min(cut, bytes.length);
        const expected = bitByBit(bytes.subarray(0, length));
        expect(crc16(bytes, length)).toBe(expected);
        expect(crc16(Buffer.from(bytes).toString('latin1'), length)).toBe(expected);
      }),
    );
  });

  it('sees every damage of one bit, and every run of up to 16 bits, in a line of the longest kind', () => {
    const line = Uint8Array.from({ length: 359 }, (_, i) => 32 + ((i * 37) % 95));
    const good = crc16(line);
    for (let bit = 0; bit < line.length * 8; bit += 1) {
      for (const pattern of [0b1, 0b11, 0b1000_0000_0000_0001, 0xffff]) {
        const damaged = line.slice();
        for (let k = 0; k < 16; k += 1) {
          const at = bit + k;
          const byte = at >> 3;
          if (((pattern >> k) & 1) === 1 && byte < damaged.length) damaged[byte] = (damaged[byte] ?? 0) ^ (0x80 >> (at & 7));
        }
        if (crc16(damaged) === good) throw new Error(`bit ${bit}, pattern ${pattern.toString(2)} went unseen`);
      }
    }
  });
});
