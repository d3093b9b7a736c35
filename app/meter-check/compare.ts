/** What a check says of the meter: held against the K-factor in use and against the certificate. MC-7, MC-8, MC-16, MC-17. */
import type { Equipment } from '../equipment/equipment.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { searchOutliers } from '../statistics/outlier-search.ts';
import { sampleOf } from '../statistics/sample.ts';
import { effectiveDegrees, result } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { CheckedRate, EvaluatedCheck } from './evaluate.ts';
import type { MeterCheck, CheckVerdict } from './meter-check.ts';

interface RateDeviation {
  readonly hertz: number;
  /** Checked K-factor against that in use, percent. */
  readonly percent: number;
  /** Expanded uncertainty (95 %) of that difference, percent: the check's alone against a certificate, without what both share against a check. */
  readonly expandedPercent: number;
  /** Against the certificate of the meter, percent, with the check's expanded uncertainty. */
  readonly fromCertificatePercent: number;
  readonly expandedOfCheckPercent: number;
}

export interface Comparison {
  readonly verdict: CheckVerdict;
  readonly deviations: readonly RateDeviation[];
  /** Largest |difference from the certificate| over the expanded uncertainties of check and certificate together (ISO 13528, E_n); 1 or less: they agree. */
  readonly en: number;
  readonly text: string;
}

/** A check in force: what it was made with, so that errors which two checks share are not taken for a difference. */
export interface InUse {
  readonly meter: Equipment['meter'];
  readonly by: { readonly check: MeterCheck; readonly evaluated: EvaluatedCheck } | null;
}

/** Runs of one rate may differ by so much of their mean in frequency and still be of one rate (common practice, no source). */
const oneRate = 0.1;
/** ISO 5725-2 calls "outlier" what 1 % does not explain (from memory of its 7.3). */
const outlierLevel = 0.01;

/** `certificate`: the meter as its certificate states it. */
export function compareWith({ meter, by }: InUse, certificate: Equipment['meter'], check: MeterCheck, evaluated: EvaluatedCheck): Comparison {
  const deviations = evaluated.rates.map((rate): RateDeviation => {
    const { hertz, kFactor } = rate;
    const certified = kFactorAt(certificate, hertz);
    return {
      hertz,
      percent: 100 * (kFactor.value / kFactorAt(meter, hertz) - 1),
      expandedPercent: 100 * expandedDifference(rate, check, by),
      fromCertificatePercent: 100 * (kFactor.value / certified - 1),
      expandedOfCheckPercent: (100 * kFactor.expanded) / certified,
    };
  });
  const ofCertificate = 2 * certificate.relativeUncertaintyPercent;
  const en = Math.max(...deviations.map((d) => Math.abs(d.fromCertificatePercent) / Math.hypot(d.expandedOfCheckPercent, ofCertificate)));
  const said = (verdict: CheckVerdict, text: string): Comparison => ({ verdict, deviations, en, text });
  const nothing = saysNothing(check, evaluated);
  if (nothing !== null) return said(nothing.verdict, nothing.text);

  const { driftPercent, creepPercent } = check.limits;
  const most = (read: (d: RateDeviation) => readonly [difference: number, expanded: number]) =>
    deviations.reduce((a, b) => (Math.abs(read(b)[0]) + read(b)[1] > Math.abs(read(a)[0]) + read(a)[1] ? b : a));
  const worst = most((d) => [d.percent, d.expandedPercent]);
  const farthest = most((d) => [d.fromCertificatePercent, d.expandedOfCheckPercent]);
  const inUse = `the K-factor differs from the one in use (certificate ${meter.certificate.number}) by ${signed(worst.percent)} ± ${worst.expandedPercent.toFixed(3)} % at ${worst.hertz.toFixed(2)} Hz, where that reaches farthest`;
  const since =
    by === null
      ? `; with the uncertainty of that certificate E_n is ${en.toFixed(2)}, ${en <= 1 ? 'so check and certificate agree' : 'so check and certificate do not agree'}`
      : `; from certificate ${certificate.certificate.number} it is ${signed(farthest.fromCertificatePercent)} ± ${farthest.expandedOfCheckPercent.toFixed(3)} % at ${farthest.hertz.toFixed(2)} Hz`;
  const found = `By this check ${inUse}${since}`;
  if (deviations.some((d) => Math.abs(d.percent) - d.expandedPercent > driftPercent)) {
    return said('outside', `${found}. The meter has drifted by more than ${driftPercent} %. Do not measure with the old K-factor; find the cause.`);
  }
  if (deviations.some((d) => Math.abs(d.fromCertificatePercent) - d.expandedOfCheckPercent > creepPercent)) {
    return said('outside', `${found}. Check by check the meter has crept by more than ${creepPercent} % from its certificate (limits.creepPercent). Find the cause.`);
  }
  if (deviations.every((d) => Math.abs(d.percent) + d.expandedPercent <= driftPercent)) return said('within', `${found}. That is within the ${driftPercent} % allowed.`);
  return said('undecided', `${found}. The check cannot tell whether that is within the ${driftPercent} % allowed. Collect more for each run, or make more runs.`);
}

