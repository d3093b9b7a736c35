/** Photos between a file of a person, the host and the page. WIN-82 */
import { mostPhotoBytes } from '../../../app/visit/photo.ts';
import { giveFile } from '../../host/give-file.ts';
import { ask } from '../../host/host.ts';

/** A photo that was chosen and is not kept yet. */
export interface ChosenPhoto {
  readonly name: string;
  readonly base64: string;
  readonly media: string;
  readonly shows: string;
  /** It was larger than what is kept, and was drawn again with fewer pixels. */
  readonly smaller: boolean;
}

export const photoSource = (media: string, base64: string): string => `data:${media};base64,${base64}`;

/** From wide to narrow: the first that fits is taken. */
const widths = [2000, 1600, 1200, 900];

/** A sentence: why it cannot be taken. What it is beyond its name the host looks at. */
export async function choosePhoto(file: File): Promise<ChosenPhoto | string> {
  const media = /\.png$/iu.test(file.name) ? 'image/png' : /\.jpe?g$/iu.test(file.name) ? 'image/jpeg' : null;
  if (media === null) return `${file.name} was not taken: photos are JPEG or PNG files.`;
  if (file.size <= mostPhotoBytes) return { name: file.name, base64: await base64Of(file), media, shows: '', smaller: false };
  const drawn = await drawnSmaller(file);
  if (drawn === null) return `${file.name} was not taken: it is no photo that can be read here, or it stays larger than ${mostPhotoBytes / 2 ** 20} MiB.`;
  return { name: file.name.replace(/\.\w+$/u, '.jpg'), base64: await base64Of(drawn), media: 'image/jpeg', shows: '', smaller: true };
}

async function drawnSmaller(file: File): Promise<Blob | null> {
  const bitmap = await createImageBitmap(file).catch(() => null);
  if (bitmap === null) return null;
  try {
    for (const most of widths) {
      const scale = Math.min(1, most / Math.max(bitmap.width, bitmap.height));
      const canvas = document.createElement('canvas');
      canvas.width = Math.max(1, Math.round(bitmap.width * scale));
      canvas.height = Math.max(1, Math.round(bitmap.height * scale));
      canvas.getContext('2d')?.drawImage(bitmap, 0, 0, canvas.width, canvas.height);
      const blob = await new Promise<Blob | null>((resolve) => canvas.toBlob(resolve, 'image/jpeg', 0.85));
      if (blob !== null && blob.size <= mostPhotoBytes) return blob;
    }
    return null;
  } finally {
    bitmap.close();
  }
}

async function base64Of(blob: Blob): Promise<string> {
  const bytes = new Uint8Array(await blob.arrayBuffer());
  const pieces: string[] = [];
  // A call takes only so many arguments.
  for (let at = 0; at < bytes.length; at += 0x3000) pieces.push(String.fromCharCode(...bytes.subarray(at, at + 0x3000)));
  return btoa(pieces.join(''));
}

/** Hands photos to the host; a sentence: why it could not. */
export async function givePhotos(photos: readonly ChosenPhoto[]): Promise<{ readonly ok: true; readonly given: { readonly upload: string; readonly name: string; readonly shows: string }[] } | { readonly ok: false; readonly text: string }> {
  const given: { upload: string; name: string; shows: string }[] = [];
  for (const { name, base64, shows } of photos) {
    const upload = crypto.randomUUID();
    const problem = await giveFile(upload, base64);
    if (problem !== null) return { ok: false, text: problem };
    given.push({ upload, name, shows: shows.trim() });
  }
  return { ok: true, given };
}

const known = new Map<string, Promise<string>>();

/** The bytes of a kept photo in base64, read once in a window. Rejects with a sentence. */
export function keptPhoto(sha256: string): Promise<string> {
  const before = known.get(sha256);
  if (before !== undefined) return before;
  const reading = readKept(sha256);
  known.set(sha256, reading);
  // What could not be read is asked for again.
  reading.catch(() => known.delete(sha256));
  return reading;
}

async function readKept(sha256: string): Promise<string> {
  const pieces: string[] = [];
  for (let from: number | null = 0; from !== null; ) {
    const reply: Awaited<ReturnType<typeof ask<'visits.photo'>>> = await ask('visits.photo', { sha256, from });
    if (!reply.ok) throw new Error(reply.failure.text);
    pieces.push(reply.value.base64);
    from = reply.value.next;
  }
  return pieces.join('');
}
