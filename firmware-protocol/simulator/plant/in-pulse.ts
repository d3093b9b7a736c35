/** The read-back of the supply inside pulses alone, as a controller has it that looks at it only while it drives (LINE-130). */

/** Readings are means over so long. */
const MEAN_OVER_US = 100_000;

/** The fields that it reads. */
export const IN_PULSE = ['supplyInPulseMv'] as const;

export class InPulse {
  readonly #ohm: number;
  readonly #pulses: { readonly fromUs: number; readonly amperes: number }[] = [];

  /** `ohm`: between the read-back and what holds its mean. */
  constructor(ohm: number) {
    this.#ohm = ohm;
  }

  /** A pulse that draws so much in the mean while it is driven, A. */
  drive(fromUs: number, amperes: number): void {
    this.#pulses.push({ fromUs, amperes });
  }

  /** mV: less than the read-back by what the current inside the pulses of the last 100 ms, above its mean, loses. Nothing where none was driven. */
  read(nowUs: number, meanAmperes: number, readBackMv: () => number): { readonly supplyInPulseMv?: number } {
    const pulses = this.#pulses;
    while ((pulses[0]?.fromUs ?? nowUs) < nowUs - MEAN_OVER_US) pulses.shift();
    if (pulses.length === 0) return {};
    const amperes = pulses.reduce((sum, pulse) => sum + pulse.amperes, 0) / pulses.length;
    return { supplyInPulseMv: Math.max(0, Math.round(readBackMv() - 1e3 * this.#ohm * (amperes - meanAmperes))) };
  }
}
