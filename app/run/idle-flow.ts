/** Flow while no injector is driven: what leaks. */
import type { BenchFrame } from '../bench/port.ts';

/** The rail fills up for a while after a burst, s; then edges are counted over this long, s, of the controller's clock. */
const grace = 1;
const span = 5;

export class IdleFlow {
  readonly #edgesPerMillilitre: number;
  #idleSince = Number.NaN;
  #fromEdges = 0;
  #fromAt = Number.NaN;
  #flow: number | null = null;

  /** `kFactor` as in the equipment record; a leak is a small flow, so its lowest point holds for it. */
  constructor(kFactor: readonly { readonly hertz: number; readonly edgesPerLitre: number }[]) {
    let lowest = kFactor[0];
    for (const point of kFactor) if (lowest === undefined || point.hertz < lowest.hertz) lowest = point;
    this.#edgesPerMillilitre = (lowest?.edgesPerLitre ?? Number.NaN) / 1e3;
  }

  /** mL/min over the latest whole span; null: none was counted since an injector was last driven. */
  get millilitresPerMinute(): number | null {
    return this.#flow;
  }

  /** Frames in order; `driven` when an injector is driven or may be. */
  add(frame: BenchFrame, driven: boolean): void {
    if (driven || frame.burst.active) {
      this.forget();
      return;
    }
    if (Number.isNaN(this.#idleSince)) this.#idleSince = frame.at;
    if (frame.at - this.#idleSince < grace) return;
    const counted = frame.at - this.#fromAt;
    if (counted < span) return;
    // Not a number before the first frame of the first span.
    if (counted >= span) this.#flow = ((frame.edges - this.#fromEdges) / counted / this.#edgesPerMillilitre) * 60;
    this.#fromAt = frame.at;
    this.#fromEdges = frame.edges;
  }

  /** Begins anew: an injector was driven, or the controller's counts began anew. */
  forget(): void {
    this.#idleSince = Number.NaN;
    this.#fromAt = Number.NaN;
    this.#flow = null;
  }
}
