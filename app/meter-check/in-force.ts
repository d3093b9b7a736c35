/** Which calibration of the flow meter holds on a day, and the equipment record of a run that refers to it. */
import type { Equipment } from '../equipment/equipment.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { compareWith, type Comparison } from './compare.ts';
import { evaluateMeterCheck, type EvaluatedCheck } from './evaluate.ts';
import type { CheckEffect, MeterCheck } from './meter-check.ts';

/** A check with its number in the archive. */
export interface NumberedCheck {
  readonly no: number;
  readonly check: MeterCheck;
}

/** A check in the meter's history, held against the K-factor that was in use when it was made. */
export interface HistoryEntry extends NumberedCheck {
  readonly outcome: { readonly evaluated: EvaluatedCheck; readonly comparison: Comparison } | { readonly evaluated: null; readonly text: string };
  /** What it did to the calibration in force. */
  readonly effect: CheckEffect;
  /** The same in a sentence, with the reason where it did nothing. */
  readonly effectText: string;
  /** Older than the certificate of the record, which stands in its place (MC-18). */
  readonly superseded: boolean;
}

type InForce =
  | {
      readonly kind: 'in-force';
      readonly no: number;
      readonly check: MeterCheck;
      /** The given record with the checked K-factor, its uncertainty and its certificate. */
      readonly equipment: Equipment;
      readonly evaluated: EvaluatedCheck;
    }
  | { readonly kind: 'none'; readonly reason: 'never-checked' | 'ended' | 'suspended'; readonly text: string };

type Standing = Extract<InForce, { kind: 'in-force' }>;

export interface MeterHistory {
  /** By date of the check, then by number. */
  readonly entries: readonly HistoryEntry[];
  readonly inForce: InForce;
  /** Day of the last check that came into force or confirmed; null: none did. */
  readonly lastGood: string | null;
  /** The record that the checks are held against: with the certificate of the meter, and no check's. */
  readonly record: Equipment;
}

/** Fewest rates that a curve may rest on (common practice, no source): two ends and one between. */
const fewestRates = 3;

/**
 * Walks the checks of the record's meter up to `date` (ISO 8601, included) and says which is in force then. MC-10 to MC-13, MC-18.
 * Checks of other meters are passed over. Where the record itself was made by a kept check, the one that this check was held against stands in its place.
 */
export function meterHistory(checks: readonly NumberedCheck[], given: Equipment, date: string): MeterHistory {
  const own = checks
    .filter(({ check }) => check.meterSerialNumber === given.meter.serialNumber && check.certificate.date <= date)
    .sort((a, b) => (a.check.certificate.date < b.check.certificate.date ? -1 : a.check.certificate.date > b.check.certificate.date ? 1 : a.no - b.no));
  const from = own.find(({ check }) => check.certificate.number === given.meter.certificate.number);
  const record: Equipment = from?.check.judged === undefined ? given : { ...given, meter: from.check.judged.against };
  let current: Standing | null = null;
  let suspendedBy: NumberedCheck | null = null;
  let lastGood: string | null = null;
  const entries = own.map(({ no, check }): HistoryEntry => {
    const evaluated = evaluateMeterCheck(check);
    const superseded = check.certificate.date < record.meter.certificate.date;
    if (evaluated.kind === 'not-evaluated') return { no, check, outcome: { evaluated: null, text: evaluated.text }, effect: 'none', effectText: 'It changes nothing.', superseded };
    const holding: Standing | null = current !== null && check.certificate.date <= current.check.certificate.validUntil ? current : null;
    const against = check.judged?.against ?? record.meter;
    const comparison = compareWith({ meter: (current?.equipment ?? { ...record, meter: against }).meter, by: current === null ? null : { check: current.check, evaluated: current.evaluated } }, against, check, evaluated);
    const present = effectOf(check, comparison, { holding: holding !== null, suspended: suspendedBy !== null });
    // What was said on that day stands, whatever certificate or rule came later.
    const effect = check.judged?.effect ?? present.effect;
    const stated = check.judged === undefined ? comparison : { ...comparison, verdict: check.judged.verdict, text: check.judged.text };
    const entry = { no, check, outcome: { evaluated, comparison: stated }, effect, effectText: effect === present.effect ? present.text : plainly[effect], superseded };
    if (superseded) return { ...entry, effectText: `${entry.effectText} Certificate ${record.meter.certificate.number} of ${record.meter.certificate.date} stands in its place.` };
    if (effect === 'came-into-force') {
      current = { kind: 'in-force', no, check, equipment: equipmentWith(record, check, evaluated), evaluated };
      suspendedBy = null;
    } else if (effect === 'suspended') suspendedBy = { no, check };
    if (effect === 'came-into-force' || effect === 'confirmed') lastGood = check.certificate.date;
    return entry;
  });
  return { entries, inForce: standing(current, suspendedBy, record, date), lastGood, record };
}

