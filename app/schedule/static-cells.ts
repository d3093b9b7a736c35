/** Static flows that a plan wants to know (PLAN-103): how far each is, and how many windows bring it to its target (SCH-17). */
import { kilopascals, milliseconds, volts } from '../quantities/quantity.ts';
import type { Pascals } from '../quantities/quantity.ts';
import { onceMore } from '../plan/points.ts';
import type { Point } from '../plan/points.ts';
import type { Reduction } from '../reduce/reduction.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { SoFar } from './cells.ts';
import { aimOf, cellState, leastOf, mostAtOnce } from './refine.ts';

/** The static flow of one injector at one pressure. */
export interface StaticCell {
  readonly injector: number;
  readonly serialNumber: string;
  readonly pressure: Pascals;
  readonly voltage: number;
  readonly period: number;
  /** U95 that is wanted, relative. */
  readonly wanted: number;
  /** Points of it, whatever became of them. */
  readonly points: readonly Point[];
  /** U95 as it is now and what no number of windows takes off it, relative; what they are made of; null: there is no result, yet or at all. */
  readonly found: { readonly expanded: number; readonly least: number; readonly random: number; readonly coverageFactor: number; readonly windows: number; readonly largest: ErrorSource | null } | null;
}

/** Of every injector that is in the run, at each pressure of the plan; none where the plan does not want them. */
export function staticCellsOf({ plan, points, out }: SoFar, reduction: Reduction | null): readonly StaticCell[] {
  const percent = plan.targets?.staticFlowPercent;
  if (percent === undefined) return [];
  return plan.axes.pressureKpa.flatMap((kpa) =>
    plan.injectors.flatMap(({ serialNumber }, injector): readonly StaticCell[] => {
      if (out.has(injector)) return [];
      const pressure = kilopascals(kpa);
      const of = reduction?.staticFlows.find((s) => s.injector === injector && s.pressure === pressure);
      const place = { injector, serialNumber, pressure, voltage: volts(plan.static.voltageV), period: milliseconds(plan.static.periodMs), wanted: percent / 100 };
      const own = points.filter((p) => p.role === 'static' && p.injector === injector && p.pressure === pressure);
      if (of?.kind !== 'static-flow') return [{ ...place, points: own, found: null }];
      const { value, expanded, uRandom, coverageFactor } = of.flow;
      const largest = of.shared.toSorted((a, b) => Math.abs(b.effect) - Math.abs(a.effect))[0]?.source ?? null;
      return [{ ...place, points: own, found: { expanded: expanded / value, least: leastOf(of.flow) / value, random: uRandom / value, coverageFactor, windows: of.sources.length, largest } }];
    }),
  );
}

export const staticState = ({ found, wanted, points }: StaticCell, most: number) => (found === null ? 'no-line' : cellState(found, wanted, points.length < most));

/** Windows held open that bring static flows at a pressure to their targets, injector by injector; `most`: of one injector there. SCH-17 */
export function staticWishes(cells: readonly StaticCell[], most: number): readonly { readonly points: readonly Omit<Point, 'index'>[]; readonly why: string }[] {
  return cells.flatMap((cell) => {
    const { found, points, serialNumber, pressure, wanted } = cell;
    const last = points.at(-1);
    if (found === null || last === undefined) return [];
    const { expanded, least, random, coverageFactor, windows } = found;
    const aimed = aimOf(wanted, least);
    if (expanded <= aimed) return [];
    const needed = Math.ceil((windows * (coverageFactor * random) ** 2) / (aimed ** 2 - least ** 2)) - windows;
    const count = Math.min(Math.max(1, needed), mostAtOnce, most - points.length);
    if (!(count > 0)) return [];
    const text = (value: number): string => `${(100 * value).toFixed(2)} %`;
    return [{ points: Array.from({ length: count }, (_, i) => ({ ...onceMore(last), replicate: points.length + i })), why: `static flow of ${serialNumber} at ${pressure / 1e3} kPa: U95 ${text(expanded)} now, ${text(wanted)} wanted` }];
  });
}
