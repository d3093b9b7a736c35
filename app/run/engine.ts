/**
 * The run engine: a Mealy machine, pure and synchronous. The host feeds it inputs one at a time, commits the events of
 * each answer in one transaction, and only then sends the requests. Rules RUN-1 and following are in README.md; its parts are in engine/.
 *
 * The engine folds its own events, so its state is the fold over the journal at any time. What is not in the journal
 * (the request that is outstanding, timers, the frames of the window) is lost with the host on purpose: a new host makes
 * safe and measures the point again.
 */
import type { BenchFrame, BenchReply } from '../bench/port.ts';
import { Blind } from './engine/blind.ts';
import type { BlindSource } from './engine/blind.ts';
import { ClockWatch } from './engine/clock-watch.ts';
import { Commands } from './engine/commands.ts';
import { ControllerWatch } from './engine/controller-watch.ts';
import { EngineCore } from './engine/core.ts';
import { Course } from './engine/course.ts';
import type { EngineRequest } from './engine/course.ts';
import { Drive } from './engine/drive.ts';
import { Fitness } from './engine/fit.ts';
import { GuardWatch } from './engine/guard-watch.ts';
import { InjectorsOut } from './engine/injectors-out.ts';
import { LinkWatch } from './engine/link-watch.ts';
import { withoutWindow } from './engine/outcome.ts';
import { LatestReadings } from './engine/readings.ts';
import { Safety } from './engine/safety.ts';
import { Schedule } from './engine/schedule.ts';
import { EngineSettings } from './engine/settings.ts';
import { Standstill } from './engine/standstill.ts';
import { Sweep } from './engine/sweep.ts';
import { statusFrom } from './engine/told.ts';
import type { RunCommand, RunEventBody } from '../journal/events.ts';
import type { RunState } from '../journal/state.ts';
import type { HostClocks } from './host-time.ts';
import type { DecidedNext } from '../schedule/schedule.ts';
import type { RunStatus } from './status.ts';
import { impossibleStep, impossibleText } from './telemetry-check.ts';

export type { BlindSource } from './engine/blind.ts';
export type { EngineRequest } from './engine/course.ts';
export { restAfterAcknowledge } from './engine/safety.ts';
export type { RunStatus } from './status.ts';

export type EngineInput = HostClocks & (
  | { readonly kind: 'frame'; readonly frame: BenchFrame }
  | { readonly kind: 'reply'; readonly id: number; readonly reply: BenchReply }
  /** At least every 250 ms: deadlines live on it. */
  | { readonly kind: 'tick' }
  /** 'down' again, while it is down: it is known why it does not come back. */
  | { readonly kind: 'link'; readonly state: 'up' | 'down'; readonly bootId: string; readonly reason: string }
  /** What the schedule says of the journal as it was when decision `number` was asked for (RUN-231). */
  | { readonly kind: 'decision'; readonly number: number; readonly decided: DecidedNext }
  | { readonly kind: 'command'; readonly id: string; readonly by: string; readonly command: RunCommand }
);

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
  /** Number of the decision that the run waits for: its host gives it as an input; null: it waits for none. */
  readonly awaitsDecision: number | null;
  status(now: number): RunStatus;
}

const noEvents: readonly RunEventBody[] = [];
const noRequests: readonly EngineRequest[] = [];
const nothingGoingOn: EngineOutput = { events: noEvents, requests: noRequests, answer: null, ignored: null, done: false };
const nothingAtTheEnd: EngineOutput = { ...nothingGoingOn, done: true };

/**
 * An engine for a run whose journal so far folds to `state`: just opened and connected, or recovered (`recoverRun`).
 * Throws when the run has no bench or was left unfinished without having been recovered. `secrets`: of blind windows; null: there are none (RUN-210).
 */
export function createEngine(state: RunState, secrets: BlindSource | null = null): RunEngine {
  return new Engine(state, secrets);
}

