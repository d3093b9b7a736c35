/**
 * A bench as the run engine wants it, spoken to over a link. The driver translates, confirms and reconnects; it decides
 * nothing: after a loss of the link or a restart of the controller nothing is armed, set or started anew by it.
 */
import type { BenchCapabilities, BenchFault, BenchFrame, BenchIdentity, BenchReply, BenchRequest, BurstRequest } from '../../app/bench/port.ts';
import { deadManText } from '../../app/run/safe-words.ts';
import {
  amperes, celsius, microseconds, milliseconds, pascals, seconds, toMicroseconds, toMilliseconds, volts,
} from '../../app/quantities/quantity.ts';
import { faultText } from '../../firmware-protocol/line/fault-texts.ts';
import type { Reply, Request, Telemetry } from '../../firmware-protocol/line/messages.ts';
import { wait, type Clock } from '../clock/clock.ts';
import { newToken, type Entropy } from '../clock/entropy.ts';
import type { Channel, ChannelSource, OpenResult } from '../link/channel.ts';
import { Link, type LinkAnswer, type LinkStatistics } from '../link/link.ts';

export type BenchLinkEvent =
  /** Again while it is down: why the bench does not come back, once for each cause that a person has to see to. */
  | { readonly state: 'down'; readonly reason: string }
  /** The bench is there again; a boot id other than before says that its controller has forgotten everything. */
  | { readonly state: 'up'; readonly reason: string; readonly bootId: string };

/** What a plan chooses of the conversation. */
interface LinkSettings {
  readonly deadManMs: number;
  readonly telemetryHz: number;
}

interface BenchListener {
  readonly onFrame: (frame: BenchFrame) => void;
  readonly onLink: (event: BenchLinkEvent) => void;
}

export interface ConnectOptions extends LinkSettings {
  readonly channels: ChannelSource;
  readonly clock: Clock;
  /** Only this bench will do (the continuation of a run). */
  readonly expected?: Pick<BenchIdentity, 'model' | 'serialNumber'>;
  /** Listens from the first frame on, as with `listen`. */
  readonly onFrame?: (frame: BenchFrame) => void;
  readonly onLink?: (event: BenchLinkEvent) => void;
  /** Ends the attempt to connect. */
  readonly signal?: AbortSignal;
  /** Where the name of each conversation comes from (LINE-8). */
  readonly entropy: Entropy;
}

export interface Bench {
  readonly identity: BenchIdentity;
  readonly capabilities: BenchCapabilities;
  /** For people: over what the bench is reached. */
  readonly link: string;
  /** Of the present conversation. */
  readonly bootId: string;
  /** Why the bench is not connected at present, while it is looked for; null: it is. */
  readonly downReason: string | null;
  /** Every frame and every change of the link from now on; returns how to stop listening. */
  listen(listener: BenchListener): () => void;
  /** Sets dead-man and telemetry rate for the rest of the connection; refused outside what the bench allows. */
  configure(settings: LinkSettings, signal?: AbortSignal): Promise<BenchReply>;
  /**
   * Resolves within a bounded time and never rejects for anything the bench or the line does. An aborted signal
   * resolves as `no-answer`. Throws RangeError for a value that is no number.
   */
  perform(request: BenchRequest, signal?: AbortSignal): Promise<BenchReply>;
  /** Counts of the present conversation; null while the link is down. */
  statistics(): LinkStatistics | null;
  /** Ends the conversation and the search for a lost bench. Makes nothing safe: that is asked for before. */
  close(): Promise<void>;
}

type ConnectFailureCode =
  | Exclude<OpenResult, { ok: true }>['code']
  | 'no-answer' | 'refused' | 'protocol' | 'capabilities' | 'other-bench' | 'dead-man-range' | 'telemetry-range' | 'cancelled';

export interface ConnectFailure {
  readonly ok: false;
  readonly code: ConnectFailureCode;
  readonly text: string;
}

const PROTOCOL = 1;

/** The controller answers within 50 ms (LINE-12), behind at most one frame of 31 ms at 115 200 baud. */
const REPLY_TIMEOUT_MS = 200;
const REQUEST_DEADLINE_MS = 2000;
/** A board that starts anew when its port is opened may need seconds to its first answer. */
const HELLO_DEADLINE_MS = 4000;
/** From the request to the telemetry frame that proves it, with the supply running down. */
const MAKE_SAFE_DEADLINE_MS = 5000;
/** The heartbeat comes this many times within the dead-man's time, so that single lost lines do not matter. */
const HEARTBEATS_PER_DEAD_MAN = 4;
/** The link is called down after the dead-man's time, but not sooner than this: an operating system may doze. */
const MIN_SILENCE_MS = 1000;
const FRAMES_MISSED = 10;
/** An answer that took longer than this, by either clock, is none about now: the computer may have been suspended before it was read. */
const FRESH_ANSWER_MS = 2000;
const LAST_LOOK_MS = 100;
const SEARCH_PAUSE_MIN_MS = 250;
const SEARCH_PAUSE_MAX_MS = 2000;
/** Between two looks at a bench that answers and sends nothing that can be used, or that comes and goes. Its dead-man acts meanwhile. */
const UNFIT_PAUSE_MAX_MS = 60_000;
/** A bench that was there for less than this came and went. */
const STABLE_MS = 10_000;
/** Why a bench is not back that only a person can change. */
const forAPerson: ReadonlySet<string> = new Set(['other-bench', 'protocol', 'capabilities', 'refused', 'busy', 'boot-id', 'not-understood', 'no-frames']);
/** The controller's dead-man acts at most 50 ms late (LINE-55). */
const DEAD_MAN_MARGIN_MS = 100;
/** How near the supply must be to its safe value to be called safe. */
const SAFE_SUPPLY_TOLERANCE = volts(0.5);

