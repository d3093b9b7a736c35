/**
 * Work on the bench by hand, outside a run: a supply, a pressure, a counted burst. It is watched like a run, by the same
 * guards and with the limits that a plan has by default; every guard makes safe and nothing goes on by itself after it.
 *
 * It is silent towards the bench until something is asked for, so it may stand beside a run that drives.
 */
import { openInterlockWords } from '../../app/bench/interlocks.ts';
import type { BenchFrame, BenchReply, BenchRequest } from '../../app/bench/port.ts';
import type { ManualView } from '../../app/contract/bench-requests.ts';
import { planSchema, type Guard } from '../../app/plan/plan.ts';
import { milliseconds, kilopascals, toKilopascals, toMilliseconds, volts } from '../../app/quantities/quantity.ts';
import { idleCurrentText, idleCurrentTimeout } from '../../app/run/idle-current.ts';
import { Guards, guardText, type GuardedWork } from '../../app/run/guards.ts';
import { madeSafeText } from '../../app/run/safe-words.ts';
import type { Bench, BenchLinkEvent } from '../bench/driver.ts';
import type { Clock } from '../clock/clock.ts';
import { isDriven, isEnergised } from './driven.ts';

export interface ManualAnswer {
  readonly accepted: boolean;
  readonly reason: string;
}

export interface ManualBurst {
  readonly channel: number;
  readonly widthMs: number;
  readonly periodMs: number;
  readonly count: number;
}

const { condition, supply: supplyLimits, limits } = {
  condition: planSchema.shape.condition.parse({}),
  supply: planSchema.shape.supply.parse({}),
  limits: planSchema.shape.limits.parse({}),
};

/** Three times the tolerance in which a point is begun. */
const PRESSURE_DEVIATION_KPA = 3 * condition.pressureToleranceKpa;
/** Above what the bench can be asked for; or, where pressure is set by hand, the highest that manual work is meant for. */
const OVER_PRESSURE_FACTOR = 1.1;
const HIGHEST_HAND_SET_KPA = 650;
/** Below the trip of the reference controller (5 A). */
const HIGHEST_CURRENT_A = 4;
const SUPPLY_DEVIATION_V = 0.3;
/** Without a frame for this long, nothing is known of the bench. */
const STALE_S = 1;

function manualGuards(bench: Bench): readonly Guard[] {
  const { pressure } = bench.capabilities;
  const highest = pressure.commandable ? toKilopascals(pressure.max) * OVER_PRESSURE_FACTOR : HIGHEST_HAND_SET_KPA;
  const temperature = { low: condition.temperatureMinC, high: condition.temperatureMaxC, hysteresis: 1, dwellS: 2 };
  const guard = (g: Pick<Guard, 'id' | 'signal' | 'hysteresis' | 'dwellS'> & { low?: number; high?: number }): Guard => ({ ...g, level: 'trip', maxResumes: 0, clearS: 0 });
  return [
    guard({ id: 'rail-pressure', signal: 'pressure-deviation-kpa', low: -PRESSURE_DEVIATION_KPA, high: PRESSURE_DEVIATION_KPA, hysteresis: 4, dwellS: 0.5 }),
    guard({ id: 'over-pressure', signal: 'pressure-kpa', high: highest, hysteresis: 10, dwellS: 0.5 }),
    guard({ id: 'rail-temperature', signal: 'rail-temperature-c', ...temperature }),
    guard({ id: 'meter-temperature', signal: 'meter-temperature-c', ...temperature }),
    guard({ id: 'supply-off', signal: 'supply-deviation-v', low: -SUPPLY_DEVIATION_V, high: SUPPLY_DEVIATION_V, hysteresis: 0.1, dwellS: 1 }),
    guard({ id: 'over-current', signal: 'current-a', high: HIGHEST_CURRENT_A, hysteresis: 0.5, dwellS: 0.2 }),
  ];
}

/** What was asked of the bench and is to be held. */
interface Asked {
  supply: number | null;
  /** The supply has been in tolerance since it was set. */
  supplySeen: boolean;
  burst: ManualBurst | null;
  /** The controller's number of the burst before, and whether the new one was seen. */
  burstBefore: number;
  burstSeen: boolean;
  armedSeen: boolean;
}

const nothingAsked = (): Asked => ({ supply: null, supplySeen: false, burst: null, burstBefore: 0, burstSeen: false, armedSeen: false });

const yes = (reason: string): ManualAnswer => ({ accepted: true, reason });
const no = (reason: string): ManualAnswer => ({ accepted: false, reason });

