/** Results of runs with known injectors and instruments. */
import { describe, expect, it } from 'vitest';
import { drawErrors, lineAt, madeAttempts, madeRun, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan } from './synthetic-run.test-helper.ts';
import { budgetTable } from '../reduce/budget-table.ts';
import { lineMass, lineMassCarried, widthMassCarried } from '../reduce/carried-line.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { normals } from '../statistics/normals.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import { driftOf, trendAt } from './drift.ts';
import type { WindowMass } from './run-results.ts';
import { massesOf } from './run-results.ts';
import { shortColumns } from './short-pulses.ts';
import { spreadOverSet, spreadSentence } from './spread.ts';
import { widthRows } from './widths.ts';

const run = madeRun();
const at14 = run.reduction.cells.filter((c) => c.voltage === 14);
const widths = lineAt(run, 0, 14).widths.map((w) => w.width).sort((a, b) => a - b);

describe('widths of a line', () => {
  it('stand from the shortest up, with the line beside them', () => {
    const cell = lineAt(run, 0, 14);
    const rows = widthRows(cell);
    expect(rows.map((r) => r.width)).toEqual(widths);
    for (const r of rows) {
      expect(r.line).toBe(cell.slope.value * (r.width - cell.deadTime.value));
      expect(r.deviationPercent?.value).toBeCloseTo(100 * (r.mass.value / r.line - 1), 9);
      expect(r.windows).toBe(3);
    }
  });

  it('RED-66: a mass at a width has the errors of the instruments, what is left beside the line has not', () => {
    const [row] = widthRows(lineAt(run, 0, 14)).slice(-1);
    if (row?.mass.u95 == null || row.deviationPercent?.u95 == null) throw new Error('no uncertainty');
    // K-factor and density at 0.1 % each are the least that the instruments bring.
    expect(row.mass.u95 / row.mass.value).toBeGreaterThan(1.96 * Math.hypot(1e-3, 1e-3));
    expect((row.deviationPercent.u95 * row.line) / 100).toBeLessThan(row.mass.u95);
  });

  it('RED-66: the mass of the line and that of the windows at one width have the same instruments, and an error of slope and dead time moves both alike', () => {
    const cell = lineAt(run, 0, 12);
    for (const width of cell.widths) {
      const [line, windows] = [lineMassCarried(cell, width.width), widthMassCarried(cell, width)];
      expect(line.value).toBe(lineMass(cell, width.width));
      for (const [key, { kind, effect }] of windows.parts) {
        if (kind === 'shared') expect(effect / (line.parts.get(key)?.effect ?? 0)).toBeCloseTo(1, 9);
      }
    }
  });

  it('RED-66: the interval of a mass at a width holds the truth in about 95 % of cases, with errors of all instruments', () => {
    let inside = 0;
    let all = 0;
    for (let seed = 1; seed <= 30; seed += 1) {
      const made = madeRun({ seed, errors: drawErrors(syntheticEquipment, normalFrom(3000 + seed)) });
      for (const injector of [0, 3]) {
        const cell = lineAt(made, injector, 12);
        const { slope, deadTime } = syntheticInjector(injector);
        const width = cell.widths[2];
        if (width === undefined) throw new Error('no width');
        const { value, expanded } = stateCarried(widthMassCarried(cell, width));
        all += 1;
        if (Math.abs(value - slope(cell.pressure) * (width.width - deadTime(cell.voltage, cell.pressure))) <= expanded) inside += 1;
      }
    }
    expect(inside / all).toBeGreaterThan(0.85);
    expect(all).toBe(60);
  });
});