interface Conversation {
  readonly ok: true;
  readonly identity: BenchIdentity;
  readonly capabilities: BenchCapabilities;
  readonly bootId: string;
  /** The controller can say what a burst drives (LINE-90). */
  readonly echoes: boolean;
}

const failure = (code: ConnectFailureCode, text: string): ConnectFailure => ({ ok: false, code, text });

/**
 * Connects to a bench: opens a channel, asks who is there and what it can do, and sets its dead-man and telemetry.
 * Resolves within a bounded time, with the bench or with the reason in sentences; never rejects for what line or bench do.
 */
export async function connectBench(options: ConnectOptions): Promise<{ readonly ok: true; readonly bench: Bench } | ConnectFailure> {
  let last: ConnectFailure = failure('absent', 'There is no bench to connect to. Name the port that the bench is connected to.');
  for (const channel of await options.channels('connect')) {
    if (options.signal?.aborted === true) return failure('cancelled', 'Connecting was cancelled; the bench was asked nothing further.');
    const result = await BenchDriver.over(channel, options);
    if (result.ok) return result;
    last = result;
  }
  return last;
}

/** Where the frames and the end of a link go, until and after there is a driver to take them. */
interface LinkEars {
  onTelemetry: (telemetry: Telemetry) => void;
  onDown: (reason: string) => void;
}

const timingOf = ({ deadManMs }: LinkSettings) => ({
  heartbeatMs: deadManMs / HEARTBEATS_PER_DEAD_MAN,
  silenceMs: Math.max(deadManMs, MIN_SILENCE_MS),
});

const settingRequests = ({ deadManMs, telemetryHz }: LinkSettings) =>
  [{ word: 'deadman', ms: Math.round(deadManMs) }, { word: 'telemetry', hz: Math.round(telemetryHz) }] as const;

async function openLink(channel: Channel, options: ConnectOptions, ears: LinkEars): ReturnType<typeof Link.open> {
  return Link.open(channel, {
    clock: options.clock,
    replyTimeoutMs: REPLY_TIMEOUT_MS,
    ...timingOf(options),
    onTelemetry: (telemetry) => {
      ears.onTelemetry(telemetry);
    },
    onDown: (reason) => {
      ears.onDown(reason);
    },
  });
}

class BenchDriver implements Bench {
  readonly identity: BenchIdentity;
  readonly capabilities: BenchCapabilities;
  link: string;
  bootId: string;
  #options: ConnectOptions;
  readonly #listeners = new Set<BenchListener>();
  readonly #closing = new AbortController();
  #link: Link;
  #echoes: boolean;
  #up = true;
  /** Why the link is down; only read while it is. */
  #downReason = '';
  #lastFrame = -1;
  #lastFrameAt: number;
  #cancelFrameWatch: () => void = () => undefined;
  #fault: BenchFault | null = null;
  /** Takes frames while the bench does not count as back. */
  #awaited: ((telemetry: Telemetry) => void) | null = null;
  /** The search found a bench that answers and cannot be used. */
  #unfit = false;
  #upSince: number;
  /** How often running the bench was there for a moment only. */
  #comings = 0;
  /** Why the bench does not come back, as far as it was told in this outage. */
  readonly #told = new Set<string>();
  /** Until then the bench is to be made safe. */
  #safeUntil = Number.NEGATIVE_INFINITY;
  /** Called after every frame and every change of the link. */
  readonly #watchers = new Set<(frame: BenchFrame | null) => void>();

  private constructor(channel: Channel, link: Link, ears: LinkEars, conversation: Conversation, options: ConnectOptions) {
    this.identity = conversation.identity;
    this.capabilities = conversation.capabilities;
    this.bootId = conversation.bootId;
    this.#echoes = conversation.echoes;
    this.link = channel.description;
    this.#options = options;
    this.#listeners.add({ onFrame: options.onFrame ?? (() => undefined), onLink: options.onLink ?? (() => undefined) });
    this.#link = link;
    this.#lastFrameAt = this.#upSince = options.clock.now();
    this.#listen(link, ears);
    this.#watchFrames();
  }

