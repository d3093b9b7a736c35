/** The pieces that procedures are made of: arm, feed the rail, set the supply and the condition, drive a burst, stop it. */
import type { BenchFrame, BenchReply, BenchRequest, BurstRequest } from '../../bench/port.ts';
import { fluidTemperatures, readingOf, signals, toShown } from '../../bench/readings.ts';
import type { Point } from '../../plan/points.ts';
import { toKilopascals, volts } from '../../quantities/quantity.ts';
import type { Volts } from '../../quantities/quantity.ts';
import { idleCurrentText, idleCurrentTimeout } from '../idle-current.ts';
import { deadManFault } from '../proof.ts';
import type { WaitingFor } from '../status.ts';
import type { EngineCore } from './core.ts';
import { ask, factsOf, leave, noFacts, until } from './course.ts';
import type { Course, Leave, Procedure, StepFacts } from './course.ts';
import { replyTimeout } from './safety.ts';
import type { Safety } from './safety.ts';
import type { EngineSettings } from './settings.ts';

const waiting = factsOf('canRefuse');
const conditioning = factsOf('canRefuse', 'conditioning');
const clearing = factsOf('expectsDeadMan');
const arming = factsOf('arming');
const stopping = factsOf('stopping');

/** The controller's read-back of a stop or of a cleared fault, s. */
export const readBackTimeout = 3;
/** How much longer than by the controller's clock a wait may take by the host's, s. */
export const clockSlack = 10;

export type Refused = Extract<BenchReply, { kind: 'refused' }>;
/** What to do when the supply is refused, or does not come to its set point. */
export type NotSupplied = (why: { readonly refused: Refused } | { readonly notReached: string }) => Leave;

/** A pulse train that was asked for, and whether a frame is of it. */
export class Burst {
  readonly #before: number;
  readonly #count: number;

  /** `before`: number of the train that the controller had before. */
  constructor(before: number, count: number) {
    this.#before = before;
    this.#count = count;
  }

  isOf({ burst }: BenchFrame): boolean {
    return burst.number !== this.#before && burst.commanded === this.#count;
  }
}

export class Drive {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #settings: EngineSettings;
  readonly #safety: Safety;

  constructor(core: EngineCore, course: Course, settings: EngineSettings, safety: Safety) {
    this.#core = core;
    this.#course = course;
    this.#settings = settings;
    this.#safety = safety;
  }

  /**
   * A request and its reply. No answer holds the run; a refusal is `refused`'s, and without one a controller that refuses what it
   * must not refuse is not fit to go on with.
   */
  *ask(request: BenchRequest, facts = noFacts, refused?: (reply: Refused) => Leave | null): Procedure<BenchReply> {
    return yield* ask(request, replyTimeout, (reply) => this.turnsAway(reply, refused), facts);
  }

