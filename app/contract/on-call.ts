/** Who is called out of the house when a run needs a person, as windows see it (HOST-80). */
import { z } from 'zod';

/** http or https, without a name and password in it. */
export const webAddress = z.url({ protocol: /^https?$/u }).max(2000).refine((text) => !/^[a-z]+:\/\/[^/?#]*@/iu.test(text), 'An address with a name or a password in it is not kept: use one that needs none.');

export const onCallView = z.object({
  /** Where it is kept. */
  file: z.string(),
  webhook: z.string().nullable(),
  command: z.array(z.string()).nullable(),
  /** Why what is kept cannot be used; empty: it can. */
  problem: z.string(),
  /** What became of the last call, a sentence for each way; empty: there was none. */
  last: z.array(z.string()),
});
export type OnCallView = z.infer<typeof onCallView>;
