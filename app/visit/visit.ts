/** What was found of an injector on a visit to the lab, as a person wrote it down. Version 1. The rules (WIN-80 to WIN-82) are in renderer/README.md. */
import { z } from 'zod';
import { problemsOf, type Problem } from '../boundary/problems.ts';
import { oneLine } from '../boundary/text.ts';
import { at20Celsius, copperPerKelvin } from '../quantities/copper.ts';
import { mostPhotos, photoMedia } from './photo.ts';

/** When on a visit, as people call it. */
export const visitStages = { 'as-found': 'As found', cleaned: 'Cleaned', 'as-left': 'As left' } as const;
export type VisitStage = keyof typeof visitStages;

const text = oneLine(1000).trim();

/** A resistance, the temperature at which it was measured, and how well each is known (95 %); null: not stated. */
const coil = z.strictObject({
  ohm: z.number().positive().max(10_000), expandedOhm: z.number().nonnegative().max(1000).nullable(),
  celsius: z.number().min(-40).max(150), expandedKelvin: z.number().nonnegative().max(50).nullable(),
});
/** Between winding and body. `least`: it is higher than the meter can read. */
const insulation = z.strictObject({ megohm: z.number().positive().max(1e7), least: z.boolean(), volts: z.number().positive().max(5000) });
/** Held shut under pressure. */
const leak = z.strictObject({ mlPerMinute: z.number().nonnegative().max(1000), kilopascals: z.number().positive().max(50_000) });

/** What a person states. The photos of a record that is kept are `keptPhoto`. */
const statedVisit = z.strictObject({
  visitVersion: z.literal(1),
  serialNumber: oneLine(60).trim().min(1),
  type: oneLine(60).trim(),
  order: oneLine(120).trim(),
  stage: z.enum(Object.keys(visitStages) as [VisitStage, ...VisitStage[]]),
  /** The day on which it was done. */
  doneOn: z.iso.date(),
  by: oneLine(120).trim().min(1),
  visual: text,
  coil: coil.nullable(),
  insulation: insulation.nullable(),
  leak: leak.nullable(),
  /** The spray picture in words. */
  spray: text,
  remark: text,
  /** Number of the record that this one stands in the place of; null: of none. */
  corrects: z.int().min(1).nullable(),
});
export type StatedVisit = z.infer<typeof statedVisit>;

const keptPhoto = z.strictObject({
  sha256: z.string().regex(/^[0-9a-f]{64}$/u), media: z.enum(photoMedia), bytes: z.int().min(1), width: z.int().min(1), height: z.int().min(1),
  /** What it shows. */
  shows: oneLine(200).trim(),
});
export type KeptPhoto = z.infer<typeof keptPhoto>;

export const visitRecord = statedVisit.extend({ photos: z.array(keptPhoto).max(mostPhotos) });
export type VisitRecord = z.infer<typeof visitRecord>;

/** A record as it was kept; problems: it is of another form. */
export function parseVisitRecord(document: unknown): { readonly ok: true; readonly record: VisitRecord } | { readonly ok: false; readonly problems: readonly Problem[] } {
  const parsed = visitRecord.safeParse(document);
  return parsed.success ? { ok: true, record: parsed.data } : { ok: false, problems: problemsOf(parsed.error, document) };
}

/** What a person states, or everything that is wrong with it. `latest`: no record is of a later day. */
export function readStatedVisit(document: unknown, { photos, latest }: { readonly photos: number; readonly latest: string }): { readonly ok: true; readonly stated: StatedVisit } | { readonly ok: false; readonly problems: readonly Problem[] } {
  const parsed = statedVisit.safeParse(document);
  if (!parsed.success) return { ok: false, problems: problemsOf(parsed.error, document) };
  const stated = parsed.data;
  const problems: Problem[] = [];
  if (stated.doneOn > latest) problems.push({ path: 'doneOn', text: 'This day has not come yet.' });
  const empty = stated.coil === null && stated.insulation === null && stated.leak === null && photos === 0 && [stated.visual, stated.spray, stated.remark].every((one) => one === '');
  if (empty) problems.push({ path: '', text: 'Nothing was found that could be kept. State one thing at least.' });
  if (stated.corrects !== null && stated.remark === '') problems.push({ path: 'remark', text: 'A correction needs its reason here.' });
  return problems.length === 0 ? { ok: true, stated } : { ok: false, problems };
}

/** Expanded relative uncertainty of the coefficient: wire of another purity or state than that of the standard. An estimate. */
const relativeOfCoefficient = 0.02;

/**
 * A coil's resistance at 20 degC, ohm, by the coefficient of IEC 60028. `expanded` (95 %): from both uncertainties that were stated and that of the coefficient; null where one
 * was not stated, rather than a small one.
 */
export function coilAt20({ ohm, expandedOhm, celsius, expandedKelvin }: NonNullable<StatedVisit['coil']>): { readonly ohm: number; readonly expanded: number | null } {
  const referred = at20Celsius(ohm, celsius);
  if (expandedOhm === null || expandedKelvin === null) return { ohm: referred, expanded: null };
  // R20 = R / (1 + a (T - 20)); with T and a it goes by -R20 a / (1 + a (T - 20)) and by -R20 (T - 20) / (1 + a (T - 20)).
  const factor = ohm / referred;
  const byKelvin = (referred * copperPerKelvin) / factor;
  const byCoefficient = (referred * (celsius - 20)) / factor;
  return { ohm: referred, expanded: Math.hypot(expandedOhm / factor, byKelvin * expandedKelvin, byCoefficient * relativeOfCoefficient * copperPerKelvin) };
}

/** Which records stand: by number, the one that corrects each other one. */
export function correctedBy(records: readonly { readonly no: number; readonly record: Pick<VisitRecord, 'corrects'> }[]): ReadonlyMap<number, number> {
  return new Map(records.flatMap(({ no, record: { corrects } }) => (corrects === null ? [] : [[corrects, no] as const])));
}
