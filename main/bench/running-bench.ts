import type { Plant } from '../../firmware-protocol/simulator/plant/plant.ts';
import { SimulatedBench } from '../../firmware-protocol/simulator/simulated-bench.ts';
import type { Fault, Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import type { Clock } from '../clock/clock.ts';

/**
 * A simulated bench that is switched on: it lives on a clock, whether or not a host is there, until it is switched off.
 * Bench time 0 is the moment it is made.
 */
export class RunningBench {
  readonly #clock: Clock;
  readonly #origin: number;
  readonly #bench: SimulatedBench;
  /** Bytes on their way, in order: a host that answers from within its receiver must not run the bench inside itself. */
  readonly #toBench: Uint8Array[] = [];
  readonly #toHost: Uint8Array[] = [];
  readonly #toStrike: (readonly [Fault['fault'], number | undefined])[] = [];
  #listener: ((bytes: Uint8Array) => void) | null = null;
  #busy = false;
  #on = true;
  #cancelWake: () => void = () => undefined;
  #wakeAtUs = Number.POSITIVE_INFINITY;

  /** `makePlant` absent: the plant that the scenario describes. */
  constructor(scenario: Scenario, clock: Clock, makePlant?: (scenario: Scenario) => Plant) {
    this.#clock = clock;
    this.#origin = clock.now();
    this.#bench = new SimulatedBench(scenario, (bytes) => {
      if (this.#listener !== null) this.#toHost.push(bytes);
    }, makePlant);
    this.#live();
  }

  /** From now on, what the bench says goes to `listener`, in place of an earlier one; the returned function ends that. */
  attach(listener: (bytes: Uint8Array) => void): () => void {
    this.#listener = listener;
    this.#toHost.length = 0;
    return () => {
      if (this.#listener === listener) this.#listener = null;
    };
  }

  receive(bytes: Uint8Array): void {
    this.#toBench.push(bytes);
    this.#live();
  }

  /** A fault that begins now, for so long; `forS` absent: until the bench is switched off. */
  strike(fault: Fault['fault'], forS?: number): void {
    this.#toStrike.push([fault, forS]);
    this.#live();
  }

  switchOff(): void {
    this.#on = false;
    this.#listener = null;
    this.#cancelWake();
  }

  readonly #wake = (): void => {
    this.#wakeAtUs = Number.POSITIVE_INFINITY;
    this.#live();
  };

  #live(): void {
    if (this.#busy || !this.#on) return;
    this.#busy = true;
    try {
      // Half a nanosecond more, so that the rounding of milliseconds does not put the bench just before what is due.
      this.#bench.advanceTo((this.#clock.now() - this.#origin) * 1e3 + 5e-4);
      for (;;) {
        for (const [fault, forS] of this.#toStrike.splice(0)) this.#bench.strike(fault, forS);
        const said = this.#toHost.shift();
        if (said !== undefined) {
          this.#listener?.(said);
          continue;
        }
        const heard = this.#toBench.shift();
        if (heard === undefined) break;
        this.#bench.receive(heard);
      }
    } finally {
      this.#busy = false;
    }
    this.#sleep();
  }

  #sleep(): void {
    if (!this.#stillOn()) return;
    const due = this.#bench.nextDueUs();
    if (due === this.#wakeAtUs) return;
    this.#cancelWake();
    this.#wakeAtUs = due;
    this.#cancelWake = this.#clock.after(this.#origin + due / 1e3 - this.#clock.now(), this.#wake);
  }

  /** A listener may have switched the bench off. */
  #stillOn(): boolean {
    return this.#on;
  }
}
