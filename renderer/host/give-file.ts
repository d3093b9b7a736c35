/** Files of a person, handed to the host. */
import { ask } from './host.ts';

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
