/** What a bench at rest reads over a span of time: for the lines of a qualification that the bench can read by itself. EQ-20 in app/equipment/README.md. */
import type { BenchFrame } from '../bench/port.ts';
import type { ClockComparison } from '../journal/measured.ts';
import { toKilopascals } from '../quantities/quantity.ts';
import { TimeBase } from '../run/time-base.ts';

export interface SpanRead {
  /** Controller time from the first frame to the last, s. */
  readonly seconds: number;
  readonly frames: number;
  /** Edges of the meter in that time. */
  readonly edges: number;
  readonly pressureKpa: number;
  readonly supplyV: number;
  /** An injector was driven in it: what the meter counted is no leak. */
  readonly driven: boolean;
  /** Controller against host, relative; null: too short to tell. */
  readonly clock: ClockComparison | null;
}

/** Adds frames up. A controller that starts anew begins the span anew. */
export class SpanReading {
  #first: BenchFrame | null = null;
  #last: BenchFrame | null = null;
  #frames = 0;
  #pressure = 0;
  #supply = 0;
  #driven = false;
  #clocks = new TimeBase();

  /** `now`: the host's clock when the frame came in, s. */
  add(now: number, frame: BenchFrame): void {
    if (this.#first === null || this.#first.bootId !== frame.bootId || frame.at <= (this.#last?.at ?? Number.NEGATIVE_INFINITY)) {
      this.#first = frame;
      this.#frames = 0;
      this.#pressure = 0;
      this.#supply = 0;
      this.#driven = false;
      this.#clocks = new TimeBase();
    }
    this.#last = frame;
    this.#frames += 1;
    this.#pressure += frame.pressure;
    this.#supply += frame.supply;
    this.#driven ||= frame.burst.active;
    this.#clocks.add(now, frame.at);
  }

  /** Controller time so far, s. */
  get seconds(): number {
    return this.#first === null || this.#last === null ? 0 : this.#last.at - this.#first.at;
  }

  /** null: fewer than two frames came. */
  get read(): SpanRead | null {
    if (this.#first === null || this.#last === null || this.#frames < 2) return null;
    return {
      seconds: this.seconds,
      frames: this.#frames,
      edges: this.#last.edges - this.#first.edges,
      pressureKpa: toKilopascals((this.#pressure / this.#frames) as BenchFrame['pressure']),
      supplyV: this.#supply / this.#frames,
      driven: this.#driven,
      clock: this.#clocks.comparison,
    };
  }
}
