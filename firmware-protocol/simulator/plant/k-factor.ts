/**
 * The flow meter's own curve: slip past the gears is a larger part of a small flow. This is the curve its certificate
 * was taken from; the true factor of a bench differs from it by the instrument error.
 */
export const EDGES_PER_REVOLUTION = 24;

const EDGES_PER_LITRE = 48_000;
const SLIP = 0.007;
const SLIP_HERTZ = 1.8;

/** Edges for a litre at a meter frequency. */
export function nominalKFactor(hertz: number): number {
  return EDGES_PER_LITRE * (1 - SLIP / (1 + hertz / SLIP_HERTZ));
}
