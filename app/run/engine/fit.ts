/** Whether the bench may be driven now, and if not, why not. */
import { openInterlockWords } from '../../bench/interlocks.ts';
import type { PreflightLine } from '../../plan/preflight-line.ts';
import { deadManFault } from '../proof.ts';
import type { ClockWatch } from './clock-watch.ts';
import type { ControllerWatch } from './controller-watch.ts';
import type { EngineCore } from './core.ts';
import type { Course } from './course.ts';
import type { GuardWatch } from './guard-watch.ts';

/** The line of the sheet that holds the equipment record against the controller. */
const recordRule = 'PRE-40';

export class Fitness {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #clocks: ClockWatch;
  readonly #controller: ControllerWatch;
  readonly #guards: GuardWatch;

  constructor(core: EngineCore, course: Course, clocks: ClockWatch, controller: ControllerWatch, guards: GuardWatch) {
    this.#core = core;
    this.#course = course;
    this.#clocks = clocks;
    this.#controller = controller;
    this.#guards = guards;
  }

  /** Why the run cannot be started now (RUN-10, RUN-11); null when it can. */
  notStartable(): string | null {
    const refused = this.#refusedLine();
    return refused === undefined ? this.notFit() : `The pre-flight sheet refuses the start (${refused.rule}): ${refused.text}`;
  }

  /** Why the run cannot go on now (RUN-11, RUN-111); null when it can. */
  notResumable(): string | null {
    const refused = this.#refusedLine((line) => line.untraceable !== undefined || line.rule === recordRule);
    return refused === undefined ? this.notFit() : `The pre-flight sheet refuses to go on (${refused.rule}): ${refused.text}`;
  }

  /** What the sheet refuses and a person may choose to pass over (RUN-110). */
  untraceableReasons(): readonly string[] {
    return this.#core.state.preflight.flatMap(({ result, untraceable }) => (result === 'refuse' && untraceable !== undefined ? [untraceable] : []));
  }

  /** Why the bench is not fit to be driven now; null when it is. */
  notFit(): string | null {
    if (!this.#core.state.linkUp) return 'The link to the bench is down. Restore it first.';
    if (this.#course.busy) return 'The controller is still busy with the last request. Try again in a moment.';
    const { frame } = this.#core;
    if (frame === null || !this.#core.hasFreshFrame) return 'There is no fresh telemetry from the bench. Wait for it, or look at the link.';
    if (frame.fault !== null && frame.fault.code !== deadManFault) return `The controller has latched a fault. ${frame.fault.text} Acknowledge it first.`;
    const clock = this.#clocks.refusal();
    if (clock !== null) return clock;
    const open = this.#controller.openInterlocks(frame);
    if (open.length > 0) {
      const { found, first } = openInterlockWords(open);
      return `${found} ${first}`;
    }
    return this.#guards.notClear(frame);
  }

  /** The first line of the sheet that stands against driving the bench, among those that are asked for. */
  #refusedLine(asked: (line: PreflightLine) => boolean = () => true): PreflightLine | undefined {
    const { preflight, untraceableAccepted } = this.#core.state;
    return preflight.find((line) => line.result === 'refuse' && asked(line) && !(untraceableAccepted && line.untraceable !== undefined));
  }
}
