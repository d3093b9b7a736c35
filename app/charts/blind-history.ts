/** Blind windows over the years: does a bench's stated random part hold? RED-116 to RED-118. */
import { chiSquareAbove, fAbove, fQuantile, normalQuantile } from '../distributions/distributions.ts';
import type { UnixMillis } from '../quantities/quantity.ts';
import type { BlindFinding } from '../reduce/reduction.ts';

export interface RunWithBlind {
  readonly id: string;
  readonly at: UnixMillis;
  /** Model and serial number of the controller, which name the bench. */
  readonly bench: string;
  readonly blind: readonly BlindFinding[];
}

interface BlindTally {
  /** Shifts that were told, and those of them inside their 95 % intervals. */
  readonly told: number;
  readonly inside: number;
  /** Windows whose secrets were lost or are not told yet. */
  readonly sealed: number;
  /** Exact interval of the fraction inside, at the level of its test (Clopper and Pearson 1934); null: none was told. */
  readonly fraction: { readonly low: number; readonly high: number } | null;
  /** Scatter over the one that is stated, root mean square; null: none was told. */
  readonly spread: number | null;
  readonly called: BlindCall | null;
}

/** too-small, too-large: the stated random part, by the spread. fraction: by how many intervals hold. */
type BlindCall = 'too-small' | 'too-large' | 'fraction';

interface BlindHistory {
  readonly bench: string;
  /** The oldest first. */
  readonly runs: readonly (BlindTally & { readonly run: string; readonly at: UnixMillis })[];
  readonly whole: BlindTally;
}

/**
 * Chance of each call where the random part is true, three in a hundred histories together: most of it for a spread that is stated too small, which
 * makes intervals wrong; one that is too large only makes them wide, and the fraction hardly sees what the spread does not. RED-117
 */
const levels = { tooSmall: 0.019, tooLarge: 0.01, fraction: 0.001 };
const intervals = 0.95;
/** Less chance than this is no other score. */
const leastChance = 1e-15;

/** As a normal number that is as unlikely: few degrees of freedom are allowed for. */
function scoreOf({ found, truth, u, dof }: BlindFinding & { readonly truth: number }): number {
  const p = Math.max(leastChance, fAbove(((found - truth) / u) ** 2, 1, Math.min(dof, 1e6)));
  return normalQuantile(1 - p / 2);
}

/** Clopper and Pearson (1934), through the F distribution. */
function exactInterval(hits: number, of: number): { readonly low: number; readonly high: number } {
  const side = 1 - levels.fraction / 2;
  const low = hits === 0 ? 0 : 1 / (1 + ((of - hits + 1) * fQuantile(side, 2 * (of - hits + 1), 2 * hits)) / hits);
  const high = hits === of ? 1 : 1 / (1 + (of - hits) / ((hits + 1) * fQuantile(side, 2 * (hits + 1), 2 * (of - hits))));
  return { low, high };
}

export function blindTally(blind: readonly BlindFinding[]): BlindTally {
  const told = blind.flatMap((b) => (b.truth === null ? [] : [{ ...b, truth: b.truth }]));
  const n = told.length;
  const sealed = blind.length - n;
  if (n === 0) return { told: 0, inside: 0, sealed, fraction: null, spread: null, called: null };
  const inside = told.filter((b) => Math.abs(b.found - b.truth) <= b.expanded).length;
  const squares = told.reduce((sum, b) => sum + scoreOf(b) ** 2, 0);
  const fraction = exactInterval(inside, n);
  const above = chiSquareAbove(squares, n);
  const called = above < levels.tooSmall ? 'too-small' : above > 1 - levels.tooLarge ? 'too-large' : fraction.high < intervals || fraction.low > intervals ? 'fraction' : null;
  return { told: n, inside, sealed, fraction, spread: Math.sqrt(squares / n), called };
}

/** By bench, in the order in which each was first met. */
export function blindHistories(runs: readonly RunWithBlind[]): readonly BlindHistory[] {
  const inOrder = runs.filter((r) => r.blind.length > 0).toSorted((a, b) => a.at - b.at || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));
  const benches = new Map<string, RunWithBlind[]>();
  for (const run of inOrder) {
    const own = benches.get(run.bench);
    if (own === undefined) benches.set(run.bench, [run]);
    else own.push(run);
  }
  return [...benches].map(([bench, own]) => ({
    bench,
    runs: own.map((r) => ({ run: r.id, at: r.at, ...blindTally(r.blind) })),
    whole: blindTally(own.flatMap((r) => r.blind)),
  }));
}

const percent = (part: number): string => `${(100 * part).toFixed(0)} %`;

const calls: Readonly<Record<BlindCall, string>> = {
  'too-small': 'The random part is stated too small: windows repeat worse than the results say. Look for what is new on the bench since it last agreed; until then take the intervals for too narrow.',
  'too-large': 'The random part is stated too large: the intervals are wider than they need to be.',
  fraction: 'The share of intervals that hold is not the 95 % that they promise.',
};

export function blindVerdict({ told, inside, sealed, fraction, spread, called }: BlindTally): string {
  const lost = sealed === 0 ? '' : ` ${sealed} more stay sealed.`;
  if (fraction === null || spread === null) return `No blind shift was told.${lost}`;
  return `${told} blind shifts, ${percent(inside / told)} inside (99.9 % interval of the share: ${percent(fraction.low)} to ${percent(fraction.high)}); they scatter ${spread.toFixed(2)} times as much as is stated.${lost} ${called === null ? 'The stated random part holds.' : calls[called]}`;
}
