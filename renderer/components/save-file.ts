/** Offers a text, in pieces, or bytes as a file to keep, as the browser keeps files. */
export function saveFile(name: string, pieces: readonly (string | Uint8Array<ArrayBuffer>)[]): void {
  const url = URL.createObjectURL(new Blob([...pieces], { type: 'application/octet-stream' }));
  const link = document.createElement('a');
  link.href = url;
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  // The browser has taken hold of it by the next turn at the latest.
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
}
