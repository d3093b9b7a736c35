/** Temperatures: a coil that warms itself and is cooled by the fuel around it, and the room's slow creep. */
import type { RandomSource } from './random.ts';

/** Coil to fuel, K/W, and its time constant, s. */
export interface CoilWarmth {
  readonly kelvinPerWatt: number;
  readonly tauS: number;
}

const USUAL: CoilWarmth = { kelvinPerWatt: 0.5, tauS: 1 };

/** Rise of a coil over the fluid at the end of a pulse of `width` that turned `heat` joules into warmth. */
export function riseAfterPulse(riseBefore: number, heat: number, width: number, { kelvinPerWatt, tauS }: CoilWarmth = USUAL): number {
  if (width <= 0) return riseBefore;
  const kept = Math.exp(-width / tauS);
  return riseBefore * kept + (heat / width) * kelvinPerWatt * (1 - kept);
}

/** Rise that is left `pause` seconds later. */
export function riseAfterPause(rise: number, pause: number, { tauS }: CoilWarmth = USUAL): number {
  return pause > 0 ? rise * Math.exp(-pause / tauS) : rise;
}

/** Rise just before each pulse of an endless train, K. */
export function settledRise(heat: number, width: number, period: number, coil: CoilWarmth = USUAL): number {
  return riseAfterPause(riseAfterPulse(0, heat, width, coil), period - width, coil) / (1 - Math.exp(-period / coil.tauS));
}

/** The fluid in the rail without creep, degC. */
export const FLUID_C = 20.4;
/** The meter hangs where the tank's warmth still reaches it. */
export const METER_WARMER_K = 0.25;

/** A slow movement with no memory: a few sines with periods that do not fit into each other. */
export class Creep {
  readonly #waves: readonly { readonly amplitude: number; readonly radPerS: number; readonly phase: number }[];

  /** @param amplitude of the slowest wave; the next are half and a quarter of it. */
  constructor(random: RandomSource, amplitude: number, longestPeriodS: number) {
    this.#waves = [1, 0.5, 0.25].map((part, i) => ({
      amplitude: amplitude * part,
      radPerS: (2 * Math.PI * (1 + i * 1.618)) / longestPeriodS,
      phase: 2 * Math.PI * random.uniform(),
    }));
  }

  at(s: number): number {
    let sum = 0;
    for (const w of this.#waves) sum += w.amplitude * Math.sin(w.radPerS * s + w.phase);
    return sum;
  }
}
