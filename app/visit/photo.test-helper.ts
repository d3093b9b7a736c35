/** Small photos, made here. */

/** A grey rectangle of 16 x 12 pixels. */
export const jpegBase64 =
  '/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDACgcHiMeGSgjISMtKygwPGRBPDc3PHtYXUlkkYCZlo+AjIqgtObDoKrarYqMyP/L2u71////m8H////6/+b9//j/2wBDASstLTw1PHZBQXb4pYyl+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj/wAARCAAMABADASIAAhEBAxEB/8QAFgABAQEAAAAAAAAAAAAAAAAAAAME/8QAHRAAAgEEAwAAAAAAAAAAAAAAAQIAAwQREjEycf/EABQBAQAAAAAAAAAAAAAAAAAAAAD/xAAUEQEAAAAAAAAAAAAAAAAAAAAA/9oADAMBAAIRAxEAPwDRb0Vq7bEjGOIuKK0tdSTnPMkrMvViPDDMzdmJ9MD/2Q==';

const big = (value: number): number[] => [value >>> 24, (value >>> 16) & 255, (value >>> 8) & 255, value & 255];

/** Bit by bit, as ISO/IEC 15948 defines it. */
function crcOf(bytes: readonly number[]): number {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let k = 0; k < 8; k += 1) crc = crc & 1 ? 0xedb88320 ^ (crc >>> 1) : crc >>> 1;
  }
  return ~crc >>> 0;
}

export function pngChunk(kind: string, data: readonly number[]): number[] {
  const named = [...Array.from(kind, (letter) => letter.charCodeAt(0)), ...data];
  return [...big(data.length), ...named, ...big(crcOf(named))];
}

export const pngSignature = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];
export const pngSize = (width: number, height: number): number[] => pngChunk('IHDR', [...big(width), ...big(height), 8, 0, 0, 0, 0]);

/** One grey, stored without compression (RFC 1950, RFC 1951). At most 60 kB of pixels. */
export function madePng(width: number, height: number, grey = 128): Uint8Array {
  const rows = Array.from({ length: height }, () => [0, ...Array.from({ length: width }, () => grey)]).flat();
  let [a, b] = [1, 0];
  for (const byte of rows) {
    a = (a + byte) % 65521;
    b = (b + a) % 65521;
  }
  const { length } = rows;
  const data = [0x78, 1, 1, length & 255, length >> 8, ~length & 255, (~length >> 8) & 255, ...rows, b >> 8, b & 255, a >> 8, a & 255];
  return new Uint8Array([...pngSignature, ...pngSize(width, height), ...pngChunk('IDAT', data), ...pngChunk('IEND', [])]);
}
