import { describe, expect, it } from 'vitest';
import { runTrials } from '../results/line-trials.ts';
import { madeRun, syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { deadTimeTables, slopeTables } from '../tables/dead-time.ts';
import { shortPulseTables } from '../tables/short-pulse.ts';
import { controllerDocument, controllerTables } from './build.ts';
import { documentSchema, valueIn } from './document.ts';
import type { ControllerCell, ControllerTable } from './document.ts';
import { gridRows } from './grid-rows.ts';
import { parseLayout, plainLayout } from './layout.ts';
import type { ControllerLayout } from './layout.ts';
import { lookUp } from './lookup.ts';

const plan = { ...syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 400] }, 2) };
const run = madeRun({ plan });

function layoutOf(input: object): ControllerLayout {
  const parsed = parseLayout({ layoutVersion: 1, name: 'Example controller', ...input });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.layout;
}

function tablesWith(layout: ControllerLayout, of = run): readonly ControllerTable[] {
  const built = controllerTables({ plan: of.plan, equipment: of.equipment, reduction: { ...of.reduction, windows: [] }, layout });
  if (!built.ok) throw new Error(built.text);
  return built.tables;
}

function one(tables: readonly ControllerTable[], quantity: ControllerTable['quantity'], of = 'S-1'): ControllerTable {
  const found = tables.find((t) => t.quantity === quantity && t.of === of);
  if (found === undefined) throw new Error(`no ${quantity} of ${of}`);
  return found;
}

type Valued = Extract<ControllerCell, { value: number }>;
function valued(cell: ControllerCell | undefined): Valued {
  if (cell === undefined || !('value' in cell)) throw new Error(cell === undefined ? 'no cell' : cell.text);
  return cell;
}

describe('layouts', () => {
  it('TAB-1: say everything that is wrong with them, with its place', () => {
    const parsed = parseLayout({ layoutVersion: 1, name: 'x', axes: { voltagesV: [12, 9] }, shortPulse: { over: 'mass' }, wiringDrop: { volts: 1 } });
    expect(parsed).toMatchObject({ ok: false, problems: [{ path: 'axes.voltagesV[1]' }, { path: 'axes.massesMg' }] });
    expect(parseLayout({ layoutVersion: 1, name: 'x', axes: { voltagesV: [0.4, 9] }, wiringDrop: { volts: 0.5 } })).toMatchObject({ ok: false, problems: [{ path: 'axes.voltagesV[0]' }] });
    expect(parseLayout({ layoutVersion: 1, name: 'a\u0007b' })).toMatchObject({ ok: false, problems: [{ path: 'name' }] });
    expect(parseLayout({ layoutVersion: 1, name: 'x', deadTime: { resolution: 0 } })).toMatchObject({ ok: false });
  });
});

