/** The plan's guards over each frame (RUN-20 to RUN-22). */
import type { BenchFrame } from '../../bench/port.ts';
import { lookPart } from '../../plan/look.ts';
import type { Guard } from '../../plan/plan.ts';
import { toKilopascals } from '../../quantities/quantity.ts';
import { directReading, guardText, stepGuard, WatchedGuard } from '../guards.ts';
import type { GuardMemory } from '../guards.ts';
import type { IdleFlow } from '../../bench/idle-flow.ts';
import { canTripMakingSafe } from './controller-watch.ts';
import type { EngineCore } from './core.ts';
import type { Course } from './course.ts';
import type { Safety } from './safety.ts';

export class GuardWatch {
  readonly #core: EngineCore;
  readonly #course: Course;
  readonly #safety: Safety;
  readonly #idleFlow: IdleFlow;
  readonly #guards: readonly WatchedGuard[];

  constructor(core: EngineCore, course: Course, safety: Safety, idleFlow: IdleFlow) {
    this.#core = core;
    this.#course = course;
    this.#safety = safety;
    this.#idleFlow = idleFlow;
    this.#guards = core.state.plan.guards.map((guard) => new WatchedGuard(guard));
  }

  /** True when the run left its way. */
  check(frame: BenchFrame): boolean {
    for (const watched of this.#guards) {
      const value = this.#reading(watched.signal, frame);
      if (watched.staysClear(value)) continue;
      const { guard, memory: before } = watched;
      // A leak that was found is not gone because an injector is driven again: it clears when it is counted anew (RUN-108).
      if (guard.signal === 'idle-flow-ml-min' && value === null && before.active) continue;
      const after = stepGuard(guard, before, value, this.#core.now);
      if (after === before && !after.active) continue;
      watched.memory = after;
      if (this.#act(guard, before, after, value)) return true;
    }
    return false;
  }

  /** The first hold or trip guard that is not clear, in words; null: all are. */
  notClear(frame: BenchFrame): string | null {
    for (const { guard, memory } of this.#guards) {
      if (guard.level !== 'note' && (memory.active || memory.outSince !== null)) {
        return `Guard ${guard.id} is not clear. ${guardText(guard, this.#reading(guard.signal, frame))}.`;
      }
    }
    return null;
  }

  #act(guard: Guard, before: GuardMemory, after: GuardMemory, value: number | null): boolean {
    const { state } = this.#core;
    if (!after.active) {
      if (before.active && state.notes.has(guard.id)) this.#core.emit({ kind: 'guard-cleared', guard: guard.id, text: `${guardText(guard, value)}: back inside.` });
      return false;
    }
    // An ended run only keeps watch for the checks before points are measured again.
    if (state.mode === 'ended') return false;
    // A hold or trip that finds nothing to stop is written down like a note.
    if (guard.level === 'note' ? !state.notes.has(guard.id) : !before.active && !this.#canStop(guard.level)) {
      this.#core.emit({ kind: 'guard-noted', guard: guard.id, text: `${guardText(guard, value)}.` });
    }
    // A guard that was active before is looked at again: the mode may have become one that it stops.
    if (guard.level === 'hold' && this.#canStop('hold')) return this.#safety.hold(guard.id, `${guardText(guard, value)}.`, guard.maxResumes);
    if (guard.level === 'trip' && this.#canStop('trip')) return this.#safety.trip(guard.id, `${guardText(guard, value)}.`);
    return false;
  }

  #canStop(level: 'hold' | 'trip'): boolean {
    if (this.#core.isDriving) return true;
    const { mode, safe } = this.#core.state;
    return level === 'trip' && (mode === 'paused' || mode === 'held' || canTripMakingSafe(mode, safe));
  }

  /** In the unit of the guard's limits; null when the signal does not apply now. */
  #reading(signal: Guard['signal'], frame: BenchFrame): number | null {
    switch (signal) {
      case 'pressure-deviation-kpa': {
        const point = this.#core.currentPoint;
        // Held open for a moment: the plan need not have been made for that droop (RUN-143).
        return this.#course.facts.atPressure && point !== null && lookPart(point) !== 'held' ? toKilopascals(frame.pressure) - toKilopascals(point.pressure) : null;
      }
      case 'supply-deviation-v': {
        const step = this.#core.state.current?.step;
        const point = this.#core.currentPoint;
        return step != null && step !== 'supply' && point !== null ? frame.supply - point.voltage : null;
      }
      case 'idle-flow-ml-min':
        return this.#idleFlow.millilitresPerMinute;
      case 'pressure-kpa':
      case 'rail-temperature-c':
      case 'meter-temperature-c':
      case 'current-a':
        return directReading(signal, frame);
    }
  }
}
