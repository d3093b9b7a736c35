/** What all parts of the engine know: the run, the time of the present input, the latest frame, and the events of the present unit. */
import type { BenchCapabilities, BenchFrame } from '../../bench/port.ts';
import { frameSignals, readInto } from '../../bench/readings.ts';
import type { Point } from '../../plan/points.ts';
import type { RunEventBody, StepKind } from '../../journal/events.ts';
import { foldRun } from '../../journal/fold.ts';
import type { RunState } from '../../journal/state.ts';
import { transitions } from '../machine.ts';

export class EngineCore {
  /** Telemetry that is older than this, s, does not count. */
  readonly staleAfter: number;
  /** The host's monotonic clock at the present input, s; never goes back. */
  now = Number.NEGATIVE_INFINITY;
  /** The latest frame of the present link and controller life, and when it came. */
  frame: BenchFrame | null = null;
  frameNow = Number.NEGATIVE_INFINITY;
  /** Of that frame, in the order of `frameSignals`. */
  readonly readings = new Float64Array(frameSignals.length);
  /** Why the link is down, or was last. */
  downReason = '';
  /** A frame of the present attempt, or of the proof, could not be (RUN-160). */
  doubt: { readonly text: string; readonly cause: string } | null = null;
  /** Events since `beginUnit`; null: none. */
  events: RunEventBody[] | null = null;
  #state: RunState;
  #currentPoint: Point | null;

  /** Throws when the run has no bench or was left unfinished without having been recovered. */
  constructor(state: RunState) {
    if (state.bench === null) throw new Error('A run needs a bench before it has an engine: fold its bench-connected event first.');
    if (state.mode === 'proving' || state.mode === 'measuring' || state.mode === 'held') {
      throw new Error(`The run was left ${state.mode}; recover it first.`);
    }
    this.#state = state;
    this.#currentPoint = this.#pointOf(state);
    this.staleAfter = Math.max(1, 3 / state.plan.link.telemetryHz);
  }

  get state(): RunState {
    return this.#state;
  }

  get capabilities(): BenchCapabilities {
    const { bench } = this.#state;
    if (bench === null) throw new Error('The run has no bench.');
    return bench.capabilities;
  }

  get isDriving(): boolean {
    return this.#state.mode === 'proving' || this.#state.mode === 'measuring';
  }

  get hasFreshFrame(): boolean {
    return this.frame !== null && this.now - this.frameNow <= this.staleAfter;
  }

  /** The point of the attempt that is going on; null: none is. */
  get currentPoint(): Point | null {
    return this.#currentPoint;
  }

  /** The injector that a point drives; null for a point that drives none. */
  drivenInjector(point: number): number | null {
    const at = this.#state.setPoints[point];
    return at === undefined || at.channel === 0 ? null : at.injector;
  }

  takeFrame(frame: BenchFrame): void {
    this.frame = frame;
    this.frameNow = this.now;
    readInto(this.readings, frame);
  }

  forgetFrames(): void {
    this.frame = null;
    this.frameNow = Number.NEGATIVE_INFINITY;
  }

  emit(event: RunEventBody): void {
    const before = this.#state.mode;
    this.events ??= [];
    this.events.push(event);
    this.#state = foldRun(this.#state, event);
    this.#currentPoint = this.#pointOf(this.#state);
    const after = this.#state.mode;
    if (after !== before && !transitions[before].includes(after)) throw new Error(`The event '${event.kind}' leads from ${before} to ${after}, which the table does not allow.`);
  }

  #pointOf({ current, setPoints }: RunState): Point | null {
    return current === null ? null : (setPoints[current.point] ?? null);
  }

  /** The attempt in progress comes to a step. */
  step(step: StepKind): void {
    const { current } = this.#state;
    if (current === null) throw new Error(`The step ${step} has no attempt.`);
    this.emit({ kind: 'step', step, point: current.point, attempt: current.attempt });
  }
}