describe('the spread of a set', () => {
  it('RED-67: holds the true deviation in about 95 % of cases, with errors of all instruments', () => {
    let inside = 0;
    let all = 0;
    for (let seed = 1; seed <= 25; seed += 1) {
      const made = madeRun({ seed, errors: drawErrors(syntheticEquipment, normalFrom(1000 + seed)) });
      const spread = spreadOverSet(made.reduction.cells.filter((c) => c.voltage === 12), { kind: 'dead-time' });
      const truths = [0, 1, 2, 3].map((i) => syntheticInjector(i).deadTime(lineAt(made, 0, 12).voltage, lineAt(made, 0, 12).pressure));
      const mean = truths.reduce((sum, t) => sum + t, 0) / 4;
      for (const r of spread.rows) {
        all += 1;
        if (Math.abs((r.deviation?.value ?? 0) - ((truths[r.injector] ?? 0) - mean)) <= (r.deviation?.u95 ?? 0)) inside += 1;
      }
    }
    expect(inside / all).toBeGreaterThan(0.9);
  });

  it('deviations add up to nothing and follow the injectors, which differ by 1 % each in slope', () => {
    const spread = spreadOverSet(at14, { kind: 'slope' });
    expect(spread.rows.reduce((sum, r) => sum + (r.deviation?.value ?? 0), 0)).toBeCloseTo(0, 15);
    expect((100 * (spread.range ?? 0)) / (spread.mean?.value ?? 1)).toBeCloseTo((100 * 0.03) / 1.015, 0);
    expect([spread.lowest?.serialNumber, spread.highest?.serialNumber]).toEqual(['S-1', 'S-4']);
    expect(spreadSentence(spread)).toContain('The mean is of all 4 injectors.');
  });

  it('RED-67: a mass is as surely known as the line says, and an error with the wrong sign would be seen', () => {
    // A wrong pressure makes the injectors open later and pass more: both effects together, with their signs, are the mass's.
    const cell = lineAt(run, 0, 12);
    const [width] = cell.widths;
    const part = cell.shared.find((s) => s.source.quantity === 'rail-pressure');
    if (width === undefined || part === undefined) throw new Error('no width or part');
    const effect = widthMassCarried(cell, width).parts.get(part.source.key)?.effect;
    const moved = (cell.slope.value + part.onSlope) * (width.width - (cell.deadTime.value + part.onDeadTime)) - lineMass(cell, width.width);
    expect((effect ?? 0) / moved).toBeCloseTo(1, 2);
  });

  it('a missing member is told, and the mean is called that of those that are there', () => {
    const spread = spreadOverSet(madeRun({ keep: (p) => p.injector !== 2 }).reduction.cells.filter((c) => c.voltage === 14), { kind: 'mass', width: widths[3] ?? 0 });
    expect(spread.members).toBe(3);
    expect(spread.rows[2]).toMatchObject({ of: null, deviation: null });
    expect(spreadSentence(spread)).toContain('of the 3 injectors that have a value; 1 has none');
  });

  it('without any value there is no mean', () => {
    expect(spreadOverSet(madeRun({ keep: () => false }).reduction.cells, { kind: 'dead-time' })).toMatchObject({ mean: null, members: 0, range: null });
  });
});

describe('short pulses', () => {
  it('the width from which all longer ones are inside the limit stops at the first that is not, even if a shorter one is', () => {
    const bumpy = madeRun({ scatter: noScatter, injector: (i) => ({ ...syntheticInjector(i), bend: (w) => (Math.abs(w - 3e-3) < 1e-9 ? 1e-6 : 0) }) });
    for (const column of shortColumns(bumpy.reduction.cells.filter((c) => c.voltage === 14), 1)) {
      expect(column.insideFrom).toBeCloseTo(4e-3, 12);
      expect(Math.abs(column.deviations.get(widths[1] ?? 0)?.value ?? 0)).toBeGreaterThan(5);
    }
  });

  it('a cell without a line says why', () => {
    const [, column] = shortColumns(madeRun({ keep: (p) => p.injector !== 1 }).reduction.cells.filter((c) => c.voltage === 14), 1);
    expect(column?.why).toMatch(/^[A-Z].*\.$/);
    expect(column?.deviations.size).toBe(0);
  });
});

describe('one attempt', () => {
  it('RED-70: has the same random uncertainty and degrees of freedom in lists as in its budget', () => {
    const { plan, equipment, points } = run;
    const { windows } = reduceRun({ plan, equipment, points, attempts: madeAttempts().slice(0, 5) });
    massesOf(windows).forEach((listed, i) => {
      const outcome = windows[i]?.outcome;
      if (outcome?.kind !== 'mass') throw new Error('no mass');
      const { mass } = budgetTable(outcome, equipment);
      expect(listed.dofRandom).toBe(mass.dofRandom);
      expect(listed.dofRandom).toBeLessThan(20);
      expect(listed.uRandom * outcome.mass).toBe(mass.uRandom);
    });
  });
});

describe('RED-104: what is said of drift', () => {
  const [measured] = run.masses;
  const reference = measured === undefined ? undefined : { ...measured, at: { ...measured.at, role: 'reference' as const } };
  const trendOf = (deviations: readonly number[]) => {
    if (reference === undefined) throw new Error('no reference point');
    const masses = deviations.map((d, i) => ({ ...reference, point: i, attempt: 1, mass: 1e-5 * (1 + d / 100) }));
    const { trend } = driftOf(masses, masses.map(({ point, attempt }, i) => ({ point, attempt, time: 600 * i })));
    if (trend.kind !== 'drift') throw new Error(trend.text);
    return trend;
  };

  it('a bench that wanders is called drifting no more often than one time in twenty, and most often wandering where twenty points show it', () => {
    const normal = normals(71);
    const runs = 1500;
    for (const n of [5, 10, 20]) {
      const said = new Map<string, number>();
      for (let i = 0; i < runs; i += 1) {
        let at = 0;
        const { verdict } = trendOf(Array.from({ length: n }, () => (at += 0.1 * normal())));
        said.set(verdict, (said.get(verdict) ?? 0) + 1);
      }
      const share = (verdict: string): number => (said.get(verdict) ?? 0) / runs;
      expect(share('drift'), `${n} points`).toBeLessThan(0.05 + 4 * Math.sqrt((0.05 * 0.95) / runs));
      if (n === 20) expect(share('wanders')).toBeGreaterThan(0.75);
      if (n === 20) expect(share('drift-if-independent')).toBeLessThan(0.13);
    }
  });

  it('independent scatter is no drift, a straight one is, and a bump in the middle wanders', () => {
    const normal = normals(73);
    const runs = 1500;
    let called = 0;
    let found = 0;
    for (let i = 0; i < runs; i += 1) {
      const scatter = Array.from({ length: 10 }, () => 0.1 * normal());
      if (trendOf(scatter).verdict.startsWith('drift')) called += 1;
      if (trendOf(scatter.map((d, k) => d + 0.05 * k)).verdict.startsWith('drift')) found += 1;
    }
    expect(called / runs).toBeLessThan(0.05 + 4 * Math.sqrt((0.05 * 0.95) / runs));
    expect(found / runs).toBeGreaterThan(0.85);
    const bump = trendOf(Array.from({ length: 20 }, (_, i) => (i >= 8 && i < 12 ? 1 : 0) + 0.05 * ((i * 7) % 3)));
    expect(bump.verdict).toBe('wanders');
    expect(bump.text).toMatch(/wandered or stepped \(largest step \d\.\d{3} %\)/);
    expect(trendOf(Array.from({ length: 12 }, (_, i) => i + 0.01 * (i % 2)))).toMatchObject({ verdict: 'drift' });
  });
});

