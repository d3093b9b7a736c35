/** Interpolation of values that carry their sources of error (RED-30). */
import { combine, sharedPart, stateCarried, withPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import { interpolateMonotone } from '../reduce/monotone.ts';
import type { Basis } from './grid.ts';

export interface Knot {
  readonly x: number;
  readonly of: Carried;
}

export interface Interpolated {
  readonly of: Carried;
  readonly basis: Basis;
}

/** With two knots alone the bend between them is not seen: so much of their difference in the middle, standard uncertainty. */
const unseenBend = 0.01;
/** Outside the knots: so much of the change from the last of them, standard uncertainty. */
const beyond = 0.1;

/** Halving the distance of knots makes the error of a smooth curve at least a quarter of what leaving one out shows. */
const leftOutShare = 1 / 4;

/**
 * Value at `x` of the shape-preserving curve through the knots (two at least, rising), with the errors of the knots carried
 * through by their sensitivities, and the error of interpolation: a quarter of what the curve misses the knots beside `x` by
 * when they are left out, largest in the middle. At a knot: the knot.
 */
export function interpolateCarried(knots: readonly Knot[], x: number, axis: string): Interpolated {
  const exact = knots.find((k) => Math.abs(k.x - x) <= 1e-9 * Math.abs(x));
  if (exact !== undefined) return { of: exact.of, basis: 'measured' };
  const xs = knots.map((k) => k.x);
  const ys = knots.map((k) => k.of.value);
  const value = interpolateMonotone(xs, ys, x);
  const terms = knots.map(({ of }, i) => {
    // A step of one standard uncertainty: the curve is not smooth in its knots where the data turn.
    const step = stateCarried(of).u || Math.abs(of.value) * 1e-6 || 1e-12;
    const at = (change: number): number => interpolateMonotone(xs, ys.map((y, j) => (j === i ? y + change : y)), x);
    return { of, sensitivity: (at(step) - at(-step)) / (2 * step) };
  });
  const combined = combine(value, terms);
  const [first, last] = [knots[0], knots.at(-1)];
  if (first === undefined || last === undefined) throw new Error('no knots');
  if (x < first.x || x > last.x) {
    const end = x < first.x ? first : last;
    return { of: withPart(combined, sharedPart(errorSource('interpolation', axis), beyond * (value - end.of.value))), basis: 'extrapolated' };
  }
  const right = knots.findIndex((k) => k.x > x);
  const [a, b] = [knots[right - 1] ?? first, knots[right] ?? last];
  const share = (x - a.x) / (b.x - a.x);
  const missed = [right - 1, right].map((i) => missedBy(xs, ys, i));
  const error = knots.length === 2 ? unseenBend * (b.of.value - a.of.value) : leftOutShare * Math.max(...missed);
  return { of: withPart(combined, sharedPart(errorSource('interpolation', axis), 4 * share * (1 - share) * error)), basis: 'interpolated' };
}

/** What the curve through the others misses an inner knot by; 0 at the ends. */
function missedBy(xs: readonly number[], ys: readonly number[], i: number): number {
  if (i <= 0 || i >= xs.length - 1) return 0;
  const others = (list: readonly number[]): readonly number[] => list.filter((_, j) => j !== i);
  return Math.abs(interpolateMonotone(others(xs), others(ys), xs[i] ?? Number.NaN) - (ys[i] ?? Number.NaN));
}
