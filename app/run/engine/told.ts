/** What is told of a run while it goes on. */
import { restingModes } from '../machine.ts';
import { adviceText, callOf, doingText } from '../status.ts';
import type { RunStatus } from '../status.ts';
import type { EngineCore } from './core.ts';
import type { Course } from './course.ts';
import type { Fitness } from './fit.ts';
import type { Schedule } from './schedule.ts';

/** `now` in s of the host's clock. */
export function statusFrom(now: number, core: EngineCore, course: Course, fitness: Fitness, schedule: Schedule): RunStatus {
  const { state, currentPoint: point, isDriving } = core;
  const { mode, current, counts, ending, safe } = state;
  return {
    mode,
    doing: doingText(state, point),
    waitingFor: course.waitingFor(now),
    advice: adviceText(state, {
      notStartable: mode === 'ready' ? fitness.notStartable() : null,
      pressureByHand: course.facts.conditioning && !core.capabilities.pressure.commandable,
    }),
    point,
    attempt: current?.attempt ?? null,
    ending,
    safe: restingModes.includes(mode) ? (safe?.confirmed ?? null) : null,
    progress: { points: state.setPoints.length, accepted: counts.accepted, skipped: counts.skipped, attempts: counts.attempts, waiting: counts.waiting },
    remaining: isDriving ? schedule.remaining : null,
    call: callOf(state),
  };
}
