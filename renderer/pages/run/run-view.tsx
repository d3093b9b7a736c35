import { useMemo, useState } from 'react';
import type { Ending, RunEvent } from '../../../app/journal/events.ts';
import { pointsWithoutResult } from '../../../app/journal/targets.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { shownPoint, type Point } from '../../../app/plan/points.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { SerialLink } from '../../components/serial-link.tsx';
import { NotTraceable } from '../../components/not-traceable.tsx';
import { Page } from '../../components/page.tsx';
import { calledFor } from './words.ts';
import { Notice } from '../../components/status.tsx';
import { usePlaceInRun } from '../../address/place-in-run.ts';
import { filmOfRoute, pathOfInstant } from '../../address/places.ts';
import { goTo, pathTo, useRoute } from '../../address/route.ts';
import { Notes } from './notes.tsx';
import { ask, useHost, useRun } from '../../host/host.ts';
import { AlarmList, AlarmsNow } from './alarm-list.tsx';
import { BenchTimePart } from './bench-time-part.tsx';
import { AnswerLine } from './answer.tsx';
import { rejectedPoints, tallyOf } from './cells.ts';
import { CommandBar } from './command-bar.tsx';
import { FilmView } from './film-view.tsx';
import { logOf } from './log.ts';
import type { RunLog } from './log.ts';
import { NowPanel } from './now-panel.tsx';
import { PointPanel } from './point-panel.tsx';
import { GridHelp, PointsPart } from './points-part.tsx';
import { BenchStrips } from './strips.tsx';
import { useCommands } from './use-commands.ts';
import type { RunCommands } from './use-commands.ts';
import { useTargets } from './use-targets.ts';
import { useWork } from './use-work.ts';
import { plural } from '../../components/plural.ts';

export function RunView({ id }: { readonly id: string }) {
  const journal = useRun(id);
  const route = useRoute();
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
  if (filmOfRoute(route) !== null) return <FilmView id={id} events={journal.events} />;
  return <LoadedRun id={id} state={journal.state} events={journal.events} problem={journal.problem} />;
}

interface LoadedRunProps {
  readonly id: string;
  readonly state: RunState;
  readonly events: readonly RunEvent[];
  readonly problem: string;
}

function LoadedRun({ id, state: stored, events, problem }: LoadedRunProps) {
  const host = useHost();
  const onBench = host.openRun === id;
  const state = useMemo(() => (onBench ? stored : asLeft(stored)), [onBench, stored]);
  const status = host.status?.id === id ? host.status.status : null;
  const log = logOf(events);
  const { plan } = state;
  const points = state.setPoints;
  const current = state.current === null ? null : (points[state.current.point] ?? null);
  const commands = useCommands(id, onBench);
  const work = useWork(state, log.latestPoint, commands);
  const { attempt } = usePlaceInRun(id, work.opened, work.openNamed);
  const lastAt = events.at(-1)?.at ?? 0;
  const targets = useTargets(state);
  const tally = useMemo(() => tallyOf(state, points.keys()), [state, points]);
  const alarms = onBench ? log.alarms : over;
  const speed = onBench && host.bench.state === 'connected' ? host.bench.speed : 1;

  return (
    <Page
      title="Run"
      dense
      lead={<Lead state={state} openedAt={log.openedAt} />}
      actions={<PageActions id={id} state={state} onBench={onBench} />}
    >
      <div className="run-cockpit">
        <div className="run-left">
          {problem !== '' && <Notice tone="note">The journal could not be read to its end: {problem}</Notice>}
          <NotTraceable reasons={state.notTraceable} />
          {onBench && <OutOfDate state={state} commands={commands} />}
          <NowPanel state={state} log={log} status={onBench ? status : null} tally={tally} point={current} now={onBench ? Math.max(lastAt, Date.now()) : lastAt} onBench={onBench} speed={speed} targets={targets} />
          {onBench && state.mode === 'ended' ? <Ended id={id} state={state} commands={commands} /> : onBench ? <CommandBar state={state} status={status} commands={commands} /> : <NotOnBench id={id} state={state} commands={commands} cut={stored.current} lastAt={lastAt} />}
          <PointsPart state={state} onBench={onBench} commands={commands} work={work} targets={targets} decision={log.lastDecision} />
        </div>
        <div className="run-side">
          {onBench && <BenchStrips plan={plan} point={current} speed={speed} />}
          <AlarmsNow alarms={alarms} rejected={log.rejected} head={calledFor(state)} />
          {work.shownPoint !== undefined && (
            <PointPanel
              state={state} log={log} point={work.shownPoint} commands={commands} following={work.opened === null} focusRequest={work.panelFocus}
              onFollow={work.follow} onLeave={work.leavePanel} attempt={attempt}
              notes={<PointNotes id={id} state={state} events={events} point={work.shownPoint} attempt={attempt} />}
            />
          )}
        </div>
      </div>
      <AlarmList alarms={log.alarms} failed={work.failed} rejected={log.rejected} />
      <BenchTimePart events={events} revision={log.revision} />
      <section className="section" aria-label="Notes">
        <Notes run={id} events={events} about={ofTheRun} name="this run" />
      </section>
      <GridHelp state={state} onBench={onBench} />
    </Page>
  );
}

