import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { lowestRepeatableWidth, repeatability } from './repeatability.ts';
import { searchOutliers } from './outlier-search.ts';
import { serialOf } from './serial.ts';
import { median, robustPooled } from './robust.ts';
import { intervalOfSd, pooled, sampleOf } from './sample.ts';
import { normals } from './normals.ts';

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
});

describe('outlier search', () => {
  const normal = normals(17);
  const groupsOf = (count: number, of: number) => Array.from({ length: count }, () => Array.from({ length: of }, normal));

  it('ST-1: names something in one good run of twenty, in small and in large runs', () => {
    for (const [count, of, runs] of [[1, 4, 1500], [4, 3, 1500], [8, 3, 1500], [8, 2, 1500], [40, 3, 600], [100, 2, 400]] as const) {
      let alarms = 0;
      for (let i = 0; i < runs; i += 1) if (searchOutliers(groupsOf(count, of), 0.05).named.length > 0) alarms += 1;
      expect(Math.abs(alarms / runs - 0.05), `${count} groups of ${of}`).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / runs));
    }
  });

  it('ST-1: three values that agree by chance make no outlier of the third', () => {
    const groups = groupsOf(60, 3);
    groups[7] = [0.2, 0.2001, 0.25];
    expect(searchOutliers(groups, 0.05).named.filter((n) => n.group === 7)).toEqual([]);
  });

  it('ST-2: names a pair as a pair, wherever its two values lie', () => {
    const groups = groupsOf(100, 2).map((g) => g.map((v) => v / 10));
    groups[31] = [5, -5];
    const { named, pairs, values } = searchOutliers(groups, 0.05);
    expect(named.map((n) => [n.group, n.indices])).toContainEqual([31, [0, 1]]);
    expect({ pairs, values }).toEqual({ pairs: 100, values: 0 });
  });

  it('ST-3: counts what could be named, and nothing where scatter is not known', () => {
    expect(searchOutliers([[1], [2, 3], [4, 5, 7]], 0.05)).toMatchObject({ values: 3, pairs: 1 });
    expect(searchOutliers([[1, 2, 30]], 0.05)).toMatchObject({ values: 0, pairs: 0, named: [], dof: 2 });
    expect(searchOutliers([], 0.05)).toMatchObject({ values: 0, pairs: 0, dof: 0 });
    // Fewer than ten values are searched too.
    expect(searchOutliers([[0.01, 0.02, 0.015], [0.02, 0.01, 0.03], [0.01, 0.012, 9]], 0.05).named).toMatchObject([{ group: 2, indices: [2] }]);
  });

  it.each([[0.02, 30], [0.05, 30], [0.08, 30], [0.05, 10]])('ST-4: with %d of the windows %d standard deviations off, most are named and few others', (share, far) => {
    let [bad, hit, wrong] = [0, 0, 0];
    for (let run = 0; run < 3; run += 1) {
      const groups = groupsOf(480, 3);
      // Spread evenly and to both sides, so that the test does not depend on luck.
      const spoilt = new Set<string>();
      for (let i = 0; i < Math.round(share * 1440); i += 1) {
        const at = (i * 977 + run * 101) % 1440;
        spoilt.add(`${Math.floor(at / 3)} ${at % 3}`);
        const group = groups[Math.floor(at / 3)];
        if (group !== undefined) group[at % 3] = (group[at % 3] ?? 0) + (i % 2 === 0 ? far : -far);
      }
      const named = searchOutliers(groups, 0.05).named.flatMap((n) => n.indices.map((k) => `${n.group} ${k}`));
      bad += spoilt.size;
      hit += named.filter((n) => spoilt.has(n)).length;
      wrong += named.filter((n) => !spoilt.has(n)).length;
    }
    expect(hit / bad).toBeGreaterThan(0.9);
    expect(wrong).toBeLessThan(0.05 * bad);
  });
});

describe('algorithm S', () => {
  it('ST-5: has the factors of ISO 13528:2022, table of annex C (from memory), and is not carried away', () => {
    // Groups that scatter all alike stay below the limit, so what is left is the factor xi.
    for (const [n, xi] of [[2, 1.097], [3, 1.054], [4, 1.039], [5, 1.032], [6, 1.027]] as const) {
      expect(robustPooled([{ n, squares: n - 1 }, { n, squares: n - 1 }])).toBeCloseTo(xi, 3);
    }
    const normal = normals(23);
    const groups = Array.from({ length: 400 }, (_, i) => sampleOf([normal(), normal(), normal() + (i % 20 === 0 ? 100 : 0)]));
    expect(robustPooled(groups)).toBeGreaterThan(0.95);
    expect(robustPooled(groups)).toBeLessThan(1.15);
    expect(pooled(groups)?.sd).toBeGreaterThan(10);
  });

  it('ST-5: estimates the standard deviation of good groups of several sizes without bias', () => {
    const normal = normals(29);
    const groups = Array.from({ length: 3000 }, (_, i) => sampleOf(Array.from({ length: 2 + (i % 4) }, normal)));
    expect(Math.abs((robustPooled(groups) ?? 0) - 1)).toBeLessThan(0.03);
    expect(robustPooled([{ n: 1, squares: 0 }])).toBeNull();
    expect(robustPooled([{ n: 2, squares: 0 }, { n: 3, squares: 0 }])).toBeNull();
    expect(median([3, 1, 2])).toBe(2);
    expect(median([4, 1, 2, 3])).toBe(2.5);
    expect(() => median([])).toThrow(RangeError);
  });
});

describe('neighbours that are alike', () => {
  it('ST-6: are called in one of twenty independent series, in half of those that are correlated by 0.5, in nearly all that wander', () => {
    const normal = normals(53);
    const series = 3000;
    const called = (n: number, correlation: number, count = series): number => {
      let alike = 0;
      for (let i = 0; i < count; i += 1) {
        let last = normal();
        if (serialOf(Array.from({ length: n }, () => (last = correlation * last + Math.sqrt(Math.max(0.1, 1 - correlation ** 2)) * normal())))?.alike === true) alike += 1;
      }
      return alike / count;
    };
    for (const n of [5, 8, 12, 20, 40]) expect(Math.abs(called(n, 0) - 0.05), `${n} values`).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / series));
    expect(called(20, 0.5, 500)).toBeGreaterThan(0.5);
    expect(called(20, 1, 500)).toBeGreaterThan(0.9);
    for (const none of [[1, 2, 3, 4], [2, 2, 2, 2, 2]]) expect(serialOf(none)).toBeNull();
  });
});
