/** Which mutants of a room belong to a sample: those with the smallest hashes. The same tree and seed give the same sample. */
import { createHash } from 'node:crypto';

/** A mutant as far as it says which it is; lines and columns count from one origin in all of them. */
export interface Place {
  readonly file: string;
  readonly mutator: string;
  readonly replacement: string;
  readonly from: { readonly line: number; readonly column: number };
  readonly to: { readonly line: number; readonly column: number };
}

const rank = (seed: string, { file, mutator, replacement, from, to }: Place): string =>
  createHash('sha256').update(JSON.stringify([seed, file, mutator, replacement, from.line, from.column, to.line, to.column])).digest('hex');

/** `size` of them at most, drawn without replacement. */
export function sampleOf<T>(all: readonly T[], placeOf: (one: T) => Place, size: number, seed: string): readonly T[] {
  return all.map((one) => ({ one, rank: rank(seed, placeOf(one)) })).sort((a, b) => (a.rank < b.rank ? -1 : 1)).slice(0, size).map(({ one }) => one);
}

/** Wilson's interval of 95 % for a share of `hits` in `tries` (Wilson, J. Am. Stat. Assoc. 22 (1927) 209). */
export function wilson(hits: number, tries: number): { readonly low: number; readonly high: number } {
  const z = 1.959964;
  const share = hits / tries;
  const middle = (share + (z * z) / (2 * tries)) / (1 + (z * z) / tries);
  const half = (z / (1 + (z * z) / tries)) * Math.sqrt((share * (1 - share)) / tries + (z * z) / (4 * tries * tries));
  return { low: middle - half, high: middle + half };
}
