/** Repeatability from replicates, and the pulse widths that are repeatable enough. */
import { coverageFactor } from '../uncertainty/budget.ts';
import { robustPooled } from './robust.ts';
import { intervalOfSd, pooled, sampleOf, upperBoundOfSd } from './sample.ts';

export interface Repeatability {
  readonly kind: 'repeatability';
  /** Repeatability standard deviation s_r, pooled over the groups, in the unit of the values. */
  readonly sd: number;
  readonly dof: number;
  /** 95 % interval of the standard deviation, by chi-square. */
  readonly interval: { readonly low: number; readonly high: number };
  /** Repeatability limit r = 1.96 sqrt(2) s_r = 2.77 s_r: two single results differ by more in one case of twenty. */
  readonly limit: number;
  readonly groups: number;
  /** The same by algorithm S, which a few disturbed groups hardly move (ST-5); null: at least half of the groups do not scatter at all. */
  readonly robustSd: number | null;
}

export interface NoRepeatability {
  readonly kind: 'no-repeatability';
  readonly reason: 'no-replicates' | 'not-a-number';
  readonly text: string;
}

/** Half width of 95 % of the differences of two results, in standard deviations (ISO 5725-6 rounds it to 2.8). */
export const repeatabilityFactor = coverageFactor(Number.POSITIVE_INFINITY) * Math.SQRT2;

/** Pools the scatter inside the groups; groups of one value say nothing and are passed over. */
export function repeatability(groups: readonly (readonly number[])[]): Repeatability | NoRepeatability {
  if (!groups.every((values) => values.every((value) => Number.isFinite(value)))) {
    return { kind: 'no-repeatability', reason: 'not-a-number', text: 'A value is missing or not a number, so repeatability was not computed.' };
  }
  const samples = groups.filter((values) => values.length > 1).map(sampleOf);
  const common = pooled(samples);
  if (common === null) {
    return { kind: 'no-repeatability', reason: 'no-replicates', text: 'Nothing was measured twice under the same conditions, so there is no repeatability to state. Plan at least two replicates.' };
  }
  return { kind: 'repeatability', ...common, interval: intervalOfSd(common.sd, common.dof), limit: repeatabilityFactor * common.sd, groups: samples.length, robustSd: robustPooled(samples) };
}

/** Repeatability at one pulse width. `sd` is relative to the mass. */
export interface WidthRepeatability {
  readonly width: number;
  readonly sd: number;
  readonly dof: number;
}

export type LowestWidth =
  | {
      readonly kind: 'width';
      /** The shortest width at which, and above which, s_r keeps the limit. */
      readonly width: number;
      /** The same where even the upper 95 % bound of s_r keeps it; null: proved for no width. */
      readonly proved: number | null;
    }
  | { readonly kind: 'no-width'; readonly reason: 'not-measured' | 'none-within-limit'; readonly text: string };

/**
 * The shortest width from which on repeatability stays within `limit` (relative, as the widths' `sd`). Goes down from the
 * longest width and ends at the first that fails, so a width that keeps the limit by luck below one that does not is no
 * answer. Widths without degrees of freedom are passed over.
 */
export function lowestRepeatableWidth(widths: readonly WidthRepeatability[], limit: number): LowestWidth {
  const known = widths.filter((w) => w.dof > 0 && Number.isFinite(w.sd)).sort((a, b) => b.width - a.width);
  const from = (keeps: (w: WidthRepeatability) => boolean): number | null => {
    const failed = known.findIndex((w) => !keeps(w));
    return known[(failed < 0 ? known.length : failed) - 1]?.width ?? null;
  };
  const width = from((w) => w.sd <= limit);
  if (width !== null) return { kind: 'width', width, proved: from((w) => upperBoundOfSd(w.sd, w.dof) <= limit) };
  return known.length === 0
    ? { kind: 'no-width', reason: 'not-measured', text: 'No width was measured twice under the same conditions, so none can be called repeatable.' }
    : { kind: 'no-width', reason: 'none-within-limit', text: 'Not even the longest width keeps the limit of repeatability.' };
}
