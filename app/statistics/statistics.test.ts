import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { kilograms } from '../quantities/quantity.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { syntheticPlan } from '../reduce/synthetic.ts';
import { repeatabilityByWidth } from './by-width.ts';
import { grubbs, grubbsCritical } from './grubbs.ts';
import { findOutliers } from './outliers.ts';
import { lowestRepeatableWidth, repeatability } from './repeatability.ts';
import { intervalOfSd, sampleOf } from './sample.ts';

/** Standard normal numbers from a small generator, the same every time (Lehmer 1951, Box and Muller 1958). */
function normals(seed: number): () => number {
  let state = seed;
  const uniform = () => {
    state = (state * 48_271) % 2_147_483_647;
    return state / 2_147_483_647;
  };
  // Small seeds give small first numbers.
  for (let i = 0; i < 10; i += 1) uniform();
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}

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

describe('Grubbs', () => {
  it('says why it did not test: two values, equal values, NaN', () => {
    expect(grubbs([1, 2], 0.05)).toMatchObject({ kind: 'not-tested', reason: 'too-few' });
    expect(grubbs([2, 2, 2, 2], 0.05)).toMatchObject({ kind: 'not-tested', reason: 'no-scatter' });
    expect(grubbs([1, Number.NaN, 2], 0.05)).toMatchObject({ kind: 'not-tested', reason: 'not-a-number' });
    expect(grubbs([], 0.05)).toMatchObject({ kind: 'not-tested', reason: 'too-few' });
  });

  it('asks about the end that it is told to, and the same about a mirrored sample', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: -1000, max: 1000 }), { minLength: 3, maxLength: 20 }), (values) => {
        const high = grubbs(values, 0.05, 'high');
        const low = grubbs(values.map((v) => -v), 0.05, 'low');
        if (high.kind === 'tested' && low.kind === 'tested') {
          expect(values[high.index]).toBe(Math.max(...values));
          expect(low.g).toBeCloseTo(high.g, 9);
          expect(low.outlier).toBe(high.outlier);
        } else expect(low.kind).toBe(high.kind);
      }),
    );
  });

  it('never exceeds the largest distance that n values can have, (n - 1) / sqrt(n)', () => {
    for (let n = 3; n < 60; n += 1) {
      for (const level of [0.001, 0.01, 0.05, 0.5, 1]) {
        expect(grubbsCritical(n, level, 'two')).toBeLessThan((n - 1) / Math.sqrt(n));
        expect(grubbsCritical(n, level, 'two')).toBeGreaterThanOrEqual(grubbsCritical(n, level, 'high'));
      }
    }
    expect(() => grubbsCritical(2, 0.05, 'two')).toThrow(RangeError);
  });

  it('calls an outlier in a good sample as often as its level says', () => {
    const normal = normals(7);
    const trials = 4000;
    let called = 0;
    for (let i = 0; i < trials; i += 1) {
      const found = grubbs(Array.from({ length: 6 }, normal), 0.05);
      if (found.kind === 'tested' && found.outlier) called += 1;
    }
    // Four standard deviations of the binomial.
    expect(Math.abs(called / trials - 0.05)).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / trials));
  });
});

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

describe('repeatability', () => {
  it('says why there is none', () => {
    expect(repeatability([[1], [2]])).toMatchObject({ kind: 'no-repeatability', reason: 'no-replicates' });
    expect(repeatability([])).toMatchObject({ kind: 'no-repeatability', reason: 'no-replicates' });
    expect(repeatability([[1, Number.NaN]])).toMatchObject({ kind: 'no-repeatability', reason: 'not-a-number' });
  });

  it('does not depend on the level of the groups and scales with the scatter', () => {
    fc.assert(
      fc.property(fc.array(fc.array(fc.integer({ min: -50, max: 50 }), { minLength: 2, maxLength: 6 }), { minLength: 1, maxLength: 6 }), (groups) => {
        const plain = repeatability(groups);
        const moved = repeatability(groups.map((g, i) => g.map((v) => 3 * v + 1000 * i)));
        if (plain.kind !== 'repeatability' || moved.kind !== 'repeatability') throw new Error('both have replicates');
        expect(moved.sd).toBeCloseTo(3 * plain.sd, 9);
        expect(moved.dof).toBe(plain.dof);
        expect(moved.interval.low).toBeLessThanOrEqual(moved.sd);
        expect(moved.interval.high).toBeGreaterThanOrEqual(moved.sd);
      }),
    );
  });

  it('holds the true standard deviation in 95 % of its intervals', () => {
    const normal = normals(11);
    const trials = 3000;
    let held = 0;
    for (let i = 0; i < trials; i += 1) {
      const found = repeatability([Array.from({ length: 4 }, normal), Array.from({ length: 3 }, normal)]);
      if (found.kind === 'repeatability' && found.interval.low < 1 && found.interval.high > 1) held += 1;
    }
    expect(Math.abs(held / trials - 0.95)).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / trials));
  });

  it('of equal values is zero with a zero interval', () => {
    expect(repeatability([[5, 5, 5]])).toMatchObject({ sd: 0, limit: 0, interval: { low: 0, high: 0 } });
    expect(intervalOfSd(0, 2)).toEqual({ low: 0, high: 0 });
    expect(() => sampleOf([])).toThrow(RangeError);
  });
});

describe('the lowest repeatable width', () => {
  const width = (ms: number, percent: number, dof = 20) => ({ width: ms, sd: percent / 100, dof });

  it('ends at the first width from above that fails, whatever lies below', () => {
    const found = lowestRepeatableWidth([width(1, 0.4), width(1.5, 1.4), width(2, 0.6), width(4, 0.2), width(8, 0.1)], 0.01);
    expect(found).toEqual({ kind: 'width', width: 2, proved: 2 });
  });

  it('is proved only where the upper bound keeps the limit too', () => {
    expect(lowestRepeatableWidth([width(2, 0.9, 4), width(4, 0.3, 4)], 0.01)).toEqual({ kind: 'width', width: 2, proved: 4 });
    expect(lowestRepeatableWidth([width(2, 0.9, 4)], 0.01)).toEqual({ kind: 'width', width: 2, proved: null });
  });

  it('says why there is none', () => {
    expect(lowestRepeatableWidth([], 0.01)).toMatchObject({ kind: 'no-width', reason: 'not-measured' });
    expect(lowestRepeatableWidth([width(2, 0.2, 0)], 0.01)).toMatchObject({ kind: 'no-width', reason: 'not-measured' });
    expect(lowestRepeatableWidth([width(2, 0.2), width(4, 3)], 0.01)).toMatchObject({ kind: 'no-width', reason: 'none-within-limit' });
  });

  it('comes from the replicates of a run, pooled over injectors', () => {
    const normal = normals(13);
    const noisy = (w: number) => (w < 0.0035 ? 0.03 : 0.001);
    const masses = points.map((p) => 4e-3 * p.width * (1 + p.injector / 10) * (1 + noisy(p.width) * normal()));
    const [condition] = repeatabilityByWidth(reductionOf((i) => masses[i] ?? null), 1);
    expect(condition?.widths.map((w) => w.width)).toEqual([0.01, 0.008, 0.006, 0.005, 0.004, 0.003, 0.002]);
    expect(condition?.lowest).toEqual({ kind: 'width', width: 0.004, proved: 0.004 });
    expect(condition?.widths[0]?.repeatability).toMatchObject({ dof: 8, groups: 2 });
  });
});
