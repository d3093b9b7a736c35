/** What windows ask of the visits of an injector: records that are kept for good, and photos in them. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { mostPhotos } from '../visit/photo.ts';
import { visitRecord } from '../visit/visit.ts';

const upload = z.string().min(1).max(80);
const sha256 = z.string().regex(/^[0-9a-f]{64}$/u);

/** A record as it is kept. */
export const keptVisit = z.object({ no: z.int(), savedAt: z.number(), record: visitRecord });
export type KeptVisit = z.infer<typeof keptVisit>;

export const visitRequests = {
  /**
   * Keeps what was found of an injector; from any window, because it drives nothing and changes nothing. `photos`: given piece by piece before (`file.give`), in base64; `name`: of the file.
   * `no` null: nothing was kept, and `problems` say why. HOST-140
   */
  'visits.add': {
    control: false,
    params: z.strictObject({ visit: z.unknown(), photos: z.array(z.strictObject({ upload, name: z.string().max(200), shows: oneLine(200) })).max(mostPhotos).default([]) }),
    result: z.object({ problems: z.array(z.object({ path: z.string(), text: z.string() })), no: z.int().nullable() }),
  },
  /** The bytes of a photo from one on, in base64; `next`: where the following piece begins, null: there is none. HOST-141 */
  'visits.photo': { control: false, params: z.strictObject({ sha256, from: z.int().min(0) }), result: z.object({ base64: z.string(), next: z.int().nullable() }) },
} as const;
