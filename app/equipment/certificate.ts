/**
 * What a digital calibration certificate says, as far as this program reads one, and an equipment record with it: K curve or uncertainty, number, date and
 * end of one instrument, without typing. What is not understood is refused with words, and never guessed. TAB-28, TAB-29.
 */
import type { Equipment } from './equipment.ts';
import { parseEquipment } from './parse.ts';

/** One list of numbers of a certificate, in a unit of the SI by `factor`. */
export interface CertifiedQuantity {
  readonly name: string;
  /** As the certificate types it: `basic_nominalValue`, `basic_measuredValue` ... */
  readonly refType: string;
  /** null: a unit that this program does not know; `unit` is what stands there. */
  readonly dimension: CertifiedDimension | null;
  readonly unit: string;
  /** SI (temperatures in degC). */
  readonly values: readonly number[];
  /** Expanded uncertainties and coverage factors, one for each value; null: none are stated. */
  readonly expanded: readonly number[] | null;
  readonly coverageFactors: readonly number[] | null;
}

export type CertifiedDimension = 'frequency' | 'volume flow' | 'per volume' | 'pressure' | 'temperature' | 'voltage' | 'time' | 'mass' | 'mass flow' | 'density' | 'number';

export interface ReadCertificate {
  readonly number: string;
  /** Days, YYYY-MM-DD. */
  readonly performedUntil: string;
  readonly issuedOn: string | null;
  /** Last day that a statement of the certificate names; null: it names none (ISO/IEC 17025:2017, 7.8.4.3: only where that was agreed). */
  readonly validUntil: string | null;
  /** `reference`: how results name it. */
  readonly items: readonly { readonly reference: string; readonly identifications: readonly string[] }[];
  /** Lists of quantities of one length that belong together; what stands alone (conditions) is a list of one value. */
  readonly results: readonly { readonly item: string; readonly name: string; readonly conditions: readonly CertifiedQuantity[]; readonly lists: readonly (readonly CertifiedQuantity[])[] }[];
  readonly notTraceable: boolean;
}

export const instrumentNames = ['meter', 'pressure', 'temperature', 'supply'] as const;
export type InstrumentName = (typeof instrumentNames)[number];

export interface CertificateWish {
  readonly instrument: InstrumentName;
  /** Where the certificate names no end. */
  readonly validUntil?: string;
  /** The instrument was replaced: its serial number is that of the certificate. */
  readonly replaces: boolean;
}

export type WithCertificate =
  /** `said`: what was taken for granted, sentences. */
  | { readonly ok: true; readonly equipment: Equipment; readonly said: readonly string[] }
  /** `wants`: what a person can say so that it is taken. */
  | { readonly ok: false; readonly text: string; readonly wants?: 'end' | 'replacement' };

class NotUnderstood extends Error {
  readonly wants: 'end' | 'replacement' | undefined;

  constructor(text: string, wants?: 'end' | 'replacement') {
    super(text);
    this.wants = wants;
  }
}

const refuse = (text: string, wants?: 'end' | 'replacement'): never => {
  throw new NotUnderstood(text, wants);
};

/** The record with what the certificate says of this instrument; everything else stays. */
export function withCertificate(equipment: Equipment, read: ReadCertificate, wish: CertificateWish): WithCertificate {
  try {
    const said: string[] = [];
    const serialNumber = serialOf(equipment, read, wish);
    const end = read.validUntil ?? wish.validUntil ?? refuse(`Certificate ${read.number} names no day until which it holds, and need not (ISO/IEC 17025:2017, 7.8.4.3). Say it yourself, by your own interval for this instrument.`, 'end');
    if (read.validUntil !== null && wish.validUntil !== undefined && wish.validUntil > read.validUntil) refuse(`Certificate ${read.number} ends on ${read.validUntil}; it cannot hold until ${wish.validUntil}.`);
    if (read.notTraceable) refuse(`Certificate ${read.number} says of itself that it is not traceable. What is measured with it cannot be either.`);
    const certificate = { number: read.number, date: read.issuedOn ?? read.performedUntil, validUntil: wish.validUntil ?? end };
    const changed = { ...equipment, [wish.instrument]: { ...equipment[wish.instrument], serialNumber, certificate, ...statedOf(equipment, read, wish.instrument, said) } };
    const parsed = parseEquipment(changed);
    return parsed.ok ? { ok: true, equipment: parsed.equipment, said } : { ok: false, text: `With certificate ${read.number} the record would not be one. ${parsed.problems.map((p) => `${p.path}: ${p.text}`).join(' ')}` };
  } catch (error) {
    if (error instanceof NotUnderstood) return { ok: false, text: error.message, ...(error.wants === undefined ? {} : { wants: error.wants }) };
    throw error;
  }
}

