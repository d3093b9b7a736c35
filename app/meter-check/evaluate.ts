/** From balance readings and counted edges to K-factors with their uncertainty, and what they say of the meter. */
import { densityOfRun } from '../fluid/density-of-run.ts';
import { celsius, kilopascals, pascals } from '../quantities/quantity.ts';
import { combined, result, term, type BudgetTerm, type Result } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import { pooled, sampleOf } from '../statistics/sample.ts';
import { buoyancyFactor, saturatedExcess } from './buoyancy.ts';
import type { MeterCheck, MeterCheckRun } from './meter-check.ts';

interface WeighedRun {
  /** Liquid that went through the meter: balance difference, corrected for buoyancy, plus what evaporated, g. */
  readonly massG: number;
  readonly evaporatedG: number;
  readonly buoyancyFactor: number;
  readonly hertz: number;
  /** 1/m3 */
  readonly kFactor: number;
  /** Relative to `kFactor`. */
  readonly budget: readonly BudgetTerm[];
}

export interface CheckedRate {
  readonly hertz: number;
  readonly runs: readonly WeighedRun[];
  /** Mean of the runs, 1/m3. Its shared part is the same for all rates. */
  readonly kFactor: Result;
  /** What one standard uncertainty of each shared input does to it, relative, by the key of its source. */
  readonly shared: ReadonlyMap<string, number>;
}

export interface EvaluatedCheck {
  readonly kind: 'evaluated';
  /** In the order of the document. */
  readonly rates: readonly CheckedRate[];
  /** Relative standard deviation of runs of one rate, pooled; null: no rate has two runs. */
  readonly repeatability: { readonly sd: number; readonly dof: number } | null;
  readonly cautions: readonly string[];
}

export interface NotEvaluated {
  readonly kind: 'not-evaluated';
  readonly reason: 'outside-fluid-range' | 'not-a-number';
  readonly text: string;
}

/** Either end of the count may cut an edge's length anywhere: two rectangular distributions of one edge. MC-5. */
const uOfCount = 1 / Math.sqrt(6);

/** MC-2 to MC-6. */
export function evaluateMeterCheck(check: MeterCheck): EvaluatedCheck | NotEvaluated {
  const weighed: (readonly WeighedRun[])[] = [];
  for (const { runs } of check.flowRates) {
    const here: WeighedRun[] = [];
    for (const run of runs) {
      const one = weigh(check, run);
      if ('kind' in one) return one;
      here.push(one);
    }
    weighed.push(here);
  }
  const repeatability = pooled(
    weighed.map((runs) => {
      const mean = meanOf(runs, (r) => r.kFactor);
      return sampleOf(runs.map((r) => r.kFactor / mean));
    }),
  );
  return { kind: 'evaluated', rates: weighed.map((runs) => rateOf(runs, repeatability)), repeatability, cautions: cautionsOf(check, weighed.flat()) };
}

function weigh(check: MeterCheck, run: MeterCheckRun): WeighedRun | NotEvaluated {
  const { air, balance, evaporation, vessel } = check;
  const room = kilopascals(check.ambientKpa);
  const temperature = celsius(run.meterTemperatureC);
  const inMeter = densityOfRun(check, temperature, pascals(room + run.meterPressureKpa * 1e3));
  const inVessel = densityOfRun(check, temperature, room);
  if (inMeter === null || inVessel === null) {
    return { kind: 'not-evaluated', reason: 'outside-fluid-range', text: 'Temperature or pressure of a run lies outside the range in which the density of the fluid is known. Correct the readings.' };
  }
  const difference = run.endG - run.startG;
  const gas = air.densityKgPerM3 + (vessel?.vapourSaturation ?? 0) * saturatedExcess;
  const factor = buoyancyFactor(inVessel.density, air.densityKgPerM3, air.weightsKgPerM3, gas);
  const minutes = run.durationS / 60;
  const evaporatedG = evaporation.gramsPerMinute * minutes;
  const massG = difference * factor + evaporatedG;
  const kFactor = (run.edges * inMeter.density) / (massG * 1e-3);
  const hertz = run.edges / run.durationS;
  if (![kFactor, hertz].every((value) => Number.isFinite(value) && value > 0)) {
    return { kind: 'not-evaluated', reason: 'not-a-number', text: 'A run gives no K-factor that is a positive number. Correct its edges, time and balance readings.' };
  }
  const weighedShare = (difference * factor) / massG;
  // How the buoyancy factor changes with the densities of air and liquid, relative.
  const byGas = 1 / (inVessel.density - gas);
  const byAir = byGas - 1 / (air.weightsKgPerM3 - air.densityKgPerM3);
  const byLiquid = gas * byGas;
  return {
    massG,
    evaporatedG,
    buoyancyFactor: factor,
    hertz,
    kFactor,
    budget: [
      term(errorSource('edge-count'), run.edges, 'edges', 1 / run.edges, uOfCount, 'random'),
      term(errorSource('balance'), difference, 'g', -factor / massG, balance.uncertaintyG, 'shared'),
      term(errorSource('evaporation'), evaporatedG, 'g', -1 / massG, evaporation.uncertaintyGramsPerMinute * minutes, 'shared'),
      term(errorSource('air-density'), air.densityKgPerM3, 'kg/m3', -byAir * weighedShare, air.uncertaintyKgPerM3, 'shared'),
      term(errorSource('fluid-density'), inMeter.density, 'kg/m3', (1 + byLiquid * weighedShare) / inMeter.density, (inMeter.density * check.fluid.densityUncertaintyPercent) / 100, 'shared'),
      term(errorSource('meter-temperature'), run.meterTemperatureC, 'degC', -inMeter.thermalExpansion, check.temperatureUncertaintyC, 'shared'),
      term(errorSource('meter-pressure'), run.meterPressureKpa, 'kPa', inMeter.compressibility * 1e3, check.pressureUncertaintyKpa, 'shared'),
      term(errorSource('vessel-gas'), vessel?.vapourSaturation ?? 0, 'of saturation', -1 * byGas * saturatedExcess * weighedShare, vessel?.uncertainty ?? 1 / Math.sqrt(3), 'shared'),
      ...(check.startStopS === undefined ? [] : [term(errorSource('start-stop'), run.durationS, 's', 1 / run.durationS, check.startStopS, 'random')]),
      ...(check.storedVolumeMl === undefined ? [] : [term(errorSource('stored-volume'), 0, 'mL', (-1e-3 * inMeter.density) / massG, check.storedVolumeMl, 'random')]),
      ...(balance.driftG === undefined ? [] : [term(errorSource('balance-drift'), 0, 'g', -factor / massG, balance.driftG, 'random')]),
    ],
  };
}

