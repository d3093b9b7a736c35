/**
 * Outliers among groups of replicates that scatter alike: generalised extreme studentised deviates (B. Rosner, Technometrics 25
 * (1983) 165-172; NIST/SEMATECH e-Handbook, 1.3.5.17.3) with the distances of residuals from the means of their groups. Rules ST-1 to ST-4.
 */
import { coverageFactor } from '../uncertainty/budget.ts';
import { sampleOf } from './sample.ts';

interface NamedOutlier {
  /** Which group, and which of its values: one, or both of a pair. */
  readonly group: number;
  readonly indices: readonly number[];
  /** Distance in standard deviations of one value, by the scatter of all that is not named. */
  readonly g: number;
}

export interface OutlierSearch {
  readonly named: readonly NamedOutlier[];
  /** Values in groups of three or more, and groups of two. Nothing else could be named; both are 0 where scatter was not known well enough. */
  readonly values: number;
  readonly pairs: number;
  /** Distance, in standard deviations, that chance leaves unexceeded in a good run with probability 1 - `level`. */
  readonly critical: number;
  /** Standard deviation of one value and its degrees of freedom, without what is named. */
  readonly sd: number;
  readonly dof: number;
}

/** Degrees of freedom below which no scatter is worth a test: of three values even a gross one lies 1.15 standard deviations out. */
const leastDof = 3;
/** One step, and one more for every five degrees of freedom beyond twenty: more of them in small samples name chance more often than `level` says. */
const stepsFor = (dof: number): number => 1 + Math.max(0, Math.floor((dof - 20) / 5));

/** `groups`: values whose scatter about the means of their groups is the same. `level`: probability of naming anything in a good run. */
export function searchOutliers(groups: readonly (readonly number[])[], level: number): OutlierSearch {
  const states = groups.map((values) => stateOf(values.map((value, index) => ({ value, index }))));
  const values = states.reduce((sum, s) => sum + (s.kept.length > 2 ? s.kept.length : 0), 0);
  const pairs = states.reduce((sum, s) => sum + (s.kept.length === 2 ? 1 : 0), 0);
  const taken: { readonly group: number; readonly indices: readonly number[]; readonly distance: number }[] = [];
  let spread = spreadOf(states);
  if (spread.dof < leastDof) return { named: [], values: 0, pairs: 0, critical: Number.POSITIVE_INFINITY, sd: 0, dof: spread.dof };
  const first = { named: [], values, pairs, critical: criticalOf(spread, level), ...sdOf(spread) };
  let found: OutlierSearch = first;
  // Backwards (Rosner): what counts is the last step that stands out, because gross values hide each other in the steps before it.
  for (let left = stepsFor(spread.dof); left > 0 && spread.dof >= leastDof && spread.squares > 0; left -= 1) {
    const farthest = states.reduce((best, s, i) => (s.distance > (states[best]?.distance ?? 0) ? i : best), 0);
    const worst = states[farthest];
    if (worst === undefined || !(worst.distance > 0)) break;
    const { sd, dof } = sdOf(spread);
    const critical = criticalOf(spread, level);
    const standsOut = worst.distance > critical * sd;
    taken.push({ group: farthest, indices: worst.farthest, distance: worst.distance });
    states[farthest] = stateOf(worst.kept.filter(({ index }) => !worst.farthest.includes(index)));
    spread = spreadOf(states);
    if (!standsOut) continue;
    const rest = spread.dof >= leastDof && spread.squares > 0 ? sdOf(spread) : { sd, dof };
    found = { named: taken.map(({ group, indices, distance }) => ({ group, indices, g: distance / rest.sd })), values, pairs, critical, ...rest };
  }
  return found;
}

interface State {
  readonly kept: readonly { readonly value: number; readonly index: number }[];
  readonly squares: number;
  /** The largest distance from the mean, scaled to have the variance of one value; of two, their difference. */
  readonly distance: number;
  readonly farthest: readonly number[];
}

function stateOf(kept: State['kept']): State {
  const n = kept.length;
  if (n < 2) return { kept, squares: 0, distance: 0, farthest: [] };
  const { mean, squares } = sampleOf(kept.map((k) => k.value));
  // Of two, each lies as far out as the other: nothing says which is wrong.
  if (n === 2) return { kept, squares, distance: Math.sqrt(squares), farthest: kept.map((k) => k.index) };
  let [index, distance] = [0, -1];
  for (const k of kept) if (Math.abs(k.value - mean) > distance) [index, distance] = [k.index, Math.abs(k.value - mean)];
  return { kept, squares, distance: distance / Math.sqrt(1 - 1 / n), farthest: [index] };
}

interface Spread {
  readonly squares: number;
  readonly dof: number;
  /** How many distances are asked about. */
  readonly asked: number;
}

function spreadOf(states: readonly State[]): Spread {
  let [squares, dof, asked] = [0, 0, 0];
  for (const { kept, squares: own } of states) {
    squares += own;
    dof += Math.max(0, kept.length - 1);
    asked += kept.length > 2 ? kept.length : kept.length === 2 ? 1 : 0;
  }
  return { squares, dof, asked };
}

const sdOf = ({ squares, dof }: Spread): { readonly sd: number; readonly dof: number } => ({ sd: Math.sqrt(squares / dof), dof });

/** Grubbs' statistic for residuals with a pooled standard deviation: t at level/N, both ends together, with nu - 1 degrees of freedom. */
function criticalOf({ dof, asked }: Spread, level: number): number {
  const t = coverageFactor(dof - 1, 1 - level / asked);
  return Math.sqrt((dof * t * t) / (dof - 1 + t * t));
}
