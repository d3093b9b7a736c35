/** Requests of the life of an injector: its runs, and the records of its visits with their photos, which are kept for good. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { mostPhotos } from '../visit/photo.ts';
import { visitRecord } from '../visit/visit.ts';
import { finite, id, problem, statedQuantity, valueAndU, type Requests } from './fields.ts';

const sha256 = z.string().regex(/^[0-9a-f]{64}$/u);
/** A record as it is kept. */
const keptVisit = z.object({ no: z.int(), savedAt: finite, record: visitRecord });

/** As `identityQuestions` has it; `ownAt`, `likeAt`: when these runs began. */
const identityQuestion = z.object({
  serialNumber: z.string(), ownRun: id, ownAt: finite, like: z.string(), likeRun: id, likeAt: finite, places: z.int(), ownApart: finite, likeApart: finite,
});

export const lifeRequests = {
  /**
   * One injector over all runs in which it was measured, the oldest first: results at each place in SI units and their changes since its first (WIN-64); what was saved of it, and the records of its visits (`records`), the oldest first.
   * `traceable` false: nothing of that run can be traced. `unread`: runs whose journal could not be read. HOST-111
   */
  'injector.life': {
    control: false, params: z.strictObject({ serialNumber: oneLine(60).trim().min(1) }),
    result: z.object({
      runs: z.array(z.object({ run: id, at: finite, planName: z.string(), order: z.string(), traceable: z.boolean() })), unread: z.array(id),
      places: z.array(z.object({
        quantity: statedQuantity, voltage: finite, pressure: finite, period: finite, results: z.array(z.object({ run: id, value: finite, expanded: finite, change: valueAndU.nullable() })),
      })),
      records: z.array(keptVisit),
      /** Whether it is really this one, by the run in which that is asked (WIN-83). */
      questions: z.array(identityQuestion.extend({ run: id })),
      visits: z.array(z.object({ savedAt: finite, order: z.string(), type: z.string(), coilResistanceOhm: finite.nullable(), condition: z.string(), channel: z.int().nullable() })),
    }),
  },
  /**
   * Keeps what was found of an injector; from any window, because it drives nothing and changes nothing. `photos`: given piece by piece before (`file.give`), in base64; `name`: of the file.
   * `no` null: nothing was kept, and `problems` say why. HOST-140
   */
  'visits.add': {
    control: false,
    params: z.strictObject({ visit: z.unknown(), photos: z.array(z.strictObject({ upload: id, name: z.string().max(200), shows: oneLine(200) })).max(mostPhotos).default([]) }),
    result: z.object({ problems: z.array(problem), no: z.int().nullable() }),
  },
  /** Injectors of a run that may be others of their type, by what was measured before (WIN-83). `held`: so many earlier runs were held against it; `unread`: could not be read. HOST-142 */
  'run.recognise': { control: false, params: z.strictObject({ id }), result: z.object({ questions: z.array(identityQuestion), held: z.int(), unread: z.array(id) }) },
  /** The bytes of a photo from one on, in base64; `next`: where the following piece begins, null: there is none. HOST-141 */
  'visits.photo': { control: false, params: z.strictObject({ sha256, from: z.int().min(0) }), result: z.object({ base64: z.string(), next: z.int().nullable() }) },
} as const satisfies Requests;
