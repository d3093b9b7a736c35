/** A record of a visit as it is typed, and as it is told in words. WIN-80 */
import { figure, plain, plusMinus } from '../../../app/quantities/figures.ts';
import { coilAt20, type StatedVisit, type VisitRecord, type VisitStage } from '../../../app/visit/visit.ts';
import { quantityText } from '../../settings/quantities.ts';
import { readNumber } from '../../settings/read-number.ts';

const numberFields = ['ohm', 'expandedOhm', 'celsius', 'expandedKelvin', 'megohm', 'volts', 'mlPerMinute', 'kilopascals'] as const;
type NumberField = (typeof numberFields)[number];

export interface VisitDraft {
  readonly stage: VisitStage;
  readonly doneOn: string;
  readonly order: string;
  readonly visual: string;
  readonly spray: string;
  readonly remark: string;
  readonly numbers: Readonly<Record<NumberField, string>>;
  /** The insulation is higher than the meter can read. */
  readonly least: boolean;
  readonly corrects: number | null;
}

const noNumbers: VisitDraft['numbers'] = { ohm: '', expandedOhm: '', celsius: '', expandedKelvin: '', megohm: '', volts: '', mlPerMinute: '', kilopascals: '' };

export const newVisit = (order: string, doneOn: string): VisitDraft => ({ stage: 'as-found', doneOn, order, visual: '', spray: '', remark: '', numbers: noNumbers, least: false, corrects: null });

/** To begin a correction from: all that it says but why. */
export function correctionOf(no: number, { stage, doneOn, order, visual, spray, coil, insulation, leak }: VisitRecord): VisitDraft {
  const text = (value: number | null | undefined): string => (value === null || value === undefined ? '' : plain(value));
  const numbers = {
    ohm: text(coil?.ohm), expandedOhm: text(coil?.expandedOhm), celsius: text(coil?.celsius), expandedKelvin: text(coil?.expandedKelvin),
    megohm: text(insulation?.megohm), volts: text(insulation?.volts), mlPerMinute: text(leak?.mlPerMinute), kilopascals: text(leak?.kilopascals),
  };
  return { stage, doneOn, order, visual, spray, remark: '', numbers, least: insulation?.least ?? false, corrects: no };
}

/** A field, or the part of the record that a sentence of the host is about; empty: the record. */
export type VisitField = keyof VisitDraft | NumberField | '';

const pairs: readonly (readonly [NumberField, NumberField, string])[] = [
  ['ohm', 'celsius', 'A resistance needs the temperature of the coil at which it was measured.'],
  ['megohm', 'volts', 'An insulation resistance needs the voltage of its meter.'],
  ['mlPerMinute', 'kilopascals', 'A leak needs the pressure at which it was looked for.'],
];

/** What would be kept, and what is wrong by field. What cannot be read is not left out in silence (WIN-2). */
export function visitIn(draft: VisitDraft, about: { readonly serialNumber: string; readonly type: string; readonly by: string }): { readonly document: StatedVisit; readonly problems: ReadonlyMap<VisitField, string> } {
  const problems = new Map<VisitField, string>();
  const values = Object.fromEntries(
    numberFields.map((field) => {
      const read = readNumber(draft.numbers[field]);
      if (read.kind === 'unreadable') problems.set(field, read.why);
      return [field, read.kind === 'number' ? read.value : null];
    }),
  ) as Record<NumberField, number | null>;
  for (const [what, at, needs] of pairs) {
    if (problems.has(what) || problems.has(at)) continue;
    if (values[what] !== null && values[at] === null) problems.set(at, needs);
    if (values[what] === null && values[at] !== null) problems.set(what, 'The value itself is missing.');
  }
  for (const [field, of] of [['expandedOhm', 'ohm'], ['expandedKelvin', 'celsius']] as const) if (values[field] !== null && values[of] === null && !problems.has(of)) problems.set(of, 'The value itself is missing.');
  const { ohm, expandedOhm, celsius, expandedKelvin, megohm, volts, mlPerMinute, kilopascals } = values;
  const document: StatedVisit = {
    visitVersion: 1, ...about, order: draft.order.trim(), stage: draft.stage, doneOn: draft.doneOn, visual: draft.visual.trim(), spray: draft.spray.trim(), remark: draft.remark.trim(), corrects: draft.corrects,
    coil: ohm === null || celsius === null ? null : { ohm, expandedOhm, celsius, expandedKelvin },
    insulation: megohm === null || volts === null ? null : { megohm, least: draft.least, volts },
    leak: mlPerMinute === null || kilopascals === null ? null : { mlPerMinute, kilopascals },
  };
  return { document, problems };
}

/** `12.06 ± 0.03`, and below it what was read. */
export function coilWords({ coil }: Pick<VisitRecord, 'coil'>): { readonly at20: string; readonly read: string } | null {
  if (coil === null) return null;
  const { ohm, expanded } = coilAt20(coil);
  return { at20: expanded === null ? figure(ohm) : plusMinus(ohm, expanded), read: `${plain(coil.ohm)} Ω at ${quantityText(coil.celsius, '°C')}` };
}

export const insulationWords = ({ insulation }: Pick<VisitRecord, 'insulation'>): string => (insulation === null ? '–' : `${insulation.least ? '> ' : ''}${plain(insulation.megohm)} MΩ at ${plain(insulation.volts)} V`);

export const leakWords = ({ leak }: Pick<VisitRecord, 'leak'>): string => (leak === null ? '–' : `${leak.mlPerMinute === 0 ? 'none seen' : `${plain(leak.mlPerMinute)} mL/min`} at ${quantityText(leak.kilopascals, 'kPa')}`);
