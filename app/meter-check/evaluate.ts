/** From balance readings and counted edges to K-factors with their uncertainty, and what they say of the meter. */
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import { celsius, kilopascals, pascals } from '../quantities/quantity.ts';
import { combined, result, term, type BudgetTerm, type Result } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { pooled, sampleOf } from '../statistics/sample.ts';
import { buoyancyFactor } from './buoyancy.ts';
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

interface CheckedRate {
  readonly hertz: number;
  readonly runs: readonly WeighedRun[];
  /** Mean of the runs, 1/m3. Its shared part is the same for all rates. */
  readonly kFactor: Result;
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
  const { air, balance, evaporation } = check;
  const room = kilopascals(check.ambientKpa);
  const temperature = celsius(run.meterTemperatureC);
  const inMeter = densityOfRun(check, temperature, pascals(room + run.meterPressureKpa * 1e3));
  const inVessel = densityOfRun(check, temperature, room);
  if (inMeter === null || inVessel === null) {
    return { kind: 'not-evaluated', reason: 'outside-fluid-range', text: 'Temperature or pressure of a run lies outside the range in which the density of the fluid is known. Correct the readings.' };
  }
  const difference = run.endG - run.startG;
  const factor = buoyancyFactor(inVessel.density, air.densityKgPerM3, air.weightsKgPerM3);
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
  const byAir = 1 / (inVessel.density - air.densityKgPerM3) - 1 / (air.weightsKgPerM3 - air.densityKgPerM3);
  const byLiquid = air.densityKgPerM3 / (inVessel.density - air.densityKgPerM3);
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
    ],
  };
}

/** MC-6: scatter is pooled over the rates, and never below what the count of edges leaves open. */
function rateOf(runs: readonly WeighedRun[], repeatability: EvaluatedCheck['repeatability']): CheckedRate {
  const n = runs.length;
  const kFactor = meanOf(runs, (r) => r.kFactor);
  let count = 0;
  const shared = new Map<string, number>();
  for (const run of runs) {
    count += combined(run.budget, 'random') ** 2;
    for (const t of run.budget) {
      if (t.kind === 'shared') shared.set(t.source.key, (shared.get(t.source.key) ?? 0) + (t.sensitivity * t.standardUncertainty) / n);
    }
  }
  const ofCount = Math.sqrt(count) / n;
  const ofScatter = repeatability === null ? 0 : repeatability.sd / Math.sqrt(n);
  const random = ofScatter >= ofCount ? { u: ofScatter, dof: repeatability?.dof ?? Number.POSITIVE_INFINITY } : { u: ofCount, dof: Number.POSITIVE_INFINITY };
  return {
    hertz: meanOf(runs, (r) => r.hertz),
    runs,
    kFactor: result(kFactor, kFactor * random.u, random.dof, kFactor * Math.hypot(...shared.values())),
  };
}

/** Evaporated share of a run, above which the correction is no small one any more. */
const muchEvaporated = 1e-3;

/** MC-4. */
function cautionsOf({ fluid, evaporation }: MeterCheck, runs: readonly WeighedRun[]): readonly string[] {
  const share = Math.max(...runs.map((r) => r.evaporatedG / r.massG));
  const cautions = [
    `${fluid.name} evaporates (vapour pressure 4.7 kPa at 20 degC). Weighing from an open vessel is covered by ISO 4185 only where evaporation does not affect the result: keep the vessel covered and the time short, and repeat the blank test when vessel, filling or room changes.`,
  ];
  if (share > muchEvaporated) {
    cautions.push(`Evaporation corrects a run by up to ${(100 * share).toFixed(2)} %. That is more than a check should rest on; cover the vessel or collect for less time.`);
  } else if (evaporation.gramsPerMinute === 0 && evaporation.uncertaintyGramsPerMinute === 0) {
    cautions.push('The check states no evaporation and no uncertainty of it. Make a blank test: zero is a claim that needs one.');
  }
  return cautions;
}

interface RateDeviation {
  readonly hertz: number;
  /** Checked K-factor against that of the meter record, percent. */
  readonly percent: number;
  /** Expanded uncertainty of the check, percent (95 %). */
  readonly expandedPercent: number;
}

/** within, outside: beyond doubt at 95 %. undecided: the limit lies inside the uncertainty. */
type Verdict = 'within' | 'outside' | 'undecided' | 'not-repeatable';

export interface Comparison {
  readonly verdict: Verdict;
  readonly deviations: readonly RateDeviation[];
  readonly text: string;
}

/** Holds a check against a K-factor curve. MC-7, MC-8. */
export function compareWith(meter: Equipment['meter'], check: MeterCheck, evaluated: EvaluatedCheck): Comparison {
  const deviations = evaluated.rates.map(({ hertz, kFactor }): RateDeviation => {
    const used = kFactorAt(meter, hertz);
    return { hertz, percent: 100 * (kFactor.value / used - 1), expandedPercent: (100 * kFactor.expanded) / used };
  });
  const { driftPercent, repeatabilityPercent } = check.limits;
  const { repeatability } = evaluated;
  if (repeatability === null) {
    return { verdict: 'not-repeatable', deviations, text: 'No flow rate was run twice, so nothing says how well the check repeats. Make at least three runs at each rate.' };
  }
  const scatter = 100 * repeatability.sd;
  if (scatter > repeatabilityPercent) {
    return { verdict: 'not-repeatable', deviations, text: `Runs of one rate scatter by ${scatter.toFixed(3)} %, more than the ${repeatabilityPercent} % allowed. Find the cause (air in the line, a leak, too short a run) and check again.` };
  }
  const worst = deviations.reduce((a, b) => (Math.abs(b.percent) > Math.abs(a.percent) ? b : a));
  const said = `The K-factor differs by up to ${signed(worst.percent)} % (at ${worst.hertz.toFixed(2)} Hz, ± ${worst.expandedPercent.toFixed(3)} %) from the one in use (certificate ${meter.certificate.number})`;
  if (deviations.some((d) => Math.abs(d.percent) - d.expandedPercent > driftPercent)) {
    return { verdict: 'outside', deviations, text: `${said}: the meter has drifted by more than ${driftPercent} %. Do not measure with the old K-factor; find the cause.` };
  }
  if (deviations.every((d) => Math.abs(d.percent) + d.expandedPercent <= driftPercent)) {
    return { verdict: 'within', deviations, text: `${said}: within the ${driftPercent} % allowed.` };
  }
  return { verdict: 'undecided', deviations, text: `${said}: the check cannot tell whether that is within the ${driftPercent} % allowed. Collect more for each run, or make more runs.` };
}

const signed = (percent: number): string => `${percent < 0 ? '-' : '+'}${Math.abs(percent).toFixed(3)}`;

function meanOf(runs: readonly WeighedRun[], read: (run: WeighedRun) => number): number {
  return sampleOf(runs.map(read)).mean;
}
