import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { typeColumns } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { ColumnHeads, FieldProblems, RowCell, idOf } from './plan-field.tsx';
import { freshKey, problemsAt } from './plan-form.ts';
import type { PlanForm, TypeRow } from './plan-form.ts';

/** What is known of the coils of each type. */
export function TypesPart({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const set = (change: (rows: readonly TypeRow[]) => readonly TypeRow[]): void => changeForm((now) => ({ ...now, types: change(now.types) }));
  return (
    <>
      <div className="plan-scroll" tabIndex={form.types.length > 0 ? 0 : -1} role="group" aria-label="Types of this plan">
        <table className="plain plan-rows" id={idOf('types')} tabIndex={-1}>
          <caption className="unseen">Coils of the types of this plan</caption>
          <thead>
            <tr>
              <ColumnHeads list="types" columns={typeColumns} />
              <th scope="col">
                <span className="unseen">Remove</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {form.types.map((row, index) => (
              <tr key={row.key}>
                {typeColumns.map((column) => (
                  <RowCell
                    key={column}
                    list="types"
                    index={index}
                    column={column}
                    row={`type ${index + 1}${row.type === '' ? '' : `, ${row.type}`}`}
                    value={row[column]}
                    problems={problemsAt(problems, `types[${index}].${column}`)}
                    onChange={(text) => set((rows) => rows.map((one) => (one.key === row.key ? { ...one, [column]: text } : one)))}
                  />
                ))}
                <td>
                  <Button kind="quiet" label={`Remove: type ${row.type || index + 1}`} onPress={() => set((rows) => rows.filter((one) => one.key !== row.key))}>
                    Remove
                  </Button>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <FieldProblems id={idOf('types:wrong')} texts={problemsAt(problems, 'types')} />
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
