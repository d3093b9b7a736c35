/**
 * How the scatter of mass per pulse between windows grows with the mass: variance = constant + relative^2 mass^2.
 *
 * Three replicates tell the scatter of one width badly (two degrees of freedom), and weights from them would make the
 * fit worse than no weights. All widths, injectors and voltages of one pressure and period together tell it well. RED-6. Groups in
 * which something went wrong must not tell it: no group counts for more than what chance exceeds in one of ten (RED-80).
 */
import { capOf } from '../statistics/robust.ts';

export interface VarianceModel {
  /** kg^2 */
  readonly constant: number;
  /** Dimensionless, squared relative scatter. */
  readonly relative: number;
  /** Degrees of freedom behind the model: those of the groups, less what capping them costs. */
  readonly dof: number;
  /** neighbours: windows against the line through those beside them, where each width was measured once (RED-82). */
  readonly from: 'replicates' | 'windows' | 'neighbours';
}

export interface ScatterGroup {
  readonly mass: number;
  /** Estimated variance of one window's mass, kg^2, and its degrees of freedom. */
  readonly variance: number;
  readonly dof: number;
}

const mostIterations = 30;

/**
 * Fits the two non-negative parameters to group variances by iteratively weighted least squares: the variance of a
 * variance estimate is 2 sigma^4 / dof. Capped after algorithm S, which is consistent for normal scatter.
 */
export function fitVarianceModel(groups: readonly ScatterGroup[], from: VarianceModel['from']): VarianceModel {
  let dof = 0;
  let relativeSum = 0;
  let left = 0;
  const capped = groups.map((g) => ({ ...g, cap: capOf(g.dof) }));
  for (const g of capped) {
    dof += g.dof;
    left += g.dof * g.cap.efficiency;
    relativeSum += (g.dof * g.variance) / (g.mass * g.mass);
  }
  if (dof === 0) return { constant: 0, relative: 0, dof, from };
  let constant = 0;
  let relative = relativeSum / dof;
  if (relative === 0) return { constant, relative, dof: left, from };
  for (let iteration = 0; iteration < mostIterations; iteration += 1) {
    let w0 = 0;
    let w2 = 0;
    let w4 = 0;
    let y0 = 0;
    let y2 = 0;
    for (const g of capped) {
      const m2 = g.mass * g.mass;
      const model = constant + relative * m2;
      const weight = g.dof / (model * model);
      const variance = Math.min(g.variance, g.cap.limit * model) / g.cap.mean;
      w0 += weight;
      w2 += weight * m2;
      w4 += weight * m2 * m2;
      y0 += weight * variance;
      y2 += weight * variance * m2;
    }
    const determinant = w0 * w4 - w2 * w2;
    const a = determinant > 1e-12 * w0 * w4 ? (y0 * w4 - y2 * w2) / determinant : 0;
    const b = determinant > 1e-12 * w0 * w4 ? (y2 * w0 - y0 * w2) / determinant : y2 / w4;
    const before = [constant, relative] as const;
    if (a <= 0) {
      constant = 0;
      relative = y2 / w4;
    } else if (b <= 0) {
      constant = y0 / w0;
      relative = 0;
    } else {
      constant = a;
      relative = b;
    }
    if (Math.abs(constant - before[0]) <= 1e-6 * constant && Math.abs(relative - before[1]) <= 1e-6 * relative) break;
  }
  return { constant, relative, dof: left, from };
}

/** Variance of one window's mass, kg^2. */
export function varianceAt(model: VarianceModel, mass: number): number {
  return model.constant + model.relative * mass * mass;
}
