/** What a person asks for: whether it can be carried out now, what it is answered, and what it does. */
import { shownPoint } from '../../plan/points.ts';
import { changedPart, wantedUs } from '../../plan/wanted.ts';
import type { Ending, RunCommand } from '../../journal/events.ts';
import { pointsWithoutResult } from '../../journal/targets.ts';
import { handling } from '../machine.ts';
import type { EngineCore } from './core.ts';
import { ask, factsOf } from './course.ts';
import type { Course, Procedure } from './course.ts';
import type { Fitness } from './fit.ts';
import { withoutWindow } from './outcome.ts';
import { replyTimeout, restAfterAcknowledge } from './safety.ts';
import type { Safety } from './safety.ts';
import type { Sweep } from './sweep.ts';

const clearingFaults = factsOf('clearingFaults');

interface Answer {
  readonly accepted: boolean;
  readonly reason: string;
}

type Of<K extends RunCommand['kind']> = Extract<RunCommand, { kind: K }>;

export class Commands {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #safety: Safety;
  readonly #fitness: Fitness;
  readonly #sweep: Sweep;

  constructor(core: EngineCore, course: Course, safety: Safety, fitness: Fitness, sweep: Sweep) {
    this.#core = core;
    this.#course = course;
    this.#safety = safety;
    this.#fitness = fitness;
    this.#sweep = sweep;
  }

  /** `again`: the id is that of an earlier command, so nothing was done. */
  take(id: string, by: string, command: RunCommand): { readonly answer: Answer; readonly again: boolean } {
    const before = this.#core.state.commands.get(id);
    if (before !== undefined) {
      const same = JSON.stringify(before.command) === JSON.stringify(command);
      const answer = same
        ? { accepted: before.accepted, reason: before.reason }
        : { accepted: false, reason: `This was not carried out: its id is that of an earlier command, ${before.command.kind}. Give it again.` };
      return { answer, again: true };
    }
    const how = handling[this.#core.state.mode][command.kind];
    const refusal = how.kind === 'refused' ? how.why : this.#refusal(command);
    const answer = refusal === null ? { accepted: true, reason: how.kind === 'handled' ? how.how : '' } : { accepted: false, reason: refusal };
    this.#core.emit({ kind: 'commanded', id, command, by, answer: answer.accepted ? 'accepted' : 'refused', reason: answer.reason });
    if (refusal === null) this.#carryOut(command, by);
    return { answer, again: false };
  }

  /** Why a command that the mode handles cannot be carried out all the same; null when it can. */
  // eslint-disable-next-line complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
  #refusal(command: RunCommand): string | null {
    const { state } = this.#core;
    const { mode } = state;
    switch (command.kind) {
      case 'start':
        return this.#mustRest() ?? this.#fitness.notStartable();
      case 'resume':
        if (!this.#core.isDriving) return this.#mustRest() ?? this.#fitness.notResumable();
        return state.pausePending ? null : 'The run is going on and no pause was asked for.';
      case 'pause-at-next-point':
        return state.pausePending ? 'A pause at the next point was asked for already.' : this.#cannotPause();
      case 'skip-wait':
        return this.#course.skippable ? null : 'Nothing is being waited for that could be skipped.';
      case 'skip-point':
        return this.#cannotLeaveOut(command);
      case 'measure-again':
        return this.#cannotMeasureAgain(command);
      case 'measure-remaining':
        return pointsWithoutResult(state).length === 0 ? 'Every point has a result, was left out or was decided upon, so there is nothing left to measure.' : this.#fitness.notStartable();
      case 'change-target':
        return this.#cannotChangeTarget(command);
      case 'choose':
        return this.#cannotChoose(command);
      case 'note':
        return this.#cannotNote(command);
      case 'pause-now':
        return this.#cannotPause();
      case 'finish-early':
      case 'abort':
        return mode === 'making-safe' && state.safe?.then.kind === 'ended' ? 'The run is about to end.' : null;
      case 'emergency-stop':
        return null;
      case 'accept-untraceable':
        if (state.untraceableAccepted) return 'That was chosen already.';
        return this.#fitness.untraceableReasons().length > 0 ? null : 'Nothing on the pre-flight sheet is out of date, so there is nothing to choose.';
      case 'acknowledge':
        if (mode !== 'ready') return null;
        if (this.#course.facts.clearingFaults) return 'The faults are being cleared.';
        return this.#core.frame?.fault == null ? 'The controller has no fault, so there is nothing to acknowledge.' : null;
    }
  }

  #cannotLeaveOut({ point: index }: Of<'skip-point'>): string | null {
    const point = this.#core.state.points.at(index);
    if (point === undefined) return this.#noSuchPoint(index);
    if (point.skipped !== null) return `Point ${shownPoint(index)} is left out already.`;
    if (point.chosen !== null) return `Point ${shownPoint(index)} has an attempt that counts; to withdraw it, choose that none counts.`;
    return null;
  }

  #cannotMeasureAgain({ points }: Of<'measure-again'>): string | null {
    const { state } = this.#core;
    if (points.length === 0) return 'No points were named.';
    for (const index of points) if (state.points.at(index) === undefined) return this.#noSuchPoint(index);
    return state.mode === 'ended' ? this.#fitness.notStartable() : null;
  }

