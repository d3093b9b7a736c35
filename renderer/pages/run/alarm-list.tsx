import { shownText } from '../../components/shown-text.ts';
import { memo } from 'react';
import { timeOfDay } from '../../components/dates.ts';
import { Section } from '../../components/page.tsx';
import { alarmWords, alarmsInOrder } from '../../../app/results/alarms.ts';
import type { Alarm } from '../../../app/results/alarms.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { plural } from '../../components/plural.ts';

const shownAtOnce = 12;

/** What is wrong now, in full: it stands above everything else until it is over. */
const StandingAlarms = memo(function StandingAlarms({ alarms, head }: { readonly alarms: readonly Alarm[]; readonly head: string }) {
  const all = alarmsInOrder(alarms).filter((alarm) => alarm.endedAt === null);
  // A fault that tripped the run is one thing to read, not two.
  const standing = all.filter((alarm) => alarm.kind !== 'fault' || !all.some((other) => other.kind === 'trip' && other.text === alarm.text));
  return (
    <div role="alert" aria-label="Alarms that stand" className="run-standing">
      {standing.map((alarm) => (
        <div key={alarm.seq} className={`run-alarm run-alarm-${alarm.kind}`}>
          <p>
            <span className="run-alarm-glyph" aria-hidden="true">
              {alarmWords[alarm.kind].glyph}
            </span>{' '}
            <strong>{alarmWords[alarm.kind].word}. </strong>
            {/* Who sees the page reads it once, in the head of the run; who hears it is told with the alarm (WIN-192). */}
            <span className={head.includes(alarm.text) ? 'unseen' : undefined}>{shownText(alarm.text)}</span> <span className="quiet">since {timeOfDay(alarm.at)}</span>
          </p>
          {/* A note does not stop the run: what it means stands in the list. */}
          {alarm.kind !== 'note' && (
            <p>
              {alarm.meaning} <strong>{alarm.action}</strong>
            </p>
          )}
        </div>
      ))}
    </div>
  );
});

/** What stands, beside the points and always in sight, in a place of its own: nothing else moves when it changes. `head`: what the head of the page calls a person for. */
export const AlarmsNow = memo(function AlarmsNow({ alarms, rejected, head }: { readonly alarms: readonly Alarm[]; readonly rejected: number; readonly head: string }) {
  const standing = alarms.filter((alarm) => alarm.endedAt === null).length;
  const last = alarmsInOrder(alarms).find((alarm) => alarm.endedAt !== null);
  return (
    <section className="section run-alarms-now" aria-label="Alarms that stand, and the last one">
      <header className="section-head">
        <h2>{standing === 0 ? 'No alarm stands' : plural(standing, 'alarm stands', 'alarms stand')}</h2>
        <button type="button" className="button button-quiet run-small" onClick={() => document.getElementById('all-alarms')?.scrollIntoView()}>
          {alarms.length > 1 ? `All ${alarms.length} alarms` : 'All alarms'}
        </button>
      </header>
      <StandingAlarms alarms={alarms} head={head} />
      {standing === 0 && (
        <p className="small quiet">
          {last !== undefined ? `Last: ${timeOfDay(last.at)} ${alarmWords[last.kind].word}: ${shownText(last.text)}` : rejected > 0 ? `${plural(rejected, 'attempt was', 'attempts were')} rejected by ${rejected === 1 ? 'its' : 'their'} limits.` : 'None so far.'}
        </p>
      )}
    </section>
  );
});

const namedAtMost = 20;

/** What the judge turned down: it stops nothing, and is no reason to say that nothing was wrong. */
function failedSentence(failed: readonly number[], rejected: number): string {
  const turnedDown = `${plural(rejected, 'attempt was', 'attempts were')} rejected by ${rejected === 1 ? 'its' : 'their'} limits.`;
  if (failed.length === 0) return `${turnedDown} Every point of them has been accepted since, or is still to be repeated.`;
  const named = failed.slice(0, namedAtMost).map(shownPoint).join(', ');
  return `${turnedDown} ${plural(failed.length, 'point has', 'points have')} failed: ${named}${failed.length > namedAtMost ? ` and ${failed.length - namedAtMost} more` : ''}. Look at what their attempts say, then measure them again.`;
}

/** All alarms of the run: those that stand, then the ones that are over, newest first. */
export const AlarmList = memo(function AlarmList({ alarms, failed, rejected }: { readonly alarms: readonly Alarm[]; readonly failed: readonly number[]; readonly rejected: number }) {
  const inOrder = alarmsInOrder(alarms);
  const standing = inOrder.filter((alarm) => alarm.endedAt === null).length;
  const rest = inOrder.slice(shownAtOnce);
  return (
    <div id="all-alarms" className="run-all-alarms">
    <Section title="Alarms" wide aside={<span className="small quiet">{alarms.length === 0 ? 'None so far' : `${standing} standing, ${alarms.length - standing} over`}</span>}>
      {rejected > 0 && <p>{failedSentence(failed, rejected)}</p>}
      {alarms.length === 0 && rejected === 0 && <p className="quiet">Nothing has gone wrong in this run. What guards, controller, link or a STOP report is listed here and stays.</p>}
      {alarms.length > 0 && (
        <>
          <Alarms alarms={inOrder.slice(0, shownAtOnce)} />
          {rest.length > 0 && (
            <details>
              <summary>{plural(rest.length, 'earlier one')}</summary>
              <Alarms alarms={rest} />
            </details>
          )}
        </>
      )}
    </Section>
    </div>
  );
});

function Alarms({ alarms }: { readonly alarms: readonly Alarm[] }) {
  return (
    <div className="run-scroll" role="region" aria-label="Table of alarms" tabIndex={0}>
      <table className="plain run-alarms">
        <thead>
          <tr>
            <th scope="col">Time</th>
            <th scope="col">What happened</th>
            <th scope="col">What it means</th>
            <th scope="col">What to do</th>
            <th scope="col">Now</th>
          </tr>
        </thead>
        <tbody>
          {alarms.map((alarm) => (
            <tr key={alarm.seq} className={alarm.endedAt === null ? 'run-alarm-stands' : undefined}>
              <td>{timeOfDay(alarm.at)}</td>
              <th scope="row">
                {alarmWords[alarm.kind].word}: <span>{shownText(alarm.text)}</span>
              </th>
              <td>{alarm.meaning}</td>
              <td>{alarm.action}</td>
              <td>{alarm.endedAt === null ? <strong>▲ stands</strong> : `✓ ${timeOfDay(alarm.endedAt)}: ${alarm.ended}`}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
