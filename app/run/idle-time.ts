/** Sum of the time in which nothing was driven, and of the meter edges in it (RUN-104). Costs the run nothing. */
import type { BenchFrame } from '../bench/port.ts';

export class IdleTime {
  readonly #rest: number;
  #since = Number.NaN;
  #edges = 0;
  #time = 0;

  /** @param rest after pulses and after a change of pressure, s: meanwhile the rail fills up through the meter, and that is no leak. */
  constructor(rest: number) {
    this.#rest = rest;
  }

  /**
   * Frames in order, `before`: the one before it; null: there was none since the link was up. `quiet`: no injector is driven or may be,
   * and the rail is at its set point.
   */
  add(frame: BenchFrame, before: BenchFrame | null, quiet: boolean): void {
    // A train that was shorter than the time between two frames shows in its number.
    if (!quiet || frame.burst.active || before === null || before.bootId !== frame.bootId || before.burst.number !== frame.burst.number) {
      this.#since = Number.NaN;
      return;
    }
    if (Number.isNaN(this.#since)) this.#since = frame.at;
    if (before.at - this.#since < this.#rest) return;
    this.#edges += frame.edges - before.edges;
    this.#time += frame.at - before.at;
  }

  /** What was counted since the last time that this was asked; null: nothing. */
  take(): { readonly edges: number; readonly time: number } | null {
    const sum = this.#time > 0 ? { edges: this.#edges, time: this.#time } : null;
    this.#edges = 0;
    this.#time = 0;
    return sum;
  }
}
