/** Thermal data of a coil: how warm a watt makes it, and what its pulses give it. RED-131 */
import { coilHeatOf, statedOhmOf } from '../plan/coil-of-type.ts';
import type { Plan } from '../plan/plan.ts';

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

/** Pulses, V and s. */
interface Pulses {
  readonly voltage: number;
  readonly width: number;
  readonly period: number;
}

/** Watts that pulses give a coil: what the supply gives it while it is driven, less what it gives less while the current rises. */
export const powerOf = (pulses: Pulses, ohm: number, deadTime: number): number => powerAfterRise(pulses, ohm, riseInDeadTimes * deadTime);

/** The same for a rise that is known, s. */
export function powerAfterRise({ voltage, width, period }: Pulses, ohm: number, rise: number): number {
  const whole = (voltage * voltage) / ohm;
  return width >= period ? whole : (whole * Math.max(0, width - rise)) / period;
}

/** The rise of a coil's current as its heat feels it, s, with its standard uncertainty. */
export interface Rise {
  readonly value: number;
  readonly u: number;
}

/** Where no current tells it: so well the dead time of a usual injector does, relative (an estimate). */
const uUsualRise = 0.3;

export const usualRise = (deadTime: number): Rise => ({ value: riseInDeadTimes * deadTime, u: uUsualRise * riseInDeadTimes * deadTime });

/** Current is told by pulses so many dead times of a usual injector long: in shorter ones it still rises. */
const settledInDeadTimes = 3;

/**
 * What the supply current of windows says: the charge of a pulse over its width begins where the current would have risen at once, L / R. The heat of a resistance begins half as much later, if nothing of what the
 * current stores comes back to it, and at once with the charge, if all of it does: anywhere between, rectangular. `windows` of one coil and voltage, mean current of the period in A; null: they do not tell. RED-175
 */
export function riseOf(windows: readonly { readonly width: number; readonly period: number; readonly mean: number }[], deadTime: number): Rise | null {
  const long = windows.filter(({ width, period }) => width >= settledInDeadTimes * deadTime && width < period);
  if (new Set(long.map((w) => w.width)).size < 3) return null;
  const meanWidth = long.reduce((sum, w) => sum + w.width, 0) / long.length;
  const meanCharge = long.reduce((sum, w) => sum + w.mean * w.period, 0) / long.length;
  let [sxx, sxy] = [0, 0];
  for (const { width, period, mean } of long) {
    sxx += (width - meanWidth) ** 2;
    sxy += (width - meanWidth) * (mean * period - meanCharge);
  }
  const begins = meanWidth - (meanCharge * sxx) / sxy;
  return begins > 0 && begins < settledInDeadTimes * deadTime ? { value: 1.25 * begins, u: (0.25 * begins) / Math.sqrt(3) } : null;
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
