import { memo, useCallback, useEffect, useMemo, useState } from 'react';
import type { Ending, RunEvent } from '../../../app/journal/events.ts';
import { pointsWithoutResult } from '../../../app/journal/targets.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { Button } from '../../components/button.tsx';
import { onWindowKeys } from '../../components/keys.ts';
import { dateTimeText } from '../../components/dates.ts';
import { NotTraceable } from '../../components/not-traceable.tsx';
import { Page } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { goTo, pathTo } from '../../address/route.ts';
import { ask, useHost, useRun } from '../../host/host.ts';
import { AlarmList, StandingAlarms } from './alarm-list.tsx';
import { AnswerLine } from './answer.tsx';
import { rejectedPoints, looks, tallyOf } from './cells.ts';
import { CommandBar } from './command-bar.tsx';
import { logOf } from './log.ts';
import { NowPanel } from './now-panel.tsx';
import { PointGrid } from './point-grid.tsx';
import { PointPanel } from './point-panel.tsx';
import { sheetsOf } from './sheets.ts';
import type { Sheet } from './sheets.ts';
import { useCommands } from './use-commands.ts';
import type { RunCommands } from './use-commands.ts';
import { atStart, placeOf } from './walk.ts';
import type { GridSelection } from './walk.ts';
import { plural } from './words.ts';

export function RunView({ id }: { readonly id: string }) {
  const journal = useRun(id);
  if (journal.phase === 'failed') {
    return (
      <Page title="Run">
        <Notice tone="bad" action={<Button onPress={() => goTo('run')}>Back</Button>}>
          The run {id} cannot be shown. {journal.problem}
        </Notice>
      </Page>
    );
  }
  if (journal.state === null || journal.phase === 'loading') {
    return (
      <Page title="Run">
        <p role="status">The journal of the run is being read ({plural(journal.revision, 'event')} so far).</p>
      </Page>
    );
  }
  return <LoadedRun id={id} state={journal.state} events={journal.events} problem={journal.problem} />;
}

interface LoadedRunProps {
  readonly id: string;
  readonly state: RunState;
  readonly events: readonly RunEvent[];
  readonly problem: string;
}

function LoadedRun({ id, state, events, problem }: LoadedRunProps) {
  const host = useHost();
  const onBench = host.openRun === id;
  const status = host.status?.id === id ? host.status.status : null;
  const log = logOf(events);
  const { plan } = state;
  const points = state.setPoints;
  const current = state.current === null ? null : (points[state.current.point] ?? null);
  const commands = useCommands(id, onBench);
  const lastAt = events.at(-1)?.at ?? 0;
  const tally = useMemo(() => tallyOf(state, points.keys()), [state, points]);

  return (
    <Page
      title="Run"
      lead={
        <>
          <strong>{plan.name}</strong>
          {plan.order === '' ? '' : ` · order ${plan.order}`} · {state.operator} · opened {dateTimeText(log.openedAt)}
        </>
      }
      actions={<PageActions id={id} state={state} onBench={onBench} />}
    >
      {problem !== '' && <Notice tone="note">The journal could not be read to its end: {problem}</Notice>}
      <NotTraceable reasons={state.notTraceable} />
      {onBench && <OutOfDate state={state} commands={commands} />}
      <StandingAlarms alarms={onBench ? log.alarms : []} />
      <NowPanel state={state} log={log} status={onBench ? status : null} tally={tally} point={current} now={onBench ? Math.max(lastAt, Date.now()) : lastAt} onBench={onBench} />
      {onBench && state.mode === 'ended' ? <Ended id={id} state={state} commands={commands} /> : onBench ? <CommandBar state={state} commands={commands} /> : <NotOnBench id={id} state={state} commands={commands} />}
      <Work state={state} events={events} onBench={onBench} commands={commands} points={points} />
    </Page>
  );
}

/** The sheet refuses instruments or fluid as out of date: a person may choose to measure all the same, before the run goes on. */
function OutOfDate({ state, commands }: { readonly state: RunState; readonly commands: RunCommands }) {
  const reasons = state.preflight.flatMap(({ result, untraceable }) => (result === 'refuse' && untraceable !== undefined ? [untraceable] : []));
  const rests = state.mode === 'ready' || state.mode === 'paused' || state.mode === 'ended';
  if (reasons.length === 0 || state.untraceableAccepted || !rests) return null;
  return (
    <Notice
      tone="bad"
      action={
        <Button against={commands.against} onPress={() => void commands.send('bar', 'Measure all the same', [{ kind: 'accept-untraceable' }])}>
          Measure all the same
        </Button>
      }
    >
      <strong>Out of date. </strong>
      {reasons.join(' ')} The run does not go on with that. If you choose to measure all the same, everything that it tells will say that it is not traceable, and the journal that you chose so.
    </Notice>
  );
}