  static async over(channel: Channel, options: ConnectOptions): Promise<{ readonly ok: true; readonly bench: Bench } | ConnectFailure> {
    const ears: LinkEars = { onTelemetry: () => undefined, onDown: () => undefined };
    const opened = await openLink(channel, options, ears);
    if (!opened.ok) return opened;
    const conversation = await converse(opened.link, channel.description, options, options.expected, options.signal);
    if (!conversation.ok) {
      await opened.link.close();
      return conversation;
    }
    return { ok: true, bench: new BenchDriver(channel, opened.link, ears, conversation, options) };
  }

  async perform(request: BenchRequest, signal?: AbortSignal): Promise<BenchReply> {
    switch (request.kind) {
      case 'make-safe':
        return this.#makeSafe(signal);
      case 'keep-silent':
        return this.#keepSilent(toMilliseconds(request.duration), signal);
      case 'burst':
        return this.#burst(request, signal);
      case 'arm':
        return asBenchReply(await this.#ask({ word: 'arm' }, signal));
      case 'set-supply':
        return asBenchReply(await this.#ask({ word: 'supply', mv: Math.round(request.supply * 1e3) }, signal));
      case 'set-pressure':
        return asBenchReply(await this.#ask({ word: 'pressure', pa: Math.round(request.pressure) }, signal));
      case 'stop-burst':
        return asBenchReply(await this.#ask({ word: 'halt' }, signal));
      case 'clear-faults':
        return asBenchReply(await this.#ask({ word: 'clear' }, signal));
      case 'pump':
        return this.#askRail({ word: 'pump', on: request.on }, signal);
      case 'shut-off':
        return this.#askRail({ word: 'shut-off', shut: request.shut }, signal);
      case 'keep-pressure':
        return this.#askRail({ word: 'keep-pressure' }, signal);
    }
  }

  get downReason(): string | null {
    return this.#up ? null : this.#downReason;
  }

  listen(listener: BenchListener): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  async configure({ deadManMs, telemetryHz }: LinkSettings, signal?: AbortSignal): Promise<BenchReply> {
    const outside = outsideLimits({ deadManMs, telemetryHz }, this.capabilities);
    if (outside !== null) return { kind: 'refused', code: 'range', text: outside.text };
    const before = this.#options;
    // The host beats at the quicker of the two rates while the change is under way.
    this.#settle({ deadManMs: Math.min(deadManMs, before.deadManMs), telemetryHz: before.telemetryHz });
    for (const request of settingRequests({ deadManMs, telemetryHz })) {
      const answer = await this.#ask(request, signal);
      if (answer.kind !== 'reply') return asBenchReply(answer);
    }
    this.#settle({ deadManMs, telemetryHz });
    return { kind: 'done' };
  }

  #settle(settings: LinkSettings): void {
    this.#options = { ...this.#options, ...settings };
    this.#link.setTiming(timingOf(settings));
    this.#cancelFrameWatch();
    this.#lastFrameAt = Math.max(this.#lastFrameAt, this.#options.clock.now());
    this.#watchFrames();
  }

  statistics(): LinkStatistics | null {
    return this.#up ? this.#link.statistics : null;
  }

  async close(): Promise<void> {
    if (this.#closing.signal.aborted) return;
    this.#closing.abort(new Error('the bench was closed'));
    this.#cancelFrameWatch();
    this.#up = false;
    this.#downReason = 'The connection to the bench was closed.';
    this.#tellWatchers(null);
    await this.#link.close();
  }

  async #ask(request: Request, signal: AbortSignal | undefined, deadlineMs = REQUEST_DEADLINE_MS): Promise<LinkAnswer> {
    if (!this.#up) return { kind: 'no-answer', unanswered: false, text: `"${request.word}" was not sent, because the bench is not connected: ${this.#downReason}` };
    const answer = await this.#link.request(request, { deadlineMs, signal });
    // LINE-71: the conversation has to begin again.
    if (answer.kind === 'refused' && (answer.code === 'no-hello' || answer.code === 'stale')) {
      const reason =
        answer.code === 'no-hello'
          ? 'The controller started anew: its outputs are off, and it has forgotten everything it was told.'
          : 'The controller took part in another conversation in between. See that no other program is connected to the bench.';
      this.#interrupted(reason, answer.code === 'no-hello');
      return { kind: 'no-answer', unanswered: false, text: reason };
    }
    if (answer.kind === 'no-answer' && answer.unanswered) this.#interrupted(answer.text);
    return answer;
  }

  /**
   * The last question of making safe, put after everything else was seen; null: the bench is there now, and has given up its
   * rail pressure (LINE-88), else why not. What a computer reads after it was suspended is as old as its sleep, and its
   * monotonic clock says nothing of that; the wall clock does. One that was set meanwhile costs another question.
   */
  async #doubtAfterAll(deadlineMs: number, signal: AbortSignal | undefined): Promise<string | null> {
    const { clock } = this.#options;
    const { rail } = this.capabilities;
    const asked = { now: clock.now(), unix: clock.unixNow() };
    const answer = await this.#ask(rail === undefined ? { word: 'alive' } : { word: 'rail' }, signal, Math.max(1, deadlineMs));
    if (answer.kind === 'no-answer') return answer.text;
    if (Math.max(clock.now() - asked.now, Math.abs(clock.unixNow() - asked.unix)) > FRESH_ANSWER_MS) {
      return 'Its last answer was read so late that it says nothing of now: this computer stood still meanwhile.';
    }
    if (rail === undefined) return null;
    const { reply } = { reply: null, ...answer };
    const givenUp = reply?.word === 'rail' && !reply.pumping && !reply.keeping && !reply.shut && (!rail.relief || reply.relieved);
    return givenUp ? null : 'It does not say that pump and relief valve are off.';
  }

  /** A controller without the extension would refuse the word as unknown; it is not troubled with it. */
  async #askRail(request: Request, signal: AbortSignal | undefined): Promise<BenchReply> {
    return this.capabilities.rail === undefined
      ? { kind: 'refused', code: 'unsupported', text: 'The controller of this bench commands no pump and no valves. Nothing was switched.' }
      : asBenchReply(await this.#ask(request, signal));
  }

  async #burst(request: BurstRequest, signal: AbortSignal | undefined): Promise<BenchReply> {
    const widthNs = Math.round(request.width * 1e9);
    const answer = await this.#ask(
      { word: 'burst', channel: request.channel, widthNs, periodUs: Math.round(toMicroseconds(request.period)), count: request.count },
      signal,
    );
    if (answer.kind === 'reply' && answer.reply.word === 'burst') {
      const driven: BenchReply = { kind: 'done', drivenWidth: seconds(answer.reply.widthNs / 1e9) };
      // The controller may round to its timer, never more: a burst of another width would be measured under a wrong name.
      if (Math.abs(answer.reply.widthNs - widthNs) > Math.ceil(this.capabilities.timerResolution * 1e9)) {
        await this.#stopBurst();
        return {
          kind: 'refused',
          code: 'width-not-kept',
          text: `The controller answered with a pulse width of ${answer.reply.widthNs / 1e6} ms in place of ${widthNs / 1e6} ms. The burst was stopped. Have the controller's firmware looked at.`,
        };
      }
      return this.#echoes ? this.#checkEcho(request, answer.reply, driven, signal) : driven;
    }
    return asBenchReply(answer);
  }

  /** LINE-90: a controller that drives another channel than it was asked for would measure one injector under another's name. */
  async #checkEcho(request: BurstRequest, { number, widthNs }: Extract<Reply, { word: 'burst' }>, driven: BenchReply, signal: AbortSignal | undefined): Promise<BenchReply> {
    const answer = await this.#ask({ word: 'echo' }, signal);
    if (answer.kind !== 'reply' || answer.reply.word !== 'echo') return asBenchReply(answer);
    const echo = answer.reply;
    const periodUs = Math.round(toMicroseconds(request.period));
    const kept =
      echo.number === number && echo.channel === request.channel && echo.widthNs === widthNs && echo.periodUs === periodUs && echo.count === request.count;
    if (kept) return driven;
    await this.#stopBurst();
    const words = (channel: number, ns: number, us: number, count: number) => `${count} pulses of ${ns / 1e6} ms every ${us / 1e3} ms on channel ${channel}`;
    return {
      kind: 'refused',
      code: 'burst-not-kept',
      text:
        `The controller drove ${words(echo.channel, echo.widthNs, echo.periodUs, echo.count)} in place of ` +
        `${words(request.channel, widthNs, periodUs, request.count)}. The burst was stopped. Have the controller looked at before anything is measured with it.`,
    };
  }

  /** LINE-38: the pulse in progress runs to its end, and a burst that is asked for meanwhile would be refused as busy. */
  async #stopBurst(): Promise<void> {
    await this.#ask({ word: 'halt' }, undefined);
    await this.#until((frame) => frame === null || !frame.burst.active, MIN_SILENCE_MS, undefined);
  }

