/**
 * The equipment record: what the lab's certificates say of the bench's instruments. A run stores a copy, so that its
 * numbers can be computed again years later. All uncertainties are standard uncertainties (k = 1) of the shared part:
 * they do not average away (JCGM 100:2008, 5.2).
 *
 * File units are the trade's (kPa, degC, mV, edges per litre); `toSi` of each consumer converts at the edge.
 */
import { z } from 'zod';

const certificate = z.strictObject({
  number: z.string().min(1),
  date: z.iso.date(),
  validUntil: z.iso.date(),
});

export const equipmentSchema = z.strictObject({
  equipmentVersion: z.literal(1),
  name: z.string().min(1),
  meter: z.strictObject({
    kind: z.string().min(1),
    serialNumber: z.string().min(1),
    /** K-factor over meter frequency, linear between points, held flat outside. */
    kFactor: z
      .array(
        z.strictObject({
          hertz: z.number().nonnegative(),
          edgesPerLitre: z.number().positive(),
          /** Standard uncertainty of this point by itself, relative, in percent, beside what all points share; absent: none. */
          ownUncertaintyPercent: z.number().nonnegative().optional(),
        }),
      )
      .min(1),
    /** Standard uncertainty of the K-factor, relative, in percent; fully shared by all measurements. */
    relativeUncertaintyPercent: z.number().nonnegative(),
    edgesPerRevolution: z.int().min(1),
    certificate,
  }),
  pressure: z.strictObject({ serialNumber: z.string().min(1), uncertaintyKpa: z.number().nonnegative(), certificate }),
  temperature: z.strictObject({ serialNumber: z.string().min(1), uncertaintyC: z.number().nonnegative(), certificate }),
  supply: z.strictObject({ serialNumber: z.string().min(1), uncertaintyMv: z.number().nonnegative(), certificate }),
  fluid: z.strictObject({
    name: z.literal('n-heptane'),
    lot: z.string().min(1),
    openedOn: z.iso.date(),
    /** Absent: density from the equation of state. Present: scaled to this measured value. */
    measuredDensity: z
      .strictObject({ kgPerM3: z.number().positive(), atC: z.number(), on: z.iso.date() })
      .optional(),
    /** Standard uncertainty of the density, relative, in percent. */
    densityUncertaintyPercent: z.number().nonnegative(),
  }),
  /** Absolute pressure of the room, for the density and for gauge-to-absolute. */
  ambientKpa: z.number().positive(),
});

export type Equipment = z.infer<typeof equipmentSchema>;
