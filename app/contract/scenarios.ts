/** Scenarios of the simulated bench that can be chosen, and the numbers of their imperfections that can be set beside (SCN-4). */
import { z } from 'zod';

export const scenariosResult = z.object({
  scenarios: z.array(z.object({ name: z.string(), text: z.string(), document: z.record(z.string(), z.unknown()) })),
  imperfections: z.array(z.object({ path: z.string(), label: z.string(), unit: z.string(), max: z.number() })),
});
