import { useMemo, useRef, useState } from 'react';
import type { ClipboardEvent, KeyboardEvent } from 'react';
import { Button } from '../../components/button.tsx';
import { Page, Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { pathTo, useRoute } from '../../address/route.ts';
import { useSaveKey } from '../../components/save-key.ts';
import { afterSaving, carriedDown, columns, columnWords, isBlank, isChanged, lotsToSave, noFilter, partOf, pastedCells, problemsOfRows, rowsForChannels, shownRows, undone, withCell, withNewRow, withoutRow, withPasted } from './parts-grid.ts';
import type { PartsColumn, Filter, Row, RowProblem, KnownPart } from './parts-grid.ts';
import { changeRows, readRows, rowsNow, savedRows, undoRows, useRows } from './rows.ts';
import { InjectorLife } from './life.tsx';
import { useWithdrawn, WithdrawDialog, WithdrawnList } from './withdrawal.tsx';
import './injectors.css';


/** Every injector of the lab, or the life of the one that the address names. */
export default function InjectorsPage() {
  const [serialNumber] = useRoute().rest;
  return serialNumber === undefined ? <InjectorsGrid /> : <InjectorLife key={serialNumber} serialNumber={serialNumber} />;
}

/** Rows with fields in them that are drawn at once; a filter finds the rest. */
const drawnAtFirst = 120;

// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
function InjectorsGrid() {
  const { bench, control, line } = useHost();
  const { rows, steps } = useRows();
  const [problem, setProblem] = useState('');
  const [said, setSaid] = useState('');
  const [saving, setSaving] = useState(false);
  const [filter, setFilter] = useState<Filter>(noFilter);
  const [drawn, setDrawn] = useState(drawnAtFirst);
  const [asked, setAsked] = useState<KnownPart | null>(null);
  const { withdrawn, last, read: readWithdrawn, takeBack: takeBackPart, done: withdrawnNow } = useWithdrawn(readRows);

  useWhenUp(() => {
    void ask('parts.list', {}).then((reply) => {
      setProblem(reply.ok ? '' : reply.failure.text);
      if (!reply.ok) return;
      readRows(inOrder(reply.value));
    });
    void readWithdrawn();
  });

  const all = useMemo(() => rows ?? [], [rows]);
  const problems = useMemo(() => problemsOfRows(all), [all]);
  const matching = useMemo(() => shownRows(all, filter), [all, filter]);
  const shown = useMemo(() => {
    const first = matching.slice(0, drawn);
    return [...first, ...matching.slice(drawn).filter((row) => row.stored === null || isChanged(row))];
  }, [matching, drawn]);
  const changed = all.filter(isChanged).length;
  const refusing = problems.filter(({ level }) => level === 'refuse');
  const mounted = all.filter(({ stored }) => stored?.channel != null).length;
  const channels = bench.state === 'connected' ? bench.capabilities.channels : null;

  const addRow = (from?: Row): void => {
    const made = withNewRow(rowsNow(), from);
    changeRows(() => made.rows, 'new row');
    focusCell(made.key, 'serialNumber');
  };

  const save = async (): Promise<void> => {
    const first = refusing[0];
    if (first !== undefined) {
      focusCell(first.key, first.column);
      return;
    }
    if (changed === 0 || saving) return;
    setSaving(true);
    setProblem('');
    let done = 0;
    for (const lot of lotsToSave(rowsNow())) {
      const reply = await ask('parts.save', { parts: lot.map(partOf) });
      if (!reply.ok) {
        setProblem(`${done > 0 ? `${done} parts were saved. ` : ''}The others were not: ${reply.failure.text} What you typed is still here.`);
        setSaving(false);
        return;
      }
      savedRows((now) => afterSaving(now, lot, reply.value), reply.value);
      done += lot.length;
    }
    setSaving(false);
    setSaid(done === 1 ? '1 part saved.' : `${done} parts saved.`);
  };
  /** The cell that has the focus, with what stood in it when it got it. */
  const entered = useRef<{ readonly key: number; readonly column: PartsColumn; readonly text: string }>({ key: -1, column: 'order', text: '' });
  useSaveKey(() => void save());

  const paste = (row: Row, column: PartsColumn, event: ClipboardEvent<HTMLInputElement>): void => {
    const cells = pastedCells(event.clipboardData.getData('text/plain'));
    if (cells.length === 1 && cells[0]?.length === 1) return;
    event.preventDefault();
    const result = withPasted(rowsNow(), shown.map(({ key }) => key), row.key, column, cells);
    changeRows(() => result.rows, `${cells.length} rows pasted`);
    setSaid(`${cells.length} rows pasted from ${columnWords[column].label} on. Look at them, then save.`);
    focusCell(result.lastKey, column);
  };

  const onKey = (row: Row, column: PartsColumn, event: KeyboardEvent<HTMLInputElement>): void => {
    const index = shown.findIndex(({ key }) => key === row.key);
    const below = shown[index + 1];
    const above = shown[index - 1];
    if (event.key === 'Enter' && !event.shiftKey) {
      event.preventDefault();
      if (below === undefined) addRow(row);
      // Beside a finished part one goes down its column; a part still to be typed begins with its serial number.
      else focusCell(below.key, isBlank(below) ? 'serialNumber' : column);
    } else if ((event.key === 'ArrowUp' || (event.key === 'Enter' && event.shiftKey)) && above !== undefined) {
      event.preventDefault();
      focusCell(above.key, column);
    } else if (event.key === 'ArrowDown' && below !== undefined) {
      event.preventDefault();
      focusCell(below.key, column);
    } else if (event.key === 'Escape') {
      const { key, column: at, text } = entered.current;
      const since = key === row.key && at === column && text !== row.cells[column];
      if (since) changeRows((now) => withCell(now, row.key, column, text), columnWords[column].label, `${row.key}.${column}`);
      else if (row.stored === null && isBlank(row)) takeBack(row);
      else return;
      event.preventDefault();
    }
  };

  const onEnter = (row: Row, column: PartsColumn): void => {
    entered.current = { key: row.key, column, text: row.cells[column] };
  };

  const takeBack = (row: Row): void => {
    const index = shown.findIndex(({ key }) => key === row.key);
    const next = row.stored === null ? (shown[index - 1] ?? shown[index + 1]) : row;
    changeRows((now) => (row.stored === null ? withoutRow(now, row.key) : undone(now, row.key)), row.stored === null ? `removal of ${row.cells.serialNumber.trim() === '' ? 'a row' : row.cells.serialNumber.trim()}` : `row ${row.stored.serialNumber} as saved`);
    setSaid(row.stored === null ? 'The new row was taken out.' : 'The row is as it was saved.');
    if (next !== undefined) focusCell(next.key, 'serialNumber');
  };

  const takePartBack = async (part: KnownPart): Promise<void> => {
    const { ok, text } = await takeBackPart(part);
    setProblem(ok ? '' : text);
    setSaid(ok ? text : '');
  };

  const against = line.state !== 'up' ? 'The host cannot be reached.' : !control.mine ? 'Another window holds control.' : '';
  return (
    <Page
      title="Injectors"
      lead="Jobs and their injectors. An injector with a channel is mounted: a plan can choose it."
      actions={
        <Button kind={changed > 0 ? 'plain' : 'primary'} onPress={() => addRow()}>
          Book in an injector
        </Button>
      }
    >
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {rows !== null && all.length === 0 && (
        <Notice
          tone="off"
          action={
            channels === null ? undefined : (
              <Button
                onPress={() => {
                  const made = rowsForChannels([], channels);
                  changeRows(() => made, `${channels} new rows`);
                  focusCell(made[0]?.key ?? 0, 'order');
                }}
              >
                Begin with a row for each of the {channels} channels
              </Button>
            )
          }
        >
          No injector has been booked in yet. Press <strong>Book in an injector</strong>, type job, type and serial number, and go on with Enter.
        </Notice>
      )}
      {all.length > 0 && (
        <Section title="Find" aside={<span className="quiet small">{matching.length} of {all.length} shown, {mounted} mounted</span>}>
          <div className="field-row">
            {(['order', 'type', 'serialNumber'] as const).map((column) => (
              <label className="field" key={column}>
                <span className="field-label">{columnWords[column].label} contains</span>
                <span className="field-frame">
                  <input className="parts-text" type="search" value={filter[column]} onChange={(event) => setFilter({ ...filter, [column]: event.target.value })} />
                </span>
              </label>
            ))}
            <label className="parts-tick">
              <input type="checkbox" checked={filter.mountedOnly} onChange={(event) => setFilter({ ...filter, mountedOnly: event.target.checked })} />
              Only mounted parts
            </label>
          </div>
          {matching.length === 0 && <p className="quiet">No part matches. Clear a field above to see more.</p>}
        </Section>
      )}
      {shown.length > 0 && (
        <Section title="Parts" aside={<span className="quiet small">Enter: next part. Arrow keys: up and down. Esc: undo the cell. Ctrl+S: save.</span>}>
          <PartsTable rows={shown} problems={problems} onKey={onKey} onEnter={onEnter} onPaste={paste} onTakeBack={takeBack} onWithdraw={setAsked} />
          {matching.length > shown.length && (
            <div className="button-row">
              <Button onPress={() => setDrawn(drawn + drawnAtFirst)}>Show {Math.min(drawnAtFirst, matching.length - shown.length)} more of {matching.length - shown.length}</Button>
            </div>
          )}
        </Section>
      )}
      {rows === null && problem === '' && <p className="quiet">The parts are being read.</p>}
      {asked !== null && (
        <WithdrawDialog
          part={asked}
          against={against}
          onClose={() => setAsked(null)}
          onDone={(parts) => {
            setAsked(null);
            setSaid(`${asked.serialNumber} was withdrawn.`);
            withdrawnNow(asked, parts);
          }}
        />
      )}
      {rows !== null && (all.length > 0 || last !== null) && (
        <div className="parts-bar" role="region" aria-label="Saving">
          <div className="parts-said">
            <Status tone={changed > 0 ? 'note' : 'good'}>{changed === 0 ? 'All is saved' : changed === 1 ? '1 part is not saved' : `${changed} parts are not saved`}</Status>
            <span role="status" className="small">
              {said}
            </span>
          </div>
          {last !== null && (
            <Button against={against} onPress={() => void takePartBack(last)}>
              Undo: withdrawal of {last.serialNumber}
            </Button>
          )}
          {steps.length > 0 && <Button onPress={undoRows}>Undo: {steps.at(-1)?.what}</Button>}
          {refusing.length > 0 && <Button onPress={() => focusCell(refusing[0]?.key ?? 0, refusing[0]?.column ?? 'serialNumber')}>Go to the first problem</Button>}
          <Button
            kind={changed > 0 ? 'primary' : 'plain'}
            busy={saving}
            against={against !== '' ? against : changed === 0 ? 'Nothing was changed.' : refusing.length > 0 ? `${refusing.length} to correct first.` : ''}
            onPress={() => void save()}
          >
            Save {changed === 1 ? '1 part' : changed > 1 ? `${changed} parts` : ''}
          </Button>
        </div>
      )}
      <WithdrawnList withdrawn={withdrawn} against={against} onTakeBack={(part) => void takePartBack(part)} />
    </Page>
  );
}

interface PartsTableProps {
  readonly rows: readonly Row[];
  readonly problems: readonly RowProblem[];
  readonly onKey: (row: Row, column: PartsColumn, event: KeyboardEvent<HTMLInputElement>) => void;
  /** The cell got the focus. */
  readonly onEnter: (row: Row, column: PartsColumn) => void;
  readonly onPaste: (row: Row, column: PartsColumn, event: ClipboardEvent<HTMLInputElement>) => void;
  readonly onTakeBack: (row: Row) => void;
  /** A saved injector is to be withdrawn. */
  readonly onWithdraw: (part: KnownPart) => void;
}

function PartsTable({ rows, problems, onKey, onEnter, onPaste, onTakeBack, onWithdraw }: PartsTableProps) {
  const byRow = useMemo(() => Map.groupBy(problems, ({ key }) => key), [problems]);
  return (
    <div className="parts-scroll" role="group" aria-label="Parts, scrolls sideways" tabIndex={0}>
      <table className="plain parts-table">
        <caption className="unseen">Parts</caption>
        <thead>
          <tr>
            <th scope="col">
              <span className="unseen">State</span>
            </th>
            {columns.map((column) => (
              <th key={column} scope="col">
                {columnWords[column].label}
                {columnWords[column].unit === '' ? '' : `, ${columnWords[column].unit}`}
                <span className="parts-help" id={`part-help:${column}`}>
                  {columnWords[column].help}
                </span>
              </th>
            ))}
            <th scope="col">
              <span className="unseen">Undo</span>
            </th>
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <PartRow key={row.key} row={row} problems={byRow.get(row.key) ?? []} onKey={onKey} onEnter={onEnter} onPaste={onPaste} onTakeBack={onTakeBack} onWithdraw={onWithdraw} />
          ))}
        </tbody>
      </table>
    </div>
  );
}

