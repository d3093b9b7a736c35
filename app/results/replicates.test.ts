import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { kilograms } from '../quantities/quantity.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { syntheticPlan } from '../reduce/synthetic.test-helper.ts';
import { findOutliers } from './outliers.ts';
import { repeatabilityByWidth } from './repeatability-by-width.ts';
import { normals } from '../statistics/normals.test-helper.ts';

const plan = syntheticPlan({ replicates: 5 });
const points = expandPlan(plan);

/** A reduction whose windows have these masses; only what the statistics look at is filled in. */
function reductionOf(massOf: (index: number, width: number) => number | null, relative = 1e-6): Reduction {
  const windows = points.map((at) => {
    const mass = massOf(at.index, at.width);
    return {
      point: at.index, attempt: 1, at,
      outcome: mass === null ? { kind: 'no-mass', reason: 'too-few-edges', text: 'No flow.' } : { kind: 'mass', mass: kilograms(mass) },
    };
  });
  const scatter = [{ constant: 0, relative, dof: 50, from: 'replicates', pressure: points[0]?.pressure, period: points[0]?.period }];
  return { reductionVersion: 1, windows, cells: [], scatter } as unknown as Reduction;
}

describe('outliers of a run', () => {
  const good = (seed: number) => {
    const normal = normals(seed);
    return points.map((p) => 4e-3 * (p.width - 0.0007) * (1 + 1e-3 * normal()));
  };

  it('names the window that was spoilt, by both tests, and leaves it in the reduction', () => {
    const masses = good(3);
    masses[17] = (masses[17] ?? 0) * 1.02;
    const reduction = reductionOf((i) => masses[i] ?? null);
    const before = JSON.stringify(reduction);
    const { outliers } = findOutliers(reduction, plan);
    expect(outliers.filter((o) => o.test === 'all-groups').map((o) => o.point)).toEqual([17]);
    expect(outliers.filter((o) => o.test === 'own-group').map((o) => o.point)).toContain(17);
    for (const o of outliers) {
      expect(o.g).toBeGreaterThan(o.critical);
      expect(o.text).toMatch(/attempt 1 of point \d+ lies .* % (above|below) .* It is still part of every result\./);
    }
    expect(JSON.stringify(reduction)).toBe(before);
  });

  it('finds two in different groups, and two in one group are not hidden by each other', () => {
    const masses = good(5);
    masses[3] = (masses[3] ?? 0) * 0.97;
    masses[40] = (masses[40] ?? 0) * 1.03;
    const { outliers } = findOutliers(reductionOf((i) => masses[i] ?? null), plan);
    expect(new Set(outliers.filter((o) => o.test === 'all-groups').map((o) => o.point))).toEqual(new Set([3, 40]));
    const two = good(5);
    const group = points.filter((p) => p.injector === 0 && p.width === points[0]?.width).map((p) => p.index);
    for (const index of group.slice(0, 2)) two[index] = (two[index] ?? 0) * 1.05;
    const found = findOutliers(reductionOf((i) => two[i] ?? null), plan).outliers.map((o) => o.point);
    for (const index of group.slice(0, 2)) expect(found).toContain(index);
  });

  it('raises a false alarm by the scatter of all groups in about one good run of twenty', () => {
    const runs = 400;
    let alarms = 0;
    let own = 0;
    let groups = 0;
    for (let seed = 1; seed <= runs; seed += 1) {
      const masses = good(seed * 7919);
      const report = findOutliers(reductionOf((i) => masses[i] ?? null), plan);
      if (report.outliers.some((o) => o.test === 'all-groups')) alarms += 1;
      own += report.outliers.filter((o) => o.test === 'own-group').length;
      groups += report.groupsTested;
    }
    expect(Math.abs(alarms / runs - 0.05)).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / runs));
    expect(Math.abs(own / groups - 0.01)).toBeLessThan(4 * Math.sqrt((0.01 * 0.99) / groups));
  });

  it('answers to nonsense: nothing measured, all equal, no scatter model', () => {
    expect(findOutliers(reductionOf(() => null), plan)).toMatchObject({ outliers: [], groupsTested: 0, windowsTested: 0, notTested: [] });
    const equal = findOutliers(reductionOf(() => 1e-5), plan);
    expect(equal.outliers).toEqual([]);
    expect(equal.notTested).toHaveLength(points.length / 5);
    expect(findOutliers(reductionOf((i) => 1e-5 + i * 1e-9, 0), plan).windowsTested).toBe(0);
  });
});

describe('repeatability by width', () => {
  it('comes from the replicates of a run, pooled over injectors, and tells the lowest width', () => {
    const normal = normals(13);
    const noisy = (w: number) => (w < 0.0035 ? 0.03 : 0.001);
    const masses = points.map((p) => 4e-3 * p.width * (1 + p.injector / 10) * (1 + noisy(p.width) * normal()));
    const [condition] = repeatabilityByWidth(reductionOf((i) => masses[i] ?? null), 1);
    expect(condition?.widths.map((w) => w.width)).toEqual([0.01, 0.008, 0.006, 0.005, 0.004, 0.003, 0.002]);
    expect(condition?.lowest).toEqual({ kind: 'width', width: 0.004, proved: 0.004 });
    expect(condition?.widths[0]?.repeatability).toMatchObject({ dof: 8, groups: 2 });
  });
});
