/**
 * A straight line through points with known relative weights, kept in its centred form y = meanY + slope (x - meanX):
 * there the two parameters are uncorrelated and nothing cancels (JCGM 100:2008, H.3.5), so that intercept, crossing of
 * the axis, predictions and their covariances follow without loss of digits.
 */

export interface LineFit {
  readonly n: number;
  /** n - 2. */
  readonly dof: number;
  /** Weighted means. */
  readonly meanX: number;
  readonly meanY: number;
  readonly slope: number;
  /** Weighted sum of squared residuals: chi-squared when the weights are 1 / variance. */
  readonly chiSquared: number;
  /** Variances of meanY and slope for the variance scale named below; their covariance is 0. */
  readonly varianceOfMean: number;
  readonly varianceOfSlope: number;
  /** What 1 / weight was multiplied by to be a variance. */
  readonly scale: number;
}

/** How sure the weights are: 1 / variance as they stand, or known up to a factor that the residuals tell. */
export type Weighting = 'known' | 'estimated';

/**
 * Weighted least squares, two passes. `weights` absent: all 1.
 * Throws when there are fewer than two distinct x, or (weighting 'estimated') fewer than three points.
 */
export function fitLine(
  x: readonly number[],
  y: readonly number[],
  weights: readonly number[] | null,
  weighting: Weighting,
): LineFit {
  const n = x.length;
  if (y.length !== n || (weights !== null && weights.length !== n)) throw new Error('x, y and weights differ in length');
  let sumW = 0;
  let sumX = 0;
  let sumY = 0;
  for (let i = 0; i < n; i += 1) {
    const w = weights === null ? 1 : (weights[i] as number);
    sumW += w;
    sumX += w * (x[i] as number);
    sumY += w * (y[i] as number);
  }
  const meanX = sumX / sumW;
  const meanY = sumY / sumW;
  let sxx = 0;
  let sxy = 0;
  for (let i = 0; i < n; i += 1) {
    const w = weights === null ? 1 : (weights[i] as number);
    const dx = (x[i] as number) - meanX;
    sxx += w * dx * dx;
    sxy += w * dx * ((y[i] as number) - meanY);
  }
  if (!(sxx > 0)) throw new Error('a line needs two distinct x');
  const slope = sxy / sxx;
  let chiSquared = 0;
  for (let i = 0; i < n; i += 1) {
    const w = weights === null ? 1 : (weights[i] as number);
    const residual = (y[i] as number) - meanY - slope * ((x[i] as number) - meanX);
    chiSquared += w * residual * residual;
  }
  const dof = n - 2;
  if (weighting === 'estimated' && dof < 1) throw new Error('an estimated variance needs three points');
  const scale = weighting === 'estimated' ? chiSquared / dof : 1;
  return { n, dof, meanX, meanY, slope, chiSquared, varianceOfMean: scale / sumW, varianceOfSlope: scale / sxx, scale };
}

/** The same line with its variances multiplied so that the scale is `scale`. */
export function rescaled(fit: LineFit, scale: number): LineFit {
  const factor = scale / fit.scale;
  return {
    ...fit,
    scale,
    varianceOfMean: fit.varianceOfMean * factor,
    varianceOfSlope: fit.varianceOfSlope * factor,
  };
}

export interface Estimated {
  readonly value: number;
  /** Standard uncertainty. */
  readonly u: number;
  readonly covarianceWithSlope: number;
}

/** Height of the line at `x`; at 0 it is the intercept. */
export function lineAt(fit: LineFit, x: number): Estimated {
  const dx = x - fit.meanX;
  return {
    value: fit.meanY + fit.slope * dx,
    u: Math.sqrt(fit.varianceOfMean + dx * dx * fit.varianceOfSlope),
    covarianceWithSlope: dx * fit.varianceOfSlope,
  };
}

/**
 * Where the line crosses y = 0: x0 = meanX - meanY / slope, with u^2(x0) = (u^2(meanY) + (meanX - x0)^2 u^2(slope)) /
 * slope^2. This is the covariance that fitting y = slope (x - x0) in (slope, x0) itself gives.
 */
export function crossing(fit: LineFit): Estimated {
  const distance = fit.meanY / fit.slope;
  return {
    value: fit.meanX - distance,
    u: Math.sqrt(fit.varianceOfMean + distance * distance * fit.varianceOfSlope) / Math.abs(fit.slope),
    covarianceWithSlope: (distance / fit.slope) * fit.varianceOfSlope,
  };
}

export type FiellerInterval =
  | { readonly bounded: true; readonly low: number; readonly high: number; readonly g: number }
  /** The slope is not distinguishable from 0 at this coverage factor: no interval holds the crossing. */
  | { readonly bounded: false; readonly g: number };

/**
 * Interval for the crossing after Fieller (1954), exact for normal errors: all x at which the line is not
 * distinguishable from 0 at coverage factor `t`. g = t^2 u^2(slope) / slope^2 tells how far the delta method is off.
 */
export function fieller(fit: LineFit, t: number): FiellerInterval {
  const t2 = t * t;
  const g = (t2 * fit.varianceOfSlope) / (fit.slope * fit.slope);
  if (g >= 1) return { bounded: false, g };
  const ratio = fit.meanY / fit.slope;
  const centre = ratio / (1 - g);
  const half =
    (t / ((1 - g) * Math.abs(fit.slope))) *
    Math.sqrt((1 - g) * fit.varianceOfMean + ratio * ratio * fit.varianceOfSlope);
  return { bounded: true, low: fit.meanX - centre - half, high: fit.meanX - centre + half, g };
}
