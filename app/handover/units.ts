/** From SI into the units that controllers are filled in. TAB-5. */
import type { KilogramsPerCubicMetre, KilogramsPerSecond } from '../quantities/quantity.ts';
import { cubicCentimetresPerMinute, gramsPerMinute, poundsPerHour } from '../tables/units.ts';

export const controllerFlowUnits = ['g/s', 'mg/ms', 'g/min', 'cc/min', 'lb/h'] as const;
export type ControllerFlowUnit = (typeof controllerFlowUnits)[number];

/** What 1 kg/s is in a unit; volume by this density. */
export function flowFactor(unit: ControllerFlowUnit, density: KilogramsPerCubicMetre): number {
  const one = 1 as KilogramsPerSecond;
  switch (unit) {
    case 'g/s':
    case 'mg/ms':
      return 1e3;
    case 'g/min':
      return gramsPerMinute(one);
    case 'lb/h':
      return poundsPerHour(one);
    case 'cc/min':
      return cubicCentimetresPerMinute(one, density);
  }
}

/** Twelve digits: more than any measurement here has, fewer than show the rounding of binary numbers. Every format writes these. */
export const twelveDigits = (value: number): number => Number(value.toPrecision(12));

/** To whole steps of the controller. */
export const toStep = (value: number, step: number): number => twelveDigits(Math.round(value / step) * step);
