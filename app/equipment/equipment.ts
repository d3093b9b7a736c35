/**
 * The equipment record: what the lab's certificates say of the bench's instruments. A run stores a copy, so that its
 * numbers can be computed again years later. All uncertainties are standard uncertainties (k = 1) of the shared part:
 * they do not average away (JCGM 100:2008, 5.2).
 *
 * File units are the trade's (kPa, degC, mV, edges per litre); `toSi` of each consumer converts at the edge. Rules EQ-1 and
 * following are in README.md.
 */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';

const certificate = z.strictObject({
  number: oneLine().min(1),
  date: z.iso.date(),
  validUntil: z.iso.date(),
});

const meter = z.strictObject({
  kind: oneLine().min(1),
  serialNumber: oneLine().min(1),
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
  /** Edge rate below which it stands still and the flow slips through, Hz; absent: it is taken to see every flow. */
  leastHertz: z.number().positive().optional(),
  certificate,
});

/** Fields that both versions have. */
export const instruments = {
  name: oneLine().min(1),
  meter,
  pressure: z.strictObject({
    serialNumber: oneLine().min(1),
    uncertaintyKpa: z.number().nonnegative(),
    /**
     * While an injector is open the pressure before it lies below the mean that the transducer tells by this at most, for a pulse that is a small
     * part of its period, kPa; absent: told by the compliance of the rail where that is known (EQ-8).
     */
    whileOpenKpa: z.number().nonnegative().optional(),
    certificate,
  }),
  temperature: z.strictObject({
    serialNumber: oneLine().min(1),
    uncertaintyC: z.number().nonnegative(),
    /** Standard uncertainty of how much warmer a coil is than the rail's thermometer says, beside its own pulses, K; absent: taken for usual (EQ-13). */
    coilOverRailC: z.number().nonnegative().optional(),
    certificate,
  }),
  supply: z.strictObject({
    serialNumber: oneLine().min(1),
    uncertaintyMv: z.number().nonnegative(),
    /** While a coil draws its full current the voltage at the read-back lies below its mean without pulses by this at most, mV; absent: not known (EQ-9). */
    insidePulseMv: z.number().nonnegative().optional(),
    /** Standard uncertainty of the supply current, relative, in percent; absent: taken for usual (EQ-12). */
    currentUncertaintyPercent: z.number().nonnegative().optional(),
    certificate,
  }),
  fluid: z.strictObject({
    name: z.literal('n-heptane'),
    lot: oneLine().min(1),
    openedOn: z.iso.date(),
    /** How long after its opening a lot may be measured with, days; absent: the lab sets no limit. */
    useWithinDays: z.int().min(1).optional(),
    /** Absent: density from the equation of state. Present: scaled to this measured value. */
    measuredDensity: z
      .strictObject({ kgPerM3: z.number().positive(), atC: z.number(), on: z.iso.date() })
      .optional(),
    /** Standard uncertainty of the density, relative, in percent; of a lot whose density was not measured that of the pure fluid (EQ-10). */
    densityUncertaintyPercent: z.number().nonnegative(),
    /** Part of the lot that is the named fluid, percent, by the certificate of analysis; absent: not known. */
    purityPercent: z.number().positive().max(100).optional(),
  }),
  /**
   * The rail between shut-off valve and injectors, for the pressure decay: how much fluid goes in for a rise of pressure, with its
   * standard uncertainty, and how much it holds.
   */
  rail: z
    .strictObject({ complianceMlPerMpa: z.number().positive(), complianceUncertaintyPercent: z.number().nonnegative(), volumeMl: z.number().positive() })
    .optional(),
  /** Absolute pressure of the room, for the density and for gauge-to-absolute. */
  ambientKpa: z.number().positive(),
  /** Who saved this version of the record, and why; absent: nobody said so (HOST-90). */
  changed: z.strictObject({ by: oneLine(120).min(1), reason: oneLine(500) }).optional(),
};

/** The record as it was before it named its controller: read for ever, good for no port (EQ-6). */
const version1 = z.strictObject({ equipmentVersion: z.literal(1), ...instruments });

const version2 = z.strictObject({
  equipmentVersion: z.literal(2),
  ...instruments,
  /** Whose instruments these are: as the controller names itself (EQ-1). */
  controller: z.strictObject({ model: oneLine().min(1), serialNumber: oneLine().min(1) }),
  wiring: z.strictObject({
    /** Where the supply's read-back is taken, in words. */
    sensedAt: oneLine().min(1),
    /** From there to the coil and back, ohm: leads, contacts and closed switch together (EQ-3). */
    harnessOhm: z.number().nonnegative(),
    /** Standard uncertainty of it. */
    harnessUncertaintyOhm: z.number().nonnegative(),
  }),
  /** What switches the coils (EQ-2). */
  driver: z.strictObject({
    type: oneLine().min(1),
    /** Switched terminal (drain) to ground while the coil's current decays, V: the coil then sees this less the supply. */
    clampV: z.number().positive(),
    /** Standard uncertainty of what all channels have in common. */
    clampUncertaintyV: z.number().nonnegative(),
    /** Standard uncertainty of each channel by itself, beside that; absent: none. */
    channelUncertaintyV: z.number().nonnegative().optional(),
  }),
  /** The clock of the controller, by which widths, periods and meter edges are timed (EQ-4). */
  timeBase: z.strictObject({
    kind: oneLine().min(1),
    /** Standard uncertainty of its rate, parts per million. */
    uncertaintyPpm: z.number().nonnegative(),
    /** A run is refused when the controller's clock is found farther than this from the computer's, parts per million. */
    refuseAbovePpm: z.number().positive(),
  }),
});

export const equipmentSchema = z.discriminatedUnion('equipmentVersion', [version1, version2]);

export type Equipment = z.infer<typeof equipmentSchema>;
