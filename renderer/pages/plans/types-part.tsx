import type { Problem } from '../../../app/boundary/problems.ts';
import type { TypeRecord } from '../../../app/type-record/type-record.ts';
import { pathTo } from '../../address/route.ts';
import { Button } from '../../components/button.tsx';
import { typeColumns } from './fields.ts';
import type { TypeColumn } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { idOf } from './plan-field.tsx';
import { freshKey } from './plan-form.ts';
import type { PlanForm, TypeRow } from './plan-form.ts';
import { RowsTable } from './rows-table.tsx';
import { emptyTypeRow, takenFrom, withRecords } from './types-of-form.ts';

const flowColumns: readonly TypeColumn[] = ['type', 'staticFlowGPerMin', 'flowPressureKpa', 'flowDensityKgPerM3', 'drive'];
const limitColumns: readonly TypeColumn[] = ['minVoltageV', 'maxVoltageV', 'minPressureKpa', 'maxPressureKpa', 'minWidthMs', 'maxWidthMs', 'maxDutyPercent'];
const coilColumns = typeColumns.filter((column) => !flowColumns.includes(column) && !limitColumns.includes(column));

interface TypesPartProps {
  readonly form: PlanForm;
  readonly problems: readonly Problem[];
  /** What the lab keeps of types; null: not read yet. */
  readonly records: readonly TypeRecord[] | null;
}

/** What is known of each type: expected flow, limits, drive, coil. */
export function TypesPart({ form, problems, records }: TypesPartProps) {
  const set = (change: (rows: readonly TypeRow[]) => readonly TypeRow[]): void => changeForm((now) => ({ ...now, types: change(now.types) }));
  const taken = records === null ? [] : takenFrom(form, records);
  const table = {
    list: 'types', one: 'type', rows: form.types, calledBy: 'type', problems,
    onChange: (key: number, column: TypeColumn, text: string) => set((rows) => rows.map((row) => (row.key === key ? { ...row, [column]: text } : row))),
    onRemove: (key: number) => set((rows) => rows.filter((row) => row.key !== key)),
  } as const;
  return (
    <>
      <RowsTable<TypeColumn, TypeRow> {...table} label="Types of this plan" caption="Flow and drive of the types of this plan" columns={flowColumns} />
      {form.types.length > 0 && (
        <>
          <RowsTable<TypeColumn, TypeRow> {...table} continued label="Limits of the types" caption="Limits of the types of this plan" columns={limitColumns} />
          <RowsTable<TypeColumn, TypeRow> {...table} continued label="Coils of the types" caption="Coils of the types of this plan" columns={coilColumns} />
        </>
      )}
      <div className="button-row">
        <Button
          against={records === null ? 'The records of types are being read.' : taken.length === 0 ? 'The records of these types state nothing that the plan does not.' : ''}
          onPress={() => records !== null && changeForm((now) => withRecords(now, records))}
        >
          {taken.length === 0 ? 'Take from the type records' : `Take from the type records: ${taken.join(', ')}`}
        </Button>
        <Button
          onPress={() => {
            const path = idOf(`types[${form.types.length}].staticFlowGPerMin`);
            // Of the first type that no row is of.
            const type = form.injectors.map((injector) => injector.type).find((one) => form.types.every((row) => row.type !== one)) ?? '';
            set((rows) => [...rows, { ...emptyTypeRow, key: freshKey(rows), type }]);
            document.getElementById(path)?.focus();
          }}
        >
          Add a type
        </Button>
        <a href={pathTo('equipment', 'types')}>Type records of the lab</a>
      </div>
    </>
  );
}
