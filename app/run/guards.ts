/** Guards: one signal, its limits, and for how long it must be outside or inside before anything happens. Pure. */
import type { BenchFrame } from '../bench/port.ts';
import type { Guard } from '../plan/plan.ts';
import { toCelsius, toKilopascals } from '../quantities/quantity.ts';

/** Signals that are a reading of the frame as it comes; the others depend on what is being done on the bench. */
type DirectSignal = Extract<Guard['signal'], 'pressure-kpa' | 'rail-temperature-c' | 'meter-temperature-c' | 'current-a'>;

/** The reading in the unit of the guard's limits. */
export function directReading(signal: DirectSignal, frame: BenchFrame): number {
  switch (signal) {
    case 'pressure-kpa':
      return toKilopascals(frame.pressure);
    case 'rail-temperature-c':
      return toCelsius(frame.railTemperature);
    case 'meter-temperature-c':
      return toCelsius(frame.meterTemperature);
    case 'current-a':
      return frame.current;
  }
}

/** What a guard remembers between two readings. Times are seconds of the host's monotonic clock. */
export interface GuardMemory {
  /** Since when the signal has been outside without a break; null: it is inside. */
  readonly outSince: number | null;
  /** The guard has seen the signal outside for its dwell and not yet inside for long enough. */
  readonly active: boolean;
  /** While active: since when the signal has been inside by the hysteresis without a break. */
  readonly inSince: number | null;
}

export const clearGuard: GuardMemory = { outSince: null, active: false, inSince: null };

/**
 * Takes one reading. `value` is null when the signal does not apply at the moment; that counts as inside. A guard
 * becomes active when the signal was outside for `dwellS`, and clears when it came back inside by `hysteresis`; a hold
 * guard only after `clearS` of that (RUN-21, RUN-22). Returns the same object when nothing changed.
 */
export function stepGuard(guard: Guard, memory: GuardMemory, value: number | null, now: number): GuardMemory {
  if (!memory.active) {
    if (value === null || isInside(guard, value, 0)) return memory.outSince === null ? memory : clearGuard;
    const outSince = memory.outSince ?? now;
    if (now - outSince >= guard.dwellS) return { outSince, active: true, inSince: null };
    return memory.outSince === null ? { outSince, active: false, inSince: null } : memory;
  }
  if (value !== null && !isInside(guard, value, guard.hysteresis)) {
    return memory.inSince === null ? memory : { ...memory, inSince: null };
  }
  const inSince = memory.inSince ?? now;
  if (now - inSince >= (guard.level === 'hold' ? guard.clearS : 0)) return clearGuard;
  return memory.inSince === null ? { ...memory, inSince } : memory;
}

/** A guard of a plan with what it remembers. */
export class WatchedGuard {
  readonly guard: Guard;
  readonly signal: Guard['signal'];
  memory: GuardMemory = clearGuard;
  readonly #low: number;
  readonly #high: number;

  constructor(guard: Guard) {
    this.guard = guard;
    this.signal = guard.signal;
    this.#low = guard.low ?? Number.NEGATIVE_INFINITY;
    this.#high = guard.high ?? Number.POSITIVE_INFINITY;
  }

  /** It is clear, and this reading leaves it so: what nearly every reading of nearly every guard comes to. */
  staysClear(value: number | null): boolean {
    return this.memory === clearGuard && (value === null || (value >= this.#low && value <= this.#high));
  }
}

function isInside(guard: Guard, value: number, margin: number): boolean {
  // Written so that a reading that is not a number counts as outside.
  return (guard.low === undefined || value >= guard.low + margin) && (guard.high === undefined || value <= guard.high - margin);
}

const signalNames: Readonly<Record<Guard['signal'], { readonly name: string; readonly unit: string; readonly digits: number }>> = {
  'pressure-deviation-kpa': { name: 'Rail pressure off its set point by', unit: 'kPa', digits: 1 },
  'pressure-kpa': { name: 'Rail pressure', unit: 'kPa', digits: 1 },
  'rail-temperature-c': { name: 'Fluid temperature in the rail', unit: 'degC', digits: 1 },
  'meter-temperature-c': { name: 'Fluid temperature at the meter', unit: 'degC', digits: 1 },
  'supply-deviation-v': { name: 'Supply off its set point by', unit: 'V', digits: 3 },
  'current-a': { name: 'Supply current', unit: 'A', digits: 2 },
  'idle-flow-ml-min': { name: 'Flow while no injector is driven', unit: 'mL/min', digits: 2 },
};

/** The reading and the limits in words, without a full stop. */
export function guardText(guard: Guard, value: number | null): string {
  const { name, unit, digits } = signalNames[guard.signal];
  const limits =
    guard.low === undefined
      ? `at most ${guard.high ?? ''} ${unit}`
      : guard.high === undefined
        ? `at least ${guard.low} ${unit}`
        : `${guard.low} to ${guard.high} ${unit}`;
  return `${name} ${value === null ? 'not known' : `${value.toFixed(digits)} ${unit}`}, allowed ${limits}`;
}