function serialOf(equipment: Equipment, { number, items }: ReadCertificate, { instrument, replaces }: CertificateWish): string {
  const own = equipment[instrument].serialNumber;
  const known = items.flatMap((item) => item.identifications);
  if (known.includes(own)) return own;
  const [only, ...more] = known;
  if (!replaces) return refuse(`Certificate ${number} is of ${known.join(', ') || 'nothing that it names'}, and the ${instrument} of this record is ${own}. If the instrument was replaced, say so.`, 'replacement');
  return only !== undefined && more.length === 0 ? only : refuse(`Certificate ${number} names more than one thing (${known.join(', ')}), so which of them is the new ${instrument} cannot be told. Write its serial number into the record first.`);
}

/** Lists of results of the instrument, conditions left out. */
function listsOf(equipment: Equipment, { items, results }: ReadCertificate, instrument: InstrumentName): readonly (readonly CertifiedQuantity[])[] {
  const item = items.find((i) => i.identifications.includes(equipment[instrument].serialNumber));
  return results.filter((r) => r.item === '' || item === undefined || r.item === item.reference).flatMap((r) => r.lists);
}

function statedOf(equipment: Equipment, read: ReadCertificate, instrument: InstrumentName, said: string[]): object {
  const lists = listsOf(equipment, read, instrument);
  switch (instrument) {
    case 'meter':
      return kCurveOf(read.number, lists, said);
    case 'pressure':
      return { uncertaintyKpa: digits(readingUncertainty(read.number, lists, 'pressure', said) / 1e3) };
    case 'temperature':
      return { uncertaintyC: digits(readingUncertainty(read.number, lists, 'temperature', said)) };
    case 'supply':
      return { uncertaintyMv: digits(readingUncertainty(read.number, lists, 'voltage', said) * 1e3) };
  }
}

const digits = (value: number): number => Number(value.toPrecision(9));

/** Standard uncertainties of a quantity. */
function standard(number: string, { name, values, expanded, coverageFactors }: CertifiedQuantity): readonly number[] {
  if (expanded === null || coverageFactors === null) return refuse(`Certificate ${number} states no expanded uncertainty with its coverage factor for "${name}". Without one the instrument is not calibrated.`);
  return values.map((_, i) => {
    const [U, k] = [expanded[i] ?? Number.NaN, coverageFactors[i] ?? Number.NaN];
    return U >= 0 && k > 0 ? U / k : refuse(`Certificate ${number}: value ${i + 1} of "${name}" has the uncertainty ${U} and the coverage factor ${k}, which cannot be.`);
  });
}

