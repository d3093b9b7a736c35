/**
 * The way to safe, which every rest is reached by (RUN-3), and what may happen at rest: a bench that does not stay safe is made safe
 * again (RUN-6), a hold goes on or ends (RUN-22, RUN-166).
 *
 * Invariant: what it says of the bench in `made-safe` was confirmed by the controller's answer, and never shown by frames alone.
 */
import type { BenchFrame, BenchReply } from '../../bench/port.ts';
import { endText, endingOf } from '../ending.ts';
import type { HeldReading, AfterSafe } from '../../journal/events.ts';
import { spanText } from '../host-time.ts';
import { missingOfSafe, proofSilence } from '../proof.ts';
import { madeSafeInJournal } from '../safe-words.ts';
import type { Blind } from './blind.ts';
import type { ClockWatch } from './clock-watch.ts';
import type { EngineCore } from './core.ts';
import { ask, factsOf, leave } from './course.ts';
import type { Course, Leave, Procedure } from './course.ts';
import type { EngineSettings } from './settings.ts';

/** How long a reply may take, s. */
export const replyTimeout = 3;
/** Making safe includes the read-back of the supply, which falls slowly, s. */
const safeTimeout = 12;
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

const makingSafe = factsOf('makingSafe');
/** Every answer is one to go on with. */
const anyReply = (): null => null;

export class Safety {
  /** Since when all has been well as far as is known, on the scale of `now`. */
  clearSince = 0;
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #settings: EngineSettings;
  readonly #clocks: ClockWatch;
  readonly #blind: Blind;
  /** A person has acknowledged a trip: the faults of the controller are cleared once the bench is safe. */
  #acknowledging = false;
  /** Nothing is driven by a command before this, on the scale of `now`. */
  #restUntil = Number.NEGATIVE_INFINITY;
  #unsafeSince = Number.NaN;
  #unsafeRestarts = 0;
  #heldSince = 0;
  /** When the run went on by itself, by guard, on the scale of `now`: within the last hour. A new host begins at a person, and so anew. */
  readonly #resumedAt = new Map<string, readonly number[]>();

  constructor(core: EngineCore, course: Course, settings: EngineSettings, clocks: ClockWatch, blind: Blind) {
    this.#core = core;
    this.#course = course;
    this.#settings = settings;
    this.#clocks = clocks;
    this.#blind = blind;
  }

  get acknowledging(): boolean {
    return this.#acknowledging;
  }

  get mustRest(): boolean {
    return this.#core.now < this.#restUntil;
  }

