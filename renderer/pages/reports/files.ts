/** Files between a person, this window and the host. */
import { ask } from '../../host/host.ts';

/** The host takes a file piece by piece; half of a pair of surrogates is not cut off. */
const PIECE = 200_000;

/** Hands a text to the host. A text comes back: why it could not; null: the host has it, under `upload`. */
export async function giveFile(upload: string, text: string): Promise<string | null> {
  for (let from = 0; from < text.length; ) {
    let to = Math.min(text.length, from + PIECE);
    const last = text.charCodeAt(to - 1);
    if (to < text.length && last >= 0xd800 && last < 0xdc00) to -= 1;
    const reply = await ask('file.give', { upload, text: text.slice(from, to) });
    if (!reply.ok) return reply.failure.text;
    from = to;
  }
  return null;
}

export const fromBase64 = (text: string): Uint8Array<ArrayBuffer> => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));

/** Of an authority's answer: some kilobytes. null: larger than any. */
export async function toBase64(file: File): Promise<string | null> {
  if (file.size > 250_000) return null;
  let text = '';
  for (const byte of new Uint8Array(await file.arrayBuffer())) text += String.fromCharCode(byte);
  return btoa(text);
}