  async #keepSilent(ms: number, signal: AbortSignal | undefined): Promise<BenchReply> {
    if (!this.#up) return { kind: 'no-answer', text: `The bench is not connected: ${this.#downReason}` };
    return (await this.#link.keepSilent(ms, signal))
      ? { kind: 'done' }
      : { kind: 'no-answer', text: 'The silence was cut short, so nothing is known of the dead-man.' };
  }

  /** Tries for as long as the deadline lasts, over a link that comes back in between too. */
  async #makeSafe(signal: AbortSignal | undefined): Promise<BenchReply> {
    const { clock } = this.#options;
    const deadline = clock.now() + MAKE_SAFE_DEADLINE_MS;
    const left = () => deadline - clock.now();
    const isWithdrawn = () => signal?.aborted === true || this.#closing.signal.aborted;
    let why = this.#downReason;
    let shown = false;
    this.#safeUntil = deadline;
    // An answer to what is asked in the last instant would come too late.
    while (left() >= REPLY_TIMEOUT_MS && !isWithdrawn()) {
      if (!this.#up) {
        await this.#until(() => this.#up, left(), signal);
        why = this.downReason ?? why;
        continue;
      }
      const answer = await this.#ask({ word: 'safe' }, signal, left());
      if (answer.kind === 'refused') return answer;
      if (answer.kind === 'no-answer') {
        why = answer.text;
        continue;
      }
      if (!shown) why = 'Its telemetry does not show it.';
      if (!(await this.#until((frame) => frame !== null && this.#isSafe(frame), left(), signal))) continue;
      shown = true;
      const doubt = await this.#doubtAfterAll(left(), signal);
      if (doubt === null) return { kind: 'done' };
      why = doubt;
    }
    return {
      kind: 'no-answer',
      text: `${isWithdrawn() ? 'Making safe was withdrawn before it was confirmed.' : `It was not confirmed within ${MAKE_SAFE_DEADLINE_MS / 1000} s. ${why}`} ${deadManText(this.#options.deadManMs / 1000)}`,
    };
  }

  #isSafe(frame: BenchFrame): boolean {
    return !frame.armed && !frame.burst.active && Math.abs(frame.supply - this.capabilities.safeSupply) <= SAFE_SUPPLY_TOLERANCE;
  }

  /** Resolves with true as soon as a frame (or a change of the link: null) fulfils `condition`; false after `ms`. */
  #until(condition: (frame: BenchFrame | null) => boolean, ms: number, signal: AbortSignal | undefined): Promise<boolean> {
    if (signal?.aborted === true || this.#closing.signal.aborted) return Promise.resolve(false);
    return new Promise((resolve) => {
      const finish = (result: boolean) => {
        cancel();
        this.#watchers.delete(watcher);
        signal?.removeEventListener('abort', onAbort);
        resolve(result);
      };
      const watcher = (frame: BenchFrame | null) => {
        if (condition(frame)) finish(true);
        else if (this.#closing.signal.aborted) finish(false);
      };
      const onAbort = () => {
        finish(false);
      };
      const cancel = this.#options.clock.after(ms, () => {
        finish(false);
      });
      this.#watchers.add(watcher);
      signal?.addEventListener('abort', onAbort, { once: true });
    });
  }