/** Lets go of a run that rests; it can be opened again later. */
function usePutAway(id: string): { readonly putAway: () => void; readonly against: string; readonly problem: string } {
  const mine = useHost().control.mine;
  const [problem, setProblem] = useState('');
  const putAway = async (): Promise<void> => {
    const reply = await ask('run.close', { id });
    if (reply.ok) goTo('run');
    else setProblem(reply.failure.text);
  };
  return { putAway: () => void putAway(), against: mine ? '' : 'Take control first.', problem };
}

function PageActions({ id, state, onBench }: { readonly id: string; readonly state: RunState; readonly onBench: boolean }) {
  const { putAway, against, problem } = usePutAway(id);
  return (
    <>
      {state.counts.accepted > 0 && (
        <a className="button" href={pathTo('results', id)}>
          Results
        </a>
      )}
      {onBench && (state.mode === 'ready' || state.mode === 'paused') && (
        <Button against={against} onPress={putAway}>
          Put the run away for now
        </Button>
      )}
      {!onBench && <Button onPress={() => goTo('run')}>Back to the beginning</Button>}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
    </>
  );
}

/** What an ended run lacks, and the one press that measures it (WIN-14); also of a run that is not open on the bench. */
function Remaining({ state, commands }: { readonly state: RunState; readonly commands: RunCommands }) {
  const left = pointsWithoutResult(state);
  if (left.length === 0) return null;
  const failed = rejectedPoints(state).length;
  const label = `Measure the ${left.length === 1 ? 'point that has' : `${left.length} points that have`} no result`;
  return (
    <Notice
      tone="note"
      action={
        <Button kind="primary" against={commands.against} busy={commands.busy} onPress={() => void commands.send('bar', label, [{ kind: 'measure-remaining' }])}>
          {label}
        </Button>
      }
    >
      <strong>{plural(left.length, 'point has', 'points have')} no result{failed > 0 && failed < left.length ? `: ${failed} failed, ${left.length - failed} cut short or never tried` : failed > 0 ? ': measured, and failed' : ': cut short or never tried'}. </strong>
      Measuring them opens the run again with the checks of a start: the dead-man is proved, then the plan goes on where it has no result, with its repeats. What was accepted stays.
    </Notice>
  );
}

/** A run has ended: what can be done next, in place of the commands. */
function Ended({ id, state, commands }: { readonly id: string; readonly state: RunState; readonly commands: RunCommands }) {
  const { putAway, against, problem } = usePutAway(id);
  const whole = pointsWithoutResult(state).length === 0;
  return (
    <>
      <Remaining state={state} commands={commands} />
      <Notice
        tone="off"
        action={
          <Button kind={whole ? 'primary' : 'plain'} against={against} onPress={putAway}>
            Close the run
          </Button>
        }
      >
        <strong>{state.ending === null ? 'The run has ended. ' : `${endingSentences[state.ending]} `}</strong>
        Any point can still be measured again below. When you are done, close the run: everything is in the archive, and it can be opened again at any time.
        {problem !== '' && <strong> {problem}</strong>}
      </Notice>
      <AnswerLine commands={commands} place="bar" />
    </>
  );
}

const endingSentences: Readonly<Record<Ending, string>> = {
  complete: 'The run is complete.',
  'complete-with-failures': 'All points were attempted; some failed.',
  'finished-early': 'The run was finished early.',
  aborted: 'The run was aborted.',
  'emergency-stopped': 'The run was stopped with STOP.',
};

/** A stored run can be looked at without a bench; to go on with it, it is opened on one first. */
function NotOnBench({ id, state, commands }: { readonly id: string; readonly state: RunState; readonly commands: RunCommands }) {
  const { bench, control, openRun } = useHost();
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState('');
  const against = !control.mine
    ? 'This window only watches. Take control first.'
    : openRun !== null
      ? 'Another run is open on the bench. Put that away first.'
      : bench.state !== 'connected'
        ? 'No bench is connected.'
        : '';
  const open = async (): Promise<void> => {
    setBusy(true);
    const reply = await ask('run.continue', { id });
    setBusy(false);
    if (reply.ok) goTo('run');
    else setProblem(`The run was not opened on the bench. ${reply.failure.text}`);
  };
  const left = state.mode === 'ended' && against === '' && pointsWithoutResult(state).length > 0;
  return (
    <>
    {left && <Remaining state={state} commands={commands} />}
    <Notice
      tone="off"
      action={
        <Button kind={left ? 'plain' : 'primary'} against={against} busy={busy} onPress={() => void open()}>
          Open it on the bench
        </Button>
      }
    >
      {state.mode === 'ended'
        ? 'This run has ended and is shown from the archive. To measure points again it is opened on the bench first: that asks the bench who it is and makes the pre-flight sheet anew, and drives nothing.'
        : 'This run is unfinished and is shown from the archive. Opening it on the bench makes the bench safe and drives nothing; after that you resume it.'}
      {problem !== '' && <strong> {problem}</strong>}
    </Notice>
    <AnswerLine commands={commands} place="bar" />
    </>
  );
}

