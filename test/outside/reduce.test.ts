/** The arithmetic of the reduction against numbers that others have published or computed. */
import { describe, expect, it } from 'vitest';
import { coverageFactor, effectiveDegrees } from '../../app/uncertainty/budget.ts';
import { crossing, fieller, fitLine, lineAt, rescaled } from '../../app/reduce/regression.ts';

/** Agreement of two numbers in decimal digits (NIST's log relative error). */
function digits(found: number, certified: number): number {
  return found === certified ? 16 : -Math.log10(Math.abs(found - certified) / Math.abs(certified));
}

/** NIST Statistical Reference Datasets, linear regression, Norris: y, x. */
const norris: readonly (readonly [number, number])[] = [
  [0.1, 0.2], [338.8, 337.4], [118.1, 118.2], [888.0, 884.6], [9.2, 10.1], [228.1, 226.5], [668.5, 666.3], [998.5, 996.3],
  [449.1, 448.6], [778.9, 777.0], [559.2, 558.2], [0.3, 0.4], [0.1, 0.6], [778.1, 775.5], [668.8, 666.9], [339.3, 338.0],
  [448.9, 447.5], [10.8, 11.6], [557.7, 556.0], [228.3, 228.1], [998.0, 995.8], [888.8, 887.6], [119.6, 120.2], [0.3, 0.3],
  [0.6, 0.3], [557.6, 556.8], [339.3, 339.1], [888.0, 887.2], [998.5, 999.0], [778.9, 779.0], [10.2, 11.1], [117.6, 118.3],
  [228.9, 229.2], [668.4, 669.1], [449.2, 448.9], [0.2, 0.5],
];

describe('NIST StRD Norris, certified values', () => {
  const fit = fitLine(norris.map(([, x]) => x), norris.map(([y]) => y), null, 'estimated');
  const intercept = lineAt(fit, 0);

  it('gives intercept and slope to nine digits or more', () => {
    expect(fit.n).toBe(36);
    expect(digits(intercept.value, -0.262323073774029)).toBeGreaterThan(9);
    expect(digits(fit.slope, 1.00211681802045)).toBeGreaterThan(9);
  });

  it('gives their standard deviations to nine digits or more', () => {
    expect(digits(intercept.u, 0.232818234301152)).toBeGreaterThan(9);
    expect(digits(Math.sqrt(fit.varianceOfSlope), 0.429796848199937e-3)).toBeGreaterThan(9);
  });

  it('gives the residual standard deviation and sum of squares to nine digits or more', () => {
    expect(digits(Math.sqrt(fit.scale), 0.884796396144373)).toBeGreaterThan(9);
    expect(digits(fit.chiSquared, 26.6173985294224)).toBeGreaterThan(9);
  });

  // Not certified by NIST; from an independent computation (Python) on the certified data.
  it('gives the crossing, its covariance and the Fieller interval of an independent computation', () => {
    const x = crossing(fit);
    expect(digits(x.value, 0.26176895652966)).toBeGreaterThan(9);
    expect(x.u).toBeCloseTo(0.23223957, 8);
    expect(digits(intercept.covarianceWithSlope, -7.743275363e-5)).toBeGreaterThan(9);
    const interval = fieller(fit, coverageFactor(34));
    if (!interval.bounded) throw new Error('unbounded');
    expect(interval.low).toBeCloseTo(-0.21051718, 7);
    expect(interval.high).toBeCloseTo(0.73341859, 7);
  });
});

describe('JCGM 100:2008 (GUM) H.3, calibration of a thermometer', () => {
  // Data of table H.6; full-precision results from an independent computation that agrees with the printed digits.
  const t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.01, 26.511];
  const b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.16];
  const fit = fitLine(t.map((x) => x - 20), b, null, 'estimated');
  const y1 = lineAt(fit, 0);

  it('gives y1, y2 and their uncertainties', () => {
    expect(y1.value).toBeCloseTo(-0.1712, 4); // as printed in the GUM
    expect(y1.u).toBeCloseTo(0.0029, 4);
    expect(fit.slope).toBeCloseTo(0.00218, 5);
    expect(Math.sqrt(fit.varianceOfSlope)).toBeCloseTo(0.00067, 5);
    expect(digits(y1.value, -0.17120379013)).toBeGreaterThan(9);
    expect(digits(fit.slope, 0.00218269774)).toBeGreaterThan(8);
    expect(digits(y1.u, 0.0028775978)).toBeGreaterThan(7);
    expect(digits(Math.sqrt(fit.varianceOfSlope), 0.000667938773)).toBeGreaterThan(8);
  });

  it('gives correlation and residual standard deviation', () => {
    expect(y1.covarianceWithSlope / (y1.u * Math.sqrt(fit.varianceOfSlope))).toBeCloseTo(-0.93043, 5);
    expect(Math.sqrt(fit.scale)).toBeCloseTo(0.003497564, 8);
  });

  it('gives the correction at 30 degC with its expanded uncertainty', () => {
    const at30 = lineAt(fit, 10);
    expect(at30.value).toBeCloseTo(-0.14937681, 8);
    expect(at30.u).toBeCloseTo(0.0041386, 7);
    expect(coverageFactor(fit.dof) * at30.u).toBeCloseTo(0.00936215, 7);
  });

  it('keeps a systematic part common to all readings apart from the slope (H.3.6)', () => {
    // Published worked example: u(y1) becomes 0.0057689 with a common u of 0.005, u(y2) is unchanged.
    expect(Math.hypot(y1.u, 0.005)).toBeCloseTo(0.0057689, 6);
  });
});

