/** Cells of the map that a plan wants, on axes of its own: what the tables of the results would tell of them now (PLAN-101). */
import { wantedUs } from '../plan/wanted.ts';
import { kilopascals, milliseconds, volts } from '../quantities/quantity.ts';
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';
import type { Reduction } from '../reduce/reduction.ts';
import type { GridCell } from '../tables/grid.ts';
import { mapTables } from '../tables/map.ts';
import { ownerOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { SoFar } from './cells.ts';
import { leastOf } from './refine.ts';

/** One cell of the map of one injector. */
export interface MapCell {
  readonly of: 'dead-time' | 'slope';
  readonly injector: number;
  readonly serialNumber: string;
  readonly voltage: Volts;
  readonly pressure: Pascals;
  readonly period: Seconds;
  /** U95 that is wanted, s, of a slope relative. */
  readonly wanted: number;
  /** As the tables tell it now. */
  readonly told: GridCell;
}

const notBegun: GridCell = { kind: 'missing', reason: 'not-measured', text: 'Nothing that it rests on was measured yet.' };

/** Cells of the map of every injector that is in the run, in the order of pressure, injector and voltage; none where the plan wants no map. */
export function mapCellsOf({ plan, out }: SoFar, reduction: Reduction | null): readonly MapCell[] {
  const map = plan.targets?.map;
  if (map === undefined) return [];
  const axes = { voltages: map.voltageV.map(volts), pressures: map.pressureKpa.map(kilopascals) };
  const { slopePercent } = map;
  const quantities: readonly { readonly of: MapCell['of']; readonly wanted: (voltage: number) => number }[] = [
    { of: 'dead-time', wanted: (v) => (wantedUs(map, v) ?? Number.POSITIVE_INFINITY) * 1e-6 },
    ...(slopePercent === undefined ? [] : [{ of: 'slope', wanted: () => slopePercent / 100 } as const]),
  ];
  return quantities.flatMap(({ of, wanted }) => {
    const tables = reduction === null ? [] : mapTables(reduction, of, axes);
    return plan.axes.periodMs.flatMap((periodMs) =>
      axes.pressures.flatMap((pressure, column) =>
        plan.injectors.flatMap(({ serialNumber }, injector): readonly MapCell[] => {
          if (out.has(injector)) return [];
          const period = milliseconds(periodMs);
          const table = tables.find((t) => t.of === serialNumber && t.period === period);
          return axes.voltages.map((voltage, row) => ({ of, injector, serialNumber, voltage, pressure, period, wanted: wanted(voltage), told: table?.cells[row]?.[column] ?? notBegun }));
        }),
      ),
    );
  });
}

/** U95 of a cell and what no number of windows takes off it, in the unit of what is wanted; null: the tables tell nothing there. */
export function statedOf({ told, of }: MapCell): { readonly expanded: number; readonly least: number } | null {
  if (told.kind === 'missing') return null;
  const { value, expanded } = told.result;
  const unit = of === 'slope' ? value : 1;
  return { expanded: expanded / unit, least: leastOf(told.result) / unit };
}

/** The largest part of a cell that windows do not make smaller. */
export function largestPart({ told }: MapCell): ErrorSource | null {
  if (told.kind === 'missing') return null;
  const parts = [...told.carried.parts.values()].filter((part) => part.kind === 'shared');
  return parts.toSorted((a, b) => Math.abs(b.effect) - Math.abs(a.effect))[0]?.source ?? null;
}

/** What would have to be measured where the curve between measured places is what stands in the way; empty: it is not. */
export function toMeasureAsWell(cell: MapCell): string {
  if (cell.told.kind === 'missing') return cell.told.text;
  const largest = largestPart(cell);
  if (largest === null || ownerOf(largest) !== 'interpolation') return '';
  return largest.place === 'voltage' ? `Measure ${cell.voltage} V as well.` : `Measure ${cell.pressure / 1e3} kPa as well.`;
}
