/** What page and worker of a tab say to each other. */
import { z } from 'zod';
import type { SeededRun } from './seeded-run.ts';

export const fromPage = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('to-host'), message: z.unknown() }),
  z.object({ kind: z.literal('seeded-run'), seed: z.int().min(0).max(0xffffffff) }),
]);
export type FromPage = z.output<typeof fromPage>;

export type FromWorker =
  | { readonly kind: 'ready' }
  | { readonly kind: 'to-window'; readonly message: unknown }
  | { readonly kind: 'seeded-run'; readonly run: SeededRun }
  | { readonly kind: 'defect'; readonly text: string };
