import type { Kelvins, KilogramsPerCubicMetre, Pascals } from '../quantities/quantity.ts';
import { heptaneState } from './heptane.ts';

/** Density of liquid n-heptane, as `heptaneState`. */
export function densityOfHeptane(temperature: Kelvins, absolutePressure: Pascals): KilogramsPerCubicMetre {
  return heptaneState(temperature, absolutePressure).density;
}
