import { quantityText } from '../../settings/quantities.ts';
import { shownText } from '../../components/shown-text.ts';
import { differenceShown, spreadOf, toShown, windowSignals } from '../../../app/bench/readings.ts';
import type { SignalId } from '../../../app/bench/readings.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { useEffect, useMemo, useRef, useState } from 'react';
import { Button } from '../../components/button.tsx';
import { TextInput } from '../../components/field.tsx';
import { Notice } from '../../components/status.tsx';
import { leakDuring } from '../../../app/reduce/leak.ts';
import { massPerPulse } from '../../../app/reduce/mass.ts';
import { useHostState } from '../../host/host.ts';
import { useTyped } from '../../typed/typed.ts';
import { settings } from '../../settings/settings.ts';
import { reasonWords, verdictWords } from '../../components/attempts.ts';
import { decisionOn, roleWords } from './attempts.ts';
import type { AttemptEnd, AttemptRow } from './attempts.ts';
import type { Amounts } from './amounts.ts';
import { Share } from './budget-table.tsx';
import { budgetOfMass, massSteps } from './budget-view.ts';
import { dateTimeText } from '../../components/dates.ts';
import { LeaveButton } from '../../components/leave-button.tsx';
import { decide, openOnBench } from './decide.ts';
import type { DecisionAnswer } from './decide.ts';
import { FigureTable } from './figure-table.tsx';
import { figureShown as figure, plainShown as plain } from '../../components/figures.ts';
import { LimitsHeld } from './limits-held.tsx';
import type { RunResults } from '../../../app/results/run-results.ts';

interface AttemptDetailsProps {
  readonly id: string;
  readonly row: AttemptRow;
  /** All attempts of its point. */
  readonly siblings: readonly AttemptRow[];
  readonly end: AttemptEnd | null;
  readonly results: RunResults;
  readonly amounts: Amounts;
  readonly onClose: () => void;
  readonly onOpen: (key: string) => void;
}

