/**
 * Mass over balance reading for a liquid weighed in air by a balance that was adjusted with weights:
 * m = W (1 - rho_air / rho_weights) / (1 - rho_air / rho_liquid) (as in ISO 4185 and NISTIR 6969, SOP 2). Densities in kg/m3;
 * conventional values: air 1.2, weights 8000. The liquid must be denser than the air. MC-3.
 */
export function buoyancyFactor(liquid: number, air = 1.2, weights = 8000): number {
  return (1 - air / weights) / (1 - air / liquid);
}
