/** What is measured next, and what follows from an attempt that has ended (RUN-30 to RUN-36). */
import type { Seconds } from '../../quantities/quantity.ts';
import { isBenchCause } from '../../journal/bench-cause.ts';
import type { AttemptReason, Verdict } from '../../journal/events.ts';
import { failedPoints, nextTarget } from '../../journal/targets.ts';
import type { Origin } from '../../journal/events.ts';
import { remainingTime } from '../status.ts';
import type { EngineCore } from './core.ts';
import { leave } from './course.ts';
import type { Leave } from './course.ts';
import type { InjectorsOut } from './injectors-out.ts';
import type { Outcome } from './outcome.ts';
import type { DecidedNext, ScheduleDecision } from '../../schedule/schedule.ts';
import type { Safety } from './safety.ts';

/** Less than the line can tell of two widths, s. */
const sameWidth = 0.5e-9;

export class Schedule {
  /** As the controller states it of the present attempt's pulses (RUN-169); null: it was not said. */
  drivenWidth: Seconds | null = null;
  readonly #core: EngineCore;
  readonly #safety: Safety;
  readonly #injectors: InjectorsOut;
  /** What was decided last, and how far the journal was then: the same journal is not asked about twice (RUN-231). */
  #decided: { readonly decision: ScheduleDecision; readonly revision: number } | null = null;
  /** Number of the decision that is waited for; null: none is. */
  #awaited: number | null = null;
  /** Why the decision that was asked for last could not be made; null: it was made, or is waited for. */
  #undecided: string | null = null;
  /** How far the journal was when the decision was asked for. */
  #askedAt = 0;
  #decisions = 0;
  #attemptSince = 0;
  #attemptTime = 0;
  #attemptsTimed = 0;

  constructor(core: EngineCore, safety: Safety, injectors: InjectorsOut) {
    this.#core = core;
    this.#safety = safety;
    this.#injectors = injectors;
  }

  /** Time to the end at the pace so far. */
  get remaining(): Seconds {
    return remainingTime(this.#core.state, this.#attemptTime, this.#attemptsTimed);
  }

  /** Number of the decision that is waited for (RUN-231); null: none is. */
  get awaitsDecision(): number | null {
    const { mode, current } = this.#core.state;
    return mode === 'measuring' && current === null ? this.#awaited : null;
  }

  /** Whether it has to be decided what is measured further: all that was decided before has been measured, and nobody wants the run to rest or end. */
  get needsDecision(): boolean {
    const { finishing, pausePending } = this.#core.state;
    return !finishing && !pausePending && this.#isUndecided;
  }

  /** All that was decided before has been measured, and whether something comes after it was not asked of this journal. */
  get #isUndecided(): boolean {
    const { plan, planOver, secondPassStarted, revision } = this.#core.state;
    if (plan.targets === undefined || planOver || secondPassStarted) return false;
    return this.#decided?.revision !== revision && this.#firstTarget() === null;
  }

  /** Why what comes next could not be decided; null: it was. */
  get undecided(): string | null {
    return this.#undecided;
  }

  awaitDecision(): number {
    this.#decisions += 1;
    this.#undecided = null;
    this.#askedAt = this.#core.state.revision;
    this.#awaited = this.#decisions;
    return this.#decisions;
  }

