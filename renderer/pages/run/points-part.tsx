import { memo, useState } from 'react';
import { flushSync } from 'react-dom';
import type { Point } from '../../../app/plan/points.ts';
import type { CellProgress } from '../../../app/schedule/progress.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { Button } from '../../components/button.tsx';
import { AnswerLine } from './answer.tsx';
import { pressureMoveText, looks, tallyOf } from './cells.ts';
import { Overview } from './overview.tsx';
import { PointGrid } from './point-grid.tsx';
import type { Sheet } from './sheets.ts';
import { placeOf } from './walk.ts';
import type { RunCommands } from './use-commands.ts';
import type { LastDecision } from './log.ts';
import { LastDecisionLine, TargetsLegend, TargetsPart } from './targets-part.tsx';
import type { TargetsView } from './use-targets.ts';
import type { GridPlace } from './walk.ts';
import type { Work } from './use-work.ts';

interface PointsPartProps {
  readonly state: RunState;
  readonly onBench: boolean;
  readonly commands: RunCommands;
  readonly work: Work;
  readonly targets: TargetsView;
  readonly decision: LastDecision | null;
}

/**
 * The points: sheet, selection, what can be done with it, and the grid. Every control stands in its place whether it can be used or not, so
 * that nothing moves under a finger when a point fails or an answer comes (WIN-19). Drawn with the journal, not with every status.
 */
export const PointsPart = memo(function PointsPart({ state, onBench, commands, work, targets, decision }: PointsPartProps) {
  const { sheets, sheet, failed, marked } = work;
  const hasTargets = state.plan.targets !== undefined;
  const [shown, setShown] = useState<'sheet' | 'all' | 'targets'>(hasTargets ? 'targets' : 'sheet');
  const chooseSheet = (key: string | null): void => {
    setShown('sheet');
    work.chooseSheet(key);
  };
  const goToCell = (cell: CellProgress): void => {
    const place = placeOfCell(cell, sheets, state.setPoints);
    if (place !== null) goTo(place.sheet, { row: place.row, column: 0 });
  };
  // The grid has to be there before the focus can go into it.
  const goTo = (to: Sheet, place: GridPlace): void => {
    flushSync(() => setShown('sheet'));
    work.goTo(to, place);
  };
  if (sheet === undefined) return null;
  const noFailed = failed.length === 0 ? 'No point has failed.' : '';
  const noMarked = marked.length === 0 ? 'No point is selected. Select with Space, a block with Shift, all failed with F.' : '';
  const first = (...reasons: readonly string[]): string => reasons.find((reason) => reason !== '') ?? '';
  return (
    <section className="section run-points" aria-label="Points">
      <header className="run-points-head">
        <h2>Points</h2>
        <SheetChoice sheets={sheets} state={state} shown={shown === 'sheet' ? sheet.key : ''} following={work.following && shown === 'sheet'} onChoose={chooseSheet} />
        <Whole label="All sheets" pressed={shown === 'all'} onPress={() => setShown(shown === 'all' ? 'sheet' : 'all')} />
        {hasTargets && <Whole label="Targets" pressed={shown === 'targets'} onPress={() => setShown('targets')} />}
      </header>
      <div className="run-tools" role="group" aria-label="What can be done with points" title={againWords(state, onBench)}>
        <Button against={first(commands.against, noFailed)} showAgainst={false} onPress={() => work.measureAgain(failed)}>
          Measure {failed.length === 0 ? 'failed' : failed.length === 1 ? 'the failed point' : `all ${failed.length} failed`} again
        </Button>
        <Button against={noFailed} showAgainst={false} onPress={work.nextFailed}>
          Next failed
        </Button>
        <Button against={noFailed} showAgainst={false} onPress={work.selectFailed}>
          Select all failed
        </Button>
        <Button against={first(commands.against, noMarked)} showAgainst={false} onPress={() => work.measureAgain(marked)}>
          Measure {marked.length === 0 ? '' : `${marked.length} `}selected again
        </Button>
        <Button against={first(commands.against, noMarked)} showAgainst={false} onPress={work.leaveOut}>
          Leave them out
        </Button>
        <Button kind="quiet" against={noMarked} showAgainst={false} onPress={work.clear}>
          Clear
        </Button>
      </div>
      <div className="run-answer-place">
        {shown === 'targets' ? <LastDecisionLine decision={decision} /> : <p className="quiet run-column-title">{[pressureMoveText(state, marked), sheet.columnTitle].filter((part) => part !== '').join(' · ')}</p>}
        <AnswerLine commands={commands} place="points" />
      </div>
      {shown === 'targets' ? (
        <TargetsPart targets={targets} state={state} commands={commands} onGo={goToCell} />
      ) : shown === 'all' ? (
        <Overview sheets={sheets} state={state} shown={sheet} onGo={goTo} />
      ) : (
        <PointGrid
          plan={state.plan} points={state.setPoints} sheet={sheet} state={state} selection={work.selection} opened={work.opened} focusRequest={work.gridFocus}
          onSelect={work.select} onOpen={work.open} onKey={work.onKey} onInside={work.setInGrid}
        />
      )}
    </section>
  );
});

