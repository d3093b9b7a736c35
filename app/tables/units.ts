/** Flow in the units of the trade. Volumes always need a density, and whoever shows one shows the density with it. RED-37. */
import type { KilogramsPerCubicMetre, KilogramsPerSecond } from '../quantities/quantity.ts';

/** Exactly, kg: the international pound. */
const pound = 0.45359237;

export const gramsPerMinute = (flow: KilogramsPerSecond): number => flow * 6e4;

export const poundsPerHour = (flow: KilogramsPerSecond): number => (flow * 3600) / pound;

export const cubicCentimetresPerMinute = (flow: KilogramsPerSecond, density: KilogramsPerCubicMetre): number => (flow / density) * 6e7;

/**
 * An estimate of what the same injector passes of another fluid at the same pressure: an orifice with the same Cd passes mass
 * as sqrt(rho). Cd changes with viscosity by about 1 %, which nobody measured here, so it is never more than an estimate.
 */
export function estimateForFluid(
  flow: KilogramsPerSecond,
  measuredWith: KilogramsPerCubicMetre,
  other: KilogramsPerCubicMetre,
): { readonly estimate: KilogramsPerSecond; readonly relativeUncertainty: number; readonly text: string } {
  return {
    estimate: (flow * Math.sqrt(other / measuredWith)) as KilogramsPerSecond,
    relativeUncertainty: 0.01,
    text: `Estimate by the square root of density, from ${measuredWith.toFixed(1)} to ${other.toFixed(1)} kg/m3; the change of discharge with viscosity (about 1 %) is not measured.`,
  };
}