/** MC-6: scatter is pooled over the rates, and never below what the count of edges and the other random parts of the budget leave open. */
function rateOf(runs: readonly WeighedRun[], repeatability: EvaluatedCheck['repeatability']): CheckedRate {
  const n = runs.length;
  const kFactor = meanOf(runs, (r) => r.kFactor);
  let stated = 0;
  const shared = new Map<string, number>();
  for (const run of runs) {
    stated += combined(run.budget, 'random') ** 2;
    for (const t of run.budget) {
      if (t.kind === 'shared') shared.set(t.source.key, (shared.get(t.source.key) ?? 0) + (t.sensitivity * t.standardUncertainty) / n);
    }
  }
  const ofBudget = Math.sqrt(stated) / n;
  const ofScatter = repeatability === null ? 0 : repeatability.sd / Math.sqrt(n);
  const random = ofScatter >= ofBudget ? { u: ofScatter, dof: repeatability?.dof ?? Number.POSITIVE_INFINITY } : { u: ofBudget, dof: Number.POSITIVE_INFINITY };
  return {
    hertz: meanOf(runs, (r) => r.hertz),
    runs,
    kFactor: result(kFactor, kFactor * random.u, random.dof, kFactor * Math.hypot(...shared.values())),
    shared,
  };
}

/** Evaporated share of a run, above which the correction is no small one any more. */
const muchEvaporated = 1e-3;

/** MC-4. */
function cautionsOf({ fluid, evaporation, vessel, startStopS, storedVolumeMl, balance }: MeterCheck, runs: readonly WeighedRun[]): readonly string[] {
  const share = Math.max(...runs.map((r) => r.evaporatedG / r.massG));
  const cautions = [
    `${fluid.name} evaporates (vapour pressure 4.7 kPa at 20 degC). Weighing from an open vessel is covered by ISO 4185 only where evaporation does not affect the result: keep the vessel covered and the time short, and repeat the blank test when vessel, filling or room changes.`,
  ];
  if (share > muchEvaporated) {
    cautions.push(`Evaporation corrects a run by up to ${(100 * share).toFixed(2)} %. That is more than a check should rest on; cover the vessel or collect for less time.`);
  } else if (evaporation.gramsPerMinute === 0 && evaporation.uncertaintyGramsPerMinute === 0) {
    cautions.push('The check states no evaporation and no uncertainty of it. Make a blank test: zero is a claim that needs one.');
  }
  const silent = [
    ...(startStopS === undefined ? ['how far apart count and vessel begin and end (startStopS)'] : []),
    ...(storedVolumeMl === undefined ? ['what hoses and valve may hold more or less (storedVolumeMl)'] : []),
    ...(balance.driftG === undefined ? ['how far the balance wanders between its readings (balance.driftG)'] : []),
    ...(vessel === undefined ? ['what gas the liquid pushes out of the vessel (vessel; saturated it makes the mass 0.02 % greater than air would, and the budget allows for anything between)'] : []),
  ];
  if (silent.length > 0) cautions.push(`The check does not say ${silent.join('; ')}.`);
  return cautions;
}

function meanOf(runs: readonly WeighedRun[], read: (run: WeighedRun) => number): number {
  return sampleOf(runs.map(read)).mean;
}
