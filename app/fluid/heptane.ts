/**
 * n-heptane (CAS 142-82-5) as a liquid, from the short equation of state of R. Span and W. Wagner, "Equations of State
 * for Technical Applications. II. Nonpolar Fluids", Int. J. Thermophys. 24 (2003) 41-109.
 *
 * The handbook forms (DIPPR-105, Rackett) are 0.3 % and 0.7 % off at room temperature, more than the whole budget of a
 * flow measurement, and are not used.
 */
import type { KilogramsPerCubicMetre, Kelvins, Pascals } from '../quantities/quantity.ts';

const gasConstant = 8.31451;
const molarMass = 0.100202;
const criticalTemperature = 540.13;
/** mol/m3. */
const criticalDensity = 2315.323047;

/** Residual Helmholtz energy: sum of n * delta^d * tau^t * exp(-delta^l), without the exponential where l is 0. */
const terms: readonly { readonly n: number; readonly t: number; readonly d: number; readonly l: number }[] = [
  { n: 1.0543748, t: 0.25, d: 1, l: 0 },
  { n: -2.6500682, t: 1.125, d: 1, l: 0 },
  { n: 0.81730048, t: 1.5, d: 1, l: 0 },
  { n: -0.30451391, t: 1.375, d: 2, l: 0 },
  { n: 0.12253869, t: 0.25, d: 3, l: 0 },
  { n: 0.00027266473, t: 0.875, d: 7, l: 0 },
  { n: 0.49865826, t: 0.625, d: 2, l: 1 },
  { n: -0.00071432815, t: 1.75, d: 5, l: 1 },
  { n: -0.54236896, t: 3.625, d: 1, l: 2 },
  { n: -0.13801822, t: 3.625, d: 4, l: 2 },
  { n: -0.0061595287, t: 14.5, d: 3, l: 3 },
  { n: 0.0004860251, t: 12, d: 4, l: 3 },
];

/** Where the functions below answer: liquid at every point of this range (vapour pressure at 60 degC is 28 kPa). */
const range = {
  coldest: 263.15,
  warmest: 333.15,
  lowest: 50e3,
  highest: 10e6,
} as const;

/** What the residual part gives at one density and temperature. */
interface Residual {
  /** delta * d(alpha_r)/d(delta) */
  readonly first: number;
  /** delta^2 * d2(alpha_r)/d(delta)2 */
  readonly second: number;
  /** delta * tau * d2(alpha_r)/d(delta)d(tau) */
  readonly mixed: number;
}

/** The exponents of tau that terms have, each once, and which of them each term has: powers are most of the work. */
const tauExponents = [...new Set(terms.map(({ t }) => t))];
const places = terms.map(({ t }) => tauExponents.indexOf(t));

/** `tauPowers`: tau to each of `tauExponents`; the temperature stays while the density is looked for. */
function residual(delta: number, tauPowers: readonly number[]): Residual {
  const square = delta * delta;
  const cube = delta ** 3;
  const deltaPowers = [1, delta, square, cube, delta ** 4, delta ** 5, Number.NaN, delta ** 7];
  const falls = [1, Math.exp(-delta), Math.exp(-square), Math.exp(-cube)];
  let first = 0;
  let second = 0;
  let mixed = 0;
  for (let i = 0; i < terms.length; i += 1) {
    const { n, t, d, l } = terms[i] as (typeof terms)[number];
    const power = l === 0 ? 0 : (deltaPowers[l] as number);
    const slope = d - l * power;
    const value = n * (deltaPowers[d] as number) * (tauPowers[places[i] as number] as number) * (falls[l] as number);
    first += value * slope;
    second += value * (slope * (slope - 1) - l * l * power);
    mixed += value * t * slope;
  }
  return { first, second, mixed };
}

/** Whether the equation of state is asked for liquid inside its stated range: -10 to 60 degC, 50 kPa to 10 MPa absolute. */
export function heptaneCovers(temperature: Kelvins, absolutePressure: Pascals): boolean {
  return (
    temperature >= range.coldest &&
    temperature <= range.warmest &&
    absolutePressure >= range.lowest &&
    absolutePressure <= range.highest
  );
}

export interface HeptaneState {
  readonly density: KilogramsPerCubicMetre;
  /** -(1/rho) d(rho)/dT at constant pressure, 1/K. */
  readonly thermalExpansion: number;
  /** (1/rho) d(rho)/dp at constant temperature, 1/Pa. */
  readonly compressibility: number;
}

/**
 * Density of liquid n-heptane with its thermal expansion and isothermal compressibility.
 *
 * `absolutePressure` is absolute: gauge plus the pressure of the room. Stated uncertainty of the density about 0.2 %;
 * the numerical solution is exact to 1e-12. Throws RangeError outside `heptaneCovers`; ask that first about measured values.
 */
export function heptaneState(temperature: Kelvins, absolutePressure: Pascals): HeptaneState {
  if (!heptaneCovers(temperature, absolutePressure)) {
    throw new RangeError(
      `n-heptane density is known here from -10 to 60 degC and 50 kPa to 10 MPa absolute, not at ${temperature} K and ${absolutePressure} Pa`,
    );
  }
  const tau = criticalTemperature / temperature;
  const tauPowers = tauExponents.map((t) => tau ** t);
  // kg/m3 to a few tenths over the whole range: Newton ends on the liquid branch in two or three steps from here.
  let rho = (683.8 - 0.8416 * (temperature - 293.15) + 9.5e-7 * (absolutePressure - 101325)) / molarMass;
  for (let step = 0; step < 20; step += 1) {
    const { first, second, mixed } = residual(rho / criticalDensity, tauPowers);
    const pressure = rho * gasConstant * temperature * (1 + first);
    const slope = gasConstant * temperature * (1 + 2 * first + second);
    const change = (absolutePressure - pressure) / slope;
    rho += change;
    if (Math.abs(change) < 1e-8 * rho) {
      // Newton doubles its digits: after a step of 1e-8 the density is good to the last place, the slopes to 1e-7.
      const compressibility = 1 / (rho * slope);
      return {
        density: (rho * molarMass) as KilogramsPerCubicMetre,
        thermalExpansion: compressibility * rho * gasConstant * (1 + first - mixed),
        compressibility,
      };
    }
  }
  throw new Error(`n-heptane density found no solution at ${temperature} K and ${absolutePressure} Pa`);
}
