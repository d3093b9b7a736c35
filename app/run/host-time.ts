/**
 * Whether the host went on all the time, from its own clocks: the monotonic one goes on while a process is stopped; while
 * the computer is suspended only the wall clock does, which can be set too, and a count of suspended time, where there is one.
 * RUN-164, RUN-168. Nothing here allocates: it is done with every input.
 */

/** A wall clock that is kept by a time server is moved by less than this between two inputs, s. */
const stepWorthNoting = 0.5;

/** The clocks of a host at one instant, in s: the monotonic one, from any origin; the wall clock, since 1970; for how long the computer was suspended, from any origin. undefined: not known. */
export interface HostClocks {
  readonly now: number;
  readonly wall?: number;
  readonly asleep?: number;
}

export class HostTime {
  #now = Number.NaN;
  #wall = Number.NaN;
  #asleep = Number.NaN;
  /** How long nothing came to the host by its monotonic clock, s. */
  gap = 0;
  /** By how much the wall clock went on more than the monotonic one meanwhile, s; negative: less. */
  leap = 0;
  /** How long the computer was suspended meanwhile, s; NaN: only the wall clock could tell. */
  slept = Number.NaN;

  /** As `HostClocks`. False: the host stood still for `longest`, s, at most, and the wall clock was not set. */
  take(longest: number, now: number, wall: number = Number.NaN, asleep: number = Number.NaN): boolean {
    const leap = wall - this.#wall - (now - this.#now);
    this.gap = now > this.#now ? now - this.#now : 0;
    this.leap = Number.isNaN(leap) ? 0 : leap;
    this.slept = asleep - this.#asleep;
    this.#now = now;
    this.#wall = wall;
    this.#asleep = asleep;
    return this.stepped || this.stoodStill > longest;
  }

  /** For how long nobody watched, s. A wall clock that was set is taken for a suspended computer only where nothing can tell the two apart. */
  get stoodStill(): number {
    return Math.max(this.gap, Number.isNaN(this.slept) ? this.leap : this.slept);
  }

  /** Whether a step of the wall clock is the time that the computer was suspended; null: it cannot be told. */
  get wasSuspended(): boolean | null {
    return Number.isNaN(this.slept) ? null : Math.abs(this.leap - this.slept) < stepWorthNoting;
  }

  get stepped(): boolean {
    return Math.abs(this.leap) >= stepWorthNoting;
  }
}

/** For people: a time with the unit that fits it. */
export function spanText(s: number): string {
  if (s < 90) return `${s.toFixed(s < 10 ? 1 : 0)} s`;
  if (s < 5400) return `${(s / 60).toFixed(0)} min`;
  return `${(s / 3600).toFixed(1)} h`;
}
