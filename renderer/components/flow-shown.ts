import { useMemo } from 'react';
import { flowIn } from '../settings/units.ts';
import { useSettings } from '../settings/settings.ts';

/** How a signal is shown: the same on every page that has it. */
export interface ShownSignal {
  readonly label: string;
  readonly unit: string;
  readonly decimals: number;
  readonly toShown: (si: number) => number;
  /** The strip's axis spans at least this much. */
  readonly leastRange: number;
}

/** The flow in the chosen unit. Stable while unit and (to a tenth of a kg/m3) density are the same, so that strips are not made anew. */
export function useFlowShown(density: number | null): ShownSignal {
  const chosen = useSettings((settings) => settings.flowUnit);
  const rounded = density === null ? null : Math.round(density * 10) / 10;
  return useMemo(() => {
    const unit = chosen === 'mg' ? 'g/s' : chosen;
    const one = flowIn(unit, 1, rounded) ?? Number.NaN;
    return {
      label: 'Flow, by the meter',
      unit,
      decimals: unit === 'g/s' ? 3 : 1,
      toShown: (si) => si * one,
      leastRange: { 'g/s': 0.2, 'cc/min': 20, 'lb/h': 2 }[unit],
    };
  }, [chosen, rounded]);
}