interface WorkProps {
  readonly state: RunState;
  readonly events: readonly RunEvent[];
  readonly onBench: boolean;
  readonly commands: RunCommands;
  readonly points: RunState['setPoints'];
}

/** The points: sheet, selection, what can be done with it, and the panel of one point. Drawn with the journal, not with every status. */
// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
const Work = memo(function Work({ state, events, onBench, commands, points }: WorkProps) {
  const { plan } = state;
  const log = logOf(events);
  const sheets = useMemo(() => sheetsOf(plan, points), [plan, points]);
  const [chosenSheet, setChosenSheet] = useState<string | null>(null);
  const [selection, setSelection] = useState<GridSelection>(atStart);
  const [opened, setOpened] = useState<number | null>(null);
  const [gridFocus, setGridFocus] = useState(0);
  const [panelFocus, setPanelFocus] = useState(0);

  const { current } = state;
  const runningSheet = sheets.find((sheet) => current !== null && sheet.points.includes(current.point));
  const [lastSheet, setLastSheet] = useState<string | null>(null);
  if (runningSheet !== undefined && runningSheet.key !== 'reference' && runningSheet.key !== lastSheet) setLastSheet(runningSheet.key);
  const sheet = sheets.find((one) => one.key === (chosenSheet ?? lastSheet)) ?? sheets[0];
  const failed = useMemo(() => rejectedPoints(state), [state]);
  const shownPoint = points[opened ?? current?.point ?? log.latestPoint ?? selectedPoint(sheet, selection) ?? 0];

  const selectFailed = useCallback(() => {
    const first = failed[0];
    const target = sheets.find((one) => one.points.some((point) => failed.includes(point)));
    if (first === undefined || target === undefined) {
      commands.refuse('points', 'Select all failed', 'No point has failed, so there is nothing to select.');
      return;
    }
    const here = sheet?.points.some((point) => failed.includes(point)) === true ? sheet : target;
    if (here !== sheet) setChosenSheet(here.key);
    const place = placeOf(here, failed.find((point) => here.points.includes(point)) ?? first) ?? { row: 0, column: 0 };
    setSelection({ focus: place, anchor: place, selected: new Set(failed) });
    setGridFocus((n) => n + 1);
  }, [failed, sheets, sheet, commands]);

  const measureAgain = useCallback(
    (indices: readonly number[]) => {
      const label = `Measure ${plural(indices.length, 'point')} again`;
      if (commands.against !== '') commands.refuse('points', label, commands.against);
      else if (indices.length === 0) commands.refuse('points', 'Measure again', 'No point is selected. Select points with Space, or all failed ones with F.');
      else {
        void commands.send('points', label, [{ kind: 'measure-again', points: [...indices].sort((a, b) => a - b) }]).then((accepted) => {
          if (!accepted) return;
          setSelection((old) => ({ ...old, selected: new Set() }));
          // The control that was pressed may be gone.
          setGridFocus((n) => n + 1);
        });
      }
    },
    [commands],
  );
  const follow = useCallback(() => setOpened(null), []);
  const shownIndex = shownPoint?.index ?? -1;
  const leavePanel = useCallback(() => {
    const place = sheet === undefined ? null : placeOf(sheet, shownIndex);
    if (place !== null) setSelection((old) => ({ ...old, focus: place, anchor: place }));
    setGridFocus((n) => n + 1);
  }, [sheet, shownIndex]);
  const marked = selection.selected.size > 0 ? [...selection.selected] : [];
  const underFocus = selectedPoint(sheet, selection);
  const leaveOut = (): void => {
    const wanted = marked.filter((index) => {
      const record = state.points.at(index);
      return record?.skipped === null && record.chosen === null;
    });
    if (wanted.length === 0) commands.refuse('points', 'Leave out', 'Every selected point is left out already or has an attempt that counts.');
    else void commands.send('points', `Leave ${plural(wanted.length, 'point')} out`, wanted.map((point) => ({ kind: 'skip-point', point })));
  };

  useEffect(
    () =>
      onWindowKeys({
        'Alt+KeyF': (event: KeyboardEvent) => {
          event.preventDefault();
          selectFailed();
        },
        'Alt+KeyM': (event: KeyboardEvent) => {
          event.preventDefault();
          if (!event.repeat) measureAgain(marked);
        },
      }),
    [selectFailed, measureAgain, selection],
  );

  if (sheet === undefined) return null;
  return (
    <div className="run-work">
      <div className="run-left">
        <section className="section" aria-label="Points">
          <header className="section-head">
            <h2>Points</h2>
            <span className="small quiet">{sheet.columnTitle}</span>
          </header>
          {sheets.length > 1 && <SheetChoice sheets={sheets} state={state} shown={sheet.key} following={chosenSheet === null} onChoose={setChosenSheet} />}
          <div className="run-selection">
            {(failed.length > 0 || marked.length > 0) && (
              <div className="button-row">
                {failed.length > 0 && (
                  <Button against={commands.against} onPress={() => measureAgain(failed)}>
                    Measure {failed.length === 1 ? 'the failed point' : `all ${failed.length} failed`} again
                  </Button>
                )}
                {marked.length > 0 ? (
                  <>
                    <Button against={commands.against} onPress={() => measureAgain(marked)}>
                      Measure {marked.length} selected again
                    </Button>
                    <Button against={commands.against} onPress={leaveOut}>
                      Leave them out
                    </Button>
                    <Button
                      kind="quiet"
                      onPress={() => {
                        setSelection((old) => ({ ...old, selected: new Set() }));
                        setGridFocus((n) => n + 1);
                      }}
                    >
                      Clear
                    </Button>
                  </>
                ) : (
                  failed.length > 0 && (
                    <Button kind="quiet" onPress={selectFailed}>
                      Select all failed
                    </Button>
                  )
                )}
              </div>
            )}
            {(failed.length > 0 || marked.length > 0) && <p className="small quiet">{againWords(state, onBench)}</p>}
            <AnswerLine commands={commands} place="points" />
          </div>
          <PointGrid
            plan={plan}
            points={points}
            sheet={sheet}
            state={state}
           
            selection={selection}
            opened={opened}
            focusRequest={gridFocus}
            onSelect={setSelection}
            onOpen={(point, byKey) => {
              setOpened(point);
              // The pointer leaves the focus in the grid, whose keys go on from the cell that was pointed at.
              if (byKey) setPanelFocus((n) => n + 1);
            }}
            onKey={(key) => {
              if (key === 'f') selectFailed();
              else if (key === 'm') measureAgain(marked.length > 0 ? marked : underFocus === null ? [] : [underFocus]);
              else return false;
              return true;
            }}
          />
          <Legend />
            <p className="small quiet run-keys">
            In the grid: arrows move, <kbd>Enter</kbd> opens, <kbd>Space</kbd> selects, <kbd>Shift</kbd> with arrows selects a block, <kbd>F</kbd> selects all failed (<kbd>Alt+F</kbd> from anywhere),{' '}
            <kbd>M</kbd> measures again, <kbd>Esc</kbd> clears.
          </p>
        </section>
        <AlarmList alarms={log.alarms} failed={failed} rejected={log.rejected} />
      </div>
      {shownPoint !== undefined && (
        <PointPanel
          state={state}
         
          log={log}
          point={shownPoint}
          commands={commands}
          onBench={onBench}
          following={opened === null}
          focusRequest={panelFocus}
          onFollow={follow}
          onLeave={leavePanel}
        />
      )}
    </div>
  );
});