  #cannotChoose({ point: index, attempt: number, reason }: Of<'choose'>): string | null {
    const point = this.#core.state.points.at(index);
    if (point === undefined) return this.#noSuchPoint(index);
    if (reason.trim() === '') return 'A choice needs a reason.';
    if (number === null) return null;
    const attempt = point.attempts[number - 1];
    if (attempt === undefined) return `Point ${shownPoint(index)} has no attempt ${number}.`;
    if (attempt.verdict === null) return `Attempt ${number} of point ${shownPoint(index)} is still going on.`;
    if (attempt.window === null) return `Attempt ${number} of point ${shownPoint(index)} has no measuring window, so it cannot count.`;
    return null;
  }

  #cannotChangeTarget(change: Of<'change-target'>): string | null {
    const { targets, axes } = this.#core.state.plan;
    if (targets === undefined) return 'The plan states no targets: it is measured as often as it says.';
    const of = changedPart({ targets, axes }, change);
    if (of === null) return 'The plan wants no map.';
    if (change.voltageV !== null && !of.voltages.includes(change.voltageV)) return change.ofMap === true ? `${change.voltageV} V is none of the voltages of the map.` : `Nothing is measured at ${change.voltageV} V.`;
    const there = of.asked.every((v) => wantedUs(of.part, v) === change.deadTimeUs);
    return there ? 'That is what is wanted there already.' : null;
  }

  #changeTarget(change: Of<'change-target'>, by: string): void {
    const { targets, axes } = this.#core.state.plan;
    const of = targets === undefined ? null : changedPart({ targets, axes }, change);
    if (of === null) throw new Error('There is no target to change.');
    const before = new Set(of.asked.map((v) => wantedUs(of.part, v)));
    const { voltageV, deadTimeUs, ofMap } = change;
    this.#core.emit({ kind: 'target-changed', voltageV, deadTimeUs, before: before.size === 1 ? ([...before][0] ?? null) : null, by, ...(ofMap === undefined ? {} : { ofMap }) });
  }

  #cannotNote({ point: index, attempt, injector, text }: Of<'note'>): string | null {
    const { state } = this.#core;
    const point = index === null ? null : state.points.at(index);
    if (index !== null && point === undefined) return this.#noSuchPoint(index);
    if (attempt !== null && point?.attempts[attempt - 1] === undefined) return `There is no attempt ${attempt} that this could be about.`;
    if (injector !== null && state.plan.injectors[injector] === undefined) return `The run has ${state.plan.injectors.length} injectors, so there is none that this could be about.`;
    return text.trim() === '' ? 'A note needs words.' : null;
  }

  /** A bench on its way to safe may still be turned from a hold to a pause, but not away from a trip or an end. */
  #cannotPause(): string | null {
    const { mode, safe } = this.#core.state;
    if (mode !== 'making-safe') return null;
    switch (safe?.then.kind) {
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
    return `The run has the points 1 to ${this.#core.state.setPoints.length}, so there is no point ${shownPoint(index)}.`;
  }

  /** Why a person must wait after an acknowledgement before the bench is driven (RUN-150); null when not. A wait is not remembered: it takes a fresh press. */
  #mustRest(): string | null {
    return this.#safety.mustRest ? `The bench rests for ${restAfterAcknowledge} s after an acknowledgement. Look at it, then ask again.` : null;
  }

  // eslint-disable-next-line complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
  #carryOut(command: RunCommand, by: string): void {
    const { state } = this.#core;
    const { mode } = state;
    switch (command.kind) {
      case 'start':
        this.#sweep.start();
        return;
      case 'pause-at-next-point':
        if (mode === 'making-safe' || mode === 'held') this.#pause();
        return;
      case 'pause-now':
        this.#pause();
        return;
      case 'resume':
        if (mode === 'paused' || mode === 'held') this.#sweep.resume(false);
        return;
      case 'skip-wait':
        this.#skipWait();
        return;
      case 'skip-point':
        this.#core.emit({ kind: 'point-skipped', point: command.point, why: `${by} left it out.` });
        if (state.current?.point === command.point) this.#sweep.endAttempt(withoutWindow('cut', 'The point was left out while it was being measured.'));
        return;
      case 'measure-again':
        this.#measureAgain(command, by);
        return;
      case 'measure-remaining':
        this.#measureRemaining(by);
        return;
      case 'finish-early':
        if (mode !== 'measuring') this.#safety.end('It was asked to finish early.');
        return;
      case 'abort':
        this.#safety.goSafe({ kind: 'ended', ending: 'aborted' }, 'The run was aborted.');
        return;
      case 'emergency-stop':
        // A run that has ended keeps its ending; the bench is made safe all the same.
        this.#safety.goSafe({ kind: 'ended', ending: this.#endingAlready() ?? 'emergency-stopped' }, 'STOP was pressed.');
        return;
      case 'acknowledge':
        this.#acknowledge();
        return;
      case 'accept-untraceable':
        this.#core.emit({ kind: 'not-traceable', reasons: this.#fitness.untraceableReasons(), by });
        return;
      case 'change-target':
        this.#changeTarget(command, by);
        return;
      case 'choose':
        this.#core.emit({ kind: 'chosen', point: command.point, attempt: command.attempt, by: { person: by }, why: command.reason });
        return;
      case 'note':
        // That it was given is all there is to it.
        return;
    }
  }

  #pause(): void {
    this.#safety.goSafe({ kind: 'paused' }, 'A pause was asked for.');
  }

  #skipWait(): void {
    const { current } = this.#core.state;
    if (current?.step == null) throw new Error('A wait is skipped that is not there.');
    this.#core.emit({ kind: 'wait-skipped', step: current.step, point: current.point, attempt: current.attempt });
    this.#course.skip();
  }

  #measureAgain({ points }: Of<'measure-again'>, by: string): void {
    const ended = this.#core.state.mode === 'ended';
    if (ended) this.#core.emit({ kind: 'reopened', why: `${by} asked for points to be measured again.` });
    for (const injector of new Set(points.map((point) => this.#core.drivenInjector(point)))) {
      if (injector !== null && this.#core.state.out.has(injector)) this.#core.emit({ kind: 'injector-back', injector, text: `${by} asked for its points to be measured again.` });
    }
    this.#core.emit({ kind: 'queued', points, reason: 'measure-again' });
    if (ended) this.#sweep.start();
  }

  #measureRemaining(by: string): void {
    this.#core.emit({ kind: 'reopened', why: `${by} asked for every point that has no result to be measured.`, plan: true });
    for (const injector of [...this.#core.state.out.keys()]) this.#core.emit({ kind: 'injector-back', injector, text: `${by} asked for every point that has no result to be measured.` });
    this.#sweep.start();
  }

  #acknowledge(): void {
    const { mode } = this.#core.state;
    this.#core.emit({ kind: 'acknowledged' });
    this.#safety.restNow();
    if (mode === 'ready') this.#course.run(this.#clearFaults());
    else this.#safety.acknowledged();
  }

  *#clearFaults(): Procedure {
    const reply = yield* ask({ kind: 'clear-faults' }, replyTimeout, () => null, clearingFaults);
    if (reply.kind === 'done') return;
    const code = reply.kind === 'refused' ? reply.code : 'no-answer';
    this.#core.emit({ kind: 'controller-fault', fault: { code, text: `The fault could not be cleared: ${reply.text}` } });
  }

  #endingAlready(): Ending | null {
    const { ending, mode, safe } = this.#core.state;
    if (mode === 'ended') return ending;
    // A second STOP while the ended bench is made safe once more.
    return mode === 'making-safe' && safe?.then.kind === 'ended' && ending !== null ? ending : null;
  }
}
