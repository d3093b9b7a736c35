import type { Problem } from '../../../app/boundary/problems.ts';
import type { Part } from '../../../app/contract/library-requests.ts';
import { Button } from '../../components/button.tsx';
import { useOneStop } from '../../components/one-stop.ts';
import { numberIn } from '../../settings/read-number.ts';
import { Notice } from '../../components/status.tsx';
import { pathTo } from '../../address/route.ts';
import { injectorColumns } from './fields.ts';
import { changeForm } from './plan-draft.ts';
import { idOf } from './plan-field.tsx';
import { freshKey } from './plan-form.ts';
import type { InjectorRow, PlanForm } from './plan-form.ts';
import { RowsTable } from './rows-table.tsx';
import { injectorRow, mountedParts } from './starting-plan.ts';

interface InjectorsPartProps {
  readonly form: PlanForm;
  readonly problems: readonly Problem[];
  /** null: not read yet. */
  readonly parts: readonly Part[] | null;
}

/** Which injectors the plan measures: ticked from what is mounted, or typed in. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function InjectorsPart({ form, problems, parts }: InjectorsPartProps) {
  const mounted = mountedParts(parts ?? []);
  const inPlan = (part: Part) => form.injectors.some((row) => row.serialNumber === part.serialNumber);
  const set = (change: (rows: readonly InjectorRow[]) => readonly InjectorRow[]): void =>
    changeForm((now) => ({ ...now, injectors: change(now.injectors) }));
  const take = (rows: readonly InjectorRow[], part: (typeof mounted)[number]): readonly InjectorRow[] =>
    rows.some((row) => row.serialNumber === part.serialNumber) ? rows : [...rows, injectorRow(part, freshKey(rows))];

  const stops = useOneStop<HTMLUListElement>('li');
  return (
    <>
      {mounted.length > 0 ? (
        <fieldset className="plan-mounted">
          <legend>Mounted on the rail</legend>
          <ul {...stops}>
            {mounted.map((part) => (
              <li key={part.id ?? part.serialNumber}>
                <label>
                  <input
                    type="checkbox"
                    checked={inPlan(part)}
                    onChange={(event) => {
                      const { checked } = event.target;
                      set((rows) => (checked ? take(rows, part) : rows.filter((row) => row.serialNumber !== part.serialNumber)));
                    }}
                  />
                  <span className="plan-mounted-channel">{part.channel}</span> {part.serialNumber} <span className="quiet">{part.type}{part.order === '' ? '' : `, ${part.order}`}</span>
                </label>
              </li>
            ))}
          </ul>
          <div className="button-row">
            <Button onPress={() => set(() => mounted.map(injectorRow))}>Exactly these, by channel</Button>
          </div>
        </fieldset>
      ) : (
        parts !== null && (
          <Notice tone="off">
            No injector is recorded as mounted. <a href={pathTo('injectors')}>Book injectors in</a> and give each its channel, or type rows here.
          </Notice>
        )
      )}
      <RowsTable
        list="injectors"
        one="injector"
        label="Injectors of this plan"
        columns={injectorColumns}
        rows={form.injectors}
        calledBy="serialNumber"
        problems={problems}
        more={{ title: 'On the rail', of: (row: InjectorRow) => whereText(row, parts) }}
        onChange={(key, column, text) => set((rows) => rows.map((row) => (row.key === key ? { ...row, [column]: text } : row)))}
        onRemove={(key) => set((rows) => rows.filter((row) => row.key !== key))}
      />
      <div className="button-row">
        <Button
          onPress={() => {
            const last = form.injectors.at(-1);
            const path = idOf(`injectors[${form.injectors.length}].serialNumber`);
            set((rows) => [
              ...rows,
              { key: freshKey(rows), channel: nextChannel(rows), serialNumber: '', type: last?.type ?? '', coilResistanceOhm: '' },
            ]);
            document.getElementById(path)?.focus();
          }}
        >
          Add a row
        </Button>
        {form.injectors.length > 1 && (
          <Button kind="quiet" onPress={() => set((rows) => rows.toSorted((a, b) => numberIn(a.channel) - numberIn(b.channel)))}>
            Sort by channel
          </Button>
        )}
      </div>
    </>
  );
}

function nextChannel(rows: readonly InjectorRow[]): string {
  const used = new Set(rows.map((row) => numberIn(row.channel)));
  for (let channel = 1; ; channel += 1) if (!used.has(channel)) return String(channel);
}

function whereText(row: InjectorRow, parts: readonly Part[] | null): string {
  const same = (parts ?? []).filter((part) => part.serialNumber === row.serialNumber.trim());
  const known = same.find((part) => part.channel !== null) ?? same[0];
  if (row.serialNumber.trim() === '' || parts === null) return '';
  if (known === undefined) return '▲ not booked in';
  if (known.channel === null) return '▲ not mounted';
  return String(known.channel) === row.channel.trim() ? `✓ channel ${known.channel}` : `▲ mounted on channel ${known.channel}`;
}
