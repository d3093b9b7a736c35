import { describe, expect, it } from 'vitest';
import { madeRun, syntheticInjector, syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { lineMass } from '../reduce/carried-line.ts';
import type { LineCell } from '../reduce/reduction.ts';
import { deliveredMass, shortPulseAt, shortPulseTables } from '../tables/short-pulse.ts';
import { plainLayout } from './layout.ts';
import type { ControllerLayout } from './layout.ts';
import type { RawTable } from './raw-table.ts';
import { shortPulseRaw } from './short-pulse.ts';

const bend = (w: number): number => (w < 2.5e-3 ? -1e-6 * ((2.5e-3 - w) / 1e-3) ** 2 : 0);
const run = madeRun({ plan: syntheticPlan({ voltageV: [9, 14], widthMs: [1.6, 1.8, 2, 2.2, 2.5, 3, 4, 5, 6, 8] }, 1), injector: (i) => ({ ...syntheticInjector(i), bend }) });
const reduction = { ...run.reduction, windows: [] };
const lines = reduction.cells.filter((c): c is LineCell => c.kind === 'line');

function raw(shortPulse: ControllerLayout['shortPulse'], axes: Partial<ControllerLayout['axes']> = {}): RawTable {
  const [table] = shortPulseRaw(reduction, { ...plainLayout, axes: { ...plainLayout.axes, ...axes }, shortPulse });
  if (table === undefined) throw new Error('no table');
  return table;
}

const widths = [1.8, 2, 2.3, 2.6, 3.5, 5];
/** Without a bend there is nothing to test. */
const bent = (cell: LineCell): number => Math.max(...widths.map((w) => Math.abs(deliveredMass(cell, w * 1e-3) - lineMass(cell, w * 1e-3)) / lineMass(cell, w * 1e-3)));

describe('TAB-7: the short-pulse correction', () => {
  it('over width as mass is the table of the reduction', () => {
    expect(Math.max(...lines.map(bent))).toBeGreaterThan(0.01);
    const [expected] = shortPulseTables(reduction, widths.map((w) => w * 1e-3));
    expect(raw({ as: 'mg', over: 'width' }, { widthsMs: widths }).cells).toEqual(expected?.cells);
  });

  it('delivers what was asked for, in each of its forms', () => {
    const masses = widths.map((w) => lineMass(lines[0] as LineCell, w * 1e-3) * 1e6).filter((m) => m > 0.5);
    const inTime = raw({ as: 'us', over: 'mass' }, { massesMg: masses });
    const inMass = raw({ as: 'mg', over: 'mass' }, { massesMg: masses });
    const overWidth = raw({ as: 'us', over: 'width' }, { widthsMs: widths });
    let told = 0;
    lines.forEach((cell, i) => {
      const line = (mass: number) => cell.deadTime.value + mass / cell.slope.value;
      masses.forEach((milligrams, j) => {
        const wanted = milligrams * 1e-6;
        const [time, mass] = [inTime.cells[i]?.[j], inMass.cells[i]?.[j]];
        if (time?.kind !== 'value' || mass?.kind !== 'value') return;
        told += 1;
        expect(deliveredMass(cell, line(wanted) + time.result.value) / wanted).toBeCloseTo(1, 6);
        expect(deliveredMass(cell, line(wanted - mass.result.value)) / wanted).toBeCloseTo(1, 6);
      });
      widths.forEach((w, j) => {
        const time = overWidth.cells[i]?.[j];
        if (time?.kind !== 'value') return;
        const wanted = lineMass(cell, w * 1e-3);
        expect(deliveredMass(cell, w * 1e-3 + time.result.value) / wanted).toBeCloseTo(1, 6);
      });
    });
    expect(told).toBeGreaterThan(6);
  });

  it('is worth as much as the correction of the width, by the steepness of the curve', () => {
    const table = raw({ as: 'us', over: 'width' }, { widthsMs: widths });
    lines.forEach((cell, i) => {
      widths.forEach((w, j) => {
        const time = table.cells[i]?.[j];
        if (time?.kind !== 'value') return;
        const width = w * 1e-3 + time.result.value;
        const own = shortPulseAt(cell, width);
        if (own.kind !== 'value') throw new Error(own.text);
        const h = 1e-5;
        const steepness = (deliveredMass(cell, width + h) - deliveredMass(cell, width - h)) / (2 * h);
        if (Number.isFinite(steepness)) expect(time.result.u / (own.result.u / steepness)).toBeCloseTo(1, 1);
        expect(time.basis).toBe(own.basis);
      });
    });
  });

  it('has no value where so little was not measured', () => {
    const cell = raw({ as: 'us', over: 'mass' }, { massesMg: [0.001, 5] }).cells[0]?.[0];
    expect(cell).toMatchObject({ kind: 'missing', reason: 'shorter-than-measured' });
    expect(cell?.kind === 'missing' && cell.text).toMatch(/least mass that is known here is [\d.]+ mg/);
  });

  it('knows what a width delivers as the table says it', () => {
    for (const cell of lines) {
      for (const w of [...widths, 9]) {
        const own = shortPulseAt(cell, w * 1e-3);
        if (own.kind === 'value') expect(deliveredMass(cell, w * 1e-3)).toBeCloseTo(lineMass(cell, w * 1e-3) + own.result.value, 12);
      }
      expect(deliveredMass(cell, 1e-4)).toBeNaN();
    }
  });
});
