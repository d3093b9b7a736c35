/** A point that drives an injector: purge, pulses, settling, window, stop (RUN-43 to RUN-47); after a first look what still flows (RUN-136). */
import type { BenchFrame } from '../../bench/port.ts';
import { expectedEdgeRate } from '../../plan/estimate.ts';
import { expectedFlow } from '../../plan/flow-of-type.ts';
import { lookEdges, lookPart, shutGraceS, shutSpanS } from '../../plan/look.ts';
import type { Point } from '../../plan/points.ts';
import { goesOnUnpurged } from '../../plan/purge.ts';
import { pairEdges } from '../../plan/zero.ts';
import { seconds } from '../../quantities/quantity.ts';
import type { Criterion } from '../../journal/events.ts';
import { shutCriterion } from '../look.ts';
import type { WindowCollector } from '../window.ts';
import type { Blind } from './blind.ts';
import type { EngineCore } from './core.ts';
import { factsOf, leave, until } from './course.ts';
import type { Leave, Procedure } from './course.ts';
import { clockSlack, readBackTimeout } from './drive.ts';
import type { Burst, Drive, Refused } from './drive.ts';
import { judged } from './outcome.ts';
import type { Outcome } from './outcome.ts';
import type { LatestReadings } from './readings.ts';
import type { Schedule } from './schedule.ts';
import type { EngineSettings } from './settings.ts';

/**
 * No meter edge for this long while an injector is driven, s: there is no flow to measure. An injector that passes only an
 * eighth of the expected flow would have given three edges; where no flow is expected it is the longest (RUN-46).
 */
const silentMeterLeast = 3;
const silentMeterMost = 20;
const silentMeterEdges = 3 * 8;
/** Coils above this are not driven here, ohm, and by then the current of a pulse has risen, s: for telling that no coil is there. */
const highestCoilOhm = 30;
const currentRise = 1e-3;
/** The window of a first look may take this much longer than it needs, for its edges, s. */
const lookWindowSlack = 3;
/** The pulses outlast the longest window by this, s. */
const pulsesBeyond = 10;

const atPressure = factsOf('atPressure');
const inPulses = factsOf('atPressure', 'canRefuse');
const shutting = factsOf('canRefuse');

/** What the procedures of all points are made with. */
export interface PointParts {
  readonly core: EngineCore;
  readonly drive: Drive;
  readonly settings: EngineSettings;
  readonly readings: LatestReadings;
  readonly schedule: Schedule;
  readonly blind: Blind;
}

/** Ends the attempt as rejected; its pulses are stopped first. */
export type Reject = (text: string, cause?: string) => Leave;

export class PulsedPoint {
  readonly #core: EngineCore;
  readonly #drive: Drive;
  readonly #settings: EngineSettings;
  readonly #readings: LatestReadings;
  readonly #schedule: Schedule;
  readonly #blind: Blind;
  readonly #point: Point;
  readonly #reject: Reject;
  readonly #silentAfter: number;
  readonly #window: WindowCollector;
  /** The pulses begin and end, and move pressure and temperature with it; an injector that is held open moves nothing. */
  readonly #pulsesMove: boolean;
  readonly #windowMax: number;
  readonly #count: number;
  #burst: Burst | null = null;
  #seenAt = Number.NaN;
  /** Supply current over the frames of the burst so far. */
  readonly #current = { sum: 0, frames: 0 };

  constructor({ core, drive, settings, readings, schedule, blind }: PointParts, point: Point, reject: Reject) {
    this.#core = core;
    this.#drive = drive;
    this.#settings = settings;
    this.#readings = readings;
    this.#schedule = schedule;
    this.#blind = blind;
    this.#point = point;
    this.#reject = reject;
    const { plan, equipment } = core.state;
    const maxS = point.role === 'look' ? plan.look.windowS + lookWindowSlack : plan.window.maxS;
    // Long enough that the pulses outlast the longest window; where the controller cannot, the window ends before they do.
    this.#count = Math.min(core.capabilities.maxCount, Math.ceil((plan.settleS + maxS + pulsesBeyond) / point.period));
    this.#windowMax = Math.min(maxS, this.#count * point.period - plan.settleS - 1);
    this.#silentAfter = Math.min(silentMeterMost, Math.max(silentMeterLeast, silentMeterEdges / expectedEdgeRate(expectedFlow(plan)(point.injector), equipment, point)));
    this.#pulsesMove = point.width < point.period;
    this.#window = readings.window.begin();
  }

