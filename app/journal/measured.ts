/** What events hold of measurements: how each is computed is app/run's affair, how it is reduced app/reduce's. */
import type { Spreads } from '../bench/readings.ts';
import type { Kelvins, Pascals, Seconds } from '../quantities/quantity.ts';

/** With mean and scatter of each signal of the bench (RUN-190). */
export interface WindowSummary extends Spreads {
  /** Controller clock at the first and the last frame; the raw frames lie in the archive under these times. */
  readonly from: Seconds;
  readonly to: Seconds;
  readonly frames: number;
  readonly missingFrames: number;
  /** Double chronometry: whole edges, and the controller clock at the first and the last of them. */
  readonly edges: number;
  readonly firstEdgeAt: Seconds;
  readonly lastEdgeAt: Seconds;
  /** Edge rate of equal parts of the window by the same rule, Hz; scatter shows steadiness. Empty: too few edges. */
  readonly partRates: readonly number[];
  readonly pulses: number;
  /**
   * Edges and controller time, s, while nothing was driven since the attempt before, with the rest after pulses and outside the
   * pressure band left out, and not this window itself (RUN-104). Absent: there was none, or the journal is of an earlier version.
   */
  readonly idle?: { readonly edges: number; readonly time: number };
  /** Zero point on a bench whose meter has a least flow and whose rail can be shut off: how its pressure fell afterwards (RUN-107). */
  readonly decay?: PressureDecay;
}

/** What a shut rail showed. Slopes are least squares over the controller's clock, with their standard uncertainties. */
export interface PressureDecay {
  /** Controller clock at the first and the last frame. */
  readonly from: Seconds;
  readonly to: Seconds;
  readonly frames: number;
  readonly pressure: Pascals;
  readonly railTemperature: Kelvins;
  /** Pa/s. */
  readonly slope: number;
  readonly uSlope: number;
  /** K/s, of the fluid in the rail. */
  readonly warming: number;
  readonly uWarming: number;
}

/** One controller second is (1 + difference) seconds of the host. */
export interface ClockComparison {
  readonly difference: number;
  /** Standard uncertainty of it, beside the host's own clock. */
  readonly u: number;
  /** Controller time that it rests on, s. */
  readonly duration: number;
}
