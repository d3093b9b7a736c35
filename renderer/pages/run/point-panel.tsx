import { shownText } from '../../components/shown-text.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { memo, useEffect, useMemo, useRef, useState } from 'react';
import type { ReactNode } from 'react';
import { densityOfRun } from '../../../app/fluid/density-of-run.ts';
import type { Point } from '../../../app/plan/points.ts';
import { celsius, pascals } from '../../../app/quantities/quantity.ts';
import { countingAttempts } from '../../../app/reduce/counting.ts';
import { leakDuring, leakOf } from '../../../app/reduce/leak.ts';
import { criterionShown } from '../../components/criterion-shown.ts';
import type { Criterion } from '../../../app/journal/events.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { handling } from '../../../app/run/machine.ts';
import { Button } from '../../components/button.tsx';
import { LeaveButton } from '../../components/leave-button.tsx';
import { pathOfInstant } from '../../address/places.ts';
import { timeOfDay } from '../../components/dates.ts';
import { Choice, TextInput } from '../../components/field.tsx';
import { useTyped } from '../../typed/typed.ts';
import { useUnits } from '../../settings/units.ts';
import { AnswerLine } from './answer.tsx';
import { glyphOf, lookOf, looks, pressureMoveText } from './cells.ts';
import type { AttemptRecord } from '../../../app/journal/state.ts';
import type { AttemptDetail, RunLog } from './log.ts';
import { massText, readingsOf } from './readings.ts';
import type { ReadingContext } from './readings.ts';
import { pointWords } from './sheets.ts';
import type { RunCommands, SentCommand } from './use-commands.ts';
import { attemptKey, reasonWords, verdictWords } from '../../components/attempts.ts';
import { plural } from '../../components/plural.ts';
import { countingText, tookText } from './words.ts';


interface PointPanelProps {
  readonly state: RunState;
  readonly log: RunLog;
  readonly point: Point;
  readonly commands: RunCommands;
  /** true: the panel shows the point that is being measured, whichever it is. */
  readonly following: boolean;
  readonly onFollow: () => void;
  /** Back to the cell of the point. */
  readonly onLeave: () => void;
  /** Changes when the panel is to take the focus. */
  readonly focusRequest: number;
  /** Number of the attempt that a link leads to; null: none. */
  readonly attempt: number | null;
  readonly notes: ReactNode;
}

/** One point: how it stands, every attempt with what was found and allowed, which one counts and why, what can be done. */
export const PointPanel = memo(function PointPanel({ state, log, point, commands, following, onFollow, onLeave, focusRequest, attempt: linked, notes }: PointPanelProps) {
  const heading = useRef<HTMLHeadingElement>(null);
  const seen = useRef(focusRequest);
  useEffect(() => {
    if (seen.current !== focusRequest) heading.current?.focus();
    seen.current = focusRequest;
  }, [focusRequest]);
  const { plan, equipment } = state;
  const density = densityOfRun(equipment, celsius(plan.reduction.referenceC), pascals(point.pressure + equipment.ambientKpa * 1e3))?.density ?? null;
  const units = useUnits(density);
  const leak = useMemo(() => leakOf(state.setPoints, countingAttempts(state), equipment), [state, equipment]);
  const record = state.points.at(point.index);
  if (record === undefined) return null;
  const look = lookOf(state, point.index);
  const meaning = looks.find((entry) => entry.look === look)?.meaning ?? '';
  const newest = record.attempts.length;
  const shownMove = pressureMoveText(state, [point.index]);
  return (
    <section
      className="section run-point"
      aria-label="Point"
      onKeyDown={(event) => {
        if (event.key === 'Escape' && !(event.target instanceof HTMLInputElement)) onLeave();
      }}
    >
      <header className="section-head">
        <h2 ref={heading} tabIndex={-1}>
          Point {shownPoint(point.index)}
        </h2>
        {following ? (
          <span className="small quiet">Follows the run</span>
        ) : (
          <Button kind="quiet" onPress={onFollow}>
            Follow the run
          </Button>
        )}
      </header>
      <p>{pointWords(plan, point)}</p>
      <p>
        <span className={`run-cell run-key run-look-${look}`} aria-hidden="true">
          {glyphOf(look)}
        </span>{' '}
        <strong>{looks.find((entry) => entry.look === look)?.word}</strong>: {record.skipped ?? meaning}
      </p>
      <p>{countingText(record)}</p>
      {shownMove !== '' && <p className="small quiet">{shownMove}</p>}
      <PointActions key={point.index} state={state} point={point.index} commands={commands} onDecided={() => heading.current?.focus()} />
      <AnswerLine commands={commands} place="panel" />
      {record.attempts.length === 0 && <p className="quiet">There is no attempt at this point yet.</p>}
      {record.attempts.toReversed().map((attempt) => (
        <Attempt
          key={attempt.attempt}
          run={commands.id}
          attempt={attempt}
          going={state.current?.point === point.index}
          detail={log.attempts.get(attemptKey(point.index, attempt.attempt))}
          counts={record.chosen === attempt.attempt}
          point={point}
          context={{ plan, equipment, units, leak: leakDuring(leak, point.index, attempt.attempt), capabilities: state.bench?.capabilities ?? null }}
          open={linked === null ? attempt.attempt === newest || record.chosen === attempt.attempt : attempt.attempt === linked}
        />
      ))}
      {notes}
      {units.statement !== '' && <p className="small quiet">{units.statement}</p>}
    </section>
  );
});