export class ManualBench {
  readonly #bench: Bench;
  readonly #clock: Clock;
  readonly #guards: Guards;
  /** Since when current flows with nothing driven; null: none does. */
  #currentSince: number | null = null;
  readonly #unlisten: () => void;
  #frame: BenchFrame | null = null;
  #frameAt = Number.NEGATIVE_INFINITY;
  /** Something was asked for since the bench was last made safe. */
  #engaged = false;
  #asked = nothingAsked();
  #pressure: number | null = null;
  /** Ends what is being asked at the moment; null: nothing is. */
  #sequence: AbortController | null = null;
  #making: Promise<ManualAnswer> | null = null;
  #said = 'Nothing is driven.';

  constructor(bench: Bench, clock: Clock) {
    this.#bench = bench;
    this.#clock = clock;
    this.#guards = new Guards(manualGuards(bench), this.#work());
    this.#unlisten = bench.listen({
      onFrame: (frame) => {
        this.#onFrame(frame);
      },
      onLink: (event) => {
        this.#onLink(event);
      },
    });
  }

  /** Whether the bench has to be made safe before anything else uses it. */
  get isEngaged(): boolean {
    return this.#engaged || this.#making !== null;
  }

  /** Whether telemetry shows a bench that is armed, pulses or has its supply up. */
  get isFoundDriven(): boolean {
    return this.#frame !== null && isDriven(this.#frame, this.#bench.capabilities);
  }

  view(): ManualView {
    return {
      armed: this.#frame?.armed ?? false,
      against: this.#against() ?? '',
      doing: this.#doing(),
      set: { supplyV: this.#asked.supply, pressureKpa: this.#pressure, periodMs: this.#asked.burst?.periodMs ?? null },
    };
  }

  /** Arms if needed and sets the supply. */
  supply(target: number): Promise<ManualAnswer> {
    const { minSupply, maxSupply, safeSupply } = this.#bench.capabilities;
    if (target > maxSupply || (target < minSupply && target !== safeSupply)) {
      return Promise.resolve(no(`The supply of this bench reaches ${minSupply} to ${maxSupply} V. Nothing was set.`));
    }
    return this.#inSequence(`Setting the supply to ${target} V.`, async (ask) => {
      if (target > safeSupply) {
        await ask({ kind: 'arm' });
        if (!this.#bench.capabilities.pressure.commandable) await this.#feedRail(ask);
      }
      this.#asked.supply = target;
      this.#asked.supplySeen = false;
      await ask({ kind: 'set-supply', supply: volts(target) });
      return `The supply is set to ${target} V.`;
    });
  }

  get #feedsRail(): boolean {
    const { rail } = this.#bench.capabilities;
    return rail !== undefined && (rail.pump || rail.relief);
  }

  /** The pump runs only on an armed bench, so that the dead-man stops it. */
  async #feedRail(ask: (request: BenchRequest) => Promise<void>): Promise<void> {
    if (this.#feedsRail) await ask({ kind: 'pump', on: true });
  }

  /** Arms and enables the pump if needed, and sets the regulator. */
  pressure(kpa: number): Promise<ManualAnswer> {
    const { pressure } = this.#bench.capabilities;
    if (!pressure.commandable) return Promise.resolve(no('This bench cannot set the rail pressure by itself. Set the regulator by hand.'));
    const target = kilopascals(kpa);
    if (target < pressure.min || target > pressure.max) {
      return Promise.resolve(no(`The regulator of this bench reaches ${toKilopascals(pressure.min)} to ${toKilopascals(pressure.max)} kPa. Nothing was set.`));
    }
    return this.#inSequence(`Setting the rail pressure to ${kpa} kPa.`, async (ask) => {
      if (this.#feedsRail) await ask({ kind: 'arm' });
      await this.#feedRail(ask);
      this.#pressure = kpa;
      await ask({ kind: 'set-pressure', pressure: target });
      return `The rail pressure is set to ${kpa} kPa.`;
    });
  }

  /** Drives a counted pulse train; the controller times it. A burst that is going on is not replaced. */
  burst(burst: ManualBurst): Promise<ManualAnswer> {
    const refusal = this.#againstBurst(burst);
    if (refusal !== null) return Promise.resolve(no(refusal));
    const { channel, widthMs, periodMs, count } = burst;
    return this.#inSequence(`Starting ${count} pulses on channel ${channel}.`, async (ask) => {
      this.#asked.burst = burst;
      this.#asked.burstSeen = false;
      this.#asked.burstBefore = this.#frame?.burst.number ?? 0;
      await ask({ kind: 'burst', channel, width: milliseconds(widthMs), period: milliseconds(periodMs), count });
      return `${count} pulses of ${widthMs} ms every ${periodMs} ms were started on channel ${channel}.`;
    });
  }

  /** Takes back a fault that the controller has latched, once a person has removed its cause. */
  async clearFaults(): Promise<ManualAnswer> {
    if (this.#sequence !== null) return no(`${this.#said} Wait until that is done.`);
    const reply = await this.#bench.perform({ kind: 'clear-faults' });
    if (reply.kind === 'done') this.#said = 'The faults were cleared. The bench is disarmed.';
    return reply.kind === 'done' ? yes(this.#said) : no(reply.text);
  }

  /** Pulsing off, supply to its safe value, disarmed, at once: what is being asked meanwhile gives way. */
  makeSafe(why: string): Promise<ManualAnswer> {
    this.#sequence?.abort(new Error('The bench is being made safe.'));
    this.#asked = nothingAsked();
    // A bench that commands its rail gives the pressure up.
    if (this.#bench.capabilities.rail !== undefined) this.#pressure = null;
    this.#engaged = true;
    this.#said = `${why} The bench is being made safe.`;
    const making = this.#bench.perform({ kind: 'make-safe' }).then((reply): ManualAnswer => {
      if (this.#making === making) this.#making = null;
      if (reply.kind === 'done') {
        if (this.#making === null && this.#sequence === null) this.#engaged = false;
      }
      this.#said = `${why} ${madeSafeText(reply, this.#bench.capabilities.rail !== undefined)}`;
      return reply.kind === 'done' ? yes(this.#said) : no(this.#said);
    });
    this.#making = making;
    return making;
  }

  /** Makes safe if anything was asked for since it was last. */
  leave(why: string): Promise<ManualAnswer> {
    return this.isEngaged ? this.makeSafe(why) : Promise.resolve(yes('The bench was not driven by hand.'));
  }

  /** Stops watching. Asks nothing of the bench: `leave` does. */
  close(): void {
    this.#sequence?.abort(new Error('The work by hand was ended.'));
    this.#unlisten();
  }

  /** Why nothing can be driven now; null: it can. */
  #against(): string | null {
    if (this.#bench.downReason !== null) return `The link to the bench is down. ${this.#bench.downReason}`;
    const frame = this.#frame;
    if (frame === null || this.#now() - this.#frameAt > STALE_S) return 'There is no fresh telemetry from the bench. Wait for it, or look at the link.';
    if (frame.fault !== null) return `The controller has latched a fault. ${frame.fault.text} Find its cause, then clear it.`;
    const open = this.#bench.capabilities.interlocks.filter((_, bit) => (frame.interlocks & (1 << bit)) === 0);
    if (open.length > 0) {
      const { found, first } = openInterlockWords(open);
      return `${found} ${first}`;
    }
    return this.#guards.notClear(frame);
  }

  #againstBurst({ channel, widthMs, periodMs, count }: ManualBurst): string | null {
    const c = this.#bench.capabilities;
    const inside = (value: number, low: number, high: number): boolean => value >= low && value <= high;
    if (channel > c.channels) return `This bench has driver channels 1 to ${c.channels}; there is no channel ${channel}.`;
    if (!inside(milliseconds(widthMs), c.minWidth, c.maxWidth)) return `The controller times pulses of ${toMilliseconds(c.minWidth)} to ${toMilliseconds(c.maxWidth)} ms. Nothing was driven.`;
    if (!inside(milliseconds(periodMs), c.minPeriod, c.maxPeriod)) return `The controller times periods of ${toMilliseconds(c.minPeriod)} to ${toMilliseconds(c.maxPeriod)} ms. Nothing was driven.`;
    const duty = (100 * widthMs) / periodMs;
    if (duty > limits.dutyPercent * (1 + 1e-9)) return `${widthMs} ms in ${periodMs} ms is a duty of ${duty.toFixed(1)} %; up to ${limits.dutyPercent} % is allowed. Make the period longer or the pulse shorter.`;
    if (count > c.maxCount) return `The controller counts to ${c.maxCount} pulses. Ask for fewer.`;
    const frame = this.#frame;
    const { supply } = this.#asked;
    if (supply === null || supply <= c.safeSupply) return 'No supply is set, so an injector could not open. Set the supply first.';
    if (frame === null) return null;
    if (frame.burst.active) return 'The burst before is still going on. Wait for its end, or make safe.';
    if (frame.current > supplyLimits.idleCurrentA) return `${idleCurrentText(frame.current, supplyLimits.idleCurrentA)} Nothing was driven.`;
    if (Math.abs(frame.supply - supply) > SUPPLY_DEVIATION_V) return `The supply is at ${frame.supply.toFixed(2)} V and not yet at ${supply} V. Wait a moment and try again.`;
    if (this.#pressure !== null) {
      const pressure = toKilopascals(frame.pressure);
      if (Math.abs(pressure - this.#pressure) > condition.pressureToleranceKpa) return `The rail pressure is ${pressure.toFixed(1)} kPa and not yet at ${this.#pressure} kPa (+/- ${condition.pressureToleranceKpa} kPa). Wait a moment and try again.`;
    }
    return null;
  }

  /** One at a time; whatever fails in it ends in the safe state, because half of what was asked for may stand. */
  async #inSequence(doing: string, steps: (ask: (request: BenchRequest) => Promise<void>) => Promise<string>): Promise<ManualAnswer> {
    if (this.#sequence !== null) return no(`${this.#said} Wait until that is done.`);
    if (this.#making !== null) return no('The bench is being made safe. Wait until that is done.');
    const against = this.#against();
    if (against !== null) return no(against);
    const sequence = new AbortController();
    this.#sequence = sequence;
    this.#engaged = true;
    this.#said = doing;
    const { signal } = sequence;
    try {
      this.#said = await steps(async (request) => {
        const reply: BenchReply = signal.aborted ? { kind: 'no-answer', text: '' } : await this.#bench.perform(request, signal);
        // A withdrawn request may have been answered all the same.
        if (signal.aborted) throw new GaveUp('It gave way, because the bench is being made safe.');
        if (reply.kind !== 'done') throw new GaveUp(reply.text);
      });
      return yes(this.#said);
    } catch (error) {
      if (!(error instanceof GaveUp)) throw error;
      if (!signal.aborted) void this.makeSafe(error.message);
      return no(`${error.message} The bench is being made safe.`);
    } finally {
      this.#sequence = null;
    }
  }

  // eslint-disable-next-line complexity -- what is looked at with every frame, in its order
  #onFrame(frame: BenchFrame): void {
    const now = this.#now();
    this.#frame = frame;
    this.#frameAt = now;
    const asked = this.#asked;
    if (asked.supply !== null && Math.abs(frame.supply - asked.supply) <= supplyLimits.toleranceV) asked.supplySeen = true;
    if (asked.burst !== null && frame.burst.number !== asked.burstBefore) asked.burstSeen = true;
    const ended = asked.burst !== null && asked.burstSeen && !frame.burst.active;
    if (ended && asked.burst !== null) {
      this.#said = `${frame.burst.done} of ${asked.burst.count} pulses were driven on channel ${asked.burst.channel}.`;
      asked.burst = null;
    }
    const tripped: string[] = [];
    this.#guards.check(frame, now, (guard, _, { active }, value) => {
      if (active) tripped.push(`${guardText(guard, value)}.`);
      return false;
    });
    if (!this.#engaged || this.#making !== null) return;
    if (frame.fault !== null) tripped.unshift(frame.fault.text);
    else if (asked.armedSeen && !frame.armed) tripped.unshift('The controller disarmed itself and gives no reason.');
    if (frame.burst.done > frame.burst.commanded) tripped.unshift(`The controller counted ${frame.burst.done} pulses where ${frame.burst.commanded} were commanded.`);
    const idle = asked.burst === null && !frame.burst.active && frame.current > supplyLimits.idleCurrentA;
    this.#currentSince = idle ? (this.#currentSince ?? now) : null;
    if (this.#currentSince !== null && now - this.#currentSince > idleCurrentTimeout) tripped.unshift(idleCurrentText(frame.current, supplyLimits.idleCurrentA));
    if (frame.burst.active && asked.burst === null) tripped.unshift('The controller drives an injector that nobody asked for.');
    if (frame.armed) asked.armedSeen = true;
    const [first] = tripped;
    if (first !== undefined) void this.makeSafe(first);
  }

  #onLink(event: BenchLinkEvent): void {
    this.#frame = null;
    this.#frameAt = Number.NEGATIVE_INFINITY;
    if (!this.#engaged) return;
    // Nothing that was set is taken to hold after a loss; making safe waits for the link as long as it may.
    if (event.state === 'down') void this.makeSafe('The link to the bench was lost.');
    else if (this.#making === null) void this.makeSafe('The link to the bench was lost and is back.');
  }

  /** What guards have to know of what is asked: a pressure is held only while a burst draws on it. */
  #work(): GuardedWork {
    const ofPressure = () => (this.#asked.burst === null ? null : this.#pressure);
    const ofSupply = () => (this.#asked.supplySeen ? this.#asked.supply : null);
    return {
      get pressureKpa() {
        return ofPressure() ?? Number.NaN;
      },
      get supplyV() {
        return ofSupply() ?? Number.NaN;
      },
      idleFlow: Number.NaN,
    };
  }

  #doing(): string {
    const frame = this.#frame;
    const { burst } = this.#asked;
    if (burst !== null && frame?.burst.active === true) return `Firing ${burst.count} pulses on channel ${burst.channel}: ${frame.burst.done} done.`;
    if (!this.#engaged && frame !== null && isEnergised(frame, this.#bench.capabilities)) return `${this.#said} The supply is still running down.`;
    return this.#said;
  }

  #now(): number {
    return this.#clock.now() / 1000;
  }
}

class GaveUp extends Error {}
