/** A zero point: nothing is driven, and the meter is watched (RUN-101); where the rail can be shut off, its pressure too (RUN-107). */
import type { BenchFrame } from '../../bench/port.ts';
import type { Point } from '../../plan/points.ts';
import { decaysPressure, zeroWindow } from '../../plan/zero.ts';
import { summariseDecay } from '../../reduce/pressure-decay.ts';
import type { WindowCollector } from '../window.ts';
import type { EngineCore } from './core.ts';
import { factsOf, noFacts, until } from './course.ts';
import type { Procedure } from './course.ts';
import { clockSlack } from './drive.ts';
import type { Drive } from './drive.ts';
import { judged } from './outcome.ts';
import type { Outcome } from './outcome.ts';
import type { PointParts, Reject } from './pulsed-point.ts';
import type { LatestReadings } from './readings.ts';
import type { EngineSettings } from './settings.ts';

const resting = factsOf('atPressure', 'canRefuse');
const counting = factsOf('atPressure', 'canRefuse', 'countingZero');
const decaying = factsOf('canRefuse');

/** The valve has shut and the transducer's filter has followed, s. */
const shutRest = 0.5;

export class ZeroPoint {
  readonly #core: EngineCore;
  readonly #drive: Drive;
  readonly #settings: EngineSettings;
  readonly #readings: LatestReadings;
  readonly #point: Point;
  readonly #reject: Reject;
  readonly #window: WindowCollector;

  constructor({ core, drive, settings, readings }: PointParts, point: Point, reject: Reject) {
    this.#core = core;
    this.#drive = drive;
    this.#settings = settings;
    this.#readings = readings;
    this.#point = point;
    this.#reject = reject;
    this.#window = readings.window.begin();
  }

  *measure(): Procedure<Outcome> {
    const { plan, equipment } = this.#core.state;
    yield* this.#rest();
    yield* this.#fillWindow();
    const decay = decaysPressure(plan, equipment, this.#core.capabilities) ? yield* this.#decay() : [];
    return judged(this.#core, this.#readings, this.#point, this.#window.summariseZero(), { decay: summariseDecay(decay) });
  }

  /** The rail comes to rest. The frame that ends the rest is the first of the window. */
  *#rest(): Procedure {
    const { settleS } = this.#core.state.plan.zero;
    let since = Number.NaN;
    this.#core.step('settle');
    yield* until({
      facts: resting,
      skippable: true,
      met: (frame) => {
        if (Number.isNaN(since)) since = frame.at;
        return frame.at - since >= settleS;
      },
      dueAfter: settleS + clockSlack,
      overdue: () => this.#reject('The clock of the controller did not go on while the rail came to rest.'),
      waitingFor: () => ({ text: 'rail at rest', value: this.#since(since), low: settleS, high: null, unit: 's' }),
    });
    this.#core.step('measure');
    if (this.#core.frame !== null) this.#window.add(this.#core.frame);
  }

  *#fillWindow(): Procedure {
    const length = zeroWindow(this.#core.state.plan);
    const window = this.#window;
    yield* until({
      facts: counting,
      met: (frame) => {
        window.add(frame);
        return window.duration >= length;
      },
      dueAfter: length + clockSlack,
      overdue: () => this.#reject('The clock of the controller did not go on inside the window.'),
      waitingFor: () => ({ text: 'time without pulses', value: window.duration, low: length, high: null, unit: 's' }),
    });
  }

  /**
   * The rail is shut off: its pressure is watched until the time is over or it has left the band. The next set-up opens it again.
   * The window before it is whole all the same; what there is of the decay is judged by its frames.
   */
  *#decay(): Procedure<readonly BenchFrame[]> {
    const { zero, condition } = this.#core.state.plan;
    const frames: BenchFrame[] = [];
    let since = Number.NaN;
    this.#settings.railShut = true;
    const reply = yield* this.#drive.ask({ kind: 'shut-off', shut: true }, noFacts, () => null);
    if (reply.kind === 'refused') {
      this.#settings.railShut = false;
      return frames;
    }
    yield* until({
      facts: decaying,
      met: (frame) => {
        if (Number.isNaN(since)) since = frame.at;
        if (frame.at - since < shutRest) return false;
        frames.push(frame);
        const [first = frame] = frames;
        return Math.abs(frame.pressure - first.pressure) > condition.pressureToleranceKpa * 1e3 || frame.at - first.at >= zero.decayS;
      },
      dueAfter: zero.decayS + shutRest + clockSlack,
      overdue: () => true,
      waitingFor: () => ({ text: 'rail shut off', value: this.#since(since), low: zero.decayS + shutRest, high: null, unit: 's' }),
    });
    return frames;
  }

  #since(at: number): number {
    return this.#core.frame === null || Number.isNaN(at) ? 0 : this.#core.frame.at - at;
  }
}
