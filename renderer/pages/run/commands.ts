/**
 * The commands of the run page: the same ones in the same places always, each with its key, and for each why it cannot be
 * given now. What a mode refuses comes from the table of modes; what only the engine can know, the engine answers.
 */
import type { PlainKind } from '../../../app/journal/commands.ts';
import type { Mode, RunState } from '../../../app/journal/state.ts';
import { handling } from '../../../app/run/machine.ts';

type PlainCommand = Exclude<PlainKind, 'emergency-stop' | 'measure-remaining' | 'accept-untraceable'>;

export interface CommandView {
  readonly kind: PlainCommand;
  readonly label: string;
  /** `code` of the key that gives it, together with Alt; `letter` is what stands on it. */
  readonly code: string;
  readonly letter: string;
  readonly primary: boolean;
  /** Why it cannot be given now; empty: it can. */
  readonly against: string;
  /** Asked before it is done; null: it is done at once. */
  readonly question: string | null;
}

/**
 * Each keeps its place and its key in every mode. Acknowledging and going on share neither (WIN-10): a second press of one
 * key must not take a bench from a trip to driven outputs. `told` is the mode that the host told last: it and the journal come one after the other,
 * and where one of them already takes a command the window does not refuse it (WIN-110); the engine decides.
 */
export function commandsOf(state: RunState, told: Mode | null = null): readonly CommandView[] {
  const { mode, pausePending, finishing } = state;
  const view = (kind: PlainCommand, label: string, letter: string, more: Partial<CommandView> = {}): CommandView => {
    const how = handling[mode][kind];
    const against = more.against ?? (how.kind === 'refused' ? how.why : '');
    const taken = told !== null && told !== mode && handling[told][kind].kind !== 'refused';
    return { kind, label, letter, code: `Key${letter}`, primary: false, question: null, ...more, against: taken ? '' : against };
  };
  return [
    onward(view, state),
    view('pause-at-next-point', pausePending ? 'Pausing after point' : 'Pause after point', 'N', pausePending ? { against: 'A pause after this point was asked for already. To take it back, go on.' } : {}),
    view('pause-now', 'Pause now', 'S'),
    view('skip-wait', 'Skip this wait', 'W', waitAgainst(state)),
    view('finish-early', finishing ? 'Finishing after point' : 'Finish early', 'L', {
      ...(finishing ? { against: 'The run ends when this point is judged.' } : {}),
      question: 'Finish early? The point that is going on is still measured; the points after it are left unmeasured. You can measure them later from the same run.',
    }),
    view('acknowledge', state.mode === 'ready' ? 'Acknowledge a fault' : 'Acknowledge the trip', 'K', { primary: state.mode === 'tripped' }),
    view('abort', 'Abort the run', 'X', {
      question: 'Abort the run? That makes the bench safe at once and cuts the attempt that is going on short. What was accepted is kept.',
    }),
  ];
}

function onward(view: (kind: PlainCommand, label: string, letter: string, more?: Partial<CommandView>) => CommandView, state: RunState): CommandView {
  const key = 'G';
  switch (state.mode) {
    case 'ready':
      return view('start', 'Start the run', key, { primary: true });
    case 'paused':
    case 'held':
      return view('resume', 'Resume', key, { primary: state.mode === 'paused' });
    case 'proving':
    case 'measuring':
      return state.pausePending
        ? view('resume', 'Go on without a pause', key, { primary: true })
        : view('resume', 'Resume', key, { against: 'The run is going on.' });
    case 'tripped':
    case 'making-safe':
    case 'ended':
      return view('resume', 'Resume', key);
  }
}

function waitAgainst({ mode, current }: RunState): Partial<CommandView> {
  if (mode !== 'measuring') return {};
  const step = current?.step ?? null;
  return step === 'measure' || step === 'stop'
    ? { against: 'The measuring window itself cannot be skipped. To get on, leave the point out.' }
    : {};
}
