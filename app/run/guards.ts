/** Guards: one signal, its limits, and for how long it must be outside or inside before anything happens. Pure. */
import type { BenchFrame } from '../bench/port.ts';
import { guardedReading, guardSignals } from '../bench/guard-signals.ts';
import { frameSignals, placeInFrame, readingOf, readInto, toShown } from '../bench/readings.ts';
import type { Signal } from '../bench/readings.ts';
import type { HeldReading } from '../journal/events.ts';
import type { Guard } from '../plan/plan.ts';
import { toKilopascals } from '../quantities/quantity.ts';

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

/** A guard with what it remembers. */
export class WatchedGuard {
  readonly guard: Guard;
  readonly signal: Guard['signal'];
  /** What it reads as it comes; null: what it watches depends on what is being done. */
  readonly reading: Signal | null;
  memory: GuardMemory = clearGuard;
  /** Of the reading: what is asked of every frame is at hand. */
  readonly place: number;
  readonly siPerShown: number;
  readonly zero: number;
  /** SI; a reading between them is inside whatever the rounding of its conversion. */
  readonly surelyAbove: number;
  readonly surelyBelow: number;
  readonly #low: number;
  readonly #high: number;

  constructor(guard: Guard) {
    this.guard = guard;
    this.signal = guard.signal;
    this.reading = guardedReading(guard.signal);
    this.place = this.reading === null ? -1 : placeInFrame(this.reading);
    this.siPerShown = this.reading?.siPerShown ?? 1;
    this.zero = this.reading?.zero ?? 0;
    this.#low = guard.low ?? Number.NEGATIVE_INFINITY;
    this.#high = guard.high ?? Number.POSITIVE_INFINITY;
    this.surelyAbove = this.#si(this.#low, 1);
    this.surelyBelow = this.#si(this.#high, -1);
  }

  #si(shown: number, inwards: number): number {
    const si = (shown + this.zero) * this.siPerShown;
    return Number.isFinite(si) ? si + inwards * 1e-9 * (1 + Math.abs(si)) : si;
  }

  /** It is clear, and this reading leaves it so: what nearly every reading of nearly every guard comes to. */
  staysClear(value: number | null): boolean {
    return this.memory === clearGuard && (value === null || (value >= this.#low && value <= this.#high));
  }
}

/** What is being done on the bench, as far as guards have to know it. */
export interface GuardedWork {
  /** The pressure that is held at the moment, kPa; null: none is. */
  readonly pressureKpa: number | null;
  /** The supply that was set and has been reached, V; null: none. */
  readonly supplyV: number | null;
  /** Flow while nothing is driven, mL/min; null: it is not known. */
  readonly idleFlow: number | null;
}

/** Takes a guard that is active, or has just become clear. True: what was done on the bench is over, the others are not looked at. */
type GuardAnswer = (guard: Guard, before: GuardMemory, after: GuardMemory, value: number | null) => boolean;

/** A set of guards over each frame: of a run, and of work by hand. RUN-20 to RUN-22, RUN-191 */
export class Guards {
  readonly #watched: readonly WatchedGuard[];
  readonly #work: GuardedWork;
  /** Of the frame that is looked at. */
  readonly #readings = new Float64Array(frameSignals.length);

  /** `work` is asked anew for every frame. */
  constructor(guards: readonly Guard[], work: GuardedWork) {
    this.#watched = guards.map((guard) => new WatchedGuard(guard));
    this.#work = work;
  }

  /** `now`: seconds of the host's monotonic clock. True when an answer was. */
  check(frame: BenchFrame, now: number, answer: GuardAnswer): boolean {
    readInto(this.#readings, frame);
    for (const watched of this.#watched) {
      // The usual case without a number that may be null, which would be one more object for each guard of each frame.
      if (watched.place >= 0 && watched.memory === clearGuard) {
        const reading = this.#readings[watched.place] as number;
        if (reading > watched.surelyAbove && reading < watched.surelyBelow) continue;
      }
      const value = this.#value(watched, frame);
      if (watched.staysClear(value)) continue;
      const { guard, memory: before } = watched;
      // A leak that was found is not gone because an injector is driven again: it clears when it is counted anew (RUN-108).
      if (guard.signal === 'idle-flow-ml-min' && value === null && before.active) continue;
      const after = stepGuard(guard, before, value, now);
      if (after === before && !after.active) continue;
      watched.memory = after;
      if (answer(guard, before, after, value)) return true;
    }
    return false;
  }

  /** The first guard that stops and is not clear, in words; null: all are. */
  notClear(frame: BenchFrame): string | null {
    readInto(this.#readings, frame);
    for (const watched of this.#watched) {
      const { guard, memory } = watched;
      if (guard.level !== 'note' && (memory.active || memory.outSince !== null)) {
        return `Guard ${guard.id} is not clear. ${guardText(guard, this.#value(watched, frame))}.`;
      }
    }
    return null;
  }

  /** Of the frame whose readings are at hand; in the unit of the guard's limits; null when the signal does not apply now. */
  #value(watched: WatchedGuard, frame: BenchFrame): number | null {
    if (watched.place >= 0) return (this.#readings[watched.place] as number) / watched.siPerShown - watched.zero;
    const { signal, reading } = watched;
    if (reading !== null) {
      const found = readingOf(frame, reading.id);
      return found === undefined ? null : toShown(reading, found);
    }
    switch (signal) {
      case 'pressure-deviation-kpa': {
        const { pressureKpa } = this.#work;
        return pressureKpa === null ? null : toKilopascals(frame.pressure) - pressureKpa;
      }
      case 'supply-deviation-v': {
        const { supplyV } = this.#work;
        return supplyV === null ? null : frame.supply - supplyV;
      }
      case 'idle-flow-ml-min':
        return this.#work.idleFlow;
      default:
        return null;
    }
  }
}

function isInside(guard: Guard, value: number, margin: number): boolean {
  // Written so that a reading that is not a number counts as outside.
  return (guard.low === undefined || value >= guard.low + margin) && (guard.high === undefined || value <= guard.high - margin);
}

/** The reading and the limits as values (RUN-194). */
export const guardReading = ({ signal, low, high }: Pick<Guard, 'signal' | 'low' | 'high'>, found: number | null): HeldReading => ({
  quantity: signal, found, low: low ?? null, high: high ?? null, unit: guardSignals[signal].plain,
});

/** The reading and the limits in words, without a full stop. */
export function guardText(guard: Guard, value: number | null): string {
  const { text, plain: unit, digits } = guardSignals[guard.signal];
  const limits =
    guard.low === undefined
      ? `at most ${guard.high ?? ''} ${unit}`
      : guard.high === undefined
        ? `at least ${guard.low} ${unit}`
        : `${guard.low} to ${guard.high} ${unit}`;
  return `${text} ${value === null ? 'not known' : `${value.toFixed(digits)} ${unit}`}, allowed ${limits}`;
}
