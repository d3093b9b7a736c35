import { shownText } from '../../components/shown-text.ts';
import type { Point } from '../../../app/plan/points.ts';
import type { RunStatus } from '../../../app/run/engine.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { endingWords } from '../../../app/run/ending.ts';
import type { Mode } from '../../../app/journal/state.ts';
import { doingText } from '../../../app/run/status.ts';
import { endingTone } from '../../components/endings.ts';
import { Status } from '../../components/status.tsx';
import type { Tone } from '../../components/status.tsx';
import type { Tally } from './cells.ts';
import { tallyText } from './cells.ts';
import { elapsedOf } from './log.ts';
import type { RunLog } from './log.ts';
import { endByClock, knownText } from './target-words.ts';
import type { TargetsView } from './use-targets.ts';
import { clockText, timeLeftText, waitingText } from './words.ts';
import type { WaitingFor } from '../../../app/run/status.ts';

const modes: Readonly<Record<Exclude<Mode, 'ended'>, { readonly tone: Tone; readonly word: string }>> = {
  ready: { tone: 'off', word: 'Ready' },
  proving: { tone: 'busy', word: 'Proving the watchdog' },
  measuring: { tone: 'busy', word: 'Measuring' },
  'making-safe': { tone: 'busy', word: 'Making safe' },
  paused: { tone: 'note', word: 'Paused' },
  held: { tone: 'note', word: 'On hold' },
  tripped: { tone: 'bad', word: 'Tripped' },
};

/** How it stands in a word; a stored run that did not come to an end is unfinished, whatever its mode was then. */
function standing(mode: Mode, { ending }: RunState, onBench: boolean): { readonly tone: Tone; readonly word: string } {
  if (mode === 'ended') return { tone: endingTone(ending), word: `Ended: ${endingWords(ending)}` };
  return onBench ? modes[mode] : { tone: endingTone(null), word: 'Unfinished' };
}

/** Modes in which somebody has to read at length, beside whatever calls (WIN-114): there the words take what room they need. */
const calls: ReadonlySet<Mode> = new Set(['held', 'tripped', 'ended']);

/** The sentence without the word that stands before it. */
const withoutMode = (doing: string, word: string): string => (doing.startsWith(`${word}. `) ? doing.slice(word.length + 2) : doing);

interface NowPanelProps {
  readonly state: RunState;
  readonly log: RunLog;
  /** null: the run is not open on the bench, or the host has not said yet. */
  readonly status: RunStatus | null;
  readonly tally: Tally;
  readonly point: Point | null;
  readonly now: number;
  readonly onBench: boolean;
  /** Of the bench's time against the clock. */
  readonly speed: number;
  readonly targets: TargetsView;
}

/** How far it is and how long it takes yet. What is added yet is not among the points of a run with targets: its end is that of its outlook. */
function howFarText({ plan, counts, points }: RunState, remaining: number | null, { outlook, at }: TargetsView, now: number, speed: number): { readonly known: string; readonly left: string } {
  const accepted = `${counts.accepted} of ${points.length} points accepted`;
  if (plan.targets === undefined) return { known: accepted, left: timeLeftText(remaining, now, speed) };
  if (outlook === null) return { known: accepted, left: '' };
  return { known: knownText(outlook.cells), left: remaining === null ? '' : endByClock(outlook.remaining, at, now, speed) };
}