interface PointActionsProps {
  readonly state: RunState;
  readonly point: number;
  readonly commands: RunCommands;
  /** The form of the decision has gone and took the focus with it. */
  readonly onDecided: () => void;
}

function PointActions({ state, point, commands, onDecided }: PointActionsProps) {
  const decision = { name: `run/decide/${commands.id}/${point}`, title: `Reason at point ${shownPoint(point)}` };
  const [begun] = useTyped(decision.name, '', { title: decision.title, work: true });
  const [deciding, setDeciding] = useState(begun !== '');
  const record = state.points.at(point);
  const running = state.current?.point === point;
  const send = (label: string, command: SentCommand) => void commands.send('panel', label, [command]);
  const skip = handling[state.mode]['skip-point'];
  const skipAgainst =
    skip.kind === 'refused' ? skip.why
    : record?.skipped != null ? 'It is left out already.'
    : record?.chosen != null ? 'It has an attempt that counts. To withdraw that, decide that none counts.'
    : '';
  return (
    <>
      <div className="button-row">
        <Button
          against={commands.against === '' && record?.queued === true ? 'It is to be measured again already.' : commands.against}
          onPress={() => send(`Measure point ${shownPoint(point)} again`, { kind: 'measure-again', points: [point] })}
        >
          {(record?.attempts.length ?? 0) === 0 ? 'Measure next' : 'Measure again'}
        </Button>
        {skipAgainst === '' && (
          <Button against={commands.against} onPress={() => send(`Leave point ${shownPoint(point)} out`, { kind: 'skip-point', point })}>
            {running ? 'Leave out and go on' : 'Leave out'}
          </Button>
        )}
        {record?.attempts.some((attempt) => attempt.window !== null) === true && !deciding && (
          <Button against={commands.against} onPress={() => setDeciding(true)}>
            Choose the reported attempt
          </Button>
        )}
      </div>
      {deciding && record !== undefined && (
        <Decision
          key={point}
          name={decision.name}
          title={decision.title}
          attempts={record.attempts}
          chosen={record.chosen}
          commands={commands}
          onDone={() => {
            setDeciding(false);
            onDecided();
          }}
          onDecide={(attempt, reason) => commands.send('panel', attempt === null ? 'None counts' : `Attempt ${attempt} counts`, [{ kind: 'choose', point, attempt, reason }])}
        />
      )}
    </>
  );
}

interface DecisionProps {
  /** Under which the reason is kept until it is given. */
  readonly name: string;
  readonly title: string;
  readonly attempts: readonly AttemptRecord[];
  readonly chosen: number | null;
  readonly commands: RunCommands;
  readonly onDecide: (attempt: number | null, reason: string) => Promise<boolean>;
  readonly onDone: () => void;
}

/** A person's decision which attempt counts; it needs a reason, which stays in the record. */
function Decision({ name, title, attempts, chosen, commands, onDecide, onDone }: DecisionProps) {
  const choices = [
    ...attempts.filter((attempt) => attempt.window !== null).map(({ attempt, verdict }) => ({
      value: String(attempt),
      text: `Attempt ${attempt}${verdict === null ? '' : `, ${verdictWords(verdict)}`}${attempt === chosen ? ', counts now' : ''}`,
    })),
    { value: 'none', text: 'None counts' },
  ];
  const [choice, setChoice] = useState(() => choices.find(({ value }) => value !== String(chosen))?.value ?? 'none');
  const [reason, setReason] = useTyped(name, '', { title, work: true });
  const [problem, setProblem] = useState('');
  const leave = (): void => {
    setReason('');
    onDone();
  };
  const decide = async (): Promise<void> => {
    if (reason.trim() === '') {
      setProblem('A decision needs a reason. It stays in the record of the run.');
      return;
    }
    if (await onDecide(choice === 'none' ? null : Number(choice), reason.trim())) leave();
  };
  return (
    <div className="run-decision" role="group" aria-label="Decide which attempt counts">
      <Choice label="What counts" value={choice} options={choices} onChange={setChoice} />
      <TextInput label="Reason" hint="Stays in the record, with your name." value={reason} onChange={setReason} problem={problem} onEnter={() => void decide()} autoFocus />
      <div className="button-row">
        <Button against={commands.against} onPress={() => void decide()}>
          Decide so
        </Button>
        <LeaveButton reason={reason} onLeave={leave} />
      </div>
    </div>
  );
}

