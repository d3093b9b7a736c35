/** Guards: one signal, its limits, and for how long it must be outside or inside before anything happens. Pure. */
import type { BenchFrame } from '../bench/port.ts';
import { guardedReading, guardSignals, type DerivedSignal } from '../bench/guard-signals.ts';
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

/** What guards watch that is no reading by itself, behind the readings of a frame. */
const derivedPlaces: Readonly<Record<DerivedSignal, number>> = {
  'pressure-deviation-kpa': frameSignals.length,
  'supply-deviation-v': frameSignals.length + 1,
  'idle-flow-ml-min': frameSignals.length + 2,
};
const placesInAll = frameSignals.length + 3;

/** A guard with what it remembers. */
class WatchedGuard {
  readonly guard: Guard;
  memory: GuardMemory = clearGuard;
  /** Of its reading among those of a frame and what is derived of them; -1: a further signal, which is asked for by name. */
  readonly place: number;
  /** null: it is derived, and stands in the unit of the guard's limits. */
  readonly reading: Signal | null;
  /** A reading between them is inside whatever the rounding of its conversion. */
  readonly surelyAbove: number;
  readonly surelyBelow: number;

  constructor(guard: Guard) {
    this.guard = guard;
    this.reading = guardedReading(guard.signal);
    this.place = this.reading === null ? derivedPlaces[guard.signal as DerivedSignal] : placeInFrame(this.reading);
    this.surelyAbove = this.#bound(guard.low ?? Number.NEGATIVE_INFINITY, 1);
    this.surelyBelow = this.#bound(guard.high ?? Number.POSITIVE_INFINITY, -1);
  }

  #bound(shown: number, inwards: number): number {
    const bound = (shown + (this.reading?.zero ?? 0)) * (this.reading?.siPerShown ?? 1);
    return Number.isFinite(bound) ? bound + inwards * 1e-9 * (1 + Math.abs(bound)) : bound;
  }
}

/** What is being done on the bench, as far as guards have to know it. Numbers that are not known are NaN and not null: they are asked for with every frame, and one that may be null is one more object. */
export interface GuardedWork {
  /** The pressure that is held at the moment, kPa; NaN: none is. */
  readonly pressureKpa: number;
  /** The supply that was set and has been reached, V; NaN: none. */
  readonly supplyV: number;
  /** Flow while nothing is driven, mL/min; NaN: it is not known. */
  readonly idleFlow: number;
}

/** Takes a guard that is active, or has just become clear. True: what was done on the bench is over, the others are not looked at. */
type GuardAnswer = (guard: Guard, before: GuardMemory, after: GuardMemory, value: number | null) => boolean;

/** A set of guards over each frame: of a run, and of work by hand. RUN-20 to RUN-22, RUN-191 */
export class Guards {
  readonly #watched: readonly WatchedGuard[];
  readonly #work: GuardedWork;
  /** Of the frame that is looked at, what is derived of it included; and 0 where that does not apply now. */
  readonly #readings = new Float64Array(placesInAll);
  readonly #applies = new Uint8Array(placesInAll).fill(1);
  /** Place, and bounds between which its reading is surely inside, of each guard in turn. */
  readonly #places: Int32Array;
  readonly #bounds: Float64Array;
  /** Nothing is remembered of any guard. */
  #allClear: boolean;
  readonly #allAtHand: boolean;

  /** `work` is asked anew for every frame. */
  constructor(guards: readonly Guard[], work: GuardedWork) {
    this.#watched = guards.map((guard) => new WatchedGuard(guard));
    this.#work = work;
    this.#places = Int32Array.from(this.#watched, ({ place }) => place);
    this.#bounds = Float64Array.from(this.#watched.flatMap(({ surelyAbove, surelyBelow }) => [surelyAbove, surelyBelow]));
    this.#allAtHand = this.#watched.every(({ place }) => place >= 0);
    this.#allClear = this.#allAtHand;
  }

  /** `now`: seconds of the host's monotonic clock. True when an answer was. */
  check(frame: BenchFrame, now: number, answer: GuardAnswer): boolean {
    this.#read(frame);
    // Nearly every frame: all were clear, and every reading is inside.
    if (this.#allClear && this.#allInside()) return false;
    const answered = this.#checkEach(frame, now, answer);
    this.#allClear = this.#allAtHand && this.#watched.every(({ memory }) => memory === clearGuard);
    return answered;
  }

  #allInside(): boolean {
    const places = this.#places;
    const bounds = this.#bounds;
    const readings = this.#readings;
    const applies = this.#applies;
    for (let i = 0; i < places.length; i += 1) {
      const place = places[i] as number;
      const reading = readings[place] as number;
      // Written so that a reading that is not a number is not inside.
      if (!(reading > (bounds[2 * i] as number) && reading < (bounds[2 * i + 1] as number)) && applies[place] === 1) return false;
    }
    return true;
  }

  #checkEach(frame: BenchFrame, now: number, answer: GuardAnswer): boolean {
    for (const watched of this.#watched) {
      const { guard, memory: before } = watched;
      const value = this.#value(watched, frame);
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
    this.#read(frame);
    for (const watched of this.#watched) {
      const { guard, memory } = watched;
      if (guard.level !== 'note' && (memory.active || memory.outSince !== null)) {
        return `Guard ${guard.id} is not clear. ${guardText(guard, this.#value(watched, frame))}.`;
      }
    }
    return null;
  }

  #read(frame: BenchFrame): void {
    readInto(this.#readings, frame);
    const { pressureKpa, supplyV, idleFlow } = this.#work;
    this.#derive(derivedPlaces['pressure-deviation-kpa'], toKilopascals(frame.pressure) - pressureKpa, pressureKpa);
    this.#derive(derivedPlaces['supply-deviation-v'], frame.supply - supplyV, supplyV);
    this.#derive(derivedPlaces['idle-flow-ml-min'], idleFlow, idleFlow);
  }

  #derive(place: number, value: number, of: number): void {
    this.#readings[place] = value;
    this.#applies[place] = Number.isNaN(of) ? 0 : 1;
  }

  /** Of the frame whose readings are at hand; in the unit of the guard's limits; null when the signal does not apply now. */
  #value({ place, reading }: WatchedGuard, frame: BenchFrame): number | null {
    const found = place < 0 && reading !== null ? readingOf(frame, reading.id) : this.#applies[place] === 1 ? this.#readings[place] : undefined;
    if (found === undefined) return null;
    return reading === null ? found : toShown(reading, found);
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
