/** What a measuring window comes down to: enough to judge it and to reduce it, computed from its frames alone. */
import type { Kelvins, Pascals, Seconds, Volts } from '../quantities/quantity.ts';

export interface Spread {
  readonly mean: number;
  /** Sample standard deviation, n - 1; 0 when n is 1. */
  readonly sd: number;
}

export interface WindowSummary {
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
  readonly pressure: Spread & { readonly mean: Pascals };
  readonly supply: Spread & { readonly mean: Volts };
  readonly railTemperature: Spread & { readonly mean: Kelvins };
  readonly meterTemperature: Spread & { readonly mean: Kelvins };
}
