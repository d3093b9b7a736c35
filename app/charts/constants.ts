/**
 * Constants of control charts for normal values, computed from their definitions: d2 and d3 are mean and standard deviation
 * of the range of n standard normal values, c4 the mean of their sample standard deviation.
 */
export interface ChartConstants {
  readonly d2: number;
  readonly d3: number;
  readonly c4: number;
  /** Half width of the limits of an individuals chart over the mean range: 3 / d2. */
  readonly e2: number;
  /** Limits of a range chart over the mean range: 1 -+ 3 d3 / d2, the lower never below 0. */
  readonly D3: number;
  readonly D4: number;
}

/** For samples of `n` values, 2 to 100. Throws RangeError otherwise. */
export function chartConstants(n: number): ChartConstants {
  if (!Number.isInteger(n) || n < 2 || n > 100) throw new RangeError(`control charts know samples of 2 to 100 values, not of ${n}`);
  const { mean, sd } = rangeOf(n);
  const spread = (3 * sd) / mean;
  return { d2: mean, d3: sd, c4: meanOfSampleSd(n), e2: 3 / mean, D3: Math.max(0, 1 - spread), D4: 1 + spread };
}

/** c4 = sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2), for n of 2 or more. */
export function meanOfSampleSd(n: number): number {
  // Gamma(n/2) / Gamma((n-1)/2), from 1/sqrt(pi) at n = 2: each is (n - 2)/2 over the one before.
  let ratio = 1 / Math.sqrt(Math.PI);
  for (let k = 3; k <= n; k += 1) ratio = (k - 2) / 2 / ratio;
  return Math.sqrt(2 / (n - 1)) * ratio;
}

/** Beyond this a standard normal value never lies, to sixteen digits. */
const edge = 9;
const steps = 360;

/** Distribution function of the standard normal at the grid's points, by Simpson's rule in each interval. */
function normalDistribution(): readonly number[] {
  const density = (x: number): number => Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
  const h = (2 * edge) / steps;
  const values = [0];
  let sum = 0;
  for (let i = 0; i < steps; i += 1) {
    const x = -edge + i * h;
    sum += (h / 6) * (density(x) + 4 * density(x + h / 2) + density(x + h));
    values.push(Math.min(1, sum));
  }
  return values;
}

/**
 * L. H. C. Tippett, Biometrika 17 (1925) 364: E(W) = integral of 1 - F^n - (1 - F)^n, and E(W^2) = 2 x double integral over
 * x < y of 1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n. The trapezium rule is exact here to the last digits where all
 * derivatives vanish at the ends. Along x = y they do not: there Euler and Maclaurin's first term corrects it, h^2 / 12 times
 * the slope n F^(n - 1) F', whose integral is 1.
 */
function rangeOf(n: number): { readonly mean: number; readonly sd: number } {
  const F = normalDistribution();
  const h = (2 * edge) / steps;
  let mean = 0;
  let second = -(h * h) / 6;
  F.forEach((fx, i) => {
    const below = (1 - fx) ** n;
    mean += (1 - fx ** n - below) * h;
    for (let j = i; j < F.length; j += 1) {
      const fy = F[j] ?? 1;
      const value = 1 - fy ** n - below + (fy - fx) ** n;
      second += 2 * value * h * h * (j === i ? 0.5 : 1);
    }
  });
  return { mean, sd: Math.sqrt(second - mean * mean) };
}
