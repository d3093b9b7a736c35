/** The small fits that everything rests on, held against closed forms and against what defines them. */
import { describe, expect, it } from 'vitest';
import { covarianceOf, solveLeastSquares } from './least-squares.ts';
import { interpolateMonotone, monotoneDerivatives } from './monotone.ts';
import { crossing, fieller, fitLine, lineAt, rescaled } from './regression.ts';
import type { LineFit } from './regression.ts';

const x = [1, 2, 4, 7, 8];
const y = [1.3, 3.4, 7.1, 13.6, 15];
const weights = [4, 1, 2, 0.5, 1];

describe('RED-7 a straight line through weighted points', () => {
  const fits = (): readonly LineFit[] => [
    fitLine(x, y, weights, 'known'),
    fitLine(x, y, weights, 'estimated'),
    fitLine(x, y, null, 'known'),
    fitLine(x, y.map((v) => 20 - v), weights, 'known'),
  ];

  it('has the covariance of slope and crossing that a fit in (slope, crossing) itself has: (J W J)^-1', () => {
    for (const fit of fits()) {
      const { value, u, covarianceWithSlope } = crossing(fit);
      const ones = x.map(() => 1);
      const w = fit.varianceOfMean === fit.scale / x.length ? ones : weights;
      const covariance = covarianceOf(x.map((at) => [at - value, -fit.slope]), w) ?? [];
      expect(lineAt(fit, value).value).toBeCloseTo(0, 12);
      expect(fit.varianceOfSlope / fit.scale / (covariance[0]?.[0] ?? 0)).toBeCloseTo(1, 9);
      expect(u ** 2 / fit.scale / (covariance[1]?.[1] ?? 0)).toBeCloseTo(1, 9);
      expect(covarianceWithSlope / fit.scale / (covariance[0]?.[1] ?? 0)).toBeCloseTo(1, 9);
    }
  });

  it('has the covariance of slope and intercept that least squares in (intercept, slope) has', () => {
    const fit = fitLine(x, y, weights, 'known');
    const covariance = covarianceOf(x.map((at) => [1, at - 3]), weights) ?? [];
    const solved = solveLeastSquares(x.map((at) => [1, at - 3]), y, weights);
    const height = lineAt(fit, 3);
    expect(height.value).toBeCloseTo(solved?.beta[0] ?? 0, 12);
    expect(fit.slope).toBeCloseTo(solved?.beta[1] ?? 0, 12);
    expect(fit.chiSquared).toBeCloseTo(solved?.squares ?? 0, 12);
    expect(height.u ** 2).toBeCloseTo(covariance[0]?.[0] ?? 0, 12);
    expect(height.covarianceWithSlope).toBeCloseTo(covariance[0]?.[1] ?? 0, 12);
    expect(fit).toMatchObject({ n: 5, dof: 3, scale: 1 });
    expect(fitLine(x, y, weights, 'estimated').scale).toBeCloseTo(fit.chiSquared / 3, 12);
  });

  it('RED-15: at the ends of the interval of Fieller the line is as far from 0 as its uncertainty, by definition', () => {
    for (const fit of fits()) {
      for (const t of [0.5, 1, 2]) {
        const interval = fieller(fit, t);
        if (!interval.bounded) throw new Error('unbounded');
        expect(interval.low).toBeLessThan(crossing(fit).value);
        expect(interval.high).toBeGreaterThan(crossing(fit).value);
        for (const end of [interval.low, interval.high]) expect(Math.abs(lineAt(fit, end).value) / (t * lineAt(fit, end).u)).toBeCloseTo(1, 9);
        expect(interval.g).toBeCloseTo((t * t * fit.varianceOfSlope) / fit.slope ** 2, 12);
      }
      // As the slope is lost in its own scatter there is no end any more.
      const lost = Math.abs(fit.slope) / Math.sqrt(fit.varianceOfSlope);
      expect(fieller(fit, 0.999 * lost).bounded).toBe(true);
      expect(fieller(fit, 1.001 * lost).bounded).toBe(false);
    }
    const even: LineFit = { n: 3, dof: 1, meanX: 0, meanY: 1, slope: 2, chiSquared: 1, varianceOfMean: 1, varianceOfSlope: 1, scale: 1 };
    expect(fieller(even, 2)).toEqual({ bounded: false, g: 1 });
  });

  it('is scaled as a whole', () => {
    const fit = fitLine(x, y, weights, 'estimated');
    const other = rescaled(fit, 3 * fit.scale);
    expect(other.scale).toBe(3 * fit.scale);
    expect(other.varianceOfMean / fit.varianceOfMean).toBeCloseTo(3, 12);
    expect(other.varianceOfSlope / fit.varianceOfSlope).toBeCloseTo(3, 12);
  });

  it('needs lists of one length, two distinct places, and three points for a variance of its own', () => {
    expect(() => fitLine([1, 2], [1], null, 'known')).toThrow('differ in length');
    expect(() => fitLine([1, 2], [1, 2], [1], 'known')).toThrow('differ in length');
    expect(() => fitLine([2, 2, 2], [1, 2, 3], null, 'known')).toThrow('two distinct x');
    expect(() => fitLine([1, 2], [1, 2], null, 'estimated')).toThrow('three points');
    expect(fitLine([1, 2], [1, 2], null, 'known').slope).toBe(1);
    expect(fitLine([1, 2, 3], [1, 2, 4], null, 'estimated').dof).toBe(1);
  });
});

