/**
 * Density of the simulated n-heptane. On purpose a fit of its own, not the host's equation: two cubics in temperature,
 * 5 to 45 degC, through values of the short equation of state of Span and Wagner (Int. J. Thermophys. 24 (2003) 41) at
 * 101.325 kPa and 501.325 kPa absolute, and a straight line in pressure between them.
 */
const LOW_KPA = 101.325;
const HIGH_KPA = 501.325;

/** kg/m3. @param celsius 5 to 45. @param absolutePa to about 1 MPa. */
export function heptaneDensity(celsius: number, absolutePa: number): number {
  const x = celsius - 20;
  const low = 683.81536 + x * (-0.84161754 + x * (-3.4687278e-4 - x * 2.7554901e-6));
  const high = 684.19704 + x * (-0.83895956 + x * (-3.3414443e-4 - x * 2.6895555e-6));
  return low + ((high - low) * (absolutePa / 1000 - LOW_KPA)) / (HIGH_KPA - LOW_KPA);
}
