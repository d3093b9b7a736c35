import { describe, expect, it } from 'vitest';
import { coverageFactor } from '../../../app/uncertainty/budget.ts';
import { deadTimeTables } from '../../../app/tables/dead-time.ts';
import { budgetOfLine, stepsOf } from './budget-view.ts';
import { fromSetMean, overVoltage } from './dead-time-view.ts';
import { driftOf } from './drift.ts';
import { deviationsFromMean } from './estimate.ts';
import { regionSentence, widthRows } from './line-view.ts';
import { conditionsOf, referenceDensity, widthsOf } from './results.ts';
import { noWish, selectionOf } from './selection.ts';
import { shortColumns } from './short-view.ts';
import { spreadOf, spreadSentence } from './spread.ts';
import { drawErrors, fourInjectors, lineAt, madeRun, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan } from './synthetic-run.test-helper.ts';

const run = madeRun();

describe('mass and line', () => {
  it('rows stand from the shortest width up and add up: mass = line + residual', () => {
    const rows = widthRows(lineAt(run, 0, 14), run.masses);
    expect(rows.map((r) => r.width)).toEqual(widthsOf(run));
    for (const r of rows) {
      expect(r.line + r.residual).toBeCloseTo(r.mass, 15);
      expect(r.windows).toBe(3);
    }
  });
  it('instruments count for the mass and not for what it leaves over beside the line', () => {
    const [row] = widthRows(lineAt(run, 0, 14), run.masses).slice(-1);
    if (row === undefined || row.massU95 === null || row.residualU95 === null) throw new Error('no uncertainty');
    // K-factor and density at 0.1 % each are the least that the instruments bring.
    expect(row.massU95 / row.mass).toBeGreaterThan(1.96 * Math.hypot(1e-3, 1e-3));
    expect(row.residualU95).toBeLessThan(row.massU95);
  });
  it('a bend at short pulses is told with where the line begins', () => {
    const bent = madeRun({ injector: (i) => ({ ...syntheticInjector(i), bend: (w) => (w < 3.5e-3 ? -2e-7 : 0) }) });
    const cell = lineAt(bent, 1, 14);
    expect(cell.region.from).toBeGreaterThan(3.5e-3);
    expect(regionSentence(cell)).toMatch(/^The line holds from (4|5|6) ms up\. At (2|3) ms .* [−+]\d/);
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

describe('deviation from the mean', () => {
  it('of two equal members is half of their difference (hand calculation)', () => {
    const member = (value: number) => ({ value, random: { u: 0.2, dof: 1e9 }, shared: [{ source: 'meter', effect: 5 }] });
    const [a, b] = deviationsFromMean([member(1), member(2)]);
    expect([a?.value, b?.value]).toEqual([-0.5, 0.5]);
    // sqrt(0.1^2 + 0.1^2); what they share is gone.
    expect(a?.u95).toBeCloseTo(coverageFactor(Number.POSITIVE_INFINITY) * Math.hypot(0.1, 0.1), 6);
  });
  it('keeps of an instrument what moves the members differently', () => {
    const member = (effect: number) => ({ value: 1, random: { u: 1e-9, dof: 1e9 }, shared: [{ source: 'supply', effect }] });
    expect(deviationsFromMean([member(1), member(3)])[0]?.u95).toBeCloseTo(coverageFactor(Number.POSITIVE_INFINITY), 6);
  });
  it('says nothing of its uncertainty where the scatter of one member is not known', () => {
    expect(deviationsFromMean([{ value: 1, random: null, shared: [] }, { value: 2, random: { u: 1, dof: 5 }, shared: [] }]).map((d) => d.u95)).toEqual([null, null]);
  });
  it('holds the truth in about 95 % of cases, with errors of all instruments', () => {
    let inside = 0;
    let all = 0;
    for (let seed = 1; seed <= 25; seed += 1) {
      const made = madeRun({ seed, errors: drawErrors(syntheticEquipment, normalFrom(1000 + seed)) });
      const spread = spreadOf(made.reduction.cells.filter((c) => c.voltage === 12), { kind: 'dead-time' });
      const truths = [0, 1, 2, 3].map((i) => syntheticInjector(i).deadTime(lineAt(made, 0, 12).voltage, lineAt(made, 0, 12).pressure));
      const mean = truths.reduce((sum, t) => sum + t, 0) / 4;
      for (const r of spread.rows) {
        all += 1;
        if (Math.abs((r.deviation ?? 0) - ((truths[r.injector] ?? 0) - mean)) <= (r.deviationU95 ?? 0)) inside += 1;
      }
    }
    expect(inside / all).toBeGreaterThan(0.9);
  });
});

describe('short pulses', () => {
  it('the width from which all longer ones are inside the limit stops at the first that is not, even if a shorter one is', () => {
    const bumpy = madeRun({ scatter: noScatter, injector: (i) => ({ ...syntheticInjector(i), bend: (w) => (Math.abs(w - 3e-3) < 1e-9 ? 1e-6 : 0) }) });
    const columns = shortColumns(bumpy.reduction.cells.filter((c) => c.voltage === 14), 1);
    for (const column of columns) {
      expect(column.insideFrom).toBeCloseTo(4e-3, 12);
      expect(Math.abs(column.deviations.get(widthsOf(bumpy)[1] ?? 0)?.value ?? 0)).toBeGreaterThan(5);
    }
  });
  it('a cell without a line says why', () => {
    const [, column] = shortColumns(madeRun({ keep: (p) => p.injector !== 1 }).reduction.cells.filter((c) => c.voltage === 14), 1);
    expect(column?.why).toMatch(/^[A-Z].*\.$/);
    expect(column?.deviations.size).toBe(0);
  });
});

describe('spread in the set', () => {
  const width = widthsOf(run)[3] ?? 0;
  it('deviations add up to nothing and follow the injectors, which differ by 1 % each in slope', () => {
    const spread = spreadOf(run.reduction.cells.filter((c) => c.voltage === 14), { kind: 'slope' });
    expect(spread.rows.reduce((sum, r) => sum + (r.deviation ?? 0), 0)).toBeCloseTo(0, 15);
    expect((100 * (spread.range ?? 0)) / (spread.mean ?? 1)).toBeCloseTo((100 * 0.03) / 1.015, 0);
    expect([spread.lowest?.serialNumber, spread.highest?.serialNumber]).toEqual(['S-1', 'S-4']);
    expect(spreadSentence(spread)).toContain('The mean is of all 4 injectors.');
  });
  it('a missing member is told, and the mean is called that of those that are there', () => {
    const spread = spreadOf(madeRun({ keep: (p) => p.injector !== 2 }).reduction.cells.filter((c) => c.voltage === 14), { kind: 'mass', width });
    expect(spread.members).toBe(3);
    expect(spread.rows[2]).toMatchObject({ value: null, deviation: null });
    expect(spreadSentence(spread)).toContain('of the 3 injectors that have a value; 1 has none');
  });
  it('without any value there is no mean', () => {
    expect(spreadOf(madeRun({ keep: () => false }).reduction.cells, { kind: 'dead-time' })).toMatchObject({ mean: null, members: 0, range: null });
  });
});

describe('drift', () => {
  const plan = syntheticPlan({ voltageV: [14] }, 2);
  const watched = { ...plan, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 4 } };
  const hour = 3.6e6;
  it('a run whose reference falls is told, one that is steady is not', () => {
    const steady = madeRun({ plan: watched, scatter: { ...noScatter, relative: 5e-4 } });
    const falling = { masses: steady.masses.map((m) => (m.at.role === 'reference' && m.mass !== null ? { ...m, mass: m.mass * (1 - 0.002 * m.at.replicate) } : m)) };
    const timeOf = (point: number): number => 1e12 + point * 0.1 * hour;
    const drift = driftOf(falling, timeOf);
    expect(drift.rows).toHaveLength(steady.points.filter((p) => p.role === 'reference').length);
    expect(drift.trend?.significant).toBe(true);
    // One reference point for every 5 points: 0.2 % in half an hour.
    expect(drift.trend?.perHour).toBeCloseTo(-0.4, 1);
    const still = driftOf({ masses: steady.masses.map((m) => (m.at.role === 'reference' ? { ...m, mass: 1e-5 * (1 + 1e-4 * ((m.at.replicate % 2) - 0.5)) } : m)) }, timeOf);
    expect(still.trend?.significant).toBe(false);
  });
  it('with fewer than three there is no trend, and none at all without reference points', () => {
    expect(driftOf(run, () => 0)).toMatchObject({ rows: [], mean: null, trend: null });
    const two = madeRun({ plan: watched, keep: (p) => p.role !== 'reference' || p.replicate < 2 });
    expect(driftOf(two, (point) => point).trend).toBeNull();
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
