/**
 * CRC-16/IBM-3740 as the Catalogue of parametrised CRC algorithms (RevEng) lists it: polynomial 0x1021, initial value
 * 0xFFFF, nothing reflected, nothing added at the end; check value 0x29B1 for "123456789".
 */

const table = new Uint16Array(256);
for (let byte = 0; byte < 256; byte += 1) {
  let remainder = byte << 8;
  for (let bit = 0; bit < 8; bit += 1) {
    remainder = (remainder & 0x8000) === 0 ? remainder << 1 : (remainder << 1) ^ 0x1021;
  }
  table[byte] = remainder;
}

/** CRC of the first `length` bytes; a string counts one byte per character (the line is ASCII). 0 to 65535. */
export function crc16(bytes: string | Uint8Array, length = bytes.length): number {
  let crc = 0xffff;
  if (typeof bytes === 'string') {
    for (let i = 0; i < length; i += 1) {
      crc = ((crc << 8) ^ (table[((crc >> 8) ^ bytes.charCodeAt(i)) & 0xff] ?? 0)) & 0xffff;
    }
  } else {
    for (let i = 0; i < length; i += 1) {
      crc = ((crc << 8) ^ (table[((crc >> 8) ^ (bytes[i] ?? 0)) & 0xff] ?? 0)) & 0xffff;
    }
  }
  return crc;
}
