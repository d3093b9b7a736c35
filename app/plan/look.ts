/** The first look at each injector before the sweep: where it is measured and how long (PLAN-50 to PLAN-53 in README.md). */
import type { Plan } from './plan.ts';
import type { Point } from './points.ts';

/** What of a plan decides on its first look. */
export type LookPlan = Pick<Plan, 'axes' | 'limits' | 'look'>;

/** The second width, ms, where the duty limit allows; an injector of usual size is on its line there at any usual voltage. */
const longMs = 9;
/** The first width as part of the second: far enough from it for a slope, far enough from the dead time. */
const shortPart = 4 / 9;
/** Part of the duty limit that the longest pulse may use. */
const dutyPart = 0.9;

export function hasLook(plan: Pick<Plan, 'look'>): boolean {
  return plan.look.windowS > 0;
}

/** Supply and pulses of the first look; all from the plan alone, so that it is the same for all time. */
export function lookSetPoint(plan: LookPlan): { readonly voltageV: number; readonly pressureKpa: number; readonly widthsMs: readonly number[]; readonly periodMs: number } {
  const { look, axes, limits } = plan;
  const longest = look.longMs ?? Math.min(longMs, (dutyPart * look.periodMs * limits.dutyPercent) / 100);
  const hundredths = (ms: number) => Math.round(ms * 100) / 100;
  return {
    voltageV: look.voltageV ?? Math.max(...axes.voltageV),
    pressureKpa: axes.pressureKpa[0] ?? Number.NaN,
    // Held open first: that drives air out better than a purge.
    widthsMs: [look.periodMs, look.shortMs ?? hundredths(longest * shortPart), hundredths(longest)],
    periodMs: look.periodMs,
  };
}

/** Which of an injector's look points this is. */
export function lookPart(point: Pick<Point, 'role' | 'replicate'>): 'held' | 'short' | 'long' | null {
  return point.role === 'look' ? (['held', 'short', 'long'] as const)[point.replicate] ?? null : null;
}

/** Meter edges that a window of the first look needs: for a flow to a percent or so. */
export const lookEdges = 20;
/** After the last pulses of a look: the rail fills up, s, then what still flows is counted, s. */
export const shutGraceS = 1;
export const shutSpanS = 1;
