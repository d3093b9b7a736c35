/** Sizes and outcomes in words. */

/** Bytes as people read them, in powers of 1000. */
export function sizeText(bytes: number): string {
  if (bytes < 1000) return `${bytes} bytes`;
  const { unit, factor } = bytes < 1e6 ? { unit: 'kB', factor: 1e3 } : bytes < 1e9 ? { unit: 'MB', factor: 1e6 } : { unit: 'GB', factor: 1e9 };
  const value = bytes / factor;
  return `${value.toFixed(value < 10 ? 1 : 0)} ${unit}`;
}

export function countText(rows: number, more: boolean): string {
  if (rows === 0) return 'No run found';
  return `${rows}${more ? ' or more' : ''} ${rows === 1 && !more ? 'run' : 'runs'}, newest first`;
}
