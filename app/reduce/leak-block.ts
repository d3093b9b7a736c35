/** An attempt of a run. */
interface Attempted {
  readonly point: number;
  readonly attempt: number;
}

/** More than nearly every point has attempts, and so few that the number is a small integer up to half a million points: those are looked up by the thousand, and larger ones would each be an object first. */
const attemptsApart = 2 ** 12;
/** More than any point has attempts, and so few that a number of points times it is still whole. */
const manyApart = 2 ** 20;

/** One number for each attempt, to find what belongs to it by. */
export const attemptNumber = ({ point, attempt }: Attempted): number => (attempt < attemptsApart ? point * attemptsApart + attempt : -(point * manyApart + attempt));

/**
 * What leaked in one block of the run: the attempts between two zero points. Volume flows at the meter, m3/s; u: standard
 * uncertainties. RED-40 to RED-42.
 */
export interface LeakBlock {
  /** From 0, in the order of measurement. */
  readonly block: number;
  /** Of its measure points; the voltage of the first of them. */
  readonly pressure: number;
  readonly voltage: number;
  /** Mean over the block. */
  readonly flow: number;
  readonly uFlow: number;
  /** From its beginning to its end. */
  readonly change: number;
  readonly uChange: number;
  /** What the K-factor may be off at so low a flow, beside what its whole curve shares. */
  readonly uMeter: number;
  /** Leak up to which the meter stands still at rest, where this one is not above it, m3/s; null: the meter sees it. RED-49. */
  readonly below: number | null;
  /** The zero points right before and after it. */
  readonly zeroPoints: readonly Attempted[];
  /** Edges and time, s, between the pulses of its attempts. */
  readonly idle: { readonly edges: number; readonly time: number };
  readonly sources: readonly Attempted[];
}

/** The block of each attempt, by `attemptNumber`. */
export function byAttempt(blocks: readonly LeakBlock[]): ReadonlyMap<number, LeakBlock> {
  const found = new Map<number, LeakBlock>();
  for (const block of blocks) for (const source of block.sources) found.set(attemptNumber(source), block);
  return found;
}
