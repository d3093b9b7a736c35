/** Requests of injectors over runs: references, sets, types, and what others stated. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { fewestInBaseline } from '../charts/individuals-chart.ts';
import { ruleSets } from '../charts/rules.ts';
import { finite, id, statedQuantity, valueAndU, type Requests } from './fields.ts';

/** Where injectors are compared, SI units (MA-1). */
const matchPlace = { voltage: z.number().positive(), pressure: z.number().positive(), period: z.number().positive(), weight: z.number().positive().max(1e6) };
const matchPoint = z.discriminatedUnion('quantity', [
  z.strictObject({ quantity: z.literal('mass'), ...matchPlace, width: z.number().positive() }),
  z.strictObject({ quantity: z.enum(['slope', 'dead-time']), ...matchPlace }),
  z.strictObject({ quantity: z.literal('static-flow'), pressure: matchPlace.pressure, weight: matchPlace.weight }),
]);

export const injectorRequests = {
  /** The reference injectors over the runs of the archive with their charts, as the command has them: kg, Pa, s, V. HOST-94 */
  'reference.history': {
    control: false,
    params: z.strictObject({ rules: z.enum(ruleSets), baseline: z.int().min(fewestInBaseline).max(1000).optional() }),
    result: z.object({
      histories: z.array(z.object({
        serialNumber: z.string(), voltage: finite, pressure: finite, width: finite, period: finite, referenceC: finite,
        /** The oldest first. `rules`: of signals that stand at this run. */
        runs: z.array(z.object({ run: id, at: finite, mass: finite, expanded: finite, meterCertificate: z.string(), rules: z.array(z.string()) })),
        limits: z.object({ baseline: z.int(), lower: finite, centre: finite, upper: finite, sigma: finite, movingRange: finite }).nullable(),
        noLimits: z.string(), signals: z.array(z.string()), cautions: z.array(z.string()),
        /** The newest run against those before it, while these are few; null: not asked, or too few. */
        newest: z.object({ low: finite, high: finite, outside: z.boolean() }).nullable(),
        enough: z.boolean(), chance: z.string(),
      })),
      /** Runs whose journal could not be read. */
      unread: z.array(id),
    }),
  },
  /**
   * Sets of alike injectors out of one run or several (MA). `points` absent: slope, and mass at the shortest width of every line. `without`: serial numbers that are not taken.
   * Deviations and spreads are in the unit of their point; means in kg, kg/s or µs. `text`: what is proved of the choice, or why there is none (`proof` none). HOST-110
   */
  'sets.match': {
    control: false,
    params: z.strictObject({
      runs: z.array(id).min(1).max(60), sets: z.int().min(1).max(100), of: z.int().min(2).max(16), objective: z.enum(['greatest', 'total']), points: z.array(matchPoint).min(1).max(8).optional(),
      without: z.array(z.string().max(120)).max(2000).default([]),
    }),
    result: z.object({
      points: z.array(z.object({ text: z.string(), unit: z.enum(['%', 'µs']), weight: finite, asked: matchPoint })), cautions: z.array(z.string()),
      candidates: z.array(z.object({ serialNumber: z.string(), run: id, at: finite })), leftOut: z.array(z.object({ serialNumber: z.string(), text: z.string() })),
      sets: z.array(z.object({
        cost: finite, members: z.array(z.object({ serialNumber: z.string(), run: id, at: finite, deviations: z.array(valueAndU) })), means: z.array(valueAndU), spread: z.array(valueAndU),
      })),
      inNoSet: z.array(z.string()), greatest: finite.nullable(), total: finite.nullable(), proof: z.enum(['none', 'best', 'objective', 'bound']), text: z.string(),
      places: z.object({ voltages: z.array(finite), pressures: z.array(finite), periods: z.array(finite), widths: z.array(finite), staticPressures: z.array(finite) }),
      /** Runs of which nothing can be traced, with the reasons. */
      untraceable: z.array(z.object({ run: id, reasons: z.array(z.string()) })),
    }),
  },
  /** A run against what somebody else stated, in a file of the window that is forgotten then: its numbers less those of the file. CMP-12 */
  'run.compare': {
    control: false, params: z.strictObject({ id, upload: id, name: oneLine(200).min(1) }),
    result: z.object({
      text: z.string(), left: z.array(z.string()), said: z.array(z.string()),
      rows: z.array(z.object({
        place: z.string(), quantity: statedQuantity, first: finite, firstExpanded: finite, second: finite, secondExpanded: finite,
        difference: finite, expanded: finite, en: finite, zeta: finite, verdict: z.string(),
      })),
    }),
  },
  /** What injectors of a type are like over all runs of the archive. `tolerance` null: too few. CMP-13 */
  'types.spread': {
    control: false, params: z.strictObject({ type: oneLine(60).min(1) }),
    result: z.object({
      runs: z.int(),
      spreads: z.array(z.object({
        quantity: statedQuantity, voltage: finite, pressure: finite, period: finite, injectors: z.int(), results: z.int(), mean: finite, u: finite, expanded: finite,
        seen: finite, measuring: finite, left: finite, tolerance: z.object({ low: finite, high: finite }).nullable(), text: z.string(),
      })),
    }),
  },
} as const satisfies Requests;
