/** The plan's guards over each frame (RUN-20 to RUN-22). */
import type { BenchFrame } from '../../bench/port.ts';
import { lookPart } from '../../plan/look.ts';
import type { Guard } from '../../plan/plan.ts';
import type { Point } from '../../plan/points.ts';
import { toKilopascals } from '../../quantities/quantity.ts';
import { guardReading, Guards, guardText } from '../guards.ts';
import type { GuardedWork, GuardMemory } from '../guards.ts';
import type { IdleFlow } from '../../bench/idle-flow.ts';
import { canTripMakingSafe } from './controller-watch.ts';
import type { EngineCore } from './core.ts';
import type { Course } from './course.ts';
import type { Safety } from './safety.ts';

/** A class, so that its getters are found at once: they are asked with every frame. */
class WorkOfRun implements GuardedWork {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #idleFlow: IdleFlow;
  #point: Point | null = null;
  /** That it is measured at, kPa; NaN: none is to be held. */
  #pressureOfPoint = Number.NaN;

  constructor(core: EngineCore, course: Course, idleFlow: IdleFlow) {
    this.#core = core;
    this.#course = course;
    this.#idleFlow = idleFlow;
  }

  get pressureKpa(): number {
    if (!this.#course.facts.atPressure) return Number.NaN;
    const point = this.#core.currentPoint;
    if (point !== this.#point) {
      this.#point = point;
      // Held open for a moment: the plan need not have been made for that droop (RUN-143).
      this.#pressureOfPoint = point !== null && lookPart(point) !== 'held' ? toKilopascals(point.pressure) : Number.NaN;
    }
    return this.#pressureOfPoint;
  }

  get supplyV(): number {
    const { current } = this.#core.state;
    if (current === null || current.step === null || current.step === 'supply') return Number.NaN;
    const point = this.#core.currentPoint;
    return point === null ? Number.NaN : point.voltage;
  }

  get idleFlow(): number {
    const flow = this.#idleFlow.millilitresPerMinute;
    return flow === null ? Number.NaN : flow;
  }
}

export class GuardWatch {
  readonly #core: EngineCore;
  readonly #safety: Safety;
  readonly #guards: Guards;
  readonly #answer = this.#act.bind(this);

  constructor(core: EngineCore, course: Course, safety: Safety, idleFlow: IdleFlow) {
    this.#core = core;
    this.#safety = safety;
    this.#guards = new Guards(core.state.plan.guards, new WorkOfRun(core, course, idleFlow));
  }

  /** True when the run left its way. */
  check(frame: BenchFrame): boolean {
    return this.#guards.check(frame, this.#core.now, this.#answer);
  }

  /** The first hold or trip guard that is not clear, in words; null: all are. */
  notClear(frame: BenchFrame): string | null {
    return this.#guards.notClear(frame);
  }

  #act(guard: Guard, before: GuardMemory, after: GuardMemory, value: number | null): boolean {
    const { state } = this.#core;
    if (!after.active) {
      if (before.active && state.notes.has(guard.id)) this.#core.emit({ kind: 'guard-cleared', guard: guard.id, text: `${guardText(guard, value)}: back inside.`, reading: guardReading(guard, value) });
      return false;
    }
    // An ended run only keeps watch for the checks before points are measured again.
    if (state.mode === 'ended') return false;
    // A hold or trip that finds nothing to stop is written down like a note.
    if (guard.level === 'note' ? !state.notes.has(guard.id) : !before.active && !this.#canStop(guard.level)) {
      this.#core.emit({ kind: 'guard-noted', guard: guard.id, text: `${guardText(guard, value)}.`, reading: guardReading(guard, value) });
    }
    // A guard that was active before is looked at again: the mode may have become one that it stops.
    if (guard.level === 'hold' && this.#canStop('hold')) return this.#safety.hold(guard.id, `${guardText(guard, value)}.`, guard.maxResumes, guardReading(guard, value));
    if (guard.level === 'trip' && this.#canStop('trip')) return this.#safety.trip(guard.id, `${guardText(guard, value)}.`, guardReading(guard, value));
    return false;
  }

  #canStop(level: 'hold' | 'trip'): boolean {
    if (this.#core.isDriving) return true;
    const { mode, safe } = this.#core.state;
    return level === 'trip' && (mode === 'paused' || mode === 'held' || canTripMakingSafe(mode, safe));
  }
}
