/** Interpolation, pressure law, correlated inputs and small least squares against numbers that others have published or computed. */
import { describe, expect, it } from 'vitest';
import { coverageFactor } from '../../app/uncertainty/budget.ts';
import { carried, combine, sharedPart, stateCarried } from '../../app/uncertainty/carried.ts';
import type { Carried } from '../../app/uncertainty/carried.ts';
import { errorSource } from '../../app/uncertainty/source.ts';
import { fitExponent } from '../../app/reduce/pressure-exponent.ts';
import { covarianceOf, solveLeastSquares } from '../../app/reduce/least-squares.ts';
import { interpolateMonotone, monotoneDerivatives } from '../../app/reduce/monotone.ts';

describe('RED-30: shape-preserving interpolation, Fritsch-Butland, on the RPN14 data of Fritsch and Carlson (1980)', () => {
  const x = [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20];
  const y = [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.94374, 0.998636, 0.999919, 0.999994];
  // Independent computation (scipy's PchipInterpolator, the same algorithm as SLATEC's PCHIM); the NAG library's published
  // example for the same data (E01BEF) prints 0.0000 0.4640 0.9645 0.9965 0.9992 0.9998 0.9999 1.0000 (from memory).
  const derivatives = [0, 5.52508682e-4, 0.335876835, 0.349449168, 0.596958239, 0.0603218455, 9.00395383e-4, 3.14246836e-5];
  const values = [0, 0.46401431, 0.96446961, 0.99648809, 0.99923975, 0.99977114, 0.99992502, 0.99995609, 0.99997755, 0.99998999, 0.999994];
  // The original variant of Fritsch and Carlson (1980) gives other values: 0.46402837, 0.97000539, 0.99783721 ...
  const fritschCarlson = [0, 0.46402837, 0.97000539, 0.99783721];

  it('gives the derivatives at the knots', () => {
    const found = monotoneDerivatives(x, y);
    derivatives.forEach((d, i) => {
      expect(Math.abs((found[i] ?? Number.NaN) - d)).toBeLessThan(1e-8 * Math.max(1, d));
    });
    expect(Math.abs(found[8] ?? Number.NaN)).toBeLessThan(1e-8);
  });

  it('gives the values at eleven equidistant places, and not those of the other variant', () => {
    values.forEach((value, i) => {
      expect(interpolateMonotone(x, y, 7.99 + 1.201 * i)).toBeCloseTo(value, 7);
    });
    expect(Math.abs(interpolateMonotone(x, y, 7.99 + 2 * 1.201) - (fritschCarlson[2] ?? 0))).toBeGreaterThan(0.005);
  });
});

describe('RED-35: pressure exponent', () => {
  it('of flows off the law is the slope of the line through their logarithms (computed independently with NumPy polyfit)', () => {
    expect(fitExponent([250, 300, 350, 400, 500], [1, 1.1, 1.176, 1.271, 1.406])).toBeCloseTo(0.4926382, 6);
  });

  it('of an orifice is 0.5: from 300 to 400 kPa the flow grows by 1.154701 (Bernoulli: Q2 = Q1 sqrt(p2 / p1); ISO 5167-1)', () => {
    expect(fitExponent([300, 400], [1, 1.154701])).toBeCloseTo(0.5, 5);
  });
});

