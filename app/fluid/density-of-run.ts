/** The density that a run is reduced with. */
import type { Equipment } from '../equipment/equipment.ts';
import { celsius, kilopascals } from '../quantities/quantity.ts';
import type { Kelvins, KilogramsPerCubicMetre, Pascals } from '../quantities/quantity.ts';
import { heptaneCovers, heptaneState } from './heptane.ts';
import type { HeptaneState } from './heptane.ts';

/**
 * Density of the run's fluid with its thermal expansion (1/K) and isothermal compressibility (1/Pa), at an absolute
 * pressure; null where the equation of state has no answer (outside -10 to 60 degC or 50 kPa to 10 MPa).
 *
 * It is that of the equation of state, or, where the lot was measured, the same multiplied by a factor that meets the
 * measured value at its temperature and the pressure of the room. Impurities shift the level of the density by far
 * more than its slope, so a factor is the right correction.
 */
export function densityOfRun(equipment: Pick<Equipment, 'fluid' | 'ambientKpa'>, temperature: Kelvins, absolutePressure: Pascals): HeptaneState | null {
  if (!heptaneCovers(temperature, absolutePressure)) return null;
  const state = heptaneState(temperature, absolutePressure);
  const factor = factorOfLot(equipment);
  if (factor === null) return null;
  return factor === 1 ? state : { ...state, density: (state.density * factor) as KilogramsPerCubicMetre };
}

const factors = new WeakMap<Equipment['fluid'], { readonly ambientKpa: number; readonly factor: number | null }>();

/** The lot's measured density over that of the equation of state; 1: it was not measured. A run has one, and each of its windows asks. */
function factorOfLot({ fluid, ambientKpa }: Pick<Equipment, 'fluid' | 'ambientKpa'>): number | null {
  const { measuredDensity } = fluid;
  if (measuredDensity === undefined) return 1;
  const known = factors.get(fluid);
  if (known?.ambientKpa === ambientKpa) return known.factor;
  const [at, room] = [celsius(measuredDensity.atC), kilopascals(ambientKpa)];
  const factor = heptaneCovers(at, room) ? measuredDensity.kgPerM3 / heptaneState(at, room).density : null;
  factors.set(fluid, { ambientKpa, factor });
  return factor;
}

/**
 * How far the density of what comes with n-heptane may differ from its own, relative: ring compounds of seven carbon atoms are the farthest
 * (methylcyclohexane 769 kg/m3 against 684 at 20 degC, table values from memory). Rectangular.
 */
const companions = 0.12;

/** Relative standard uncertainty of the density: of a lot that was not measured with what its purity leaves open (RED-75). */
export function densityUncertainty({ densityUncertaintyPercent, measuredDensity, purityPercent }: Equipment['fluid']): number {
  const impure = measuredDensity === undefined && purityPercent !== undefined ? ((1 - purityPercent / 100) * companions) / Math.sqrt(3) : 0;
  return Math.hypot(densityUncertaintyPercent / 100, impure);
}
