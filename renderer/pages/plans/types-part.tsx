import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { typeColumns } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { idOf } from './plan-field.tsx';
import { freshKey } from './plan-form.ts';
import type { PlanForm, TypeRow } from './plan-form.ts';
import { RowsTable } from './rows-table.tsx';

/** What is known of the coils of each type. */
export function TypesPart({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const set = (change: (rows: readonly TypeRow[]) => readonly TypeRow[]): void => changeForm((now) => ({ ...now, types: change(now.types) }));
  return (
    <>
      <RowsTable
        list="types"
        one="type"
        label="Types of this plan"
        caption="Coils of the types of this plan"
        columns={typeColumns}
        rows={form.types}
        calledBy="type"
        problems={problems}
        onChange={(key, column, text) => set((rows) => rows.map((row) => (row.key === key ? { ...row, [column]: text } : row)))}
        onRemove={(key) => set((rows) => rows.filter((row) => row.key !== key))}
      />
      <div className="button-row">
        <Button
          onPress={() => {
            const path = idOf(`types[${form.types.length}].resistanceOhm`);
            // Of the first type that no row is of.
            const type = form.injectors.map((injector) => injector.type).find((one) => form.types.every((row) => row.type !== one)) ?? '';
            set((rows) => [...rows, { key: freshKey(rows), type, resistanceOhm: '', uncertaintyOhm: '', kelvinPerWatt: '', uncertaintyKelvinPerWatt: '', timeConstantS: '', uncertaintyTimeConstantS: '' }]);
            document.getElementById(path)?.focus();
          }}
        >
          Add a type
        </Button>
      </div>
    </>
  );
}
