/** How far each window stood from the conditions of the plan, and what that did to its mass: RED-16 to RED-18, RED-60, RED-130. */
import type { Equipment } from '../equipment/equipment.ts';
import { statedOhmOf } from '../plan/coil-of-type.ts';
import type { WindowSummary } from '../journal/measured.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, kilograms, volts } from '../quantities/quantity.ts';
import type { Cell, FittedCell, Observed } from './cell.ts';
import { grouped, withMasses } from './cells.ts';
import type { Lateness } from './coil-memory.ts';
import type { FittedLine } from './effects.ts';
import type { LineCell, SupplyLoss } from './reduction.ts';
import { effectsOfResistance } from './resistance-effect.ts';
import { coilCircuitOf as coilCircuit, deadTimeByClamp, deadTimeByPressure, deadTimeByResistance, deadTimeByTemperature, deadTimeByVoltage } from './sensitivity.ts';
import type { ByLogResistance, Sensitivity } from './sensitivity.ts';

/** How the dead time of one cell changes with the conditions, and how to read how far a window stood from the plan's. */
export interface Conditions {
  readonly byVoltage: Sensitivity;
  readonly byPressure: Sensitivity;
  readonly byTemperature: Sensitivity;
  /** What the record of the bench adds; null: a record of version 1, which states nothing of it. RED-60, RED-61. */
  readonly circuit: { readonly byClamp: Sensitivity; readonly byResistance: Sensitivity } | null;
  /** Full current of the circuit where nobody says what the supply does inside a pulse, A; null: the record says it, or it was read there, or the record is of version 1. RED-176 */
  readonly unsaidAt: number | null;
  /** Changes of dead time that refer one window to the plan, s; `late`: by how much it opened later than the settled warmth of its pulses would have had it, s. */
  readonly shiftsOf: (observed: Observed, late: number) => LineCell['referred'];
  /** All of them together, s. */
  readonly shiftOf: (observed: Observed, late: number) => number;
}

/** By cell key, for the cells that have a line. `loss`: of the supply, which stands in series with the harness (RED-143). */
export function cellConditions(fitted: readonly FittedCell[], plan: Plan, equipment: Equipment, loss: SupplyLoss | null): ReadonlyMap<string, Conditions> {
  const lines = fitted.filter((f): f is FittedLine => f.kind === 'line');
  const byInjector = new Map<string, FittedLine[]>();
  const injectorKey = ({ cell: { at } }: FittedLine): string => `${at.injector}|${at.period}`;
  for (const f of lines) {
    const siblings = byInjector.get(injectorKey(f));
    if (siblings === undefined) byInjector.set(injectorKey(f), [f]);
    else siblings.push(f);
  }
  const reference = celsius(plan.reduction.referenceC);
  const told = toldByVoltages(lines, equipment);
  const { currentUncertaintyPercent } = equipment.supply;
  const uCurrent = currentUncertaintyPercent === undefined ? undefined : currentUncertaintyPercent / 100;
  return new Map(
    lines.map((f) => {
      const { at, key } = f.cell;
      const { deadTime } = f.line;
      const siblings = byInjector.get(injectorKey(f)) ?? [];
      const overVoltage = siblings.filter((s) => s.cell.at.pressure === at.pressure).map((s) => ({ at: s.cell.at.voltage, deadTime: s.line.deadTime }));
      const overPressure = siblings.filter((s) => s.cell.at.voltage === at.voltage).map((s) => ({ at: s.cell.at.pressure, deadTime: s.line.deadTime }));
      const byVoltage = deadTimeByVoltage(overVoltage, at.voltage, deadTime);
      const byPressure = deadTimeByPressure(overPressure, at.pressure, deadTime, pressureEffectOf(plan));
      const clamp =
        equipment.equipmentVersion === 2 ? { clampV: equipment.driver.clampV, sensitivity: deadTimeByClamp(at.voltage, equipment.driver.clampV) } : null;
      // Where the supply's effect is not told by other voltages, neither is that of the resistance.
      const byLogResistance = byVoltage.from === 'neighbours' ? (told.get(f) ?? null) : null;
      const byTemperature = deadTimeByTemperature(byVoltage, at.voltage, deadTime, clamp, byLogResistance);
      const coil = clamp === null ? null : coilCircuit(currentsOf(f), at.voltage, statedOhmOf(plan, at.injector), uCurrent);
      const circuit =
        clamp === null || coil === null ? null : { byClamp: clamp.sensitivity, byResistance: deadTimeByResistance(byVoltage, at.voltage, deadTime, clamp, coil, byLogResistance) };
      const harnessOhm = equipment.equipmentVersion === 2 ? equipment.wiring.harnessOhm + (loss?.ohm ?? 0) : 0;
      const sag = loss === null ? byVoltage.value * sagOf(equipment) * openingPart(f, byVoltage) : 0;
      const toCoil = sag - (circuit === null ? 0 : circuit.byResistance.value * harnessOhm);
      const ofVoltage = ({ supply }: WindowSummary): number => byVoltage.value * (at.voltage - supply.mean);
      const ofPressure = ({ pressure }: WindowSummary): number => byPressure.value * (at.pressure - pressure.mean);
      const ofTemperature = ({ railTemperature }: WindowSummary, late: number): number => byTemperature.value * (reference - railTemperature.mean) - late;
      const shiftsOf = ({ window }: Observed, late: number): LineCell['referred'] => ({ toVoltage: ofVoltage(window), toPressure: ofPressure(window), toTemperature: ofTemperature(window, late), toCoil });
      const shiftOf = ({ window }: Observed, late: number): number => ofVoltage(window) + ofPressure(window) + ofTemperature(window, late) + toCoil;
      const unsaidAt = loss !== null || coil === null || equipment.supply.insidePulseMv !== undefined ? null : at.voltage / coil.ohm;
      return [key, { byVoltage, byPressure, byTemperature, circuit, unsaidAt, shiftsOf, shiftOf }];
    }),
  );
}