interface PartRowProps extends Omit<PartsTableProps, 'rows'> {
  readonly row: Row;
}

function PartRow({ row, problems, onKey, onEnter, onPaste, onTakeBack, onWithdraw }: PartRowProps) {
  const state = row.stored === null ? (isBlank(row) ? 'new, empty' : 'new') : isChanged(row) ? 'changed' : 'saved';
  return (
    <tr>
      <td className="parts-state">
        <Status tone={state === 'saved' ? 'good' : state === 'new, empty' ? 'off' : 'note'}>{state}</Status>
      </td>
      {columns.map((column) => {
        const own = problems.filter((problem) => problem.column === column);
        const id = cellId(row.key, column);
        return (
          <td key={column} className={`parts-cell-${column}`}>
            <input
              id={id}
              type="text"
              className="parts-input"
              autoComplete="off"
              spellCheck={false}
              inputMode={column === 'channel' ? 'numeric' : column === 'coilResistance' ? 'decimal' : 'text'}
              aria-label={`${columnWords[column].label}${columnWords[column].unit === '' ? '' : ` in ${columnWords[column].unit}`} of ${row.cells.serialNumber.trim() === '' ? 'a new part' : row.cells.serialNumber.trim()}`}
              aria-describedby={`part-help:${column} ${id}:wrong`}
              aria-invalid={own.some(({ level }) => level === 'refuse')}
              value={row.cells[column]}
              onChange={(event) => {
                const { value } = event.target;
                changeRows((now) => {
                  const typed = withCell(now, row.key, column, value);
                  return column === 'order' || column === 'type' ? typed : carriedDown(typed, row.key);
                }, columnWords[column].label, `${row.key}.${column}`);
              }}
              onFocus={(event) => {
                event.target.select();
                onEnter(row, column);
              }}
              onKeyDown={(event) => onKey(row, column, event)}
              onPaste={(event) => onPaste(row, column, event)}
            />
            <span id={`${id}:wrong`} className="parts-problems">
              {own.map(({ text, level }) => (
                <span key={text} className={level === 'refuse' ? 'parts-refuse' : 'parts-warn'}>
                  {level === 'refuse' ? '✕ ' : '▲ '}
                  {text}
                </span>
              ))}
            </span>
          </td>
        );
      })}
      <td>
        {state === 'saved' && row.stored !== null && (
          <div className="parts-ways">
            <a href={pathTo('injectors', row.stored.serialNumber)} aria-label={`Life of ${row.stored.serialNumber}`}>
              Life
            </a>
            <Button kind="quiet" label={`Withdraw: ${row.stored.serialNumber}`} onPress={() => row.stored !== null && onWithdraw(row.stored)}>
              Withdraw
            </Button>
          </div>
        )}
        {state !== 'saved' && (
          <Button kind="quiet" label={row.stored === null ? `Remove: new row ${row.cells.serialNumber}` : `Undo: changes to ${row.stored.serialNumber}`} onPress={() => onTakeBack(row)}>
            {row.stored === null ? 'Remove' : 'Undo'}
          </Button>
        )}
      </td>
    </tr>
  );
}

function cellId(key: number, column: PartsColumn): string {
  return `part:${key}:${column}`;
}

function focusCell(key: number, column: PartsColumn): void {
  const cell = document.getElementById(cellId(key, column));
  cell?.focus({ preventScroll: true });
  cell?.scrollIntoView({ block: 'nearest', inline: 'nearest' });
}

/** By order, then by place on the rail, then by serial number; only at the first reading, so that rows do not jump. */
function inOrder(parts: readonly KnownPart[]): readonly KnownPart[] {
  const text = (a: string, b: string) => a.localeCompare(b, 'en', { numeric: true });
  return parts.toSorted(
    (a, b) => text(a.order, b.order) || (a.channel ?? Infinity) - (b.channel ?? Infinity) || text(a.serialNumber, b.serialNumber),
  );
}