  #tellLink(event: BenchLinkEvent): void {
    for (const listener of this.#listeners) listener.onLink(event);
  }

  #tellWatchers(frame: BenchFrame | null): void {
    for (const watcher of this.#watchers) watcher(frame);
  }

  #listen(link: Link, ears: LinkEars): void {
    ears.onTelemetry = (telemetry) => {
      if (this.#up && link === this.#link) this.#take(telemetry);
      else if (!this.#up) this.#awaited?.(telemetry);
    };
    ears.onDown = (reason) => {
      if (link === this.#link) this.#interrupted(reason);
    };
    // It may have gone down between the end of the conversation and here.
    if (link.downReason !== null) this.#interrupted(link.downReason);
  }

  #take(telemetry: Telemetry): void {
    if (telemetry.boot !== this.bootId) {
      this.#interrupted('The controller started anew: its outputs are off, and it has forgotten everything it was told.', true);
      return;
    }
    // A frame that the line repeated is not a second measurement.
    if (telemetry.frame <= this.#lastFrame) return;
    this.#lastFrame = telemetry.frame;
    this.#lastFrameAt = this.#options.clock.now();
    if ((this.#fault?.code ?? '') !== telemetry.fault) {
      this.#fault = telemetry.fault === '' ? null : { code: telemetry.fault, text: faultText(telemetry.fault) };
    }
    const frame = asBenchFrame(telemetry, this.#fault);
    for (const listener of this.#listeners) listener.onFrame(frame);
    if (this.#watchers.size > 0) this.#tellWatchers(frame);
  }

  get #frameLimitMs(): number {
    return Math.max(MIN_SILENCE_MS, (FRAMES_MISSED * 1000) / this.#options.telemetryHz);
  }

  /** Heartbeats may still be answered by a controller that no longer measures. */
  #watchFrames(): void {
    const { clock } = this.#options;
    const limitMs = this.#frameLimitMs;
    const lookAfter = (ms: number, suspected: boolean): void => {
      this.#cancelFrameWatch = clock.after(ms, () => {
        const left = this.#lastFrameAt + limitMs - clock.now();
        if (left > 0) {
          lookAfter(left, false);
        } else if (!suspected) {
          // As with a silent line: this program may itself have stood still, and the frames wait to be read.
          lookAfter(LAST_LOOK_MS, true);
        } else {
          lookAfter(limitMs, false);
          const answers = clock.now() - this.#link.lastHeardAt < limitMs;
          this.#interrupted(`No telemetry came for ${limitMs / 1000} s, ${answers ? 'although the controller answers' : 'nor anything else'}.${notUnderstood(this.#link)}`);
        }
      });
    };
    lookAfter(limitMs, false);
  }

  /** The conversation is over, the link possibly not. `restarted`: the controller started anew, so its outputs are off. */
  #interrupted(reason: string, restarted = false): void {
    if (!this.#up || this.#closing.signal.aborted) return;
    this.#up = false;
    this.#downReason = reason;
    this.#link.interrupt(reason);
    this.#tellLink({ state: 'down', reason });
    this.#tellWatchers(null);
    void this.#recover(restarted);
  }

  async #recover(restarted: boolean): Promise<void> {
    const { clock } = this.#options;
    const { signal } = this.#closing;
    this.#comings = clock.now() - this.#upSince < STABLE_MS ? this.#comings + 1 : 0;
    this.#told.clear();
    if (!restarted) await this.#letDeadManAct();
    let pause = SEARCH_PAUSE_MIN_MS;
    try {
      if (this.#comings > 1) {
        // Nothing is said to it meanwhile, so that its dead-man acts.
        await this.#link.close();
        await wait(clock, Math.min(SEARCH_PAUSE_MIN_MS * 2 ** this.#comings, UNFIT_PAUSE_MAX_MS), signal);
      }
      for (;;) {
        this.#unfit = false;
        if ((await this.#recoverOnSameLink()) || (await this.#recoverElsewhere())) return;
        await wait(clock, pause, signal);
        pause = Math.min(2 * pause, this.#longestPause());
      }
    } catch {
      // The bench was closed.
    }
  }

  #longestPause(): number {
    return this.#unfit ? UNFIT_PAUSE_MAX_MS : SEARCH_PAUSE_MAX_MS;
  }

  /**
   * A bench that is not heard any more may hear all that is said to it: it is told once to make safe, and then looking for it must
   * not keep it alive (LINE-74).
   */
  async #letDeadManAct(): Promise<void> {
    const { clock, deadManMs } = this.#options;
    const { signal } = this.#closing;
    await this.#link.request({ word: 'safe' }, { deadlineMs: REPLY_TIMEOUT_MS / 2, signal });
    const until = clock.now() + deadManMs + DEAD_MAN_MARGIN_MS;
    if (this.#link.downReason === null) await this.#link.keepSilent(until - clock.now(), signal);
    // The link may have gone down meanwhile, and never sends anything then.
    if (clock.now() < until) await wait(clock, until - clock.now(), signal).catch(() => undefined);
  }

  /** A controller that started anew is still there; closing and opening its port could make it start anew again. */
  async #recoverOnSameLink(): Promise<boolean> {
    const link = this.#link;
    if (link.downReason !== null) return false;
    const conversation = await converse(link, this.link, this.#options, this.identity, this.#closing.signal);
    if (await this.#restored(link, this.link, conversation)) return true;
    await link.close();
    return false;
  }

  async #recoverElsewhere(): Promise<boolean> {
    for (const channel of await this.#options.channels('again')) {
      if (this.#closing.signal.aborted) return false;
      const ears: LinkEars = { onTelemetry: (telemetry) => this.#awaited?.(telemetry), onDown: () => undefined };
      const opened = await openLink(channel, this.#options, ears);
      if (!opened.ok) {
        this.#tellWhy(opened.code, opened.text);
        continue;
      }
      const conversation = await converse(opened.link, channel.description, this.#options, this.identity, this.#closing.signal);
      if (await this.#restored(opened.link, channel.description, conversation)) {
        this.#listen(opened.link, ears);
        return true;
      }
      await opened.link.close();
    }
    return false;
  }

  /** The bench counts as back only when a frame of the controller that answered has come (LINE-111). */
  async #restored(link: Link, description: string, conversation: Conversation | ConnectFailure): Promise<boolean> {
    if (!conversation.ok) {
      const { lastNotUnderstood } = link.statistics;
      this.#tellWhy(lastNotUnderstood === null ? conversation.code : 'not-understood', `${conversation.text}${notUnderstood(link)}`);
      return false;
    }
    if (this.#isOver(link) || !(await this.#isHeard(link, conversation.bootId)) || this.#isOver(link)) return false;
    const sameBoot = conversation.bootId === this.bootId;
    this.#link = link;
    this.link = description;
    this.bootId = conversation.bootId;
    this.#echoes = conversation.echoes;
    if (!sameBoot) this.#lastFrame = -1;
    this.#lastFrameAt = this.#upSince = this.#options.clock.now();
    this.#up = true;
    this.#tellLink({
      state: 'up',
      bootId: conversation.bootId,
      reason: sameBoot
        ? `The bench is connected again (${description}); its controller ran on in between.`
        : `The bench is connected again (${description}); its controller started anew in between, with its outputs off.`,
    });
    this.#tellWatchers(null);
    return true;
  }

  #isOver(link: Link): boolean {
    return link.downReason !== null || this.#closing.signal.aborted;
  }

  /** A frame with the boot id of the answer to `hello` comes in its time; otherwise why not is told. */
  async #isHeard(link: Link, bootId: string): Promise<boolean> {
    const { clock } = this.#options;
    let other = '';
    // What it is heard to do is not known: if it is to be made safe, it is told so all the same.
    if (clock.now() < this.#safeUntil) void link.request({ word: 'safe' }, { deadlineMs: REQUEST_DEADLINE_MS });
    const heard = await new Promise<boolean>((resolve) => {
      const cancel = clock.after(this.#frameLimitMs, () => {
        resolve(false);
      });
      this.#awaited = ({ boot }) => {
        other = boot === bootId ? other : boot;
        if (boot !== bootId) return;
        cancel();
        resolve(true);
      };
    });
    this.#awaited = null;
    if (heard || link.downReason !== null) return heard;
    this.#unfit = true;
    const place = `The controller on ${this.link} answers, but`;
    const advice = 'It is not used. Have its firmware looked at.';
    if (other !== '') this.#tellWhy('boot-id', `${place} its telemetry carries the boot id ${other} and its answer to "hello" ${bootId}. ${advice}`);
    else if (link.statistics.lastNotUnderstood !== null) this.#tellWhy('not-understood', `${place} its telemetry cannot be read.${notUnderstood(link)} ${advice}`);
    else this.#tellWhy('no-frames', `${place} it sends no telemetry. ${advice}`);
    return false;
  }

  /** Once in an outage for each cause that only a person can change. */
  #tellWhy(code: string, text: string): void {
    if (!forAPerson.has(code)) return;
    this.#downReason = text;
    if (this.#told.has(code)) return;
    this.#told.add(code);
    this.#tellLink({ state: 'down', reason: text });
  }
}

/** Lines that came whole and were not understood: for whoever writes a controller. Empty: there were none. */
function notUnderstood(link: Link): string {
  const { badLines, lastNotUnderstood } = link.statistics;
  return lastNotUnderstood === null ? '' : ` ${badLines.form} lines were not understood (form); the last: "${lastNotUnderstood.slice(0, 120)}".`;
}

/** From `hello` to the settings, on an open link. The same again does no harm: every step may be repeated. */
async function converse(
  link: Link,
  place: string,
  options: ConnectOptions,
  expected: Pick<BenchIdentity, 'model' | 'serialNumber'> | undefined,
  signal: AbortSignal | undefined,
): Promise<Conversation | ConnectFailure> {
  type Answer<W extends Reply['word']> = { readonly ok: true; readonly reply: Extract<Reply, { word: W }> } | ConnectFailure;
  const ask = async <R extends Request>(request: R, deadlineMs = REQUEST_DEADLINE_MS): Promise<Answer<R['word']>> =>
    taken(request, await link.request(request, { deadlineMs, signal }));
  const taken = <R extends Request>(request: R, answer: LinkAnswer): Answer<R['word']> => {
    switch (answer.kind) {
      case 'reply':
        // The link has checked that the reply answers this request.
        return { ok: true, reply: answer.reply as Extract<Reply, { word: R['word'] }> };
      case 'refused':
        return failure('refused', `The controller on ${place} refused "${request.word}": ${answer.text}`);
      case 'no-answer':
        return signal?.aborted === true
          ? failure('cancelled', 'Connecting was cancelled; the bench was asked nothing further.')
          : failure('no-answer', `No bench answers on ${place}. ${answer.text} Check that this is the right port and that the bench is switched on.`);
    }
  };
  const describe = async <T extends Extract<Request, { word: 'describe' }>['topic']>(topic: T) => {
    const answer = await ask({ word: 'describe', topic });
    return answer.ok ? { ok: true as const, reply: answer.reply as Extract<Reply, { topic: T }> } : answer;
  };

  const hello = await ask({ word: 'hello', token: newToken(options.entropy) }, HELLO_DEADLINE_MS);
  if (!hello.ok) return hello;
  const { protocol, model, serial, firmware, boot, channels } = hello.reply;
  if (protocol !== PROTOCOL) {
    return failure(
      'protocol',
      `The controller ${model} ${serial} on ${place} speaks version ${protocol} of the line, and this program version ${PROTOCOL}. Nothing was switched. Use a matching pair of firmware and program.`,
    );
  }
  if (expected !== undefined && (expected.model !== model || expected.serialNumber !== serial)) {
    return failure(
      'other-bench',
      `On ${place} is the bench ${model} ${serial}, and not ${expected.model} ${expected.serialNumber}. Nothing was switched. Connect the bench that this run began on.`,
    );
  }
  const timing = await describe('timing');
  if (!timing.ok) return timing;
  const supply = await describe('supply');
  if (!supply.ok) return supply;
  const pressure = await describe('pressure');
  if (!pressure.ok) return pressure;
  const safety = await describe('safety');
  if (!safety.ok) return safety;
  const asked = { word: 'describe', topic: 'extensions' } as const;
  const said = await link.request(asked, { deadlineMs: REQUEST_DEADLINE_MS, signal });
  // LINE-80: a controller that knows of no extensions refuses the topic, with whatever code.
  const extensions = said.kind === 'refused' ? null : taken(asked, said);
  if (extensions?.ok === false) return extensions;
  const names = extensions?.reply.word === 'describe' && extensions.reply.topic === 'extensions' ? extensions.reply.extensions : [];
  const rail = names.includes('rail') ? await describe('rail') : null;
  if (rail?.ok === false) return rail;
  const identity: BenchIdentity = { model, serialNumber: serial, firmware, protocol };
  const capabilities: BenchCapabilities = {
    channels,
    timerResolution: seconds(timing.reply.tickNs / 1e9),
    minWidth: seconds(timing.reply.minWidthNs / 1e9),
    maxWidth: seconds(timing.reply.maxWidthNs / 1e9),
    minPeriod: microseconds(timing.reply.minPeriodUs),
    maxPeriod: microseconds(timing.reply.maxPeriodUs),
    maxCount: timing.reply.maxCount,
    minSupply: volts(supply.reply.minMv / 1e3),
    maxSupply: volts(supply.reply.maxMv / 1e3),
    safeSupply: volts(supply.reply.safeMv / 1e3),
    pressure: pressure.reply.commandable
      ? { commandable: true, min: pascals(pressure.reply.minPa), max: pascals(pressure.reply.maxPa) }
      : { commandable: false },
    ...(rail === null ? {} : { rail: { pump: rail.reply.pump, relief: rail.reply.relief, shutOff: rail.reply.shutOff } }),
    deadManMin: milliseconds(safety.reply.deadmanMinMs),
    deadManMax: milliseconds(safety.reply.deadmanMaxMs),
    telemetryMaxHz: safety.reply.telemetryMaxHz,
    interlocks: safety.reply.interlocks,
  };
  const nonsense = contradictions(capabilities);
  if (nonsense.length > 0) {
    return failure(
      'capabilities',
      `The controller ${model} ${serial} describes itself in a way that cannot be: ${nonsense.join('; ')}. Nothing was switched. Have its firmware looked at.`,
    );
  }
  const outside = outsideLimits(options, capabilities);
  if (outside !== null) return outside;
  for (const request of settingRequests(options)) {
    const set = await ask(request);
    if (!set.ok) return set;
  }
  return { ok: true, identity, capabilities, bootId: boot, echoes: names.includes('echo') };
}

function outsideLimits({ deadManMs, telemetryHz }: LinkSettings, c: BenchCapabilities): ConnectFailure | null {
  const min = toMilliseconds(c.deadManMin);
  const max = toMilliseconds(c.deadManMax);
  if (deadManMs < min || deadManMs > max) {
    return failure(
      'dead-man-range',
      `The plan asks for a dead-man of ${deadManMs} ms, and this controller allows ${min} to ${max} ms. Nothing was switched. Change link.deadManMs in the plan.`,
    );
  }
  if (telemetryHz < 1 || telemetryHz > c.telemetryMaxHz) {
    return failure(
      'telemetry-range',
      `The plan asks for ${telemetryHz} telemetry frames a second, and this controller allows 1 to ${c.telemetryMaxHz}. Nothing was switched. Change link.telemetryHz in the plan.`,
    );
  }
  return null;
}

/** What in a controller's description of itself cannot be true, in words; empty when nothing. */
function contradictions(c: BenchCapabilities): string[] {
  const checks: readonly (readonly [boolean, string])[] = [
    [c.timerResolution > 0, 'its timer has no resolution'],
    [c.minWidth < c.maxWidth, 'its shortest pulse is not shorter than its longest'],
    [c.minPeriod > 0 && c.minPeriod < c.maxPeriod, 'its shortest period is not shorter than its longest'],
    [c.maxCount >= 1, 'it allows no pulse at all'],
    [c.minSupply < c.maxSupply, 'its lowest supply is not below its highest'],
    [c.safeSupply <= c.maxSupply, 'its safe supply is above its highest'],
    [!c.pressure.commandable || c.pressure.min < c.pressure.max, 'its lowest pressure is not below its highest'],
    [c.deadManMin > 0 && c.deadManMin <= c.deadManMax, 'its dead-man can be set to no time'],
    [new Set(c.interlocks).size === c.interlocks.length, 'two interlocks have the same name'],
  ];
  return checks.filter(([holds]) => !holds).map(([, text]) => text);
}

function asBenchReply(answer: LinkAnswer): BenchReply {
  switch (answer.kind) {
    case 'reply':
      return { kind: 'done' };
    case 'refused':
      return answer;
    case 'no-answer':
      return { kind: 'no-answer', text: answer.text };
  }
}

function asBenchFrame(t: Telemetry, fault: BenchFault | null): BenchFrame {
  return {
    at: seconds(t.atUs / 1e6),
    number: t.frame,
    bootId: t.boot,
    supply: volts(t.supplyMv / 1e3),
    current: amperes(t.currentMa / 1e3),
    pressure: pascals(t.pressurePa),
    railTemperature: celsius(t.railMilliC / 1e3),
    meterTemperature: celsius(t.meterMilliC / 1e3),
    edges: t.edges,
    lastEdgeAt: seconds(t.lastEdgeUs / 1e6),
    burst: { number: t.burst, active: t.active, commanded: t.commanded, done: t.done },
    armed: t.armed,
    fault,
    interlocks: t.interlocks,
  };
}