/** Shows the whole of something in the place of one sheet. */
function Whole({ label, pressed, onPress }: { readonly label: string; readonly pressed: boolean; readonly onPress: () => void }) {
  return (
    <button type="button" className="button button-plain run-small" aria-pressed={pressed} onClick={onPress}>
      {label}
    </button>
  );
}

/** Where the windows of a cell of the targets stand; null: it has none yet. */
function placeOfCell({ injector, voltage, pressure, period }: CellProgress, sheets: readonly Sheet[], points: readonly Point[]): { readonly sheet: Sheet; readonly row: number } | null {
  const at = points.find((point) => isOf(point, pressure, period) && point.injector === injector && point.voltage === voltage);
  const sheet = at === undefined ? undefined : sheets.find((one) => one.points.includes(at.index));
  const place = at === undefined || sheet === undefined ? null : placeOf(sheet, at.index);
  return sheet === undefined || place === null ? null : { sheet, row: place.row };
}

/** A measure point of this pressure, Pa, and period, s. */
const isOf = (point: Point, pressure: number, period: number): boolean =>
  point.role === 'measure' && Math.abs(point.pressure - pressure) < 1 && Math.abs(point.period - period) < 1e-9;

function againWords({ mode }: RunState, onBench: boolean): string {
  if (!onBench) return 'Measuring again opens this run on the bench first, then proves the watchdog and measures only these points. Earlier attempts are kept.';
  if (mode === 'ended') return 'Measuring again opens the run again: the watchdog is proved, then only these points are measured. Earlier attempts are kept.';
  if (mode === 'ready') return 'Points that are to be measured again come first once the run is started. Earlier attempts are kept.';
  return 'Points that are to be measured again come before all others. Earlier attempts are kept.';
}

/** What the signs and keys of the grid mean. */
export function GridHelp({ state, onBench }: { readonly state: RunState; readonly onBench: boolean }) {
  return (
    <section className="section" aria-label="Signs and keys of the grid">
      <ul className="run-legend" aria-label="What the signs mean">
        {looks.map(({ look, glyph, word, meaning }) => (
          <li key={look} title={meaning}>
            <span className={`run-cell run-key run-look-${look}`} aria-hidden="true">
              {glyph}
            </span>{' '}
            {word}
          </li>
        ))}
      </ul>
      {state.plan.targets !== undefined && <TargetsLegend />}
      <p className="small quiet">{againWords(state, onBench)}</p>
      <p className="small quiet run-keys">
        In the grid: arrows move, <kbd>Enter</kbd> opens, <kbd>Space</kbd> selects, <kbd>Shift</kbd> with arrows selects a block, <kbd>Ctrl+A</kbd> the sheet, <kbd>F</kbd> all failed (<kbd>Alt+F</kbd> from anywhere), <kbd>N</kbd> goes to the next failed, <kbd>M</kbd> measures again,{' '}
        <kbd>Esc</kbd> clears.
      </p>
    </section>
  );
}

interface SheetChoiceProps {
  readonly sheets: readonly Sheet[];
  readonly state: RunState;
  readonly shown: string;
  readonly following: boolean;
  readonly onChoose: (key: string | null) => void;
}

function SheetChoice({ sheets, state, shown, following, onChoose }: SheetChoiceProps) {
  return (
    <div className="run-sheets" role="group" aria-label="Sheet" tabIndex={-1}>
      {sheets.map((sheet) => {
        const { accepted, failed, running } = tallyOf(state, sheet.points);
        return (
          <button key={sheet.key} type="button" className="button button-plain run-sheet" title={sheet.label} aria-pressed={sheet.key === shown} onClick={() => onChoose(sheet.key)}>
            <span>
              {running > 0 && <span aria-hidden="true">▶ </span>}
              {sheet.short}
            </span>
            <span className="run-sheet-count">
              {accepted}/{sheet.points.length}
              {failed > 0 && ` × ${failed}`}
            </span>
          </button>
        );
      })}
      <button type="button" className="button button-plain run-sheet" aria-pressed={following} onClick={() => onChoose(null)}>
        Follow the run
      </button>
    </div>
  );
}
