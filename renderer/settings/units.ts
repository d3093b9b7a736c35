/**
 * Amounts of fluid in the unit that the person chose. Volume flows say at which density they were worked out; a mass per
 * pulse needs the period to become a flow.
 */
import type { FlowUnit } from './settings.ts';
import { useSettings } from './settings.ts';

/** 1 lb = 0.453 592 37 kg exactly (NIST SP 811, B.8). */
const kgPerLb = 0.45359237;

/** kg/s in g/s, cc/min or lb/h; `density` in kg/m3 for cc/min. null where it cannot be said. */
export function flowIn(unit: Exclude<FlowUnit, 'mg'>, kgPerSecond: number, density: number | null): number | null {
  switch (unit) {
    case 'g/s':
      return kgPerSecond * 1e3;
    case 'cc/min':
      return density === null ? null : (kgPerSecond / density) * 6e7;
    case 'lb/h':
      return (kgPerSecond / kgPerLb) * 3600;
  }
}

/** Mass per pulse, kg, in the chosen unit: mg per pulse, or the mean flow at that period (s). */
export function pulseIn(unit: FlowUnit, kg: number, period: number, density: number | null): number | null {
  return unit === 'mg' ? kg * 1e6 : flowIn(unit, kg / period, density);
}

export interface Units {
  /** For a mass per pulse. */
  readonly pulseUnit: FlowUnit;
  /** For a flow that belongs to no pulse: as chosen, or g/s where mg was chosen. */
  readonly flowUnit: Exclude<FlowUnit, 'mg'>;
  pulse(kg: number, period: number): number | null;
  flow(kgPerSecond: number): number | null;
  /** What must be said beside a volume flow; empty: nothing. */
  readonly statement: string;
}

export function unitsFor(chosen: FlowUnit, density: number | null): Units {
  const flowUnit = chosen === 'mg' ? 'g/s' : chosen;
  return {
    pulseUnit: chosen,
    flowUnit,
    pulse: (kg, period) => pulseIn(chosen, kg, period, density),
    flow: (kgPerSecond) => flowIn(flowUnit, kgPerSecond, density),
    statement:
      chosen === 'cc/min'
        ? density === null
          ? 'cc/min cannot be shown: the density is not known.'
          : `cc/min at ${density.toFixed(1)} kg/m³.`
        : chosen === 'lb/h'
          ? `lb/h is a mass flow: no density enters${density === null ? '' : `; the fluid has ${density.toFixed(1)} kg/m³`}.`
          : '',
  };
}

/** The chosen unit. `density` in kg/m3: of the fluid and temperature that the numbers on the page belong to. */
export function useUnits(density: number | null): Units {
  const chosen = useSettings((settings) => settings.flowUnit);
  return unitsFor(chosen, density);
}
