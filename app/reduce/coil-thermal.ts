/** Thermal data of a coil: how warm a watt makes it, and what its pulses give it. RED-131 */
import { coilHeatOf, statedOhmOf } from '../plan/coil-of-type.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';

/** K/W and its standard uncertainty. */
export interface OfCoil {
  readonly kelvinPerWatt: number;
  readonly u: number;
}

/** What the plan says of the coils of a type; null: nothing. PLAN-83, PLAN-85 */
export function coilOf(plan: Plan, type: string): OfCoil | null {
  const heat = coilHeatOf(plan, type);
  return heat === null ? null : { kelvinPerWatt: heat.kelvinPerWatt, u: heat.u };
}

/** Where the plan says nothing: 0 to 1.5 K/W, rectangular, for a coil in fuel. An estimate, no source. */
export const usualCoil: OfCoil = { kelvinPerWatt: 0.75, u: 0.75 / Math.sqrt(3) };
/** The same where the run is asked to tell: known to its own size only, so that windows decide. */
export const coilToBeTold: OfCoil = { kelvinPerWatt: 0.75, u: 0.75 };

/** Ohms of a coil that the plan does not give: saturated switches drive coils of 11 to 17 ohm (common practice, no source). */
const usualOhm = 14;

/** Ohms of an injector's coil: stated (PLAN-85), or usual. */
export const ohmOf = (plan: Plan, injector: number): number => statedOhmOf(plan, injector)?.ohm ?? usualOhm;
/** The current rises for about so many dead times, in which the supply gives little. */
const riseInDeadTimes = 1.5;

/** Watts that pulses give a coil: what the supply gives it while it is driven, less what it gives less while the current rises. */
export function powerOf({ voltage, width, period }: { readonly voltage: number; readonly width: number; readonly period: number } | Point, ohm: number, deadTime: number): number {
  const whole = (voltage * voltage) / ohm;
  return width >= period ? whole : (whole * Math.max(0, width - riseInDeadTimes * deadTime)) / period;
}

/** A coil of which nothing is stated follows in so many seconds, where its windows are not asked: 5 g of copper at 0.5 K/W. An estimate. */
const usualTimeConstant = 1;

/**
 * Standard uncertainty of how far a coil stands from the settled warmth of its own pulses, K, in a window of pulses that are `open` s long beyond their dead time: of what they
 * give it (the most that pulses before can leave), what settling and the shortest window leave in the mean. Rectangular. RED-18, RED-142
 */
export function uCoilLate(plan: Plan, { injector, voltage, period }: { readonly injector: number; readonly voltage: number; readonly period: number }, open: number): number {
  const heat = coilHeatOf(plan, plan.injectors[injector]?.type ?? '');
  const [kelvinPerWatt, tau] = heat === null ? [usualCoil.kelvinPerWatt, usualTimeConstant] : [heat.kelvinPerWatt, heat.timeConstantS];
  const length = plan.window.minS;
  const left = (Math.exp(-plan.settleS / tau) * tau * -Math.expm1(-length / tau)) / length;
  return (kelvinPerWatt * powerOf({ voltage, width: open, period }, ohmOf(plan, injector), 0) * left) / Math.sqrt(3);
}