function selectedPoint(sheet: Sheet | undefined, { focus }: GridSelection): number | null {
  return sheet?.rows[focus.row]?.points[focus.column] ?? null;
}

function againWords({ mode }: RunState, onBench: boolean): string {
  if (!onBench) return 'Measuring again opens this run on the bench first, then proves the dead-man and measures only these points. Earlier attempts are kept.';
  if (mode === 'ended') return 'Measuring again opens the run again: the dead-man is proved, then only these points are measured. Earlier attempts are kept.';
  if (mode === 'ready') return 'Points that are to be measured again come first once the run is started. Earlier attempts are kept.';
  return 'Points that are to be measured again come before all others. Earlier attempts are kept.';
}

function Legend() {
  return (
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
    <div className="run-sheets" role="group" aria-label="Pressure">
      {sheets.map((sheet) => {
        const { accepted, failed, running } = tallyOf(state, sheet.points);
        return (
          <button key={sheet.key} type="button" className="button button-plain run-sheet" aria-pressed={sheet.key === shown} onClick={() => onChoose(sheet.key)}>
            <span>
              {running > 0 && <span aria-hidden="true">▶ </span>}
              {sheet.label}
            </span>
            <span className="small">
              {accepted} of {sheet.points.length}
              {failed > 0 && `, × ${failed} failed`}
            </span>
          </button>
        );
      })}
      {!following && (
        <Button kind="quiet" onPress={() => onChoose(null)}>
          Follow the run
        </Button>
      )}
    </div>
  );
}