/** K-factors over frequency, or over flow. What all points have in common is taken to be the least of their uncertainties: certificates do not say. */
function kCurveOf(number: string, lists: readonly (readonly CertifiedQuantity[])[], said: string[]): object {
  const found = lists.flatMap((list) => {
    const k = list.find((q) => q.dimension === 'per volume');
    const at = list.find((q) => q.dimension === 'frequency') ?? list.find((q) => q.dimension === 'volume flow');
    return k === undefined || at === undefined ? [] : [{ k, at }];
  });
  const [one, ...more] = found;
  if (one === undefined) {
    const units = [...new Set(lists.flat().flatMap((q) => (q.dimension === null ? [q.unit] : [])))];
    return refuse(`Certificate ${number} has no list of K-factors (edges or pulses per litre or cubic metre) over frequency or flow.${units.length === 0 ? '' : ` Units that are not understood: ${units.join(', ')}.`}`);
  }
  if (more.length > 0) refuse(`Certificate ${number} has ${found.length} lists of K-factors, and which of them is in force (as found, as left) it does not tell this program. Type the record by hand.`);
  const { k, at } = one;
  const relative = standard(number, k).map((u, i) => (100 * u) / (k.values[i] ?? Number.NaN));
  const shared = Math.min(...relative);
  const points = k.values.map((perCubicMetre, i) => {
    const own = Math.sqrt(Math.max(0, (relative[i] ?? 0) ** 2 - shared ** 2));
    const place = at.values[i] ?? Number.NaN;
    return {
      hertz: digits(at.dimension === 'frequency' ? place : place * perCubicMetre),
      edgesPerLitre: digits(perCubicMetre / 1e3),
      ...(own > 1e-9 ? { ownUncertaintyPercent: digits(own) } : {}),
    };
  });
  said.push(`K-factors of ${points.length} points. Of their uncertainties the least, ${shared.toPrecision(3)} % (k = 1), is taken for what all points have in common, the rest of each for its own: the certificate does not say how they hang together.`);
  return { kFactor: points.toSorted((a, b) => a.hertz - b.hertz), relativeUncertaintyPercent: digits(shared) };
}

type ReadDimension = Extract<CertifiedDimension, 'pressure' | 'temperature' | 'voltage'>;

/** A difference of two readings, in SI, as records and pages have it. */
function readingText(difference: number, dimension: ReadDimension): string {
  if (dimension === 'pressure') return `${(difference / 1e3).toPrecision(3)} kPa`;
  return `${difference.toPrecision(3)} ${dimension === 'temperature' ? 'K' : 'V'}`;
}

/**
 * The largest standard uncertainty of the readings. A record holds no corrections, so what the instrument read off is added as a bound, and refused where it is
 * more than its uncertainty explains.
 */
function readingUncertainty(number: string, lists: readonly (readonly CertifiedQuantity[])[], dimension: ReadDimension, said: string[]): number {
  const of = lists.filter((list) => list.some((q) => q.dimension === dimension && q.expanded !== null));
  const [list, ...more] = of;
  if (list === undefined) return refuse(`Certificate ${number} has no list of readings of ${dimension} with their uncertainty.`);
  if (more.length > 0) return refuse(`Certificate ${number} has ${of.length} lists of readings of ${dimension}, and which of them is in force (as found, as left) it does not tell this program. Type the record by hand.`);
  const uncertain = list.filter((q) => q.dimension === dimension && q.expanded !== null);
  const [result = refuse('no result'), ...others] = uncertain;
  if (others.length > 0) return refuse(`Certificate ${number} states uncertainties of ${uncertain.map((q) => `"${q.name}"`).join(' and ')}, and which of them is that of the instrument it does not tell this program.`);
  const u = standard(number, result);
  const reference = list.find((q) => q !== result && q.dimension === dimension);
  const isError = /error|deviation/iu.test(`${result.refType} ${result.name}`);
  if (!isError && reference === undefined) return refuse(`Certificate ${number} has readings of ${dimension} and nothing that they are compared with.`);
  const errors = result.values.map((v, i) => (isError ? v : v - (reference?.values[i] ?? Number.NaN)));
  const worst = errors.findIndex((e, i) => !(Math.abs(e) <= (result.expanded?.[i] ?? 0)));
  if (worst >= 0) {
    return refuse(`Certificate ${number}: at its point ${worst + 1} the instrument reads off by ${readingText(errors[worst] ?? Number.NaN, dimension)}, more than the uncertainty of that. The record has no place for corrections: have the instrument adjusted, or correct where it is read.`);
  }
  const off = Math.max(...errors.map(Math.abs));
  if (off > 0) said.push(`The readings are off by ${readingText(off, dimension)} at most, inside their uncertainty; nothing is corrected, and this stands in the uncertainty as a bound.`);
  return Math.hypot(Math.max(...u), off / Math.sqrt(3));
}
