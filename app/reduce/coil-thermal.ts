/** Thermal data of a coil: how warm a watt makes it, and what its pulses give it. RED-131 */
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';

/** K/W and its standard uncertainty. */
export interface OfCoil {
  readonly kelvinPerWatt: number;
  readonly u: number;
}

/** What the plan says of the coils of its type; null: nothing. PLAN-83 */
export function coilOf({ reduction: { coil } }: Pick<Plan, 'reduction'>): OfCoil | null {
  return coil === undefined ? null : { kelvinPerWatt: coil.kelvinPerWatt, u: coil.uncertaintyKelvinPerWatt };
}

/** Where the plan says nothing: 0 to 1.5 K/W, rectangular, for a coil in fuel. An estimate, no source. */
export const usualCoil: OfCoil = { kelvinPerWatt: 0.75, u: 0.75 / Math.sqrt(3) };
/** The same where the run is asked to tell: known to its own size only, so that windows decide. */
export const coilToBeTold: OfCoil = { kelvinPerWatt: 0.75, u: 0.75 };

/** Ohms of a coil that the plan does not give: of a high-impedance injector. */
export const usualOhm = 14;
/** The current rises for about so many dead times, in which the supply gives little. */
const riseInDeadTimes = 1.5;

/** Watts that pulses give a coil: what the supply gives it while it is driven, less what it gives less while the current rises. */
export function powerOf({ voltage, width, period }: { readonly voltage: number; readonly width: number; readonly period: number } | Point, ohm: number, deadTime: number): number {
  const whole = (voltage * voltage) / ohm;
  return width >= period ? whole : (whole * Math.max(0, width - riseInDeadTimes * deadTime)) / period;
}
