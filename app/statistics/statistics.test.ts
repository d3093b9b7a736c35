import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { grubbs, grubbsCritical } from './grubbs.ts';
import { lowestRepeatableWidth, repeatability } from './repeatability.ts';
import { intervalOfSd, sampleOf } from './sample.ts';
import { normals } from './normals.test-helper.ts';

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
