/** The controlled supply and what lies between it and a coil. */
import { simulatedBenchEquipment } from './certificates.ts';
import type { Scenario } from './scenario.ts';
import type { CoilDrive } from './injector.ts';
import { channelClampError, drawInstrumentErrors } from './instrument-errors.ts';

/** Inside the supply, between the point where it is measured and its regulator, ohm. */
export const SOURCE_OHM = 0.003;
const MAX_V = 20;
const SLEW_V_PER_S = 20;

/** What lies between the supply and the coil of a channel. */
export type Circuit = Omit<CoilDrive, 'supply'>;

/** As the certificates say. */
const nominalCircuit: Circuit = { series: SOURCE_OHM + simulatedBenchEquipment.wiring.harnessOhm, clamp: simulatedBenchEquipment.driver.clampV };

/** What really lies there: as the scenario says, else off by what the certificates allow. */
export function circuitOf(scenario: Scenario, channel: number): Circuit {
  const errors = drawInstrumentErrors(scenario);
  return {
    series: SOURCE_OHM + (scenario.imperfections.sagOhm ?? 0) + (scenario.harnessOhm ?? Math.max(0, simulatedBenchEquipment.wiring.harnessOhm + errors.harnessOhm)),
    clamp: scenario.clampV?.[channel - 1] ?? simulatedBenchEquipment.driver.clampV + errors.clampV + channelClampError(scenario, channel),
  };
}

/** The drive that a coil sees with the supply at `supplyV`: it sags with the coil's own current. */
export function driveAt(supplyV: number, circuit: Circuit = nominalCircuit): CoilDrive {
  return { supply: supplyV, ...circuit };
}

/** A supply that regulates its own read-back, and so is off by the error of its read-back. Starts off. */
export class Supply {
  readonly #readbackErrorV: number;
  #commandedV = 0;
  #fromV = 0;
  #fromUs = 0;
  #toV = 0;
  #maxV = MAX_V;
  #cut = false;

  constructor(readbackErrorV: number) {
    this.#readbackErrorV = readbackErrorV;
  }

  command(atUs: number, v: number): void {
    this.#commandedV = v;
    this.#turn(atUs);
  }

  /** What it can do at most: less than usual while it is faulty. null: as usual. */
  limit(atUs: number, maxV: number | null): void {
    this.#maxV = maxV ?? MAX_V;
    this.#turn(atUs);
  }

  /** The emergency stop takes the power away in hardware, whatever is commanded. */
  cut(atUs: number, cut: boolean): void {
    this.#cut = cut;
    this.#turn(atUs);
  }

  /** True open-circuit voltage. */
  at(us: number): number {
    const way = this.#toV - this.#fromV;
    const done = ((us - this.#fromUs) / 1e6) * SLEW_V_PER_S;
    return done >= Math.abs(way) ? this.#toV : this.#fromV + Math.sign(way) * done;
  }

  /** The read-back with a mean current drawn. */
  readback(us: number, meanCurrent: number): number {
    const v = this.at(us);
    return v === 0 ? 0 : v + this.#readbackErrorV - SOURCE_OHM * meanCurrent;
  }

  #turn(atUs: number): void {
    this.#fromV = this.at(atUs);
    this.#fromUs = atUs;
    const v = this.#cut ? 0 : Math.min(this.#commandedV, this.#maxV);
    this.#toV = v <= 0 ? 0 : Math.max(0, v - this.#readbackErrorV);
  }
}
