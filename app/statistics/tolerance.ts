/**
 * Factors of statistical tolerance intervals of a normal distribution whose mean and standard deviation are both estimated (ISO 16269-6:2014): mean plus or minus
 * factor times standard deviation holds at least the share `content` of all there are, with `confidence`. Exact, by integration. CMP-9.
 */
import { chiSquareAbove, chiSquareBelow, chiSquareQuantile, normalQuantile } from '../distributions/distributions.ts';

const normalBelow = (z: number): number => 0.5 + (Math.sign(z) * chiSquareBelow(z * z, 1)) / 2;
const density = (z: number): number => Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);

/** Where a rising function is 0, between two points. */
function root(of: (x: number) => number, low: number, high: number): number {
  let [a, b] = [low, high];
  for (let i = 0; i < 200 && b - a > 1e-13 * Math.max(1, Math.abs(b)); i += 1) {
    const middle = (a + b) / 2;
    if (of(middle) > 0) b = middle;
    else a = middle;
  }
  return (a + b) / 2;
}

/** Composite Gauss-Legendre of five points. */
const nodes = [0, 0.5384693101056831, -0.5384693101056831, 0.906179845938664, -0.906179845938664] as const;
const weights = [0.5688888888888889, 0.47862867049936647, 0.47862867049936647, 0.23692688505618908, 0.23692688505618908] as const;
function integral(of: (x: number) => number, from: number, to: number, steps: number): number {
  const half = (to - from) / steps / 2;
  let sum = 0;
  for (let i = 0; i < steps; i += 1) {
    const middle = from + (2 * i + 1) * half;
    nodes.forEach((node, j) => (sum += (weights[j] ?? 0) * half * of(middle + node * half)));
  }
  return sum;
}

/** P(T <= t) of Student's noncentral t: a normal variable of mean `delta` over an independent root of chi-square over its degrees of freedom. */
export function noncentralTBelow(t: number, dof: number, delta: number): number {
  // Over the quantiles of the chi-square, beyond which nothing is left to fourteen digits.
  const [low, high] = [Math.sqrt(chiSquareQuantile(1e-15, dof) / dof), Math.sqrt(chiSquareQuantile(1 - 1e-15, dof) / dof)];
  const logFront = Math.log(2) + (dof / 2) * Math.log(dof / 2) - logGammaHalf(dof);
  return integral((s) => normalBelow(t * s - delta) * Math.exp(logFront + (dof - 1) * Math.log(s) - (dof * s * s) / 2), low, high, 40);
}

/** ln Gamma(dof / 2), from the density of the chi-square at one point and its slope there would be less exact: Stirling's series after a shift. */
function logGammaHalf(dof: number): number {
  let x = dof / 2;
  let shift = 0;
  while (x < 12) {
    shift += Math.log(x);
    x += 1;
  }
  const r = 1 / (x * x);
  return (x - 0.5) * Math.log(x) - x + 0.5 * Math.log(2 * Math.PI) + (1 / x) * (1 / 12 - r * (1 / 360 - r * (1 / 1260 - r / 1680))) - shift;
}

export interface ToleranceWish {
  /** How many values made the mean; the standard deviation has one degree of freedom less. */
  readonly n: number;
  /** Share of all that shall lie inside, and with what confidence; 0 to 1. */
  readonly content: number;
  readonly confidence: number;
}

/** One-sided: the quantile of the noncentral t of n - 1 degrees of freedom at root n times the normal quantile, over root n. n is 2 at least. */
export function oneSidedFactor({ n, content, confidence }: ToleranceWish): number {
  const delta = normalQuantile(content) * Math.sqrt(n);
  return root((t) => noncentralTBelow(t, n - 1, delta) - confidence, 0, 1e4) / Math.sqrt(n);
}

/**
 * Two-sided, symmetric about the mean: over where the mean may lie, the chance that the standard deviation is large enough for the interval to hold the share
 * (D. B. Owen; K. Krishnamoorthy and T. Mathew, Statistical Tolerance Regions, 2009, 2.3). n is 2 at least.
 */
export function twoSidedFactor({ n, content, confidence }: ToleranceWish): number {
  const dof = n - 1;
  // Half-widths that hold the share about a mean that lies z standard deviations of the mean off.
  const halves = new Map<number, number>();
  const half = (z: number): number => {
    const known = halves.get(z) ?? root((r) => normalBelow(z / Math.sqrt(n) + r) - normalBelow(z / Math.sqrt(n) - r) - content, 0, Math.abs(z) / Math.sqrt(n) + 10);
    halves.set(z, known);
    return known;
  };
  const confidenceOf = (k: number): number => 2 * integral((z) => density(z) * chiSquareAbove((dof * half(z) ** 2) / (k * k), dof), 0, 8, 12);
  return root((k) => confidenceOf(k) - confidence, 1e-3, 1e4);
}
