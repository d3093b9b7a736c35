/** The plan and the equipment record as JSON Schema (draft 2020-12), for editors and for programs in other languages. */
import { z } from 'zod';
import { equipmentSchema } from '../equipment/equipment.ts';
import { planSchema } from './plan.ts';

/**
 * What a plan file may hold. The rules between fields (README.md, PLAN-20 and on) are not in it: JSON Schema cannot
 * express them.
 */
export function planJsonSchema(): Record<string, unknown> {
  return { title: 'Plan, version 1', ...z.toJSONSchema(planSchema, { io: 'input', target: 'draft-2020-12' }) };
}

/** What an equipment file may hold. */
export function equipmentJsonSchema(): Record<string, unknown> {
  return { title: 'Equipment record', ...z.toJSONSchema(equipmentSchema, { io: 'input', target: 'draft-2020-12' }) };
}
