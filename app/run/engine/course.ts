/**
 * What the engine is about on the bench, as a procedure that reads forward: a generator that asks (`ask`), waits (`until`) and turns
 * away (`leave`). One is under way at a time; another takes its place by `run`, and the former is not gone on with. A procedure is lost
 * with its host on purpose (RUN-3): what it has done is in the journal, and a new host makes safe.
 */
import type { BenchFrame, BenchReply, BenchRequest } from '../../bench/port.ts';
import type { WaitingFor } from '../status.ts';
import type { EngineCore } from './core.ts';

/** What others have to know of the step that a procedure is at. */
export interface StepFacts {
  /** The rail pressure is meant to be at its set point. */
  readonly atPressure?: true;
  /** Pressure and temperatures are waited for. */
  readonly conditioning?: true;
  /** A latched dead-man is what is waited for, or what is about to be cleared. */
  readonly expectsDeadMan?: true;
  /** The bench is about to be armed, so a frame that says so may be an old one. */
  readonly arming?: true;
  /** Pulses are being stopped: what frames say of flow does not matter any more. */
  readonly stopping?: true;
  /** A window in which nothing is driven is being counted. */
  readonly countingZero?: true;
  /** Nothing is outstanding and no window is whole yet: the attempt can be ended for a frame that cannot be. */
  readonly canRefuse?: true;
  readonly makingSafe?: true;
  readonly clearingFaults?: true;
}

/** The procedure ends here; then `act`, which may run another. */
export interface Leave {
  readonly kind: 'leave';
  readonly act: () => void;
}

interface Ask {
  readonly kind: 'ask';
  readonly request: BenchRequest;
  /** s */
  readonly timeout: number;
  /** What to do instead of going on; null: the procedure goes on with the reply. */
  readonly turns: (reply: BenchReply) => Leave | null;
  readonly facts: StepFacts;
  readonly waitingFor?: (now: number, since: number) => WaitingFor | null;
}

export interface Until {
  readonly kind: 'until';
  /** With each frame: true when what is waited for has come about. */
  readonly met: (frame: BenchFrame) => boolean | Leave;
  /** With each tick, and each frame that did not meet: `since`, s, in the wait; true: it is over all the same. */
  readonly overdue: (since: number) => boolean | Leave;
  /** A person may go on without it. */
  readonly skippable?: true;
  readonly facts: StepFacts;
  readonly waitingFor?: (now: number) => WaitingFor | null;
}

type Step = Leave | Ask | Until;
export type Procedure<T = void> = Generator<Step, T, unknown>;

export interface EngineRequest {
  readonly id: number;
  readonly request: BenchRequest;
  /** On the scale of `now`; by then a reply is due, 'no-answer' at the worst. */
  readonly deadline: number;
}

/** A host that never reports the deadline of a request is helped out after this much more, s. */
const deadlineGrace = 1;
const noFacts: StepFacts = {};

/** Turns away from the procedure that yields it; nothing behind it is carried out. */
export const leave = (act: () => void): Leave => ({ kind: 'leave', act });

/** Asks the bench, and gives its reply, or turns away. */
export function* ask(
  request: BenchRequest,
  timeout: number,
  turns: (reply: BenchReply) => Leave | null,
  facts: StepFacts = noFacts,
  waitingFor?: (now: number, since: number) => WaitingFor | null,
): Procedure<BenchReply> {
  return (yield { kind: 'ask', request, timeout, turns, facts, ...(waitingFor === undefined ? {} : { waitingFor }) }) as BenchReply;
}

/** Waits, and says whether a person skipped the rest of the wait. */
export function* until(wait: Omit<Until, 'kind'>): Procedure<'met' | 'skipped'> {
  return (yield { kind: 'until', ...wait }) as 'met' | 'skipped';
}

export class Course {
  /** The request of the present unit. */
  request: EngineRequest | null = null;
  readonly #core: EngineCore;
  #procedure: Procedure | null = null;
  #at: Ask | Until | null = null;
  #since = 0;
  #outstanding: { readonly id: number; readonly deadline: number } | null = null;
  #lastId = 0;

  constructor(core: EngineCore) {
    this.#core = core;
  }

  /** Nothing is under way. */
  get idle(): boolean {
    return this.#at === null;
  }

  get facts(): StepFacts {
    return this.#at?.facts ?? noFacts;
  }

  get skippable(): boolean {
    return this.#at?.kind === 'until' && this.#at.skippable === true;
  }

  get busy(): boolean {
    return this.#outstanding !== null;
  }

  /** Takes the place of what is under way; a request that is outstanding is given up. */
  run(procedure: Procedure): void {
    this.#procedure = procedure;
    this.#outstanding = null;
    this.#goOn(undefined);
  }

  /** False: the reply belongs to nothing. */
  reply(id: number, reply: BenchReply): boolean {
    if (this.#outstanding?.id !== id) return false;
    this.#takeReply(reply);
    return true;
  }

  frame(frame: BenchFrame): void {
    const at = this.#at;
    if (at?.kind !== 'until') return;
    const met = at.met(frame);
    if (met === false) this.#checkDeadline(at);
    else this.#goOnOrLeave(met);
  }

  /** True when it dealt with a request whose deadline passed unreported. */
  tick(): boolean {
    if (this.#outstanding === null || this.#core.now <= this.#outstanding.deadline + deadlineGrace) return false;
    this.#takeReply({ kind: 'no-answer', text: 'The bench driver did not report back in time.' });
    return true;
  }

  checkDeadline(): void {
    if (this.#at?.kind === 'until') this.#checkDeadline(this.#at);
  }

  /** The wait begins anew, as far as its deadline goes. */
  restartWait(): void {
    this.#since = this.#core.now;
  }

  skip(): void {
    if (!this.skippable) throw new Error('A wait is skipped that is not there.');
    this.#goOn('skipped');
  }

  waitingFor(now: number): WaitingFor | null {
    return this.#at?.waitingFor?.(now, this.#since) ?? null;
  }

  #takeReply(reply: BenchReply): void {
    this.#outstanding = null;
    const at = this.#at;
    if (at?.kind !== 'ask') throw new Error('A reply came where nothing was asked.');
    const turned = at.turns(reply);
    if (turned === null) this.#goOn(reply);
    else this.#leave(turned);
  }

  #checkDeadline(at: Until): void {
    const over = at.overdue(this.#core.now - this.#since);
    if (over !== false) this.#goOnOrLeave(over);
  }

  #goOnOrLeave(over: true | Leave): void {
    if (over === true) this.#goOn('met');
    else this.#leave(over);
  }

  #leave({ act }: Leave): void {
    this.#procedure = null;
    this.#at = null;
    this.#outstanding = null;
    act();
  }

  #goOn(value: unknown): void {
    const procedure = this.#procedure;
    if (procedure === null) throw new Error('There is no procedure to go on with.');
    const { done, value: step } = procedure.next(value);
    // It would be gone on with beside the other: a procedure turns away by what it yields.
    if (this.#procedure !== procedure) throw new Error('A procedure ran another one from within.');
    if (done === true) {
      this.#procedure = null;
      this.#at = null;
      return;
    }
    if (step.kind === 'leave') {
      this.#leave(step);
      return;
    }
    this.#at = step;
    this.#since = this.#core.now;
    if (step.kind === 'ask') {
      this.#lastId += 1;
      const deadline = this.#core.now + step.timeout;
      this.#outstanding = { id: this.#lastId, deadline };
      this.request = { id: this.#lastId, request: step.request, deadline };
    }
  }
}
