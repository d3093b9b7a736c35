/** The chosen unit as the results pages use it: for masses of one period, and for slopes. */
import type { Units } from '../../settings/units.ts';

export interface Amounts {
  /** `mg` per pulse, or the unit of a mean flow. */
  readonly pulseUnit: string;
  /** As the title of an axis or column. */
  readonly pulseTitle: string;
  /** From kg; NaN where it cannot be said. Linear, so an uncertainty goes the same way. */
  readonly pulse: (kg: number) => number;
  readonly slopeUnit: string;
  /** For a flow that belongs to no pulse; the same numbers as a slope's. */
  readonly flowUnit: string;
  /** From kg/s; NaN where it cannot be said. */
  readonly slope: (kgPerSecond: number) => number;
  readonly statement: string;
}

export function amountsFor(units: Units, period: number): Amounts {
  const mg = units.pulseUnit === 'mg';
  return {
    pulseUnit: units.pulseUnit,
    pulseTitle: mg ? 'Mass per pulse, mg' : `Mean flow, ${units.pulseUnit}`,
    pulse: (kg) => units.pulse(kg, period) ?? Number.NaN,
    slopeUnit: mg ? 'mg/ms' : units.flowUnit,
    flowUnit: units.flowUnit,
    slope: (kgPerSecond) => units.flow(kgPerSecond) ?? Number.NaN,
    statement: units.statement,
  };
}

/** Uncertainty in another unit; null stays null. */
export function through(convert: (value: number) => number, u: number | null): number | null {
  return u === null ? null : convert(u);
}