  /** False: nobody waits for it any more. */
  decide(number: number, decided: DecidedNext): boolean {
    if (this.awaitsDecision !== number) return false;
    this.#awaited = null;
    // Something was written meanwhile, which it may not go by: it is asked for anew (RUN-237).
    if (this.#core.state.revision !== this.#askedAt) return true;
    this.#undecided = decided.ok ? null : decided.text;
    if (!decided.ok) return true;
    const { decision } = decided;
    for (const { points, rule, why } of decision.additions) this.#core.emit({ kind: 'points-added', points, by: { rule }, why });
    this.#decided = { decision, revision: this.#core.state.revision };
    return true;
  }

  /** Begins the attempt that comes next, in the second pass if need be; or a pause that was asked for, or the end. */
  begin(): Leave | null {
    const { state } = this.#core;
    if (state.finishing) return this.#end('It was asked to finish early.');
    const pause = (): Leave => leave(() => this.#safety.goSafe({ kind: 'paused' }, 'A pause at the next point was asked for.'));
    // What comes next is decided when the run is resumed: without it, it is not known whether this is its end (RUN-236).
    if (state.pausePending && this.#isUndecided) return pause();
    const target = this.#target();
    if (target === null) return this.#end(this.#decided?.decision.text ?? 'There is no point left to measure.');
    if (state.pausePending) return pause();
    const attempts = state.points.at(target.point)?.attempts ?? [];
    this.#attemptSince = this.#core.now;
    this.drivenWidth = null;
    this.#core.emit({
      kind: 'attempt-started',
      point: target.point,
      attempt: attempts.length + 1,
      reason: reasonOf(target.origin, attempts[attempts.length - 1]?.verdict ?? null, attempts.length),
      origin: target.origin,
    });
    return null;
  }

  /** The attempt in progress has ended and its pulses have stopped. What turns the run away because of it, or null. */
  attemptEnded(outcome: Outcome): Leave | null {
    const { state } = this.#core;
    if (state.current === null) throw new Error('There is no attempt to end.');
    const { point, attempt, origin, skippedWaits } = state.current;
    const { verdict, window, criteria, text, cause } = outcome;
    const said = skippedWaits.length === 0 ? text : `${text} A person skipped the wait for: ${skippedWaits.join(', ')}.`;
    this.#core.doubt = null;
    // A zero point is several times as long as the others and would spoil their pace.
    if (this.#core.state.setPoints[point]?.role !== 'zero') {
      this.#attemptTime += this.#core.now - this.#attemptSince;
      this.#attemptsTimed += 1;
    }
    const injector = this.#core.drivenInjector(point);
    this.#core.emit({
      kind: 'attempt-ended', point, attempt, verdict, window, criteria, text: said,
      ...(injector === null ? {} : { injector }),
      ...(verdict === 'rejected' ? { cause } : {}),
      ...this.#otherWidth(),
    });
    const after = this.#core.state;
    const { sameCause } = after.plan.byItself;
    if (verdict === 'rejected' && isBenchCause(cause) && sameCause > 0 && after.benchFailing.count >= sameCause) {
      return leave(() => this.#safety.callPerson('same-cause', `${after.benchFailing.count} attempts running were rejected for one cause that no injector explains, so the bench needs a person. The last: ${text}`));
    }
    if (verdict === 'accepted') this.#choose(point, attempt, origin);
    return injector !== null && verdict === 'rejected' ? this.#injectors.afterRejection(point, injector, cause, text) : null;
  }

  /** Before any second pass. */
  #firstTarget(): ReturnType<typeof nextTarget> {
    const { state } = this.#core;
    const target = nextTarget(state);
    if (target !== null && state.setPoints[target.point]?.role === 'look') return target;
    this.#injectors.judgeLooks();
    return nextTarget(this.#core.state);
  }

  #target(): ReturnType<typeof nextTarget> {
    const target = this.#firstTarget();
    const { state } = this.#core;
    if (target !== null || state.planOver || state.secondPassStarted || state.plan.repeats.attemptsSecondPass === 0) return target;
    const failed = failedPoints(state);
    if (failed.length === 0) return null;
    this.#core.emit({ kind: 'second-pass-started', points: failed });
    return nextTarget(this.#core.state);
  }

  #choose(point: number, attempt: number, origin: Origin): void {
    const record = this.#core.state.points.at(point);
    if (record === undefined) return;
    if (origin === 'measure-again') {
      this.#core.emit({ kind: 'chosen', point, attempt, by: { rule: 'RUN-36' }, why: 'A person asked for this point to be measured again, and this attempt was accepted.' });
    } else if (record.chosen === null && !(record.choice !== null && 'person' in record.choice.by)) {
      this.#core.emit({ kind: 'chosen', point, attempt, by: { rule: 'RUN-35' }, why: 'It is the first accepted attempt of the point.' });
    }
  }

  /** What the controller's timer made of the width, where it is not that of the plan (RUN-169). */
  #otherWidth(): { readonly drivenWidth?: Seconds } {
    const driven = this.drivenWidth;
    const planned = this.#core.currentPoint?.width;
    return driven === null || planned === undefined || Math.abs(driven - planned) < sameWidth ? {} : { drivenWidth: driven };
  }

  #end(why: string): Leave {
    return leave(() => this.#safety.end(why));
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