class Engine implements RunEngine {
  readonly #core: EngineCore;
  readonly #standstill: Standstill;
  readonly #link: LinkWatch;
  readonly #course: Course;
  readonly #settings: EngineSettings;
  readonly #readings: LatestReadings;
  readonly #clocks: ClockWatch;
  readonly #safety: Safety;
  readonly #controller: ControllerWatch;
  readonly #guards: GuardWatch;
  readonly #fitness: Fitness;
  readonly #schedule: Schedule;
  readonly #sweep: Sweep;
  readonly #commands: Commands;
  /** Between two frames as they were asked for, s. */
  readonly #frameInterval: number;
  #answer: EngineOutput['answer'] = null;
  #ignored: string | null = null;

  constructor(state: RunState, secrets: BlindSource | null) {
    const core = new EngineCore(state);
    const course = new Course(core);
    const settings = new EngineSettings(core);
    const readings = new LatestReadings(core, course, settings);
    const clocks = new ClockWatch(core);
    const blind = new Blind(core, secrets);
    const safety = new Safety(core, course, settings, clocks, blind);
    const controller = new ControllerWatch(core, course, settings, safety);
    const guards = new GuardWatch(core, course, safety, readings.idleFlow);
    const fitness = new Fitness(core, course, clocks, controller, guards);
    const drive = new Drive(core, course, settings, safety);
    const schedule = new Schedule(core, safety, new InjectorsOut(core, safety));
    const sweep = new Sweep(course, safety, { core, drive, settings, readings, schedule, blind });
    this.#commands = new Commands(core, course, safety, fitness, sweep);
    this.#core = core;
    this.#standstill = new Standstill(core, safety);
    this.#link = new LinkWatch(core, settings, readings, clocks, safety);
    this.#course = course;
    this.#settings = settings;
    this.#readings = readings;
    this.#clocks = clocks;
    this.#safety = safety;
    this.#controller = controller;
    this.#guards = guards;
    this.#fitness = fitness;
    this.#schedule = schedule;
    this.#sweep = sweep;
    this.#frameInterval = 1 / Math.round(state.plan.link.telemetryHz);
  }

  get state(): RunState {
    return this.#core.state;
  }

  get awaitsDecision(): number | null {
    return this.#schedule.awaitsDecision;
  }

  step(input: EngineInput): EngineOutput {
    // Frames are many and apart: what is read of inputs of one shape is found at once, of those of several it is looked up each time.
    if (input.kind === 'frame') {
      this.#begin(input.now, input.wall, input.asleep);
      this.#onFrame(input.frame);
    } else {
      this.#begin(input.now, input.wall, input.asleep);
      this.#take(input);
    }
    // A recovered run sets out for safe with its first input, whatever that is.
    if (this.#core.state.mode === 'making-safe' && this.#course.idle) this.#safety.makeSafe();
    return this.#output();
  }

  #begin(now: number, wall: number | undefined, asleep: number | undefined): void {
    const core = this.#core;
    if (now > core.now) core.now = now;
    core.events = null;
    this.#course.request = null;
    this.#answer = null;
    this.#ignored = null;
    this.#standstill.take(now, wall, asleep);
  }

