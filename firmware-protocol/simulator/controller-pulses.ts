/** The pulses of the simulated controller: one burst at a time, each pulse at its own instant. LINE-33 to LINE-38, LINE-95 */
import { U32 } from '../line/codec.ts';
import type { Request } from '../line/messages.ts';
import { range, type RefusedRequest } from './controller-answers.ts';
import { SAFETY, TIMING } from './controller-facts.ts';
import type { Misbehaviours } from './misbehaviour.ts';
import type { PlantPort } from './plant/plant-port.ts';

/** From the acceptance of a burst to its first pulse. */
const FIRST_PULSE_US = 1_000;
/** Into a pulse at which its current is looked at (LINE-95). */
const INTO_PULSE_US = 500;
const NEVER = Number.POSITIVE_INFINITY;

export type PulsesRequest = Extract<Request, { word: 'burst' }>;

interface Burst {
  readonly number: number;
  readonly channel: number;
  readonly widthUs: number;
  readonly periodUs: number;
  readonly commanded: number;
  /** Pulses that will be started at most; `halt` lowers it. */
  planned: number;
  started: number;
  done: number;
  active: boolean;
}

/** Times in us of the bench; NEVER: it does not fall due. */
export class ControllerPulses {
  /** Bursts accepted since the controller was made, over all its resets. */
  accepted = 0;
  burst: Burst | null = null;
  nextStart = NEVER;
  nextEnd = NEVER;
  nextLook = NEVER;
  /** End of the pulse last begun; the plant's drivers cannot cut one, so also after a burst was ended by force. */
  drivenUntil = 0;
  #nextNumber = 1;
  readonly #plant: PlantPort;
  readonly #channels: number;
  readonly #misbehaves: Misbehaviours;

  constructor(plant: PlantPort, channels: number, misbehaves: Misbehaviours) {
    this.#plant = plant;
    this.#channels = channels;
    this.#misbehaves = misbehaves;
  }

  get active(): boolean {
    return this.burst?.active === true;
  }

  /** The controller starts: its bursts are numbered anew. */
  restart(): void {
    this.burst = null;
    this.#nextNumber = 1;
  }

  /** By force. */
  stop(): void {
    this.nextStart = NEVER;
    this.nextEnd = NEVER;
    this.nextLook = NEVER;
    if (this.burst !== null) this.burst.active = false;
  }

  /** LINE-38: no pulse starts any more, the one in progress runs to its end. */
  halt(): void {
    const { burst } = this;
    if (burst?.active !== true) return;
    this.nextStart = NEVER;
    burst.planned = burst.started;
    if (burst.done === burst.started) burst.active = false;
  }

  /** The width as the timer's ticks give it, and why the request cannot be carried out whatever the state; null: it can. */
  fit(request: PulsesRequest): { readonly unfit: RefusedRequest | null; readonly widthNs: number } {
    const { channel, periodUs, count } = request;
    const { tickNs } = TIMING;
    const widthNs = Math.floor((this.#misbehaves.width(request.widthNs) + tickNs / 2) / tickNs) * tickNs;
    const unfit = (): RefusedRequest | null => {
      if (channel < 1 || channel > this.#channels) return range('channel', 1, this.#channels);
      if (request.widthNs < TIMING.minWidthNs || request.widthNs > TIMING.maxWidthNs) return range('width-ns', TIMING.minWidthNs, TIMING.maxWidthNs);
      if (periodUs < TIMING.minPeriodUs || periodUs > TIMING.maxPeriodUs) return range('period-us', TIMING.minPeriodUs, TIMING.maxPeriodUs);
      if (count < 1 || count > TIMING.maxCount) return range('count', 1, TIMING.maxCount);
      return widthNs > periodUs * 1_000 ? { refused: 'range', text: 'The pulse is longer than its period.' } : null;
    };
    return { unfit: unfit(), widthNs };
  }

  /** Why no burst may begin at that instant; null: one may. */
  busy(now: number): RefusedRequest | null {
    if (this.burst?.active === true) return { refused: 'busy', text: `Burst ${this.burst.number} is still active; wait for it or halt it.` };
    return now < this.drivenUntil ? { refused: 'busy', text: 'The last pulse of the burst before is not over yet.' } : null;
  }

  /** The number of the burst. */
  begin({ channel, periodUs, count }: PulsesRequest, widthNs: number, now: number): number {
    const number = this.#nextNumber;
    this.burst = { number, channel, widthUs: widthNs / 1_000, periodUs, commanded: count, planned: count, started: 0, done: 0, active: true };
    this.nextStart = Math.ceil(now) + FIRST_PULSE_US;
    this.#nextNumber = number === U32 ? 1 : number + 1;
    this.accepted += 1;
    return number;
  }

  /** A pulse, at its instant. */
  start(now: number): void {
    const burst = this.#running();
    this.#plant.pulse(this.#misbehaves.driven(burst.channel), now, burst.widthUs);
    burst.started += 1;
    this.nextEnd = now + burst.widthUs;
    this.drivenUntil = this.nextEnd;
    // LINE-95. One that is shorter is looked at before its end.
    if (this.#plant.drivenMa(burst.channel) > SAFETY.tripMa) this.nextLook = now + Math.min(INTO_PULSE_US, burst.widthUs / 2);
    this.nextStart = burst.started < burst.planned ? now + burst.periodUs : NEVER;
  }

  end(): void {
    const burst = this.#running();
    this.nextEnd = NEVER;
    burst.done += 1;
    if (burst.done === burst.planned) burst.active = false;
  }

  /** What the timers were set to. */
  echo(): { readonly number: number; readonly channel: number; readonly widthNs: number; readonly periodUs: number; readonly count: number } {
    const { burst } = this;
    if (burst === null) return { number: 0, channel: 0, widthNs: 0, periodUs: 0, count: 0 };
    return { number: burst.number, channel: this.#misbehaves.echoed(burst.channel), widthNs: burst.widthUs * 1_000, periodUs: burst.periodUs, count: burst.commanded };
  }

  #running(): Burst {
    if (this.burst === null) throw new Error('a pulse fell due without a burst');
    return this.burst;
  }
}
