/** What the analog inputs of the simulated bench and of the emulated board stand for, as its transducers are made (LINE-91). */
import type { Input, Scale } from '../../line/messages.ts';

export const SCALES: Readonly<Record<Input, Scale>> = {
  supply: { zero: 0, full: 20_000 },
  current: { zero: 0, full: 10_000 },
  // 0.5 V to 4.5 V of 5 V for 0 to 1 MPa, and for -20 to 80 degC.
  pressure: { zero: -125_000, full: 1_125_000 },
  rail: { zero: -32_500, full: 92_500 },
  meter: { zero: -32_500, full: 92_500 },
};
