/**
 * For tests: windows as a bench with known injectors and known instrument errors would have given them. Straight lines
 * (or what `mass` says), an orifice, a meter; no dynamics. Chance comes in as a source of standard normal numbers.
 */
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfHeptane } from '../fluid/heptane.test-helper.ts';
import { planSchema } from '../plan/plan.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, kelvins, kilopascals, pascals, seconds, volts } from '../quantities/quantity.ts';
import type { Pascals, Volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { kFactorAt } from './mass.ts';
import { uCoilOverRail } from './sensitivity.ts';

/** Errors of the instruments: reading minus truth; factors are relative. */
export interface InstrumentErrors {
  readonly kFactor: number;
  readonly density: number;
  readonly pressurePa: number;
  readonly supplyV: number;
  readonly meterTemperatureK: number;
  readonly railTemperatureK: number;
  /** Coil over rail, truth. */
  readonly coilK: number;
}

export const noErrors: InstrumentErrors = { kFactor: 0, density: 0, pressurePa: 0, supplyV: 0, meterTemperatureK: 0, railTemperatureK: 0, coilK: 0 };

export const syntheticEquipment: Equipment = equipmentSchema.parse({
  equipmentVersion: 1,
  name: 'Synthetic bench',
  meter: {
    kind: 'oval gear',
    serialNumber: 'M-1',
    // So close that nothing is in doubt between them.
    kFactor: Array.from({ length: 35 }, (_, i) => 0.5 * 1.25 ** i).map((hertz) => ({ hertz, edgesPerLitre: 48_000 * (1 - 0.004 / (1 + hertz / 2)) })),
    relativeUncertaintyPercent: 0.1,
    edgesPerRevolution: 24,
    certificate: { number: 'C-1', date: '2026-01-05', validUntil: '2027-01-05' },
  },
  pressure: { serialNumber: 'P-1', uncertaintyKpa: 0.4, certificate: { number: 'C-2', date: '2026-01-05', validUntil: '2027-01-05' } },
  temperature: { serialNumber: 'T-1', uncertaintyC: 0.1, certificate: { number: 'C-3', date: '2026-01-05', validUntil: '2027-01-05' } },
  supply: { serialNumber: 'V-1', uncertaintyMv: 5, certificate: { number: 'C-4', date: '2026-01-05', validUntil: '2027-01-05' } },
  fluid: { name: 'n-heptane', lot: 'L-1', openedOn: '2026-01-05', densityUncertaintyPercent: 0.1 },
  ambientKpa: 101.325,
});

/** Instrument errors drawn from the stated standard uncertainties. */
export function drawErrors(equipment: Equipment, normal: () => number): InstrumentErrors {
  return {
    kFactor: (normal() * equipment.meter.relativeUncertaintyPercent) / 100,
    density: (normal() * equipment.fluid.densityUncertaintyPercent) / 100,
    pressurePa: normal() * equipment.pressure.uncertaintyKpa * 1e3,
    supplyV: normal() * equipment.supply.uncertaintyMv * 1e-3,
    meterTemperatureK: normal() * equipment.temperature.uncertaintyC,
    railTemperatureK: normal() * equipment.temperature.uncertaintyC,
    coilK: normal() * uCoilOverRail,
  };
}

export function syntheticPlan(axes: Partial<Plan['axes']>, injectors = 2, reduction: Partial<Plan['reduction']> = {}, more: Partial<Pick<Plan, 'zero' | 'pair' | 'static'>> = {}): Plan {
  return planSchema.parse({
    planVersion: 1,
    zero: { windowS: 0 },
    pair: { windows: 0 },
    look: { windowS: 0 },
    invariance: { percent: 0 },
    blind: { percent: 0 },
    sequence: { kind: 'alternating' },
    name: 'Synthetic',
    injectors: Array.from({ length: injectors }, (_, i) => ({ serialNumber: `S-${i + 1}`, type: 'T', channel: i + 1 })),
    axes: { voltageV: [14], pressureKpa: [400], widthMs: [2, 3, 4, 5, 6, 8, 10], periodMs: [20], replicates: 3, ...axes },
    reduction,
    ...more,
  });
}

/** An injector that passes `mass(w, V, p)` kg at the reference density. */
export interface SyntheticInjector {
  readonly slope: (pressure: Pascals) => number;
  /** `warmer`: coil over the reference temperature, K; absent: 0. */
  readonly deadTime: (voltage: Volts, pressure: Pascals, warmer?: number) => number;
  /** Added to the line, kg. */
  readonly bend?: (width: number) => number;
}

/** Number `index` of its type. `still`: the part of the dead time that no voltage or temperature changes, s. */
export function syntheticInjector(index: number, still = 1e-4): SyntheticInjector {
  return {
    slope: (p) => 3.95e-3 * (1 + 0.01 * index) * Math.sqrt(p / 4e5),
    deadTime: (v, p, warmer = 0) => {
      const resistance = 1 + 0.00393 * warmer;
      const pullIn = (1e-3 * (1 + 0.02 * index) * Math.log(v / (v - 6 * resistance))) / resistance;
      return (still + pullIn) * (1 + (0.03 * (p - 4e5)) / 1e5);
    },
  };
}

export interface SyntheticScatter {
  /** Relative standard deviation of one window's mass, and an absolute part in s of pulse width. */
  readonly relative: number;
  readonly width: number;
  /** Standard deviations of the true conditions about the plan's. */
  readonly voltage: number;
  readonly pressure: number;
  /** True temperature of rail and coil over the reference, K. */
  readonly warmer: number;
}

/** A good bench. */
export const quietScatter: SyntheticScatter = { relative: 1e-3, width: 5e-7, voltage: 0.01, pressure: 500, warmer: 1 };
export const noScatter: SyntheticScatter = { relative: 0, width: 0, voltage: 0, pressure: 0, warmer: 0 };

/** The window that the bench would have given for `point`; `leak`: what passes the meter and not the injector, m3/s. */
export function syntheticWindow(
  point: Point,
  injector: SyntheticInjector,
  plan: Plan,
  equipment: Equipment,
  errors: InstrumentErrors,
  scatter: SyntheticScatter,
  normal: () => number,
  leak = 0,
): WindowSummary {
  const ambient = equipment.ambientKpa * 1e3;
  const readVoltage = point.voltage + scatter.voltage * normal();
  const readPressure = point.pressure + scatter.pressure * normal();
  const voltage = volts(readVoltage - errors.supplyV);
  const pressure = pascals(readPressure - errors.pressurePa);
  const railTemperature = celsius(plan.reduction.referenceC) + scatter.warmer;
  const meterTemperature = railTemperature + 0.25;
  const density = (temperature: number, gauge: number): number =>
    densityOfHeptane(kelvins(temperature), pascals(gauge + ambient)) * (1 + errors.density);
  const reference = density(celsius(plan.reduction.referenceC), point.pressure);
  const slope = injector.slope(pressure);
  const straight = slope * (point.width - injector.deadTime(voltage, pressure, scatter.warmer + errors.coilK)) + (injector.bend?.(point.width) ?? 0);
  const noise = scatter.relative * straight * normal() + scatter.width * slope * normal();
  const mass = (straight + noise) * Math.sqrt(density(railTemperature, pressure) / reference);
  const volumeFlow = mass / point.period / density(meterTemperature, pressure) + leak;
  let hertz = 0;
  for (let i = 0; i < 20; i += 1) hertz = volumeFlow * kFactorAt(equipment.meter, hertz) * (1 + errors.kFactor);
  const edges = Math.max(2, Math.round(3 * hertz));
  const parts = 10;
  const steadiness = Math.hypot(scatter.relative, (scatter.width * slope) / straight) * Math.sqrt(parts);
  return {
    from: seconds(0),
    to: seconds(edges / hertz + 0.1),
    frames: 60,
    missingFrames: 0,
    edges,
    firstEdgeAt: seconds(0.05),
    lastEdgeAt: seconds(0.05 + edges / hertz),
    partRates: Array.from({ length: parts }, () => hertz * (1 + steadiness * normal())),
    pulses: Math.round(3 / point.period),
    pressure: { mean: pascals(readPressure), sd: 0 },
    supply: { mean: volts(readVoltage), sd: 0 },
    railTemperature: { mean: kelvins(railTemperature + errors.railTemperatureK), sd: 0 },
    meterTemperature: { mean: kelvins(meterTemperature + errors.meterTemperatureK), sd: 0 },
  };
}

/** A window without pulses: the meter stood `place` edges (0 to 1) past one when it began. */
export function syntheticZero(point: Point, equipment: Equipment, leak: number, duration: number, place: number): WindowSummary {
  const rate = leak * kFactorAt(equipment.meter, leak * kFactorAt(equipment.meter, 0));
  const edges = Math.floor(place + rate * duration);
  const edgeAt = (n: number): number => (edges === 0 ? 0 : (n - place) / rate);
  return {
    from: seconds(0),
    to: seconds(duration),
    frames: 20 * duration,
    missingFrames: 0,
    edges,
    firstEdgeAt: seconds(edgeAt(1)),
    lastEdgeAt: seconds(edgeAt(edges)),
    partRates: [],
    pulses: 0,
    pressure: { mean: point.pressure, sd: 0 },
    supply: { mean: point.voltage, sd: 0 },
    railTemperature: { mean: celsius(20), sd: 0 },
    meterTemperature: { mean: celsius(20.25), sd: 0 },
  };
}

/** Standard normal numbers from a seed (integer mixing and the polar method). */
export function normalFrom(seed: number): () => number {
  let state = seed >>> 0;
  const uniform = (): number => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  return () => {
    for (;;) {
      const u = 2 * uniform() - 1;
      const v = 2 * uniform() - 1;
      const s = u * u + v * v;
      if (s > 0 && s < 1) return u * Math.sqrt((-2 * Math.log(s)) / s);
    }
  };
}

/** 40 Hz: a hundred edges in 2.5 s, at readings beside those of a plan. */
export const countedWindow: WindowSummary = {
  from: seconds(0),
  to: seconds(3),
  frames: 60,
  missingFrames: 0,
  edges: 100,
  firstEdgeAt: seconds(0.1),
  lastEdgeAt: seconds(2.6),
  partRates: [40.1, 39.9, 40.05, 39.95],
  pulses: 150,
  pressure: { mean: kilopascals(396), sd: 0 },
  supply: { mean: volts(14), sd: 0 },
  railTemperature: { mean: celsius(25), sd: 0 },
  meterTemperature: { mean: celsius(30), sd: 0 },
};