const plainly: Readonly<Record<CheckEffect, string>> = {
  'came-into-force': 'It came into force.',
  confirmed: 'It confirms the calibration in force.',
  suspended: 'It suspends the K-factor in use.',
  none: 'It changes nothing.',
};

/** MC-11, MC-12. */
function effectOf(check: MeterCheck, { verdict, deviations, en }: Comparison, { holding, suspended }: { readonly holding: boolean; readonly suspended: boolean }): { readonly effect: CheckEffect; readonly text: string } {
  const to = (effect: CheckEffect, text = plainly[effect]): { readonly effect: CheckEffect; readonly text: string } => ({ effect, text });
  const nothing = (why: string) => to('none', `It changes nothing: ${why}`);
  if (verdict === 'not-repeatable' || verdict === 'not-one-rate') return to('none');
  const accepted = check.purpose === 'calibration' && check.driftAccepted !== undefined;
  if (verdict === 'outside' && !accepted) return to('suspended', holding ? 'It suspends the calibration in force.' : 'Until a new calibration no K-factor of this meter is in force.');
  if (check.purpose === 'verification') {
    if (verdict === 'undecided') return to('none');
    if (suspended) return nothing('only a new calibration ends the suspension.');
    return holding ? to('confirmed') : nothing('there is no calibration by catch and weigh in force that it could confirm.');
  }
  if (deviations.length < fewestRates) return nothing(`a calibration needs at least ${fewestRates} flow rates, from the lowest to the highest that plans use, and has ${deviations.length}.`);
  const limit = check.limits.uncertaintyPercent ?? check.limits.driftPercent;
  const largest = Math.max(...deviations.map((d) => d.expandedOfCheckPercent));
  if (largest > limit) return nothing(`its U95 of up to ${largest.toFixed(3)} % is more than the ${limit} % up to which a K-factor may come into force.`);
  if (verdict === 'undecided' && !accepted) {
    if (holding || suspended) return nothing('what cannot tell whether the meter has drifted takes no place and ends no suspension. A person may accept it (driftAccepted).');
    if (en > 1) return nothing('check and certificate do not agree within their uncertainties. A person may accept it (driftAccepted).');
    return to('came-into-force', 'It came into force all the same: no check is in force in its place, and it agrees with the certificate.');
  }
  return to('came-into-force');
}

function standing(current: Standing | null, suspendedBy: NumberedCheck | null, record: Equipment, date: string): InForce {
  const meter = `meter ${record.meter.serialNumber}`;
  if (suspendedBy !== null) {
    return {
      kind: 'none',
      reason: 'suspended',
      text: `No calibration of ${meter} is in force on ${date}: check ${suspendedBy.no} (${suspendedBy.check.certificate.number}, ${suspendedBy.check.certificate.date}) found that the meter has drifted. Find the cause and calibrate again; a person may accept the drift in a new calibration.`,
    };
  }
  if (current === null) {
    return { kind: 'none', reason: 'never-checked', text: `No calibration of ${meter} by catch and weigh holds on ${date}. The certificate of the equipment record (${record.meter.certificate.number}) is what there is.` };
  }
  const { certificate } = current.check;
  if (date > certificate.validUntil) {
    return { kind: 'none', reason: 'ended', text: `The last calibration of ${meter} (${certificate.number}) ended on ${certificate.validUntil}. Calibrate the meter again before it is relied on.` };
  }
  return current;
}

