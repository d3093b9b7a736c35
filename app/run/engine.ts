/**
 * The run engine: a Mealy machine, pure and synchronous. The host feeds it inputs one at a time, commits the events of
 * each answer in one transaction, and only then sends the requests. Rules RUN-1 and following are in README.md.
 *
 * The engine folds its own events, so its state is the fold over the journal at any time. What is not in the journal
 * (the request that is outstanding, timers, the frames of the window) is lost with the host on purpose: a new host makes
 * safe and measures the point again.
 */
import { shownPoint } from '../plan/points.ts';
import type { BenchCapabilities, BenchFrame, BenchReply, BenchRequest, BurstRequest } from '../bench/port.ts';
import { openInterlockWords } from '../bench/interlocks.ts';
import { assumedStaticFlow, expectedEdgeRate } from '../plan/estimate.ts';
import type { Guard } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { hasLook, lookEdges, lookPart, shutGraceS, shutSpanS } from '../plan/look.ts';
import { decaysPressure, pairEdges, zeroWindow } from '../plan/zero.ts';
import { seconds, toCelsius, toKilopascals, volts } from '../quantities/quantity.ts';
import type { Seconds, Volts } from '../quantities/quantity.ts';
import type { AfterSafe, AttemptReason, Criterion, Ending, OutKind, PreflightLine, RunCommand, RunEventBody, StepKind, Verdict } from './events.ts';
import { isBenchCause } from './bench-cause.ts';
import { endText, endingOf } from './ending.ts';
import { failedPoints, foldRun, nextTarget, pointsWithoutResult } from './fold.ts';
import type { Origin, RunState } from './fold.ts';
import { clearGuard, directReading, guardText, stepGuard } from './guards.ts';
import type { GuardMemory } from './guards.ts';
import { idleCurrentText, idleCurrentTimeout } from './idle-current.ts';
import { HostTime, spanText } from './host-time.ts';
import { IdleFlow, idleFlowRest } from './idle-flow.ts';
import { IdleTime } from './idle-time.ts';
import { judge } from './judge.ts';
import { judgeLooks, shutCriterion } from './look.ts';
import type { LookedAt } from './look.ts';
import { handling, restingModes, transitions } from './machine.ts';
import { decayText, summariseDecay } from './pressure-decay.ts';
import { deadManFault, missingOfDeadMan, missingOfSafe, proofBurst, proofSilence } from './proof.ts';
import { adviceText, doingText, remainingTime } from './status.ts';
import type { RunStatus, WaitingFor } from './status.ts';
import { clocksText, comparisonText, isBeyond, TimeBase } from './time-base.ts';
import { framesInTime, impossibleStep, impossibleText, StandingReadings } from './telemetry-check.ts';
import { WindowCollector } from './window.ts';
import type { WindowSummary } from './window.ts';

export type { RunStatus } from './status.ts';

/** `now` is the host's monotonic clock in seconds, from any origin; `wall` its wall clock, s since 1970, where it has one; `asleep` the time for which its computer was suspended, s, from any origin, where it can tell. */
export type EngineInput = { readonly wall?: number; readonly asleep?: number } & (
  | { readonly kind: 'frame'; readonly now: number; readonly frame: BenchFrame }
  | { readonly kind: 'reply'; readonly now: number; readonly id: number; readonly reply: BenchReply }
  /** At least every 250 ms: deadlines live on it. */
  | { readonly kind: 'tick'; readonly now: number }
  /** 'down' again, while it is down: it is known why it does not come back. */
  | { readonly kind: 'link'; readonly now: number; readonly state: 'up' | 'down'; readonly bootId: string; readonly reason: string }
  | { readonly kind: 'command'; readonly now: number; readonly id: string; readonly by: string; readonly command: RunCommand }
);

export interface EngineRequest {
  readonly id: number;
  readonly request: BenchRequest;
  /** On the scale of `now`; by then a reply is due, 'no-answer' at the worst. */
  readonly deadline: number;
}

export interface EngineOutput {
  readonly events: readonly RunEventBody[];
  /** At most one. A request that comes while an earlier one is unanswered replaces it and must not wait for it. */
  readonly requests: readonly EngineRequest[];
  /** For a command: what it is answered. */
  readonly answer: { readonly accepted: boolean; readonly reason: string } | null;
  /** Why the input was deliberately not acted upon; null: it was. */
  readonly ignored: string | null;
  /** The run has ended and the bench was made safe, or a text in the journal says that it was not confirmed. */
  readonly done: boolean;
}

export interface RunEngine {
  step(input: EngineInput): EngineOutput;
  readonly state: RunState;
  status(now: number): RunStatus;
}

/** The two clocks are written down first when they were compared over so long, s, then whenever that has doubled, and at each way to safe. */
const firstComparison = 60;
/** The line of the sheet that holds the equipment record against the controller. */
const recordRule = 'PRE-40';

/** How long a reply may take, s. Making safe includes the read-back of the supply, which falls slowly. */
const replyTimeout = 3;
const safeTimeout = 12;
/** A host that never reports the deadline of a request is helped out after this much more, s. */
const deadlineGrace = 1;
const safeTries = 3;
/** A bench that rests must be seen armed or pulsing for this long before it is made safe again, s, and how often. */
const unsafeDwell = 0.5;
const unsafeRestarts = 3;
/** Holds of the engine's own guards: how long all must be well before the run goes on, s. */
const builtInClear = 2;
/** Automatic resumes are counted over this, s (RUN-22). */
const hour = 3600;
/** How long the bench rests after a trip or a fault was acknowledged, before a person may drive it again, s (RUN-150). */
export const restAfterAcknowledge = 2;
/**
 * No meter edge for this long while an injector is driven, s: there is no flow to measure. An injector that passes only an
 * eighth of the expected flow would have given three edges; where no flow is expected it is the longest (RUN-46).
 */
const silentMeterLeast = 3;
const silentMeterMost = 20;
const silentMeterEdges = 3 * 8;
/** Less than the line can tell of two widths, s. */
const sameWidth = 0.5e-9;
/** Coils above this are not driven here, ohm, and by then the current of a pulse has risen, s: for telling that no coil is there. */
const highestCoilOhm = 30;
const currentRise = 1e-3;
/** The window of a first look may take this much longer than it needs, for its edges, s. */
const lookWindowSlack = 3;
/** Injectors that fail one after another for one cause: then it is the bench, and not they (RUN-134). */
const outsToTrip = 3;
/** The controller's read-back of a stop or of a cleared fault, s. */
const readBackTimeout = 3;
/** How much longer than by the controller's clock a wait may take by the host's, s. */
const clockSlack = 10;
/** How long the supply may take to its safe value in the proof, s. */
const safeSupplyTimeout = 10;
/** Pulses that must be seen before the silence of the proof begins. */
const proofPulses = 2;

type Phase =
  | 'idle'
  // The way to a driven injector, in proving and in measuring.
  | 'clear' | 'await-clear' | 'arm' | 'pump' | 'set-supply' | 'await-supply'
  // A point.
  | 'set-pressure' | 'await-condition' | 'purge' | 'await-purge' | 'burst' | 'settle' | 'window' | 'stop' | 'await-stop'
  // The last pulses of a first look: what still flows is counted.
  | 'await-shut'
  // Nothing is driven, and the current of the last pulse dies away.
  | 'await-no-current'
  // A zero point.
  | 'rest' | 'zero-window' | 'shut-rail' | 'decay' | 'open-rail'
  // The proof.
  | 'prove-burst' | 'await-pulses' | 'silence' | 'await-dead-man' | 'clear-proof' | 'await-clear-proof'
  // Safe, and faults that a person acknowledged.
  | 'make-safe' | 'leave-to-dead-man' | 'clear-acknowledged' | 'clear-ready';

/** The valve has shut and the transducer's filter has followed, s. */
const shutRest = 0.5;

/** Nothing is outstanding and no window is whole yet: an attempt can be ended for a frame that cannot be. */
const canRefuse: ReadonlySet<Phase> = new Set([
  'await-supply', 'await-condition', 'await-no-current', 'await-purge', 'settle', 'window', 'rest', 'zero-window', 'decay', 'await-shut',
]);

/** From the condition to the end of the window. */
const pressureMatters: ReadonlySet<Phase> = new Set(['purge', 'await-purge', 'burst', 'settle', 'window', 'rest', 'zero-window']);

/** What becomes of an attempt once its pulses have stopped. */
type AfterStop =
  | { readonly kind: 'judge' }
  | { readonly kind: 'measure' }
  | { readonly kind: 'end'; readonly verdict: Verdict; readonly text: string; readonly cause: string };

const noEvents: readonly RunEventBody[] = [];
const noRequests: readonly EngineRequest[] = [];
const noneOpen: readonly string[] = [];
const nothingGoingOn: EngineOutput = { events: noEvents, requests: noRequests, answer: null, ignored: null, done: false };
const nothingAtTheEnd: EngineOutput = { ...nothingGoingOn, done: true };

/**
 * An engine for a run whose journal so far folds to `state`: just opened and connected, or recovered (`recoverRun`).
 * `points` is the expansion of the state's plan. The engine owns `state` from here on. Throws when the run has no bench
 * or was left unfinished without having been recovered, or when the points are not those of the run.
 */
export function createEngine(setup: { readonly points: readonly Point[]; readonly state: RunState }): RunEngine {
  return new Engine(setup.points, setup.state);
}

class Engine implements RunEngine {
  #state: RunState;
  readonly #points: readonly Point[];
  /** Of each injector of the plan. */
  readonly #lookPoints: readonly (readonly Point[])[];
  readonly #guards: readonly Guard[];
  readonly #guardMemory: GuardMemory[];
  /** A 1 for each interlock of the bench. */
  readonly #allClosed: number;
  readonly #idleFlow: IdleFlow;
  readonly #idleTime: IdleTime;
  readonly #zeroWindow: Seconds;
  readonly #staleAfter: number;
  /** Between two frames as they were asked for, s. */
  readonly #frameInterval: number;
  #standing = new StandingReadings();
  /** A frame of the present attempt, or of the proof, could not be. */
  #doubt: { readonly text: string; readonly cause: string } | null = null;
  /** The pulses of the present point begin and end, and move pressure and temperature with it. */
  #pulsesMove = false;

  #now = Number.NEGATIVE_INFINITY;
  #events: RunEventBody[] | null = null;
  #request: EngineRequest | null = null;
  #answer: EngineOutput['answer'] = null;
  #ignored: string | null = null;

  #phase: Phase = 'idle';
  #phaseSince = 0;
  #outstanding: { readonly id: number; readonly deadline: number } | null = null;
  #lastId = 0;
  #downReason = '';

  #frame: BenchFrame | null = null;
  #frameNow = Number.NEGATIVE_INFINITY;

