/** Uncertainty budgets after the GUM (JCGM 100:2008), in which random and shared parts never mix unseen. */
import { chiSquareBelow, normalQuantile, tQuantile } from '../distributions/distributions.ts';
import type { ErrorSource } from './source.ts';

/** One line of a budget (GUM, table H.1). */
export interface BudgetTerm {
  readonly source: ErrorSource;
  /** The estimate of the input and its unit. */
  readonly value: number;
  readonly unit: string;
  /** Change of the result, relative, for one unit of the input. */
  readonly sensitivity: number;
  /** In the unit of the input. */
  readonly standardUncertainty: number;
  /** |sensitivity| x standard uncertainty: relative standard uncertainty of the result. */
  readonly contribution: number;
  /** random: new with every window. shared: the same for all that these instruments measured; averaging does not help. */
  readonly kind: 'random' | 'shared';
  /** Degrees of freedom of the standard uncertainty; Infinity: taken as known (type B). */
  readonly dof: number;
}

export function term(
  source: ErrorSource,
  value: number,
  unit: string,
  sensitivity: number,
  standardUncertainty: number,
  kind: BudgetTerm['kind'],
  dof = Number.POSITIVE_INFINITY,
): BudgetTerm {
  return {
    source,
    value,
    unit,
    sensitivity,
    standardUncertainty,
    contribution: Math.abs(sensitivity) * standardUncertainty,
    kind,
    dof,
  };
}

/** Root of the sum of squares of the contributions of one kind. */
export function combined(terms: readonly BudgetTerm[], kind: BudgetTerm['kind']): number {
  let sum = 0;
  for (const t of terms) if (t.kind === kind) sum += t.contribution * t.contribution;
  return Math.sqrt(sum);
}

/** From here on Student's t is the normal distribution to six digits. */
const MANY_DEGREES = 1e6;

/** So many of those that were worked out are kept. */
const KEPT_FACTORS = 256;
/** By degrees of freedom, for 0.95: lines of one reduction have few different ones, and each asks several times. */
const factors = new Map<number, number>();

/** Coverage factor for a two-sided interval of `coverage` (0.95) at `dof` degrees of freedom (Infinity: normal). */
export function coverageFactor(dof: number, coverage = 0.95): number {
  if (coverage !== 0.95) return factorOf(dof, coverage);
  const known = factors.get(dof);
  if (known !== undefined) return known;
  const factor = factorOf(dof, coverage);
  if (factors.size >= KEPT_FACTORS) factors.clear();
  factors.set(dof, factor);
  return factor;
}

function factorOf(dof: number, coverage: number): number {
  const p = 0.5 + coverage / 2;
  return dof >= MANY_DEGREES ? normalQuantile(p) : tQuantile(p, dof);
}

/** Effective degrees of freedom (GUM G.4.1, Welch-Satterthwaite): u^4 / sum(u_i^4 / nu_i). */
export function effectiveDegrees(parts: readonly { readonly u: number; readonly dof: number }[]): number {
  let total = 0;
  let sum = 0;
  for (const part of parts) {
    if (part.u === 0) continue;
    const u2 = part.u * part.u;
    total += u2;
    if (part.dof !== Number.POSITIVE_INFINITY) sum += (u2 * u2) / part.dof;
  }
  return sum === 0 ? Number.POSITIVE_INFINITY : (total * total) / sum;
}

/** A result with the uncertainty that is stated of it. */
export interface Result {
  readonly value: number;
  /** Standard uncertainty from what differs between windows, and its degrees of freedom. */
  readonly uRandom: number;
  readonly dofRandom: number;
  /** Standard uncertainty from what all windows share. */
  readonly uShared: number;
  /** Combined standard uncertainty. */
  readonly u: number;
  readonly effectiveDof: number;
  readonly coverageFactor: number;
  /** U95 = coverage factor x u. */
  readonly expanded: number;
}

/** A rectangular part of less than this share of the whole leaves the coverage factor as it is, to four digits. */
const littleShare = 0.2;

