/** What a plan takes from the records of its types. EQ-16, EQ-17 in app/equipment/README.md. */
import { heatFields, type TypeOfPlan } from '../plan/of-type.ts';
import { typeFields } from '../plan/plan.ts';
import type { TypeRecord } from './type-record.ts';

type Field = keyof typeof typeFields;

/** Fields that are one statement: taken whole, or not at all. */
const groups: readonly (readonly Field[])[] = (() => {
  const joined: readonly (readonly Field[])[] = [['resistanceOhm', 'uncertaintyOhm'], heatFields, ['staticFlowGPerMin', 'flowPressureKpa', 'flowDensityKgPerM3']];
  const single = (Object.keys(typeFields) as Field[]).filter((field) => !joined.some((group) => group.includes(field)));
  return [...joined, ...single.map((field) => [field])];
})();

export interface FilledTypes {
  readonly types: readonly TypeOfPlan[];
  /** What was taken: by type, the fields. */
  readonly taken: readonly { readonly type: string; readonly fields: readonly string[] }[];
}

/**
 * The `types` of a plan whose injectors are of `used`, with what their records state and the plan does not. What the plan states stays, in its order; a type
 * without a record and without a statement of its own gets no entry.
 */
export function filledTypes(used: readonly string[], stated: readonly TypeOfPlan[], records: readonly TypeRecord[]): FilledTypes {
  const types: TypeOfPlan[] = [];
  const taken: { type: string; fields: readonly string[] }[] = [];
  const names = [...new Set([...stated.map(({ type }) => type), ...used])];
  for (const type of names) {
    const own = stated.find((one) => one.type === type);
    const record = used.includes(type) ? records.find((one) => one.type === type) : undefined;
    const fields = record === undefined ? [] : groups.flatMap((group) => (group.some((field) => own?.[field] !== undefined) ? [] : group.filter((field) => record[field] !== undefined)));
    const filled = Object.fromEntries(fields.map((field) => [field, record?.[field]]));
    if (own === undefined && fields.length === 0) continue;
    types.push({ type, ...own, ...filled });
    if (fields.length > 0) taken.push({ type, fields });
  }
  return { types, taken };
}

/** The parts of a plan that a new sweep of these types begins with; null: their records have none, or not the same. */
export function templateFor(used: readonly string[], records: readonly TypeRecord[]): Readonly<Record<string, unknown>> | null {
  const templates = [...new Set(used)].map((type) => records.find((one) => one.type === type)?.template ?? null);
  const [first = null] = templates;
  return first !== null && templates.every((one) => JSON.stringify(one) === JSON.stringify(first)) ? first : null;
}