const longestNumber = 40;

interface AttemptProps {
  readonly run: string;
  readonly attempt: AttemptRecord;
  /** Its point is being measured: an attempt without a verdict goes on. */
  readonly going: boolean;
  readonly detail: AttemptDetail | undefined;
  readonly counts: boolean;
  readonly point: Point;
  readonly context: ReadingContext;
  readonly open: boolean;
}

function Attempt({ run, attempt, going, detail, counts, point, context, open }: AttemptProps) {
  const { verdict, window, text, reason } = attempt;
  const word = verdict === null && !going ? 'not finished' : verdictWords(verdict);
  const glyph = verdict === null ? (going ? '▶' : '/') : verdict === 'accepted' ? '✓' : verdict === 'rejected' ? '×' : '/';
  const took = detail === undefined || detail.to === null ? '' : tookText((detail.to - detail.from) / 1e3, window === null ? 0 : window.to - window.from);
  return (
    <details className="run-attempt" open={open}>
      <summary>
        <span aria-hidden="true">{glyph} </span>
        <strong>
          Attempt {attempt.attempt}: {word}
        </strong>
        {counts && <span className="run-counts"> counts</span>}
        {window !== null && <span className="quiet"> · {massText(point, window, context)}</span>}
      </summary>
      <p className="small quiet">
        {detail === undefined ? '' : `${timeOfDay(detail.from)}${took}; `}
        {reasonWords[reason]}
        {detail !== undefined && (
          <>
            {' '}
            · <a href={pathOfInstant(run, detail.from)}>In the film</a>
          </>
        )}
      </p>
      {text !== '' && <p>{shownText(text)}</p>}
      {detail !== undefined && detail.criteria.length > 0 && <Criteria criteria={detail.criteria} />}
      {window !== null && (
        <details className="run-readings" open={open}>
          <summary>Readings</summary>
          <table className="plain run-nowrap">
            <thead>
              <tr>
                <th scope="col">Reading</th>
                <th scope="col" className="numeric">Found</th>
                <th scope="col">Plan</th>
              </tr>
            </thead>
            <tbody>
              {readingsOf(point, window, context).map((row) => (
                <tr key={row.label}>
                  <th scope="row">{row.label}</th>
                  {/* A sentence in the place of a number takes several lines. */}
                  <td className={row.value.length > longestNumber ? undefined : 'numeric'}>{row.value}</td>
                  <td className="quiet">{row.allowed}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </details>
      )}
      {window === null && verdict !== null && <p className="quiet">It never came to its measuring window, so there are no readings.</p>}
    </details>
  );
}

/** Limits that were not met are in sight; the met ones can be opened. */
function Criteria({ criteria }: { readonly criteria: readonly Criterion[] }) {
  const notMet = criteria.filter((criterion) => !criterion.passed);
  const met = criteria.filter((criterion) => criterion.passed);
  return (
    <>
      {notMet.length > 0 && <Limits criteria={notMet} />}
      {met.length > 0 && (
        <details className="run-readings">
          <summary>{notMet.length === 0 ? `✓ All ${plural(met.length, 'limit')} met` : `✓ ${plural(met.length, 'other limit')} met`}</summary>
          <Limits criteria={met} />
        </details>
      )}
    </>
  );
}

function Limits({ criteria }: { readonly criteria: readonly Criterion[] }) {
  return (
    <table className="plain run-criteria">
      <thead>
        <tr>
          <th scope="col">Limit</th>
          <th scope="col">Found and allowed</th>
        </tr>
      </thead>
      <tbody>
        {criteria.map((criterion) => ({ ...criterion, text: shownText(criterionShown(criterion)) })).map(({ rule, passed, text }) => (
          <tr key={`${rule} ${text}`} className={passed ? undefined : 'run-not-met'}>
            <th scope="row">
              <span>{passed ? '✓ met' : '✕ not met'}</span>
            </th>
            <td>{text}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