describe('weighted straight line with known standard uncertainties', () => {
  // Worked example in the documentation of a national metrology institute's uncertainty library (GTC).
  const u = [0.5, 0.5, 0.5, 1, 1, 1];
  const fit = fitLine([1, 2, 3, 4, 5, 6], [3.2, 4.3, 7.6, 8.6, 11.7, 12.8], u.map((s) => 1 / (s * s)), 'known');
  const intercept = lineAt(fit, 0);

  it('gives the published intercept and slope with their uncertainties', () => {
    expect(digits(intercept.value, 0.8852320675105)).toBeGreaterThan(11);
    expect(digits(intercept.u, 0.5297081435088)).toBeGreaterThan(11);
    expect(digits(fit.slope, 2.056962025316)).toBeGreaterThan(11);
    expect(digits(Math.sqrt(fit.varianceOfSlope), 0.177892016741)).toBeGreaterThan(11);
  });

  // From an independent computation.
  it('gives chi-squared, the crossing and its Fieller interval', () => {
    expect(fit.chiSquared).toBeCloseTo(4.13080169, 8);
    expect(intercept.covarianceWithSlope).toBeCloseTo(-0.08227848101, 10);
    const x = crossing(fit);
    expect(x.value).toBeCloseTo(-0.43035897, 8);
    expect(x.u).toBeCloseTo(0.29058433, 8);
    const interval = fieller(fit, coverageFactor(Number.POSITIVE_INFINITY));
    if (!interval.bounded) throw new Error('unbounded');
    expect(interval.low).toBeCloseTo(-1.10480933, 7);
    expect(interval.high).toBeCloseTo(0.0648075, 7);
  });
});

describe('ordinary straight line', () => {
  // Worked example in the documentation of a national metrology institute's uncertainty library (GTC).
  const fit = fitLine([1, 2, 3, 4, 5, 6, 7, 8, 9], [15.6, 17.5, 36.6, 43.8, 58.2, 61.6, 64.2, 70.4, 98.8], null, 'estimated');

  it('gives the published intercept and slope with their uncertainties', () => {
    expect(digits(lineAt(fit, 0).value, 4.81388888889)).toBeGreaterThan(11);
    expect(digits(lineAt(fit, 0).u, 4.88620631218)).toBeGreaterThan(11);
    expect(digits(fit.slope, 9.40833333333)).toBeGreaterThan(11);
    expect(digits(Math.sqrt(fit.varianceOfSlope), 0.868301647656)).toBeGreaterThan(11);
  });

  // From an independent computation.
  it('gives the crossing and its Fieller interval', () => {
    expect(crossing(fit).value).toBeCloseTo(-0.51166224, 8);
    expect(crossing(fit).u).toBeCloseTo(0.56172434, 8);
    const interval = fieller(fit, coverageFactor(7));
    if (!interval.bounded) throw new Error('unbounded');
    expect(interval.low).toBeCloseTo(-2.17598521, 7);
    expect(interval.high).toBeCloseTo(0.60141531, 7);
  });

  it('scales its variances and nothing else when the scale is changed', () => {
    const doubled = rescaled(fit, 2 * fit.scale);
    expect(crossing(doubled).value).toBe(crossing(fit).value);
    expect(crossing(doubled).u).toBeCloseTo(Math.SQRT2 * crossing(fit).u, 12);
  });
});

describe('coverage factors', () => {
  it('are those of GUM table G.2 for 95 %', () => {
    const table: readonly (readonly [number, number])[] = [
      [1, 12.71], [2, 4.3], [3, 3.18], [4, 2.78], [5, 2.57], [6, 2.45], [7, 2.36], [8, 2.31], [9, 2.26], [10, 2.23],
      [20, 2.09], [30, 2.04], [50, 2.01], [100, 1.984],
    ];
    for (const [dof, t] of table) expect(Math.abs(coverageFactor(dof) - t)).toBeLessThan(0.0051);
    expect(coverageFactor(Number.POSITIVE_INFINITY)).toBeCloseTo(1.959964, 6);
  });

  it('follow Welch-Satterthwaite as in GUM H.1 (end gauge)', () => {
    // Inputs as the example states them (0.58e-6 /degC, 0.029 degC), in nm. An independent computation from them gives
    // u_c 31.705 and 16.645 degrees of freedom; the GUM rounds on the way and prints 32, 16.7 and 16.
    const random = { u: Math.hypot(5.8, 3.9, 6.7), dof: effectiveDegrees([{ u: 5.8, dof: 24 }, { u: 3.9, dof: 5 }, { u: 6.7, dof: 8 }]) };
    expect(random.dof).toBeCloseTo(25.447, 2);
    const length = 50.000623e6;
    const parts = [
      { u: 25, dof: 18 },
      random,
      { u: length * 0.1 * 0.58e-6, dof: 50 },
      { u: length * 11.5e-6 * 0.029, dof: 2 },
    ];
    expect(Math.hypot(...parts.map((p) => p.u))).toBeCloseTo(31.705, 2);
    expect(effectiveDegrees(parts)).toBeCloseTo(16.645, 2);
  });
});