/**
 * The record with the checked K-factor (MC-9): its curve times the checked ratio, which is joined linearly between the
 * checked frequencies and held outside. The standard uncertainty is the largest of the rates (U95 / 1.96, so that few runs
 * are not taken for many), with half the range of the ratios (rectangular) for what lies between. Points of the curve outside the
 * checked rates have an uncertainty of their own: as if the ratio went on, over the logarithm of frequency, as steeply as it does anywhere between the rates.
 */
function equipmentWith(record: Equipment, check: MeterCheck, evaluated: EvaluatedCheck): Equipment {
  const rates = [...evaluated.rates].sort((a, b) => a.hertz - b.hertz);
  const ratios = rates.map(({ hertz, kFactor }) => ({ hertz, edgesPerLitre: kFactor.value / kFactorAt(record.meter, hertz) }));
  const ratioAt = (hertz: number): number => kFactorAt({ ...record.meter, kFactor: ratios }, hertz) / 1e3;
  const known = new Map(record.meter.kFactor.map((point) => [point.hertz, point]));
  const frequencies = [...new Set([...known.keys(), ...rates.map((r) => r.hertz)])].sort((a, b) => a - b);
  const values = ratios.map((r) => r.edgesPerLitre);
  const halfRange = (Math.max(...values) - Math.min(...values)) / 2;
  const largest = Math.max(...rates.map(({ kFactor }) => kFactor.expanded / kFactor.value)) / coverageFactor(Number.POSITIVE_INFINITY);
  const [lowest, highest] = [rates[0]?.hertz ?? 0, rates.at(-1)?.hertz ?? 0];
  const steepest = steepestOf(rates, ratios.map((r) => r.edgesPerLitre));
  const beyond = (hertz: number): number => (hertz < lowest ? Math.log(lowest / Math.max(hertz, lowest / 100)) : hertz > highest ? Math.log(hertz / highest) : 0);
  const pointAt = (hertz: number): Equipment['meter']['kFactor'][number] => {
    const before = known.get(hertz);
    const point = { ...before, hertz, edgesPerLitre: (kFactorAt(record.meter, hertz) / 1e3) * ratioAt(hertz) };
    return beyond(hertz) === 0 ? point : { ...point, ownUncertaintyPercent: Math.hypot(before?.ownUncertaintyPercent ?? 0, 100 * steepest * beyond(hertz)) };
  };
  return {
    ...record,
    meter: {
      ...record.meter,
      kFactor: frequencies.map(pointAt),
      relativeUncertaintyPercent: 100 * Math.hypot(largest, halfRange / Math.sqrt(3)),
      certificate: check.certificate,
    },
  };
}

/** Change of the ratio over ln(frequency): the steepest between neighbouring rates, or what their scatter alone could hide of it if that is more. */
function steepestOf(rates: EvaluatedCheck['rates'], ratios: readonly number[]): number {
  let steepest = 0;
  rates.forEach(({ hertz, kFactor }, i) => {
    const [before, ratio] = [rates[i - 1], ratios[i - 1]];
    if (before === undefined || ratio === undefined || hertz === before.hertz) return;
    const hidden = Math.hypot(kFactor.uRandom / kFactor.value, before.kFactor.uRandom / before.kFactor.value);
    steepest = Math.max(steepest, Math.max(Math.abs((ratios[i] ?? ratio) - ratio), hidden) / Math.log(hertz / before.hertz));
  });
  return steepest;
}
