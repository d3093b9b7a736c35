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
  readonly atPressure: boolean;
  /** Pressure and temperatures are waited for. */
  readonly conditioning: boolean;
  /** A latched dead-man is what is waited for, or what is about to be cleared. */
  readonly expectsDeadMan: boolean;
  /** The bench is about to be armed, so a frame that says so may be an old one. */
  readonly arming: boolean;
  /** Pulses are being stopped: what frames say of flow does not matter any more. */
  readonly stopping: boolean;
  /** A window in which nothing is driven is being counted. */
  readonly countingZero: boolean;
  /** Nothing is outstanding and no window is whole yet: the attempt can be ended for a frame that cannot be. */
  readonly canRefuse: boolean;
  readonly makingSafe: boolean;
  readonly clearingFaults: boolean;
}

const nothing: StepFacts = {
  atPressure: false, conditioning: false, expectsDeadMan: false, arming: false, stopping: false, countingZero: false, canRefuse: false, makingSafe: false, clearingFaults: false,
};

/** These are so; every other is not. All have one shape, because they are asked for with every frame: keep them as constants. */
export const factsOf = (...so: readonly (keyof StepFacts)[]): StepFacts => ({ ...nothing, ...Object.fromEntries(so.map((fact) => [fact, true])) });

export const noFacts = factsOf();

/** The procedure ends here; then `act`, which may run another. */
export interface Leave {
  readonly kind: 'leave';
  readonly act: () => void;
}

type WaitingForStep = (now: number, since: number) => WaitingFor | null;
const waitsForNothing: WaitingForStep = () => null;

interface Wait {
  /** With each frame: true when what is waited for has come about. */
  readonly met: (frame: BenchFrame) => boolean | Leave;
  /**
   * `overdue` is asked with each tick, and each frame that did not meet, once the wait has gone on for longer than `dueAfter`, s;
   * `since`: for how long it has; true: it is over all the same.
   */
  readonly dueAfter: number;
  readonly overdue: (since: number) => boolean | Leave;
  /** A person may go on without it. */
  readonly skippable?: true;
  readonly facts: StepFacts;
  readonly waitingFor?: (now: number) => WaitingFor | null;
}

class Ask {
  readonly kind = 'ask';
  readonly request: BenchRequest;
  /** s */
  readonly timeout: number;
  /** What to do instead of going on; null: the procedure goes on with the reply. */
  readonly turns: (reply: BenchReply) => Leave | null;
  readonly facts: StepFacts;
  readonly waitingFor: WaitingForStep;

  constructor(request: BenchRequest, timeout: number, turns: Ask['turns'], facts: StepFacts, waitingFor: WaitingForStep) {
    this.request = request;
    this.timeout = timeout;
    this.turns = turns;
    this.facts = facts;
    this.waitingFor = waitingFor;
  }
}

class Until {
  readonly kind = 'until';
  readonly met: Wait['met'];
  readonly dueAfter: number;
  readonly overdue: Wait['overdue'];
  readonly skippable: boolean;
  readonly facts: StepFacts;
  readonly waitingFor: WaitingForStep;

  constructor({ met, dueAfter, overdue, skippable, facts, waitingFor }: Wait) {
    this.met = met;
    this.dueAfter = dueAfter;
    this.overdue = overdue;
    this.skippable = skippable === true;
    this.facts = facts;
    this.waitingFor = waitingFor ?? waitsForNothing;
  }
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

/** Turns away from the procedure that yields it; nothing behind it is carried out. */
export const leave = (act: () => void): Leave => ({ kind: 'leave', act });

/** Asks the bench, and gives its reply, or turns away. */
export function* ask(
  request: BenchRequest,
  timeout: number,
  turns: (reply: BenchReply) => Leave | null,
  facts: StepFacts = noFacts,
  waitingFor = waitsForNothing,
): Procedure<BenchReply> {
  return (yield new Ask(request, timeout, turns, facts, waitingFor)) as BenchReply;
}

/** Waits, and says whether a person skipped the rest of the wait. */
export function* until(wait: Wait): Procedure<'met' | 'skipped'> {
  return (yield new Until(wait)) as 'met' | 'skipped';
}

export class Course {
  /** The request of the present unit. */
  request: EngineRequest | null = null;
  /** Of the step that is under way. */
  facts = noFacts;
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


  get skippable(): boolean {
    return this.#at?.kind === 'until' && this.#at.skippable;
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
    return this.#at?.waitingFor(now, this.#since) ?? null;
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
    const since = this.#core.now - this.#since;
    if (!(since > at.dueAfter)) return;
    const over = at.overdue(since);
    if (over !== false) this.#goOnOrLeave(over);
  }

  #goOnOrLeave(over: true | Leave): void {
    if (over === true) this.#goOn('met');
    else this.#leave(over);
  }

  #leave({ act }: Leave): void {
    this.#stop();
    this.#outstanding = null;
    act();
  }

  #stop(): void {
    this.#procedure = null;
    this.#at = null;
    this.facts = noFacts;
  }

  #goOn(value: unknown): void {
    const procedure = this.#procedure;
    if (procedure === null) throw new Error('There is no procedure to go on with.');
    const { done, value: step } = procedure.next(value);
    // It would be gone on with beside the other: a procedure turns away by what it yields.
    if (this.#procedure !== procedure) throw new Error('A procedure ran another one from within.');
    if (done === true) {
      this.#stop();
      return;
    }
    if (step.kind === 'leave') {
      this.#leave(step);
      return;
    }
    this.#at = step;
    this.facts = step.facts;
    this.#since = this.#core.now;
    if (step.kind === 'ask') {
      this.#lastId += 1;
      const deadline = this.#core.now + step.timeout;
      this.#outstanding = { id: this.#lastId, deadline };
      this.request = { id: this.#lastId, request: step.request, deadline };
    }
  }
}
