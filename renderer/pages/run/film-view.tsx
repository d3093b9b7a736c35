import { useEffect, useMemo, useState } from 'react';
import type { RunEvent } from '../../../app/journal/events.ts';
import { calledFor } from './words.ts';
import { pathTo } from '../../address/route.ts';
import { Page } from '../../components/page.tsx';
import { ask } from '../../host/host.ts';
import { AlarmList, AlarmsNow } from './alarm-list.tsx';
import { tallyOf } from './cells.ts';
import { Film } from './film.ts';
import { FilmBar } from './film-bar.tsx';
import { FilmReadings } from './film-readings.ts';
import { FilmStrips } from './film-strips.tsx';
import { NowPanel } from './now-panel.tsx';
import { PointPanel } from './point-panel.tsx';
import { PointsPart } from './points-part.tsx';
import type { RunCommands } from './use-commands.ts';
import { usePlaying } from './use-playing.ts';
import { useTargets } from './use-targets.ts';
import { useWork } from './use-work.ts';

/** A run as it was at any instant, from what the archive holds of it. No command can be given from here. WIN-91, WIN-92 */
export function FilmView({ id, events }: { readonly id: string; readonly events: readonly RunEvent[] }) {
  const film = useMemo(() => new Film(events), [events]);
  const playing = usePlaying(id, film);
  const { instant } = playing;
  const readings = useReadings(id, instant);
  const { state, log } = film.at(instant);
  const commands = useNoCommands(id);
  const work = useWork(state, log.latestPoint, commands);
  const targets = useTargets(state);
  const tally = useMemo(() => tallyOf(state, state.setPoints.keys()), [state]);
  const current = state.current === null ? null : (state.setPoints[state.current.point] ?? null);
  const { plan } = state;
  return (
    <Page
      title="Film of a run"
      dense
      lead={
        <>
          <strong>{plan.name}</strong>
          {plan.order === '' ? '' : ` · job ${plan.order}`} · {state.operator}
        </>
      }
      actions={
        <>
          <a className="button" href={pathTo('journal', id, new Date(instant).toISOString())}>
            Journal at this instant
          </a>
          <a className="button" href={pathTo('run', id)}>
            The run as it is now
          </a>
        </>
      }
    >
      <div className="run-cockpit run-film">
        <div className="run-left">
          <FilmBar film={film} playing={playing} startedAt={log.startedAt} />
          <NowPanel state={state} log={log} status={null} tally={tally} point={current} now={instant} onBench speed={1} targets={targets} />
          <PointsPart state={state} onBench commands={commands} work={work} targets={targets} decision={log.lastDecision} />
        </div>
        <div className="run-side">
          <FilmStrips readings={readings} plan={plan} point={current} />
          <AlarmsNow alarms={log.alarms} rejected={log.rejected} head={calledFor(state)} />
          {work.shownPoint !== undefined && (
            <PointPanel
              state={state} log={log} point={work.shownPoint} commands={commands} following={work.opened === null} focusRequest={work.panelFocus}
              onFollow={work.follow} onLeave={work.leavePanel} attempt={null} notes={null}
            />
          )}
        </div>
      </div>
      <AlarmList alarms={log.alarms} failed={work.failed} rejected={log.rejected} />
    </Page>
  );
}

function useReadings(id: string, instant: number): FilmReadings {
  const [readings] = useState(() => new FilmReadings(async (stretch) => {
    const reply = await ask('run.signals', { id, ...stretch });
    return reply.ok ? reply.value.parts : null;
  }, instant));
  useEffect(() => readings.lookAt(instant), [readings, instant]);
  useEffect(() => () => readings.close(), [readings]);
  return readings;
}

const against = 'This is a film of what was: no command can be given from it. Go to the run as it is now first.';

/** In the place of the commands of a run: nothing is sent, and each control says why. */
function useNoCommands(id: string): RunCommands {
  const [answer, setAnswer] = useState<RunCommands['answer']>(null);
  return useMemo(
    () => ({
      id, against, answer, busy: false,
      send: (place, label) => {
        setAnswer({ place, label, accepted: false, text: against });
        return Promise.resolve(false);
      },
      refuse: (place, label, text) => setAnswer({ place, label, accepted: false, text }),
      forget: () => setAnswer(null),
    }),
    [id, answer],
  );
}