  /** Every way to rest is this one: cut what is open, make safe, confirm, then the mode that `then` names. */
  goSafe(then: AfterSafe, why: string): void {
    const { current, mode } = this.#core.state;
    if (current !== null) {
      this.#core.emit({ kind: 'attempt-ended', point: current.point, attempt: current.attempt, verdict: 'cut', window: null, criteria: [], text: why });
    }
    this.#clocks.tell();
    this.#core.emit({ kind: 'making-safe', then, why });
    this.#acknowledging = false;
    // The request that is under way already is as good as a new one.
    if (mode === 'making-safe' && this.#course.facts.makingSafe) return;
    this.makeSafe();
  }

  /** Once more to safe, whatever was under way. */
  makeSafe(): void {
    this.#course.run(this.#makeSafe());
  }

  end(why: string): void {
    this.goSafe({ kind: 'ended', ending: endingOf(this.#core.state) }, why);
  }

  /** Makes safe and stays so until a person resumes. */
  callPerson(guard: string, text: string): true {
    this.goSafe({ kind: 'paused', guard, text }, text);
    return true;
  }

  /** `reading`: what a guard of the plan read (RUN-194). */
  trip(guard: string, text: string, reading?: HeldReading): true {
    this.goSafe({ kind: 'tripped', guard, text, ...(reading === undefined ? {} : { reading }) }, text);
    return true;
  }

  /** Makes safe and waits until the guard is clear, or trips when that happened too often (RUN-22). */
  hold(guard: string, text: string, maxResumes = this.#core.state.plan.byItself.perHour, reading?: HeldReading): true {
    const resumes = this.#recentResumes(guard).length;
    if (resumes >= maxResumes) {
      return this.trip(guard, `${text} The run went on by itself ${resumes} times after this within the last hour; it does not any more.`, reading);
    }
    this.goSafe({ kind: 'held', guard, text, ...(reading === undefined ? {} : { reading }) }, text);
    return true;
  }

  leaveTripped(guard: string, text: string): Leave {
    return leave(() => this.trip(guard, text));
  }

  /** A person has acknowledged a trip: the bench is made safe once more, its faults are cleared, and the run is paused. */
  acknowledged(): void {
    this.goSafe({ kind: 'paused' }, 'The trip was acknowledged.');
    this.#acknowledging = true;
  }

  /** A person has acknowledged, or the faults were cleared: the bench rests a while (RUN-150). */
  restNow(): void {
    this.#restUntil = this.#core.now + restAfterAcknowledge;
  }

  /** The bench is about to be driven; `automatic`: from a hold, without a person. */
  setsOut(automatic: boolean): void {
    this.#unsafeRestarts = 0;
    const { safe } = this.#core.state;
    if (automatic && safe?.then.kind === 'held') this.#resumedAt.set(safe.then.guard, [...this.#recentResumes(safe.then.guard), this.#core.now]);
  }

  /** A bench that rests is seen to stay safe (RUN-6). True when it has to be made safe again. */
  watchRest(frame: BenchFrame): boolean {
    const { safe } = this.#core.state;
    if (safe === null) return false;
    if (safe.confirmed === true && !frame.armed && !frame.burst.active) {
      this.#unsafeSince = Number.NaN;
      return false;
    }
    const { now } = this.#core;
    if (Number.isNaN(this.#unsafeSince)) this.#unsafeSince = now;
    if (now - this.#unsafeSince < unsafeDwell || this.#unsafeRestarts > unsafeRestarts) return false;
    this.#unsafeRestarts += 1;
    this.#unsafeSince = Number.NaN;
    const why = 'The bench was not seen to be safe.';
    if (this.#unsafeRestarts > unsafeRestarts && safe.then.kind !== 'tripped') return this.trip('not-safe', why);
    this.goSafe(safe.then, why);
    return true;
  }

  /** A hold that lasts is for a person (RUN-166). True when it was ended. */
  endsLongHold(): boolean {
    const { state, downReason } = this.#core;
    const { holdS } = state.plan.byItself;
    const then = state.safe?.then;
    if (then?.kind !== 'held' || this.#core.now - this.#heldSince < holdS) return false;
    const since = state.linkUp || then.text.includes(downReason) ? '' : ` ${downReason}`;
    return this.callPerson(then.guard, `${then.text}${since} That lasted longer than ${spanText(holdS)}, so the run does not go on by itself any more.`);
  }

  /** A hold is confirmed safe and has been well for long enough. */
  get restedWell(): boolean {
    return this.#core.state.safe?.confirmed === true && this.#core.now - this.clearSince >= builtInClear;
  }

  #recentResumes(guard: string): readonly number[] {
    return (this.#resumedAt.get(guard) ?? []).filter((at) => at > this.#core.now - hour);
  }

  *#makeSafe(): Procedure {
    for (let tries = 1; tries <= safeTries; tries += 1) {
      if (!(yield* this.#askSafe())) continue;
      if (this.#acknowledging) this.#faultsCleared(yield* ask({ kind: 'clear-faults' }, replyTimeout, anyReply));
      this.#rest();
      return;
    }
    yield* this.#leaveToDeadMan();
    this.#rest();
  }

  *#askSafe(): Procedure<boolean> {
    this.#settings.forgetAll();
    this.#core.doubt = null;
    const reply = yield* ask({ kind: 'make-safe' }, safeTimeout, anyReply, makingSafe);
    if (reply.kind !== 'done') return false;
    this.#core.emit({ kind: 'made-safe', confirmed: true, text: madeSafeInJournal.confirmed(this.#core.capabilities.rail !== undefined) });
    return true;
  }

  /**
   * As long as the host is heard the dead-man does not act, so the host falls silent. A bench whose frames show what it did is asked
   * once more: frames may be as old as the sleep of a computer, and none says whether the rail has given up its pressure.
   */
  *#leaveToDeadMan(): Procedure {
    const silence = proofSilence(this.#core.state.plan, this.#core.capabilities);
    const since = this.#core.now;
    yield* ask({ kind: 'keep-silent', duration: silence }, silence + replyTimeout, anyReply, makingSafe);
    this.#acknowledging = false;
    const shown = this.#isShownSafe(since);
    if (shown && (yield* this.#askSafe())) return;
    this.#core.emit({ kind: 'made-safe', confirmed: false, text: madeSafeInJournal.unconfirmed(shown) });
  }

  /** By a fresh frame that came after `since`. */
  #isShownSafe(since: number): boolean {
    const { frame, frameNow, hasFreshFrame, capabilities } = this.#core;
    return hasFreshFrame && frameNow > since && frame !== null && missingOfSafe(frame, capabilities) === null;
  }

  #faultsCleared(reply: BenchReply): void {
    this.#acknowledging = false;
    this.restNow();
    if (reply.kind === 'done') return;
    const text = `The fault could not be cleared: ${reply.text}`;
    this.#core.emit({ kind: 'making-safe', then: { kind: 'tripped', guard: 'controller-fault', text }, why: text });
    this.#core.emit({ kind: 'made-safe', confirmed: true, text: madeSafeInJournal.confirmedBefore });
  }

  /** The bench is as safe as it gets: on to where `making-safe` said. */
  #rest(): void {
    const then = this.#core.state.safe?.then;
    if (then === undefined) throw new Error('The run rests without a way to safe.');
    this.#unsafeSince = Number.NaN;
    this.clearSince = this.#core.now;
    if (then.kind !== 'held') this.#blind.tell();
    switch (then.kind) {
      case 'paused':
        this.#core.emit({ ...then, kind: 'paused' });
        return;
      case 'held':
        this.#heldSince = this.#core.now;
        this.#core.emit({ kind: 'held', guard: then.guard, text: then.text });
        return;
      case 'tripped':
        this.#core.emit({ kind: 'tripped', guard: then.guard, text: then.text });
        return;
      case 'ended':
        this.#core.emit({ kind: 'ended', ending: then.ending, text: endText(this.#core.state, then.ending) });
        return;
    }
  }
}
