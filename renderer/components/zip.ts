/** Files in one archive of the ZIP format, deflated, with names in UTF-8. */
import { Zip, ZipDeflate } from 'fflate';

interface ZipEntry {
  readonly name: string;
  readonly pieces: readonly string[];
}

/** Beyond that the format needs an extension that many readers do not have. */
const MOST_BYTES = 0xfffffff0;

/** The format has no zone and the library takes the machine's: this one shows UTC there. */
const shownInUtc = (at: Date): Date => new Date(at.getUTCFullYear(), at.getUTCMonth(), at.getUTCDate(), at.getUTCHours(), at.getUTCMinutes(), at.getUTCSeconds());

/** Pieces of the archive, in order; the window has its turn between those of a file. Rejects where it would be larger than the format can hold. */
export async function zipped(entries: readonly ZipEntry[], at: Date): Promise<readonly Uint8Array<ArrayBuffer>[]> {
  const out: Uint8Array<ArrayBuffer>[] = [];
  let length = 0;
  const zip = new Zip((error, bytes) => {
    if (error !== null) throw error;
    out.push(bytes);
    length += bytes.length;
  });
  const utf8 = new TextEncoder();
  for (const { name, pieces } of entries) {
    const file = new ZipDeflate(name);
    file.mtime = shownInUtc(at);
    zip.add(file);
    for (const piece of pieces) {
      file.push(utf8.encode(piece));
      await new Promise((resolve) => setTimeout(resolve));
    }
    file.push(new Uint8Array(0), true);
    if (length > MOST_BYTES) throw new Error('It would be larger than 4 GiB, which a ZIP file cannot hold. Save the files one by one.');
  }
  zip.end();
  return out;
}
