import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { guardColumns } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { ColumnHeads, FieldProblems, RowCell, idOf } from './plan-field.tsx';
import { freshKey, problemsAt } from './plan-form.ts';
import type { GuardRow, PlanForm } from './plan-form.ts';

/** What is watched during the run, and what is done when it leaves its limits. */
export function GuardsPart({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const set = (change: (rows: readonly GuardRow[]) => readonly GuardRow[]): void => changeForm((now) => ({ ...now, guards: change(now.guards) }));
  return (
    <>
      <div className="plan-scroll" tabIndex={form.guards.length > 0 ? 0 : -1} role="group" aria-label="Guards of this plan">
        <table className="plain plan-rows" id={idOf('guards')} tabIndex={-1}>
          <caption className="unseen">Guards of this plan</caption>
          <thead>
            <tr>
              <ColumnHeads list="guards" columns={guardColumns} />
              <th scope="col">
                <span className="unseen">Remove</span>
              </th>
            </tr>
          </thead>
          <tbody>
            {form.guards.map((row, index) => (
              <tr key={row.key} id={idOf(`guards[${index}]`)} tabIndex={-1}>
                {guardColumns.map((column) => (
                  <RowCell
                    key={column}
                    list="guards"
                    index={index}
                    column={column}
                    row={`guard ${index + 1}${row.id === '' ? '' : `, ${row.id}`}`}
                    value={row[column]}
                    // A guard without a limit is wrong as a whole; the limit is where it is put right.
                    problems={[...problemsAt(problems, `guards[${index}].${column}`), ...(column === 'low' ? problemsAt(problems, `guards[${index}]`) : [])]}
                    onChange={(text) => set((rows) => rows.map((one) => (one.key === row.key ? { ...one, [column]: text } : one)))}
                  />
                ))}
                <td>
                  <Button kind="quiet" label={`Remove: guard ${row.id || index + 1}`} onPress={() => set((rows) => rows.filter((one) => one.key !== row.key))}>
                    Remove
                  </Button>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <FieldProblems id={idOf('guards:wrong')} texts={problemsAt(problems, 'guards')} />
      <div className="button-row">
        <Button
          onPress={() => {
            const path = idOf(`guards[${form.guards.length}].id`);
            set((rows) => [
              ...rows,
              { key: freshKey(rows), id: '', signal: 'pressure-kpa', low: '', high: '', hysteresis: '0', dwellS: '1', level: 'hold', maxResumes: '3', clearS: '5' },
            ]);
            document.getElementById(path)?.focus();
          }}
        >
          Add a guard
        </Button>
      </div>
    </>
  );
}
