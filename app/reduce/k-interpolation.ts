/**
 * What nobody knows of a meter's curve between the points of its certificate, and beyond them (RED-71, RED-72). The error between two
 * points is one error, nought at both and largest in their middle: it moves pulses of one length and not those of another, so the
 * dead time feels it and no number of windows averages it away.
 */
import type { Equipment } from '../equipment/equipment.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';

type KFactorPoint = Equipment['meter']['kFactor'][number];

/** One error of the curve: where it is, and its relative standard uncertainty at the frequency that was asked for. */
interface CurveError {
  readonly source: ErrorSource;
  readonly u: number;
}

interface Interval {
  readonly source: ErrorSource;
  readonly low: number;
  readonly high: number;
  /** Logarithm of `high` over `low`; NaN where `low` is 0. */
  readonly log: number;
  /** Relative difference of the K-factors at both ends. */
  readonly difference: number;
  /** Relative standard uncertainty in the middle from how the curve bends. */
  readonly bend: number;
}

interface Curve {
  readonly intervals: readonly Interval[];
  readonly lowest: number;
  readonly highest: number;
  /** Of what is below, at and above its points: every window asks, and a source is a text. */
  readonly outside: { readonly below: ErrorSource; readonly at: ErrorSource; readonly above: ErrorSource };
  /** Relative change for a frequency e times as large, below and above. */
  readonly below: number;
  readonly above: number;
}

/** By how much a curve may go on changing beyond its last point for a frequency e times as far, at least: an estimate, no source. */
const leastSlope = 1e-3;

const curves = new WeakMap<readonly KFactorPoint[], Curve>();

/** The error at a frequency; `points` from the lowest frequency up, at least one. */
export function curveError(points: readonly KFactorPoint[], hertz: number): CurveError {
  const known = curves.get(points);
  const curve = known ?? curveOf(points);
  if (known === undefined) curves.set(points, curve);
  const { intervals, lowest, highest, below, above, outside } = curve;
  if (hertz < lowest) return { source: outside.below, u: below * Math.log(lowest / Math.max(hertz, lowest / 1e3)) };
  if (hertz > highest) return { source: outside.above, u: above * (highest > 0 ? Math.log(hertz / highest) : 1) };
  const inside = intervals.find((i) => hertz <= i.high);
  if (inside === undefined) return { source: outside.at, u: 0 };
  const { source, low, high, log, difference, bend } = inside;
  const straight = (hertz - low) / (high - low);
  const along = low > 0 ? Math.log(hertz / low) / log : straight;
  // Straight over the frequency or over its logarithm: the truth lies anywhere between, or as far on either side.
  return { source, u: Math.hypot((difference * (along - straight)) / Math.sqrt(3), bend * 4 * along * (1 - along)) };
}

const curveSource = (place: string): ErrorSource => errorSource('k-factor-curve', place);

function curveOf(points: readonly KFactorPoint[]): Curve {
  const distinct = points.filter((p, i) => i === 0 || p.hertz > (points[i - 1]?.hertz ?? 0));
  const relative = (a: KFactorPoint, b: KFactorPoint): number => b.edgesPerLitre / a.edgesPerLitre - 1;
  // By how much each inner point misses the straight line over ln f through its neighbours.
  const misses = distinct.map((point, i): number | null => {
    const [before, after] = [distinct[i - 1], distinct[i + 1]];
    if (before === undefined || after === undefined || before.hertz === 0) return null;
    const share = Math.log(point.hertz / before.hertz) / Math.log(after.hertz / before.hertz);
    return Math.abs(relative(before, point) - share * relative(before, after));
  });
  const told = misses.filter((m) => m !== null).length;
  // Few misses tell little of how much such a curve bends.
  const factor = told === 0 ? 1 : coverageFactor(told) / coverageFactor(Number.POSITIVE_INFINITY);
  const intervals = distinct.slice(1).flatMap((high, i): readonly Interval[] => {
    const low = distinct[i];
    if (low === undefined) return [];
    const difference = relative(low, high);
    const beside = [misses[i], misses[i + 1]].filter((m) => m !== null && m !== undefined);
    // A parabola misses its chord over half the distance by a quarter of what it misses it by over the whole.
    const bend = (factor * (beside.length === 0 ? Math.abs(difference) : Math.max(...beside))) / 4;
    return [{ source: curveSource(`${low.hertz} to ${high.hertz} Hz`), low: low.hertz, high: high.hertz, log: low.hertz > 0 ? Math.log(high.hertz / low.hertz) : Number.NaN, difference, bend }];
  });
  const slopeOf = (interval: Interval | undefined): number => {
    if (interval === undefined) return leastSlope;
    const { low, log, difference } = interval;
    return Math.hypot(leastSlope, low > 0 ? difference / log : difference);
  };
  const [lowest, highest] = [distinct[0]?.hertz ?? 0, distinct.at(-1)?.hertz ?? 0];
  return {
    intervals,
    lowest,
    highest,
    outside: { below: curveSource(`below ${lowest} Hz`), at: curveSource(`at ${lowest} Hz`), above: curveSource(`above ${highest} Hz`) },
    below: slopeOf(intervals[0]),
    above: slopeOf(intervals.at(-1)),
  };
}
