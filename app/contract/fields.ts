/** Fields that requests of several areas have. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { statedQuantities } from '../results/agreement.ts';

export const nothing = z.strictObject({});
export const id = z.string().min(1).max(80);
export const text = z.string().max(2000);
export const person = oneLine(120).trim().min(1);
export const finite = z.number();
export const problem = z.object({ path: z.string(), text: z.string() });
export const accepted = z.object({ accepted: z.boolean(), reason: z.string() });
export const statedQuantity = z.enum(statedQuantities);
export const valueAndU = z.object({ value: finite, expanded: finite });
/** Files that the host keeps, for the window to read piece by piece with `export.piece`. */
export const keptFiles = z.object({ export: id, files: z.array(z.object({ name: z.string(), bytes: finite })) });

/** A request: who may make it, what it takes and what comes back. `control`: only the window that holds control may make it. */
export type Requests = Record<string, { readonly control: boolean; readonly params: z.ZodType; readonly result: z.ZodType }>;
