/**
 * The line of one cell: m = k (w - t0) through the windows of one injector at one voltage, pressure and period, with the
 * random covariance of slope k and dead time t0 (SAE J1832 list: Slope m, Time-Offset X).
 */
import { fAbove } from '../distributions/distributions.ts';
import { crossing, fitLine, rescaled } from './regression.ts';
import type { LineFit } from './regression.ts';

export interface LineObservation {
  /** s */
  readonly width: number;
  /** kg */
  readonly mass: number;
  /** kg^2; up to a common factor. */
  readonly variance: number;
  /** How much it counts, 0 to 1 (RED-81). */
  readonly weight: number;
}

export interface LackOfFit {
  /** Mean squares in units of the variance model, with their degrees of freedom. */
  readonly ofWidths: number;
  readonly ofWidthsDof: number;
  readonly ofReplicates: number;
  readonly ofReplicatesDof: number;
  /** True: the widths scatter about the line by more than the replicates explain (F test, 5 %); the variance is theirs. */
  readonly significant: boolean;
}

/** Where a slope comes from (RED-23). */
export interface LineSlope {
  /** own: this cell's windows. shared: all voltages of the injector. weighted: both, and what all injectors of the type have in common. */
  readonly from: 'own' | 'shared' | 'weighted';
  /** Part of it that is the cell's own, 0 to 1; what the cell weighs in the mean of its injector, 1 in all. */
  readonly own: number;
  readonly weight: number;
  /** Part that is believed of what all injectors of the type have in common at its voltage, 0 to 1. */
  readonly common: number;
  /** Whether the estimate of the variance is this line's alone; false: that of all lines of the injector. */
  readonly ownScale: boolean;
  /** Standard uncertainties, kg/s: of the cell's own part, of the injector's mean, and of what all of the type have in common at its voltage. */
  readonly parts: { readonly own: number; readonly mean: number; readonly common: number };
}

export interface CellLine {
  readonly fit: LineFit;
  readonly slopeFrom: LineSlope;
  readonly dof: number;
  readonly lackOfFit: LackOfFit;
  /** kg/s */
  readonly slope: number;
  readonly uSlope: number;
  /** s */
  readonly deadTime: number;
  readonly uDeadTime: number;
  /** kg */
  readonly covariance: number;
}

/**
 * Fits the line and decides its variance (RED-12, RED-13): pooled over replicates and widths, unless the widths scatter
 * significantly more than the replicates, when only what they show counts (Birge). At least three distinct widths.
 * A window that counts in part brings that part of a degree of freedom.
 */
export function fitCellLine(observations: readonly LineObservation[]): CellLine {
  const widths: number[] = [];
  const masses: number[] = [];
  const weights: number[] = [];
  const groups = new Map<number, { weight: number; sum: number; windows: number }>();
  // Windows of a width follow each other.
  const groupOf: { weight: number; sum: number; windows: number }[] = [];
  for (const { width, mass, weight: counts, variance } of observations) {
    const weight = counts / variance;
    const isSame = widths.at(-1) === width;
    widths.push(width);
    masses.push(mass);
    weights.push(weight);
    const group = (isSame ? groupOf.at(-1) : groups.get(width)) ?? { weight: 0, sum: 0, windows: 0 };
    if (!isSame) groups.set(width, group);
    groupOf.push(group);
    group.weight += weight;
    group.sum += weight * mass;
    group.windows += counts;
  }
  const fit = fitLine(widths, masses, weights, 'known');
  let pure = 0;
  for (let i = 0; i < observations.length; i += 1) {
    const { weight, mass } = observations[i] as LineObservation;
    const group = groupOf[i] as (typeof groupOf)[number];
    if (weight > 0) pure += (weights[i] as number) * (mass - group.sum / group.weight) ** 2;
  }
  let ofReplicatesDof = 0;
  let ofWidthsDof = -2;
  for (const { windows } of groups.values()) {
    ofReplicatesDof += Math.max(0, windows - 1);
    ofWidthsDof += Math.min(1, windows);
  }
  const ofReplicates = ofReplicatesDof > 0 ? pure / ofReplicatesDof : 0;
  const ofWidths = Math.max(0, fit.chiSquared - pure) / ofWidthsDof;
  const significant = ofReplicatesDof > 0 && ofWidths > 0 && (ofReplicates === 0 || fAbove(ofWidths / ofReplicates, ofWidthsDof, ofReplicatesDof) < 0.05);
  const dofOfBoth = ofReplicatesDof + ofWidthsDof;
  const dof = significant ? ofWidthsDof : dofOfBoth;
  const scaled = rescaled(fit, significant ? ofWidths : fit.chiSquared / dofOfBoth);
  return lineFrom(scaled, dof, { ofWidths, ofWidthsDof, ofReplicates, ofReplicatesDof, significant }, { from: 'own', own: 1, weight: 1, common: 0, ownScale: true, parts: { own: Math.sqrt(scaled.varianceOfSlope), mean: 0, common: 0 } });
}

/** Slope and dead time of a fit whose scale is final. */
export function lineFrom(fit: LineFit, dof: number, lackOfFit: LackOfFit, slopeFrom: LineSlope): CellLine {
  const x = crossing(fit);
  return {
    fit,
    slopeFrom,
    dof,
    lackOfFit,
    slope: fit.slope,
    uSlope: Math.sqrt(fit.varianceOfSlope),
    deadTime: x.value,
    uDeadTime: x.u,
    covariance: x.covarianceWithSlope,
  };
}
