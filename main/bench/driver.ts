/**
 * A bench as the run engine wants it, spoken to over a link. The driver translates, confirms and reconnects; it decides
 * nothing: after a loss of the link or a restart of the controller nothing is armed, set or started anew by it.
 */
import type { BenchCapabilities, BenchFault, BenchFrame, BenchIdentity, BenchReply, BenchRequest } from '../../app/bench/port.ts';
import { toMilliseconds } from '../../app/quantities/quantity.ts';
import { deadManText, safeSentence } from '../../app/run/safe-words.ts';
import { faultText } from '../../firmware-protocol/line/fault-texts.ts';
import type { Request, Telemetry } from '../../firmware-protocol/line/messages.ts';
import { wait } from '../clock/clock.ts';
import type { Channel } from '../link/channel.ts';
import type { Link, LinkAnswer, LinkStatistics } from '../link/link.ts';
import type { Bench, BenchLinkEvent, BenchListener, ConnectOptions } from './bench.ts';
import { driveBurst } from './burst.ts';
import { converse, failure, notUnderstood, outsideLimits, REQUEST_DEADLINE_MS, settingRequests, type ConnectFailure, type Conversation } from './conversation.ts';
import type { LinkSettings } from './link-settings.ts';
import { DriverInvariants } from './invariants.ts';
import { MAKE_SAFE_DEADLINE_MS, makeSafe } from './making-safe.ts';
import { MIN_SILENCE_MS, openLink, REPLY_TIMEOUT_MS, timingOf, type LinkEars } from './open-link.ts';
import { asBenchFrame, asBenchReply } from './translation.ts';

export type { Bench, BenchLinkEvent, ConnectOptions } from './bench.ts';
export type { ConnectFailure } from './conversation.ts';

const FRAMES_MISSED = 10;
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
  readonly #must = new DriverInvariants();
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
        return driveBurst({ capabilities: this.capabilities, echoes: this.#echoes, ask: (asked, withdrawn) => this.#ask(asked, withdrawn), quiet: () => this.#quiet() }, request, signal);
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
    const broken = this.#must.asked(request.word, signal);
    if (broken !== null) this.#brokenBy(broken);
    const answer: LinkAnswer = broken === null ? await this.#link.request(request, { deadlineMs, signal }) : { kind: 'no-answer', unanswered: false, text: this.#downReason };
    this.#must.answered(request.word, signal);
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

  /** A controller without the extension would refuse the word as unknown; it is not troubled with it. */
  async #askRail(request: Request, signal: AbortSignal | undefined): Promise<BenchReply> {
    return this.capabilities.rail === undefined
      ? { kind: 'refused', code: 'unsupported', text: 'The controller of this bench commands no pump and no valves. Nothing was switched.' }
      : asBenchReply(await this.#ask(request, signal));
  }

  #quiet(): Promise<unknown> {
    return this.#until((frame) => frame === null || !frame.burst.active, MIN_SILENCE_MS, undefined);
  }

  async #keepSilent(ms: number, signal: AbortSignal | undefined): Promise<BenchReply> {
    if (!this.#up) return { kind: 'no-answer', text: `The bench is not connected: ${this.#downReason}` };
    return (await this.#link.keepSilent(ms, signal))
      ? { kind: 'done' }
      : { kind: 'no-answer', text: 'The silence was cut short, so nothing is known of the watchdog.' };
  }

  /** Over a link that comes back in between too. */
  async #makeSafe(signal: AbortSignal | undefined): Promise<BenchReply> {
    const { clock, deadManMs } = this.#options;
    this.#safeUntil = clock.now() + MAKE_SAFE_DEADLINE_MS;
    const once = () =>
      makeSafe({
        clock, deadManMs, capabilities: this.capabilities, replyTimeoutMs: REPLY_TIMEOUT_MS,
        downReason: () => this.downReason,
        isClosed: () => this.#closing.signal.aborted,
        ask: (request, withdrawn, deadlineMs) => this.#ask(request, withdrawn, deadlineMs),
        until: (condition, ms, withdrawn) => this.#until(condition, ms, withdrawn),
      }, signal);
    // The bench may have become another just after it was seen to be safe: a driver that is right about itself sees that when it asks again.
    let reply = await once();
    if (this.#must.madeSafe(reply, this.capabilities) !== null) reply = await once();
    const broken = this.#must.madeSafe(reply, this.capabilities);
    if (broken === null) return reply;
    this.#brokenBy(broken);
    return { kind: 'no-answer', text: this.#downReason };
  }

  /** A driver that is wrong about itself says so, tells the bench to make safe, and asks nothing of it any more: its dead-man acts (HOST-75). */
  #brokenBy(what: string): void {
    if (!this.#up) return;
    this.#down(`The program found a fault of its own in how it speaks to the bench: ${what} ${safeSentence(false)}. ${deadManText()} Note what stands here before you connect it again.`);
    void this.#letDeadManAct().then(() => this.#link.close()).catch(() => undefined);
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
    const broken = this.#must.link(event.state);
    if (broken !== null) {
      this.#brokenBy(broken);
      return;
    }
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
    const broken = this.#must.frame(telemetry, this.bootId);
    if (broken !== null) {
      this.#brokenBy(broken);
      return;
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
    this.#down(reason);
    void this.#recover(restarted);
  }

  #down(reason: string): void {
    this.#up = false;
    this.#downReason = reason;
    this.#link.interrupt(reason);
    this.#tellLink({ state: 'down', reason });
    this.#tellWatchers(null);
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