/** What a larger resistance does to each line's dead time, as the dead times of its injector at all voltages of that pressure and period tell it; of a record that does not state the clamp nothing. RED-170 */
function toldByVoltages(lines: readonly FittedLine[], equipment: Equipment): ReadonlyMap<FittedLine, ByLogResistance> {
  const told = new Map<FittedLine, ByLogResistance>();
  if (equipment.equipmentVersion === 1) return told;
  const effectsAt = effectsOfResistance(equipment.driver.clampV);
  for (const members of grouped(lines.filter(({ line }) => line.deadTime > 0), ({ cell: { at } }) => `${at.injector}|${at.pressure}|${at.period}`)) {
    if (members.length < 2) continue;
    const effects = effectsAt(members.map(({ cell: { at }, line: { deadTime, uDeadTime } }) => ({ at: at.voltage, deadTime, u: uDeadTime })));
    members.forEach((f, i) => {
      const effect = effects[i];
      if (effect !== undefined) told.set(f, effect);
    });
  }
  return told;
}

/** A coil draws at least so much of its full current when it opens, where no more can be told from the dead times: an estimate. */
const openingLeast = 0.5;

/** The part of its full current that a coil draws while the needle opens, as RED-60 has it. RED-74 */
export const openingPart = ({ line, cell: { at } }: FittedLine, byVoltage: Sensitivity): number => Math.min(1, Math.max(openingLeast, 1 + line.deadTime / (at.voltage * byVoltage.value)));

/** What the supply sags by at full current behind its read-back, V: anywhere between 0 and what the record states, so the middle is taken off and as much is left to either side. RED-74, RED-150 */
export const sagOf = ({ supply: { insidePulseMv = 0 } }: Equipment): number => (insidePulseMv * 1e-3) / 2;

/** The window as one of a supply at the voltage that stands there before a pulse: where the mean is held, longer pulses raise it. RED-74 */
export function beforePulse(window: WindowSummary, { width, period }: Point, equipment: Equipment): WindowSummary {
  if (!(period > 0)) return window;
  const before = known.get(window);
  if (before?.equipment === equipment && before.width === width && before.period === period) return before.held;
  const held = { ...window, supply: { ...window.supply, mean: volts(window.supply.mean + (sagOf(equipment) * width) / period) } };
  known.set(window, { equipment, width, period, held });
  return held;
}

/** Windows and records are never written into, so what was made of them stands. RED-160 */
const known = new WeakMap<WindowSummary, { readonly equipment: Equipment; readonly width: number; readonly period: number; readonly held: WindowSummary }>();

/** What the plan states of its type, relative, 1/Pa; null: nothing. PLAN-80, RED-77 */
export function pressureEffectOf({ reduction: { pressureEffect } }: Plan): { readonly relativePerPascal: number; readonly u: number } | null {
  if (pressureEffect === undefined) return null;
  const { percentPer100Kpa, uncertaintyPercentPer100Kpa } = pressureEffect;
  return { relativePerPascal: percentPer100Kpa * 1e-7, u: uncertaintyPercentPer100Kpa * 1e-7 };
}

/** Mean supply currents of the windows of a line, where the controller stated them. */
function currentsOf({ used }: FittedLine): readonly { readonly width: number; readonly period: number; readonly mean: number }[] {
  const currents: { readonly width: number; readonly period: number; readonly mean: number }[] = [];
  for (const { source: { at }, window: { current } } of used) if (current !== undefined) currents.push({ width: at.width, period: at.period, mean: current.mean });
  return currents;
}

/** A longer dead time by s would have passed k s less: so masses are referred to other conditions. RED-16 to RED-18. */
export function referredCell({ cell, line }: FittedLine, conditions: Conditions | undefined, { delayOf }: Lateness): Cell {
  if (conditions === undefined) return cell;
  return withMasses(cell, (observed) => kilograms(observed.mass - line.slope * conditions.shiftOf(observed, delayOf(observed.source, conditions.byTemperature.value))));
}

/** How far windows lie off their line, s, the later they opened the more, once they are referred to the plan; and what a kelvin does to the dead time. */
export function offLine({ line, used, observations }: FittedLine, conditions: Conditions | undefined): { readonly off: readonly number[]; readonly byTemperature: number; readonly uByTemperature: number } {
  if (conditions === undefined) return { off: used.map(() => 0), byTemperature: 0, uByTemperature: 0 };
  const off = used.map((o, i) => {
    const { toVoltage, toPressure, toTemperature, toCoil } = conditions.shiftsOf(o, 0);
    const { width = 0, mass = 0 } = observations[i] ?? {};
    return width - line.deadTime - mass / line.slope + toVoltage + toPressure + toTemperature + toCoil;
  });
  return { off, byTemperature: conditions.byTemperature.value, uByTemperature: conditions.byTemperature.u };
}

/** By how much the windows of a line were referred to the plan's conditions, in the mean. */
export function meanShift(used: readonly Observed[], { shiftsOf, byTemperature }: Conditions, { delayOf }: Lateness): LineCell['referred'] {
  let [toVoltage, toPressure, toTemperature, toCoil] = [0, 0, 0, 0];
  for (const o of used) {
    const one = shiftsOf(o, delayOf(o.source, byTemperature.value));
    toVoltage += one.toVoltage;
    toPressure += one.toPressure;
    toTemperature += one.toTemperature;
    toCoil += one.toCoil;
  }
  const n = used.length;
  return { toVoltage: toVoltage / n, toPressure: toPressure / n, toTemperature: toTemperature / n, toCoil: toCoil / n };
}
