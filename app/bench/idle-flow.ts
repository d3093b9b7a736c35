/** Flow while no injector is driven: what leaks. */
import type { BenchFrame } from './port.ts';

/** Edges are counted over at least this long and, while nothing is driven, up to so long: a large leak shows soon, a small one with time. s */
export const idleFlowSpan = 5;
const longestSpan = 30;
/** A mark to count from is set this often, s. */
const markEvery = 1;

interface Mark {
  readonly at: number;
  readonly edges: number;
}

export class IdleFlow {
  readonly #edgesPerMillilitre: number;
  readonly #rest: number;
  readonly #tolerance: number;
  #idleSince = Number.NaN;
  /** Pressure at which the rest began, Pa. */
  #restedAt = Number.NaN;
  #marks: Mark[] = [];
  #flow: number | null = null;

  /**
   * `kFactor` as in the equipment record; a leak is a small flow, so its lowest point holds for it. The rail fills up through the
   * meter after pulses and while its pressure rises: `rest`, s, is left out, and begins anew when the pressure moves by `tolerance`, Pa.
   */
  constructor(kFactor: readonly { readonly hertz: number; readonly edgesPerLitre: number }[], rest: number, tolerance: number) {
    this.#edgesPerMillilitre = edgesPerMillilitre(kFactor);
    this.#rest = rest;
    this.#tolerance = tolerance;
  }

  /**
   * mL/min that leak at least: n edges in T are a flow of (n - 1) / (K T) or more, so the edge that would have come anyway is
   * no leak. The greatest of what the spans say; null: none was counted since an injector was last driven.
   */
  get millilitresPerMinute(): number | null {
    return this.#flow;
  }

  /** Frames in order; `driven` when an injector is driven or may be. */
  add(frame: BenchFrame, driven: boolean): void {
    if (driven || frame.burst.active) {
      this.forget();
      return;
    }
    if (!(Math.abs(frame.pressure - this.#restedAt) <= this.#tolerance)) {
      this.forget();
      this.#restedAt = frame.pressure;
      this.#idleSince = frame.at;
    }
    if (frame.at - this.#idleSince < this.#rest) return;
    const marks = this.#marks;
    const latest = marks[marks.length - 1];
    if (latest === undefined || frame.at - latest.at >= markEvery) marks.push({ at: frame.at, edges: frame.edges });
    while (marks[0] !== undefined && frame.at - marks[0].at > longestSpan) marks.shift();
    for (let index = 0; index < marks.length; index += 1) {
      const mark = marks[index];
      if (mark === undefined) break;
      const time = frame.at - mark.at;
      if (time < idleFlowSpan) break;
      const flow = (Math.max(0, frame.edges - mark.edges - 1) / time / this.#edgesPerMillilitre) * 60;
      this.#flow = index === 0 ? flow : Math.max(this.#flow ?? 0, flow);
    }
  }

  /** Begins anew: an injector was driven, or the controller's counts began anew. */
  forget(): void {
    if (Number.isNaN(this.#restedAt)) return;
    this.#restedAt = Number.NaN;
    this.#marks = [];
    this.#flow = null;
  }
}

/** How long the rail rests before its idle flow is counted, s. */
export function idleFlowRest(plan: { readonly zero: { readonly settleS: number } }): number {
  return Math.max(1, plan.zero.settleS);
}

/** K-factor of a small flow: that of the lowest point of the curve. */
export function edgesPerMillilitre(kFactor: readonly { readonly hertz: number; readonly edgesPerLitre: number }[]): number {
  let lowest = kFactor[0];
  for (const point of kFactor) if (lowest === undefined || point.hertz < lowest.hertz) lowest = point;
  return (lowest?.edgesPerLitre ?? Number.NaN) / 1e3;
}