  /** Set points that the controller has accepted; NaN: none, or not certain. */
  #supplySet = Number.NaN;
  #pressureSet = Number.NaN;
  #supplySteadySince = Number.NaN;
  #conditionSince = Number.NaN;
  #armedSeen = false;
  /** The pump was enabled and nothing has switched it off since. */
  #pumping = false;
  /** A burst was asked for and its end has not been seen. */
  #pulsing = false;
  #burstBefore = 0;
  #burstCount = 0;
  #burstSeenAt = Number.NaN;
  /** As the controller states it of the present point's pulses; null: it was not said. */
  #drivenWidth: Seconds | null = null;
  #silentMeterAfter = silentMeterMost;
  /** Supply current over the frames of the burst so far. */
  #drivenCurrent = { sum: 0, frames: 0 };
  /** The frame since which nothing of the last pulses is felt any more, after a first look. */
  #shutSince: BenchFrame | null = null;
  #window: WindowCollector | null = null;
  #windowMax = 0;
  /** Controller clock at the first frame of the rest before a zero point, or of the shut rail. */
  #restSince = Number.NaN;
  /** The rail was asked to be shut off, and not yet to be opened again; its frames. */
  #railShut = false;
  #decay: BenchFrame[] = [];
  #afterStop: AfterStop = { kind: 'judge' };
  /** What the wait for no current is for. */
  #whenNoCurrent: 'drive' | 'end-attempt' = 'drive';

  #silence = seconds(0);
  #safeTries = 0;
  #acknowledging = false;
  /** Nothing is driven by a command before this, on the scale of `now`. */
  #restUntil = Number.NEGATIVE_INFINITY;
  #unsafeSince = Number.NaN;
  #unsafeRestarts = 0;
  #clearSince = 0;
  #heldSince = 0;
  /** When the run went on by itself, by guard, on the scale of `now`: within the last hour. A new host begins at a person, and so anew. */
  readonly #resumedAt = new Map<string, readonly number[]>();
  readonly #hostTime = new HostTime();

  readonly #timeBase = new TimeBase();
  /** Controller time that the comparison of the clocks rested on when it was looked at and when it was told last, and when it is due again, s. */
  #comparedOver = 0;
  #toldClocks = 0;
  #tellClocksFrom = firstComparison;

  #attemptSince = 0;
  #attemptTime = 0;
  #attemptsTimed = 0;

  constructor(points: readonly Point[], state: RunState) {
    if (state.bench === null) throw new Error('A run needs a bench before it has an engine: fold its bench-connected event first.');
    if (points.length !== state.points.length) {
      throw new Error(`The plan expands to ${points.length} points, but the run was opened with ${state.points.length}.`);
    }
    if (state.mode === 'proving' || state.mode === 'measuring' || state.mode === 'held') {
      throw new Error(`The run was left ${state.mode}; recover it first.`);
    }
    this.#state = state;
    this.#points = points;
    this.#lookPoints = state.plan.injectors.map((_, injector) => points.filter((point) => point.role === 'look' && point.injector === injector));
    this.#guards = state.plan.guards;
    this.#guardMemory = state.plan.guards.map(() => clearGuard);
    this.#allClosed = 2 ** state.bench.capabilities.interlocks.length - 1;
    this.#staleAfter = Math.max(1, 3 / state.plan.link.telemetryHz);
    this.#frameInterval = 1 / Math.round(state.plan.link.telemetryHz);
    this.#idleFlow = new IdleFlow(state.equipment.meter.kFactor, idleFlowRest(state.plan), state.plan.condition.pressureToleranceKpa * 1e3);
    this.#zeroWindow = zeroWindow(state.plan);
    this.#idleTime = new IdleTime(state.plan.zero.settleS);
  }

  get state(): RunState {
    return this.#state;
  }