const over: RunLog['alarms'] = [];
/** Nothing is being measured in a run that is not on the bench, whatever its journal ends with (WIN-58). */
const asLeft = (state: RunState): RunState => (state.current === null ? state : { ...state, current: null });

const ofTheRun = { point: null, attempt: null, injector: null };

/** Of a point, of the attempt that a link leads to, and of its injector. */
function PointNotes({ id, state, events, point, attempt }: { readonly id: string; readonly state: RunState; readonly events: readonly RunEvent[]; readonly point: Point; readonly attempt: number | null }) {
  const injector = state.plan.injectors[point.injector];
  return (
    <>
      <Notes run={id} events={events} about={{ point: point.index, attempt: null, injector: null }} name="this point" />
      {state.points.at(point.index)?.attempts.map(({ attempt: number }) => (
        <Notes key={number} run={id} events={events} about={{ point: point.index, attempt: number, injector: null }} name={`attempt ${number}${number === attempt ? ', to which the link led' : ''}`} />
      ))}
      {injector !== undefined && (
        <p className="small">
          Life of <SerialLink of={injector.serialNumber} />
        </p>
      )}
      {injector !== undefined && <Notes run={id} events={events} about={{ point: null, attempt: null, injector: point.injector }} name={`injector ${injector.serialNumber}`} />}
    </>
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

/** Whose run it is, on one line at 1366 (WIN-19). */
function Lead({ state: { plan, operator, qualification }, openedAt }: { readonly state: RunState; readonly openedAt: number }) {
  return (
    <>
      <strong>{plan.name}</strong>
      {plan.order === '' ? '' : ` · job ${plan.order}`} · {operator} · opened {dateTimeText(openedAt)}
      {qualification === null ? '' : ` · bench qualified until ${dateTimeText(qualification.until)}`}
    </>
  );
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
          Close the run for now
        </Button>
      )}
      <a className="button" href={pathOfInstant(id)}>
        Film
      </a>
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
      Measuring them opens the run again with the checks of a start: the watchdog is proved, then the plan goes on where it has no result, with its repeats. What was accepted stays.
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
function NotOnBench({ id, state, commands, cut, lastAt }: { readonly id: string; readonly state: RunState; readonly commands: RunCommands; readonly cut: RunState['current']; readonly lastAt: number }) {
  const { bench, control, openRun } = useHost();
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState('');
  const against = !control.mine
    ? 'This window only watches. Take control first.'
    : openRun !== null
      ? 'Another run is open on the bench. Close that one first.'
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
        : `${cut === null ? '' : `The program that measured ended without a word after ${dateTimeText(lastAt)}, during attempt ${cut.attempt} of point ${shownPoint(cut.point)}; that attempt is lost, and the point is measured again. `}This run is unfinished and is shown from the archive. Opening it on the bench makes the bench safe and drives nothing; after that you resume it.`}
      {problem !== '' && <strong> {problem}</strong>}
    </Notice>
    <AnswerLine commands={commands} place="bar" />
    </>
  );
}