  status(now: number): RunStatus {
    return statusFrom(now, this.#core, this.#course, this.#fitness, this.#schedule);
  }

  #take(input: Exclude<EngineInput, { readonly kind: 'frame' }>): void {
    switch (input.kind) {
      case 'reply':
        if (!this.#course.reply(input.id, input.reply)) this.#ignored = `Request ${input.id} was given up or answered before; its reply is too late.`;
        return;
      case 'tick':
        this.#onTick();
        return;
      case 'link':
        this.#ignored = input.state === 'down' ? this.#link.down(input.reason) : this.#link.up(input.bootId);
        return;
      case 'decision':
        if (!this.#schedule.decide(input.number, input.decided)) this.#ignored = `Decision ${input.number} is not waited for any more.`;
        return;
      case 'command': {
        const { answer, again } = this.#commands.take(input.id, input.by, input.command);
        this.#answer = answer;
        if (again) this.#ignored = `Command ${input.id} was answered before.`;
        return;
      }
    }
  }

  #output(): EngineOutput {
    const { events, state } = this.#core;
    const { request } = this.#course;
    const done = state.mode === 'ended';
    // Most frames and ticks change nothing: they cost no object.
    if (events === null && request === null && this.#answer === null && this.#ignored === null) {
      return done ? nothingAtTheEnd : nothingGoingOn;
    }
    return { events: events ?? noEvents, requests: request === null ? noRequests : [request], answer: this.#answer, ignored: this.#ignored, done };
  }

  // eslint-disable-next-line complexity -- what is looked at with every frame, in its order; a call each would hide the order
  #onFrame(frame: BenchFrame): void {
    const core = this.#core;
    if (!core.state.linkUp) {
      this.#ignored = 'A frame came while the link counts as down.';
      return;
    }
    const previous = core.frame;
    if (frame.bootId !== core.state.bench?.bootId) {
      this.#link.reset(frame.bootId);
    } else if (previous !== null && previous.bootId === frame.bootId && frame.number <= previous.number) {
      this.#ignored = `Frame ${frame.number} had come already.`;
      return;
    }
    const wrong = previous?.bootId === frame.bootId ? impossibleStep(previous, frame, this.#frameInterval) : null;
    if (core.now - core.frameNow > core.staleAfter) this.#safety.clearSince = core.now;
    if (wrong === null && previous !== null) this.#standstill.takeFrame(frame.at - previous.at - (core.now - core.frameNow));
    core.takeFrame(frame);
    this.#settings.track(frame);
    this.#readings.add(frame, previous, wrong !== null);
    this.#clocks.add(frame.at, wrong !== null);

    if (this.#controller.check(frame)) return;
    const clock = this.#clocks.check();
    if (clock !== null) {
      this.#safety.trip('time-base', clock);
      return;
    }
    if (this.#guards.check(frame)) return;
    if (wrong !== null && previous !== null && core.isDriving && !this.#course.facts.stopping) {
      core.doubt ??= { text: impossibleText(wrong, previous, frame), cause: `telemetry-${wrong}` };
    }
    if (core.doubt !== null && this.#refusesFrames(core.doubt)) return;
    this.#followUp(frame);
  }

  /** What a frame that is in order leads to in the present mode. */
  #followUp(frame: BenchFrame): void {
    switch (this.#core.state.mode) {
      case 'proving':
      case 'measuring':
        this.#course.frame(frame);
        return;
      case 'held':
        if (!this.#safety.watchRest(frame)) this.#tryResume();
        return;
      case 'paused':
      case 'tripped':
        this.#safety.watchRest(frame);
        return;
      case 'ready':
      case 'making-safe':
      case 'ended':
        return;
    }
  }

  #tryResume(): void {
    if (this.#safety.endsLongHold()) return;
    if (this.#safety.restedWell && this.#fitness.notFit() === null) this.#sweep.resume(true);
  }

  /** A frame that cannot be ends the attempt, or the proof, in which it came (RUN-160, RUN-161). True when it did. */
  #refusesFrames({ text, cause }: { readonly text: string; readonly cause: string }): boolean {
    const { mode } = this.#core.state;
    if (mode === 'proving') return this.#safety.hold('telemetry-impossible', text);
    if (mode !== 'measuring' || !this.#course.facts.canRefuse) return false;
    this.#sweep.endAttempt(withoutWindow('rejected', text, cause));
    return true;
  }

  #onTick(): void {
    if (this.#course.tick()) return;
    if (this.#core.state.mode === 'held') this.#safety.endsLongHold();
    if (!this.#core.isDriving) return;
    if (this.#core.now - this.#core.frameNow > this.#core.staleAfter) {
      this.#safety.hold('telemetry', `No telemetry for ${this.#core.staleAfter.toFixed(1)} s.`);
      return;
    }
    this.#course.checkDeadline();
  }
}