  *measure(): Procedure<Outcome> {
    const { plan } = this.#core.state;
    const driven = this.#settings.driven;
    // What is rejected may have been spoilt by air: its injector is purged again (RUN-241).
    this.#settings.driven = null;
    if (plan.purge.pulses > 0 && this.#point.role !== 'look' && !goesOnUnpurged(plan, driven, this.#point.channel)) yield* this.#purge();
    yield* this.#startPulses();
    yield* this.#settle();
    yield* this.#fillWindow();
    yield* this.#drive.stopPulses();
    // A window that was measured beside a driver that does not switch off must not count.
    yield* this.#drive.noCurrent();
    const more = lookPart(this.#point) === 'long' ? [yield* this.#shut()] : [];
    const outcome = judged(this.#core, this.#readings, this.#point, this.#window.summarise(), { first: more, last: this.#pulsesMove ? [this.#readings.standing.criterion()] : [] });
    if (outcome.verdict === 'accepted') this.#settings.driven = this.#point.channel;
    return outcome;
  }

  /** The whole burst, seen to end. */
  *#purge(): Procedure {
    const { purge } = this.#core.state.plan;
    this.#core.step('purge');
    const { burst } = yield* this.#drive.burst(
      { channel: this.#point.channel, width: seconds(purge.widthMs * 1e-3), period: seconds(purge.periodMs * 1e-3), count: purge.pulses },
      atPressure,
      (reply) => this.#refused(reply),
    );
    const ended = yield* until({
      facts: inPulses,
      skippable: true,
      met: (frame) => burst.isOf(frame) && !frame.burst.active,
      dueAfter: (purge.pulses * purge.periodMs) / 1e3 + 5,
      overdue: () => this.#reject('The purge was not seen to end in its time.'),
      waitingFor: () => ({ text: 'purge pulses', value: this.#core.frame !== null && burst.isOf(this.#core.frame) ? this.#core.frame.burst.done : 0, low: purge.pulses, high: null, unit: 'pulses' }),
    });
    if (ended === 'skipped') {
      yield* this.#drive.stopPulses();
      return;
    }
    this.#settings.pulsing = false;
    const { done, commanded } = this.#core.frame?.burst ?? { done: 0, commanded: 0 };
    if (done < commanded) yield this.#reject(`The controller stopped the purge after ${done} of ${commanded} pulses.`, 'purge-cut');
  }

  *#startPulses(): Procedure {
    this.#core.step('settle');
    const { channel, width, period } = this.#point;
    const shift = this.#blind.shift();
    const { burst, reply } = yield* this.#drive.burst({ channel, width: seconds(width + shift), period, count: this.#count }, atPressure, (said) => this.#refused(said));
    this.#burst = burst;
    // What the timer made of the width that was asked for, and not what was asked for: that is sealed.
    const driven = reply.kind === 'done' ? (reply.drivenWidth ?? null) : null;
    this.#schedule.drivenWidth = driven === null ? null : seconds(driven - shift);
  }

  /** Settling counts from the frame that shows the pulses running. The frame that ends it is the first of the window. */
  *#settle(): Procedure {
    const { settleS } = this.#core.state.plan;
    yield* until({
      facts: inPulses,
      skippable: true,
      met: (frame) => {
        const driven = this.#isDriven(frame);
        if (driven !== true) return driven;
        if (Number.isNaN(this.#seenAt)) this.#seenAt = frame.at;
        return frame.at - this.#seenAt >= settleS;
      },
      dueAfter: Math.min(readBackTimeout, settleS + clockSlack),
      overdue: (since) => {
        if (Number.isNaN(this.#seenAt)) return since > readBackTimeout && this.#reject('The pulses that were asked for were not seen to begin.');
        return since > settleS + clockSlack && this.#reject('The clock of the controller did not go on while the flow settled.');
      },
      waitingFor: () => ({ text: 'flow settled', value: this.#core.frame === null || Number.isNaN(this.#seenAt) ? 0 : this.#core.frame.at - this.#seenAt, low: settleS, high: null, unit: 's' }),
    });
    this.#core.step('measure');
    if (this.#core.frame !== null) this.#window.add(this.#core.frame);
  }

  /** The window, until it has the time and the edges that it needs or may take no longer. */
  *#fillWindow(): Procedure {
    const { plan } = this.#core.state;
    const look = this.#point.role === 'look';
    const minS = look ? plan.look.windowS : plan.window.minS;
    const minEdges = look ? lookEdges : pairEdges(plan.window.minEdges, this.#point.role);
    const window = this.#window;
    const most = this.#windowMax;
    const least = Math.min(minS, most);
    yield* until({
      facts: inPulses,
      met: (frame) => {
        const driven = this.#isDriven(frame);
        if (driven !== true) return driven;
        window.add(frame);
        if (!window.lasts(least)) return false;
        // A window that cannot be judged is none: where frames are few it goes on until its halves can be compared (RUN-47).
        return window.lasts(most) || (window.edges >= minEdges && (look || window.tellsHalves));
      },
      dueAfter: this.#windowMax + clockSlack,
      overdue: () => this.#reject('The clock of the controller did not go on inside the window.'),
      waitingFor: () => ({ text: 'meter edges', value: window.edges, low: minEdges, high: null, unit: 'edges' }),
    });
  }

  /** After the last pulses of a first look (RUN-136): the rail fills up, then whatever flows is not shut off. */
  *#shut(): Procedure<Criterion> {
    const { plan, equipment } = this.#core.state;
    const counted: BenchFrame[] = [];
    const span = () => (this.#core.frame?.at ?? Number.NaN) - (counted[0]?.at ?? Number.NaN);
    const began = this.#core.now;
    yield* until({
      facts: shutting,
      met: (frame) => {
        if (this.#core.now - began >= shutGraceS) counted.push(frame);
        return span() >= shutSpanS;
      },
      dueAfter: shutGraceS + shutSpanS + clockSlack,
      overdue: () => this.#reject('The clock of the controller did not go on while the injector shut.'),
      waitingFor: () => ({ text: 'injector shut, meter at rest', value: counted.length === 0 ? 0 : span(), low: shutSpanS, high: null, unit: 's' }),
    });
    const edges = (counted[counted.length - 1]?.edges ?? Number.NaN) - (counted[0]?.edges ?? Number.NaN);
    return shutCriterion(edges, span(), plan, equipment);
  }

  /** The pulses of the point go on (RUN-45, RUN-46); false: they were not seen to begin yet. */
  #isDriven(frame: BenchFrame): boolean | Leave {
    if (this.#burst?.isOf(frame) !== true) {
      return Number.isNaN(this.#seenAt) ? false : this.#reject('Another pulse train took the place of the one that was asked for.');
    }
    if (!frame.burst.active) return this.#reject(`The pulses ended after ${frame.burst.done} of ${frame.burst.commanded}, before the window was long enough.`, 'pulses-ended');
    if (this.#pulsesMove) this.#readings.standing.add(frame, this.#core.readings);
    this.#current.sum += frame.current;
    this.#current.frames += 1;
    return !Number.isNaN(this.#seenAt) && frame.at - Math.max(this.#seenAt, frame.lastEdgeAt) > this.#silentAfter ? this.#rejectSilent() : true;
  }

  /** RUN-46; the current tells a coil that is driven from one that is not there (RUN-132). */
  #rejectSilent(): Leave {
    const { channel, voltage, width, period } = this.#point;
    const mean = this.#current.sum / this.#current.frames;
    const least = ((voltage / highestCoilOhm) * Math.max(0, width - currentRise)) / period;
    const silent = `The meter gave no edge for ${this.#silentAfter.toFixed(1)} s while the injector was driven`;
    return mean < least / 3
      ? this.#reject(`${silent}, and the supply gave ${mean.toFixed(3)} A: no coil is driven on channel ${channel}. Its coil is open, its plug is off, or its driver does not switch.`, 'no-current')
      : this.#reject(`${silent} (supply current ${mean.toFixed(3)} A): the injector does not open, a valve is shut, or the meter is silent.`, 'no-flow');
  }

  #refused({ text, code }: Refused): Leave {
    return leave(() => {
      this.#settings.pulsing = false;
      this.#reject(`The controller refused the pulses: ${text} (${code}).`, `refused-${code}`).act();
    });
  }
}
