/** The run as it goes on by itself: the proof of the dead-man (RUN-12), then one attempt after another. */
import { missingOfDeadMan, proofBurst, proofSilence } from '../proof.ts';
import type { EngineCore } from './core.ts';
import { ask, factsOf, leave, noFacts, until } from './course.ts';
import type { Course, Leave, Procedure } from './course.ts';
import { readBackTimeout } from './drive.ts';
import type { Drive } from './drive.ts';
import { withoutWindow } from './outcome.ts';
import type { Outcome } from './outcome.ts';
import { PulsedPoint } from './pulsed-point.ts';
import type { PointParts } from './pulsed-point.ts';
import { replyTimeout } from './safety.ts';
import type { Safety } from './safety.ts';
import type { Schedule } from './schedule.ts';
import type { EngineSettings } from './settings.ts';
import { ZeroPoint } from './zero-point.ts';

/** How long the supply may take to its safe value in the proof, s. */
const safeSupplyTimeout = 10;
/** For a decision that takes a second at the most, s. */
const decisionTimeout = 60;
/** Pulses that must be seen before the silence of the proof begins. */
const proofPulses = 2;
const expectsDeadMan = factsOf('expectsDeadMan');

export class Sweep {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #drive: Drive;
  readonly #settings: EngineSettings;
  readonly #safety: Safety;
  readonly #schedule: Schedule;
  readonly #parts: PointParts;

  constructor(course: Course, safety: Safety, parts: PointParts) {
    this.#core = parts.core;
    this.#course = course;
    this.#drive = parts.drive;
    this.#settings = parts.settings;
    this.#safety = safety;
    this.#schedule = parts.schedule;
    this.#parts = parts;
  }

  /** From the proof on. */
  start(): void {
    this.#safety.setsOut(false);
    this.#core.emit({ kind: 'proving-started' });
    this.#course.run(this.#proveAndMeasure());
  }

  /** After a rest: the dead-man is proved again only if the controller was reset since (RUN-14). */
  resume(automatic: boolean): void {
    this.#safety.setsOut(automatic);
    this.#core.emit({ kind: 'resumed', automatic });
    const { provedBootId, bench } = this.#core.state;
    if (provedBootId !== bench?.bootId) {
      this.start();
      return;
    }
    this.#core.emit({ kind: 'measuring-started' });
    this.#course.run(this.#measureOn());
  }

  /** Ends the attempt in progress from outside its procedure; if its pulses may still be going on, they are stopped first. */
  endAttempt(outcome: Outcome): void {
    this.#course.run(this.#stopAndGoOn(outcome));
  }

  *#proveAndMeasure(): Procedure {
    yield* this.#prove();
    this.#core.emit({ kind: 'measuring-started' });
    yield* this.#measureOn();
  }

  *#measureOn(): Procedure {
    for (;;) {
      while (this.#schedule.needsDecision) yield* this.#decision();
      const away = this.#schedule.begin();
      if (away !== null) yield away;
      const ended = yield* this.#attempt();
      const turned = this.#schedule.attemptEnded(ended);
      if (turned !== null) yield turned;
    }
  }

  /** What is measured next is worked out beside the thread that drives the bench; nothing is driven meanwhile (RUN-231). */
  *#decision(): Procedure {
    const number = this.#schedule.awaitDecision();
    yield* until({
      facts: noFacts,
      met: () => {
        if (this.#schedule.awaitsDecision === number) return false;
        const { undecided } = this.#schedule;
        return undecided === null || leave(() => this.#safety.callPerson('schedule', `What is to be measured next could not be worked out. ${undecided} Resume to have it worked out again.`));
      },
      dueAfter: decisionTimeout,
      overdue: () => leave(() => this.#safety.callPerson('schedule', `What is to be measured next was not worked out within ${decisionTimeout} s. Resume to have it worked out again.`)),
      waitingFor: () => ({ text: 'what is measured next to be worked out', value: null, low: null, high: null, unit: '' }),
    });
  }

  *#stopAndGoOn(outcome: Outcome): Procedure {
    if (this.#settings.pulsing) {
      yield* this.#drive.stopPulses();
      // Judged so or so, it is over when its driver has switched off.
      yield* this.#drive.noCurrent();
    }
    const turned = this.#schedule.attemptEnded(outcome);
    if (turned !== null) yield turned;
    yield* this.#measureOn();
  }

  *#attempt(): Procedure<Outcome> {
    const point = this.#core.currentPoint;
    if (point === null) throw new Error('The run measures without a point.');
    const reject = (text: string, cause = text): Leave => leave(() => this.endAttempt(withoutWindow('rejected', text, cause)));
    this.#core.step('supply');
    yield* this.#drive.setUp((why) =>
      'refused' in why
        ? reject(`The controller refused the supply voltage: ${why.refused.text} (${why.refused.code}).`, `supply-refused-${why.refused.code}`)
        : reject(why.notReached, 'supply-not-reached'),
    );
    this.#core.step('condition');
    yield* this.#drive.setCondition(point, reject);
    yield* this.#drive.noCurrent();
    return yield* (point.role === 'zero' ? new ZeroPoint(this.#parts, point, reject) : new PulsedPoint(this.#parts, point, reject)).measure();
  }

  /** Pulses that are too short to open an injector, then silence: the controller must stop them and take the supply down by itself. */
  *#prove(): Procedure {
    const { capabilities } = this.#core;
    const { plan } = this.#core.state;
    const failed = (text: string): Leave => leave(() => this.#proofFailed(text));
    const refused = ({ text, code }: { readonly text: string; readonly code: string }) => failed(`the controller refused: ${text} (${code})`);
    yield* this.#drive.setUp((why) => ('refused' in why ? refused(why.refused) : failed(why.notReached)));
    yield* this.#drive.noCurrent();
    const { burst } = yield* this.#drive.burst(proofBurst(plan, capabilities), noFacts, refused);
    yield* until({
      facts: noFacts,
      met: (frame) => burst.isOf(frame) && frame.burst.active && frame.burst.done >= proofPulses,
      dueAfter: readBackTimeout,
      overdue: () => failed('the pulses of the proof were not seen to begin.'),
    });
    const silence = proofSilence(plan, capabilities);
    yield* ask(
      { kind: 'keep-silent', duration: silence },
      silence + replyTimeout,
      (reply) => this.#drive.turnsAway(reply),
      expectsDeadMan,
      (now, since) => ({ text: 'silence of the host', value: now - since, low: silence, high: null, unit: 's' }),
    );
    yield* until({
      facts: expectsDeadMan,
      met: (frame) => missingOfDeadMan(frame, capabilities) === null,
      dueAfter: safeSupplyTimeout,
      overdue: () => failed(`after ${silence.toFixed(1)} s of silence ${this.#missing()}`),
    });
    this.#settings.pulsing = false;
    this.#settings.armed = false;
    this.#settings.supply = Number.NaN;
    const { done = 0, commanded = 0 } = this.#core.frame?.burst ?? {};
    this.#core.emit({ kind: 'dead-man-proved', silence, pulsesBefore: done, pulsesCommanded: commanded });
    yield* this.#drive.clearDeadMan();
  }

  #missing(): string {
    const { frame, capabilities } = this.#core;
    return (frame === null ? null : missingOfDeadMan(frame, capabilities)) ?? 'nothing was seen of it.';
  }

  #proofFailed(text: string): void {
    this.#core.emit({ kind: 'dead-man-not-proved', text });
    this.#safety.trip('dead-man-proof', `The watchdog of the controller was not proved: ${text} Nothing is measured without it.`);
  }
}
