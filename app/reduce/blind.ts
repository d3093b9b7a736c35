/** Blind windows: the shift of the commanded width as the line tells it, to be held against the secret once that is told. RED-115, RED-116. */
import type { Plan } from '../plan/plan.ts';
import { celsius } from '../quantities/quantity.ts';
import type { Seconds } from '../quantities/quantity.ts';
import { coverageFactor, effectiveDegrees } from '../uncertainty/budget.ts';
import type { WindowSummary } from '../journal/measured.ts';
import type { BlindFinding, LineCell, NoLineCell, ReducedWindow, ScatterModel } from './reduction.ts';
import { dofOfWindow, varianceOfWindow } from './variance-model.ts';

interface Question {
  readonly plan: Plan;
  readonly windows: readonly { readonly reduced: ReducedWindow; readonly window: WindowSummary; readonly blindShift?: Seconds | null }[];
  readonly cells: readonly (LineCell | NoLineCell)[];
  readonly scatter: readonly ScatterModel[];
  /** By how much later a window opened than its settled warmth would have had it, s. */
  readonly delayOf: (window: ReducedWindow, byTemperature: number) => number;
}

/** The truth is handed through and takes part in nothing. */
export function blindFindings({ plan, windows, cells, scatter, delayOf }: Question): readonly BlindFinding[] {
  const blind = windows.filter((w) => w.blindShift !== undefined);
  return blind.flatMap(({ reduced, window, blindShift }): BlindFinding[] => {
    const { point, attempt, at, outcome } = reduced;
    if (outcome.kind !== 'mass' || blindShift === undefined) return [];
    const cell = cells.find((c) => c.injector === at.injector && c.voltage === at.voltage && c.pressure === at.pressure && Math.abs(c.period - at.period) < 1e-9);
    const model = scatter.find((s) => s.pressure === at.pressure && Math.abs(s.period - at.period) < 1e-9);
    if (cell?.kind !== 'line' || model === undefined || at.width < cell.region.from) return [];
    const slope = cell.slope.value;
    const { byVoltage, byPressure, byTemperature } = cell;
    const referred =
      byVoltage.value * (at.voltage - window.supply.mean) + byPressure.value * (at.pressure - window.pressure.mean) + byTemperature.value * (celsius(plan.reduction.referenceC) - window.railTemperature.mean) - delayOf(reduced, byTemperature.value) + cell.referred.toCoil;
    const found = outcome.mass / slope - referred - (at.width - cell.deadTime.value);
    const { uMean, uSlope, distance, dof } = cell.scatter;
    const ofWindow = varianceOfWindow(model, outcome, outcome.mass);
    const fromCentre = at.width - cell.deadTime.value - distance;
    // Instruments, leak and conditions are the same for line and window: only scatter is left.
    const ofLine = uMean ** 2 + (fromCentre * uSlope) ** 2;
    const u = Math.sqrt(ofWindow + ofLine) / slope;
    const both = effectiveDegrees([{ u: Math.sqrt(ofWindow), dof: dofOfWindow(model, outcome, outcome.mass) }, { u: Math.sqrt(ofLine), dof }]);
    return [{ point, attempt, injector: at.injector, voltage: at.voltage, width: at.width, found, u, dof: both, expanded: coverageFactor(both) * u, truth: blindShift }];
  });
}
