import { endingWords } from '../../app/run/ending.ts';
import type { RunStatus } from '../../app/run/engine.ts';
import type { Mode } from '../../app/journal/state.ts';
import { unconfirmedWords } from '../../app/run/safe-words.ts';
import { endingTone } from '../components/endings.ts';
import { Status } from '../components/status.tsx';
import type { Tone } from '../components/status.tsx';
import { useHost } from '../host/host.ts';
import type { HostState } from '../host/host.ts';
import { useLatest } from '../host/use-latest.ts';
import { saidChanges } from './said-changes.ts';

/** How things stand, in words, on every page: host, bench, run, control. */
export function NowLine() {
  const host = useHost();
  const bench = benchInWords(host);
  const run = runInWords(host);
  const control = controlInWords(host);
  return (
    <div className="frame-now" role="group" aria-label="How things stand">
      <One is="bench" words={bench} />
      <Armed host={host} />
      <One is="run" words={run} />
      <One is="control" words={control} />
      {/* Not each accepted point: a reader of the screen is told what has changed (WIN-136). */}
      <span className="unseen" role="status" aria-label="What has changed">
        {saidChanges(bench.text, run.text, control.text)}
      </span>
    </div>
  );
}

/** Where all of it has no room in the line, who holds control gives way first and what the run does last (WIN-94); the whole of it stands in its title. */
function One({ is, words: { tone, text } }: { readonly is: 'bench' | 'run' | 'control'; readonly words: Words }) {
  return (
    <span className={`frame-now-${is}`} title={text}>
      <Status tone={tone}>{text}</Status>
    </span>
  );
}

/** s. Older than this, the frame says what was and not what is. */
const staleAfter = 1.5;

/** Whether the drivers are energised, on every page (WIN-11): in words, with a frame of its own, never by colour alone. */
function Armed({ host: { line, bench } }: { readonly host: Pick<HostState, 'line' | 'bench'> }) {
  const { latest, age } = useLatest();
  if (bench.state !== 'connected') return null;
  if (line.state !== 'up' || !bench.up || latest === null || (age ?? Infinity) > staleAfter) return <Status tone="unknown">Armed or not: not known</Status>;
  return latest.frame.armed ? (
    <span className="frame-armed">
      <Status tone="note">ARMED: drivers are energised</Status>
    </span>
  ) : (
    <Status tone="off">Disarmed</Status>
  );
}

interface Words {
  readonly tone: Tone;
  readonly text: string;
}

function benchInWords({ line, bench }: Pick<HostState, 'line' | 'bench'>): Words {
  if (line.state === 'gone') return { tone: 'bad', text: 'Host gone' };
  if (line.state === 'connecting') return { tone: 'busy', text: 'Looking for the host' };
  switch (bench.state) {
    case 'absent':
      return { tone: 'off', text: 'No bench connected' };
    case 'connecting':
      return { tone: 'busy', text: `Connecting to ${bench.to}` };
    case 'connected': {
      const name = `${bench.simulated ? 'Simulated bench' : 'Bench'} ${bench.identity.serialNumber}`;
      return bench.up ? { tone: 'good', text: `${name} connected${bench.speed === 1 ? '' : ` (${bench.speed}×)`}` } : { tone: 'bad', text: `${name}: link lost` };
    }
  }
}

const modes: Readonly<Record<Exclude<Mode, 'ended'>, Words>> = {
  ready: { tone: 'off', text: 'Run ready to start' },
  proving: { tone: 'busy', text: 'Run: proving the watchdog' },
  measuring: { tone: 'busy', text: 'Run: measuring' },
  'making-safe': { tone: 'busy', text: 'Run: making safe' },
  paused: { tone: 'note', text: 'Run paused' },
  held: { tone: 'note', text: 'Run held by a guard' },
  tripped: { tone: 'bad', text: 'Run tripped: needs you' },
};

function runInWords({ line, openRun, status }: HostState): Words {
  if (line.state !== 'up') return { tone: 'unknown', text: 'Run: not known' };
  if (openRun === null) return { tone: 'off', text: 'No run open' };
  if (status === null) return { tone: 'busy', text: 'Run open' };
  const { progress, safe } = status.status;
  const words = runWords(status.status);
  const unconfirmed = safe === false ? `, bench ${unconfirmedWords}` : '';
  return { tone: safe === false ? 'bad' : words.tone, text: `${words.text}${unconfirmed}, ${progress.accepted} of ${progress.points} points accepted` };
}

function runWords({ mode, ending }: RunStatus): Words {
  if (mode !== 'ended') return modes[mode];
  return { tone: endingTone(ending), text: `Run ended: ${endingWords(ending)}` };
}

function controlInWords({ line, control }: HostState): Words {
  if (line.state !== 'up') return { tone: 'unknown', text: 'Control: not known' };
  const others = control.windows > 1 ? `, ${control.windows - 1} other ${control.windows === 2 ? 'window watches' : 'windows watch'}` : '';
  if (control.mine) return { tone: 'good', text: `You hold control${others}` };
  return control.holder === null ? { tone: 'off', text: 'Nobody holds control' } : { tone: 'note', text: `Watching: ${control.holder} holds control` };
}
