/**
 * Whether the host went on all the time, from its own two clocks: the monotonic one goes on while a process is stopped, the wall
 * clock while the computer is suspended. RUN-164, RUN-168. Nothing here allocates.
 */

/** A wall clock that is kept by a time server is moved by less than this between two inputs, s. */
const stepWorthNoting = 0.5;

export class HostTime {
  #now = Number.NaN;
  #wall = Number.NaN;
  /** How long nothing came to the host by its monotonic clock, s. */
  gap = 0;
  /** By how much the wall clock went on more than the monotonic one meanwhile, s; negative: less. */
  leap = 0;

  /** `wall`: seconds since 1970; undefined: it is not known. */
  take(now: number, wall: number | undefined): void {
    this.gap = now > this.#now ? now - this.#now : 0;
    this.leap = wall === undefined || Number.isNaN(this.#wall) ? 0 : wall - this.#wall - (now - this.#now);
    this.#now = now;
    this.#wall = wall ?? Number.NaN;
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
