/** Whether bytes are a whole photo, whatever their name says: its marks are walked from the first to the last, so that a file that was cut off or is something else is found. WIN-82 */

export const photoMedia = ['image/jpeg', 'image/png'] as const;
type PhotoMedia = (typeof photoMedia)[number];

/** Of a record. */
export const mostPhotos = 4;
/** Of one photo. A commit of them is waited for by the thread that drives the bench. */
export const mostPhotoBytes = 2 ** 20;
/** What a page draws takes four bytes for each pixel, however small the file is. */
const mostPixels = 40e6;

interface Photo {
  readonly media: PhotoMedia;
  readonly width: number;
  readonly height: number;
}

type Read = { readonly ok: true; readonly photo: Photo } | { readonly ok: false; readonly text: string };

const refused = (text: string): Read => ({ ok: false, text });

const ofEnding: Readonly<Record<string, PhotoMedia>> = { jpg: 'image/jpeg', jpeg: 'image/jpeg', png: 'image/png' };

/** `name`: of the file, whose ending says what it claims to be. What follows a whole picture is let be. */
export function readPhoto(bytes: Uint8Array, name: string): Read {
  const claimed = ofEnding[/\.(\w+)$/u.exec(name)?.[1]?.toLowerCase() ?? ''];
  if (claimed === undefined) return refused('Photos are JPEG or PNG files; this file has another ending.');
  if (bytes.length > mostPhotoBytes) return refused(`A photo may have ${mostPhotoBytes / 2 ** 20} MiB at most; this one has ${(bytes.length / 2 ** 20).toFixed(1)}.`);
  const found = isPng(bytes) ? readPng(bytes) : bytes[0] === 0xff && bytes[1] === 0xd8 ? readJpeg(bytes) : null;
  if (found === null) return refused('This file is neither JPEG nor PNG, whatever its name says.');
  if (typeof found === 'string') return refused(found);
  if (found.media !== claimed) return refused(`Its name says ${claimed === 'image/png' ? 'PNG' : 'JPEG'}, and it is ${found.media === 'image/png' ? 'PNG' : 'JPEG'}.`);
  if (found.width < 1 || found.height < 1 || found.width * found.height > mostPixels) return refused(`It says that it has ${found.width} x ${found.height} pixels; from 1 to ${mostPixels / 1e6} million are taken.`);
  return { ok: true, photo: found };
}

const signature = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];
const isPng = (bytes: Uint8Array): boolean => signature.every((byte, i) => bytes[i] === byte);

const damaged = 'The photo is damaged: ';

/** Every chunk with its checksum, from the head to the end (ISO/IEC 15948). A sentence: what is wrong. */
function readPng(bytes: Uint8Array): Photo | string {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let size: Photo | null = null;
  let pixels = 0;
  for (let at = signature.length; at + 12 <= bytes.length; ) {
    const length = view.getUint32(at);
    const end = at + 8 + length;
    if (end + 4 > bytes.length) break;
    const kind = String.fromCharCode(...bytes.subarray(at + 4, at + 8));
    if (crc32(bytes.subarray(at + 4, end)) !== view.getUint32(end)) return `${damaged}the checksum of its part ${kind.replaceAll(/[^A-Za-z]/gu, '?')} does not fit.`;
    if (size === null) {
      if (kind !== 'IHDR' || length !== 13) return `${damaged}it does not begin with its size.`;
      size = { media: 'image/png', width: view.getUint32(at + 8), height: view.getUint32(at + 12) };
    }
    if (kind === 'IDAT') pixels += length;
    if (kind === 'IEND') return pixels > 0 ? size : `${damaged}there are no pixels in it.`;
    at = end + 4;
  }
  return `${damaged}it ends too early.`;
}

const isFrame = (marker: number): boolean => marker >= 0xc0 && marker <= 0xcf && marker !== 0xc4 && marker !== 0xc8 && marker !== 0xcc;

/** Every segment and scan, from the head to the end (ISO/IEC 10918-1, annex B). A sentence: what is wrong. */
function readJpeg(bytes: Uint8Array): Photo | string {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let size: Photo | null = null;
  let scans = 0;
  for (let at = 2; at + 1 < bytes.length; ) {
    if (bytes[at] !== 0xff) return `${damaged}a mark is missing in it.`;
    const marker = bytes[at + 1] ?? 0;
    if (marker === 0xff) {
      at += 1;
      continue;
    }
    if (marker === 0xd9) return size !== null && scans > 0 ? size : `${damaged}there are no pixels in it.`;
    if (at + 4 > bytes.length) break;
    const length = view.getUint16(at + 2);
    const end = at + 2 + length;
    if (length < 2 || end > bytes.length) break;
    if (isFrame(marker) && length >= 8) size = { media: 'image/jpeg', width: view.getUint16(at + 7), height: view.getUint16(at + 5) };
    at = end;
    if (marker !== 0xda) continue;
    scans += 1;
    while (at + 1 < bytes.length && (bytes[at] !== 0xff || bytes[at + 1] === 0 || isRestart(bytes[at + 1] ?? 0))) at += 1;
  }
  return `${damaged}it ends too early.`;
}

const isRestart = (marker: number): boolean => marker >= 0xd0 && marker <= 0xd7;

let table: Uint32Array | null = null;

/** CRC-32 of ISO/IEC 15948, annex D. */
function crc32(bytes: Uint8Array): number {
  table ??= Uint32Array.from({ length: 256 }, (_, n) => {
    let c = n;
    for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
    return c >>> 0;
  });
  let crc = 0xffffffff;
  for (const byte of bytes) crc = (table[(crc ^ byte) & 0xff] ?? 0) ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}