/** One attempt: readings, limits, the mass and its budget, and the decision whether it counts. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function AttemptDetails({ id, row, siblings, end, results, amounts, onClose, onOpen }: AttemptDetailsProps) {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => heading.current?.focus(), []);
  const { at, window } = row;
  const mass = useMemo(() => (window === null ? null : massPerPulse(at, window, results.equipment, results.plan.reduction, leakDuring(results.reduction.leak, at.index, row.attempt))), [at, window, results, row.attempt]);
  const budget = useMemo(() => (mass?.kind === 'mass' ? budgetOfMass(mass, results.equipment) : null), [mass, results]);
  const pulse = (kg: number): string => `${figure(amounts.pulse(kg), budget === null ? null : amounts.pulse(budget.mass.u))} ${amounts.pulseUnit}`;
  return (
    <section
      className="section attempt"
      aria-label={`Attempt ${row.attempt} of point ${shownPoint(at.index)}`}
      onKeyDown={(event) => {
        if (event.key === 'Escape') onClose();
      }}
    >
      <header className="section-head">
        <h2 ref={heading} tabIndex={-1}>
          Point {shownPoint(at.index)}, attempt {row.attempt}
        </h2>
        <Button kind="quiet" onPress={onClose} label="Close the attempt">
          Close
        </Button>
      </header>
      <p>
        {row.serialNumber}
        {roleWords(at.role)}: {plain(at.voltage)} V, {quantityText(at.pressure / 1e3, 'kPa')}, {at.role === 'zero' ? 'no pulses' : `width ${plain(at.width * 1e3)} ms, period ${plain(at.period * 1e3)} ms`}, {at.role === 'zero' || at.role === 'reference' ? 'no.' : 'replicate'} {at.replicate + 1}.
        {end !== null && ` Ended ${dateTimeText(end.at)}.`}
      </p>
      <p>
        <strong>{row.counts ? 'It counts.' : 'It does not count.'}</strong> {row.choice}
      </p>
      {row.text !== '' && <p>Verdict: {verdictWords(row.verdict)}. {shownText(row.text)}</p>}
      {siblings.length > 1 && (
        <div className="button-row" role="group" aria-label="Attempts of this point">
          {siblings.map((one) => (
            <button key={one.key} type="button" className="chart-toggle" aria-pressed={one.key === row.key} onClick={() => onOpen(one.key)}>
              Attempt {one.attempt}: {verdictWords(one.verdict)}
              {one.counts ? ', counts' : ''}
            </button>
          ))}
        </div>
      )}
      <Decide id={id} row={row} />
      <div className="attempt-pair">
        {window !== null && (
          <FigureTable
            caption="Readings of the window"
            columns={['Reading', 'Mean', 'Standard deviation', 'Set']}
            rows={[
              ...windowSignals.flatMap((signal) => {
                const of = spreadOf(window, signal.id);
                const digits = signal.digits + 1;
                const set: Readonly<Partial<Record<SignalId, number>>> = { pressure: at.pressure, supply: at.voltage };
                const setHere = set[signal.id];
                return of === undefined
                  ? []
                  : [{ key: signal.id, head: `${signal.label}, ${signal.shown}`, cells: [toShown(signal, of.mean).toFixed(digits), differenceShown(signal, of.sd).toFixed(digits), setHere === undefined ? '' : plain(toShown(signal, setHere))] }];
              }),
              { key: 'edges', head: 'Meter edges', cells: [window.edges, '', ''] },
              { key: 'pulses', head: 'Pulses', cells: [window.pulses, '', ''] },
              { key: 'length', head: 'Length, s', cells: [figure(window.to - window.from), '', ''] },
              { key: 'frames', head: 'Frames, missing of them', cells: [`${window.frames}, ${window.missingFrames}`, '', ''] },
            ]}
          />
        )}
        {end !== null && <LimitsHeld key={end.seq} id={id} seq={end.seq} />}
      </div>
      {mass?.kind === 'no-mass' && <Notice tone="note">No mass: {shownText(mass.text)}</Notice>}
      {window === null && <p className="quiet">It never came to a measuring window ({reasonWords[row.reason]}), so there is no mass.</p>}
      {mass?.kind === 'mass' && budget !== null && (
        <>
          <h3>Derivation of the mass</h3>
          <ol className="steps">
            {massSteps(mass, pulse).map((step) => (
              <li key={step}>{step}</li>
            ))}
          </ol>
          <FigureTable
            caption="Uncertainty budget of this mass"
            columns={['Source', 'What it is', 'Kind', 'Estimate', 'Standard uncertainty', 'Changes the mass by', 'Brings to the mass', 'Share of the variance']}
            words={[0, 1]}
            rows={budget.rows.map((term) => ({
              key: term.source,
              head: term.source,
              cells: [term.meaning, term.kind, term.estimate, term.u, term.sensitivity, term.contribution, <Share key="share" percent={term.sharePercent} />],
            }))}
          />
          <ol className="steps">
            {budget.steps.map((step) => (
              <li key={step}>{step}</li>
            ))}
          </ol>
        </>
      )}
    </section>
  );
}

/** Exclude it, or let it count: with a reason, by a name. Results follow at once; the journal keeps both. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
function Decide({ id, row }: { readonly id: string; readonly row: AttemptRow }) {
  const decision = decisionOn(row);
  const [reason, setReason] = useTyped(`results/decide/${id}/${row.at.index}.${row.attempt}`, '', { title: `Reason for attempt ${row.attempt} of point ${shownPoint(row.at.index)}`, work: true });
  const [asking, setAsking] = useState(reason !== '');
  const [by, setBy] = useState(settings().operator);
  const [busy, setBusy] = useState(false);
  const [tried, setTried] = useState(false);
  const [answer, setAnswer] = useState<DecisionAnswer | null>(null);
  const against = useHostState(({ line, control }) =>
    line.state !== 'up' ? 'The host cannot be reached, so nothing can be decided now.' : control.mine ? '' : 'This window only watches. Take control first; the button stands at the top.',
  );
  const send = async (openFirst: boolean): Promise<void> => {
    setTried(true);
    if (reason.trim() === '' || by.trim() === '') return;
    setBusy(true);
    const problem = openFirst ? await openOnBench(id) : '';
    const told = problem === '' ? await decide(id, row.at.index, decision.attempt, reason.trim(), by.trim()) : { accepted: false, text: problem, needsBench: true };
    setBusy(false);
    setAnswer(told);
    if (!told.accepted) return;
    setAsking(false);
    setTried(false);
    setReason('');
  };
  const leave = (): void => {
    setReason('');
    setAsking(false);
  };
  return (
    <div className="decide">
      {!asking && (
        <Button
          against={against === '' ? decision.against : against}
          onPress={() => {
            setAnswer(null);
            setAsking(true);
          }}
        >
          {decision.label}
        </Button>
      )}
      {asking && (
        <div
          className="decide-form"
          role="group"
          aria-label={decision.label}
          onKeyDown={(event) => {
            if (event.key !== 'Escape') return;
            event.stopPropagation();
            setAsking(false);
          }}
        >
          <h3>{decision.label}</h3>
          <TextInput label="Reason" hint="Recorded in the journal and in the report. Nothing is deleted; it can be decided otherwise later." value={reason} onChange={setReason} onEnter={() => void send(false)} autoFocus problem={tried && reason.trim() === '' ? 'A decision needs a reason.' : ''} />
          <TextInput label="Decided by" value={by} onChange={setBy} onEnter={() => void send(false)} problem={tried && by.trim() === '' ? 'Who decides?' : ''} />
          <div className="button-row">
            <Button busy={busy} against={against} onPress={() => void send(false)}>
              {decision.attempt === null ? 'Exclude it' : 'Let it count'}
            </Button>
            <LeaveButton reason={reason} onLeave={leave} />
          </div>
        </div>
      )}
      {answer !== null && (
        <Notice
          tone={answer.accepted ? 'good' : 'bad'}
          action={
            answer.needsBench ? (
              <Button busy={busy} onPress={() => void send(true)}>
                Continue the run on the bench and decide
              </Button>
            ) : undefined
          }
        >
          {answer.accepted ? 'Decided, and written to the journal. The results were worked out again.' : `Nothing was changed. ${answer.text}`}
        </Notice>
      )}
    </div>
  );
}
