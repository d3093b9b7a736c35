/** Where injectors are compared unless somebody says otherwise, and how a place is said. MA-1 */
import type { Plan } from '../plan/plan.ts';
import { kilopascals, milliseconds, volts } from '../quantities/quantity.ts';
import type { MatchPoint, ReducedRun } from './candidates.ts';

/** Slope, and mass at the shortest width that every line goes through: where dead times show most. Voltage nearest to 14 V. */
export function usualPoints(plan: Plan, runs: readonly ReducedRun[]): MatchPoint[] {
  const nearest = [...plan.axes.voltageV].sort((a, b) => Math.abs(a - 14) - Math.abs(b - 14) || a - b)[0] ?? 14;
  return plan.axes.pressureKpa.flatMap((kPa): MatchPoint[] => {
    const condition = { voltage: volts(nearest), pressure: kilopascals(kPa), period: milliseconds(plan.axes.periodMs[0] ?? 20), weight: 1 };
    const shortest = runs
      .flatMap((run) => run.reduction.cells)
      .flatMap((c) => (c.kind === 'line' && c.voltage === condition.voltage && c.pressure === condition.pressure && c.period === condition.period ? [c.region.from] : []))
      .sort((a, b) => b - a)[0];
    return [{ ...condition, quantity: 'slope' }, ...(shortest === undefined ? [] : [{ ...condition, quantity: 'mass', width: shortest } as const])];
  });
}

/** A point in words. */
export function pointText(point: MatchPoint): string {
  const weight = point.weight === 1 ? '' : `, weight ${point.weight}`;
  if (point.quantity === 'static-flow') return `static flow at ${point.pressure / 1e3} kPa${weight}`;
  const width = point.quantity === 'mass' ? `, width ${(point.width * 1e3).toFixed(3)} ms` : '';
  const name = { mass: 'mass per pulse', slope: 'slope', 'dead-time': 'dead time' }[point.quantity];
  return `${name} at ${point.voltage} V, ${point.pressure / 1e3} kPa${width}, period ${point.period * 1e3} ms${weight}`;
}
