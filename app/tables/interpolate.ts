/** Interpolation of values that carry their sources of error (RED-30). */
import { combine, sharedPart, standardUncertainty, withPart } from '../uncertainty/carried.ts';
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

/** Outside the knots: so much of the change from the last of them at least, standard uncertainty (an estimate). */
const beyond = 0.1;

/** Halving the distance of knots makes the error of a smooth curve a quarter of what leaving one out shows, or less: a bound, so rectangular (GUM 4.3.7). */
const leftOutShare = 1 / 4 / Math.sqrt(3);

/** What swings once in three or four distances of knots, the fastest that they show, is missed between them by 0 to 0.17 of what it stands off at them, beyond what a cubic shows of it (own computation). RED-102, RED-177 */
const misfitShare = 1 / 10;

/** What is known of the shape of a curve. */
export interface Shape {
  /** Rising functions of x in which the curve may be nearly straight; of several nobody knows which (RED-100, RED-101). */
  readonly coordinates: readonly ((x: number) => number)[];
  /** Standard deviation of the measured places about the form that the coordinate comes from, beyond their scatter (RED-102). */
  readonly misfit: number;
  /** A curve of this form has no corners, so a cubic tells what the shape-preserving curve misses. RED-177 */
  readonly smooth?: true;
}

/** Between two places alone a curve may bend like any power from 1/x to x^2 (an estimate). */
const anyPower: Shape = { coordinates: [(x) => -1 / x, (x) => x * x], misfit: 0 };
const asItIs: Shape = { coordinates: [(x) => x], misfit: 0 };

/**
 * Value at `x` of the shape-preserving curve through the knots (two at least, rising and above 0), with the errors of the knots carried
 * through by their sensitivities, and the error of interpolation: half of what the coordinates differ by (rectangular, the middle is the
 * value), at most a quarter of what the curve misses the knots beside `x` by when they are left out, beyond scatter, largest in the middle, and for a form without corners what it misses a cubic by. At a knot: the knot.
 */
export function interpolateCarried(knots: readonly Knot[], x: number, axis: string, shape: Shape = knots.length === 2 ? anyPower : asItIs): Interpolated {
  const exact = knots.find((k) => Math.abs(k.x - x) <= 1e-9 * Math.abs(x));
  if (exact !== undefined) return { of: exact.of, basis: 'measured' };
  const { of: through, half } = curveThrough(shape, knots, x);
  const { value } = through;
  const [first, last] = [knots[0], knots.at(-1)];
  if (first === undefined || last === undefined) throw new Error('no knots');
  const unsure = (by: number): Carried => withPart(through, sharedPart(errorSource('interpolation', axis), Math.hypot(half / Math.sqrt(3), by)));
  if (x < first.x || x > last.x) {
    const end = x < first.x ? first : last;
    const steps = Math.abs(x - end.x) / Math.abs(end.x - (knots[x < first.x ? 1 : knots.length - 2]?.x ?? end.x));
    return { of: unsure(Math.hypot(beyond * (value - end.of.value), shape.misfit * (1 + steps))), basis: 'extrapolated' };
  }
  const right = knots.findIndex((k) => k.x > x);
  const [a, b] = [knots[right - 1] ?? first, knots[right] ?? last];
  const [coordinate = (v: number): number => v] = shape.coordinates;
  const share = (coordinate(x) - coordinate(a.x)) / (coordinate(b.x) - coordinate(a.x));
  const missed = [right - 1, right].map((i) => missedBy(shape, knots, i));
  const ofShape = 4 * share * (1 - share) * Math.hypot(leftOutShare * Math.max(...missed), misfitShare * shape.misfit);
  return { of: unsure(Math.hypot(ofShape, shape.smooth === true ? offCubic(coordinate, knots, through, x) : 0)), basis: 'interpolated' };
}

/** What the curve differs from the cubic through the two knots on either side by (at an end: through the nearest four), beyond what the errors of the knots explain. RED-177 */
function offCubic(coordinate: (x: number) => number, knots: readonly Knot[], through: Carried, x: number): number {
  if (knots.length < 4) return 0;
  const from = Math.min(Math.max(0, knots.findIndex((k) => k.x > x) - 2), knots.length - 4);
  const near = knots.slice(from, from + 4);
  const places = near.map((k) => coordinate(k.x));
  const here = coordinate(x);
  const cubic = near.map(({ of }, i) => {
    const own = places[i] ?? Number.NaN;
    return { of, sensitivity: places.reduce((product, other, j) => (j === i ? product : (product * (here - other)) / (own - other)), 1) };
  });
  const value = cubic.reduce((sum, { of, sensitivity }) => sum + of.value * sensitivity, 0);
  return beyondErrors(combine(value - through.value, [...cubic, { of: through, sensitivity: -1 }]));
}

/** A difference beyond what the errors in it explain, in squares. RED-88 */
const beyondErrors = (difference: Carried): number => Math.sqrt(Math.max(0, difference.value ** 2 - standardUncertainty(difference) ** 2));

/** Middle of what the coordinates say, and half of what they differ by. */
function between({ coordinates }: Shape, xs: readonly number[], ys: readonly number[], x: number): { readonly value: number; readonly half: number } {
  const all = coordinates.map((of) => interpolateMonotone(xs.map(of), ys, of(x)));
  const [low, high] = [Math.min(...all), Math.max(...all)];
  return { value: (low + high) / 2, half: (high - low) / 2 };
}

/** The curve at `x` with the errors of the knots, and half of what its coordinates differ by. */
function curveThrough(shape: Shape, knots: readonly Knot[], x: number): { readonly of: Carried; readonly half: number } {
  const xs = knots.map((k) => k.x);
  const ys = knots.map((k) => k.of.value);
  const { value, half } = between(shape, xs, ys, x);
  const terms = knots.map(({ of }, i) => {
    // A step of one standard uncertainty: the curve is not smooth in its knots where the data turn.
    const step = standardUncertainty(of) || Math.abs(of.value) * 1e-6 || 1e-12;
    const at = (change: number): number => between(shape, xs, ys.map((y, j) => (j === i ? y + change : y)), x).value;
    return { of, sensitivity: (at(step) - at(-step)) / (2 * step) };
  });
  return { of: combine(value, terms), half };
}

/** What the curve through the others misses an inner knot by, beyond what the errors of all of them explain; 0 at the ends. RED-88 */
function missedBy(shape: Shape, knots: readonly Knot[], i: number): number {
  const own = knots[i];
  if (own === undefined || i === 0 || i === knots.length - 1) return 0;
  const { of: told } = curveThrough(shape, knots.filter((k) => k !== own), own.x);
  return beyondErrors(combine(told.value - own.of.value, [{ of: told, sensitivity: 1 }, { of: own.of, sensitivity: -1 }]));
}