/** MC-7: why a check says nothing of the meter. */
function saysNothing({ limits, flowRates }: MeterCheck, { rates, repeatability }: EvaluatedCheck): { readonly verdict: CheckVerdict; readonly text: string } | null {
  const mixed = rates.find(({ runs, hertz }) => runs.some((r) => Math.abs(r.hertz - hertz) > oneRate * hertz));
  if (mixed !== undefined) {
    const all = mixed.runs.map((r) => r.hertz);
    return { verdict: 'not-one-rate', text: `Runs that are written as one rate go from ${Math.min(...all).toFixed(2)} to ${Math.max(...all).toFixed(2)} Hz. Write them down as rates of their own.` };
  }
  if (repeatability === null) return { verdict: 'not-repeatable', text: 'No flow rate was run twice, so nothing says how well the check repeats. Make at least three runs at each rate.' };
  const scatter = 100 * repeatability.sd;
  if (scatter > limits.repeatabilityPercent) {
    return { verdict: 'not-repeatable', text: `Runs of one rate scatter by ${scatter.toFixed(3)} %, more than the ${limits.repeatabilityPercent} % allowed. Find the cause (air in the line, a leak, too short a run) and check again.` };
  }
  const relative = rates.map(({ runs }) => {
    const { mean } = sampleOf(runs.map((r) => r.kFactor));
    return runs.map((r) => r.kFactor / mean);
  });
  const named = searchOutliers(relative, outlierLevel).named.map(({ group, indices, g }) => `run ${indices.map((i) => i + 1).join(' and run ')} of rate ${group + 1} (${g.toFixed(1)} standard deviations)`);
  if (named.length > 0 && flowRates.length > 0) {
    return { verdict: 'not-repeatable', text: `Not of one piece with the others: ${named.join(', ')}. Find the cause and make the check again; a mean over it says nothing of the meter.` };
  }
  return null;
}

/**
 * MC-16: expanded uncertainty of the ratio of this check to what is in use, relative. Against a certificate the certificate is
 * taken as it is; against a check the errors of the same balance under one certificate and of the density of the same lot are in both and cancel.
 */
function expandedDifference({ kFactor, hertz, shared }: CheckedRate, check: MeterCheck, by: InUse['by']): number {
  if (by === null) return kFactor.expanded / kFactor.value;
  const other = by.evaluated.rates.reduce((a, b) => (Math.abs(Math.log(b.hertz / hertz)) < Math.abs(Math.log(a.hertz / hertz)) ? b : a));
  const same = new Set([...(sameBalance(check, by.check) ? [errorSource('balance').key] : []), ...(sameDensity(check, by.check) ? [errorSource('fluid-density').key] : [])]);
  let squares = 0;
  for (const [key, effect] of shared) {
    const before = other.shared.get(key) ?? 0;
    squares += same.has(key) ? (effect - before) ** 2 : effect ** 2 + before ** 2;
  }
  const random = [kFactor, other.kFactor].map(({ uRandom, value, dofRandom }) => ({ u: uRandom / value, dof: dofRandom }));
  return result(0, Math.hypot(...random.map((r) => r.u)), effectiveDegrees(random), Math.sqrt(squares)).expanded;
}

const sameBalance = (a: MeterCheck, b: MeterCheck): boolean => a.balance.serialNumber === b.balance.serialNumber && a.balance.certificate.number === b.balance.certificate.number;
const sameDensity = (a: MeterCheck, b: MeterCheck): boolean => a.fluid.lot === b.fluid.lot && JSON.stringify(a.fluid.measuredDensity) === JSON.stringify(b.fluid.measuredDensity);

export const signed = (percent: number): string => `${percent < 0 ? '-' : '+'}${Math.abs(percent).toFixed(3)}`;
