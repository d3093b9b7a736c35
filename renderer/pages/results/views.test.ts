import { describe, expect, it } from 'vitest';
import { deadTimeTables } from '../../../app/tables/dead-time.ts';
import { budgetOfLine } from '../../../app/results/line-budget.ts';
import { errorSource, labelOf } from '../../../app/uncertainty/source.ts';
import { stepsOf } from './budget-view.ts';
import { fromSetMean, overVoltage } from './dead-time-view.ts';
import { regionSentence } from './line-view.ts';
import { conditionsOf, referenceDensity } from './results.ts';
import { noWish, selectionOf } from './selection.ts';
import { fourInjectors, lineAt, madeRun, syntheticInjector, syntheticPlan } from '../../../app/results/synthetic-run.test-helper.ts';

const run = madeRun();

describe('mass and line', () => {
  it('a bend at short pulses is told with where the line begins', () => {
    const bent = madeRun({ injector: (i) => ({ ...syntheticInjector(i), bend: (w) => (w < 3.5e-3 ? -2e-7 : 0) }) });
    const cell = lineAt(bent, 1, 14);
    expect(cell.region.from).toBeGreaterThan(3.5e-3);
    expect(regionSentence(cell)).toMatch(/^The line holds from (4|5|6) ms up\. At (2|3) ms .* [−+]\d/);
  });

  it('RED-135, RED-137: an injector that bends longer than its type, and what to measure where its line cannot do without', () => {
    const cell = lineAt(run, 1, 14);
    const told = (kind: 'bent-itself' | 'bent-within') => regionSentence({ ...cell, region: { ...cell.region, from: 4e-3 as never, stop: { kind, width: 3.2e-3, deviationPercent: 0.5 } } });
    expect(told('bent-itself')).toMatch(/^The line holds from 4 ms up\. At 3\.2 ms .* longer than others of its type/);
    expect(told('bent-within')).toMatch(/may still bend at 3\.2 ms, .* Measure longer widths\.$/);
  });
});

describe('dead time over voltage', () => {
  it('has a series for each injector and none for the mean; points are those of the table', () => {
    const [table] = deadTimeTables({ ...run.reduction, windows: [] });
    if (table === undefined) throw new Error('no table');
    const series = overVoltage(table);
    expect(series.map((s) => s.title)).toEqual(['S-1', 'S-2', 'S-3', 'S-4']);
    expect(series[2]?.points.map((p) => p.x)).toEqual([9, 12, 14]);
    expect(series[2]?.points[0]?.y).toBeCloseTo(lineAt(run, 2, 9).deadTime.value * 1e3, 12);
  });
  it('differences from the mean cancel what moves all alike: they are surer than the dead times themselves', () => {
    for (const { points } of fromSetMean(run.reduction.cells)) for (const { low, high } of points) expect((high ?? 0) - (low ?? 0)).toBeGreaterThan(0);
    const cells = [0, 1, 2, 3].map((i) => lineAt(run, i, 9));
    const [first] = fromSetMean(run.reduction.cells);
    const half = ((first?.points[0]?.high ?? 0) - (first?.points[0]?.low ?? 0)) / 2;
    expect(half).toBeLessThan((cells[0]?.deadTime.expanded ?? 0) * 1e6);
  });
  it('a missing cell leaves its place free and the others stand', () => {
    const partly = madeRun({ keep: (p) => !(p.injector === 1 && p.voltage === 9) });
    const series = fromSetMean(partly.reduction.cells);
    expect(series[1]?.points.map((p) => p.x)).toEqual([12, 14]);
    expect(series[0]?.points.map((p) => p.x)).toEqual([9, 12, 14]);
  });
});

describe('budget of a line', () => {
  it('its squares add up to the combined uncertainty and its shares to the whole', () => {
    for (const of of ['deadTime', 'slope'] as const) {
      const { rows, result } = budgetOfLine(lineAt(run, 1, 12), of);
      expect(Math.hypot(...rows.map((r) => r.u)) / result.u).toBeCloseTo(1, 6);
      expect(rows.reduce((sum, r) => sum + r.sharePercent, 0)).toBeCloseTo(100, 4);
      for (const r of rows) expect(r.meaning).not.toBe('');
      expect([...rows].sort((a, b) => b.u - a.u)).toEqual(rows);
    }
  });
  it('the steps end with the stated uncertainty', () => {
    const budget = budgetOfLine(lineAt(run, 1, 12), 'deadTime');
    expect(stepsOf(budget, (u) => u.toExponential(3)).at(-1)).toContain(`= ${budget.result.expanded.toExponential(3)}.`);
  });
  it('RED-89, RED-145: say why a coverage factor is less than that of a normal distribution', () => {
    const budget = budgetOfLine(lineAt(run, 1, 12), 'slope');
    const [first] = budget.rows;
    if (first === undefined) throw new Error('a budget without a row');
    const told = (largest: 'bench-course' | 'supply-inside-pulse', coverageFactor: number): string =>
      stepsOf({ rows: [{ ...first, source: labelOf(errorSource(largest)) }, ...budget.rows], result: { ...budget.result, coverageFactor } }, String)[3] ?? '';
    expect(told('bench-course', 1.7)).toMatch(/factor of 1\.70, because an error of known size that is not taken off makes most of it\.$/u);
    expect(told('supply-inside-pulse', 1.7)).toMatch(/because a bound makes most of it/u);
    expect(told('bench-course', 1.96)).toMatch(/factor of 1\.96\.$/u);
  });
});

describe('selection', () => {
  it('begins at 14 V, and falls back to what is there', () => {
    expect(selectionOf(run, noWish)).toMatchObject({ injector: 0, voltage: 14 });
    expect(selectionOf(run, { condition: 'gone', injector: 99, voltage: 7, width: 1 })).toMatchObject({ injector: 0, voltage: 14 });
    expect(selectionOf(run, { ...noWish, injector: 2, voltage: 9 })?.cell).toMatchObject({ serialNumber: 'S-3', voltage: 9 });
  });
  it('knows every pressure and period once, and the density that flows are worked out with', () => {
    const two = madeRun({ plan: syntheticPlan({ pressureKpa: [300, 400] }, 1) });
    expect(conditionsOf(two).map((c) => c.label)).toEqual(['300 kPa, period 20 ms', '400 kPa, period 20 ms']);
    // n-heptane at 20 degC and 0.5 MPa: 684.1 kg/m3 (Span and Wagner 2003).
    expect(referenceDensity(two, 400e3)).toBeCloseTo(684.1, 0);
    expect(fourInjectors.injectors).toHaveLength(4);
  });
});
