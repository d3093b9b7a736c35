/** What is gathered over all frames, the window of an attempt, idle flow, time without pulses, readings that stand. */
import type { BenchFrame } from '../../bench/port.ts';
import { IdleFlow, idleFlowRest } from '../../bench/idle-flow.ts';
import { IdleTime } from '../idle-time.ts';
import { StandingReadings } from '../telemetry-check.ts';
import { WindowCollector } from '../window.ts';
import type { EngineCore } from './core.ts';
import type { Course } from './course.ts';
import type { EngineSettings } from './settings.ts';

export class LatestReadings {
  readonly idleFlow: IdleFlow;
  readonly idleTime: IdleTime;
  standing = new StandingReadings();
  /** Of the present attempt: one at a time is measured. */
  readonly window: WindowCollector;
  readonly #course: Course;
  readonly #settings: EngineSettings;

  constructor(core: EngineCore, course: Course, settings: EngineSettings) {
    const { plan, equipment } = core.state;
    this.#course = course;
    this.#settings = settings;
    this.idleFlow = new IdleFlow(equipment.meter.kFactor, idleFlowRest(plan), plan.condition.pressureToleranceKpa * 1e3);
    this.window = new WindowCollector(equipment.meter.edgesPerRevolution);
    this.idleTime = new IdleTime(plan.zero.settleS);
  }

  /** `before`: the frame before it; null: none of this link. `impossible`: no flow can be had from the frame. */
  add(frame: BenchFrame, before: BenchFrame | null, impossible: boolean): void {
    // A rail that was shut off fills up when it is opened.
    const driven = this.#settings.pulsing || this.#settings.railShut;
    this.idleFlow.add(frame, driven || impossible);
    this.idleTime.add(frame, before, !driven && !this.#course.facts.countingZero && this.#settings.pressureFits(frame) && !impossible);
  }

  /** The controller was reset. */
  forget(): void {
    this.idleFlow.forget();
    this.standing = new StandingReadings();
  }
}
