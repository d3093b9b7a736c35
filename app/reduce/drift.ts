/** Drift of the bench and the injector over a run, by the reference point that is measured again and again. RED-38. */
import { coverageFactor, result } from '../uncertainty/budget.ts';
import type { Result } from '../uncertainty/budget.ts';
import { fitLine } from './regression.ts';
import type { Reduction, Source } from './reduction.ts';

/** When an attempt was measured. */
export interface MeasuredAt extends Source {
  /** Any clock that goes on through the whole run, s. */
  readonly time: number;
}

export type Drift =
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

/** Shared errors of the instruments do not drift and cancel; what the line does not explain is taken as scatter. */
export function driftOf(reduction: Reduction, times: readonly MeasuredAt[]): Drift {
  const timeOf = new Map(times.map(({ point, attempt, time }) => [`${point}:${attempt}`, time]));
  const masses = reduction.windows.flatMap(({ point, attempt, at, outcome }) => {
    const time = timeOf.get(`${point}:${attempt}`);
    return at.role === 'reference' && outcome.kind === 'mass' && time !== undefined && Number.isFinite(time) ? [{ time, mass: outcome.mass }] : [];
  });
  if (masses.length === 0) return { kind: 'no-drift', reason: 'no-reference', text: 'No reference point was measured, so drift is not known. Give the plan a reference.' };
  const distinct = new Set(masses.map((m) => m.time)).size;
  if (distinct < 3) return { kind: 'no-drift', reason: 'too-few', text: `Drift needs three reference points at different times; ${distinct} are there.` };
  const mean = masses.reduce((sum, m) => sum + m.mass, 0) / masses.length;
  const points = masses.map(({ time, mass }) => ({ time, mass, deviationPercent: 100 * (mass / mean - 1) })).sort((a, b) => a.time - b.time);
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
