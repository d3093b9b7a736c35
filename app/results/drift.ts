/** Drift over a run: the reference point, measured again and again, over time. Did bench, fluid or injector change meanwhile? RED-38. */
import { coverageFactor, result } from '../uncertainty/budget.ts';
import type { Result } from '../uncertainty/budget.ts';
import { fitLine } from '../reduce/regression.ts';
import { serialOf } from '../statistics/serial.ts';
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

/**
 * What a straight line through the reference masses says. drift: more than even a bench that wanders from point to point explains.
 * drift-if-independent: more than points explain that scatter independently, or as little alike as these look. wanders: neighbours are alike
 * about the line, so the bench wandered or stepped, and a line says nothing of it. none: no more than scatter explains. RED-104.
 */
export type DriftVerdict = 'drift' | 'drift-if-independent' | 'wanders' | 'none';

/** Straight line through the reference masses. What it does not explain is its uncertainty. */
export type DriftTrend =
  | {
      readonly kind: 'drift';
      readonly points: readonly { readonly time: number; readonly mass: number; readonly deviationPercent: number }[];
      /** Change of Qd over time, percent of its mean in an hour, with its 95 % interval. */
      readonly percentPerHour: Result;
      /** Over the whole time, percent. */
      readonly overRunPercent: Result;
      readonly verdict: DriftVerdict;
      /** The same as the end of a sentence about the change. */
      readonly text: string;
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
  const middle = points.reduce((sum, p) => sum + p.time, 0) / points.length;
  const meanDeviation = points.reduce((sum, p) => sum + p.deviationPercent, 0) / points.length;
  const serial = serialOf(points.map((p) => p.deviationPercent - meanDeviation - fit.slope * (p.time - middle)));
  const correlation = serial?.correlation ?? 0;
  // A mean of n values correlated by r is as good as one of n (1 - r) / (1 + r) independent ones.
  const uSlope = Math.sqrt((fit.varianceOfSlope * (1 + correlation)) / (1 - correlation));
  const walk = walkOf(points);
  const span = (points.at(-1)?.time ?? 0) - (points[0]?.time ?? 0);
  const verdict = ((): DriftVerdict => {
    if (walk !== null && Math.abs(walk.slope) > coverageFactor(walk.dof) * walk.u) return 'drift';
    if (serial?.alike === true) return 'wanders';
    return Math.abs(fit.slope) > coverageFactor(fit.dof) * uSlope ? 'drift-if-independent' : 'none';
  })();
  const u = verdict === 'wanders' && walk !== null ? Math.max(uSlope, walk.u) : uSlope;
  return {
    kind: 'drift',
    points,
    percentPerHour: result(fit.slope * 3600, u * 3600, fit.dof, 0),
    overRunPercent: result(fit.slope * span, u * span, fit.dof, 0),
    verdict,
    text: driftText(verdict, points.map((p) => p.deviationPercent)),
    scatterPercent: Math.sqrt(fit.scale),
  };
}

/** Slope of a random walk with a steady part, from its steps: exact where nothing but the steps is independent. null: fewer than three times. */
function walkOf(points: readonly { readonly time: number; readonly deviationPercent: number }[]): { readonly slope: number; readonly u: number; readonly dof: number } | null {
  const steps = points.flatMap((p, i) => {
    const before = points[i - 1];
    return before === undefined || p.time === before.time ? [] : [{ over: p.time - before.time, by: p.deviationPercent - before.deviationPercent }];
  });
  if (steps.length < 2) return null;
  const span = steps.reduce((sum, s) => sum + s.over, 0);
  const slope = steps.reduce((sum, s) => sum + s.by, 0) / span;
  const dof = steps.length - 1;
  const squares = steps.reduce((sum, s) => sum + (s.by - slope * s.over) ** 2 / s.over, 0);
  return { slope, u: Math.sqrt(squares / dof / span), dof };
}

function driftText(verdict: DriftVerdict, deviations: readonly number[]): string {
  switch (verdict) {
    case 'drift':
      return 'more than scatter explains, even of a bench that wanders from point to point';
    case 'drift-if-independent':
      return `more than scatter explains if the points scatter independently; ${deviations.length} points do not tell that from a bench that wanders`;
    case 'wanders': {
      const largest = deviations.slice(1).reduce((most, d, i) => Math.max(most, Math.abs(d - (deviations[i] ?? d))), 0);
      return `but neighbouring points are alike about the line: the bench wandered or stepped (largest step ${largest.toFixed(3)} %), and a straight line says little of it`;
    }
    case 'none':
      return 'no more than scatter explains';
  }
}

/** Height of the trend at a time, percent from the mean: a line of least squares goes through the middle of its points. */
export function trendAt({ points, percentPerHour }: Extract<DriftTrend, { kind: 'drift' }>, time: number): number {
  const middle = points.reduce((sum, p) => sum + p.time, 0) / points.length;
  return (percentPerHour.value / 3600) * (time - middle);
}