  turnsAway(reply: BenchReply, refused: (reply: Refused) => Leave | null = (said) => this.#mustNotRefuse(said)): Leave | null {
    switch (reply.kind) {
      case 'done':
        return null;
      case 'no-answer':
        return leave(() => this.#safety.hold('no-answer', `The bench did not answer: ${reply.text}`));
      case 'refused':
        return refused(reply);
    }
  }

  /** Clears a dead-man and waits until it is seen cleared. */
  *clearDeadMan(): Procedure {
    const facts = clearing;
    yield* this.ask({ kind: 'clear-faults' }, facts, (reply) => (reply.code === 'fault' ? this.#somethingElse(reply) : this.#mustNotRefuse(reply)));
    yield* until({
      facts,
      met: (frame) => frame.fault === null,
      dueAfter: readBackTimeout,
      overdue: () => this.#safety.leaveTripped('controller-fault', 'The watchdog fault of the controller did not clear.'),
    });
  }

  /**
   * Clears a dead-man, arms, enables the pump (RUN-120) and sets the supply, each only where needed; then waits for the supply
   * (RUN-40). `failed`: what to do when it does not come, or is refused.
   */
  *setUp(failed: NotSupplied): Procedure {
    while (this.#core.frame?.fault?.code === deadManFault) yield* this.clearDeadMan();
    if (this.#core.frame?.armed !== true || !this.#settings.armed) {
      this.#settings.pumping = false;
      yield* this.ask({ kind: 'arm' }, arming);
    }
    yield* this.#feedRail();
    yield* this.#setSupply(failed);
  }

  /** Waits for what the point wants of pressure and temperature (RUN-41, RUN-42). */
  *setCondition(point: Point, rejected: (text: string, cause: string) => Leave): Procedure {
    const { condition } = this.#core.state.plan;
    const { commandable } = this.#core.capabilities.pressure;
    if (this.#settings.pressure !== point.pressure) {
      if (commandable) {
        this.#settings.forgetPressure();
        yield* this.ask({ kind: 'set-pressure', pressure: point.pressure }, noFacts, ({ text, code }) => rejected(`The controller refused the pressure: ${text} (${code}).`, `pressure-refused-${code}`));
        this.#settings.pressure = point.pressure;
      } else {
        this.#settings.expectPressure(point.pressure);
      }
    }
    if (this.#settings.conditionIsSteady) return;
    const check = (): boolean => this.#settings.conditionIsSteady;
    const byHand = () => this.#core.frame !== null && !commandable && !this.#settings.pressureFits(this.#core.frame);
    yield* until({
      facts: conditioning,
      skippable: true,
      met: check,
      dueAfter: 0,
      overdue: (since) => {
        if (check()) return true;
        // The operator sets this pressure: the run waits for a person without a limit, pulses off (RUN-42).
        if (byHand()) this.#course.restartWait();
        else if (since > condition.timeoutS) return rejected(this.#conditionNotReached(), 'condition-not-reached');
        return false;
      },
      waitingFor: () => this.#waitingForCondition(point),
    });
  }

  /** While more current flows than may flow with nothing driven the run waits for its end (RUN-131). */
  *noCurrent(): Procedure {
    const { idleCurrentA } = this.#core.state.plan.supply;
    const flows = (frame: BenchFrame | null) => frame === null || frame.current > idleCurrentA;
    if (!flows(this.#core.frame)) return;
    yield* until({
      facts: waiting,
      met: (frame) => !flows(frame),
      dueAfter: idleCurrentTimeout,
      overdue: () => this.#safety.leaveTripped('idle-current', idleCurrentText(this.#core.frame?.current ?? Number.NaN, idleCurrentA)),
      waitingFor: () => ({ text: 'no current while nothing is driven', value: this.#core.frame?.current ?? null, low: null, high: idleCurrentA, unit: 'A' }),
    });
  }

  /** Has the controller drive pulses; they go on when this returns. */
  *burst(burst: BurstRequest, facts: StepFacts, refused: (reply: Refused) => Leave): Procedure<{ readonly burst: Burst; readonly reply: BenchReply }> {
    this.#settings.pulsing = true;
    const asked = new Burst(this.#core.frame?.burst.number ?? 0, burst.count);
    const reply = yield* this.ask({ kind: 'burst', ...burst }, facts, refused);
    return { burst: asked, reply };
  }

  /** Stops the pulses and sees them stopped. */
  *stopPulses(): Procedure {
    const facts = stopping;
    this.#core.step('stop');
    yield* this.ask({ kind: 'stop-burst' }, facts);
    yield* until({
      facts,
      met: (frame) => !frame.burst.active,
      dueAfter: readBackTimeout,
      overdue: () => this.#safety.leaveTripped('stop-not-confirmed', 'The controller said that it stopped the pulses, but they go on.'),
    });
    this.#settings.pulsing = false;
  }

  /** The proof needs no pressure. */
  *#feedRail(): Procedure {
    const { rail } = this.#core.capabilities;
    if (this.#settings.railShut) {
      yield* this.ask({ kind: 'shut-off', shut: false });
      this.#settings.railShut = false;
      this.#settings.conditionBeginsAnew();
    }
    if (this.#core.state.mode !== 'measuring' || this.#settings.pumping || rail === undefined || !(rail.pump || rail.relief)) return;
    yield* this.ask({ kind: 'pump', on: true });
    this.#settings.pumping = true;
  }

  *#setSupply(failed: NotSupplied): Procedure {
    const { supply: limits } = this.#core.state.plan;
    const supply = this.#supplyTarget();
    if (this.#settings.supply !== supply) {
      this.#settings.forgetSupply();
      yield* this.ask({ kind: 'set-supply', supply }, noFacts, (reply) => failed({ refused: reply }));
      this.#settings.supply = supply;
    }
    if (this.#settings.supplyIsSteady) return;
    const check = (): boolean => this.#settings.supplyIsSteady;
    yield* until({
      facts: waiting,
      skippable: true,
      met: check,
      dueAfter: 0,
      overdue: (since) => {
        if (check()) return true;
        if (since <= limits.timeoutS) return false;
        const { frame } = this.#core;
        return failed({
          notReached: `The supply did not come to ${supply} V +/- ${limits.toleranceV} V within ${limits.timeoutS} s; the read-back is ${frame === null ? 'not known' : `${frame.supply.toFixed(3)} V`}.`,
        });
      },
      waitingFor: () => ({ text: 'supply read-back steady', value: this.#core.frame?.supply ?? null, low: supply - limits.toleranceV, high: supply + limits.toleranceV, unit: 'V' }),
    });
  }

  #supplyTarget(): Volts {
    return this.#core.currentPoint?.voltage ?? volts(Math.min(...this.#core.state.plan.axes.voltageV));
  }

  #conditionNotReached(): string {
    const { frame, state } = this.#core;
    const found =
      frame === null
        ? 'the readings are not known'
        : signals.flatMap((signal) => (signal.band === null ? [] : `${signal.name} ${toShown(signal, readingOf(frame, signal.id) ?? Number.NaN).toFixed(signal.digits)} ${signal.plain}`)).join(', ');
    return `Pressure and temperature did not come into their bands within ${state.plan.condition.timeoutS} s: ${found}.`;
  }

  #waitingForCondition(point: Point): WaitingFor {
    const { frame, state } = this.#core;
    const { pressureToleranceKpa: tolerance, temperatureMinC: low, temperatureMaxC: high } = state.plan.condition;
    const wanted = toKilopascals(point.pressure);
    if (frame === null || Math.abs(toKilopascals(frame.pressure) - wanted) > tolerance || this.#settings.temperaturesFit()) {
      return { text: 'rail pressure in band', value: frame === null ? null : toKilopascals(frame.pressure), low: wanted - tolerance, high: wanted + tolerance, unit: 'kPa' };
    }
    const temperatures = fluidTemperatures.map((signal) => ({ text: `${signal.name} in band`, value: toShown(signal, readingOf(frame, signal.id) ?? Number.NaN), low, high, unit: signal.plain }));
    const out = temperatures.find(({ value }) => !(value >= low && value <= high)) ?? temperatures.at(-1);
    if (out === undefined) throw new Error('a temperature is out of its band');
    return out;
  }

  #mustNotRefuse({ text, code }: Refused): Leave {
    return this.#safety.leaveTripped('refused', `The controller refused a request that it must not refuse: ${text} (${code}).`);
  }

  /** LINE-63: what came after the dead-man is not shown, and keeps it from being cleared. */
  #somethingElse({ text, code }: Refused): Leave {
    return this.#safety.leaveTripped('refused', `Something else than the watchdog keeps the controller from being cleared: ${text} (${code}). The controller shows only the first fault; look at supply current, temperatures, pressure transducer, flow meter and interlocks.`);
  }
}
