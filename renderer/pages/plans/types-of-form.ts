/** What a plan in its form takes from the lab's records of its types. EQ-16, EQ-17 */
import { filledTypes } from '../../../app/type-record/fill.ts';
import type { TypeRecord } from '../../../app/type-record/type-record.ts';
import type { TypeOfPlan } from '../../../app/plan/of-type.ts';
import { numberText, typeColumns } from './fields.ts';
import { freshKey } from './plan-form.ts';
import type { PlanForm, TypeRow } from './plan-form.ts';

export const emptyTypeRow = Object.fromEntries(typeColumns.map((column) => [column, ''])) as Omit<TypeRow, 'key'>;

/** A row as the statement that it would be: texts in the place of numbers, which say as well that something stands there. */
const statedBy = (row: TypeRow): TypeOfPlan => {
  const stated = typeColumns.filter((column) => row[column].trim() !== '').map((column): [string, string] => [column, row[column].trim()]);
  return Object.fromEntries(stated) as unknown as TypeOfPlan;
};

const filledOf = ({ injectors, types }: PlanForm, records: readonly TypeRecord[]) =>
  filledTypes(injectors.map(({ type }) => type.trim()).filter((type) => type !== ''), types.map(statedBy), records);

/** Types of which the records state what the plan does not. */
export const takenFrom = (form: PlanForm, records: readonly TypeRecord[]): readonly string[] => filledOf(form, records).taken.map(({ type }) => type);

/** The plan with what the records of its types state and it does not. */
export function withRecords(form: PlanForm, records: readonly TypeRecord[]): PlanForm {
  const { types, taken } = filledOf(form, records);
  let rows = form.types;
  for (const { type, fields } of taken) {
    const filled = types.find((one) => one.type === type);
    const texts = Object.fromEntries(fields.map((field) => {
      const value = filled?.[field as keyof TypeOfPlan];
      return [field, typeof value === 'number' ? numberText(value) : (value ?? '')];
    }));
    rows = rows.some((row) => row.type.trim() === type)
      ? rows.map((row) => (row.type.trim() === type ? { ...row, ...texts } : row))
      : [...rows, { ...emptyTypeRow, ...texts, key: freshKey(rows), type }];
  }
  return taken.length === 0 ? form : { ...form, types: rows };
}
