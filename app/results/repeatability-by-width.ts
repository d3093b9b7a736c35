/** Repeatability of mass per pulse over pulse width, pooled over the injectors and voltages of one pressure and period. */
import type { Pascals, Seconds } from '../quantities/quantity.ts';
import { lowestRepeatableWidth, repeatability, type LowestWidth, type NoRepeatability, type Repeatability } from '../statistics/repeatability.ts';
import { replicateGroups, type OneMass } from './replicates.ts';
import { sampleOf } from '../statistics/sample.ts';

export interface RepeatabilityByWidth {
  readonly pressure: Pascals;
  readonly period: Seconds;
  /** The longest width first; relative to the mass. */
  readonly widths: readonly { readonly width: Seconds; readonly repeatability: Repeatability | NoRepeatability }[];
  readonly lowest: LowestWidth;
}

/** One entry for each pressure and period, in that order. `limitPercent`: s_r that a usable width may have. */
export function repeatabilityByWidth(masses: readonly OneMass[], limitPercent: number): readonly RepeatabilityByWidth[] {
  const conditions = new Map<string, { readonly pressure: Pascals; readonly period: Seconds; readonly widths: Map<Seconds, number[][]> }>();
  for (const { at, replicates } of replicateGroups(masses)) {
    const key = `${at.pressure}|${at.period}`;
    const condition = conditions.get(key) ?? { pressure: at.pressure, period: at.period, widths: new Map<Seconds, number[][]>() };
    conditions.set(key, condition);
    const masses = replicates.map((r) => r.mass);
    const { mean } = sampleOf(masses);
    const relative = masses.map((mass) => mass / mean);
    const groups = condition.widths.get(at.width);
    if (groups === undefined) condition.widths.set(at.width, [relative]);
    else groups.push(relative);
  }
  return [...conditions.values()]
    .sort((a, b) => a.pressure - b.pressure || a.period - b.period)
    .map(({ pressure, period, widths }) => {
      const stated = [...widths].sort(([a], [b]) => b - a).map(([width, groups]) => ({ width, repeatability: repeatability(groups) }));
      const known = stated.flatMap(({ width, repeatability: r }) => (r.kind === 'repeatability' ? [{ width, sd: r.sd, dof: r.dof }] : []));
      return { pressure, period, widths: stated, lowest: lowestRepeatableWidth(known, limitPercent / 100) };
    });
}

/** From which width on injectors repeat within the limit, and from which it is proved, in a sentence. */
export function lowestWidthText(lowest: RepeatabilityByWidth['lowest'], limitPercent: number): string {
  if (lowest.kind === 'no-width') return lowest.text;
  const proved = lowest.proved === null ? 'for none is it proved' : `proved (upper 95 % bound) from ${(lowest.proved * 1e3).toFixed(3)} ms`;
  return `Repeats within ${limitPercent} % from ${(lowest.width * 1e3).toFixed(3)} ms up; ${proved}.`;
}
