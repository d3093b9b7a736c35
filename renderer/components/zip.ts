/**
 * Files in one archive of the ZIP format (APPNOTE.TXT 6.3, without encryption and without ZIP64), deflated by the browser, with names in UTF-8.
 */

interface ZipEntry {
  readonly name: string;
  readonly pieces: readonly string[];
}

const table = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c >>> 0;
});

/** CRC-32 of ISO 3309, as the format asks for it. */
export function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = (table[(crc ^ byte) & 0xff] ?? 0) ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

/** Date and time of MS-DOS, in UTC: the format has no zone. */
function dosTime(at: Date): readonly [time: number, date: number] {
  return [
    (at.getUTCHours() << 11) | (at.getUTCMinutes() << 5) | (at.getUTCSeconds() >> 1),
    ((Math.max(1980, at.getUTCFullYear()) - 1980) << 9) | ((at.getUTCMonth() + 1) << 5) | at.getUTCDate(),
  ];
}

async function deflated(bytes: Uint8Array<ArrayBuffer>): Promise<Uint8Array<ArrayBuffer>> {
  return new Uint8Array(await new Response(new Blob([bytes]).stream().pipeThrough(new CompressionStream('deflate-raw'))).arrayBuffer());
}

function record(signature: number, fields: readonly (readonly [bytes: 2 | 4, value: number])[], ...tail: readonly Uint8Array[]): Uint8Array<ArrayBuffer> {
  const head = fields.reduce((sum, [bytes]) => sum + bytes, 4);
  const out = new Uint8Array(head + tail.reduce((sum, one) => sum + one.length, 0));
  const view = new DataView(out.buffer);
  view.setUint32(0, signature, true);
  let at = 4;
  for (const [bytes, value] of fields) {
    if (bytes === 2) view.setUint16(at, value, true);
    else view.setUint32(at, value, true);
    at += bytes;
  }
  for (const one of tail) {
    out.set(one, at);
    at += one.length;
  }
  return out;
}

/** Pieces of the archive, in order. Rejects where it would be larger than the format can hold. */
export async function zipped(entries: readonly ZipEntry[], at: Date): Promise<readonly Uint8Array<ArrayBuffer>[]> {
  const [time, date] = dosTime(at);
  const out: Uint8Array<ArrayBuffer>[] = [];
  const directory: Uint8Array<ArrayBuffer>[] = [];
  let offset = 0;
  for (const { name, pieces } of entries) {
    const path = new TextEncoder().encode(name);
    const plain = new Uint8Array(await new Blob([...pieces]).arrayBuffer());
    const data = await deflated(plain);
    // Version 2.0; names are UTF-8 (bit 11); deflated.
    const common = [[2, 20], [2, 0x0800], [2, 8], [2, time], [2, date], [4, crc32(plain)], [4, data.length], [4, plain.length], [2, path.length], [2, 0]] as const;
    const local = record(0x04034b50, common, path);
    directory.push(record(0x02014b50, [[2, 20], ...common, [2, 0], [2, 0], [2, 0], [4, 0], [4, offset]], path));
    out.push(local, data);
    offset += local.length + data.length;
    if (offset > 0xfffffff0) throw new Error('It would be larger than 4 GiB, which a ZIP file cannot hold. Save the files one by one.');
  }
  const length = directory.reduce((sum, one) => sum + one.length, 0);
  return [...out, ...directory, record(0x06054b50, [[2, 0], [2, 0], [2, entries.length], [2, entries.length], [4, length], [4, offset], [2, 0]])];
}
