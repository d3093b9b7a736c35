/**
 * Factors of statistical tolerance intervals of a normal distribution whose mean and standard deviation are both estimated (ISO 16269-6:2014): mean plus or minus
 * factor times standard deviation holds at least the share `content` of all there are, with `confidence`. Exact, by integration. CMP-9.
 */
import { chiSquareAbove, chiSquareBelow } from '../distributions/distributions.ts';

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

export interface ToleranceWish {
  /** How many values made the mean; the standard deviation has one degree of freedom less. */
  readonly n: number;
  /** Share of all that shall lie inside, and with what confidence; 0 to 1. */
  readonly content: number;
  readonly confidence: number;
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
