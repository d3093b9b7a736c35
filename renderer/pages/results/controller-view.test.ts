import { describe, expect, it } from 'vitest';
import { controllerTables } from '../../../app/handover/build.ts';
import { parseLayout } from '../../../app/handover/layout.ts';
import { madeRun, syntheticPlan } from '../../../app/results/synthetic-run.test-helper.ts';
import { clipboardText, shownGrid, tableSentence, tablesOfInjector, withoutLayout } from './controller-view.ts';

const run = madeRun({ plan: syntheticPlan({ voltageV: [9, 12, 14], pressureKpa: [300, 400] }, 2) });

function mine(layout = withoutLayout, injector = 1) {
  const tables = tablesOfInjector(run, injector, layout);
  if (typeof tables === 'string') throw new Error(tables);
  return tables;
}

function first<T>(list: readonly T[]): T {
  const [one] = list;
  if (one === undefined) throw new Error('none');
  return one;
}

describe('TAB-22: tables for a controller on the page Results', () => {
  it('are those of the files, of one injector', () => {
    const built = controllerTables({ plan: run.plan, equipment: run.equipment, reduction: { ...run.reduction, windows: [] }, layout: withoutLayout });
    if (!built.ok) throw new Error(built.text);
    const { serialNumber = '' } = run.plan.injectors[1] ?? {};
    const expected = built.tables.filter((t) => t.of === serialNumber);
    // Files count tables over all injectors in their names.
    expect(mine().map((table) => ({ ...table, id: '' }))).toEqual(expected.map((table) => ({ ...table, id: '' })));
  });

  it('are copied in rows and columns, tabs between, with or without headings and either axis down, as the layout says', () => {
    const [deadTime] = mine();
    if (deadTime === undefined) throw new Error('no table');
    const values = deadTime.cells.map((c) => ('value' in c ? String(c.value) : ''));
    expect(clipboardText(deadTime, withoutLayout, 'value').split('\n').map((line) => line.split('\t'))).toEqual([
      ['supply voltage at the injector, V', 'differential pressure 300 kPa', 'differential pressure 400 kPa'], ['9', values[0], values[1]], ['12', values[2], values[3]], ['14', values[4], values[5]],
    ]);
    const parsed = parseLayout({ layoutVersion: 1, name: 'x', csv: { separator: 'semicolon', down: 'second', headings: false } });
    if (!parsed.ok) throw new Error('layout');
    expect(clipboardText(deadTime, parsed.layout, 'value').split('\n').map((line) => line.split('\t'))).toEqual([['', '9', '12', '14'], ['300', values[0], values[2], values[4]], ['400', values[1], values[3], values[5]]]);
    const [cell] = deadTime.cells;
    expect(clipboardText(deadTime, parsed.layout, 'U95').split('\n')[1]?.split('\t')[1]).toBe(String(cell !== undefined && 'U95' in cell ? cell.U95 : ''));
  });

  it('show U and basis beside each number, and say what is missing and why', () => {
    const parsed = parseLayout({ layoutVersion: 1, name: 'x', axes: { voltagesV: [3, 10, 12], pressuresKpa: [400] }, deadTime: { unit: 'us', resolution: 1 } });
    if (!parsed.ok) throw new Error('layout');
    const table = first(mine(parsed.layout));
    const grid = shownGrid(table);
    expect(grid.columns).toEqual(['supply voltage at the injector', 'µs']);
    expect(grid.rows.map((r) => r.head)).toEqual(['3 V', '10 V', '12 V']);
    expect(grid.rows[1]?.cells[0]).toMatch(/^\d+ ± \d\.?\d* \(interpolated\)$/);
    expect(grid.rows[2]?.cells[0]).toMatch(/^\d+ ± \d\.?\d*$/);
    expect(grid.missing).toEqual([{ where: '3 V', why: expect.stringContaining('too far outside') as string }]);
    // The slope is the same at all voltages here: nothing is said of what lies between.
    expect(tableSentence(first(mine(parsed.layout).filter((t) => t.quantity === 'slope')))).not.toContain('Between');
    expect(tableSentence(table)).toMatch(/^At differential pressure 400 kPa, period 20 ms\. Rounded to steps of 1 us.* Between the breakpoints linear interpolation is off by [\d.]+ us at most\.$/);
  });
});
