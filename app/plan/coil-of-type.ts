/** What a plan says of the coils of its injectors: by the injector, by its type, or for all. PLAN-83, PLAN-85 */
import { ofType } from './of-type.ts';
import type { Plan } from './plan.ts';

/** Thermal data of a coil in fuel, with standard uncertainties: K/W and s. */
export interface CoilHeat {
  readonly kelvinPerWatt: number;
  readonly u: number;
  readonly timeConstantS: number;
  readonly uTimeConstantS: number;
}

type Types = Pick<Plan, 'types'>;

/** Of the type, or for all types; null: nothing is stated. */
export function coilHeatOf(plan: Types & Pick<Plan, 'reduction'>, type: string): CoilHeat | null {
  const own = ofType(plan, type);
  // What a type states of heat it states whole (PLAN-86).
  const stated = own?.kelvinPerWatt === undefined ? plan.reduction.coil : own;
  if (stated?.kelvinPerWatt === undefined || stated.timeConstantS === undefined) return null;
  // Watts are told by the resistance, and are as little known.
  const uWatts = own?.resistanceOhm === undefined ? 0 : (own.uncertaintyOhm ?? 0) / own.resistanceOhm;
  return { kelvinPerWatt: stated.kelvinPerWatt, u: Math.hypot(stated.uncertaintyKelvinPerWatt ?? 0, stated.kelvinPerWatt * uWatts), timeConstantS: stated.timeConstantS, uTimeConstantS: stated.uncertaintyTimeConstantS ?? 0 };
}

/** Coil resistance at 20 degC of a type, ohm, or for all types; null: nothing is stated. */
export const ohmOfType = (plan: Types & Pick<Plan, 'look'>, type: string): number | null => ofType(plan, type)?.resistanceOhm ?? plan.look.coilOhm ?? null;

/** A coil's resistance at 20 degC, ohm, and its standard uncertainty. */
export interface StatedOhm {
  readonly ohm: number;
  readonly u: number;
}

/** Production spreads by one percent (standard deviation), ohmmeter and temperature of the coil add as much: as `look.resistancePercent` has it. */
const uRelative = 0.01 * Math.SQRT2;

/** Of an injector: from the list of injectors, of its type, or for all; null: nothing is stated. */
export function statedOhmOf(plan: Types & Pick<Plan, 'injectors' | 'look'>, injector: number): StatedOhm | null {
  const of = plan.injectors[injector];
  const ohm = of?.coilResistanceOhm ?? ohmOfType(plan, of?.type ?? '');
  return ohm === null ? null : { ohm, u: ofType(plan, of?.type ?? '')?.uncertaintyOhm ?? uRelative * ohm };
}
