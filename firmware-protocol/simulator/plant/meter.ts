/**
 * The flow meter: positive displacement, so it gives an edge for each turn of its gears by a fixed angle. Angle over
 * volume is the K-factor; edges do not stand at quite equal angles (in-rotation error) and are not seen quite in time
 * (jitter).
 */
import type { RandomSource } from './random.ts';
import { EDGES_PER_REVOLUTION, nominalKFactor } from './k-factor.ts';
import type { Wander } from './wander.ts';

/** The K-factor goes by the speed of the gears smoothed over this. */
const SPEED_TAU_S = 0.5;
/** Local speed within a revolution, relative amplitude. */
const IN_ROTATION = 0.003;
/** Standard deviation of an edge's place, in edges. */
const JITTER = 0.002;

export class Meter {
  readonly #random: RandomSource | null;
  readonly #kError: number;
  readonly #phase: number;
  /** Edges passed with their fraction, and the same number at which the next edge is given. */
  #angle = 0;
  #whole = 0;
  #next: number;
  /** Edges that the flow would have given, and the same when the speed was last taken. */
  #flowed = 0;
  #speedFlowed = 0;
  #hertz = 0;
  readonly #leastHertz: number;
  #edgesPerCubicMetre: number;
  #given = 0;
  #lastEdgeUs = 0;
  silent = false;
  /** What no certificate knows of it; null: nothing. */
  wander: Wander | null = null;
  inRotation = IN_ROTATION;
  #time = 0;
  #wandered = 1;

  /**
   * @param random null: a perfect pick-up. @param kError true K-factor over the certificate's, less one. @param leastHertz a
   * slower flow than this slips past the gears, which stand still.
   */
  constructor(random: RandomSource | null, kError: number, leastHertz = 0) {
    this.#random = random;
    this.#kError = kError;
    this.#leastHertz = leastHertz;
    this.#phase = random === null ? 0 : 2 * Math.PI * random.uniform();
    this.#edgesPerCubicMetre = this.#kFactor();
    this.#next = this.#place(1);
  }

  get edges(): number {
    return this.#given;
  }

  get lastEdgeUs(): number {
    return this.#lastEdgeUs;
  }

  /**
   * Passes the volume of the span `dt` seconds from `fromUs`. @param volumeAfter volume, m3, that has passed a time
   * (s, 0 to dt) after the start of the span; never falls.
   */
  pass(fromUs: number, dt: number, volumeAfter: (t: number) => number): void {
    const factor = this.#edgesPerCubicMetre;
    const start = this.#angle;
    const total = volumeAfter(dt) * factor;
    this.#flowed += total;
    if (this.#hertz < this.#leastHertz) return;
    const after = start + total;
    if (after >= this.#next) {
      let last = this.#next;
      while (after >= this.#next) {
        last = this.#next;
        this.#whole += 1;
        if (!this.silent) this.#given += 1;
        this.#next = this.#place(this.#whole + 1);
      }
      if (!this.silent) this.#lastEdgeUs = Math.floor(fromUs + 1e6 * timeOf((t) => volumeAfter(t) * factor, last - start, dt, total));
    }
    this.#angle = after;
  }

  /** The speed of the gears is taken anew every `dt` seconds. */
  tick(dt: number): void {
    this.#time += dt;
    if (this.wander !== null) this.#wandered = this.wander.at(this.#time, dt);
    const hertz = (this.#flowed - this.#speedFlowed) / dt;
    this.#speedFlowed = this.#flowed;
    this.#hertz += (hertz - this.#hertz) * (1 - Math.exp(-dt / SPEED_TAU_S));
    this.#edgesPerCubicMetre = this.#kFactor();
  }

  #kFactor(): number {
    const of = nominalKFactor(this.#hertz) * 1e3 * (1 + this.#kError);
    return this.wander === null ? of : of * this.#wandered * this.wander.curve(this.#hertz);
  }

  #place(edge: number): number {
    if (this.#random === null) return edge;
    const perRevolution = (2 * Math.PI) / EDGES_PER_REVOLUTION;
    return edge - (this.inRotation / perRevolution) * Math.sin(edge * perRevolution + this.#phase) + JITTER * this.#random.normal();
  }
}

/** When a never falling quantity that is 0 at 0 and `total` at `dt` reaches `wanted` (false position, to 0.1 us). */
function timeOf(quantity: (t: number) => number, wanted: number, dt: number, total: number): number {
  let low = 0;
  let high = dt;
  let atLow = 0;
  let atHigh = total;
  if (wanted <= 0) return 0;
  for (let i = 0; i < 60 && high - low > 1e-7; i += 1) {
    // Halving now and then keeps false position from creeping up from one side.
    const t = i % 3 === 2 || atHigh === atLow ? (low + high) / 2 : low + ((high - low) * (wanted - atLow)) / (atHigh - atLow);
    const q = quantity(t);
    if (Math.abs(q - wanted) < 1e-9) return t;
    if (q < wanted) {
      low = t;
      atLow = q;
    } else {
      high = t;
      atHigh = q;
    }
  }
  return high;
}
