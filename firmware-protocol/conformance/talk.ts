/** One check's conversation with the controller under test, and what checks are made of. */
import { MARK, sealLine } from '../line/codec.ts';
import {
  decodeFromController, encodeRequest, type FromController, type Reply, type Request, type Telemetry,
} from '../line/messages.ts';

/** The way to the controller under test. */
export interface ControllerPort {
  /** Queues bytes, one per character. */
  send(text: string): void;
  /** The next line, without LF; null when none was complete within the time. */
  nextLine(timeoutMs: number): Promise<string | null>;
  wait(ms: number): Promise<void>;
  /** Presses the controller's reset button, where the port can; it returns at once. */
  reset?(): Promise<void>;
}

export interface ConformanceResult {
  /** Rules of the specification, as `LINE-13`. */
  readonly rule: string;
  readonly title: string;
  readonly result: 'pass' | 'fail' | 'not-applicable';
  /** What was seen; for a failure also what should have been. */
  readonly detail: string;
}

export interface Check {
  readonly rule: string;
  readonly title: string;
  /** Drives an injector channel, raises the supply or runs the pump. */
  readonly energises: boolean;
  /** Needs a bench that can be armed. */
  readonly arms: boolean;
  readonly run: (talk: Talk) => Promise<string>;
}

/** The controller did not do what the rule says. */
export class CheckFailure extends Error {}

/** The rule cannot be seen on this controller. */
export class NotApplicable extends Error {}

/** Whoever asked for the checks wants no more of them. */
export class Cut extends Error {}

type Answer = Extract<FromController, { kind: 'reply' | 'refusal' }>;
type Description<Topic extends string> = Extract<Reply, { word: 'describe'; topic: Topic }>;

const ANSWER_MS = 500;
/** LINE-12 and LINE-55 allow the controller this long. */
export const REACTION_MS = 50;
const STARTED_WITHIN_MS = 5_000;
export const SUPPLY_FALLS_WITHIN_MS = 5_000;
export const SUPPLY_TOLERANCE_MV = 200;
/** The dead-man's time outside the checks of the dead-man; longer than any check pauses. */
const EASY_DEADMAN_MS = 5_000;
export const EASY_TELEMETRY_HZ = 20;
/** Between the request on this side and the controller's clock: a USB adapter and an operating system that dozes. */
export const HOST_MS = 60;
/** A pulse long enough to be seen in frames; at the safe supply value it moves nothing. */
export const LONG_PULSE_MS = 90;
/** After the request for it such a pulse is going on (LINE-37). */
export const INTO_PULSE_MS = 20;

export function expect(condition: boolean, otherwise: string): asserts condition {
  if (!condition) throw new CheckFailure(otherwise);
}

/** The suite's end of the conversation: numbers requests, and keeps answers and frames apart. */
export class Talk {
  port: ControllerPort;
  seq = 0;
  #tokens = 0;

  constructor(port: ControllerPort) {
    this.port = port;
  }

  next(): number {
    this.seq = (this.seq + 1) & 0xffff;
    return this.seq;
  }

  freshToken(): string {
    this.#tokens += 1;
    return `check${this.#tokens}`;
  }

  /** The next line that is an answer, as it came; frames on the way are passed over. null: none in time. */
  async nextAnswer(timeoutMs = ANSWER_MS): Promise<{ readonly text: string; readonly answer: Answer } | null> {
    let startUs: number | null = null;
    for (;;) {
      const text = await this.port.nextLine(timeoutMs);
      if (text === null) return null;
      const line = decodeFromController(text);
      if (line.kind === 'bad') throw new CheckFailure(`LINE-9: the controller said a bad line (${line.why}): ${text}`);
      if (line.kind !== 'telemetry') return { text, answer: line };
      startUs ??= line.telemetry.atUs;
      if (line.telemetry.atUs - startUs > timeoutMs * 1_000) return null;
    }
  }

  /** Sends a line and gives its answer; fails when none comes or it answers something else. */
  async exchange(line: string, seq: number): Promise<{ readonly text: string; readonly answer: Answer }> {
    this.port.send(line);
    const got = await this.nextAnswer();
    expect(got !== null, `no answer to: ${line.trim()}`);
    expect(got.answer.seq === seq, `the answer to ${line.trim()} carries number ${got.answer.seq}: ${got.text}`);
    return got;
  }

  async ask(request: Request): Promise<Answer> {
    const seq = this.next();
    return (await this.exchange(encodeRequest(seq, request), seq)).answer;
  }

