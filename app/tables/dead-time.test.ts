import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import type { Point } from '../plan/points.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { noErrors, normalFrom, quietScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../reduce/synthetic.test-helper.ts';
import { deadTimeTables, setMeanColumn, slopeTables } from './dead-time.ts';
import { mapTables } from './map.ts';
import type { TableCell } from './table.ts';

// Each voltage its own slope: what slopes of a type have in common does not average away.
const plan = syntheticPlan({ voltageV: [14, 9], pressureKpa: [300, 400] }, 4, { slopeOverVoltage: 'own' });
const points = expandPlan(plan);

function reduction(keep: (point: Point) => boolean = () => true): Reduction {
  const normal = normalFrom(5);
  const attempts = points.map((point) => ({
    point: point.index,
    attempt: 1 + (point.index % 3),
    window: syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, noErrors, quietScatter, normal),
  }));
  return reduceRun({ plan, equipment: syntheticEquipment, points, attempts: attempts.filter((a) => keep(points[a.point] as Point)) });
}

function valueOf(cell: TableCell | undefined): Extract<TableCell, { kind: 'value' }> {
  if (cell?.kind !== 'value') throw new Error('no value');
  return cell;
}

describe('tables of dead time and slope', () => {
  it('RED-20: stand over voltage for each injector and the set, one for each pressure', () => {
    for (const tables of [deadTimeTables(reduction()), slopeTables(reduction())]) {
      expect(tables.map((t) => t.pressure)).toEqual([300e3, 400e3]);
      for (const table of tables) {
        expect(table.columns.map((c) => c.title)).toEqual(['S-1', 'S-2', 'S-3', 'S-4', 'Set mean']);
        expect(table.columns.at(-1)?.id).toBe(setMeanColumn);
        expect(table.rows.map((r) => r.voltage)).toEqual([9, 14]);
        for (const row of table.rows) expect(row.cells).toHaveLength(table.columns.length);
      }
    }
  });

  it('RED-20: every value names the attempts that it was computed from, and they lie in its cell', () => {
    for (const table of deadTimeTables(reduction())) {
      for (const { voltage, cells } of table.rows) {
        cells.slice(0, 4).forEach((cell, injector) => {
          const { sources } = valueOf(cell);
          expect(sources.length).toBeGreaterThanOrEqual(12);
          for (const { point, attempt } of sources) {
            expect(points[point]).toMatchObject({ injector, voltage, pressure: table.pressure });
            expect(attempt).toBe(1 + (point % 3));
          }
        });
      }
    }
  });

  it('RED-21: a cell without a value says why', () => {
    const [table] = deadTimeTables(reduction((p) => !(p.injector === 2 && p.voltage === 9)));
    const missing = table?.rows[0]?.cells[2];
    expect(missing).toMatchObject({ kind: 'missing', reason: 'not-measured' });
    expect(missing?.kind === 'missing' && missing.text).toMatch(/^[A-Z].*\.$/);
  });

  it('RED-22: the set mean is to the last bit that of the map at the same place', () => {
    const made = reduction();
    for (const [tables, quantity] of [[deadTimeTables(made), 'dead-time'], [slopeTables(made), 'slope']] as const) {
      const map = mapTables(made, quantity, { voltages: [], pressures: [] }).at(-1);
      tables.forEach((table, column) =>
        table.rows.forEach(({ cells }, row) => {
          expect(map?.cells[row]?.[column]).toMatchObject({ kind: 'value', basis: 'measured', result: valueOf(cells.at(-1)).result });
        }),
      );
    }
  });

  it('RED-22: has no set mean where a member is missing', () => {
    const [table] = deadTimeTables(reduction((p) => !(p.injector === 2 && p.voltage === 9)));
    expect(table?.rows[0]?.cells.at(-1)).toMatchObject({ kind: 'missing', reason: 'member-missing' });
    expect(table?.rows[1]?.cells.at(-1)?.kind).toBe('value');
  });

  it('RED-22: the set mean averages random parts and keeps the instruments whole', () => {
    for (const table of [...deadTimeTables(reduction()), ...slopeTables(reduction())]) {
      for (const { cells } of table.rows) {
        const members = cells.slice(0, 4).map((c) => valueOf(c).result);
        const mean = valueOf(cells.at(-1)).result;
        const average = (read: (r: (typeof members)[number]) => number): number => members.reduce((sum, r) => sum + read(r), 0) / 4;
        expect(mean.value / average((r) => r.value)).toBeCloseTo(1, 12);
        expect(mean.uRandom / (Math.hypot(...members.map((r) => r.uRandom)) / 4)).toBeCloseTo(1, 12);
        expect(mean.uShared / average((r) => r.uShared)).toBeCloseTo(1, 2);
        expect(mean.dofRandom).toBeGreaterThan(Math.min(...members.map((r) => r.dofRandom)));
      }
    }
  });
});
