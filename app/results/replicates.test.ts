import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { kilograms } from '../quantities/quantity.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { syntheticPlan } from '../reduce/synthetic.test-helper.ts';
import { findOutliers } from './outliers.ts';
import { repeatabilityByWidth } from './repeatability-by-width.ts';
import { normals } from '../statistics/normals.ts';

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

const massesIn = ({ windows }: Reduction) => windows.map(({ at, point, attempt, outcome }) => ({ at, point, attempt, mass: outcome.kind === 'mass' ? outcome.mass : null }));
const outliersOf = (reduction: Reduction) => findOutliers(massesIn(reduction), reduction.scatter, plan);

describe('outliers of a run', () => {
  const good = (seed: number) => {
    const normal = normals(seed);
    return points.map((p) => 4e-3 * (p.width - 0.0007) * (1 + 1e-3 * normal()));
  };

  it('ST-1: names the window that was spoilt and leaves it in the reduction', () => {
    const masses = good(3);
    masses[17] = (masses[17] ?? 0) * 1.02;
    const reduction = reductionOf((i) => masses[i] ?? null);
    const before = JSON.stringify(reduction);
    const { outliers, windowsTested, pairsTested, text } = outliersOf(reduction);
    expect(outliers.map((o) => o.windows)).toEqual([[{ point: 17, attempt: 1 }]]);
    expect(outliers[0]?.g).toBeGreaterThan(10);
    expect(outliers[0]?.text).toMatch(/attempt 1 of point 18 lies [12]\.\d\d % above the mean of its 4 other replicates, .* It is still part of every result\./);
    expect({ windowsTested, pairsTested }).toEqual({ windowsTested: points.length, pairsTested: 0 });
    expect(text).toMatch(/^1 outlier was named among 70 windows that have two replicates or more beside them\. What lies less than about 3\.\d standard deviations/);
    expect(JSON.stringify(reduction)).toBe(before);
  });

  it('ST-4: finds two in different groups, and two in one group are not hidden by each other', () => {
    const masses = good(5);
    masses[3] = (masses[3] ?? 0) * 0.97;
    masses[40] = (masses[40] ?? 0) * 1.03;
    const found = (list: readonly number[]) => outliersOf(reductionOf((i) => list[i] ?? null)).outliers.flatMap((o) => o.windows.map((w) => w.point));
    expect(new Set(found(masses))).toEqual(new Set([3, 40]));
    const two = good(5);
    const group = points.filter((p) => p.injector === 0 && p.width === points[0]?.width).map((p) => p.index);
    for (const index of group.slice(0, 2)) two[index] = (two[index] ?? 0) * 1.05;
    for (const index of group.slice(0, 2)) expect(found(two)).toContain(index);
  });

  it('ST-2, ST-3: with two replicates a bad pair is named as a pair, and single windows are not counted as tested', () => {
    const kept = (index: number): boolean => (points[index]?.replicate ?? 0) < ((points[index]?.width ?? 0) > 0.009 ? 1 : 2);
    const masses = good(9);
    const spoilt = points.find((p) => kept(p.index) && p.replicate === 1)?.index ?? -1;
    masses[spoilt] = (masses[spoilt] ?? 0) * 1.02;
    const { outliers, text, ...counted } = outliersOf(reductionOf((i) => (kept(i) ? (masses[i] ?? null) : null)));
    expect(outliers).toHaveLength(1);
    expect(outliers[0]?.windows.map((w) => w.point)).toContain(spoilt);
    expect(outliers[0]?.windows).toHaveLength(2);
    expect(outliers[0]?.text).toMatch(/attempt 1 of point \d+ and attempt 1 of point \d+ differ by [12]\.\d\d %, .*; of two, nothing says which is wrong\. Both are still part/);
    expect(counted).toEqual({ windowsTested: 0, pairsTested: 12, windowsNotTested: 2 });
    expect(text).toMatch(/among 12 pairs of replicates\..* 2 windows have no replicate and could not be looked at\.$/);
  });

  it('ST-1: raises a false alarm in about one good run of twenty', () => {
    const runs = 400;
    let alarms = 0;
    for (let seed = 1; seed <= runs; seed += 1) {
      const masses = good(seed * 7919);
      if (outliersOf(reductionOf((i) => masses[i] ?? null)).outliers.length > 0) alarms += 1;
    }
    expect(Math.abs(alarms / runs - 0.05)).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / runs));
  });

  it('ST-3: answers to nonsense: nothing measured, all equal, no scatter model', () => {
    expect(outliersOf(reductionOf(() => null))).toMatchObject({ outliers: [], windowsTested: 0, pairsTested: 0 });
    expect(outliersOf(reductionOf(() => 1e-5)).outliers).toEqual([]);
    const unknown = outliersOf(reductionOf((i) => 1e-5 + i * 1e-9, 0));
    expect(unknown).toMatchObject({ windowsTested: 0, windowsNotTested: points.length });
    expect(unknown.text).toMatch(/^Nothing was tested for outliers/);
  });
});

describe('repeatability by width', () => {
  it('comes from the replicates of a run, pooled over injectors, and tells the lowest width', () => {
    const normal = normals(13);
    const noisy = (w: number) => (w < 0.0035 ? 0.03 : 0.001);
    const masses = points.map((p) => 4e-3 * p.width * (1 + p.injector / 10) * (1 + noisy(p.width) * normal()));
    const [condition] = repeatabilityByWidth(massesIn(reductionOf((i) => masses[i] ?? null)), 1);
    expect(condition?.widths.map((w) => w.width)).toEqual([0.01, 0.008, 0.006, 0.005, 0.004, 0.003, 0.002]);
    expect(condition?.lowest).toEqual({ kind: 'width', width: 0.004, proved: 0.004 });
    expect(condition?.widths[0]?.repeatability).toMatchObject({ dof: 8, groups: 2 });
  });
});