/** What the run does now, how far it is, what it waits for, what the person should do. */
export function NowPanel({ state, log, status, tally, point, now, onBench, speed, targets }: NowPanelProps) {
  const mode = status?.mode ?? state.mode;
  const shownMode = standing(mode, state, onBench);
  const total = state.points.length;
  const elapsed = elapsedOf(log, state.mode === 'ended', now);
  const { known, left } = howFarText(state, status?.remaining ?? null, targets, now, speed);
  const made = `${tallyText(tally)} · ${state.counts.attempts} attempts made${
    elapsed === null ? '' : ` · ${clockText(elapsed.totalMs / 1e3)} ${speed === 1 ? '' : 'by the clock '}since the start${elapsed.restedMs >= 1000 ? `, of it ${clockText(elapsed.restedMs / 1e3)} at rest` : ''}`
  }`;
  return (
    <section className="section run-now" aria-label="What the run does now">
      <div className={calls.has(mode) || status?.call != null ? 'run-need' : 'run-need run-need-calm'} tabIndex={-1}>
        <div className="run-headline">
          <p className="run-mode">
            <Status tone={shownMode.tone}>{shownMode.word}</Status>
          </p>
          <p className="run-doing">{!onBench ? 'As stored; not open on the bench.' : shownText(withoutMode(status?.doing ?? doingText(state, point), shownMode.word))}</p>
        </div>
        {status !== null && status.waitingFor !== null && <Waiting waiting={status.waitingFor} />}
        {status !== null && status.advice !== '' && (
          <p className="run-advice">
            <span aria-hidden="true">→ </span>
            {shownText(status.advice)}
          </p>
        )}
      </div>
      <div className="run-progress">
        <Progress tally={tally} total={total} />
        <p title={left === '' ? known : `${known}, ${left}`}>
          <strong>{known}</strong>
          {left !== '' && <span>, {left}</span>}
        </p>
        <p className="small quiet" title={made}>
          {made}
        </p>
      </div>
    </section>
  );
}

/** How much is done: accepted solid, left out or decided ruled, failed hatched, the rest empty. */
function Progress({ tally, total }: { readonly tally: Tally; readonly total: number }) {
  const width = (points: number) => ({ width: `${(100 * points) / Math.max(1, total)}%` });
  return (
    <div className="run-bar" role="progressbar" aria-label="Points with a result" aria-valuemin={0} aria-valuemax={total} aria-valuenow={tally.accepted} aria-valuetext={`${tally.accepted} of ${total}: ${tallyText(tally)}`}>
      <span className="run-bar-accepted" style={width(tally.accepted)} />
      <span className="run-bar-left" style={width(tally.skipped + tally.none)} />
      {tally.failed > 0 && <span className="run-bar-failed" style={width(tally.failed)} />}
    </div>
  );
}

/** The value that is waited for against its band, as a sentence and as a line with a mark. */
function Waiting({ waiting }: { readonly waiting: WaitingFor }) {
  return (
    <div className="run-waiting">
      <p>{waitingText(waiting)}</p>
      <WaitingMark waiting={waiting} />
    </div>
  );
}

const markWidth = 240;

function WaitingMark({ waiting: { value, low, high } }: { readonly waiting: WaitingFor }) {
  if (value === null) return null;
  if (low !== null && high !== null) {
    const span = Math.max(high - low, 1e-9);
    const x = (v: number) => Math.max(4, Math.min(markWidth - 4, ((v - (low - span)) / (3 * span)) * markWidth));
    return (
      <svg className="run-mark" viewBox={`0 0 ${markWidth} 16`} aria-hidden="true">
        <line x1="0" x2={markWidth} y1="8" y2="8" className="run-mark-line" />
        <rect x={x(low)} width={x(high) - x(low)} y="3" height="10" className="run-mark-band" />
        <path d={`M ${x(value)} 0 v 16`} className="run-mark-value" />
      </svg>
    );
  }
  const goal = low ?? high;
  if (goal === null || goal <= 0) return null;
  return (
    <svg className="run-mark" viewBox={`0 0 ${markWidth} 16`} aria-hidden="true">
      <rect x="0.5" y="3.5" width={markWidth - 1} height="9" className="run-mark-frame" />
      <rect x="0.5" y="3.5" width={Math.max(0, Math.min(1, value / goal)) * (markWidth - 1)} height="9" className="run-mark-fill" />
    </svg>
  );
}
