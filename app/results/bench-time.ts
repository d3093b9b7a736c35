/** Where the time of a run went, from the events of its journal alone (WIN-26). */
import type { RunEvent, StepKind } from '../journal/events.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Point } from '../plan/points.ts';

export type TimeKind =
  | 'windows' | 'set-points' | 'purging' | 'settling' | 'stopping' | 'reference' | 'zero' | 'checks' | 'repeated'
  | 'deciding' | 'proving' | 'safe' | 'holds' | 'rests' | 'away';

/** In the order in which they are shown. */
export const timeKinds: readonly { readonly kind: TimeKind; readonly word: string; readonly meaning: string }[] = [
  { kind: 'windows', word: 'measuring windows', meaning: 'windows that were accepted, but for those named below' },
  { kind: 'set-points', word: 'set points', meaning: 'supply, pressure and temperatures on their way to what a point wants' },
  { kind: 'purging', word: 'purging', meaning: 'pulses that flush an injector before it is measured' },
  { kind: 'settling', word: 'settling', meaning: 'pulses before a window, until the flow is even' },
  { kind: 'stopping', word: 'stopping pulses', meaning: 'from the end of a window until its pulses have stopped' },
  { kind: 'reference', word: 'reference points', meaning: 'whole attempts at them' },
  { kind: 'zero', word: 'zero points', meaning: 'whole attempts at them: every injector is shut' },
  { kind: 'checks', word: 'first look and checks', meaning: 'the first windows of each injector, and windows that check the run (period pairs, invariance set, blind windows): whole attempts' },
  { kind: 'repeated', word: 'attempts without a result', meaning: 'whole attempts that were rejected or cut short' },
  { kind: 'deciding', word: 'between points', meaning: 'no attempt goes on: what comes next is worked out' },
  { kind: 'proving', word: 'proving the watchdog', meaning: 'before the run is measured, and after a new start of the controller' },
  { kind: 'safe', word: 'making safe', meaning: 'until pulses off, supply down and disarmed are confirmed' },
  { kind: 'holds', word: 'holds', meaning: 'an alarm held the run, which went on by itself' },
  { kind: 'rests', word: 'rests', meaning: 'paused or tripped, until a person let it go on' },
  { kind: 'away', word: 'program not running', meaning: 'the program had ended or died, until another start took the run over' },
];

/** Seconds by the clock that dates the journal, of a run from its first start on. */
export type BenchTime = Readonly<Record<TimeKind, number>>;

const ofStep: Readonly<Record<StepKind, TimeKind>> = { supply: 'set-points', condition: 'set-points', purge: 'purging', settle: 'settling', measure: 'windows', stop: 'stopping' };

/** Of points that are told as a whole. */
const ofRole: Readonly<Partial<Record<Point['role'], TimeKind>>> = { reference: 'reference', zero: 'zero', look: 'checks', pair: 'checks', invariance: 'checks', blind: 'checks' };

const none = (): Record<TimeKind, number> => Object.fromEntries(timeKinds.map(({ kind }) => [kind, 0])) as Record<TimeKind, number>;

/** Below this a bench goes as the clock does: a window is a little shorter than the step in which it is measured. */
const fasterFrom = 1.5;

/** Follows a journal as it grows. */
export class TimeKeeper {
  readonly #sums = none();
  /** In the bench's own time, up to the latest window; `#until`: the sums by the clock then. */
  readonly #bench = none();
  #until = none();
  #pace = 1;
  #roles: Point['role'][] = [];
  #doing: TimeKind | null = null;
  /** Of the attempt that goes on, which may come to nothing. */
  #attempt: { readonly role: Point['role'] | undefined; readonly sums: Record<TimeKind, number> } | null = null;
  #at = 0;
  #events = 0;

  get events(): number {
    return this.#events;
  }

  get sums(): BenchTime {
    return this.#sums;
  }

  /**
   * The same in seconds of the bench's own time. A simulated bench may go faster than the clock, at a speed that is changed on the way: each stretch goes as the window that ends it, whose
   * duration the controller has measured and the clock has dated.
   */
  get bench(): BenchTime {
    return Object.fromEntries(timeKinds.map(({ kind }) => [kind, this.#bench[kind] + (this.#sums[kind] - this.#until[kind]) * this.#pace])) as BenchTime;
  }

  /** How many times as fast as the clock the bench went of late; 1: as the clock. */
  get pace(): number {
    return this.#pace;
  }

  follow({ at, body }: RunEvent): void {
    this.#events += 1;
    // What a host that died was at is not known; its absence is.
    if (this.#doing !== null) (this.#attempt?.sums ?? this.#sums)[body.kind === 'host-restarted' ? 'away' : this.#doing] += Math.max(0, at - this.#at) / 1e3;
    this.#at = at;
    switch (body.kind) {
      case 'opened':
        this.#roles = expandPlan(body.plan).map(({ role }) => role);
        return;
      case 'points-added':
        this.#roles.push(...body.points.map(({ role }) => role));
        return;
      case 'attempt-started':
        this.#attempt = { role: this.#roles[body.point], sums: none() };
        this.#doing = 'set-points';
        return;
      case 'attempt-ended':
        this.#ended(body.verdict === 'accepted', body.window === null ? null : body.window.to - body.window.from);
        return;
      case 'host-restarted':
        this.#ended(false, null);
        this.#doing = 'rests';
        return;
      default:
        this.#doing = doingAfter(body, this.#doing);
    }
  }

  /** `windowS`: duration of its window by the controller. */
  #ended(accepted: boolean, windowS: number | null): void {
    if (this.#attempt === null) return;
    const { role, sums } = this.#attempt;
    const whole = accepted ? (role === undefined ? undefined : ofRole[role]) : 'repeated';
    for (const { kind } of timeKinds) this.#sums[kind === 'away' ? kind : (whole ?? kind)] += sums[kind];
    this.#attempt = null;
    this.#doing = 'deciding';
    if (windowS === null || sums.windows <= 0) return;
    const pace = windowS / sums.windows;
    this.#pace = pace < fasterFrom ? 1 : pace;
    Object.assign(this.#bench, this.bench);
    this.#until = { ...this.#sums };
  }
}

/** What goes on after an event that is none of an attempt's beginning or end; null: the run has not begun, or has ended. */
function doingAfter(body: RunEvent['body'], before: TimeKind | null): TimeKind | null {
  switch (body.kind) {
    case 'proving-started':
      return 'proving';
    case 'measuring-started':
      return 'deciding';
    case 'step':
      return ofStep[body.step];
    case 'making-safe':
      return before === null ? null : 'safe';
    case 'held':
      return 'holds';
    case 'paused':
    case 'tripped':
      return before === null ? null : 'rests';
    case 'ended':
      return null;
    default:
      return before;
  }
}
