/** Reference points over the time of the run: did bench, fluid or injector change while the run was measured? */
import { fitLine } from '../../../app/reduce/regression.ts';
import { coverageFactor } from '../../../app/uncertainty/budget.ts';
import type { RunResults } from './results.ts';

interface DriftRow {
  readonly point: number;
  readonly attempt: number;
  /** Unix ms. */
  readonly at: number;
  /** Since the first of them, h. */
  readonly hours: number;
  /** kg, referred to plan pressure and reference temperature. */
  readonly mass: number | null;
  readonly why: string;
  /** From the mean of all, percent, and its U95 (random part only). */
  readonly deviationPercent: number | null;
  readonly deviationU95Percent: number | null;
}

export interface Drift {
  readonly rows: readonly DriftRow[];
  readonly mean: number | null;
  /** Standard deviation of the masses, percent of the mean; null: fewer than two. */
  readonly sdPercent: number | null;
  /** Straight line through them, percent per hour, with U95; null: fewer than three, or no time between them. */
  readonly trend: { readonly perHour: number; readonly u95: number; readonly significant: boolean; readonly at: (hours: number) => number; readonly overRun: number } | null;
}

/** `timeOf`: when an attempt ended, Unix ms. */
export function driftOf({ masses }: Pick<RunResults, 'masses'>, timeOf: (point: number, attempt: number) => number | undefined): Drift {
  const found = masses
    .filter(({ at }) => at.role === 'reference')
    .flatMap((m) => {
      const at = timeOf(m.point, m.attempt);
      return at === undefined ? [] : [{ ...m, time: at }];
    })
    .sort((a, b) => a.time - b.time);
  const start = found[0]?.time ?? 0;
  const known = found.flatMap(({ mass, time }) => (mass === null ? [] : [{ mass, hours: (time - start) / 3.6e6 }]));
  const mean = known.length === 0 ? null : known.reduce((sum, k) => sum + k.mass, 0) / known.length;
  const percent = (mass: number): number | null => (mean === null ? null : (100 * (mass - mean)) / mean);
  const rows = found.map(({ point, attempt, mass, why, uRandom, time }): DriftRow => ({
    point,
    attempt,
    at: time,
    hours: (time - start) / 3.6e6,
    mass,
    why,
    deviationPercent: mass === null ? null : percent(mass),
    deviationU95Percent: mass === null || uRandom === 0 ? null : 100 * coverageFactor(Number.POSITIVE_INFINITY) * uRandom,
  }));
  return { rows, mean, sdPercent: mean === null ? null : sdPercent(known.map((k) => k.mass), mean), trend: mean === null ? null : trendOf(known, mean) };
}

function sdPercent(masses: readonly number[], mean: number): number | null {
  if (masses.length < 2) return null;
  return (100 * Math.sqrt(masses.reduce((sum, m) => sum + (m - mean) ** 2, 0) / (masses.length - 1))) / mean;
}

/** Ordinary least squares; the scatter about the line is the uncertainty, so nothing is assumed of it. */
function trendOf(known: readonly { readonly mass: number; readonly hours: number }[], mean: number): Drift['trend'] {
  const span = (known.at(-1)?.hours ?? 0) - (known[0]?.hours ?? 0);
  if (known.length < 3 || span <= 0) return null;
  const fit = fitLine(
    known.map((k) => k.hours),
    known.map((k) => (100 * (k.mass - mean)) / mean),
    null,
    'estimated',
  );
  const u95 = coverageFactor(fit.dof) * Math.sqrt(fit.varianceOfSlope);
  const centre = known.reduce((sum, k) => sum + k.hours, 0) / known.length;
  return { perHour: fit.slope, u95, significant: Math.abs(fit.slope) > u95, at: (hours) => fit.slope * (hours - centre), overRun: fit.slope * span };
}