  async done(request: Request): Promise<Reply> {
    const answer = await this.ask(request);
    expect(answer.kind === 'reply', `${request.word} was refused: ${answer.kind === 'refusal' ? answer.refusal.code : ''}`);
    expect(answer.reply.word === request.word, `${request.word} was answered as ${answer.reply.word}`);
    return answer.reply;
  }

  async refused(request: Request, code: string): Promise<void> {
    const answer = await this.ask(request);
    expect(answer.kind === 'refusal', `${describeRequest(request)} was carried out; it should have been refused as ${code}`);
    expect(
      answer.refusal.code === code && answer.refusal.word === request.word,
      `${describeRequest(request)} was refused as ${answer.refusal.word} ${answer.refusal.code}; it should have been ${code}`,
    );
  }

  /** Sends something that nobody may answer, then shows that the controller is there and answered nothing else. */
  async silent(text: string, what: string): Promise<void> {
    this.port.send(text);
    const seq = this.next();
    this.port.send(encodeRequest(seq, { word: 'alive' }));
    const got = await this.nextAnswer();
    expect(got !== null, `after ${what} the controller answered nothing any more`);
    expect(got.answer.seq === seq && got.answer.kind === 'reply', `${what} was answered: ${got.text}`);
  }

  async hello(): Promise<Extract<Reply, { word: 'hello' }>> {
    const token = this.freshToken();
    const reply = await this.done({ word: 'hello', token });
    expect(reply.word === 'hello' && reply.token === token, 'hello did not echo its token');
    return reply;
  }

  /** LINE-80: none where the topic is refused. */
  async extensions(): Promise<readonly string[]> {
    const answer = await this.ask({ word: 'describe', topic: 'extensions' });
    if (answer.kind === 'refusal') {
      expect(answer.refusal.code === 'form', `describe topic=extensions was refused as ${answer.refusal.code}; it should have been form`);
      return [];
    }
    expect(answer.reply.word === 'describe' && answer.reply.topic === 'extensions', 'describe answered another topic than extensions');
    return answer.reply.extensions;
  }

  /** Leaves the check out on a controller without the extension. */
  async needs(extension: string): Promise<void> {
    if (!(await this.extensions()).includes(extension)) throw new NotApplicable(`This controller has no extension "${extension}".`);
  }

  /**
   * The set rate anew, and with the frame that comes one interval later (LINE-28) the controller's time of this request,
   * us; `first` is that frame.
   */
  async timed(hz: number): Promise<{ readonly atUs: number; readonly first: Telemetry }> {
    await this.done({ word: 'telemetry', hz });
    const first = await this.rawFrame();
    return { atUs: first.atUs - Math.round(1e6 / hz), first };
  }

  /** A burst whose pulses are long enough to be seen in frames. */
  async longBurst(count: number): Promise<Extract<Request, { word: 'burst' }>> {
    const { maxWidthNs, maxPeriodUs } = await this.describe('timing');
    if (maxWidthNs < LONG_PULSE_MS * 1e6 || maxPeriodUs < (LONG_PULSE_MS + 10) * 1e3) {
      throw new NotApplicable(`This controller drives no pulse of ${LONG_PULSE_MS} ms.`);
    }
    return { word: 'burst', channel: 1, widthNs: LONG_PULSE_MS * 1e6, periodUs: (LONG_PULSE_MS + 10) * 1e3, count };
  }

  async describe<Topic extends Description<string>['topic']>(topic: Topic): Promise<Description<Topic>> {
    const reply = await this.done({ word: 'describe', topic });
    expect(reply.word === 'describe' && reply.topic === topic, `describe answered another topic than ${topic}`);
    return reply as Description<Topic>;
  }

  /** The next frame as it comes off the line; it may have been waiting there. */
  async rawFrame(): Promise<Telemetry> {
    for (;;) {
      const text = await this.port.nextLine(2_000);
      expect(text !== null, 'no telemetry for two seconds');
      const line = decodeFromController(text);
      expect(line.kind !== 'bad', `LINE-9: the controller said a bad line: ${text}`);
      if (line.kind === 'telemetry') {
        const { edges, lastEdgeUs } = line.telemetry;
        expect(edges > 0 || lastEdgeUs === 0, `LINE-41: the latest edge was at ${lastEdgeUs} us, and there was none yet`);
        return line.telemetry;
      }
      throw new CheckFailure(`an answer to nothing: ${text}`);
    }
  }

  /** A frame that was sampled after this call. */
  async frame(): Promise<Telemetry> {
    let text: string | null;
    do text = await this.port.nextLine(0);
    while (text !== null);
    // The first may have been under way.
    await this.rawFrame();
    return this.rawFrame();
  }