describe('tables for a controller', () => {
  it('TAB-2, TAB-3: are, without a layout, the numbers of the reduction where it measured, with U, k, degrees of freedom and basis', () => {
    const tables = tablesWith(plainLayout);
    const reduction = { ...run.reduction, windows: [] };
    for (const [quantity, measured] of [['dead-time', deadTimeTables(reduction)], ['slope', slopeTables(reduction)]] as const) {
      for (const of of ['S-1', 'S-2', 'Set mean']) {
        const table = one(tables, quantity, of);
        expect(table.axes.map((a) => a.values)).toEqual([[9, 10.5, 12, 14, 16], [300, 400]]);
        table.cells.forEach((cell, i) => {
          const [voltage, pressure] = [table.axes[0]?.values[Math.floor(i / 2)], [300e3, 400e3][i % 2]];
          const from = measured.find((t) => Math.abs(t.pressure - (pressure ?? 0)) < 1);
          const expected = from?.rows.find((r) => r.voltage === voltage)?.cells[from.columns.findIndex((c) => c.title === of)];
          if (expected?.kind !== 'value') throw new Error('no value');
          const { value, U95, k, basis } = valued(cell);
          expect(value).toBe(Number((expected.result.value * 1e3).toPrecision(12)));
          // Effects below any digit are no sources of a document, so the twelfth digit may be another.
          expect(U95 / (expected.result.expanded * 1e3)).toBeCloseTo(1, 10);
          expect(k).toBeCloseTo(expected.result.coverageFactor, 10);
          expect(basis).toBe('measured');
        });
      }
    }
    const short = one(tables, 'short-pulse-correction');
    const expected = shortPulseTables(reduction, []).find((t) => t.of === 'S-1');
    expect(short.cells.map(valueIn)).toEqual(expected?.cells.flat().map((c) => (c.kind === 'value' ? Number((c.result.value * 1e6).toPrecision(12)) : null)));
    const document = controllerDocument({ software: 's', run: { id: 'r', order: '', beganUtc: 'b', archiveId: 'a', archiveHead: 'h' }, notTraceable: [], layout: plainLayout, tables });
    expect(documentSchema.parse(document)).toEqual(document);
    expect(new Set(tables.map((t) => t.id)).size).toBe(tables.length);
  });

  it('TAB-3: say why where there is no value', () => {
    const cell = one(tablesWith(layoutOf({ axes: { voltagesV: [3, 12] } })), 'dead-time').cells[0];
    expect(cell).toMatchObject({ missing: 'too-far' });
    expect(cell !== undefined && 'text' in cell && cell.text).toContain('too far outside');
  });

  it('TAB-4: are those of the curve between what was measured, and say so', () => {
    const table = one(tablesWith(layoutOf({ axes: { voltagesV: [9, 11, 13, 15], pressuresKpa: [350] } })), 'dead-time');
    expect(table.axes.map((a) => a.name)).toEqual(['supply voltage at the injector']);
    expect(table.conditions).toContainEqual({ name: 'differential pressure', value: 350, unit: 'kPa' });
    const values = table.cells.map((c) => valued(c));
    expect(values.map((c) => c.basis)).toEqual(['interpolated', 'interpolated', 'interpolated', 'interpolated']);
    expect(values.every((c, i) => i === 0 || c.value < (values[i - 1]?.value ?? 0))).toBe(true);
  });

  it('TAB-5: state flow in the units of the trade, volumes with their density, and the pressure', () => {
    const inUnit = (unit: string, more = {}) => one(tablesWith(layoutOf({ axes: { pressuresKpa: [400], voltagesV: [14] }, flow: { unit, ...more } })), 'slope');
    const grams = valued(inUnit('g/s').cells[0]);
    expect(valued(inUnit('mg/ms').cells[0]).value).toBe(grams.value);
    expect(valued(inUnit('g/min').cells[0]).value).toBeCloseTo(grams.value * 60, 8);
    expect(valued(inUnit('lb/h').cells[0]).value).toBeCloseTo((grams.value * 3600) / 453.59237, 9);
    const cc = inUnit('cc/min', { densityKgPerM3: 750 });
    expect(valued(cc.cells[0]).value).toBeCloseTo((grams.value * 60) / 0.75, 9);
    expect(valued(cc.cells[0]).U95 / valued(cc.cells[0]).value).toBeCloseTo(grams.U95 / grams.value, 10);
    expect(cc.conditions).toEqual(expect.arrayContaining([{ name: 'differential pressure', value: 400, unit: 'kPa' }, { name: 'density that turns mass into volume', value: 750, unit: 'kg/m3' }]));
    // 0.684 kg/L: the fluid of the run at the reference temperature, where the layout names no other.
    expect(inUnit('cc/min').conditions.find((c) => c.unit === 'kg/m3')?.value).toBeCloseTo(683.8, 0);
  });

  it('TAB-6: over battery voltage are those of the injector at less, with what the drop is not known by', () => {
    const axes = { voltagesV: [10, 12, 14], pressuresKpa: [400] };
    const at = one(tablesWith(layoutOf({ axes: { ...axes, voltagesV: axes.voltagesV.map((v) => v - 0.6) } })), 'dead-time').cells.map((c) => valued(c));
    const sure = one(tablesWith(layoutOf({ axes, wiringDrop: { volts: 0.6 } })), 'dead-time');
    expect(sure.axes[0]).toEqual({ name: 'battery voltage', unit: 'V', values: axes.voltagesV });
    sure.cells.forEach((c, i) => {
      expect(valued(c).value).toBeCloseTo(at[i]?.value ?? 0, 9);
      expect(valued(c).U95).toBeCloseTo(at[i]?.U95 ?? 0, 9);
    });
    const unsure = one(tablesWith(layoutOf({ axes, wiringDrop: { volts: 0.6, expandedVolts: 0.4 } })), 'dead-time').cells.map((c) => valued(c));
    const near = (v: number) => valued(one(tablesWith(layoutOf({ axes: { ...axes, voltagesV: [v] } })), 'dead-time').cells[0]).value;
    unsure.forEach((c, i) => {
      const v = (axes.voltagesV[i] ?? 0) - 0.6;
      const steep = (near(v + 0.1) - near(v - 0.1)) / 0.2;
      const u = Math.hypot((at[i]?.U95 ?? 0) / (at[i]?.k ?? 1), steep * 0.2);
      expect(c.U95 / c.k / u).toBeGreaterThan(0.97);
      expect(c.U95 / c.k / u).toBeLessThan(1.03);
      expect(c.value).toBe(valued(sure.cells[i]).value);
    });
  });

  it('TAB-8: are rounded to steps of the controller, which U counts', () => {
    const axes = { voltagesV: [10, 12], pressuresKpa: [400] };
    const exact = one(tablesWith(layoutOf({ axes })), 'dead-time').cells.map((c) => valued(c));
    const rounded = one(tablesWith(layoutOf({ axes, deadTime: { unit: 'us', resolution: 4 } })), 'dead-time').cells.map((c) => valued(c));
    rounded.forEach((c, i) => {
      expect(c.value % 4).toBe(0);
      expect(Math.abs(c.value - c.unrounded)).toBeLessThanOrEqual(2);
      expect(c.unrounded).toBeCloseTo((exact[i]?.value ?? 0) * 1e3, 6);
      // JCGM 100:2008, F.2.2.1: 0.29 of a step.
      expect(c.U95 / c.k).toBeCloseTo(Math.hypot(((exact[i]?.U95 ?? 0) * 1e3) / (exact[i]?.k ?? 1), 4 / Math.sqrt(12)), 6);
    });
  });

  it('TAB-9: say how far linear interpolation lies off the curve between their breakpoints', () => {
    const coarse = one(tablesWith(layoutOf({ axes: { voltagesV: [9, 16], pressuresKpa: [400] } })), 'dead-time');
    const middle = valued(one(tablesWith(layoutOf({ axes: { voltagesV: [12.5], pressuresKpa: [400] } })), 'dead-time').cells[0]);
    expect(coarse.betweenBreakpoints?.at).toEqual([12.5]);
    expect(coarse.betweenBreakpoints?.most).toBeCloseTo(Math.abs((lookUp(coarse, [12.5]) ?? 0) - middle.value), 9);
    const fine = one(tablesWith(layoutOf({ axes: { voltagesV: [9, 10, 11, 12, 13, 14, 15, 16], pressuresKpa: [400] } })), 'dead-time');
    expect(fine.betweenBreakpoints?.most).toBeLessThan((coarse.betweenBreakpoints?.most ?? 0) / 10);
    expect(one(tablesWith(layoutOf({ axes: { voltagesV: [12], pressuresKpa: [400] } })), 'dead-time').betweenBreakpoints).toBeNull();
  });

  it('TAB-10: lie in rows and columns as the layout says', () => {
    const axes = { voltagesV: [9, 12, 14], pressuresKpa: [300, 400] };
    const table = one(tablesWith(layoutOf({ axes })), 'dead-time');
    const values = table.cells.map(valueIn);
    expect(gridRows(table, plainLayout)).toEqual({
      headings: ['supply voltage at the injector, V', 'differential pressure 300 kPa', 'differential pressure 400 kPa'],
      rows: [[9, values[0], values[1]], [12, values[2], values[3]], [14, values[4], values[5]]],
    });
    expect(gridRows(table, layoutOf({ csv: { down: 'second', headings: false } }))).toEqual({ headings: null, rows: [[null, 9, 12, 14], [300, values[0], values[2], values[4]], [400, values[1], values[3], values[5]]] });
    const curve = one(tablesWith(layoutOf({ axes: { ...axes, pressuresKpa: [400] } })), 'dead-time');
    expect(gridRows(curve, plainLayout)).toEqual({ headings: ['supply voltage at the injector, V', 'Time-Offset X (dead time), ms'], rows: [[9, values[1]], [12, values[3]], [14, values[5]]] });
    const number = one(tablesWith(layoutOf({ axes: { voltagesV: [12], pressuresKpa: [400] } })), 'dead-time');
    expect(gridRows(number, layoutOf({ csv: { headings: false } }))).toEqual({ headings: null, rows: [[values[3]]] });
  });
});

