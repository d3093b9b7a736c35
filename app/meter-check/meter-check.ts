/**
 * A check of the flow meter by catch and weigh, as the lab writes it down: what was read, with what, and how well that is
 * known. Version 1. The rules (MC-n) are in README.md beside this file. All uncertainties are standard uncertainties.
 */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { problemsOf } from '../boundary/problems.ts';
import type { Problem } from '../boundary/problems.ts';
import { instruments } from '../equipment/equipment.ts';

const { fluid, meter } = instruments;
const { certificate } = meter.shape;
const positive = z.number().positive();
const nonNegative = z.number().nonnegative();

/** within, outside: beyond doubt at 95 %. undecided: the limit lies inside the uncertainty. The others say nothing of the meter. */
export const checkVerdicts = ['within', 'outside', 'undecided', 'not-repeatable', 'not-one-rate'] as const;
/** What a check did to the calibration in force. */
export const checkEffects = ['came-into-force', 'confirmed', 'suspended', 'none'] as const;
export type CheckVerdict = (typeof checkVerdicts)[number];
export type CheckEffect = (typeof checkEffects)[number];

const runSchema = z.strictObject({
  /** Whole meter edges counted while the vessel filled, and the controller's time for them. */
  edges: z.int().min(1),
  durationS: positive,
  /** Balance readings of the vessel before and after. */
  startG: z.number(),
  endG: z.number(),
  meterTemperatureC: z.number(),
  /** Gauge pressure in the meter. */
  meterPressureKpa: nonNegative,
});

const meterCheckSchema = z.strictObject({
  meterCheckVersion: z.literal(1),
  /** calibration: its K-factors may come into force. verification: only says whether the meter still agrees. */
  purpose: z.enum(['calibration', 'verification']),
  certificate,
  operator: oneLine(120).min(1),
  meterSerialNumber: oneLine(120).min(1),
  balance: z.strictObject({
    serialNumber: oneLine(120).min(1),
    /** Of the difference of two readings: linearity and adjustment, without scatter. */
    uncertaintyG: nonNegative,
    /** How far it may wander between the two readings of a run. */
    driftG: nonNegative.optional(),
    certificate,
  }),
  air: z
    .strictObject({
      densityKgPerM3: z.number().min(0).max(2).default(1.2),
      uncertaintyKgPerM3: nonNegative.default(0.02),
      /** Density to which the balance was adjusted. */
      weightsKgPerM3: z.number().min(1000).max(30_000).default(8000),
    })
    .prefault({}),
  fluid,
  /** Gas that the liquid pushes out of the vessel: 0 dry air, 1 saturated with vapour; absent: anything between (MC-15). */
  vessel: z.strictObject({ vapourSaturation: z.number().min(0).max(1), uncertainty: nonNegative }).optional(),
  /** How far apart count and vessel may begin and end, together, s; absent: not stated (MC-15). */
  startStopS: nonNegative.optional(),
  /** By how much the fluid between meter and vessel may be more or less after the run, mL; absent: not stated. */
  storedVolumeMl: nonNegative.optional(),
  ambientKpa: positive,
  temperatureUncertaintyC: nonNegative,
  pressureUncertaintyKpa: nonNegative,
  /** Loss from the open vessel, from a blank test with the same vessel and filling; the check asks for it, whatever it is. */
  evaporation: z.strictObject({ gramsPerMinute: nonNegative, uncertaintyGramsPerMinute: nonNegative }),
  /** One entry for each flow rate, with its runs. */
  flowRates: z.array(z.strictObject({ runs: z.array(runSchema).min(1).max(100) })).min(1).max(100),
  limits: z
    .strictObject({
      /** Change against the K-factor in use that is still no drift. */
      driftPercent: positive.default(0.3),
      /** Standard deviation of runs at one flow rate. */
      repeatabilityPercent: positive.default(0.1),
      /** Expanded uncertainty up to which a K-factor may come into force; absent: driftPercent. */
      uncertaintyPercent: positive.optional(),
      /** Change against the certificate of the meter, over all checks since, that is still no creep. */
      creepPercent: positive.default(0.6),
    })
    .prefault({}),
  /** Given by a person who takes responsibility for a K-factor that has drifted beyond the limit. */
  driftAccepted: z.strictObject({ by: oneLine(120).min(1), why: oneLine(1000).min(1) }).optional(),
  /** Written by the program when the check is kept: what it was held against, and what that came to (MC-18). */
  judged: z
    .strictObject({
      /** The meter of the equipment record of that day. */
      against: meter,
      verdict: z.enum(checkVerdicts),
      effect: z.enum(checkEffects),
      text: z.string(),
    })
    .optional(),
});

/** A meter check with its defaults filled in. */
export type MeterCheck = z.infer<typeof meterCheckSchema>;
export type MeterCheckRun = MeterCheck['flowRates'][number]['runs'][number];

export type MeterCheckParsed =
  | { readonly ok: true; readonly check: MeterCheck }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/** A meter check, or everything that is wrong with the document. */
export function parseMeterCheck(input: unknown): MeterCheckParsed {
  const parsed = meterCheckSchema.safeParse(input);
  if (!parsed.success) return { ok: false, problems: problemsOf(parsed.error, input) };
  const problems = betweenFields(parsed.data);
  return problems.length > 0 ? { ok: false, problems } : { ok: true, check: parsed.data };
}

function betweenFields({ certificate, balance, flowRates, fluid }: MeterCheck): readonly Problem[] {
  const problems: Problem[] = [];
  for (const [path, own] of [['certificate', certificate], ['balance.certificate', balance.certificate]] as const) {
    if (own.validUntil < own.date) {
      problems.push({ path: `${path}.validUntil`, text: `The certificate would end (${own.validUntil}) before it was issued (${own.date}).` });
    }
  }
  if (certificate.date < balance.certificate.date || certificate.date > balance.certificate.validUntil) {
    problems.push({
      path: 'balance.certificate',
      text: `The balance was not in calibration on the day of the check (${certificate.date}); its certificate runs from ${balance.certificate.date} to ${balance.certificate.validUntil}.`,
    });
  }
  if (fluid.measuredDensity !== undefined && fluid.measuredDensity.on < fluid.openedOn) {
    problems.push({
      path: 'fluid.measuredDensity.on',
      text: `The density was measured (${fluid.measuredDensity.on}) before this lot was opened (${fluid.openedOn}).`,
    });
  }
  flowRates.forEach(({ runs }, rate) => {
    runs.forEach(({ startG, endG }, run) => {
      if (endG > startG) return;
      problems.push({
        path: `flowRates[${rate}].runs[${run}].endG`,
        text: `The vessel must weigh more after the run than before it, but ${endG} g follows ${startG} g.`,
      });
    });
  });
  return problems;
}