  /** Frames until one satisfies; fails when the controller's clock has gone on by `withinMs` before that. */
  async until(withinMs: number, what: string, satisfied: (frame: Telemetry) => boolean): Promise<Telemetry> {
    let frame = await this.frame();
    const start = frame.atUs;
    while (!satisfied(frame)) {
      expect(frame.atUs - start <= withinMs * 1_000, `${what}: not within ${withinMs} ms`);
      frame = await this.rawFrame();
    }
    return frame;
  }

  /** A burst of the least width that does no harm. */
  async smallBurst(count: number, periodMs = 20): Promise<Extract<Request, { word: 'burst' }>> {
    const timing = await this.describe('timing');
    const leastUs = Math.max(timing.minPeriodUs, Math.ceil(timing.minWidthNs / 1_000));
    return {
      word: 'burst',
      channel: 1,
      widthNs: Math.ceil(timing.minWidthNs / timing.tickNs) * timing.tickNs,
      periodUs: Math.min(timing.maxPeriodUs, Math.max(leastUs, periodMs * 1_000)),
      count,
    };
  }

  async startBurst(burst: Extract<Request, { word: 'burst' }>): Promise<Extract<Reply, { word: 'burst' }>> {
    const reply = await this.done(burst);
    expect(reply.word === 'burst', 'burst was answered as something else');
    return reply;
  }

  /** A state in which every check can begin, whatever the last one left. */
  async restore(): Promise<void> {
    this.port.send('\n');
    await this.port.wait(REACTION_MS);
    while ((await this.port.nextLine(0)) !== null) {
      // what the last check left unread
    }
    await this.hello();
    // LINE-87: from here on nothing starts the pump but the word for it.
    await this.extensions();
    await this.done({ word: 'safe' });
    await this.ask({ word: 'clear' });
    const safety = await this.describe('safety');
    await this.done({ word: 'deadman', ms: Math.min(EASY_DEADMAN_MS, safety.deadmanMaxMs) });
    await this.done({ word: 'telemetry', hz: Math.min(EASY_TELEMETRY_HZ, safety.telemetryMaxHz) });
  }
}

function describeRequest(request: Request): string {
  return encodeRequest(0, request).slice(4, -7);
}

export const passive = { energises: false, arms: false } as const;
export const arming = { energises: false, arms: true } as const;
export const energising = { energises: true, arms: true } as const;

/** A line whose checksum is right whatever its body is. */
export function sealed(seq: number, body: string): string {
  return sealLine(`${MARK.request} ${seq} ${body}`);
}

/** A request whose checksum is right but for its letters, which are not capitals. */
export function withSmallChecksum(talk: Talk): string {
  for (;;) {
    const line = encodeRequest(talk.next(), { word: 'alive' });
    const small = line.toLowerCase();
    if (small !== line) return small;
  }
}

/** A request with a right checksum that is exactly `bytes` long, LF included; well formed except for its padding. */
export function padded(seq: number, bytes: number): string {
  const bare = sealed(seq, 'alive x=').length;
  return sealed(seq, `alive x=${'x'.repeat(bytes - bare)}`);
}

export async function firstFrameOfAnotherBoot(talk: Talk, boot: string): Promise<Telemetry> {
  for (;;) {
    const text = await talk.port.nextLine(STARTED_WITHIN_MS);
    expect(text !== null, 'no telemetry after the reset');
    // A line that the reset cut short is nobody's fault.
    const line = decodeFromController(text);
    if (line.kind === 'telemetry' && line.telemetry.boot !== boot) return line.telemetry;
  }
}

/** Arms nothing by itself: one volt above the safe value, or less where the bench has less. Gives the safe value. */
export async function raiseSupply(talk: Talk): Promise<number> {
  const { safeMv, minMv, maxMv } = await talk.describe('supply');
  await talk.done({ word: 'supply', mv: Math.min(maxMv, Math.max(minMv, safeMv + 1_000)) });
  return safeMv;
}

/** The least that needs an armed bench (LINE-31, LINE-100). */
export function aboveSafe({ minMv, safeMv }: Description<'supply'>): number {
  return Math.max(minMv, safeMv + 1);
}

export async function fastTelemetry(talk: Talk): Promise<void> {
  const { telemetryMaxHz } = await talk.describe('safety');
  await talk.done({ word: 'telemetry', hz: Math.min(100, telemetryMaxHz) });
}

export async function fireDeadMan(talk: Talk): Promise<void> {
  const { deadmanMinMs } = await talk.describe('safety');
  await talk.done({ word: 'arm' });
  await talk.done({ word: 'deadman', ms: deadmanMinMs });
  await talk.until(deadmanMinMs + 2_000, 'the watchdog', (f) => f.fault === 'dead-man');
}