describe('a lookup', () => {
  const table = { axes: [{ name: 'battery voltage' as const, unit: 'V' as const, values: [10, 14] }, { name: 'differential pressure' as const, unit: 'kPa' as const, values: [300, 400, 500] }], cells: [1, 2, 4, 5, 6, 8].map((value) => ({ value, unrounded: value, U95: 0, k: 2, dof: null, basis: 'measured' as const })) };
  it('TAB-9: is linear along both axes, and keeps the end value beyond them', () => {
    expect(lookUp(table, [10, 300])).toBe(1);
    expect(lookUp(table, [14, 500])).toBe(8);
    expect(lookUp(table, [12, 350])).toBe(3.5);
    expect(lookUp(table, [13, 450])).toBe(0.25 * 3 + 0.75 * 7);
    expect(lookUp(table, [2, 900])).toBe(4);
    expect(lookUp({ axes: [], cells: table.cells.slice(0, 1) }, [])).toBe(1);
  });
  it('tells nothing where a cell that it needs is missing', () => {
    const cells = [...table.cells.slice(0, 5), { missing: 'too-far', text: '' }];
    expect(lookUp({ ...table, cells }, [12, 450])).toBeNull();
    expect(lookUp({ ...table, cells }, [12, 350])).toBe(3.5);
  });

  it('TAB-25, TAB-27: have a Monte Carlo beside each number where it is asked for, by the seed, in the controller\'s unit and with its step', () => {
    const { plan: of, equipment, reduction, id } = madeRun({ plan: syntheticPlan({ voltageV: [12] }, 1) });
    const tables = (trialsBy?: string, more = {}): readonly ControllerTable[] => {
      const built = controllerTables({ plan: of, equipment, reduction: { ...reduction, windows: [] }, layout: layoutOf({ axes: { widthsMs: [3] }, deadTime: { unit: 'us' }, ...more }), ...(trialsBy === undefined ? {} : { trialsBy }) });
      if (!built.ok) throw new Error(built.text);
      return built.tables.filter((t) => t.quantity === 'dead-time' && t.of === 'S-1');
    };
    const own = [...runTrials(reduction, id)].find((r) => r.quantity === 'dead-time');
    const cell = valued(tables(id)[0]?.cells[0]);
    // The very trials that a run's own command makes.
    expect([cell.monteCarlo?.low, cell.monteCarlo?.high]).toEqual([own?.trials.low, own?.trials.high].map((v) => expect.closeTo((v ?? 0) * 1e6, 6) as number));
    expect(cell.monteCarlo).toMatchObject({ verdict: 'agrees', tolerance: 0.5 });
    expect(valued(tables('another')[0]?.cells[0]).monteCarlo?.low).not.toBe(cell.monteCarlo?.low);
    expect(valued(tables()[0]?.cells[0]).monteCarlo).toBeUndefined();
    const stepped = valued(tables(id, { deadTime: { unit: 'us', resolution: 20 } })[0]?.cells[0]).monteCarlo;
    expect((stepped?.high ?? 0) - (stepped?.low ?? 0)).toBeGreaterThan(0.95 * 20);
  });
});
