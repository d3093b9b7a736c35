/**
 * Which widths the line may be fitted to (RED-8 to RED-11 of README.md): from the longest down, until a width leaves the
 * line through the longer ones. Walking down and stopping at the first failure copes with curves that come back into
 * the limit below a bump where the needle bounces.
 */
import { coverageFactor } from './budget.ts';
import { fitLine, lineAt } from './regression.ts';
import normalQuantile from '@stdlib/stats-base-dists-normal-quantile';

/** All windows of one width of one cell. */
export interface WidthMean {
  readonly width: number;
  readonly mean: number;
  readonly n: number;
  /** Variance of the mean, kg^2. */
  readonly variance: number;
}

export interface RegionMember {
  /** Longest first, distinct. */
  readonly widths: readonly WidthMean[];
  /** Degrees of freedom behind the variances; 0: they are not known, and only the limit in percent is applied. */
  readonly dof: number;
}

export type RegionStop =
  | { readonly kind: 'given' }
  | { readonly kind: 'all-widths-fit' }
  /** The first width below the region and how far it lay from the line, percent. */
  | { readonly kind: 'beyond-limit' | 'significant' | 'family-significant'; readonly width: number; readonly deviationPercent: number };

export type Region =
  | { readonly kind: 'region'; readonly count: number; readonly stop: RegionStop }
  | { readonly kind: 'too-few-widths'; readonly found: number; readonly needed: number };

/** Widths that the walk starts with. */
const startWidths = 4;
/** Widths that a region given by the plan must hold, so that there is one to spare that can speak against the line. */
const givenWidths = 3;
/** A true line is cut short in this share of steps: for a member alone and for a family as a whole. */
const memberLevel = 0.01;
const familyLevel = 0.05;

/** The region that the plan gives: all widths at or above `from`. */
export function givenRegion(member: RegionMember, from: number): Region {
  const count = member.widths.filter((w) => w.width >= from * (1 - 1e-9)).length;
  return count < givenWidths ? { kind: 'too-few-widths', found: count, needed: givenWidths } : { kind: 'region', count, stop: { kind: 'given' } };
}

/**
 * Finds the regions of a family together: injectors of one type at one voltage, pressure and period bend away from
 * their lines in the same sense at about the same width, so their common deviation shows what one alone would hide.
 * Returns one region for each member, in order.
 */
export function findRegions(family: readonly RegionMember[], limitPercent: number): readonly Region[] {
  const regions: (Region | null)[] = family.map((m) =>
    m.widths.length < startWidths ? { kind: 'too-few-widths', found: m.widths.length, needed: startWidths } : null,
  );
  const familyLimit = normalQuantile(1 - familyLevel / 2, 0, 1);
  for (let count = startWidths; regions.includes(null); count += 1) {
    const steps: { readonly index: number; readonly width: number; readonly t: number; readonly deviationPercent: number; readonly limit: number }[] = [];
    family.forEach((member, index) => {
      if (regions[index] !== null) return;
      const next = member.widths[count];
      if (next === undefined) {
        regions[index] = { kind: 'region', count, stop: { kind: 'all-widths-fit' } };
        return;
      }
      const longer = member.widths.slice(0, count);
      const line = fitLine(longer.map((w) => w.width), longer.map((w) => w.mean), longer.map((w) => 1 / w.variance), 'known');
      const expected = lineAt(line, next.width);
      const deviation = next.mean - expected.value;
      steps.push({
        index,
        width: next.width,
        t: deviation / Math.sqrt(next.variance + expected.u * expected.u),
        deviationPercent: expected.value > 0 ? (100 * deviation) / expected.value : Number.POSITIVE_INFINITY,
        limit: member.dof > 0 ? coverageFactor(member.dof, 1 - memberLevel) : Number.POSITIVE_INFINITY,
      });
    });
    let sum = 0;
    for (const step of steps) sum += step.t;
    const familyFails = steps.length > 1 && steps.every((s) => s.limit < Number.POSITIVE_INFINITY) && Math.abs(sum) / Math.sqrt(steps.length) > familyLimit;
    for (const { index, width, t, deviationPercent, limit } of steps) {
      const kind =
        Math.abs(deviationPercent) > limitPercent ? 'beyond-limit' : Math.abs(t) > limit ? 'significant' : familyFails ? 'family-significant' : null;
      if (kind !== null) regions[index] = { kind: 'region', count, stop: { kind, width, deviationPercent } };
    }
  }
  return regions.filter((r) => r !== null);
}