describe('least squares of a few unknowns', () => {
  const rows = x.map((at) => [1, at]);

  it('weighs every row: the closed form of a line', () => {
    const sum = (read: (i: number) => number): number => x.reduce((total, _, i) => total + (weights[i] ?? 0) * read(i), 0);
    const [s, sx, sxx] = [sum(() => 1), sum((i) => x[i] ?? 0), sum((i) => (x[i] ?? 0) ** 2)];
    const [sy, sxy] = [sum((i) => y[i] ?? 0), sum((i) => (x[i] ?? 0) * (y[i] ?? 0))];
    const determinant = s * sxx - sx * sx;
    const solved = solveLeastSquares(rows, y, weights);
    expect(solved?.beta[0]).toBeCloseTo((sxx * sy - sx * sxy) / determinant, 12);
    expect(solved?.beta[1]).toBeCloseTo((s * sxy - sx * sy) / determinant, 12);
    expect(solved?.squares).toBeCloseTo(sum((i) => ((y[i] ?? 0) - (solved?.beta[0] ?? 0) - (solved?.beta[1] ?? 0) * (x[i] ?? 0)) ** 2), 12);
    const covariance = covarianceOf(rows, weights);
    [[sxx, -sx], [-sx, s]].forEach((row, i) => row.forEach((v, j) => expect(covariance?.[i]?.[j]).toBeCloseTo(v / determinant, 12)));
  });

  it('says where there is no one answer: too few rows, none, columns that depend on each other', () => {
    for (const tell of [(r: readonly (readonly number[])[]) => solveLeastSquares(r, r.map(() => 1), null), (r: readonly (readonly number[])[]) => covarianceOf(r, null)]) {
      expect(tell([])).toBeNull();
      expect(tell([[]])).toBeNull();
      expect(tell([[1, 2]])).toBeNull();
      expect(tell([[1, 2], [2, 4], [3, 6]])).toBeNull();
      expect(tell([[1, 2], [1, 3]])).not.toBeNull();
    }
  });
});

describe('RED-30 interpolation that keeps the shape', () => {
  it('goes through its knots with the stated derivatives, from both sides', () => {
    const at = [1, 2, 4, 5, 7.5, 8];
    const values = [2, 3, 3.5, 6, 6.2, 9];
    const derivatives = monotoneDerivatives(at, values);
    const h = 1e-6;
    at.forEach((knot, i) => {
      expect(interpolateMonotone(at, values, knot)).toBeCloseTo(values[i] ?? 0, 12);
      for (const side of [-h, h]) expect((interpolateMonotone(at, values, knot + side) - (values[i] ?? 0)) / side).toBeCloseTo(derivatives[i] ?? 0, 4);
    });
    // Outside, the straight line of the end.
    expect(interpolateMonotone(at, values, -1)).toBeCloseTo(2 - 2 * (derivatives[0] ?? 0), 12);
    expect(interpolateMonotone(at, values, 10)).toBeCloseTo(9 + 2 * (derivatives[5] ?? 0), 12);
    // Between them a cubic: its fourth difference is none.
    const inside = [4.1, 4.3, 4.5, 4.7, 4.9].map((where) => interpolateMonotone(at, values, where));
    expect([1, -4, 6, -4, 1].reduce((sum, c, i) => sum + c * (inside[i] ?? 0), 0)).toBeCloseTo(0, 12);
  });

  it('inside takes the harmonic mean of the chords, weighted towards the shorter interval, and 0 where they turn', () => {
    expect(monotoneDerivatives([0, 1, 2], [0, 1, 4])[1]).toBeCloseTo((2 * 1 * 3) / (1 + 3), 12);
    // Chords 1 and 3 over 1 and 2: weights (2 x 2 + 1) and (2 + 2 x 1), as in PCHIM.
    expect(monotoneDerivatives([0, 1, 3], [0, 1, 7])[1]).toBeCloseTo(9 / (5 / 1 + 4 / 3), 12);
    expect(monotoneDerivatives([0, 1, 2], [0, 1, 0])[1]).toBe(0);
    expect(monotoneDerivatives([0, 1, 2], [0, 1, 1])[1]).toBe(0);
    expect(monotoneDerivatives([0, 1, 2], [5, 5, 5])).toEqual([0, 0, 0]);
  });

  it('at an end takes the three-point formula, held to the shape', () => {
    const first = (chord0: number, chord1: number, h1 = 1): number => monotoneDerivatives([0, 1, 1 + h1], [0, chord0, chord0 + chord1 * h1])[0] ?? Number.NaN;
    // The parabola x^2 + x through 0, 1 and 3 rises by 1 at 0.
    expect(first(2, 5, 2)).toBeCloseTo(1, 12);
    expect(monotoneDerivatives([0, 2, 3], [0, 6, 12])[2]).toBeCloseTo(7, 12);
    expect(first(1, 4)).toBe(0);
    expect(first(1, -2)).toBeCloseTo(2.5, 12);
    expect(first(1, -10)).toBe(3);
    expect(first(-1, 10)).toBe(-3);
    expect(first(0, -10)).toBe(0);
  });
});
