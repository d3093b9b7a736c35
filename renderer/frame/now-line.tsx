import type { Mode } from '../../app/run/machine.ts';
import { Status } from '../components/status.tsx';
import type { Tone } from '../components/status.tsx';
import { useHost } from '../host/host.ts';
import type { HostState } from '../host/host.ts';

/** How things stand, in words, on every page: host, bench, run, control. */
export function NowLine() {
  const host = useHost();
  const bench = benchInWords(host);
  const run = runInWords(host);
  const control = controlInWords(host);
  return (
    <div className="frame-now" role="status" aria-label="How things stand">
      <Status tone={bench.tone}>{bench.text}</Status>
      <Status tone={run.tone}>{run.text}</Status>
      <Status tone={control.tone}>{control.text}</Status>
    </div>
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
      return bench.up ? { tone: 'good', text: `${name} connected` } : { tone: 'bad', text: `${name}: link lost` };
    }
  }
}

const modes: Readonly<Record<Mode, Words>> = {
  ready: { tone: 'off', text: 'Run ready to start' },
  proving: { tone: 'busy', text: 'Run: proving the dead-man' },
  measuring: { tone: 'busy', text: 'Run: measuring' },
  'making-safe': { tone: 'busy', text: 'Run: making safe' },
  paused: { tone: 'note', text: 'Run paused, bench safe' },
  held: { tone: 'note', text: 'Run held by a guard' },
  tripped: { tone: 'bad', text: 'Run tripped: needs you' },
  ended: { tone: 'off', text: 'Run ended' },
};

function runInWords({ line, openRun, status }: HostState): Words {
  if (line.state !== 'up') return { tone: 'unknown', text: 'Run: not known' };
  if (openRun === null) return { tone: 'off', text: 'No run open' };
  if (status === null) return { tone: 'busy', text: 'Run open' };
  const { mode, progress } = status.status;
  const words = modes[mode];
  return { tone: words.tone, text: `${words.text}, ${progress.accepted} of ${progress.points} points accepted` };
}

function controlInWords({ line, control }: HostState): Words {
  if (line.state !== 'up') return { tone: 'unknown', text: 'Control: not known' };
  const others = control.windows > 1 ? `, ${control.windows - 1} other ${control.windows === 2 ? 'window watches' : 'windows watch'}` : '';
  if (control.mine) return { tone: 'good', text: `You hold control${others}` };
  return control.holder === null ? { tone: 'off', text: 'Nobody holds control' } : { tone: 'note', text: `Watching: ${control.holder} holds control` };
}
