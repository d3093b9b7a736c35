/** Which calibration of the flow meter holds on a day, and the equipment record of a run that refers to it. */
import type { Equipment } from '../equipment/equipment.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { compareWith, evaluateMeterCheck, type Comparison, type EvaluatedCheck } from './evaluate.ts';
import type { MeterCheck } from './meter-check.ts';

/** A check with its number in the archive. */
export interface NumberedCheck {
  readonly no: number;
  readonly check: MeterCheck;
}

/** A check in the meter's history, held against the K-factor that was in use when it was made. */
export interface HistoryEntry extends NumberedCheck {
  readonly outcome: { readonly evaluated: EvaluatedCheck; readonly comparison: Comparison } | { readonly evaluated: null; readonly text: string };
  /** What it did to the calibration in force. */
  readonly effect: 'came-into-force' | 'confirmed' | 'suspended' | 'none';
}

type InForce =
  | {
      readonly kind: 'in-force';
      readonly no: number;
      readonly check: MeterCheck;
      /** The given record with the checked K-factor, its uncertainty and its certificate. */
      readonly equipment: Equipment;
    }
  | { readonly kind: 'none'; readonly reason: 'never-checked' | 'ended' | 'suspended'; readonly text: string };

export interface MeterHistory {
  /** By date of the check, then by number. */
  readonly entries: readonly HistoryEntry[];
  readonly inForce: InForce;
}

/**
 * Walks the checks of the record's meter up to `date` (ISO 8601, included) and says which is in force then. MC-10 to MC-13.
 * Checks of other meters are passed over.
 */
export function meterHistory(checks: readonly NumberedCheck[], record: Equipment, date: string): MeterHistory {
  const own = checks
    .filter(({ check }) => check.meterSerialNumber === record.meter.serialNumber && check.certificate.date <= date)
    .sort((a, b) => (a.check.certificate.date < b.check.certificate.date ? -1 : a.check.certificate.date > b.check.certificate.date ? 1 : a.no - b.no));
  let current: Extract<InForce, { kind: 'in-force' }> | null = null;
  let suspendedBy: NumberedCheck | null = null;
  const entries: HistoryEntry[] = [];
  for (const { no, check } of own) {
    const evaluated = evaluateMeterCheck(check);
    if (evaluated.kind === 'not-evaluated') {
      entries.push({ no, check, outcome: { evaluated: null, text: evaluated.text }, effect: 'none' });
      continue;
    }
    const comparison = compareWith((current?.equipment ?? record).meter, check, evaluated);
    const effect = effectOf(check, comparison, current !== null);
    if (effect === 'came-into-force') {
      current = { kind: 'in-force', no, check, equipment: equipmentWith(record, check, evaluated) };
      suspendedBy = null;
    } else if (effect === 'suspended') suspendedBy = { no, check };
    entries.push({ no, check, outcome: { evaluated, comparison }, effect });
  }
  return { entries, inForce: standing(current, suspendedBy, record, date) };
}

/** MC-11, MC-12. */
function effectOf(check: MeterCheck, { verdict }: Comparison, somethingInForce: boolean): HistoryEntry['effect'] {
  switch (verdict) {
    case 'not-repeatable':
      return 'none';
    case 'outside':
      return check.purpose === 'calibration' && check.driftAccepted !== undefined ? 'came-into-force' : 'suspended';
    case 'within':
    case 'undecided':
      if (check.purpose === 'calibration') return 'came-into-force';
      return verdict === 'within' && somethingInForce ? 'confirmed' : 'none';
  }
}

function standing(current: Extract<InForce, { kind: 'in-force' }> | null, suspendedBy: NumberedCheck | null, record: Equipment, date: string): InForce {
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
 * are not taken for many), with half the range of the ratios (rectangular) for what lies between and beyond them.
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
  return {
    ...record,
    meter: {
      ...record.meter,
      kFactor: frequencies.map((hertz) => ({ ...known.get(hertz), hertz, edgesPerLitre: (kFactorAt(record.meter, hertz) / 1e3) * ratioAt(hertz) })),
      relativeUncertaintyPercent: 100 * Math.hypot(largest, halfRange / Math.sqrt(3)),
      certificate: check.certificate,
    },
  };
}
