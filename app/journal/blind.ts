/** Blind windows: what is sealed before the pulses, so that it can be held against the seal once it is told (RUN-211). */
import type { Seconds } from '../quantities/quantity.ts';

/** A secret shift of one attempt's commanded width, s, with the salt that keeps it from being found by trying. */
export interface BlindShift {
  /** Index of the point. */
  readonly point: number;
  readonly attempt: number;
  readonly shift: Seconds;
  readonly salt: string;
}

/** The text whose SHA-256 is the seal. Whole nanoseconds: less than the line can tell of two widths is no difference. */
export const sealedText = ({ point, attempt, shift, salt }: BlindShift): string => `railhouse blind window 1|point ${point}|attempt ${attempt}|${Math.round(shift * 1e9)} ns|${salt}`;
