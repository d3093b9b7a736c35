/** A leak of the simulated bench: fluid that passes the meter and not the injector under test. */
import { RandomSource } from './random.ts';
import type { Fault, Scenario } from './scenario.ts';
import { Creep } from './thermal.ts';

type LeakFault = Extract<Fault['fault'], { kind: 'injector-leaking' | 'fitting-leaking' }>;

/** The gauge pressure at which a scenario states its leaks, Pa. */
const STATED_AT_PA = 400e3;
/** A leak is never quite steady: a grain on a seat moves, a seal creeps. */
const WANDER_PERIOD_S = 900;
const WANDER_PERCENT = 3;

export class LeakingPlace {
  readonly #fault: LeakFault;
  readonly #sinceS: number;
  readonly #wander: Creep | null;

  /** @param no how many leaks the bench had before. */
  constructor(fault: LeakFault, sinceS: number, no: number, { seed, noise }: Pick<Scenario, 'seed' | 'noise'>) {
    this.#fault = fault;
    this.#sinceS = sinceS;
    const amplitude = (fault.unsteadyPercent ?? WANDER_PERCENT) / 100;
    this.#wander = noise && amplitude > 0 ? new Creep(RandomSource.named(seed, `leak ${no}`), amplitude, WANDER_PERIOD_S) : null;
  }

  /** Its injector's channel; null: it is at a fitting. An open needle has no seat that leaks. */
  get channel(): number | null {
    return this.#fault.kind === 'injector-leaking' ? this.#fault.channel : null;
  }

  /** Volume flow, m3/s, at bench time `s` and gauge pressure `pressure`, Pa. */
  at(s: number, pressure: number): number {
    const { mlPerMin, growsMlPerMinPerH = 0, law = 'orifice' } = this.#fault;
    const grown = Math.max(0, mlPerMin + (growsMlPerMinPerH * (s - this.#sinceS)) / 3600);
    const share = Math.max(0, pressure) / STATED_AT_PA;
    // A hole lets through as the root of the pressure, a long narrow gap as the pressure itself (Hagen-Poiseuille).
    const driven = law === 'orifice' ? Math.sqrt(share) : share;
    return (grown * 1e-6 * driven * (1 + (this.#wander?.at(s) ?? 0))) / 60;
  }
}
