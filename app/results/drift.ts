/** Drift over a run: the reference point, measured again and again, over time. Did bench, fluid or injector change meanwhile? RED-38. */
import { coverageFactor, result } from '../uncertainty/budget.ts';
import type { Result } from '../uncertainty/budget.ts';
import { fitLine } from '../reduce/regression.ts';
import type { Source } from '../reduce/reduction.ts';
import type { WindowMass } from './run-results.ts';

/** When an attempt was measured. */
export interface MeasuredAt extends Source {
  /** Any clock that goes on through the whole run, s. */
  readonly time: number;
}

interface DriftRow extends MeasuredAt {
  /** kg, referred to plan pressure and reference temperature; null: `why` says why not. */
  readonly mass: number | null;
  readonly why: string;
  /** From the mean of all, percent, with the expanded uncertainty of what is random in this window. */
  readonly deviationPercent: number | null;
  readonly u95Percent: number | null;
}

/** Straight line through the reference masses. What it does not explain is its uncertainty, so nothing is assumed of the scatter. */
export type DriftTrend =
  | {
      readonly kind: 'drift';
      readonly points: readonly { readonly time: number; readonly mass: number; readonly deviationPercent: number }[];
      /** Change of Qd over time, percent of its mean in an hour, with its 95 % interval. */
      readonly percentPerHour: Result;
      /** Over the whole time, percent. */
      readonly overRunPercent: Result;
      /** The 95 % interval of the change does not hold 0. */
      readonly significant: boolean;
      /** Standard deviation about the straight line, percent. */
      readonly scatterPercent: number;
    }
  | { readonly kind: 'no-drift'; readonly reason: 'no-reference' | 'too-few'; readonly text: string };

export interface Drift {
  /** The earliest first; one for each reference attempt that counts. */
  readonly rows: readonly DriftRow[];
  /** Standard deviation of the masses, percent of their mean; null: fewer than two. */
  readonly sdPercent: number | null;
  readonly trend: DriftTrend;
}

/** Shared errors of the instruments do not drift and cancel. `masses`: at least those of the reference points. */
export function driftOf(masses: readonly WindowMass[], times: readonly MeasuredAt[]): Drift {
  const timeOf = new Map(times.map(({ point, attempt, time }) => [`${point}:${attempt}`, time]));
  const found = masses.flatMap((m) => {
    const time = timeOf.get(`${m.point}:${m.attempt}`);
    return m.at.role === 'reference' && time !== undefined && Number.isFinite(time) ? [{ ...m, time }] : [];
  });
  const known = found.flatMap(({ time, mass }) => (mass === null ? [] : [{ time, mass }]));
  const mean = known.reduce((sum, m) => sum + m.mass, 0) / known.length;
  const percent = (mass: number): number => 100 * (mass / mean - 1);
  const rows = found
    .toSorted((a, b) => a.time - b.time)
    .map(({ point, attempt, time, mass, why, uRandom, dofRandom }): DriftRow => ({
      point,
      attempt,
      time,
      mass,
      why,
      deviationPercent: mass === null ? null : percent(mass),
      u95Percent: mass === null || uRandom === 0 ? null : 100 * coverageFactor(dofRandom) * uRandom,
    }));
  const squares = known.reduce((sum, { mass }) => sum + percent(mass) ** 2, 0);
  return { rows, sdPercent: known.length < 2 ? null : Math.sqrt(squares / (known.length - 1)), trend: trendOf(known, percent) };
}

function trendOf(known: readonly { readonly time: number; readonly mass: number }[], percent: (mass: number) => number): DriftTrend {
  if (known.length === 0) return { kind: 'no-drift', reason: 'no-reference', text: 'No reference point was measured, so drift is not known. Give the plan a reference.' };
  const distinct = new Set(known.map((m) => m.time)).size;
  if (distinct < 3) return { kind: 'no-drift', reason: 'too-few', text: `Drift needs three reference points at different times; ${distinct} are there.` };
  const points = known.map(({ time, mass }) => ({ time, mass, deviationPercent: percent(mass) })).sort((a, b) => a.time - b.time);
  const fit = fitLine(points.map((p) => p.time), points.map((p) => p.deviationPercent), null, 'estimated');
  const uSlope = Math.sqrt(fit.varianceOfSlope);
  const span = (points.at(-1)?.time ?? 0) - (points[0]?.time ?? 0);
  return {
    kind: 'drift',
    points,
    percentPerHour: result(fit.slope * 3600, uSlope * 3600, fit.dof, 0),
    overRunPercent: result(fit.slope * span, uSlope * span, fit.dof, 0),
    significant: Math.abs(fit.slope) > coverageFactor(fit.dof) * uSlope,
    scatterPercent: Math.sqrt(fit.scale),
  };
}

/** Height of the trend at a time, percent from the mean: a line of least squares goes through the middle of its points. */
export function trendAt({ points, percentPerHour }: Extract<DriftTrend, { kind: 'drift' }>, time: number): number {
  const middle = points.reduce((sum, p) => sum + p.time, 0) / points.length;
  return (percentPerHour.value / 3600) * (time - middle);
}
