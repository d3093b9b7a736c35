/** What the controller looks for in its inputs at every look, and latches a fault for. LINE-55 to LINE-59, LINE-92 to LINE-96 */
import type { FaultCode } from '../line/fault-texts.ts';
import { COVER, EMERGENCY_STOP, SAFETY, SUPERVISION_US, VENTILATION, WATCH } from './controller-facts.ts';
import type { ControllerInputs, WatchedInput } from './controller-inputs.ts';
import type { PlantReadings } from './plant/plant-port.ts';

/** From the last pulse until a bench counts as idle. */
const AFTER_PULSE_US = 250_000;
/** A rail whose pressure moves by more in `idleMs` is being filled. */
const STEADY_PA = 2_000;
/** A limit trips when this many looks running are over it: one noisy reading is not a fault. */
const LOOKS_TO_TRIP = 2;
const NEVER = Number.POSITIVE_INFINITY;
const NONE_LOST = { pressure: 0, rail: 0, meter: 0 } as const;

/** What the controller does at the moment; times in us of the bench. */
export interface WatchedBench {
  readonly now: number;
  /** LINE-89: there is something that the dead-man and the interlocks have to watch. */
  readonly live: boolean;
  /** A burst is. */
  readonly active: boolean;
  /** End of the pulse last begun. */
  readonly drivenUntil: number;
}

export class ControllerWatches {
  /** The meter gave more edges than it can between the last two looks. */
  overrun = false;
  readonly #inputs: ControllerInputs;
  #looksOverCurrent = 0;
  #looksOverPressure = 0;
  #looksOverTemperature = 0;
  #looksLost: Readonly<Record<WatchedInput, number>> = NONE_LOST;
  /** Since when a bench has been idle, and had current; at what its flow is being counted from. NEVER: it is not. */
  #idleSince = NEVER;
  #currentSince = NEVER;
  #flowFrom = { us: NEVER, edges: 0, pressurePa: 0 };
  #frozenSince: Record<'pressure' | 'current', number> = { pressure: NEVER, current: NEVER };
  #edgesAtLook = 0;

  constructor(inputs: ControllerInputs) {
    this.#inputs = inputs;
  }

  /** The controller starts, at that count of edges. */
  restart(edges: number): void {
    this.#edgesAtLook = edges;
    this.overrun = false;
    this.#looksLost = NONE_LOST;
    this.#frozenSince = { pressure: NEVER, current: NEVER };
    this.#looksOverCurrent = 0;
    this.#looksOverPressure = 0;
    this.#looksOverTemperature = 0;
  }

  /** One look; the fault that has to be latched, the most urgent first, or null. */
  look(now: PlantReadings, bench: WatchedBench): FaultCode | null {
    const undriven = this.#isDrivenUnasked(now, bench);
    const frozen = this.#frozenInput(now, bench);
    this.overrun = now.edges - this.#edgesAtLook > (WATCH.meterMaxHz * SUPERVISION_US) / 1e6;
    this.#edgesAtLook = now.edges;
    const lost = (input: WatchedInput) => (this.#inputs.isLost(input, now) ? this.#looksLost[input] + 1 : 0);
    this.#looksLost = { pressure: lost('pressure'), rail: lost('rail'), meter: lost('meter') };
    this.#looksOverCurrent = now.currentMa > SAFETY.tripMa ? this.#looksOverCurrent + 1 : 0;
    this.#looksOverPressure = now.pressurePa > SAFETY.tripPa ? this.#looksOverPressure + 1 : 0;
    this.#looksOverTemperature = hottest(now) > SAFETY.tripMilliC ? this.#looksOverTemperature + 1 : 0;
    if ((now.interlocks & EMERGENCY_STOP) === 0) return 'emergency-stop';
    if (bench.live && (now.interlocks & COVER) === 0) return 'interlock-cover';
    if (bench.live && (now.interlocks & VENTILATION) === 0) return 'interlock-ventilation';
    if (this.#inputs.stand(bench.now)) return 'converter';
    if (this.overrun) return 'meter';
    if (this.#looksLost.pressure >= LOOKS_TO_TRIP) return 'sensor-pressure';
    if (this.#looksLost.rail >= LOOKS_TO_TRIP) return 'sensor-rail-temperature';
    if (this.#looksLost.meter >= LOOKS_TO_TRIP) return 'sensor-meter-temperature';
    if (this.#looksOverCurrent >= LOOKS_TO_TRIP) return 'over-current';
    if (this.#looksOverPressure >= LOOKS_TO_TRIP) return 'over-pressure';
    if (this.#looksOverTemperature >= LOOKS_TO_TRIP) return 'over-temperature';
    if (frozen !== null) return `sensor-${frozen}`;
    return undriven ? 'driver' : null;
  }

  /** LINE-92: pressure and current are moved by every pulse. A current of nothing is that of an injector not plugged in. */
  #frozenInput(now: PlantReadings, bench: WatchedBench): 'pressure' | 'current' | null {
    for (const input of ['pressure', 'current'] as const) {
      const frozen = bench.active && now.frozen.includes(input) && (input === 'pressure' || now.currentMa > 0);
      if (!frozen) this.#frozenSince[input] = NEVER;
      else this.#frozenSince[input] = Math.min(this.#frozenSince[input], bench.now);
      if (bench.now - this.#frozenSince[input] >= WATCH.frozenMs * 1e3) return input;
    }
    return null;
  }

  /** LINE-94: nothing is driven, and yet current or fluid flows. */
  #isDrivenUnasked(now: PlantReadings, bench: WatchedBench): boolean {
    if (!bench.live || bench.active || bench.now < bench.drivenUntil) {
      this.#idleSince = NEVER;
      return false;
    }
    this.#idleSince = Math.min(this.#idleSince, bench.now);
    if (bench.now - this.#idleSince < AFTER_PULSE_US) {
      this.#currentSince = NEVER;
      this.#flowFrom = { us: NEVER, edges: 0, pressurePa: 0 };
      return false;
    }
    this.#currentSince = now.currentMa > WATCH.idleMa ? Math.min(this.#currentSince, bench.now) : NEVER;
    if (bench.now - this.#currentSince >= (WATCH.idleMs * 1e3) / 2) return true;
    const from = this.#flowFrom;
    if (from.us !== NEVER && bench.now - from.us < WATCH.idleMs * 1e3) return false;
    this.#flowFrom = { us: bench.now, edges: now.edges, pressurePa: now.pressurePa };
    return from.us !== NEVER && now.edges - from.edges >= WATCH.idleEdges && Math.abs(now.pressurePa - from.pressurePa) <= STEADY_PA;
  }
}

export function hottest(readings: PlantReadings): number {
  return Math.max(readings.railMilliC, readings.meterMilliC);
}
