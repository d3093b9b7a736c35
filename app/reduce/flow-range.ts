/** What the widths of a line say of where an injector can be used: linear flow range and lowest repeatable width. */
import { lowestRepeatableWidth } from '../statistics/repeatability.ts';
import type { LowestWidth } from '../statistics/repeatability.ts';
import type { FlowRange, WidthResult } from './reduction.ts';

/** From the longest width down while the deviation keeps the limit. RED-25. */
export function flowRange(widths: readonly WidthResult[], limitPercent: number): FlowRange | null {
  const inside = ({ deviationPercent }: WidthResult): boolean => deviationPercent !== null && Math.abs(deviationPercent) <= limitPercent;
  const end = widths.findIndex((w) => !inside(w));
  const kept = end < 0 ? widths : widths.slice(0, end);
  const [longest, shortest] = [kept[0], kept.at(-1)];
  if (longest === undefined || shortest === undefined) return null;
  return {
    limitPercent,
    ratio: longest.mass / shortest.mass,
    from: shortest.width,
    to: longest.width,
    reenters: end < 0 ? [] : widths.slice(end).filter(inside).map((w) => w.width),
  };
}

/** RED-26 */
export function lowestRepeatable(widths: readonly WidthResult[], limitPercent: number): LowestWidth {
  const known = widths.flatMap(({ width, repeatability }) => (repeatability === null ? [] : [{ width, sd: repeatability.percent / 100, dof: repeatability.dof }]));
  return lowestRepeatableWidth(known, limitPercent / 100);
}
