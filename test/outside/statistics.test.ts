/** Samples, pooling, Student, chi-square and Grubbs against numbers that others have published or computed. */
import { describe, expect, it } from 'vitest';
import { chiSquareQuantile, fAbove, fQuantile, normalQuantile, tQuantile } from '../../app/distributions/distributions.ts';
import { coverageFactor } from '../../app/uncertainty/budget.ts';
import { searchOutliers } from '../../app/statistics/outlier-search.ts';
import { repeatability, repeatabilityFactor } from '../../app/statistics/repeatability.ts';
import { intervalOfSd, pooled, sampleOf } from '../../app/statistics/sample.ts';

const digits = (found: number, certified: number): number => (found === certified ? 16 : -Math.log10(Math.abs(found - certified) / Math.abs(certified)));

/** NIST Statistical Reference Datasets, one-way analysis of variance, SiRstv: five instruments, five measurements each. */
const siRstv = [
  [196.3052, 196.124, 196.189, 196.2569, 196.3403],
  [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
  [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
  [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
  [196.2119, 196.1051, 196.185, 196.0052, 196.209],
];

describe('NIST StRD SiRstv, certified values', () => {
  it('gives the residual standard deviation, which is the pooled repeatability, to nine digits', () => {
    const found = repeatability(siRstv);
    if (found.kind !== 'repeatability') throw new Error(found.text);
    expect(found.dof).toBe(20);
    expect(digits(found.sd, 0.104076068334656)).toBeGreaterThan(9);
    expect(digits(found.sd * found.sd * 20, 2.1663656e-1)).toBeGreaterThan(8);
  });

  // 1.96 sqrt(2) s_r, computed independently (Python).
  it('gives the repeatability limit', () => {
    expect(repeatabilityFactor).toBeCloseTo(2.7718, 4);
    const found = repeatability(siRstv);
    expect(found).toMatchObject({ groups: 5 });
    if (found.kind === 'repeatability') expect(found.limit).toBeCloseTo(0.2885, 4);
  });

  // chi-square of 20 degrees of freedom at 0.025 and 0.975: 9.5908 and 34.1696.
  it('gives the interval of the standard deviation by chi-square', () => {
    const { low, high } = intervalOfSd(0.104076068334656, 20);
    expect(low).toBeCloseTo(0.104076068 * Math.sqrt(20 / 34.1696), 6);
    expect(high).toBeCloseTo(0.104076068 * Math.sqrt(20 / 9.5908), 6);
  });
});

describe('NIST/SEMATECH e-Handbook, 1.3.5.17.3: Rosner\'s 54 values', () => {
  const rosner = [
    -0.25, 0.68, 0.94, 1.15, 1.2, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.7, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09,
    2.1, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.4, 2.47, 2.54, 2.62, 2.64, 2.9, 2.92, 2.92, 2.93, 3.21, 3.26, 3.3, 3.59, 3.68, 4.3, 4.64, 5.34, 5.42, 6.01,
  ];

  // There the third of ten steps is the last whose statistic (3.179) is above its critical value (3.144); the first two are not.
  it('names the three that the handbook names, which a forward search would not', () => {
    const { named, critical } = searchOutliers([rosner], 0.05);
    expect(named.map((n) => rosner[n.indices[0] ?? -1])).toEqual([6.01, 5.42, 5.34]);
    // Here distances are scaled to the variance of one value.
    expect(critical * Math.sqrt(51 / 52)).toBeCloseTo(3.1439, 3);
  });
});

describe('samples', () => {
  // A large mean with a small scatter, as NIST's numerical accuracy sets have it; mean and deviation are exact by construction.
  it('keeps a small scatter on a large mean', () => {
    const values = [1000000.2, ...Array.from({ length: 500 }, () => [1000000.1, 1000000.3]).flat()];
    const sample = sampleOf(values);
    expect(sample.mean).toBe(1000000.2);
    expect(digits(pooled([sample])?.sd ?? 0, 0.1)).toBeGreaterThan(8.5);
  });

  // Computed independently (Python).
  it('pools standard deviations of groups of different size', () => {
    const groups = [[0.1, 5], [0.14, 8], [0.12, 6]].map(([sd = 0, n = 0]) => ({ n, squares: sd * sd * (n - 1) }));
    const common = pooled(groups);
    expect(common?.dof).toBe(16);
    expect(common?.sd).toBeCloseTo(0.12479984, 8);
  });
});

describe('Student and chi-square', () => {
  // JCGM 100:2008, table G.2, and NIST Technical Note 1297 (1994), table B.1, to two decimals; four decimals computed with SciPy.
  it.each([
    [1, 12.7062, 13.9678, 63.6567], [2, 4.3027, 4.5266, 9.9248], [3, 3.1824, 3.3068, 5.8409], [4, 2.7764, 2.8693, 4.6041],
    [5, 2.5706, 2.6487, 4.0321], [8, 2.306, 2.3664, 3.3554], [10, 2.2281, 2.2837, 3.1693], [20, 2.086, 2.133, 2.8453],
    [50, 2.0086, 2.0513, 2.6778], [100, 1.984, 2.0253, 2.6259], [Infinity, 1.96, 2, 2.5758],
  ])('t of %d degrees of freedom at 95 %, 95.45 % and 99 %', (dof, t95, t9545, t99) => {
    expect(Math.abs(coverageFactor(dof) - t95)).toBeLessThan(6e-5);
    expect(Math.abs(coverageFactor(dof, 0.9545) - t9545)).toBeLessThan(1.5e-3);
    expect(Math.abs(coverageFactor(dof, 0.99) - t99)).toBeLessThan(6e-5);
  });

  // Computed with SciPy; the usual printed tables agree.
  it.each([
    [1, 0.001, 0.0039, 3.8415, 5.0239], [2, 0.0506, 0.1026, 5.9915, 7.3778], [4, 0.4844, 0.7107, 9.4877, 11.1433],
    [8, 2.1797, 2.7326, 15.5073, 17.5345], [20, 9.5908, 10.8508, 31.4104, 34.1696], [30, 16.7908, 18.4927, 43.773, 46.9792],
  ])('chi-square of %d degrees of freedom', (dof, ...expected) => {
    [0.025, 0.05, 0.95, 0.975].forEach((p, i) => {
      expect(Math.abs(chiSquareQuantile(p, dof) - (expected[i] ?? 0))).toBeLessThan(6e-5);
    });
  });
});

describe('distributions, where they have a closed form', () => {
  const probabilities = [1e-9, 1e-4, 0.025, 0.3, 0.5, 0.7, 0.95, 0.975, 0.9999, 1 - 2 ** -30];
  const near = (found: number, exact: number): void => {
    expect(Math.abs(found - exact)).toBeLessThanOrEqual(1e-11 * Math.abs(exact) + 1e-13);
  };

  // Student's t of one and of two degrees of freedom can be inverted by hand (Abramowitz & Stegun 26.7).
  it.each(probabilities)('t of 1 and of 2 degrees of freedom at %d', (p) => {
    if (p !== 0.5) near(tQuantile(p, 1), p > 0.5 ? 1 / Math.tan(Math.PI * (1 - p)) : -1 / Math.tan(Math.PI * p));
    near(tQuantile(p, 2), (2 * p - 1) / Math.sqrt(2 * p * (1 - p)));
  });

  // Chi-square of two degrees of freedom is exponential; of any even number it is a sum of Poisson terms (A&S 26.4.21).
  it.each(probabilities)('chi-square at %d', (p) => {
    near(chiSquareQuantile(p, 2), -2 * Math.log1p(-p));
    for (const dof of [4, 20, 150]) {
      const half = chiSquareQuantile(p, dof) / 2;
      let term = Math.exp(-half);
      let above = term;
      for (let k = 1; k < dof / 2; k += 1) above += term *= half / k;
      if (above > 1e-3) near(above, 1 - p);
    }
  });

  // F of two degrees of freedom above any number below; of one above: the square of t (A&S 26.6).
  it.each(probabilities)('F at %d', (p) => {
    for (const dof of [1, 4.5, 60, 1e4]) {
      near(fQuantile(p, 2, dof), (dof / 2) * Math.expm1((-2 / dof) * Math.log1p(-p)));
      if (p > 0.5) near(fQuantile(2 * p - 1, 1, dof), tQuantile(p, dof) ** 2);
      near(fAbove(fQuantile(p, 3, dof), 3, dof), 1 - p);
    }
  });

  // To sixteen digits in many tables; these from memory.
  it('normal', () => {
    near(normalQuantile(0.975), 1.959963984540054);
    near(normalQuantile(0.995), 2.5758293035489004);
    near(normalQuantile(1e-9), -5.997807015007687);
    expect(normalQuantile(0.5)).toBe(0);
  });

  // Student's t becomes normal: z + z (z^2 + 1) / 4n (A&S 26.7.5).
  it('t of a million degrees of freedom', () => {
    const z = normalQuantile(0.95);
    expect(Math.abs(tQuantile(0.95, 9e5) - (z + (z * (z * z + 1)) / 3.6e6))).toBeLessThan(3e-9);
  });

  it('what is no probability and no number of degrees of freedom throws', () => {
    expect(() => normalQuantile(1.1)).toThrow(RangeError);
    expect(() => tQuantile(0.9, 0)).toThrow(RangeError);
    expect(() => chiSquareQuantile(Number.NaN, 3)).toThrow(RangeError);
    expect(normalQuantile(1)).toBe(Number.POSITIVE_INFINITY);
  });
});

describe('Grubbs, which the search is for a single group', () => {
  /** Rising without an outlier, so that the critical distance is that of the first step; in Grubbs' own scale, where it is not divided by sqrt(1 - 1/n). */
  const criticalOf = (n: number, level: number): number => searchOutliers([Array.from({ length: n }, (_, i) => i)], level).critical * Math.sqrt((n - 1) / n);

  // One side 5 %: the published column of Grubbs 1950 and ASTM E178 (to its two decimals); all four decimals from SciPy.
  it.each([
    [4, 1.4625, 1.4812, 1.4962], [5, 1.6714, 1.715, 1.7637], [6, 1.8221, 1.8871, 1.9728],
    [7, 1.9381, 2.02, 2.1391], [8, 2.0317, 2.1266, 2.2744], [9, 2.1096, 2.215, 2.3868], [10, 2.1761, 2.29, 2.4821],
    [12, 2.285, 2.4116, 2.6357], [15, 2.409, 2.5483, 2.8061], [20, 2.5566, 2.7082, 3.0008], [25, 2.6629, 2.8217, 3.1353],
    [30, 2.7451, 2.9085, 3.2361], [50, 2.957, 3.1282, 3.4825], [100, 3.2095, 3.3841, 3.754],
  ])('critical values for %d values: one side 5 %, two sides 5 %, two sides 1 %', (n, one5, two5, two1) => {
    expect(Math.abs(criticalOf(n, 0.1) - one5)).toBeLessThan(6e-5);
    expect(Math.abs(criticalOf(n, 0.05) - two5)).toBeLessThan(6e-5);
    expect(Math.abs(criticalOf(n, 0.01) - two1)).toBeLessThan(6e-5);
  });

  // NIST/SEMATECH e-Handbook, Grubbs' test (data from memory): G = 2.468765 against 2.032 on one side at 5 %.
  it('finds the outlier of the handbook example', () => {
    const { named, critical } = searchOutliers([[199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]], 0.1);
    expect(named).toMatchObject([{ group: 0, indices: [7] }]);
    expect(critical * Math.sqrt(7 / 8)).toBeCloseTo(2.032, 3);
  });
});
