/** Small files between a person and this window. */
export const fromBase64 = (text: string): Uint8Array<ArrayBuffer> => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));

/** Of an authority's answer: some kilobytes. null: larger than any. */
export async function toBase64(file: File): Promise<string | null> {
  if (file.size > 250_000) return null;
  let text = '';
  for (const byte of new Uint8Array(await file.arrayBuffer())) text += String.fromCharCode(byte);
  return btoa(text);
}
