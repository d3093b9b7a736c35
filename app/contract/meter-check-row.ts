/** A check of the flow meter as windows see it (HOST-92). */
import { z } from 'zod';
import { checkEffects, checkVerdicts } from '../meter-check/meter-check.ts';

const finite = z.number();

export const meterCheckRow = z.object({
  no: z.int(), date: z.string(), certificate: z.string(), validUntil: z.string(), purpose: z.enum(['calibration', 'verification']), operator: z.string(),
  /** null: it could not be worked out; `text` says why. */
  verdict: z.enum(checkVerdicts).nullable(), effect: z.enum(checkEffects), text: z.string(), superseded: z.boolean(),
  rates: z.array(z.object({ hertz: finite, edgesPerLitre: finite, expandedEdgesPerLitre: finite, runs: z.int(), percent: finite, expandedPercent: finite, fromCertificatePercent: finite })),
  repeatabilityPercent: finite.nullable(), creepPercent: finite, cautions: z.array(z.string()),
});
export type MeterCheckRow = z.infer<typeof meterCheckRow>;
