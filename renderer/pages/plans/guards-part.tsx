import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { storedFromTyped, typedFromStored } from '../../settings/quantities.ts';
import { guardColumns } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { idOf, unitOfGuard } from './plan-field.tsx';
import { freshKey } from './plan-form.ts';
import type { GuardRow, PlanForm } from './plan-form.ts';
import { RowsTable } from './rows-table.tsx';

/** Another signal keeps the limits as they are read on the page, in its own unit. */
function changed(row: GuardRow, column: keyof GuardRow, text: string): GuardRow {
  if (column !== 'signal') return { ...row, [column]: text };
  const again = (limit: 'low' | 'high' | 'hysteresis'): string => {
    const [from, to] = [unitOfGuard(row.signal, limit), unitOfGuard(text, limit)];
    const typed = from === null ? row[limit] : typedFromStored(from.unit, row[limit], from.difference);
    return to === null ? typed : storedFromTyped(to.unit, typed, to.difference);
  };
  return { ...row, signal: text, low: again('low'), high: again('high'), hysteresis: again('hysteresis') };
}

/** What is watched during the run, and what is done when it leaves its limits. */
export function GuardsPart({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const set = (change: (rows: readonly GuardRow[]) => readonly GuardRow[]): void => changeForm((now) => ({ ...now, guards: change(now.guards) }));
  return (
    <>
      <RowsTable
        list="guards"
        one="guard"
        label="Guards of this plan"
        columns={guardColumns}
        helpBelow
        rows={form.guards}
        calledBy="id"
        problems={problems}
        // A guard without a limit is wrong as a whole; the limit is where it is put right.
        rightAt="low"
        unitOf={(row, column) => unitOfGuard(row.signal, column)}
        onChange={(key, column, text) => set((rows) => rows.map((row) => (row.key === key ? changed(row, column, text) : row)))}
        onRemove={(key) => set((rows) => rows.filter((row) => row.key !== key))}
      />
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
