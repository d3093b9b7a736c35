import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../reduce/synthetic.test-helper.ts';
import { gridTables } from './all.ts';
import type { GridCell, GridTable } from './grid.ts';
import { mapTables } from './map.ts';

/** What the synthetic injectors do: 3 % more dead time for 100 kPa, told at 400 kPa. */
const effect = { percentPer100Kpa: 3, uncertaintyPercentPer100Kpa: 0.5 };

function reduced(pressureKpa: readonly number[], pressureEffect?: typeof effect): Reduction {
  const plan = syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [...pressureKpa] }, 2, pressureEffect === undefined ? {} : { pressureEffect }, { static: { replicates: 2, voltageV: 14, periodMs: 20 } });
  const points = expandPlan(plan);
  const normal = normalFrom(5);
  const attempts = points.map((point) => {
    const injector = point.role === 'static' ? { ...syntheticInjector(point.injector), deadTime: () => 0 } : syntheticInjector(point.injector);
    return { point: point.index, attempt: 1, window: syntheticWindow(point, injector, plan, syntheticEquipment, noErrors, { ...noScatter, relative: 2e-4 }, normal) };
  });
  return reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
}

const axes = { voltages: [12], pressures: [290e3, 300e3, 400e3, 460e3, 470e3] };
const rowOf = (tables: readonly GridTable[], of: string): readonly GridCell[] => tables.find((t) => t.of === of)?.cells[0] ?? [];
const reasons = (cells: readonly GridCell[]): readonly string[] => cells.map((c) => (c.kind === 'value' ? c.basis : c.reason));

describe('RED-76: flow at another pressure', () => {
  it('follows the root of the pressure from the one that was measured, with an uncertainty of its own, from 0.75 to 1.15 times', () => {
    const reduction = reduced([400]);
    const cells = rowOf(mapTables(reduction, 'slope', axes), 'S-1');
    expect(reasons(cells)).toEqual(['one-pressure', 'estimated', 'measured', 'estimated', 'one-pressure']);
    const [, at300, at400] = cells;
    if (at300?.kind !== 'value' || at400?.kind !== 'value') throw new Error('no value');
    const truth = syntheticInjector(0).slope(300e3 as never);
    expect(Math.abs(at300.result.value / truth - 1)).toBeLessThan(0.002);
    expect(at300.result.value / at400.result.value).toBeCloseTo(Math.sqrt(0.75), 9);
    // Half a width of 0.02 in the exponent over ln 0.75, beside what the measured slope has.
    const own = Math.sqrt((at300.result.u / at300.result.value) ** 2 - (at400.result.u / at400.result.value) ** 2);
    expect(own / ((0.02 / Math.sqrt(3)) * Math.abs(Math.log(0.75)))).toBeCloseTo(1, 6);
  });

  it('is one error of all injectors, so that the mean of a set keeps it', () => {
    const tables = mapTables(reduced([400]), 'slope', axes);
    const [one, mean] = ['S-1', 'Set mean'].map((of) => rowOf(tables, of)[1]);
    if (one?.kind !== 'value' || mean?.kind !== 'value') throw new Error('no value');
    expect(mean.result.uShared / mean.result.value / (one.result.uShared / one.result.value)).toBeCloseTo(1, 3);
  });

  it('is told for static flows at the pressures that are asked for, and changes nothing where two pressures were measured', () => {
    const [table] = gridTables(reduced([400]), { ...axes, widths: [] }).filter((t) => t.quantity === 'static-flow');
    expect(reasons(table?.cells[0] ?? [])).toEqual(['too-far', 'estimated', 'measured', 'estimated', 'too-far']);
    expect(gridTables(reduced([400]), { voltages: [], pressures: [], widths: [] }).filter((t) => t.quantity === 'static-flow')).toEqual([]);
    expect(reasons(rowOf(mapTables(reduced([300, 400]), 'slope', axes), 'S-1'))).toEqual(['extrapolated', 'measured', 'measured', 'extrapolated', 'extrapolated']);
  });
});

describe('RED-77, PLAN-80: dead time at another pressure', () => {
  it('is calculated only where the plan states what the pressure does to the type', () => {
    expect(reasons(rowOf(mapTables(reduced([400]), 'dead-time', axes), 'S-1'))).toEqual(['one-pressure', 'one-pressure', 'measured', 'one-pressure', 'one-pressure']);
    const cells = rowOf(mapTables(reduced([400], effect), 'dead-time', axes), 'S-1');
    expect(reasons(cells)).toEqual(['one-pressure', 'estimated', 'measured', 'estimated', 'one-pressure']);
    const [, at300, at400, at460] = cells;
    if (at300?.kind !== 'value' || at400?.kind !== 'value' || at460?.kind !== 'value') throw new Error('no value');
    for (const [cell, pressure] of [[at300, 300e3], [at460, 460e3]] as const) {
      const truth = syntheticInjector(0).deadTime(12 as never, pressure as never);
      expect(Math.abs(cell.result.value - truth)).toBeLessThan(cell.result.expanded);
    }
    const own = Math.sqrt(at300.result.u ** 2 - (0.97 * at400.result.u) ** 2);
    expect(own / (at400.result.value * 0.005)).toBeCloseTo(1, 6);
  });
});
