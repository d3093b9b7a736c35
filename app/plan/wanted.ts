/** U95 of dead times that a plan with targets wants, of measured cells or of the cells of its map (PLAN-90, PLAN-101). */
import type { Plan } from './plan.ts';

type Targets = NonNullable<Plan['targets']>;

interface ByVoltage {
  readonly deadTimeUs?: number | undefined;
  readonly atVoltage?: readonly { readonly voltageV: number; readonly deadTimeUs: number }[] | undefined;
}

/** us; null: as it comes. */
export const wantedUs = ({ deadTimeUs, atVoltage = [] }: ByVoltage, voltageV: number): number | null => atVoltage.find((t) => t.voltageV === voltageV)?.deadTimeUs ?? deadTimeUs ?? null;

/** What is changed of targets: of the map, or of measured cells; at a voltage, or at each (null). */
export interface TargetChange {
  readonly voltageV: number | null;
  readonly deadTimeUs: number;
  readonly ofMap?: true | undefined;
}

/** What a change is about, and the voltages that it is about; null: the plan has no map. */
export function changedPart({ targets, axes }: { readonly targets: Targets; readonly axes: Plan['axes'] }, { voltageV, ofMap }: TargetChange): { readonly part: ByVoltage; readonly voltages: readonly number[]; readonly asked: readonly number[] } | null {
  const part = ofMap === true ? targets.map : targets;
  if (part === undefined) return null;
  const voltages = ofMap === true ? (targets.map?.voltageV ?? []) : axes.voltageV;
  return { part, voltages, asked: voltageV === null ? voltages : [voltageV] };
}

/** Targets with a change. */
export function changedTargets(targets: Targets, { voltageV, deadTimeUs, ofMap }: TargetChange): Targets {
  const { map } = targets;
  if (ofMap === true) {
    if (map === undefined) throw new RangeError('The plan wants no map whose target could be changed.');
    return { ...targets, map: { ...map, ...changed(map, voltageV, deadTimeUs) } };
  }
  return { ...targets, ...changed(targets, voltageV, deadTimeUs) };
}

function changed({ atVoltage = [] }: ByVoltage, voltageV: number | null, deadTimeUs: number): { deadTimeUs?: number; atVoltage: { voltageV: number; deadTimeUs: number }[] } {
  if (voltageV === null) return { deadTimeUs, atVoltage: [] };
  return { atVoltage: [...atVoltage.filter((t) => t.voltageV !== voltageV), { voltageV, deadTimeUs }].toSorted((a, b) => a.voltageV - b.voltageV) };
}

/** Where a target is wanted, in words. */
export const targetPlace = ({ voltageV, ofMap }: Pick<TargetChange, 'voltageV' | 'ofMap'>): string => `${voltageV === null ? 'at every voltage' : `at ${voltageV} V`}${ofMap === true ? ' of the map' : ''}`;
