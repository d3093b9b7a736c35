/** Requests of the equipment record: instruments, their certificates and checks. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { instrumentNames } from '../equipment/certificate.ts';
import { equipmentSchema } from '../equipment/equipment.ts';
import { finite, id, nothing, person, problem, type Requests } from './fields.ts';
import { meterCheckRow } from './meter-check-row.ts';

export const equipmentRequests = {
  /** null: a bench is connected over a port, and no record was saved. */
  'equipment.read': { control: false, params: nothing, result: equipmentSchema.nullable() },
  /** `by`, `reason`: kept in the record. `basedOn`: version that the change was made on; refused where another was saved since (HOST-90). */
  'equipment.save': {
    control: true,
    params: z.strictObject({ document: z.unknown(), by: person.optional(), reason: oneLine(500).optional(), basedOn: z.int().min(0).optional() }),
    result: z.object({ problems: z.array(problem) }),
  },
  /** What was saved, the latest first; `cut`: there is more. `today`: the day against which certificates are held. HOST-91 */
  'equipment.history': {
    control: false, params: nothing,
    result: z.object({
      today: z.string(), latest: z.int(), cut: z.boolean(),
      versions: z.array(z.object({ version: z.int(), savedAt: finite, document: z.unknown(), /** Runs that hold this very record. */ runs: z.int() })),
    }),
  },
  /** The checks of the meter in the record that holds, by their dates, and what comes of them. HOST-92 */
  'meter-checks.list': {
    control: false, params: nothing,
    result: z.object({
      today: z.string(), meter: z.string(), certificate: z.string(), cut: z.boolean(), checks: z.array(meterCheckRow),
      standing: z.object({ check: z.int().nullable(), suspended: z.boolean(), validUntil: z.string().nullable(), text: z.string() }),
      /** Runs in doubt while a check suspends the meter (MC-19). */
      doubtful: z.array(z.object({ id, day: z.string() })),
      /** The record with the K-factor that is in force; null: none is, or the record refers to it already. */
      inForce: equipmentSchema.nullable(),
      /** The latest check as it was kept, without its verdict, to write the next one from; null: there is none. */
      latest: z.unknown(),
    }),
  },
  /** What a check would come to, without keeping it. HOST-92 */
  'meter-check.try': { control: false, params: z.strictObject({ document: z.unknown() }), result: z.object({ problems: z.array(problem), check: meterCheckRow.nullable() }) },
  'meter-check.add': { control: true, params: z.strictObject({ document: z.unknown() }), result: z.object({ problems: z.array(problem), check: meterCheckRow.nullable() }) },
  /** The record that is in force, with what a certificate in a file of the window says of one of its instruments; nothing is saved. TAB-55 */
  'equipment.read-certificate': {
    control: false,
    params: z.strictObject({ upload: id, instrument: z.enum(instrumentNames), validUntil: z.iso.date().nullable(), replaces: z.boolean() }),
    result: z.discriminatedUnion('ok', [
      z.object({ ok: z.literal(true), document: equipmentSchema, said: z.array(z.string()) }),
      /** `wants`: what the person can say so that it is taken. */
      z.object({ ok: z.literal(false), text: z.string(), wants: z.enum(['end', 'replacement']).nullable() }),
    ]),
  },
} as const satisfies Requests;