const densityAt = (z: number): number => Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);
/** Normal distribution below `z`. */
const normalBelow = (z: number): number => 0.5 + (Math.sign(z) * chiSquareBelow(z * z, 1)) / 2;
/**
 * Coverage factor for 95 % where one part is rectangular and makes `share` (0 to 1) of the combined standard uncertainty, and all others
 * together are normal: the quantile of their convolution, from 1.96 down to 0.95 times the square root of 3 for the rectangular part alone
 * (JCGM 100:2008, G.1.3 and G.2.2; EA-4/02 M:2022, S9 and S10, from memory).
 */
export function coverageBesideRectangular(share: number): number {
  const normal = coverageFactor(Number.POSITIVE_INFINITY);
  if (share < littleShare) return normal;
  const half = share * Math.sqrt(3);
  const sd = Math.sqrt(Math.max(0, 1 - share * share));
  if (sd < 1e-3) return 0.95 * half;
  // Newton from below: the distribution of the sum is concave above 0, and wider than the rectangle alone.
  let factor = 0.95 * half;
  for (let i = 0; i < 20; i += 1) {
    const [far, near] = [(factor + half) / sd, (factor - half) / sd];
    const [belowFar, belowNear] = [normalBelow(far), normalBelow(near)];
    // Integrals of the normal distribution from minus infinity.
    const below = (sd / (2 * half)) * (far * belowFar + densityAt(far) - near * belowNear - densityAt(near));
    const step = (2 * half * (0.975 - below)) / (belowFar - belowNear);
    factor += step;
    if (Math.abs(step) < 1e-9) break;
  }
  return factor;
}

/** Quantile of the normal distribution for 95 % on one side. */
const oneSided = normalQuantile(0.95);
/** An error of known size of less than this share of the whole leaves the coverage factor as it is, to four digits. */
const littleLeftIn = 0.1;

/**
 * Coverage factor for 95 % where an error of known size is left in, which makes `share` (0 to 1) of the combined standard uncertainty, and all others
 * together are normal: the interval about the value as it was measured that holds the truth with that chance (a normal distribution about an end of it, folded),
 * from 1.96 down to 1 for the known error alone. GUM 6.3.1 note, F.2.4.5; Phillips, Eberhardt and Parry 1997, from memory. RED-145
 */
export function coverageBesideLeftIn(share: number): number {
  const normal = coverageFactor(Number.POSITIVE_INFINITY);
  if (share < littleLeftIn) return normal;
  const sd = Math.sqrt(Math.max(0, 1 - share * share));
  if (sd < 1e-6) return 1;
  // Newton from where no more than the nearer end counts, which is below: the chance is concave from there on.
  let factor = share + oneSided * sd;
  for (let i = 0; i < 20; i += 1) {
    const [near, far] = [(factor - share) / sd, (factor + share) / sd];
    const step = (0.95 - (normalBelow(near) + normalBelow(far) - 1)) / ((densityAt(near) + densityAt(far)) / sd);
    factor += step;
    if (Math.abs(step) < 1e-9) break;
  }
  return factor;
}

/**
 * Joins random and shared parts; the shared ones are type B with as many degrees of freedom as one likes (GUM G.4.2). `uRectangular`: standard
 * uncertainty of the largest among them that is a bound and no more, so that its errors are rectangular, RED-89; `uLeftIn`: size of
 * the largest error that is known and not taken off, RED-145.
 */
export function result(value: number, uRandom: number, dofRandom: number, uShared: number, uRectangular = 0, uLeftIn = 0): Result {
  const effectiveDof = effectiveDegrees([
    { u: uRandom, dof: dofRandom },
    { u: uShared, dof: Number.POSITIVE_INFINITY },
  ]);
  const u = Math.hypot(uRandom, uShared);
  const normal = coverageFactor(Number.POSITIVE_INFINITY);
  const bounded = uRectangular === 0 ? 1 : coverageBesideRectangular(uRectangular / u) / normal;
  const known = uLeftIn === 0 ? 1 : coverageBesideLeftIn(uLeftIn / u) / normal;
  const factor = coverageFactor(effectiveDof) * bounded * known;
  return { value, uRandom, dofRandom, uShared, u, effectiveDof, coverageFactor: factor, expanded: factor * u };
}