  step(input: EngineInput): EngineOutput {
    if (input.now > this.#now) this.#now = input.now;
    this.#events = null;
    this.#request = null;
    this.#answer = null;
    this.#ignored = null;
    this.#hostTime.take(input.now, input.wall, input.asleep);
    if (this.#hostTime.stepped || this.#hostTime.stoodStill > this.#state.plan.byItself.gapS) this.#afterStandstill();
    switch (input.kind) {
      case 'frame':
        this.#onFrame(input.frame);
        break;
      case 'reply':
        this.#onReply(input.id, input.reply);
        break;
      case 'tick':
        this.#onTick();
        break;
      case 'link':
        this.#onLink(input.state, input.bootId, input.reason);
        break;
      case 'command':
        this.#onCommand(input.id, input.by, input.command);
        break;
    }
    // A recovered run sets out for safe with its first input, whatever that is.
    if (this.#state.mode === 'making-safe' && this.#phase === 'idle') this.#askSafe(true);
    return this.#output();
  }

  #output(): EngineOutput {
    const done = this.#state.mode === 'ended';
    // Most frames and ticks change nothing: they cost no object.
    if (this.#events === null && this.#request === null && this.#answer === null && this.#ignored === null) {
      return done ? nothingAtTheEnd : nothingGoingOn;
    }
    return {
      events: this.#events ?? noEvents,
      requests: this.#request === null ? noRequests : [this.#request],
      answer: this.#answer,
      ignored: this.#ignored,
      done,
    };
  }

  // ---------------------------------------------------------------- inputs

  #onFrame(frame: BenchFrame): void {
    if (!this.#state.linkUp) {
      this.#ignored = 'A frame came while the link counts as down.';
      return;
    }
    const previous = this.#frame;
    if (frame.bootId !== this.#state.bench?.bootId) {
      this.#afterReset(frame.bootId);
    } else if (previous !== null && previous.bootId === frame.bootId && frame.number <= previous.number) {
      this.#ignored = `Frame ${frame.number} had come already.`;
      return;
    }
    const wrong = previous?.bootId === frame.bootId ? impossibleStep(previous, frame, this.#frameInterval) : null;
    if (this.#now - this.#frameNow > this.#staleAfter) this.#clearSince = this.#now;
    // The controller's clock tells of a suspended host where the host's own clocks do not.
    const unwatched = wrong === null && previous !== null ? frame.at - previous.at - (this.#now - this.#frameNow) : 0;
    if (unwatched > this.#state.plan.byItself.gapS) this.#stoodStill(unwatched);
    // A rail that was shut off fills up when it is opened.
    this.#idleFlow.add(frame, this.#pulsing || this.#railShut || wrong !== null);
    this.#frame = frame;
    this.#frameNow = this.#now;
    this.#trackSupply(frame);
    this.#trackCondition(frame);
    this.#idleTime.add(frame, !this.#pulsing && !this.#railShut && this.#phase !== 'zero-window' && this.#pressureFits(frame) && wrong === null);

    // A clock that stepped is compared anew.
    if (wrong !== null) this.#timeBase.forget();
    if (this.#timeBase.add(this.#now, frame.at) || wrong !== null) this.#beginTelling();

    if (this.#checkController(frame)) return;
    if (this.#compareClocks()) return;
    if (this.#checkGuards(frame)) return;
    if (wrong !== null && previous !== null && this.#isDriving() && this.#phase !== 'stop' && this.#phase !== 'await-stop') {
      this.#doubt ??= { text: impossibleText(wrong, previous, frame), cause: `telemetry-${wrong}` };
    }
    if (this.#doubt !== null && this.#refusesFrames(this.#doubt)) return;

    switch (this.#state.mode) {
      case 'proving':
      case 'measuring':
        this.#advance(frame);
        return;
      case 'held':
        if (!this.#watchRest(frame)) this.#tryResume();
        return;
      case 'paused':
      case 'tripped':
        this.#watchRest(frame);
        return;
      case 'ready':
      case 'making-safe':
      case 'ended':
        return;
    }
  }

  /** The host stood still, or its wall clock was set (RUN-164, RUN-168). */
  #afterStandstill(): void {
    const { leap, stepped, stoodStill, wasSuspended } = this.#hostTime;
    if (this.#state.mode === 'ended') return;
    if (stepped) {
      const why = wasSuspended === null ? 'it was set, or the computer was suspended' : wasSuspended ? 'the computer was suspended' : 'it was set';
      const text = `The clock of this computer ${leap > 0 ? 'went on' : 'was set back'} by ${spanText(Math.abs(leap))}${leap > 0 ? ` more than its time since it was started: ${why}` : ''}.`;
      this.#emit({ kind: 'clock-stepped', by: Math.round(leap * 1e3) / 1e3, text });
    }
    if (stoodStill > this.#state.plan.byItself.gapS) this.#stoodStill(stoodStill);
  }

  /** Nobody knows what went on at the bench meanwhile: a person looks, and resumes. */
  #stoodStill(s: number): boolean {
    return this.#goesOnByItself() && this.#callPerson('host-stood-still', `This computer or this program stood still for ${spanText(s)}, and nobody watched the bench meanwhile. Look at the bench, then resume.`);
  }

  /** The run drives, or would drive without a person. */
  #goesOnByItself(): boolean {
    const { mode, safe } = this.#state;
    return this.#isDriving() || mode === 'held' || (mode === 'making-safe' && safe?.then.kind === 'held');
  }

  /** A frame that cannot be ends the attempt, or the proof, in which it came (RUN-160, RUN-161). True when it did. */
  #refusesFrames({ text, cause }: { readonly text: string; readonly cause: string }): boolean {
    if (this.#state.mode === 'proving') return this.#hold('telemetry-impossible', text);
    if (this.#state.mode !== 'measuring' || !canRefuse.has(this.#phase)) return false;
    this.#endAttemptAfterStop('rejected', text, cause);
    return true;
  }

  #onTick(): void {
    if (this.#outstanding !== null && this.#now > this.#outstanding.deadline + deadlineGrace) {
      this.#outstanding = null;
      this.#handleReply({ kind: 'no-answer', text: 'The bench driver did not report back in time.' });
      return;
    }
    const { mode } = this.#state;
    if (mode === 'held') this.#endsLongHold();
    if (mode !== 'proving' && mode !== 'measuring') return;
    if (this.#now - this.#frameNow > this.#staleAfter) {
      this.#hold('telemetry', `No telemetry for ${this.#staleAfter.toFixed(1)} s.`);
      return;
    }
    this.#checkDeadlines();
  }

  #onReply(id: number, reply: BenchReply): void {
    if (this.#outstanding?.id !== id) {
      this.#ignored = `Request ${id} was given up or answered before; its reply is too late.`;
      return;
    }
    this.#outstanding = null;
    this.#handleReply(reply);
  }

  #onLink(state: 'up' | 'down', bootId: string, reason: string): void {
    if (state === 'down') {
      if (!this.#state.linkUp) {
        if (reason === this.#downReason) this.#ignored = 'The link counted as down already.';
        else this.#emit({ kind: 'link-not-restored', text: reason });
        this.#downReason = reason;
        return;
      }
      this.#downReason = reason;
      this.#emit({ kind: 'link-lost', text: reason });
      this.#frame = null;
      this.#frameNow = Number.NEGATIVE_INFINITY;
      if (this.#isDriving()) this.#hold('link', `The link to the bench was lost: ${reason}`);
      return;
    }
    const reset = bootId !== this.#state.bench?.bootId;
    if (this.#state.linkUp && !reset) {
      this.#ignored = 'The link counted as up already.';
      return;
    }
    this.#clearSince = this.#now;
    if (reset) {
      this.#afterReset(bootId);
    } else {
      this.#emit({ kind: 'link-restored', bootId, text: 'The link is back; the controller was not reset meanwhile.' });
    }
  }

  /** Another boot id: nothing that was set on the controller holds any more (RUN-25). */
  #afterReset(bootId: string): void {
    this.#tellClocks();
    this.#emit({ kind: 'link-restored', bootId, text: 'The controller was reset; it is set up again before anything is measured.' });
    this.#pressureSet = Number.NaN;
    this.#supplySet = Number.NaN;
    this.#pumping = false;
    this.#frame = null;
    this.#idleFlow.forget();
    this.#standing = new StandingReadings();
    this.#timeBase.forget();
    this.#beginTelling();
    if (this.#isDriving()) this.#hold('reset', 'The controller was reset.');
  }

  // ---------------------------------------------------------------- commands

  #onCommand(id: string, by: string, command: RunCommand): void {
    const before = this.#state.commands.get(id);
    if (before !== undefined) {
      const same = JSON.stringify(before.command) === JSON.stringify(command);
      this.#answer = same
        ? { accepted: before.accepted, reason: before.reason }
        : { accepted: false, reason: `This was not carried out: its id is that of an earlier command, ${before.command.kind}. Give it again.` };
      this.#ignored = `Command ${id} was answered before.`;
      return;
    }
    const refusal = this.#refusal(command);
    const answer = { accepted: refusal === null, reason: refusal ?? 'done' };
    if (refusal === null) {
      const how = handling[this.#state.mode][command.kind];
      answer.reason = how.kind === 'handled' ? how.how : '';
    }
    this.#answer = answer;
    this.#emit({ kind: 'commanded', id, command, by, answer: answer.accepted ? 'accepted' : 'refused', reason: answer.reason });
    if (refusal === null) this.#carryOut(command, by);
  }

  /** Why a command cannot be carried out now; null when it can. */
  #refusal(command: RunCommand): string | null {
    const { mode } = this.#state;
    const how = handling[mode][command.kind];
    if (how.kind === 'refused') return how.why;
    switch (command.kind) {
      case 'start':
        return this.#mustRest() ?? this.#notStartable();
      case 'resume':
        return mode === 'proving' || mode === 'measuring'
          ? this.#state.pausePending
            ? null
            : 'The run is going on and no pause was asked for.'
          : (this.#mustRest() ?? this.#notResumable());
      case 'pause-at-next-point':
        return this.#state.pausePending ? 'A pause at the next point was asked for already.' : this.#cannotPause();
      case 'skip-wait':
        return this.#phase === 'await-supply' || this.#phase === 'await-condition' || this.#phase === 'await-purge' || this.#phase === 'settle' || this.#phase === 'rest'
          ? null
          : 'Nothing is being waited for that could be skipped.';
      case 'skip-point': {
        const point = this.#state.points[command.point];
        if (point === undefined) return this.#noSuchPoint(command.point);
        if (point.skipped !== null) return `Point ${shownPoint(command.point)} is left out already.`;
        if (point.chosen !== null) return `Point ${shownPoint(command.point)} has an attempt that counts; to withdraw it, choose that none counts.`;
        return null;
      }
      case 'measure-again': {
        if (command.points.length === 0) return 'No points were named.';
        for (const index of command.points) if (this.#state.points[index] === undefined) return this.#noSuchPoint(index);
        return mode === 'ended' ? this.#notStartable() : null;
      }
      case 'measure-remaining':
        return pointsWithoutResult(this.#state).length === 0 ? 'Every point has a result, was left out or was decided upon, so there is nothing left to measure.' : this.#notStartable();
      case 'choose': {
        const point = this.#state.points[command.point];
        if (point === undefined) return this.#noSuchPoint(command.point);
        if (command.reason.trim() === '') return 'A choice needs a reason.';
        if (command.attempt === null) return null;
        const attempt = point.attempts[command.attempt - 1];
        if (attempt === undefined) return `Point ${shownPoint(command.point)} has no attempt ${command.attempt}.`;
        if (attempt.verdict === null) return `Attempt ${command.attempt} of point ${shownPoint(command.point)} is still going on.`;
        if (attempt.window === null) return `Attempt ${command.attempt} of point ${shownPoint(command.point)} has no measuring window, so it cannot count.`;
        return null;
      }
      case 'pause-now':
        return this.#cannotPause();
      case 'finish-early':
      case 'abort':
        return mode === 'making-safe' && this.#state.safe?.then.kind === 'ended' ? 'The run is about to end.' : null;
      case 'emergency-stop':
        return null;
      case 'accept-untraceable':
        if (this.#state.untraceableAccepted) return 'That was chosen already.';
        return this.#untraceableReasons().length > 0 ? null : 'Nothing on the pre-flight sheet is out of date, so there is nothing to choose.';
      case 'acknowledge':
        if (mode !== 'ready') return null;
        if (this.#phase === 'clear-ready') return 'The faults are being cleared.';
        return this.#frame?.fault == null ? 'The controller has no fault, so there is nothing to acknowledge.' : null;
    }
  }

  /** A bench on its way to safe may still be turned from a hold to a pause, but not away from a trip or an end. */
  #cannotPause(): string | null {
    if (this.#state.mode !== 'making-safe') return null;
    switch (this.#state.safe?.then.kind) {
      case 'paused':
        return 'The run is about to pause.';
      case 'tripped':
        return 'The run has tripped.';
      case 'ended':
        return 'The run is about to end.';
      case 'held':
      case undefined:
        return null;
    }
  }

  #noSuchPoint(index: number): string {
    return `The run has the points 1 to ${this.#points.length}, so there is no point ${shownPoint(index)}.`;
  }

  #carryOut(command: RunCommand, by: string): void {
    const { mode } = this.#state;
    switch (command.kind) {
      case 'start':
        this.#prove();
        return;
      case 'pause-at-next-point':
        if (mode === 'making-safe' || mode === 'held') this.#goSafe({ kind: 'paused' }, 'A pause was asked for.');
        return;
      case 'pause-now':
        this.#goSafe({ kind: 'paused' }, 'A pause was asked for.');
        return;
      case 'resume':
        if (mode === 'paused' || mode === 'held') this.#resume(false);
        return;
      case 'skip-wait':
        this.#skipWait();
        return;
      case 'skip-point':
        this.#emit({ kind: 'point-skipped', point: command.point, why: `${by} left it out.` });
        if (this.#state.current?.point === command.point) this.#endAttemptAfterStop('cut', 'The point was left out while it was being measured.');
        return;
      case 'measure-again':
        if (mode === 'ended') this.#emit({ kind: 'reopened', why: `${by} asked for points to be measured again.` });
        for (const injector of new Set(command.points.map((point) => this.#drivenInjector(point)))) {
          if (injector !== null && this.#state.out.has(injector)) this.#emit({ kind: 'injector-back', injector, text: `${by} asked for its points to be measured again.` });
        }
        this.#emit({ kind: 'queued', points: command.points, reason: 'measure-again' });
        if (mode === 'ended') this.#prove();
        return;
      case 'measure-remaining':
        this.#emit({ kind: 'reopened', why: `${by} asked for every point that has no result to be measured.`, plan: true });
        for (const injector of [...this.#state.out.keys()]) this.#emit({ kind: 'injector-back', injector, text: `${by} asked for every point that has no result to be measured.` });
        this.#prove();
        return;
      case 'finish-early':
        if (mode !== 'measuring') this.#end('It was asked to finish early.');
        return;
      case 'abort':
        this.#goSafe({ kind: 'ended', ending: 'aborted' }, 'The run was aborted.');
        return;
      case 'emergency-stop':
        // A run that has ended keeps its ending; the bench is made safe all the same.
        this.#goSafe({ kind: 'ended', ending: this.#endingAlready() ?? 'emergency-stopped' }, 'STOP was pressed.');
        return;
      case 'acknowledge':
        this.#emit({ kind: 'acknowledged' });
        this.#restUntil = this.#now + restAfterAcknowledge;
        if (mode === 'ready') {
          this.#ask('clear-ready', { kind: 'clear-faults' });
        } else {
          this.#goSafe({ kind: 'paused' }, 'The trip was acknowledged.');
          this.#acknowledging = true;
        }
        return;
      case 'accept-untraceable':
        this.#emit({ kind: 'not-traceable', reasons: this.#untraceableReasons(), by });
        return;
      case 'choose':
        this.#emit({ kind: 'chosen', point: command.point, attempt: command.attempt, by: { person: by }, why: command.reason });
        return;
    }
  }

  #endingAlready(): Ending | null {
    const { ending, mode, safe } = this.#state;
    if (mode === 'ended') return ending;
    // A second STOP while the ended bench is made safe once more.
    return mode === 'making-safe' && safe?.then.kind === 'ended' && ending !== null ? ending : null;
  }

  /** Why the run cannot be started now (RUN-10, RUN-11); null when it can. */
  #notStartable(): string | null {
    const refused = this.#refusedLine();
    return refused === undefined ? this.#notFit() : `The pre-flight sheet refuses the start (${refused.rule}): ${refused.text}`;
  }

  /** Why the run cannot go on now (RUN-11, RUN-111); null when it can. */
  #notResumable(): string | null {
    const refused = this.#refusedLine((line) => line.untraceable !== undefined || line.rule === recordRule);
    return refused === undefined ? this.#notFit() : `The pre-flight sheet refuses to go on (${refused.rule}): ${refused.text}`;
  }

  /** The first line of the sheet that stands against driving the bench, among those that are asked for. */
  #refusedLine(asked: (line: PreflightLine) => boolean = () => true): PreflightLine | undefined {
    const { preflight, untraceableAccepted } = this.#state;
    return preflight.find((line) => line.result === 'refuse' && asked(line) && !(untraceableAccepted && line.untraceable !== undefined));
  }

  /** What the sheet refuses and a person may choose to pass over (RUN-110). */
  #untraceableReasons(): readonly string[] {
    return this.#state.preflight.flatMap(({ result, untraceable }) => (result === 'refuse' && untraceable !== undefined ? [untraceable] : []));
  }

  /** Why a person must wait after an acknowledgement before the bench is driven (RUN-150); null when not. A wait is not remembered: it takes a fresh press. */
  #mustRest(): string | null {
    if (this.#now >= this.#restUntil) return null;
    return `The bench rests for ${restAfterAcknowledge} s after an acknowledgement. Look at it, then ask again.`;
  }

  /** Why the bench is not fit to be driven now; null when it is. */
  #notFit(): string | null {
    if (!this.#state.linkUp) return 'The link to the bench is down. Restore it first.';
    if (this.#outstanding !== null) return 'The controller is still busy with the last request. Try again in a moment.';
    const frame = this.#frame;
    if (frame === null || this.#now - this.#frameNow > this.#staleAfter) {
      return 'There is no fresh telemetry from the bench. Wait for it, or look at the link.';
    }
    if (frame.fault !== null && frame.fault.code !== deadManFault) return `The controller has latched a fault. ${frame.fault.text} Acknowledge it first.`;
    const clock = this.#clockRefusal();
    if (clock !== null) return clock;
    const open = this.#openInterlocks(frame);
    if (open.length > 0) {
      const { found, first } = openInterlockWords(open);
      return `${found} ${first}`;
    }
    for (const [index, guard] of this.#guards.entries()) {
      const memory = this.#guardMemory[index] ?? clearGuard;
      if (guard.level !== 'note' && (memory.active || memory.outSince !== null)) {
        return `Guard ${guard.id} is not clear. ${guardText(guard, this.#signal(guard.signal, frame))}.`;
      }
    }
    return null;
  }

  // ---------------------------------------------------------------- guards

  /** What of the two clocks is to be written down, or stopped for (RUN-115, RUN-116). True when the run left its way. */
  #compareClocks(): boolean {
    const { comparison } = this.#timeBase;
    if (comparison === null || comparison.duration === this.#comparedOver) return false;
    this.#comparedOver = comparison.duration;
    // A rest writes nothing by itself.
    if (!this.#isDriving()) return false;
    const refusal = this.#clockRefusal();
    if (comparison.duration >= this.#tellClocksFrom || (refusal !== null && this.#toldClocks === 0)) this.#tellClocks();
    return refusal === null ? false : this.#trip('time-base', refusal);
  }

  /** The comparison of the clocks began anew. */
  #beginTelling(): void {
    this.#comparedOver = 0;
    this.#toldClocks = 0;
    this.#tellClocksFrom = firstComparison;
  }

  /** Writes the comparison down as it stands, if it rests on more than the one before. */
  #tellClocks(): void {
    const { comparison } = this.#timeBase;
    const { bench } = this.#state;
    if (comparison === null || bench === null || comparison.duration <= this.#toldClocks) return;
    this.#toldClocks = comparison.duration;
    this.#tellClocksFrom = 2 * comparison.duration;
    this.#emit({ kind: 'clocks-compared', bootId: bench.bootId, comparison, text: clocksText(comparison) });
  }

  /** Why nothing may be measured by this controller's clock; null: it may, as far as is known. */
  #clockRefusal(): string | null {
    const { comparison } = this.#timeBase;
    const { equipment } = this.#state;
    if (comparison === null || equipment.equipmentVersion !== 2) return null;
    const { refuseAbovePpm } = equipment.timeBase;
    if (!isBeyond(comparison, refuseAbovePpm * 1e-6)) return null;
    return `${comparisonText(comparison)} The equipment record allows ${refuseAbovePpm} millionths: pulse widths, and with them slope and dead time, would be off by as much. Have the oscillator of the controller looked at, and the clock of this computer.`;
  }

  /** What the controller itself says that must not go on (RUN-23 to RUN-28). True when the run left its way. */
  #checkController(frame: BenchFrame): boolean {
    const { mode } = this.#state;
    const driving = mode === 'proving' || mode === 'measuring';
    const { fault } = frame;
    if (fault !== null) {
      if (fault.code === deadManFault) {
        if (driving && !this.#expectsDeadMan()) {
          this.#emit({ kind: 'controller-fault', fault });
          return this.#hold('dead-man', `The controller did not hear the host for too long, and its dead-man acted. ${fault.text}`);
        }
      } else if ((driving || mode === 'paused' || mode === 'held' || this.#canTripMakingSafe()) && !this.#acknowledging) {
        this.#emit({ kind: 'controller-fault', fault });
        return this.#trip('controller-fault', `${fault.text}${this.#drivenLast(fault.code)}`);
      }
    }
    if (driving || mode === 'held' || (mode === 'making-safe' && this.#state.safe?.then.kind === 'held')) {
      const open = this.#openInterlocks(frame);
      if (open.length > 0) return this.#trip('interlock', openInterlockWords(open).found);
    }
    if (!driving) return false;
    if (frame.burst.done > frame.burst.commanded) {
      return this.#trip('pulse-count', `The controller counted ${frame.burst.done} pulses where ${frame.burst.commanded} were commanded.`);
    }
    if (frame.burst.active && !this.#pulsing) return this.#trip('unexpected-pulses', 'The controller drives an injector that nobody asked for.');
    if (this.#armedSeen && !frame.armed && !this.#expectsDeadMan()) {
      return this.#trip('disarmed', 'The controller disarmed itself and gives no reason.');
    }
    if (frame.armed && this.#phase !== 'arm' && !this.#expectsDeadMan()) this.#armedSeen = true;
    return false;
  }

  /** What flows without a pulse mostly flows through the injector that had the last one (RUN-121). */
  #drivenLast(code: string): string {
    const point = this.#currentPoint();
    if (code !== 'driver' || point === null || point.role === 'zero') return '';
    return ` The injector driven last is ${this.#state.plan.injectors[point.injector]?.serialNumber ?? ''} on channel ${point.channel}.`;
  }

  /** Phases in which the latched dead-man is what the engine waits for or is about to clear. */
  #expectsDeadMan(): boolean {
    switch (this.#phase) {
      case 'clear':
      case 'await-clear':
      case 'silence':
      case 'await-dead-man':
      case 'clear-proof':
      case 'await-clear-proof':
        return true;
      default:
        return false;
    }
  }

  #canTripMakingSafe(): boolean {
    const then = this.#state.safe?.then.kind;
    return this.#state.mode === 'making-safe' && (then === 'paused' || then === 'held');
  }

  #openInterlocks(frame: BenchFrame): readonly string[] {
    if ((frame.interlocks & this.#allClosed) === this.#allClosed) return noneOpen;
    return this.#capabilities.interlocks.filter((_, bit) => (frame.interlocks & (1 << bit)) === 0);
  }

  /** The plan's guards (RUN-20 to RUN-22). True when the run left its way. */
  #checkGuards(frame: BenchFrame): boolean {
    const guards = this.#guards;
    for (let index = 0; index < guards.length; index += 1) {
      const guard = guards[index];
      const before = this.#guardMemory[index];
      if (guard === undefined || before === undefined) continue;
      const value = this.#signal(guard.signal, frame);
      // A leak that was found is not gone because an injector is driven again: it clears when it is counted anew (RUN-108).
      if (guard.signal === 'idle-flow-ml-min' && value === null && before.active) continue;
      const after = stepGuard(guard, before, value, this.#now);
      if (after === before && !after.active) continue;
      this.#guardMemory[index] = after;
      if (!after.active) {
        if (before.active && this.#state.notes.has(guard.id)) this.#emit({ kind: 'guard-cleared', guard: guard.id, text: `${guardText(guard, value)}: back inside.` });
        continue;
      }
      // An ended run only keeps watch for the checks before points are measured again.
      if (this.#state.mode === 'ended') continue;
      // A hold or trip that finds nothing to stop is written down like a note.
      if (guard.level === 'note' ? !this.#state.notes.has(guard.id) : !before.active && !this.#canStop(guard.level)) {
        this.#emit({ kind: 'guard-noted', guard: guard.id, text: `${guardText(guard, value)}.` });
      }
      // A guard that was active before is looked at again: the mode may have become one that it stops.
      if (guard.level === 'hold' && this.#canStop('hold')) return this.#hold(guard.id, `${guardText(guard, value)}.`, guard.maxResumes);
      if (guard.level === 'trip' && this.#canStop('trip')) return this.#trip(guard.id, `${guardText(guard, value)}.`);
    }
    return false;
  }

  #canStop(level: 'hold' | 'trip'): boolean {
    const { mode } = this.#state;
    if (mode === 'proving' || mode === 'measuring') return true;
    return level === 'trip' && (mode === 'paused' || mode === 'held' || this.#canTripMakingSafe());
  }

  /** Reading of a guard's signal in the unit of its limits; null when it does not apply now. */
  #signal(signal: Guard['signal'], frame: BenchFrame): number | null {
    switch (signal) {
      case 'pressure-deviation-kpa': {
        const applies = pressureMatters.has(this.#phase);
        const point = this.#currentPoint();
        // Held open for a moment: the plan need not have been made for that droop (RUN-143).
        return applies && point !== null && lookPart(point) !== 'held' ? toKilopascals(frame.pressure) - toKilopascals(point.pressure) : null;
      }
      case 'supply-deviation-v': {
        const step = this.#state.current?.step;
        const point = this.#currentPoint();
        return step != null && step !== 'supply' && point !== null ? frame.supply - point.voltage : null;
      }
      case 'idle-flow-ml-min':
        return this.#idleFlow.millilitresPerMinute;
      case 'pressure-kpa':
      case 'rail-temperature-c':
      case 'meter-temperature-c':
      case 'current-a':
        return directReading(signal, frame);
    }
  }

  /** A bench that rests is seen to stay safe (RUN-6). True when it has to be made safe again. */
  #watchRest(frame: BenchFrame): boolean {
    const { safe } = this.#state;
    if (safe === null) return false;
    if (safe.confirmed === true && !frame.armed && !frame.burst.active) {
      this.#unsafeSince = Number.NaN;
      return false;
    }
    if (Number.isNaN(this.#unsafeSince)) this.#unsafeSince = this.#now;
    if (this.#now - this.#unsafeSince < unsafeDwell || this.#unsafeRestarts > unsafeRestarts) return false;
    this.#unsafeRestarts += 1;
    this.#unsafeSince = Number.NaN;
    const why = 'The bench was not seen to be safe.';
    if (this.#unsafeRestarts > unsafeRestarts && safe.then.kind !== 'tripped') return this.#trip('not-safe', why);
    this.#goSafe(safe.then, why);
    return true;
  }

  /** A hold that lasts is for a person (RUN-166). True when it was ended. */
  #endsLongHold(): boolean {
    const { holdS } = this.#state.plan.byItself;
    const then = this.#state.safe?.then;
    if (then?.kind !== 'held' || this.#now - this.#heldSince < holdS) return false;
    const since = this.#state.linkUp || then.text.includes(this.#downReason) ? '' : ` ${this.#downReason}`;
    return this.#callPerson(then.guard, `${then.text}${since} That lasted longer than ${spanText(holdS)}, so the run does not go on by itself any more.`);
  }

  #tryResume(): void {
    if (this.#endsLongHold()) return;
    if (this.#state.safe?.confirmed !== true || this.#now - this.#clearSince < builtInClear) return;
    if (this.#notFit() === null) this.#resume(true);
  }

  /** Makes safe and waits until the guard is clear, or trips when that happened too often (RUN-22). */
  #hold(guard: string, text: string, maxResumes = this.#state.plan.byItself.perHour): true {
    const resumes = (this.#resumedAt.get(guard) ?? []).filter((at) => at > this.#now - hour).length;
    if (resumes >= maxResumes) {
      return this.#trip(guard, `${text} The run went on by itself ${resumes} times after this within the last hour; it does not any more.`);
    }
    this.#goSafe({ kind: 'held', guard, text }, text);
    return true;
  }

  /** Makes safe and stays so until a person resumes. */
  #callPerson(guard: string, text: string): true {
    this.#goSafe({ kind: 'paused', guard, text }, text);
    return true;
  }

  #trip(guard: string, text: string): true {
    this.#goSafe({ kind: 'tripped', guard, text }, text);
    return true;
  }

  // ---------------------------------------------------------------- the way to safe

  /** Every way to rest is this one (RUN-3): cut what is open, make safe, confirm, then the mode that `then` names. */
  #goSafe(then: AfterSafe, why: string): void {
    const { current, mode } = this.#state;
    if (current !== null) {
      this.#emit({ kind: 'attempt-ended', point: current.point, attempt: current.attempt, verdict: 'cut', window: null, criteria: [], text: why });
    }
    this.#tellClocks();
    this.#emit({ kind: 'making-safe', then, why });
    this.#acknowledging = false;
    // The request that is under way already is as good as a new one.
    if (mode === 'making-safe' && (this.#phase === 'make-safe' || this.#phase === 'leave-to-dead-man')) return;
    this.#askSafe(true);
  }

  #askSafe(first: boolean): void {
    this.#safeTries = first ? 1 : this.#safeTries + 1;
    this.#supplySet = Number.NaN;
    this.#supplySteadySince = Number.NaN;
    this.#pressureSet = Number.NaN;
    this.#conditionSince = Number.NaN;
    this.#armedSeen = false;
    this.#pumping = false;
    this.#pulsing = false;
    this.#railShut = false;
    this.#decay = [];
    this.#window = null;
    this.#doubt = null;
    this.#ask('make-safe', { kind: 'make-safe' }, safeTimeout);
  }

  #onSafeReply(reply: BenchReply): void {
    if (reply.kind === 'done') {
      this.#emit({ kind: 'made-safe', confirmed: true, text: `Injectors off, supply at its safe value, disarmed${this.#capabilities.rail === undefined ? '' : ', rail pressure given up'}: confirmed by the controller.` });
      if (this.#acknowledging) {
        this.#ask('clear-acknowledged', { kind: 'clear-faults' });
        return;
      }
    } else {
      if (this.#safeTries < safeTries) {
        this.#askSafe(false);
        return;
      }
      // As long as the host is heard the dead-man does not act, so the host falls silent.
      this.#keepSilent('leave-to-dead-man');
      return;
    }
    this.#rest();
  }

  #onLeftToDeadMan(): void {
    this.#acknowledging = false;
    const frame = this.#frame;
    const seen = frame !== null && this.#frameNow > this.#phaseSince && this.#now - this.#frameNow <= this.#staleAfter;
    if (seen && missingOfSafe(frame, this.#capabilities) === null) {
      this.#emit({
        kind: 'made-safe',
        confirmed: true,
        text: 'The bench did not answer, so the host fell silent; telemetry shows injectors off, supply at its safe value, disarmed.',
      });
    } else {
      this.#emit({
        kind: 'made-safe',
        confirmed: false,
        text:
          "The bench did not confirm that it is safe. The controller's dead-man is the remaining protection: it switches injectors and " +
          'supply off by itself. Press the emergency stop of the bench and look for yourself before you touch anything.',
      });
    }
    this.#rest();
  }

  #onAcknowledgedReply(reply: BenchReply): void {
    this.#acknowledging = false;
    this.#restUntil = this.#now + restAfterAcknowledge;
    if (reply.kind !== 'done') {
      const text = `The fault could not be cleared: ${reply.text}`;
      this.#emit({ kind: 'making-safe', then: { kind: 'tripped', guard: 'controller-fault', text }, why: text });
      this.#emit({ kind: 'made-safe', confirmed: true, text: 'The bench was confirmed safe before.' });
    }
    this.#rest();
  }

  /** The bench is as safe as it gets: on to where `making-safe` said. */
  #rest(): void {
    const then = this.#state.safe?.then;
    if (then === undefined) throw new Error('The run rests without having been made safe.');
    this.#enter('idle');
    this.#unsafeSince = Number.NaN;
    this.#clearSince = this.#now;
    switch (then.kind) {
      case 'paused':
        this.#emit({ ...then, kind: 'paused' });
        return;
      case 'held':
        this.#heldSince = this.#now;
        this.#emit({ kind: 'held', guard: then.guard, text: then.text });
        return;
      case 'tripped':
        this.#emit({ kind: 'tripped', guard: then.guard, text: then.text });
        return;
      case 'ended':
        this.#emit({ kind: 'ended', ending: then.ending, text: endText(this.#state, then.ending) });
        return;
    }
  }

  #end(why: string): void {
    this.#goSafe({ kind: 'ended', ending: endingOf(this.#state) }, why);
  }

  // ---------------------------------------------------------------- proof

  #prove(): void {
    this.#unsafeRestarts = 0;
    this.#emit({ kind: 'proving-started' });
    this.#setUp();
  }

  /** After a rest: the dead-man is proved again only if the controller was reset since (RUN-14). */
  #resume(automatic: boolean): void {
    this.#unsafeRestarts = 0;
    if (automatic && this.#state.safe?.then.kind === 'held') {
      const { guard } = this.#state.safe.then;
      this.#resumedAt.set(guard, [...(this.#resumedAt.get(guard) ?? []).filter((at) => at > this.#now - hour), this.#now]);
    }
    this.#emit({ kind: 'resumed', automatic });
    if (this.#state.provedBootId === this.#state.bench?.bootId) {
      this.#emit({ kind: 'measuring-started' });
      this.#next();
    } else {
      this.#prove();
    }
  }

  #proofFailed(text: string): void {
    this.#emit({ kind: 'dead-man-not-proved', text });
    this.#trip('dead-man-proof', `The dead-man of the controller was not proved: ${text} Nothing is measured without it.`);
  }

  // ---------------------------------------------------------------- a point

  /** On to the next point, the second pass, a pause that was asked for, or the end. */
  #next(): void {
    if (this.#state.finishing) {
      this.#end('It was asked to finish early.');
      return;
    }
    let target = nextTarget(this.#state);
    if (target === null || this.#points[target.point]?.role !== 'look') {
      this.#judgeLooks();
      target = nextTarget(this.#state);
    }
    if (target === null && !this.#state.planOver && !this.#state.secondPassStarted && this.#state.plan.repeats.attemptsSecondPass > 0) {
      const points = failedPoints(this.#state);
      if (points.length > 0) {
        this.#emit({ kind: 'second-pass-started', points });
        target = nextTarget(this.#state);
      }
    }
    if (target === null) {
      this.#end('There is no point left to measure.');
      return;
    }
    if (this.#state.pausePending) {
      this.#goSafe({ kind: 'paused' }, 'A pause at the next point was asked for.');
      return;
    }
    const attempts = this.#state.points[target.point]?.attempts ?? [];
    this.#attemptSince = this.#now;
    this.#emit({
      kind: 'attempt-started',
      point: target.point,
      attempt: attempts.length + 1,
      reason: reasonOf(target.origin, attempts[attempts.length - 1]?.verdict ?? null, attempts.length),
    });
    this.#step('supply');
    this.#setUp();
  }

  /** Clears a dead-man, arms, enables the pump (RUN-120) and sets the supply, each only where needed. */
  #setUp(): void {
    const frame = this.#frame;
    if (frame?.fault?.code === deadManFault) {
      this.#ask('clear', { kind: 'clear-faults' });
    } else if (frame?.armed !== true || !this.#armedSeen) {
      this.#pumping = false;
      this.#ask('arm', { kind: 'arm' });
    } else {
      this.#feedRail();
    }
  }

  /** The proof needs no pressure. */
  #feedRail(): void {
    const { rail } = this.#capabilities;
    if (this.#railShut) {
      this.#ask('open-rail', { kind: 'shut-off', shut: false });
      return;
    }
    if (this.#state.mode === 'measuring' && !this.#pumping && rail !== undefined && (rail.pump || rail.relief)) {
      this.#ask('pump', { kind: 'pump', on: true });
    } else {
      this.#setSupply();
    }
  }

  #setSupply(): void {
    const supply = this.#supplyTarget();
    if (this.#supplySet === supply) {
      this.#enter('await-supply');
      this.#checkSupply();
      return;
    }
    this.#supplySteadySince = Number.NaN;
    this.#supplySet = Number.NaN;
    this.#ask('set-supply', { kind: 'set-supply', supply });
  }

  #supplyTarget(): Volts {
    return this.#currentPoint()?.voltage ?? volts(Math.min(...this.#state.plan.axes.voltageV));
  }

  #trackSupply(frame: BenchFrame): void {
    if (Math.abs(frame.supply - this.#supplySet) <= this.#state.plan.supply.toleranceV) {
      if (Number.isNaN(this.#supplySteadySince)) this.#supplySteadySince = this.#now;
    } else {
      this.#supplySteadySince = Number.NaN;
    }
  }

  #checkSupply(): void {
    const { supply } = this.#state.plan;
    if (this.#armedSeen && this.#now - this.#supplySteadySince >= supply.steadyS) {
      this.#supplyReady();
    } else if (this.#now - this.#phaseSince > supply.timeoutS) {
      const frame = this.#frame;
      const text = `The supply did not come to ${this.#supplyTarget()} V +/- ${supply.toleranceV} V within ${supply.timeoutS} s; the read-back is ${frame === null ? 'not known' : `${frame.supply.toFixed(3)} V`}.`;
      if (this.#state.mode === 'proving') this.#proofFailed(text);
      else this.#endAttemptAfterStop('rejected', text, 'supply-not-reached');
    }
  }

  #supplyReady(): void {
    if (this.#state.mode === 'proving') {
      if (this.#waitsForNoCurrent('drive')) return;
      this.#askBurst('prove-burst', proofBurst(this.#state.plan, this.#capabilities));
      return;
    }
    this.#step('condition');
    const point = this.#currentPoint();
    if (point === null) throw new Error('The run measures without a point.');
    if (this.#capabilities.pressure.commandable && this.#pressureSet !== point.pressure) {
      this.#conditionSince = Number.NaN;
      this.#pressureSet = Number.NaN;
      this.#ask('set-pressure', { kind: 'set-pressure', pressure: point.pressure });
      return;
    }
    if (this.#pressureSet !== point.pressure) {
      this.#pressureSet = point.pressure;
      this.#conditionSince = Number.NaN;
      if (this.#frame !== null) this.#trackCondition(this.#frame);
    }
    this.#enter('await-condition');
    this.#checkCondition();
  }

  #trackCondition(frame: BenchFrame): void {
    if (this.#pressureFits(frame) && this.#temperaturesFit(frame)) {
      if (Number.isNaN(this.#conditionSince)) this.#conditionSince = this.#now;
    } else {
      this.#conditionSince = Number.NaN;
    }
  }

  #pressureFits(frame: BenchFrame): boolean {
    return Math.abs(frame.pressure - this.#pressureSet) <= this.#state.plan.condition.pressureToleranceKpa * 1e3;
  }

  #temperaturesFit(frame: BenchFrame): boolean {
    const { temperatureMinC: min, temperatureMaxC: max } = this.#state.plan.condition;
    const rail = toCelsius(frame.railTemperature);
    const meter = toCelsius(frame.meterTemperature);
    return rail >= min && rail <= max && meter >= min && meter <= max;
  }

  #checkCondition(): void {
    const { condition } = this.#state.plan;
    if (this.#now - this.#conditionSince >= condition.steadyS) {
      this.#conditionReady();
      return;
    }
    const frame = this.#frame;
    if (frame !== null && !this.#capabilities.pressure.commandable && Math.abs(frame.pressure - this.#pressureSet) > condition.pressureToleranceKpa * 1e3) {
      // The operator sets this pressure: the run waits for a person without a limit, pulses off (RUN-42).
      this.#phaseSince = this.#now;
      return;
    }
    if (this.#now - this.#phaseSince > condition.timeoutS) {
      const found =
        frame === null
          ? 'the readings are not known'
          : `pressure ${toKilopascals(frame.pressure).toFixed(1)} kPa, rail ${toCelsius(frame.railTemperature).toFixed(1)} degC, meter ${toCelsius(frame.meterTemperature).toFixed(1)} degC`;
      this.#endAttemptAfterStop('rejected', `Pressure and temperature did not come into their bands within ${condition.timeoutS} s: ${found}.`, 'condition-not-reached');
    }
  }

  #conditionReady(): void {
    const { purge } = this.#state.plan;
    const point = this.#currentPoint();
    if (point === null) throw new Error('The run measures without a point.');
    if (this.#waitsForNoCurrent('drive')) return;
    if (point.role === 'zero') {
      this.#pulsesMove = false;
      this.#step('settle');
      this.#restSince = Number.NaN;
      this.#enter('rest');
      return;
    }
    if (purge.pulses === 0 || point.role === 'look') {
      this.#startBurst(point);
      return;
    }
    this.#step('purge');
    this.#askBurst('purge', { channel: point.channel, width: seconds(purge.widthMs * 1e-3), period: seconds(purge.periodMs * 1e-3), count: purge.pulses });
  }

  /** True while more current flows than may flow with nothing driven: then the run waits for its end (RUN-131). */
  #waitsForNoCurrent(then: 'drive' | 'end-attempt'): boolean {
    if (!this.#currentFlows()) return false;
    if (this.#phase !== 'await-no-current') this.#enter('await-no-current');
    this.#whenNoCurrent = then;
    return true;
  }

  #currentFlows(): boolean {
    return this.#frame === null || this.#frame.current > this.#state.plan.supply.idleCurrentA;
  }

  #noCurrent(): void {
    if (this.#whenNoCurrent === 'end-attempt') this.#stopped();
    else if (this.#state.mode === 'proving') this.#supplyReady();
    else this.#conditionReady();
  }

  #startBurst(point: Point): void {
    this.#pulsesMove = point.width < point.period;
    this.#drivenWidth = null;
    const { settleS, look } = this.#state.plan;
    const window = point.role === 'look' ? { maxS: look.windowS + lookWindowSlack } : this.#state.plan.window;
    const { maxCount } = this.#capabilities;
    this.#step('settle');
    // Long enough that the pulses outlast the longest window; where the controller cannot, the window ends before they do.
    const count = Math.min(maxCount, Math.ceil((settleS + window.maxS + 10) / point.period));
    this.#windowMax = Math.min(window.maxS, count * point.period - settleS - 1);
    const expected = expectedEdgeRate(assumedStaticFlow, this.#state.equipment, point);
    this.#silentMeterAfter = Math.min(silentMeterMost, Math.max(silentMeterLeast, silentMeterEdges / expected));
    this.#askBurst('burst', { channel: point.channel, width: point.width, period: point.period, count });
  }

  /** Frames in proving and measuring: has what the phase waits for come about? */
  #advance(frame: BenchFrame): void {
    switch (this.#phase) {
      case 'await-clear':
        if (frame.fault === null) this.#setUp();
        else this.#checkDeadlines();
        return;
      case 'await-supply':
        this.#checkSupply();
        return;
      case 'await-condition':
        this.#checkCondition();
        return;
      case 'await-purge':
        if (this.#isOurBurst(frame) && !frame.burst.active) {
          this.#pulsing = false;
          if (frame.burst.done < frame.burst.commanded) {
            this.#endAttemptAfterStop('rejected', `The controller stopped the purge after ${frame.burst.done} of ${frame.burst.commanded} pulses.`, 'purge-cut');
            return;
          }
          const point = this.#currentPoint();
          if (point !== null) this.#startBurst(point);
        } else {
          this.#checkDeadlines();
        }
        return;
      case 'settle':
        if (this.#isDriven(frame)) {
          if (Number.isNaN(this.#burstSeenAt)) this.#burstSeenAt = frame.at;
          if (frame.at - this.#burstSeenAt >= this.#state.plan.settleS) this.#openWindow(frame);
        }
        return;
      case 'window':
        if (this.#isDriven(frame)) this.#measure(frame);
        return;
      case 'rest':
        if (Number.isNaN(this.#restSince)) this.#restSince = frame.at;
        if (frame.at - this.#restSince >= this.#state.plan.zero.settleS) this.#openZeroWindow(frame);
        else this.#checkDeadlines();
        return;
      case 'zero-window':
        this.#window?.add(frame);
        if ((this.#window?.duration ?? 0) < this.#zeroWindow) {
          this.#checkDeadlines();
        } else if (decaysPressure(this.#state.plan, this.#state.equipment, this.#capabilities)) {
          this.#railShut = true;
          this.#ask('shut-rail', { kind: 'shut-off', shut: true });
        } else {
          this.#judge();
        }
        return;
      case 'decay':
        this.#watchDecay(frame);
        return;
      case 'await-stop':
        if (!frame.burst.active) {
          this.#pulsing = false;
          // A window that was measured beside a driver that does not switch off must not count.
          if (this.#afterStop.kind === 'measure' || !this.#waitsForNoCurrent('end-attempt')) this.#stopped();
        } else {
          this.#checkDeadlines();
        }
        return;
      case 'await-shut':
        this.#watchShut(frame);
        return;
      case 'await-no-current':
        if (this.#currentFlows()) this.#checkDeadlines();
        else this.#noCurrent();
        return;
      case 'await-pulses':
        if (this.#isOurBurst(frame) && frame.burst.active && frame.burst.done >= proofPulses) {
          this.#keepSilent('silence');
        } else {
          this.#checkDeadlines();
        }
        return;
      case 'await-dead-man':
        if (missingOfDeadMan(frame, this.#capabilities) === null) {
          this.#pulsing = false;
          this.#armedSeen = false;
          this.#supplySet = Number.NaN;
          this.#emit({
            kind: 'dead-man-proved',
            silence: this.#silence,
            pulsesBefore: frame.burst.done,
            pulsesCommanded: frame.burst.commanded,
          });
          this.#ask('clear-proof', { kind: 'clear-faults' });
        } else {
          this.#checkDeadlines();
        }
        return;
      case 'await-clear-proof':
        if (frame.fault === null) {
          this.#emit({ kind: 'measuring-started' });
          this.#next();
        } else {
          this.#checkDeadlines();
        }
        return;
      case 'idle':
      case 'clear':
      case 'arm':
      case 'pump':
      case 'set-supply':
      case 'set-pressure':
      case 'purge':
      case 'burst':
      case 'stop':
      case 'shut-rail':
      case 'open-rail':
      case 'prove-burst':
      case 'silence':
      case 'clear-proof':
      case 'make-safe':
      case 'leave-to-dead-man':
      case 'clear-acknowledged':
      case 'clear-ready':
        // A reply is due; frames have been guarded already.
        return;
    }
  }

  /** What must have come about by now, looked at with every frame and every tick. */
  #checkDeadlines(): void {
    const since = this.#now - this.#phaseSince;
    const { plan } = this.#state;
    switch (this.#phase) {
      case 'await-supply':
        this.#checkSupply();
        return;
      case 'await-condition':
        this.#checkCondition();
        return;
      case 'await-clear':
      case 'await-clear-proof':
        if (since > readBackTimeout) this.#trip('controller-fault', 'The dead-man fault of the controller did not clear.');
        return;
      case 'await-purge':
        if (since > (plan.purge.pulses * plan.purge.periodMs) / 1e3 + 5) this.#endAttemptAfterStop('rejected', 'The purge was not seen to end in its time.');
        return;
      case 'settle':
        if (Number.isNaN(this.#burstSeenAt)) {
          if (since > readBackTimeout) this.#endAttemptAfterStop('rejected', 'The pulses that were asked for were not seen to begin.');
        } else if (since > plan.settleS + clockSlack) {
          this.#endAttemptAfterStop('rejected', 'The clock of the controller did not go on while the flow settled.');
        }
        return;
      case 'window':
        if (since > this.#windowMax + clockSlack) this.#endAttemptAfterStop('rejected', 'The clock of the controller did not go on inside the window.');
        return;
      case 'rest':
        if (since > plan.zero.settleS + clockSlack) this.#endAttemptAfterStop('rejected', 'The clock of the controller did not go on while the rail came to rest.');
        return;
      case 'zero-window':
        if (since > this.#zeroWindow + clockSlack) this.#endAttemptAfterStop('rejected', 'The clock of the controller did not go on inside the window.');
        return;
      case 'decay':
        // The window before it is whole all the same; what there is of the decay is judged by its frames.
        if (since > plan.zero.decayS + shutRest + clockSlack) this.#judge();
        return;
      case 'await-stop':
        if (since > readBackTimeout) this.#trip('stop-not-confirmed', 'The controller said that it stopped the pulses, but they go on.');
        return;
      case 'await-shut':
        if (since > shutGraceS + shutSpanS + clockSlack) this.#endAttemptAfterStop('rejected', 'The clock of the controller did not go on while the injector shut.');
        return;
      case 'await-no-current':
        if (since > idleCurrentTimeout) this.#trip('idle-current', idleCurrentText(this.#frame?.current ?? Number.NaN, plan.supply.idleCurrentA));
        return;
      case 'await-pulses':
        if (since > readBackTimeout) this.#proofFailed('the pulses of the proof were not seen to begin.');
        return;
      case 'await-dead-man':
        if (since > safeSupplyTimeout) this.#proofFailed(`after ${this.#silence.toFixed(1)} s of silence ${this.#missingNow()}`);
        return;
      default:
        return;
    }
  }

  #missingNow(): string {
    return (this.#frame === null ? null : missingOfDeadMan(this.#frame, this.#capabilities)) ?? 'nothing was seen of it.';
  }

  #isOurBurst(frame: BenchFrame): boolean {
    return frame.burst.number !== this.#burstBefore && frame.burst.commanded === this.#burstCount;
  }

  /** The pulses of the point go on; otherwise it is rejected (RUN-45, RUN-46). */
  #isDriven(frame: BenchFrame): boolean {
    if (!this.#isOurBurst(frame)) {
      if (Number.isNaN(this.#burstSeenAt)) this.#checkDeadlines();
      else this.#endAttemptAfterStop('rejected', 'Another pulse train took the place of the one that was asked for.');
      return false;
    }
    if (!frame.burst.active) {
      this.#endAttemptAfterStop('rejected', `The pulses ended after ${frame.burst.done} of ${frame.burst.commanded}, before the window was long enough.`, 'pulses-ended');
      return false;
    }
    // An injector that is held open moves nothing.
    if (this.#pulsesMove) this.#standing.add(frame);
    this.#drivenCurrent.sum += frame.current;
    this.#drivenCurrent.frames += 1;
    if (!Number.isNaN(this.#burstSeenAt) && frame.at - Math.max(this.#burstSeenAt, frame.lastEdgeAt) > this.#silentMeterAfter) {
      this.#rejectSilent();
      return false;
    }
    return true;
  }

  /** RUN-46; the current tells a coil that is driven from one that is not there (RUN-132). */
  #rejectSilent(): void {
    const point = this.#currentPoint();
    const { sum, frames } = this.#drivenCurrent;
    const mean = sum / frames;
    const least = point === null ? 0 : ((point.voltage / highestCoilOhm) * Math.max(0, point.width - currentRise)) / point.period;
    const silent = `The meter gave no edge for ${this.#silentMeterAfter.toFixed(1)} s while the injector was driven`;
    if (mean < least / 3) {
      const text = `${silent}, and the supply gave ${mean.toFixed(3)} A: no coil is driven on channel ${point?.channel ?? 0}. Its coil is open, its plug is off, or its driver does not switch.`;
      this.#endAttemptAfterStop('rejected', text, 'no-current');
      return;
    }
    const text = `${silent} (supply current ${mean.toFixed(3)} A): the injector does not open, a valve is shut, or the meter is silent.`;
    this.#endAttemptAfterStop('rejected', text, 'no-flow');
  }

  #openWindow(frame: BenchFrame): void {
    this.#step('measure');
    this.#enter('window');
    this.#window = new WindowCollector(this.#state.equipment.meter.edgesPerRevolution);
    this.#window.add(frame);
  }

  /** The window of a zero point: nothing is driven, and the meter is watched (RUN-101). */
  #openZeroWindow(frame: BenchFrame): void {
    this.#step('measure');
    this.#enter('zero-window');
    this.#window = new WindowCollector(this.#state.equipment.meter.edgesPerRevolution);
    this.#window.add(frame);
  }

  /** The rail is shut off: its pressure is watched until the time is over or it has left the band. The next set-up opens it again. */
  #watchDecay(frame: BenchFrame): void {
    if (Number.isNaN(this.#restSince)) this.#restSince = frame.at;
    if (frame.at - this.#restSince < shutRest) return;
    this.#decay.push(frame);
    const [first] = this.#decay;
    const { zero, condition } = this.#state.plan;
    const fell = first !== undefined && Math.abs(frame.pressure - first.pressure) > condition.pressureToleranceKpa * 1e3;
    if (fell || frame.at - (first?.at ?? frame.at) >= zero.decayS) this.#judge();
    else this.#checkDeadlines();
  }

  #measure(frame: BenchFrame): void {
    const window = this.#window;
    if (window === null) throw new Error('A window is measured that was not opened.');
    window.add(frame);
    const minS = this.#currentPoint()?.role === 'look' ? this.#state.plan.look.windowS : this.#state.plan.window.minS;
    const minEdges = this.#edgesWanted();
    const { duration } = window;
    if ((duration >= minS && window.edges >= minEdges) || duration >= this.#windowMax) this.#stop({ kind: 'judge' });
  }

  #edgesWanted(): number {
    const role = this.#currentPoint()?.role ?? 'measure';
    return role === 'look' ? lookEdges : pairEdges(this.#state.plan.window.minEdges, role);
  }

  #stop(after: AfterStop): void {
    this.#afterStop = after;
    this.#step('stop');
    this.#ask('stop', { kind: 'stop-burst' });
  }

  #stopped(): void {
    const after = this.#afterStop;
    switch (after.kind) {
      case 'measure': {
        const point = this.#currentPoint();
        if (point !== null) this.#startBurst(point);
        return;
      }
      case 'end':
        this.#endAttempt(after.verdict, null, [], after.text, after.cause);
        return;
      case 'judge': {
        const point = this.#currentPoint();
        if (point !== null && lookPart(point) === 'long') {
          this.#shutSince = null;
          this.#enter('await-shut');
        } else {
          this.#judge();
        }
        return;
      }
    }
  }

  /** After the last pulses of a first look (RUN-136): the rail fills up, then whatever flows is not shut off. */
  #watchShut(frame: BenchFrame): void {
    if (this.#shutSince === null) {
      if (this.#now - this.#phaseSince >= shutGraceS) this.#shutSince = frame;
    } else if (frame.at - this.#shutSince.at >= shutSpanS) {
      this.#judge([shutCriterion(frame.edges - this.#shutSince.edges, frame.at - this.#shutSince.at, this.#state.plan, this.#state.equipment)]);
      return;
    }
    this.#checkDeadlines();
  }

  #judge(more: readonly Criterion[] = []): void {
    const point = this.#currentPoint();
    const window = point?.role === 'zero' ? this.#window?.summariseZero() : this.#window?.summarise();
    if (point === null || window === undefined) throw new Error('There is no window to judge.');
    if ('failure' in window) {
      this.#endAttempt('rejected', null, [{ rule: 'RUN-52', passed: false, text: window.text }], window.text, window.failure);
      return;
    }
    const told = [...more, framesInTime(window, this.#state.plan.link.telemetryHz), ...(this.#pulsesMove ? [this.#standing.criterion()] : [])];
    const { verdict, criteria, text } = judge(window, point, this.#state.plan, this.#capabilities, told);
    const idle = this.#idleTime.take();
    const decay = summariseDecay(this.#decay);
    const failed = criteria.find((criterion) => !criterion.passed);
    const said = decay === null ? text : `${text} ${decayText(decay, this.#state.equipment)}`;
    this.#endAttempt(verdict, { ...window, ...(idle === null ? {} : { idle }), ...(decay === null ? {} : { decay }) }, criteria, said, failed?.rule ?? '');
  }

  /** Ends the attempt; if its pulses may still be going on, they are stopped first. */
  #endAttemptAfterStop(verdict: Verdict, text: string, cause = text): void {
    if (this.#pulsing) {
      this.#stop({ kind: 'end', verdict, text, cause });
      return;
    }
    this.#outstanding = null;
    this.#supplySetUncertain();
    this.#endAttempt(verdict, null, [], text, cause);
  }

  /** A request that was given up may or may not have been carried out. */
  #supplySetUncertain(): void {
    if (this.#phase === 'set-supply') this.#supplySet = Number.NaN;
    if (this.#phase === 'set-pressure') this.#pressureSet = Number.NaN;
  }

  #endAttempt(verdict: Verdict, window: WindowSummary | null, criteria: readonly Criterion[], text: string, cause: string): void {
    const { current } = this.#state;
    if (current === null) throw new Error('There is no attempt to end.');
    const { point, attempt, origin, skippedWaits } = current;
    const said = skippedWaits.length === 0 ? text : `${text} A person skipped the wait for: ${skippedWaits.join(', ')}.`;
    this.#decay = [];
    this.#window = null;
    this.#doubt = null;
    // A zero point is several times as long as the others and would spoil their pace.
    if (this.#points[point]?.role !== 'zero') {
      this.#attemptTime += this.#now - this.#attemptSince;
      this.#attemptsTimed += 1;
    }
    const injector = this.#drivenInjector(point);
    this.#emit({
      kind: 'attempt-ended', point, attempt, verdict, window, criteria, text: said,
      ...(injector === null ? {} : { injector }),
      ...(verdict === 'rejected' ? { cause } : {}),
      ...this.#otherWidth(),
    });
    const { benchFailing, plan } = this.#state;
    if (verdict === 'rejected' && isBenchCause(cause) && plan.byItself.sameCause > 0 && benchFailing.count >= plan.byItself.sameCause) {
      this.#callPerson('same-cause', `${benchFailing.count} attempts running were rejected for one cause that no injector explains, so the bench needs a person. The last: ${text}`);
      return;
    }
    const record = this.#state.points[point];
    if (verdict === 'accepted' && record !== undefined) {
      if (origin === 'measure-again') {
        this.#emit({ kind: 'chosen', point, attempt, by: { rule: 'RUN-36' }, why: 'A person asked for this point to be measured again, and this attempt was accepted.' });
      } else if (record.chosen === null && !(record.choice !== null && 'person' in record.choice.by)) {
        this.#emit({ kind: 'chosen', point, attempt, by: { rule: 'RUN-35' }, why: 'It is the first accepted attempt of the point.' });
      }
    }
    if (injector !== null && verdict === 'rejected' && (this.#givesUp(injector, text) || this.#setsAside(point, injector, cause, text))) return;
    this.#next();
  }

  /** What the controller's timer made of the width (RUN-169). */
  #otherWidth(): { readonly drivenWidth?: Seconds } {
    const driven = this.#drivenWidth;
    this.#drivenWidth = null;
    const planned = this.#currentPoint()?.width;
    return driven === null || planned === undefined || Math.abs(driven - planned) < sameWidth ? {} : { drivenWidth: driven };
  }

  /** An injector whose first look cannot be had is set aside at once (RUN-142). True when the run left its way because of it. */
  #setsAside(point: number, injector: number, cause: string, text: string): boolean {
    if (this.#points[point]?.role !== 'look' || nextTarget(this.#state)?.point === point || this.#state.out.has(injector)) return false;
    this.#takeOut('set-aside', injector, cause, `was set aside: its first look failed. ${text}`);
    if (cause === 'RUN-136') {
      return this.#trip('does-not-shut', `Fluid flows with all injectors off, so nothing that is measured now is right. ${this.#state.out.get(injector)?.text ?? ''}`);
    }
    return this.#blamesBench();
  }

  /** Once all that can be looked at has been: those that are not yet judged from their present attempts are (RUN-142). */
  #judgeLooks(): void {
    if (!hasLook(this.#state.plan)) return;
    const { plan, equipment, looked } = this.#state;
    const all = this.#lookedAt();
    const attemptsOf = ({ points }: LookedAt) => points.map(({ index }) => this.#state.points[index]?.chosen ?? 0);
    const open = all.filter((one) => attemptsOf(one).join() !== looked.get(one.injector)?.attempts.join());
    if (open.length === 0) return;
    const judged = judgeLooks(plan, equipment, all);
    for (const one of open) {
      const found = judged.find(({ injector }) => injector === one.injector);
      if (found === undefined) continue;
      const { injector, passed, criteria, text } = found;
      this.#emit({ kind: 'injector-looked-at', injector, attempts: attemptsOf(one), passed, criteria, text });
      const cause = criteria.find((criterion) => !criterion.passed)?.rule ?? '';
      if (!passed && !this.#state.out.has(injector)) this.#takeOut('set-aside', injector, cause, `was set aside after its first look: ${text}.`);
    }
  }

  /** Injectors with a window that counts for each point of their look. */
  #lookedAt(): readonly LookedAt[] {
    return this.#state.plan.injectors.flatMap((_, injector): LookedAt[] => {
      const points = this.#lookPoints[injector] ?? [];
      const windows = points.flatMap(({ index }) => {
        const record = this.#state.points[index];
        const window = record?.chosen == null ? null : (record.attempts[record.chosen - 1]?.window ?? null);
        return window === null ? [] : [window];
      });
      return points.length > 0 && windows.length === points.length ? [{ injector, points, windows }] : [];
    });
  }

  /** The injector that a point drives; null for a point that drives none. */
  #drivenInjector(point: number): number | null {
    const at = this.#points[point];
    return at === undefined || at.channel === 0 ? null : at.injector;
  }

  /** Gives an injector up that has failed often enough (RUN-133). True when the run left its way because of it. */
  #givesUp(injector: number, text: string): boolean {
    const { afterFailures } = this.#state.plan.giveUp;
    const streak = this.#state.failing.get(injector);
    if (afterFailures === 0 || streak === undefined || streak.count < afterFailures || this.#state.out.has(injector)) return false;
    this.#takeOut('given-up', injector, streak.cause, `was given up after ${streak.count} rejected attempts in a row with the same cause. The last: ${text}`);
    return this.#blamesBench();
  }

  #takeOut(how: OutKind, injector: number, cause: string, why: string): void {
    const points = this.#points.flatMap(({ index }) => {
      const record = this.#state.points[index];
      return this.#drivenInjector(index) === injector && record?.chosen === null && record.skipped === null && record.choice === null ? [index] : [];
    });
    const { serialNumber, channel } = this.#state.plan.injectors[injector] ?? { serialNumber: '', channel: 0 };
    this.#emit({ kind: 'injector-out', how, injector, points, cause, text: `${serialNumber} on channel ${channel} ${why} Its ${points.length} points without a result wait; the others go on.` });
  }

  /** One injector after another fails for one cause: it is the bench. They come back, and the run trips (RUN-134). */
  #blamesBench(): boolean {
    const { injectors } = this.#state.outRunning;
    const all = this.#state.plan.injectors.length;
    if (all < 2 || injectors.length < Math.min(outsToTrip, all)) return false;
    const serials = injectors.map((i) => this.#state.plan.injectors[i]?.serialNumber ?? '').join(', ');
    const last = this.#state.out.get(injectors[injectors.length - 1] ?? -1)?.text ?? '';
    for (const injector of injectors) {
      this.#emit({ kind: 'injector-back', injector, text: 'The bench is suspected, and not the injector.' });
    }
    return this.#trip('every-injector', `${serials} failed one after another with the same cause, so the bench is suspected and not the injectors. ${last}`);
  }

  #skipWait(): void {
    const { current } = this.#state;
    const point = this.#currentPoint();
    if (current?.step == null || point === null) throw new Error('A wait is skipped that is not there.');
    this.#emit({ kind: 'wait-skipped', step: current.step, point: current.point, attempt: current.attempt });
    switch (this.#phase) {
      case 'await-supply':
        this.#supplyReady();
        return;
      case 'await-condition':
        this.#conditionReady();
        return;
      case 'await-purge':
        this.#stop({ kind: 'measure' });
        return;
      case 'settle':
        if (this.#frame !== null) this.#openWindow(this.#frame);
        return;
      case 'rest':
        if (this.#frame !== null) this.#openZeroWindow(this.#frame);
        return;
      default:
        throw new Error(`The wait in ${this.#phase} cannot be skipped.`);
    }
  }

  // ---------------------------------------------------------------- requests and replies

  #handleReply(reply: BenchReply): void {
    switch (this.#phase) {
      case 'make-safe':
        this.#onSafeReply(reply);
        return;
      case 'leave-to-dead-man':
        this.#onLeftToDeadMan();
        return;
      case 'clear-acknowledged':
        this.#onAcknowledgedReply(reply);
        return;
      case 'clear-ready':
        this.#enter('idle');
        if (reply.kind !== 'done') {
          const code = reply.kind === 'refused' ? reply.code : 'no-answer';
          this.#emit({ kind: 'controller-fault', fault: { code, text: `The fault could not be cleared: ${reply.text}` } });
        }
        return;
      default:
        break;
    }
    if (reply.kind === 'no-answer') {
      this.#hold('no-answer', `The bench did not answer: ${reply.text}`);
      return;
    }
    if (reply.kind === 'refused') {
      this.#onRefused(reply);
      return;
    }
    if (this.#phase === 'burst') this.#drivenWidth = reply.drivenWidth ?? null;
    this.#onDone();
  }

  #onRefused(reply: Extract<BenchReply, { kind: 'refused' }>): void {
    const said = `${reply.text} (${reply.code})`;
    switch (this.#phase) {
      case 'set-supply':
      case 'prove-burst':
        if (this.#state.mode === 'proving') this.#proofFailed(`the controller refused: ${said}`);
        else this.#endAttemptAfterStop('rejected', `The controller refused the supply voltage: ${said}.`, `supply-refused-${reply.code}`);
        return;
      case 'set-pressure':
        this.#endAttemptAfterStop('rejected', `The controller refused the pressure: ${said}.`, `pressure-refused-${reply.code}`);
        return;
      case 'shut-rail':
        // The window stands without it.
        this.#railShut = false;
        this.#judge();
        return;
      case 'purge':
      case 'burst':
        this.#pulsing = false;
        this.#endAttemptAfterStop('rejected', `The controller refused the pulses: ${said}.`, `refused-${reply.code}`);
        return;
      case 'clear':
      case 'clear-proof':
        if (reply.code === 'fault') {
          // LINE-63: what came after the dead-man is not shown, and keeps it from being cleared.
          this.#trip('refused', `Something else than the dead-man keeps the controller from being cleared: ${said}. The controller shows only the first fault; look at supply current, temperatures, pressure transducer, flow meter and interlocks.`);
          return;
        }
        this.#trip('refused', `The controller refused a request that it must not refuse: ${said}.`);
        return;
      default:
        // To arm, to stop, to clear a dead-man: a controller that refuses these is not fit to go on with.
        this.#trip('refused', `The controller refused a request that it must not refuse: ${said}.`);
    }
  }

  #onDone(): void {
    switch (this.#phase) {
      case 'clear':
        this.#enter('await-clear');
        return;
      case 'arm':
        this.#feedRail();
        return;
      case 'pump':
        this.#pumping = true;
        this.#setSupply();
        return;
      case 'shut-rail':
        this.#restSince = Number.NaN;
        this.#decay = [];
        this.#enter('decay');
        return;
      case 'open-rail':
        this.#railShut = false;
        this.#conditionSince = Number.NaN;
        this.#feedRail();
        return;
      case 'set-supply':
        this.#supplySet = this.#supplyTarget();
        this.#enter('await-supply');
        return;
      case 'set-pressure':
        this.#pressureSet = this.#currentPoint()?.pressure ?? Number.NaN;
        this.#enter('await-condition');
        return;
      case 'purge':
        this.#enter('await-purge');
        return;
      case 'burst':
        this.#burstSeenAt = Number.NaN;
        this.#enter('settle');
        return;
      case 'stop':
        this.#enter('await-stop');
        return;
      case 'prove-burst':
        this.#enter('await-pulses');
        return;
      case 'silence':
        this.#enter('await-dead-man');
        return;
      case 'clear-proof':
        this.#enter('await-clear-proof');
        return;
      default:
        throw new Error(`A reply came in phase ${this.#phase}, in which nothing is asked.`);
    }
  }

  #ask(phase: Phase, request: BenchRequest, timeout = replyTimeout): void {
    this.#enter(phase);
    this.#lastId += 1;
    const deadline = this.#now + timeout;
    this.#outstanding = { id: this.#lastId, deadline };
    this.#request = { id: this.#lastId, request, deadline };
  }

  #keepSilent(phase: Phase): void {
    this.#silence = proofSilence(this.#state.plan, this.#capabilities);
    this.#ask(phase, { kind: 'keep-silent', duration: this.#silence }, this.#silence + replyTimeout);
  }

  #askBurst(phase: Phase, burst: BurstRequest): void {
    this.#pulsing = true;
    this.#burstBefore = this.#frame?.burst.number ?? 0;
    this.#burstCount = burst.count;
    this.#drivenCurrent = { sum: 0, frames: 0 };
    this.#burstSeenAt = Number.NaN;
    this.#ask(phase, { kind: 'burst', ...burst });
  }

  #enter(phase: Phase): void {
    this.#phase = phase;
    this.#phaseSince = this.#now;
  }

  #step(step: StepKind): void {
    const { current } = this.#state;
    if (current === null) throw new Error(`The step ${step} has no attempt.`);
    this.#emit({ kind: 'step', step, point: current.point, attempt: current.attempt });
  }

  #emit(event: RunEventBody): void {
    const before = this.#state.mode;
    this.#events ??= [];
    this.#events.push(event);
    this.#state = foldRun(this.#state, event);
    const after = this.#state.mode;
    if (after !== before && !transitions[before].includes(after)) throw new Error(`The event '${event.kind}' leads from ${before} to ${after}, which the table does not allow.`);
  }

  // ---------------------------------------------------------------- what is known

  get #capabilities(): BenchCapabilities {
    const { bench } = this.#state;
    if (bench === null) throw new Error('The run has no bench.');
    return bench.capabilities;
  }

  #currentPoint(): Point | null {
    const { current } = this.#state;
    return current === null ? null : (this.#points[current.point] ?? null);
  }

  #isDriving(): boolean {
    return this.#state.mode === 'proving' || this.#state.mode === 'measuring';
  }

  // ---------------------------------------------------------------- status

  status(now: number): RunStatus {
    const { mode, current, counts } = this.#state;
    const point = this.#currentPoint();
    return {
      mode,
      doing: doingText(this.#state, point),
      waitingFor: this.#waitingFor(point, now),
      advice: adviceText(this.#state, {
        notStartable: mode === 'ready' ? this.#notStartable() : null,
        pressureByHand: this.#phase === 'await-condition' && !this.#capabilities.pressure.commandable,
      }),
      point,
      attempt: current?.attempt ?? null,
      ending: this.#state.ending,
      safe: restingModes.includes(mode) ? (this.#state.safe?.confirmed ?? null) : null,
      progress: { points: this.#points.length, accepted: counts.accepted, skipped: counts.skipped, attempts: counts.attempts, waiting: counts.waiting },
      remaining: this.#isDriving() ? remainingTime(this.#state, this.#attemptTime, this.#attemptsTimed) : null,
    };
  }

  #waitingFor(point: Point | null, now: number): WaitingFor | null {
    const frame = this.#frame;
    const { plan } = this.#state;
    switch (this.#phase) {
      case 'await-supply': {
        const wanted = this.#supplyTarget();
        return { text: 'supply read-back steady', value: frame?.supply ?? null, low: wanted - plan.supply.toleranceV, high: wanted + plan.supply.toleranceV, unit: 'V' };
      }
      case 'await-condition': {
        if (point === null) return null;
        const wanted = toKilopascals(point.pressure);
        const tolerance = plan.condition.pressureToleranceKpa;
        if (frame === null || Math.abs(toKilopascals(frame.pressure) - wanted) > tolerance || this.#temperaturesFit(frame)) {
          return { text: 'rail pressure in band', value: frame === null ? null : toKilopascals(frame.pressure), low: wanted - tolerance, high: wanted + tolerance, unit: 'kPa' };
        }
        const rail = toCelsius(frame.railTemperature);
        const { temperatureMinC: low, temperatureMaxC: high } = plan.condition;
        return rail < low || rail > high
          ? { text: 'fluid temperature in the rail in band', value: rail, low, high, unit: 'degC' }
          : { text: 'fluid temperature at the meter in band', value: toCelsius(frame.meterTemperature), low, high, unit: 'degC' };
      }
      case 'await-no-current':
        return { text: 'no current while nothing is driven', value: frame?.current ?? null, low: null, high: plan.supply.idleCurrentA, unit: 'A' };
      case 'await-purge':
        return { text: 'purge pulses', value: frame !== null && this.#isOurBurst(frame) ? frame.burst.done : 0, low: plan.purge.pulses, high: null, unit: 'pulses' };
      case 'settle':
        return { text: 'flow settled', value: frame === null || Number.isNaN(this.#burstSeenAt) ? 0 : frame.at - this.#burstSeenAt, low: plan.settleS, high: null, unit: 's' };
      case 'rest':
        return { text: 'rail at rest', value: frame === null || Number.isNaN(this.#restSince) ? 0 : frame.at - this.#restSince, low: plan.zero.settleS, high: null, unit: 's' };
      case 'decay':
        return { text: 'rail shut off', value: frame === null || Number.isNaN(this.#restSince) ? 0 : frame.at - this.#restSince, low: plan.zero.decayS + shutRest, high: null, unit: 's' };
      case 'zero-window':
        return { text: 'time without pulses', value: this.#window?.duration ?? 0, low: this.#zeroWindow, high: null, unit: 's' };
      case 'window':
        return { text: 'meter edges', value: this.#window?.edges ?? 0, low: this.#edgesWanted(), high: null, unit: 'edges' };
      case 'await-shut':
        return { text: 'injector shut, meter at rest', value: this.#shutSince === null || frame === null ? 0 : frame.at - this.#shutSince.at, low: shutSpanS, high: null, unit: 's' };
      case 'silence':
        return { text: 'silence of the host', value: now - this.#phaseSince, low: this.#silence, high: null, unit: 's' };
      default:
        return null;
    }
  }
}

/** Why an attempt is made, from where the wish came and how the last attempt of the point went. */
function reasonOf(origin: Origin, last: Verdict | null, attempts: number): AttemptReason {
  if (last === 'cut') return 'resumed';
  switch (origin) {
    case 'measure-again':
      return 'measure-again';
    case 'second-pass':
      return 'second-pass';
    case 'first-pass':
      return attempts === 0 ? 'plan' : 'repeat';
  }
}
