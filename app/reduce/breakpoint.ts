/**
 * Two straight lines that meet: y = a + b x + c (x - psi)+, with the breakpoint psi among the unknowns. The least-squares
 * problem is solved exactly (Hudson, J. Am. Stat. Assoc. 61, 1966): between two neighbouring x it is two free lines if they
 * meet there, and else its optimum lies on a knot.
 */
import { coverageFactor } from '../uncertainty/budget.ts';
import { covarianceOf, solveLeastSquares } from './least-squares.ts';

export interface TwoSegments {
  readonly kind: 'two-segments';
  readonly breakpoint: number;
  /** Standard uncertainty by linearisation, and the 95 % interval from it. */
  readonly uBreakpoint: number;
  readonly interval: { readonly low: number; readonly high: number };
  /** Line below the breakpoint, and its slope above. */
  readonly intercept: number;
  readonly slopeBelow: number;
  readonly uSlopeBelow: number;
  readonly slopeAbove: number;
  readonly uSlopeAbove: number;
  /** Weighted sum of squares and n - 4. */
  readonly squares: number;
  readonly dof: number;
}

export interface NoTwoSegments {
  readonly kind: 'no-two-segments';
  readonly reason: 'too-few' | 'no-break';
  readonly text: string;
}

/** `weights` are relative (1 / variance up to a factor); the residuals tell the factor. At least five points at four x. */
export function fitTwoSegments(x: readonly number[], y: readonly number[], weights: readonly number[] | null): TwoSegments | NoTwoSegments {
  const n = x.length;
  const knots = [...new Set(x)].sort((a, b) => a - b);
  if (n < 5 || knots.length < 4 || [...x, ...y].some((v) => !Number.isFinite(v))) {
    return { kind: 'no-two-segments', reason: 'too-few', text: `Two segments need five finite values at four places or more; ${n} at ${knots.length} are there.` };
  }
  const candidates = new Set<number>();
  for (let i = 1; i + 2 < knots.length; i += 1) {
    const [from, to] = [knots[i] ?? 0, knots[i + 1] ?? 0];
    const meeting = crossingOfFreeLines(x, y, weights, from);
    if (meeting !== null && meeting > from && meeting < to) candidates.add(meeting);
  }
  for (const knot of knots.slice(1, -1)) candidates.add(knot);
  let best: { readonly psi: number; readonly beta: readonly number[]; readonly squares: number } | null = null;
  for (const psi of candidates) {
    const fit = solveLeastSquares(x.map((v) => [1, v, Math.max(0, v - psi)]), y, weights);
    if (fit !== null && (best === null || fit.squares < best.squares)) best = { psi, beta: fit.beta, squares: fit.squares };
  }
  const change = best?.beta[2] ?? 0;
  if (best === null || change === 0) return noBreak;
  const { psi, beta, squares } = best;
  const dof = n - 4;
  const scale = squares / dof;
  const covariance = covarianceOf(x.map((v) => [1, v, Math.max(0, v - psi), v > psi ? -change : 0]), weights);
  if (covariance === null) return noBreak;
  const u = (i: number): number => Math.sqrt((covariance[i]?.[i] ?? Number.NaN) * scale);
  const uBreakpoint = u(3);
  const half = coverageFactor(dof) * uBreakpoint;
  const [intercept = Number.NaN, slopeBelow = Number.NaN] = beta;
  const sum = (covariance[1]?.[1] ?? 0) + (covariance[2]?.[2] ?? 0) + 2 * (covariance[1]?.[2] ?? 0);
  return {
    kind: 'two-segments',
    breakpoint: psi,
    uBreakpoint,
    interval: { low: psi - half, high: psi + half },
    intercept,
    slopeBelow,
    uSlopeBelow: u(1),
    slopeAbove: slopeBelow + change,
    uSlopeAbove: Math.sqrt(sum * scale),
    squares,
    dof,
  };
}

const noBreak: NoTwoSegments = { kind: 'no-two-segments', reason: 'no-break', text: 'The values lie on one line, so there is no breakpoint to state.' };

/** Where the free lines through the points up to `split` and beyond it cross; null: parallel, or too few on a side. */
function crossingOfFreeLines(x: readonly number[], y: readonly number[], weights: readonly number[] | null, split: number): number | null {
  const side = (chosen: (v: number) => boolean): readonly number[] | null => {
    const index = x.flatMap((v, i) => (chosen(v) ? [i] : []));
    const pick = (list: readonly number[]): readonly number[] => index.map((i) => list[i] ?? Number.NaN);
    return solveLeastSquares(pick(x).map((v) => [1, v]), pick(y), weights === null ? null : pick(weights))?.beta ?? null;
  };
  const below = side((v) => v <= split);
  const above = side((v) => v > split);
  if (below === null || above === null) return null;
  const turn = (above[1] ?? 0) - (below[1] ?? 0);
  return turn === 0 ? null : ((below[0] ?? 0) - (above[0] ?? 0)) / turn;
}