describe('drift', () => {
  const plan = syntheticPlan({ voltageV: [14] }, 2);
  const watched = { ...plan, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 4 } };
  const timed = (masses: readonly WindowMass[], of: (point: number) => number) => masses.map(({ point, attempt }) => ({ point, attempt, time: of(point) }));

  it('RED-38: a run whose reference falls is told with its rate, one that is steady is not', () => {
    const steady = madeRun({ plan: watched, scatter: { ...noScatter, relative: 5e-4 } });
    const falling = steady.masses.map((m) => (m.at.role === 'reference' && m.mass !== null ? { ...m, mass: m.mass * (1 - 0.002 * m.at.replicate) } : m));
    const times = timed(steady.masses, (point) => 1e9 + point * 360);
    const drift = driftOf(falling, times);
    expect(drift.rows).toHaveLength(steady.points.filter((p) => p.role === 'reference').length);
    if (drift.trend.kind === 'no-drift') throw new Error(drift.trend.text);
    expect(drift.trend.verdict).toMatch(/^drift/);
    // One reference point for every 5 points: 0.2 % in half an hour.
    expect(drift.trend.percentPerHour.value).toBeCloseTo(-0.4, 1);
    const { points, overRunPercent } = drift.trend;
    const [first, last] = [points[0]?.time ?? 0, points.at(-1)?.time ?? 0];
    expect(trendAt(drift.trend, last) - trendAt(drift.trend, first)).toBeCloseTo(overRunPercent.value, 9);
    const still = driftOf(steady.masses.map((m) => (m.at.role === 'reference' ? { ...m, mass: 1e-5 * (1 + 1e-4 * ((m.at.replicate % 2) - 0.5)) } : m)), times);
    expect(still.trend).toMatchObject({ kind: 'drift', verdict: 'none' });
  });

  it('RED-38, RED-70: rows carry the scatter inside their window with its own coverage factor, a missing mass says why', () => {
    const made = madeRun({ plan: watched, scatter: { ...noScatter, relative: 5e-4 } });
    const [broken] = made.masses.filter((m) => m.at.role === 'reference');
    const masses = made.masses.map((m) => (m === broken ? { ...m, mass: null, why: 'The window holds no edge.' } : { ...m, uRandom: 1e-3, dofRandom: 9 }));
    const { rows } = driftOf(masses, timed(masses, (point) => 1000 - point));
    expect(rows.map((r) => r.time)).toEqual([...rows.map((r) => r.time)].sort((a, b) => a - b));
    expect(rows.at(-1)).toMatchObject({ mass: null, why: 'The window holds no edge.', deviationPercent: null });
    // Student's t for nine degrees of freedom, 95 %: 2.26 (JCGM 100:2008, table G.2).
    expect(rows[0]?.u95Percent).toBeCloseTo(0.226, 3);
    expect(coverageFactor(9)).toBeCloseTo(2.26, 2);
  });

  it('RED-38: with fewer than three there is no trend, and none at all without reference points', () => {
    expect(driftOf(run.masses, timed(run.masses, () => 0))).toMatchObject({ rows: [], sdPercent: null, trend: { kind: 'no-drift', reason: 'no-reference' } });
    const two = madeRun({ plan: watched, keep: (p) => p.role !== 'reference' || p.replicate < 2 });
    expect(driftOf(two.masses, timed(two.masses, (point) => point)).trend).toMatchObject({ reason: 'too-few' });
    const atOnce = madeRun({ plan: watched });
    expect(driftOf(atOnce.masses, timed(atOnce.masses, () => 5)).trend).toMatchObject({ reason: 'too-few' });
  });
});
