/** What the controller itself says that must not go on (RUN-23 to RUN-28). */
import { openInterlockWords } from '../../bench/interlocks.ts';
import type { BenchFrame } from '../../bench/port.ts';
import { deadManFault } from '../proof.ts';
import type { EngineCore } from './core.ts';
import type { Course } from './course.ts';
import type { Safety } from './safety.ts';
import type { EngineSettings } from './settings.ts';

const noneOpen: readonly string[] = [];

export class ControllerWatch {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #settings: EngineSettings;
  readonly #safety: Safety;
  /** A 1 for each interlock of the bench. */
  readonly #allClosed: number;

  constructor(core: EngineCore, course: Course, settings: EngineSettings, safety: Safety) {
    this.#core = core;
    this.#course = course;
    this.#settings = settings;
    this.#safety = safety;
    this.#allClosed = 2 ** core.capabilities.interlocks.length - 1;
  }

  /** True when the run left its way. */
  check(frame: BenchFrame): boolean {
    return this.#checkFault(frame) || this.#checkInterlocks(frame) || (this.#core.isDriving && this.#checkDriving(frame));
  }

  openInterlocks(frame: BenchFrame): readonly string[] {
    if ((frame.interlocks & this.#allClosed) === this.#allClosed) return noneOpen;
    return this.#core.capabilities.interlocks.filter((_, bit) => (frame.interlocks & (1 << bit)) === 0);
  }

  #checkFault({ fault }: BenchFrame): boolean {
    if (fault === null) return false;
    const { mode, safe } = this.#core.state;
    if (fault.code === deadManFault) {
      if (!this.#core.isDriving || this.#course.facts.expectsDeadMan) return false;
      this.#core.emit({ kind: 'controller-fault', fault });
      return this.#safety.hold('dead-man', `The controller did not hear the host for too long, and its watchdog acted. ${fault.text}`);
    }
    const trips = this.#core.isDriving || mode === 'paused' || mode === 'held' || canTripMakingSafe(mode, safe);
    if (!trips || this.#safety.acknowledging) return false;
    this.#core.emit({ kind: 'controller-fault', fault });
    return this.#safety.trip('controller-fault', `${fault.text}${this.#drivenLast(fault.code)}`);
  }

  #checkInterlocks(frame: BenchFrame): boolean {
    const { mode, safe } = this.#core.state;
    if (!this.#core.isDriving && mode !== 'held' && !(mode === 'making-safe' && safe?.then.kind === 'held')) return false;
    const open = this.openInterlocks(frame);
    return open.length > 0 && this.#safety.trip('interlock', openInterlockWords(open).found);
  }

  #checkDriving(frame: BenchFrame): boolean {
    if (frame.burst.done > frame.burst.commanded) {
      return this.#safety.trip('pulse-count', `The controller counted ${frame.burst.done} pulses where ${frame.burst.commanded} were commanded.`);
    }
    if (frame.burst.active && !this.#settings.pulsing) return this.#safety.trip('unexpected-pulses', 'The controller drives an injector that nobody asked for.');
    if (this.#course.facts.expectsDeadMan) return false;
    if (this.#settings.armed && !frame.armed) return this.#safety.trip('disarmed', 'The controller disarmed itself and gives no reason.');
    if (frame.armed && !this.#course.facts.arming) this.#settings.armed = true;
    return false;
  }

  /** What flows without a pulse mostly flows through the injector that had the last one (RUN-121). */
  #drivenLast(code: string): string {
    const point = this.#core.currentPoint;
    if (code !== 'driver' || point === null || point.role === 'zero') return '';
    return ` The injector driven last is ${this.#core.state.plan.injectors[point.injector]?.serialNumber ?? ''} on channel ${point.channel}.`;
  }
}

/** A bench on its way to a pause or a hold may still trip; one that trips or ends already need not. */
export function canTripMakingSafe(mode: EngineCore['state']['mode'], safe: EngineCore['state']['safe']): boolean {
  return mode === 'making-safe' && (safe?.then.kind === 'paused' || safe?.then.kind === 'held');
}
