import { useMemo, useState } from 'react';
import type { ControllerTable } from '../../../app/handover/document.ts';
import type { ControllerLayout } from '../../../app/handover/layout.ts';
import { Button } from '../../components/button.tsx';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { clipboardText, shownGrid, tableSentence, tablesOfInjector, trialsGrid, trialsSentence, unitText, withoutLayout } from './controller-view.ts';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { LayoutPart } from './layout-part.tsx';
import { InjectorPicker } from './pickers.tsx';
import { useTrials } from './use-trials.ts';
import type { ViewProps } from './view-props.ts';

/** Puts a text on the clipboard; false: the system did not take it. By the event, because the desktop grants a page no permission, not even this one. */
function copy(text: string): boolean {
  let taken = false;
  const put = (event: ClipboardEvent): void => {
    event.preventDefault();
    event.clipboardData?.setData('text/plain', text);
    taken = event.clipboardData !== null;
  };
  document.addEventListener('copy', put, { once: true });
  // eslint-disable-next-line @typescript-eslint/no-deprecated -- the way that takes its place asks for a permission
  const done = document.execCommand('copy');
  document.removeEventListener('copy', put);
  return done && taken;
}

/** Tables of one injector as an engine controller takes them, to be copied in rows and columns. */
export function ControllerPanel({ id, results, selection, onWish }: Omit<ViewProps, 'amounts'> & { readonly id: string }) {
  const [layout, setLayout] = useState<ControllerLayout>(withoutLayout);
  const [said, setSaid] = useState('');
  const tables = useMemo(() => tablesOfInjector(results, selection.injector, layout), [results, selection.injector, layout]);
  const trials = useTrials(id, results, selection.injector, layout);
  const shown = trials.tables ?? tables;
  const onLayout = (chosen: ControllerLayout): void => {
    setSaid('');
    setLayout(chosen);
  };
  const take = (table: ControllerTable, of: 'value' | 'U95'): void =>
    setSaid(copy(clipboardText(table, layout, of)) ? `${table.title}: ${of === 'value' ? 'values' : 'uncertainties'} are on the clipboard in rows and columns.` : 'The system did not take it. All files (ZIP), above, holds the same tables.');
  return (
    <>
      <div className="field-row">
        <InjectorPicker selection={selection} onWish={onWish} />
      </div>
      <LayoutPart layout={layout} onLayout={onLayout} />
      <p className="results-state" role="status">
        {said}
      </p>
      <div className="button-row">
        <Button against={trials.tables !== null ? 'It stands below each table.' : ''} busy={trials.busy} onPress={trials.begin}>
          {trials.busy ? 'Monte Carlo is under way …' : 'Monte Carlo beside each number'}
        </Button>
      </div>
      {trials.problem !== '' && <Notice tone="bad">{trials.problem}</Notice>}
      {typeof shown === 'string' ? <Notice tone="bad">{shown}</Notice> : <div className="sections">{shown.map((table) => <OneTable key={table.id} table={table} onTake={take} />)}</div>}
    </>
  );
}

function OneTable({ table, onTake }: { readonly table: ControllerTable; readonly onTake: (table: ControllerTable, of: 'value' | 'U95') => void }) {
  const grid = shownGrid(table);
  const trials = trialsSentence(table);
  return (
    <Section title={`${table.title}, ${unitText(table)}`} wide={grid.columns.length > 3}>
      <FigureTable
        narrow
        caption={`${table.title} of ${table.of} in ${unitText(table)}; ± is the expanded uncertainty (95 %)`}
        columns={grid.columns}
        rows={grid.rows.map((row) => ({ ...row, cells: row.cells.map((cell, i) => (typeof cell === 'string' ? cell : <Missing key={i} why={cell.why} />)) }))}
      />
      <p className="small quiet">{shownText(tableSentence(table))}</p>
      <div className="button-row">
        <Button label={`Copy values of ${table.title}`} onPress={() => onTake(table, 'value')}>
          Copy values
        </Button>
        <Button label={`Copy uncertainties of ${table.title}`} onPress={() => onTake(table, 'U95')}>
          Copy uncertainties
        </Button>
      </div>
      <MissingList of={grid.missing} />
      {trials !== null && (
        <>
          <p className="small">{trials}</p>
          <FigureTable narrow caption={`Monte Carlo of ${table.title} of ${table.of}: intervals of 95 % in ${unitText(table)}`} columns={grid.columns} rows={trialsGrid(table).rows.map((row) => ({ ...row, cells: row.cells.map((cell) => (typeof cell === 'string' ? cell : '')) }))} />
        </>
      )}
    </Section>
  );
}
