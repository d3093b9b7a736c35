/** Sum of the time in which nothing was driven, and of the meter edges in it (RUN-104). Costs the run nothing. */
import type { BenchFrame } from '../bench/port.ts';

export class IdleTime {
  readonly #rest: number;
  /** Of the frame before; NaN: there was none. Numbers, and not the frame: holding on to each frame in turn costs more than to copy them. */
  #bootId = '';
  #burst = Number.NaN;
  #at = Number.NaN;
  #edgesAt = Number.NaN;
  #since = Number.NaN;
  #edges = 0;
  #time = 0;

  /** @param rest after pulses and after a change of pressure, s: meanwhile the rail fills up through the meter, and that is no leak. */
  constructor(rest: number) {
    this.#rest = rest;
  }

  /** Frames in order. `quiet`: no injector is driven or may be, and the rail is at its set point. */
  add(frame: BenchFrame, quiet: boolean): void {
    const [at, edges] = [this.#at, this.#edgesAt];
    // A train that was shorter than the time between two frames shows in its number.
    const goesOn = quiet && !frame.burst.active && this.#bootId === frame.bootId && this.#burst === frame.burst.number;
    this.#bootId = frame.bootId;
    this.#burst = frame.burst.number;
    this.#at = frame.at;
    this.#edgesAt = frame.edges;
    if (!goesOn) {
      this.#since = Number.NaN;
      return;
    }
    if (Number.isNaN(this.#since)) this.#since = frame.at;
    if (at - this.#since < this.#rest) return;
    this.#edges += frame.edges - edges;
    this.#time += frame.at - at;
  }

  /** What was counted since the last time that this was asked; null: nothing. */
  take(): { readonly edges: number; readonly time: number } | null {
    const sum = this.#time > 0 ? { edges: this.#edges, time: this.#time } : null;
    this.#edges = 0;
    this.#time = 0;
    return sum;
  }
}
