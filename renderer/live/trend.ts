/**
 * A signal over a long time in bounded memory: lowest and highest value per slot of time, so that no excursion is lost
 * however few slots are drawn. The arrays are contiguous; reading costs nothing and makes nothing.
 */

/** What happens when the slots are used up: the oldest go, or all become twice as wide. */
export type WhenFull = 'drop-oldest' | 'widen';

/** The slots in use, oldest first; times never go back. Valid until the next `add`. */
export interface TrendView {
  /** s; of the last value in each slot. */
  readonly times: Float64Array;
  readonly low: Float64Array;
  readonly high: Float64Array;
  /** Width of a slot, s: neighbours much further apart than this have nothing between them. */
  readonly slot: number;
}

export class Trend {
  readonly #capacity: number;
  readonly #whenFull: WhenFull;
  readonly #times: Float64Array;
  readonly #low: Float64Array;
  readonly #high: Float64Array;
  #start = 0;
  #end = 0;
  #slot: number;
  #current = Number.NEGATIVE_INFINITY;

  /** `slot` in seconds; `capacity` slots, an even number. */
  constructor(options: { readonly slot: number; readonly capacity: number; readonly whenFull: WhenFull }) {
    this.#slot = options.slot;
    this.#capacity = options.capacity;
    this.#whenFull = options.whenFull;
    // Twice the room lets the oldest go without moving the others at every step.
    const room = options.whenFull === 'drop-oldest' ? 2 * options.capacity : options.capacity;
    this.#times = new Float64Array(room);
    this.#low = new Float64Array(room);
    this.#high = new Float64Array(room);
  }

  /** Adds a value at `time`, s. What is not finite or lies before the latest time is left out. */
  add(time: number, value: number): void {
    if (!Number.isFinite(value) || !Number.isFinite(time)) return;
    const last = this.#end - 1;
    if (last >= this.#start && time < (this.#times[last] ?? 0)) return;
    const slot = Math.floor(time / this.#slot);
    if (slot === this.#current) {
      this.#times[last] = time;
      if (value < (this.#low[last] ?? 0)) this.#low[last] = value;
      if (value > (this.#high[last] ?? 0)) this.#high[last] = value;
      return;
    }
    if (this.#end - this.#start === this.#capacity) this.#makeRoom();
    if (this.#end === this.#times.length) this.#moveToFront();
    this.#times[this.#end] = time;
    this.#low[this.#end] = value;
    this.#high[this.#end] = value;
    this.#end += 1;
    this.#current = Math.floor(time / this.#slot);
  }

  clear(): void {
    this.#start = 0;
    this.#end = 0;
    this.#current = Number.NEGATIVE_INFINITY;
  }

  get view(): TrendView {
    return {
      times: this.#times.subarray(this.#start, this.#end),
      low: this.#low.subarray(this.#start, this.#end),
      high: this.#high.subarray(this.#start, this.#end),
      slot: this.#slot,
    };
  }

  #makeRoom(): void {
    if (this.#whenFull === 'drop-oldest') {
      this.#start += 1;
      return;
    }
    const half = this.#capacity / 2;
    for (let i = 0; i < half; i += 1) {
      const a = 2 * i;
      const b = a + 1;
      this.#times[i] = this.#times[b] ?? 0;
      this.#low[i] = Math.min(this.#low[a] ?? 0, this.#low[b] ?? 0);
      this.#high[i] = Math.max(this.#high[a] ?? 0, this.#high[b] ?? 0);
    }
    this.#end = half;
    this.#slot *= 2;
  }

  #moveToFront(): void {
    for (const array of [this.#times, this.#low, this.#high]) array.copyWithin(0, this.#start, this.#end);
    this.#end -= this.#start;
    this.#start = 0;
  }
}
