import { describe, expect, it } from 'vitest';
import { madeRun, syntheticInjector, syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { controllerTables } from './build.ts';
import { valueIn } from './document.ts';
import type { ControllerTable } from './document.ts';
import { parseLayout } from './layout.ts';
import { heptaneViscosity } from './other-fluid.ts';

const bend = (w: number): number => (w < 2.5e-3 ? -1e-6 * ((2.5e-3 - w) / 1e-3) ** 2 : 0);
const run = madeRun({ plan: syntheticPlan({ voltageV: [9, 14], widthMs: [1.6, 1.8, 2, 2.2, 2.5, 3, 4, 5, 6, 8] }, 1), injector: (i) => ({ ...syntheticInjector(i), bend }) });
const petrol = { name: 'petrol, example lot', densityKgPerM3: 744, expandedKgPerM3: 1.5, atC: 20 };

function tablesWith(otherFluids: readonly object[], more: object = {}): readonly ControllerTable[] {
  const parsed = parseLayout({ layoutVersion: 1, name: 'x', otherFluids, ...more });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  const built = controllerTables({ plan: run.plan, equipment: run.equipment, reduction: { ...run.reduction, windows: [] }, layout: parsed.layout });
  if (!built.ok) throw new Error(built.text);
  return built.tables;
}

const of = (tables: readonly ControllerTable[], quantity: ControllerTable['quantity'], basis: 'measured' | 'estimated'): ControllerTable => {
  const found = tables.find((t) => t.quantity === quantity && t.of === 'S-1' && t.fluid.basis === basis);
  if (found === undefined) throw new Error('no table');
  return found;
};

const first = (table: ControllerTable) => {
  const [cell] = table.cells;
  if (cell === undefined || !('value' in cell)) throw new Error('no value');
  return cell;
};

describe('TAB-20: tables for another fluid', () => {
  it('are of their own, say that they are estimates, and leave those of what was measured as they are', () => {
    const with1 = tablesWith([petrol]);
    const without = tablesWith([]);
    expect(with1.filter((t) => t.fluid.basis === 'measured')).toEqual(without);
    const estimated = with1.filter((t) => t.fluid.basis === 'estimated');
    expect(estimated).toHaveLength(without.length);
    for (const table of estimated) {
      expect(table.title).toContain('estimated for petrol, example lot');
      expect(table.id).toMatch(/_estimated$/);
      expect(table.fluid).toMatchObject({ name: 'petrol, example lot', densityKgPerM3: 744, densityAtC: 20 });
      for (const cell of table.cells) if ('value' in cell) expect(['estimated', 'extrapolated', 'unresolved']).toContain(cell.basis);
    }
    expect(new Set(with1.map((t) => t.id)).size).toBe(with1.length);
  });

  it('pass mass as the root of the density, with the uncertainty of both and 1 % for what viscosity does', () => {
    const tables = tablesWith([petrol]);
    const [own, other] = [first(of(tables, 'slope', 'measured')), first(of(tables, 'slope', 'estimated'))];
    const density = of(tables, 'slope', 'measured').fluid.densityKgPerM3;
    expect(other.value / own.value).toBeCloseTo(Math.sqrt(744 / density), 10);
    const [u1, u2] = [own.U95 / own.k / own.value, other.U95 / other.k / other.value];
    const extra = Math.sqrt(u2 ** 2 - u1 ** 2);
    expect(extra).toBeGreaterThan(0.01);
    expect(extra).toBeLessThan(0.0102);
    // A density that is known badly is half as bad for the flow.
    const vague = first(of(tablesWith([{ ...petrol, expandedKgPerM3: 59.52 }]), 'slope', 'estimated'));
    expect(Math.sqrt((vague.U95 / vague.k / vague.value) ** 2 - u2 ** 2)).toBeCloseTo(0.02, 3);
    // Thicker by a factor of 1.5 squared: twice as much is allowed for the discharge.
    const thick = first(of(tablesWith([{ ...petrol, viscosityMm2PerS: heptaneViscosity(20) * 2.25 }]), 'slope', 'estimated'));
    expect(Math.sqrt((thick.U95 / thick.k / thick.value) ** 2 - u1 ** 2)).toBeCloseTo(0.02, 3);
  });

  it('have the dead times that were measured, less sure; short pulses that bend alike', () => {
    const layout = { shortPulse: { as: 'us', over: 'mass' }, axes: { massesMg: [4, 6, 10] } };
    const tables = tablesWith([petrol], layout);
    const [own, other] = [first(of(tables, 'dead-time', 'measured')), first(of(tables, 'dead-time', 'estimated'))];
    expect(other.value).toBe(own.value);
    expect(Math.sqrt((other.U95 / other.k) ** 2 - (own.U95 / own.k) ** 2)).toBeCloseTo(0.01, 6);
    // The same width delivers more: its correction in time stands at the mass that it delivers of the other fluid.
    const factor = Math.sqrt(744 / of(tables, 'slope', 'measured').fluid.densityKgPerM3);
    const short = of(tables, 'short-pulse-correction', 'estimated');
    expect(short.axes.at(-1)?.values).toEqual([4, 6, 10]);
    const asked = of(tablesWith([], { ...layout, axes: { massesMg: [4, 6, 10].map((m) => m / factor) } }), 'short-pulse-correction', 'measured');
    short.cells.forEach((cell, i) => expect(valueIn(cell)).toBeCloseTo(valueIn(asked.cells[i]) ?? Number.NaN, 6));
  });

  it('state volumes by their own density', () => {
    const tables = tablesWith([petrol], { flow: { unit: 'cc/min', densityKgPerM3: 700 } });
    expect(of(tables, 'slope', 'estimated').conditions).toContainEqual({ name: 'density that turns mass into volume', value: 744, unit: 'kg/m3' });
    expect(of(tables, 'slope', 'measured').conditions).toContainEqual({ name: 'density that turns mass into volume', value: 700, unit: 'kg/m3' });
  });

  it('know the viscosity of n-heptane: Michailidou et al. (2014) over Span and Wagner (2003)', () => {
    // mm2/s at 400 kPa gauge: 0.41393 mPa s / 684.197 kg/m3 and so on.
    expect(heptaneViscosity(20)).toBeCloseTo((0.41393 / 684.197) * 1e3, 4);
    expect(heptaneViscosity(25)).toBeCloseTo((0.39181 / 679.9935) * 1e3, 4);
    expect(heptaneViscosity(30)).toBeCloseTo((0.37144 / 675.7713) * 1e3, 4);
  });
});
