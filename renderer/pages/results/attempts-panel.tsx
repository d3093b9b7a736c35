import { quantityFigure, unitShown } from '../../settings/quantities.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { useMemo, useRef, useState } from 'react';
import { Choice } from '../../components/field.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Section } from '../../components/page.tsx';
import { Status } from '../../components/status.tsx';
import type { Tone } from '../../components/status.tsx';
import { budgetTable } from '../../../app/reduce/budget-table.ts';
import { leakDuring } from '../../../app/reduce/leak.ts';
import { massPerPulse } from '../../../app/reduce/mass.ts';
import type { JournalView } from '../../host/journal-feed.ts';
import { AttemptDetails } from './attempt-details.tsx';
import { attemptKey, reasonWords, verdictWords } from '../../components/attempts.ts';
import { attemptRows, filtered, roleWords } from './attempts.ts';
import type { AttemptEnd, AttemptFilter, AttemptRow, Shown } from './attempts.ts';
import { decimals } from '../../components/decimals.ts';
import './one-line.css';
import { plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import type { ViewProps } from './view-props.ts';

const shownOptions: readonly { readonly value: Shown; readonly text: string }[] = [
  { value: 'all', text: 'All attempts' },
  { value: 'counting', text: 'Valid attempts' },
  { value: 'not-counting', text: 'Those that do not count' },
  { value: 'decided', text: 'Points decided by a person' },
];

const everything = 'all';

interface AttemptsPanelProps extends ViewProps {
  readonly id: string;
  readonly journal: JournalView;
  readonly ends: ReadonlyMap<string, AttemptEnd>;
}

/** Every attempt: what it found, whether it counts and why; and the place where a person decides otherwise. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function AttemptsPanel({ id, journal: { state }, ends, results, selection, amounts }: AttemptsPanelProps) {
  const [filter, setFilter] = useState<AttemptFilter>({ shown: 'all', injector: null, voltage: null });
  const [open, setOpen] = useState<string | null>(null);
  const frame = useRef<HTMLDivElement>(null);
  const rows = useMemo(() => (state === null ? [] : attemptRows(state, results.points)), [state, results.points]);
  const some = useMemo(() => filtered(rows, filter), [rows, filter]);
  const columns = useMemo((): readonly Column<AttemptRow>[] => {
    const massText = (row: AttemptRow): string => {
      if (row.window === null) return '–';
      const mass = massPerPulse(row.at, row.window, results.equipment, results.plan.reduction, leakDuring(results.reduction.leak, row.at.index, row.attempt));
      if (mass.kind === 'no-mass') return '–';
      return plusMinus(amounts.pulse(mass.mass), amounts.pulse(budgetTable(mass, results.equipment).mass.expanded));
    };
    return [
      { key: 'point', title: 'Point', width: '4rem', numeric: true, cell: (r) => shownPoint(r.at.index), sortBy: (r) => r.at.index },
      { key: 'injector', title: 'Injector', width: 'minmax(9rem, 1fr)', cell: (r) => <span className="one-line">{`${r.serialNumber}${roleWords(r.at.role)}`}</span>, sortBy: (r) => r.serialNumber },
      { key: 'voltage', title: 'V', width: '3.5rem', numeric: true, cell: (r) => plain(r.at.voltage), sortBy: (r) => r.at.voltage },
      { key: 'pressure', title: unitShown('kPa'), width: '4rem', numeric: true, cell: (r) => decimals(quantityFigure(r.at.pressure / 1e3, 'kPa')), sortBy: (r) => r.at.pressure },
      { key: 'width', title: 'Width, ms', width: '6.75rem', numeric: true, cell: (r) => plain(r.at.width * 1e3), sortBy: (r) => r.at.width },
      { key: 'attempt', title: 'Attempt', width: '6rem', numeric: true, cell: (r) => r.attempt, sortBy: (r) => r.attempt },
      { key: 'verdict', title: 'Verdict', width: '8rem', cell: (r) => <Status tone={toneOf(r)}>{verdictWords(r.verdict)}</Status>, sortBy: (r) => verdictWords(r.verdict) },
      { key: 'counts', title: 'Counts', width: '6.5rem', cell: (r) => (r.counts ? <Status tone="good">counts</Status> : <Status tone="off">does not</Status>), sortBy: (r) => (r.counts ? 0 : 1) },
      { key: 'mass', title: amounts.pulseTitle, width: 'minmax(9rem, 1fr)', numeric: true, cell: massText },
      { key: 'why', title: 'Reason', width: 'minmax(9rem, 1fr)', cell: (r) => reasonWords[r.reason], sortBy: (r) => reasonWords[r.reason] },
    ];
  }, [amounts, results]);
  const close = (): void => {
    setOpen(null);
    // Back to the row that was left, which is the one in the order of keys.
    requestAnimationFrame(() => frame.current?.querySelector<HTMLElement>('[role="row"][tabindex="0"]')?.focus());
  };
  const opened = rows.find((row) => row.key === open) ?? null;
  return (
    <>
      <div className="field-row">
        <Choice label="Shown" value={filter.shown} options={shownOptions} onChange={(shown) => setFilter({ ...filter, shown })} />
        <Choice
          label="Injector"
          value={filter.injector === null ? everything : String(filter.injector)}
          options={[{ value: everything, text: 'All' }, ...selection.injectors.map(({ index, serialNumber }) => ({ value: String(index), text: serialNumber }))]}
          onChange={(value) => setFilter({ ...filter, injector: value === everything ? null : Number(value) })}
        />
        <Choice
          label="Supply voltage"
          value={filter.voltage === null ? everything : String(filter.voltage)}
          options={[{ value: everything, text: 'All' }, ...selection.voltages.map((v) => ({ value: String(v), text: `${plain(v)} V` }))]}
          onChange={(value) => setFilter({ ...filter, voltage: value === everything ? null : Number(value) })}
        />
      </div>
      <div className="attempts" ref={frame}>
        <Section title={`${some.length} of ${rows.length} attempts`}>
          <DataTable
            label="Attempts of the run"
            columns={columns}
            rows={some}
            rowKey={(row) => row.key}
            empty={rows.length === 0 ? 'No attempt was made yet.' : 'No attempt is like this. Choose other filters.'}
            onOpen={(row) => setOpen(row.key)}
            selected={open}
            maxHeight={opened === null ? '34rem' : '18rem'}
          />
          <p className="small quiet">Enter opens an attempt: its readings, its limits, its budget, and the decision whether it counts.</p>
        </Section>
        {opened !== null && (
          <AttemptDetails
            key={opened.key}
            id={id}
            row={opened}
            siblings={rows.filter((row) => row.at.index === opened.at.index)}
            end={ends.get(attemptKey(opened.at.index, opened.attempt)) ?? null}
            results={results}
            amounts={amounts}
            onClose={close}
            onOpen={setOpen}
          />
        )}
      </div>
    </>
  );
}

function toneOf({ verdict }: AttemptRow): Tone {
  switch (verdict) {
    case 'accepted':
      return 'good';
    case 'rejected':
      return 'bad';
    case 'cut':
      return 'note';
    case null:
      return 'busy';
  }
}
