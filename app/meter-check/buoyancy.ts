/**
 * Mass over balance reading for a liquid weighed in a vented vessel by a balance that was adjusted with weights:
 * m = W (1 - rho_air / rho_weights) / (1 - rho_gas / rho_liquid) (as in ISO 4185 and NISTIR 6969, SOP 2, with the gas that the liquid
 * pushes out of the vessel where that is not air). Densities in kg/m3; conventional values: air 1.2, weights 8000. The liquid must be
 * denser than the gas. MC-3.
 */
export function buoyancyFactor(liquid: number, air = 1.2, weights = 8000, gas = air): number {
  return (1 - air / weights) / (1 - gas / liquid);
}

/** What saturated vapour of n-heptane adds to the density of air, kg/m3: p (M - M_air) / (R T) with 4.7 kPa at 20 degC. */
export const saturatedExcess = (4700 * (0.1002 - 0.02896)) / (8.314 * 293.15);