describe('RED-27: JCGM 100:2008 (GUM) H.2, resistance, reactance and impedance from correlated readings', () => {
  // Means, standard uncertainties and correlations of V, I and phi as the GUM's example states them (table H.2).
  const [v, i, phi] = [4.999, 19.661e-3, 1.04446];
  const u = [3.2e-3, 9.5e-6, 7.5e-4] as const;
  const r = { vi: -0.36, vphi: 0.86, iphi: -0.65 };
  // Cholesky factor of the correlations: three readings as sums of three independent errors.
  const l21 = r.vi;
  const l22 = Math.sqrt(1 - l21 ** 2);
  const l31 = r.vphi;
  const l32 = (r.iphi - l31 * l21) / l22;
  const l33 = Math.sqrt(1 - l31 ** 2 - l32 ** 2);
  const reading = (value: number, effects: readonly number[]) => carried(value, effects.map((e, n) => sharedPart(errorSource('k-factor-point', String(n)), e)));
  const readings = [
    reading(v, [u[0]]),
    reading(i, [u[1] * l21, u[1] * l22]),
    reading(phi, [u[2] * l31, u[2] * l32, u[2] * l33]),
  ];
  const of = (value: number, sensitivities: readonly number[]) =>
    combine(value, readings.map((input, n) => ({ of: input, sensitivity: sensitivities[n] ?? 0 })));
  const z = v / i;
  const [cos, sin] = [Math.cos(phi), Math.sin(phi)];
  const R = of(z * cos, [cos / i, (-z * cos) / i, -z * sin]);
  const X = of(z * sin, [sin / i, (-z * sin) / i, z * cos]);
  const Z = of(z, [1 / i, -z / i, 0]);
  const correlation = (a: Carried, b: Carried): number => {
    let sum = 0;
    for (const [name, part] of a.parts) sum += part.effect * (b.parts.get(name)?.effect ?? 0);
    return sum / stateCarried(a).u / stateCarried(b).u;
  };

  it('gives R 127.732(70), X 219.85(30), Z 254.26(24) ohm', () => {
    expect(R.value).toBeCloseTo(127.732, 3);
    expect(X.value).toBeCloseTo(219.847, 2);
    expect(Z.value).toBeCloseTo(254.26, 2);
    expect(stateCarried(R).u).toBeCloseTo(0.07, 2);
    expect(stateCarried(X).u).toBeCloseTo(0.3, 2);
    expect(stateCarried(Z).u).toBeCloseTo(0.24, 2);
  });

  it('gives their correlations -0.59, -0.49 and 0.99', () => {
    expect(correlation(R, X)).toBeCloseTo(-0.59, 1);
    expect(correlation(R, Z)).toBeCloseTo(-0.49, 1);
    expect(correlation(X, Z)).toBeCloseTo(0.99, 2);
  });
});

describe('least squares of a few unknowns', () => {
  /** Line through the origin with the standard deviation of its slope. */
  const throughOrigin = (x: readonly number[], y: readonly number[]) => {
    const rows = x.map((value) => [value]);
    const fit = solveLeastSquares(rows, y, null);
    const variance = covarianceOf(rows, null)?.[0]?.[0] ?? Number.NaN;
    const squares = fit?.squares ?? Number.NaN;
    return { slope: fit?.beta[0], sd: Math.sqrt((variance * squares) / (x.length - 1)), squares };
  };

  it('NIST StRD NoInt1, certified values', () => {
    const x = Array.from({ length: 11 }, (_, i) => 60 + i);
    const { slope, sd, squares } = throughOrigin(x, x.map((v) => v + 70));
    expect(slope).toBeCloseTo(2.07438016528926, 12);
    expect(sd).toBeCloseTo(0.0165289256198347, 13);
    expect(squares).toBeCloseTo(127.272727272727, 9);
  });

  it('NIST StRD NoInt2, certified values', () => {
    const { slope, sd } = throughOrigin([4, 5, 6], [3, 4, 4]);
    expect(slope).toBeCloseTo(0.727272727272727, 13);
    expect(sd).toBeCloseTo(0.0420827318078432, 13);
  });
});

describe('coverage factors for other levels', () => {
  // Independent computation (scipy): 95.45 % and 99 %, two-sided.
  it.each([
    [1, 13.9678, 63.6567],
    [5, 2.6487, 4.0321],
    [9, 2.3198, 3.2498],
    [16, 2.1689, 2.9208],
    [30, 2.0868, 2.75],
    [100, 2.0253, 2.6259],
  ])('with %d degrees of freedom are %d and %d', (dof, at9545, at99) => {
    expect(Math.abs(coverageFactor(dof, 0.9545) - at9545)).toBeLessThan(2e-4 * at9545);
    expect(Math.abs(coverageFactor(dof, 0.99) - at99)).toBeLessThan(1e-4 * at99);
  });
});
