/** The one invented injector type that hangs on the simulated rail, and how its production spreads. */
import { RandomSource } from './random.ts';
import type { InjectorParts } from './injector.ts';

/** Design values. They lie where lumped models of small high-impedance port injectors lie; no real part is meant. */
export const NOMINAL_INJECTOR: InjectorParts = {
  resistance: 12,
  turns: 410,
  pole: 16e-6,
  residualGap: 85e-6,
  core: 3e6,
  saturationFlux: 22e-6,
  eddy: 1500,
  mass: 1.5e-3,
  preload: 6,
  spring: 3000,
  damping: 0.5,
  lift: 80e-6,
  upperRestitution: 0.35,
  seatRestitution: 0.2,
  seatDiameter: 1.7e-3,
  seatAreaPerLift: 0.7 * Math.PI * 1.7e-3,
  holes: 0.2046e-6,
};

/** Production spread: relative standard deviations. Parts beyond two of them were sorted out at the factory. */
export const INJECTOR_SPREAD = {
  resistance: 0.01,
  residualGap: 0.03,
  core: 0.03,
  saturationFlux: 0.01,
  eddy: 0.05,
  mass: 0.005,
  preload: 0.03,
  spring: 0.03,
  lift: 0.02,
  upperRestitution: 0.05,
  seatRestitution: 0.05,
  seatDiameter: 0.003,
  holes: 0.012,
} as const satisfies Partial<Record<keyof InjectorParts, number>>;

const SORTED_OUT_BEYOND = 2;
/** Seat leakage of a healthy part at 400 kPa, m3/s: up to half a cubic millimetre a minute. */
const WORST_SEAT_LEAK = 0.5e-9 / 60;

export interface Injector {
  readonly parts: InjectorParts;
  /** At 400 kPa, m3/s. */
  readonly seatLeak: number;
}

/** The part on `channel` of the bench that `seed` makes; the same for ever. */
export function drawInjector(seed: number, channel: number): Injector {
  const random = RandomSource.named(seed, `injector ${channel}`);
  const parts: Record<keyof InjectorParts, number> = { ...NOMINAL_INJECTOR };
  for (const part of Object.keys(INJECTOR_SPREAD) as (keyof typeof INJECTOR_SPREAD)[]) {
    let deviation = random.normal();
    while (Math.abs(deviation) > SORTED_OUT_BEYOND) deviation = random.normal();
    parts[part] *= 1 + INJECTOR_SPREAD[part] * deviation;
  }
  return { parts, seatLeak: WORST_SEAT_LEAK * random.uniform() };
}
