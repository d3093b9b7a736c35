/**
 * The invariance set and the blind windows of a plan: which there are, how many, and where they stand (PLAN-71 to PLAN-76 in README.md).
 * All of it follows from the plan alone, so that it is the same for all time.
 */
import type { Plan } from './plan.ts';

/** What of a plan decides on its invariance set and its blind windows. */
type InvariancePlan = Pick<Plan, 'injectors' | 'axes' | 'guards' | 'limits' | 'invariance' | 'blind'>;

/** The nuisance that a point of role `invariance` is measured under in place of that of the measure points it is held against. */
export type Nuisance = 'time' | 'period' | 'long-period' | 'pressure-up' | 'pressure-down';

/**
 * What each injector's windows are spent on, in this order, until its share is used up. What repeats most is the short pulse at twice the
 * period: a leak is the smallest of what the set looks for.
 */
const order = ['time', 'longPeriod', 'period', 'pressure', 'period', 'period', 'period', 'time', 'longPeriod'] as const;

const measurePoints = ({ injectors, axes }: Pick<Plan, 'injectors' | 'axes'>): number =>
  injectors.length * axes.voltageV.length * axes.pressureKpa.length * axes.widthMs.length * axes.periodMs.length * axes.replicates;

/** Windows for each injector, by nuisance; 0: the share of bench time does not reach for it. PLAN-72 */
interface SetWindows {
  readonly time: number;
  /** At twice the period, with the width of the period pairs, and with the longest. */
  readonly period: number;
  readonly longPeriod: number;
  /** At more pressure, and as many at less. */
  readonly pressure: number;
}

export function invarianceSet(plan: InvariancePlan): SetWindows {
  const { injectors, invariance, axes } = plan;
  // What is measured in one block is measured at one time.
  const blocks = axes.voltageV.length * axes.pressureKpa.length;
  // In windows of the measure points: short pulses at twice the period take twice as long for their edges.
  const cost = { time: 1, period: 2, longPeriod: 1, pressure: 2 };
  const set = { time: 0, period: 0, longPeriod: 0, pressure: 0 };
  let left = Math.floor(((invariance.percent / 100) * measurePoints(plan)) / injectors.length);
  for (const member of order) {
    if ((member === 'time' && blocks < 2) || (member === 'pressure' && !changesPressure(plan))) continue;
    if (cost[member] > left) break;
    left -= cost[member];
    set[member] += 1;
  }
  return set;
}

/** Pressures of the set, kPa; a guard of the plan, or the reach that it has, must not stop a run for them. */
export const changedPressures = ({ axes, invariance }: Pick<Plan, 'axes' | 'invariance'>): { readonly up: number; readonly down: number } => {
  const pressure = axes.pressureKpa[0] ?? Number.NaN;
  return { up: pressure * (1 + invariance.pressurePercent / 100), down: pressure * (1 - invariance.pressurePercent / 100) };
};

function changesPressure(plan: InvariancePlan): boolean {
  if (plan.invariance.pressurePercent === 0) return false;
  const { up, down } = changedPressures(plan);
  return plan.guards.every(({ signal, low = Number.NEGATIVE_INFINITY, high = Number.POSITIVE_INFINITY }) => signal !== 'pressure-kpa' || (low < down && up < high));
}

/** Widths that the set is measured with, ms: the longest, and one in the middle where dead time and flow both count. */
export function invarianceWidths({ axes }: Pick<Plan, 'axes'>): { readonly long: number; readonly middle: number } {
  const rising = axes.widthMs.toSorted((a, b) => a - b);
  return { long: rising.at(-1) ?? Number.NaN, middle: rising[Math.floor(rising.length / 2)] ?? Number.NaN };
}

/** How many blind windows a plan has. PLAN-75 */
export const blindWindows = (plan: InvariancePlan): number => Math.floor((plan.blind.percent / 100) * measurePoints(plan));

/** Indices into the axes of one blind window. */
interface BlindPlace {
  readonly pressure: number;
  readonly voltage: number;
  readonly injector: number;
  readonly width: number;
  readonly period: number;
}

/**
 * Spread evenly over the cells of the plan, with widths from the longer half of its widths in turn, where the flow curve is straight.
 * PLAN-75
 */
export function blindPlaces(plan: InvariancePlan): readonly BlindPlace[] {
  const { injectors, axes } = plan;
  const rising = axes.widthMs.map((_, i) => i).sort((a, b) => (axes.widthMs[a] ?? 0) - (axes.widthMs[b] ?? 0));
  const longer = rising.slice(Math.floor(rising.length / 2));
  const count = blindWindows(plan);
  const cells = injectors.length * axes.voltageV.length * axes.pressureKpa.length * axes.periodMs.length;
  return Array.from({ length: count }, (_, i) => {
    let cell = Math.floor(((i + 0.5) * cells) / count);
    const take = (of: number): number => {
      const index = cell % of;
      cell = Math.floor(cell / of);
      return index;
    };
    const injector = take(injectors.length);
    const period = take(axes.periodMs.length);
    const voltage = take(axes.voltageV.length);
    return { injector, period, voltage, pressure: cell, width: longer[i % longer.length] ?? 0 };
  });
}

/** Shifts of the commanded width that a blind window may have, s, by the plan: inside its widths, its duty limit and `blind.mostUs`. PLAN-76 */
export function blindShifts(plan: Pick<Plan, 'axes' | 'limits' | 'blind'>, { width, period }: { readonly width: number; readonly period: number }): { readonly low: number; readonly high: number } {
  const most = plan.blind.mostUs * 1e-6;
  const longest = Math.min(Math.max(...plan.axes.widthMs) * 1e-3, (period * plan.limits.dutyPercent) / 100);
  const shortest = Math.min(...plan.axes.widthMs) * 1e-3;
  return { low: Math.max(-most, shortest - width), high: Math.min(most, Math.max(0, longest - width)) };
}
