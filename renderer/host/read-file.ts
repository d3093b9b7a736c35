/** A file of an export, read from the host piece by piece. */
import type { HostReply } from './connection.ts';
import { ask } from './host.ts';

export type FileRead = { readonly ok: true; readonly pieces: readonly string[] } | { readonly ok: false; readonly text: string };

/** `from` is an export's name at the host. Gives all pieces of the file, or why it could not be read whole. */
export async function readFile(from: string, file: string): Promise<FileRead> {
  const pieces: string[] = [];
  for (let at: number | null = 0; at !== null; ) {
    const reply: HostReply<'export.piece'> = await ask('export.piece', { export: from, file, from: at });
    if (!reply.ok) return { ok: false, text: reply.failure.text };
    pieces.push(reply.value.text);
    at = reply.value.next;
  }
  return { ok: true, pieces };
}
