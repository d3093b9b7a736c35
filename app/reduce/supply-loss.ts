/**
 * What the supply loses inside a pulse. Its read-back, taken inside pulses alone beside its mean (LINE-130), says by how much more current it lies lower: a resistance
 * between the read-back and what holds the mean. With it a window is that of a steady supply with so much more resistance on the way to the coil. RED-143
 */
import type { Equipment } from '../equipment/equipment.ts';
import { allowedOhm } from '../equipment/standing.ts';
import { volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { openingPart, sagOf } from './conditions.ts';
import type { Conditions } from './conditions.ts';
import type { FittedLine, OnInjector } from './effects.ts';
import type { ReductionInput, SupplyLoss } from './reduction.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { Sensitivity } from './sensitivity.ts';

/** Above this part of the period a pulse is hardly another current than the mean. */
const mostDuty = 0.9;
/** Fewer windows do not show their scatter. */
const fewest = 5;

/** By least squares through the origin over all windows that were read inside their pulses; null: too few were, or the record knows no circuit (version 1). */
export function supplyLossOf({ points, attempts, equipment }: Pick<ReductionInput, 'points' | 'attempts' | 'equipment'>): SupplyLoss | null {
  if (equipment.equipmentVersion === 1) return null;
  const seen: { readonly lower: number; readonly more: number }[] = [];
  for (const { point, window: { supply, supplyInPulse, current } } of attempts) {
    const at = points[point];
    if (at === undefined || supplyInPulse === undefined || current === undefined || !(at.width > 0 && at.width < mostDuty * at.period)) continue;
    const row = { lower: supply.mean - supplyInPulse.mean, more: current.mean * (at.period / at.width - 1) };
    if (Number.isFinite(row.lower) && row.more > 0) seen.push(row);
  }
  if (seen.length < fewest) return null;
  let [product, squares, sum] = [0, 0, 0];
  for (const { lower, more } of seen) {
    product += lower * more;
    squares += more * more;
    sum += more;
  }
  const ohm = product / squares;
  const left = seen.reduce((total, { lower, more }) => total + (lower - ohm * more) ** 2, 0);
  // What the instrument is off by the mean it is off by inside pulses too. How it follows them nobody has certified: as much again is allowed for.
  return { ohm, u: Math.hypot(Math.sqrt(left / (seen.length - 1) / squares), (equipment.supply.uncertaintyMv * 1e-3 * sum) / squares), windows: seen.length };
}

/** The window as one of a supply that loses nothing: at the voltage that it holds in front of the loss. */
export function inFrontOfLoss(window: WindowSummary, loss: SupplyLoss): WindowSummary {
  const { supply, current } = window;
  return current === undefined ? window : { ...window, supply: { ...supply, mean: volts(supply.mean + loss.ohm * current.mean) } };
}

/** Mean current of the windows of a line: at its dead time, A, and how it grows with the width, A/s; null: the windows do not tell. */
function currentOver({ line, used }: FittedLine): { readonly atDeadTime: number; readonly growth: number } | null {
  const currents = used.flatMap(({ source: { at }, window: { current } }) => (current === undefined ? [] : [{ width: at.width, mean: current.mean }]));
  const meanWidth = currents.reduce((sum, c) => sum + c.width, 0) / currents.length;
  const mean = currents.reduce((sum, c) => sum + c.mean, 0) / currents.length;
  const squares = currents.reduce((sum, c) => sum + (c.width - meanWidth) ** 2, 0);
  if (!(squares > 0)) return null;
  const growth = currents.reduce((sum, c) => sum + (c.width - meanWidth) * (c.mean - mean), 0) / squares;
  return { atDeadTime: mean - growth * (meanWidth - line.deadTime), growth };
}

/**
 * What `u` ohm behind the read-back do to a line. With I the mean current of a window, every mass was referred by (dt0/dV I + dt0/dR) for an ohm; I grows with the width, which turns the line.
 */
function ofLoss({ line }: FittedLine, u: number, { atDeadTime, growth }: { readonly atDeadTime: number; readonly growth: number }, byVoltage: Sensitivity, byResistance: Sensitivity): Omit<OnInjector, 'source'> {
  return { onDeadTime: -u * (byVoltage.value * atDeadTime + byResistance.value), onSlope: u * line.slope * byVoltage.value * growth };
}

/** What is not known of the supply inside the pulse: read there, stated by the record, or allowed for. RED-74, RED-143, RED-150, RED-176 */
export function insidePulse(fitted: FittedLine, { byVoltage, circuit, unsaidAt }: Conditions, equipment: Equipment, loss: SupplyLoss | null): readonly OnInjector[] {
  const { line, cell: { at } } = fitted;
  if (circuit !== null && loss !== null) {
    const current = currentOver(fitted);
    return current === null ? [] : [{ source: errorSource('supply-loss'), ...ofLoss(fitted, loss.u, current, byVoltage, circuit.byResistance) }];
  }
  if (circuit !== null && unsaidAt !== null) {
    // Where windows state no current: it is drawn from about the dead time on.
    const current = currentOver(fitted) ?? { atDeadTime: 0, growth: unsaidAt / at.period };
    return [{ source: errorSource('supply-inside-pulse'), ...ofLoss(fitted, allowedOhm / Math.sqrt(3), current, byVoltage, circuit.byResistance) }];
  }
  const u = (-byVoltage.value * sagOf(equipment)) / Math.sqrt(3);
  return u === 0 ? [] : [{ source: errorSource('supply-inside-pulse'), onDeadTime: u * (openingPart(fitted, byVoltage) - line.deadTime / at.period), onSlope: (line.slope * u) / at.period }];
}

/** What was found, and what was done with it. */
export function supplyLossSentence({ ohm, u, windows }: SupplyLoss): string {
  return (
    `Supply inside pulses, read in ${windows} windows: it lies below its mean as by ${(1e3 * ohm).toFixed(1)} ± ${(2e3 * u).toFixed(1)} mohm (k = 2) behind the read-back. ` +
    'Dead times are referred by it, and carry what is not known of it in place of a bound.'
  );
}
