/**
 * Checks that any controller can be held against, from outside, by its line alone: every rule of `../README.md` that
 * shows itself there. It works on the simulator in process, on a pseudo-terminal, on a serial port and on emulated
 * firmware; it knows nothing of what stands behind the line.
 *
 * Caution on a real bench: checks marked `energises` drive an injector channel, with pulses of the least width at the safe
 * supply value or at most one volt above it, or with single pulses of 90 ms at the safe value; and they run the pump with
 * the regulator at its lowest. Before the first check, after every check and at the end the bench
 * is told to be safe.
 */
import { LONGEST_TO_CONTROLLER, MARK, sealLine } from '../line/codec.ts';
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

interface Check {
  readonly rule: string;
  readonly title: string;
  /** Drives an injector channel, raises the supply or runs the pump. */
  readonly energises: boolean;
  /** Needs a bench that can be armed. */
  readonly arms: boolean;
  readonly run: (talk: Talk) => Promise<string>;
}

/** The controller did not do what the rule says. */
class Failure extends Error {}

/** The rule cannot be seen on this controller. */
class NotApplicable extends Error {}

/** Whoever asked for the checks wants no more of them. */
class Cut extends Error {}

type Answer = Extract<FromController, { kind: 'reply' | 'refusal' }>;
type Description<Topic extends string> = Extract<Reply, { word: 'describe'; topic: Topic }>;

const ANSWER_MS = 500;
/** LINE-12 and LINE-55 allow the controller this long. */
const REACTION_MS = 50;
const STARTED_WITHIN_MS = 5_000;
const SUPPLY_FALLS_WITHIN_MS = 5_000;
const SUPPLY_TOLERANCE_MV = 200;
/** The dead-man's time outside the checks of the dead-man; longer than any check pauses. */
const EASY_DEADMAN_MS = 5_000;
const EASY_TELEMETRY_HZ = 20;
/** Between the request on this side and the controller's clock: a USB adapter and an operating system that dozes. */
const HOST_MS = 60;
/** A pulse long enough to be seen in frames; at the safe supply value it moves nothing. */
const LONG_PULSE_MS = 90;
/** After the request for it such a pulse is going on (LINE-37). */
const INTO_PULSE_MS = 20;

function expect(condition: boolean, otherwise: string): asserts condition {
  if (!condition) throw new Failure(otherwise);
}

/** The suite's end of the conversation: numbers requests, and keeps answers and frames apart. */
class Talk {
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
      if (line.kind === 'bad') throw new Failure(`LINE-9: the controller said a bad line (${line.why}): ${text}`);
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
      throw new Failure(`an answer to nothing: ${text}`);
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

const passive = { energises: false, arms: false } as const;
const arming = { energises: false, arms: true } as const;
const energising = { energises: true, arms: true } as const;

/** A line whose checksum is right whatever its body is. */
function sealed(seq: number, body: string): string {
  return sealLine(`${MARK.request} ${seq} ${body}`);
}

/** A request whose checksum is right but for its letters, which are not capitals. */
function withSmallChecksum(talk: Talk): string {
  for (;;) {
    const line = encodeRequest(talk.next(), { word: 'alive' });
    const small = line.toLowerCase();
    if (small !== line) return small;
  }
}

/** A request with a right checksum that is exactly `bytes` long, LF included; well formed except for its padding. */
function padded(seq: number, bytes: number): string {
  const bare = sealed(seq, 'alive x=').length;
  return sealed(seq, `alive x=${'x'.repeat(bytes - bare)}`);
}

const checks: readonly Check[] = [
  {
    rule: 'LINE-23', title: 'hello echoes its token and names the bench', ...passive,
    run: async (talk) => {
      const reply = await talk.hello();
      expect(reply.protocol === 1, `the controller speaks protocol ${reply.protocol}, these checks are for 1`);
      return `${reply.model} ${reply.serial}, firmware ${reply.firmware}, ${reply.channels} channels`;
    },
  },
  {
    rule: 'LINE-16', title: 'hello is carried out whatever its number, and starts the numbers anew', ...passive,
    run: async (talk) => {
      talk.seq = (talk.seq - 1_000) & 0xffff;
      await talk.hello();
      await talk.done({ word: 'alive' });
      return 'a hello 1000 numbers back was carried out and the next number taken';
    },
  },
  {
    rule: 'LINE-17', title: 'a late copy of hello is answered again and forgets nothing', ...passive,
    run: async (talk) => {
      const helloSeq = talk.next();
      const hello = encodeRequest(helloSeq, { word: 'hello', token: talk.freshToken() });
      const first = await talk.exchange(hello, helloSeq);
      const aliveSeq = talk.next();
      const alive = encodeRequest(aliveSeq, { word: 'alive' });
      await talk.exchange(alive, aliveSeq);
      const laterSeq = talk.next();
      await talk.exchange(encodeRequest(laterSeq, { word: 'alive' }), laterSeq);
      const again = await talk.exchange(hello, helloSeq);
      expect(again.text === first.text, `the copy got another answer: ${again.text}`);
      const old = await talk.exchange(alive, aliveSeq);
      expect(old.answer.kind === 'refusal' && old.answer.refusal.code === 'stale', `after the copy an old request was taken as new: ${old.text}`);
      return 'same answer, and an older request stayed stale';
    },
  },
  {
    rule: 'LINE-25', title: 'describe states limits that agree with each other', ...passive,
    run: async (talk) => {
      const timing = await talk.describe('timing');
      expect(timing.minWidthNs <= timing.maxWidthNs && timing.minPeriodUs <= timing.maxPeriodUs && timing.maxCount >= 1, 'timing limits contradict each other');
      const supply = await talk.describe('supply');
      expect(supply.minMv <= supply.maxMv && supply.safeMv <= supply.maxMv, 'LINE-100: the safe supply lies above the highest');
      const pressure = await talk.describe('pressure');
      expect(!pressure.commandable || pressure.minPa <= pressure.maxPa, 'pressure limits contradict each other');
      const safety = await talk.describe('safety');
      expect(safety.deadmanMinMs <= 1_000 && safety.deadmanMaxMs >= 1_000, 'the dead-man default of 1000 ms lies outside its range');
      expect(safety.interlocks.length >= 1, 'no interlock input');
      return `tick ${timing.tickNs} ns, supply to ${supply.maxMv} mV, interlocks ${safety.interlocks.join(', ')}`;
    },
  },
  {
    rule: 'LINE-24', title: 'the boot id is the same in hello and in every frame', ...passive,
    run: async (talk) => {
      const { boot } = await talk.hello();
      for (let i = 0; i < 5; i += 1) {
        const frame = await talk.rawFrame();
        expect(frame.boot === boot, `a frame has boot id ${frame.boot}, hello said ${boot}`);
      }
      return `boot id ${boot}`;
    },
  },
  {
    rule: 'LINE-6', title: 'a line with a wrong checksum is not answered and not acted on', ...passive,
    run: async (talk) => {
      let lines = 0;
      for (const bit of [0, 1, 2, 3, 4]) {
        const good = encodeRequest(talk.next(), { word: 'describe', topic: 'timing' }).slice(0, -1);
        for (const at of [0, 2, good.length - 8, good.length - 5, good.length - 4, good.length - 1]) {
          const damaged = good.slice(0, at) + String.fromCharCode(good.charCodeAt(at) ^ (1 << bit)) + good.slice(at + 1);
          await talk.silent(`${damaged}\n`, `a damaged line (${JSON.stringify(damaged)})`);
          lines += 1;
        }
      }
      return `${lines} damaged lines, none answered`;
    },
  },
  {
    rule: 'LINE-9', title: 'what is no request is dropped in silence', ...passive,
    run: async (talk) => {
      const seq = talk.next();
      const others = [
        'hello\n',
        '#FFFF\n',
        ' #FFFF\n',
        sealLine(''),
        sealLine('?'),
        sealLine(`? 65536 alive`),
        sealLine(`? 007 alive`),
        sealLine(`?  ${seq} alive`),
        sealLine(`= ${seq} alive`),
        sealLine(`. ${seq} alive`),
        sealLine(`! ${seq} alive code=busy text=no`),
        withSmallChecksum(talk),
        '\u0000\u0007\u00ff\u0080\n',
      ];
      for (const other of others) await talk.silent(other, JSON.stringify(other));
      return `${others.length} lines, none answered`;
    },
  },
  {
    rule: 'LINE-9', title: 'noise before a line costs that line at most', ...passive,
    run: async (talk) => {
      await talk.silent('\u00f0\u0001~~~?\n', 'noise that ends with LF');
      const lost = encodeRequest(talk.next(), { word: 'alive' });
      await talk.silent(`%$\u00fe${lost}`, 'a request with noise before it');
      return 'the next whole line was answered';
    },
  },
  {
    rule: 'LINE-3', title: 'a line of 120 bytes is heard, one of 121 is not', ...passive,
    run: async (talk) => {
      const seq = talk.next();
      const { answer } = await talk.exchange(padded(seq, LONGEST_TO_CONTROLLER), seq);
      expect(answer.kind === 'refusal' && answer.refusal.code === 'form', 'a line of 120 bytes with a field too many was not refused as form');
      await talk.silent(padded(talk.next(), LONGEST_TO_CONTROLLER + 1), 'a line of 121 bytes');
      return '120 bytes: refused as form; 121 bytes: silence';
    },
  },
  {
    rule: 'LINE-4', title: 'an over-long line is dropped up to its LF', ...passive,
    run: async (talk) => {
      const inside = encodeRequest(talk.next(), { word: 'alive' });
      await talk.silent(`${'x'.repeat(119)}${inside}`, 'a request at the end of an over-long line');
      for (const length of [255, 256, 257, 5_000]) await talk.silent(`${'y'.repeat(length)}\n`, `a line of ${length + 1} bytes`);
      return 'up to 5001 bytes, then answered as before';
    },
  },
  {
    rule: 'LINE-2', title: 'one CR before LF is forgiven, empty lines are ignored', ...passive,
    run: async (talk) => {
      const seq = talk.next();
      await talk.exchange(encodeRequest(seq, { word: 'alive' }).replace('\n', '\r\n'), seq);
      await talk.silent('\n\r\n\n', 'empty lines');
      await talk.silent(encodeRequest(talk.next(), { word: 'alive' }).replace(' alive', '\r alive'), 'a CR inside a line');
      await talk.silent(encodeRequest(talk.next(), { word: 'alive' }).replace('\n', '\r\r\n'), 'two CRs before LF');
      return 'as stated';
    },
  },
  {
    rule: 'LINE-20', title: 'an unknown word is refused as unknown', ...passive,
    run: async (talk) => {
      for (const body of ['frobnicate', 'Alive', 'alives', 'hello-there x=1']) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'unknown' && answer.refusal.word === 'unknown', `${body}: ${text}`);
      }
      return 'four words';
    },
  },
  {
    rule: 'LINE-20', title: 'fields that are not canonical are refused as form', ...passive,
    run: async (talk) => {
      const bodies = [
        'alive x=1', 'alive ', 'deadman', 'deadman ms=', 'deadman ms=01000', 'deadman ms=+1000', 'deadman ms=-1', 'deadman ms=1e3',
        'deadman ms=1000 ', 'deadman  ms=1000', 'deadman ms=1000 ms=1000', 'deadman ms=4294967296', 'deadman mS=1000', 'supply mv=0.5',
        'burst width-ns=1 channel=1 period-us=1 count=1', 'burst channel=1 width-ns=1 period-us=1',
        'hello token=', 'hello token=aaaaaaaaaaaaaaaaa', 'hello token=a/b',
      ];
      for (const body of bodies) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'form', `"${body}" should have been refused as form: ${text}`);
        expect(answer.refusal.word === body.split(' ')[0], `the refusal of "${body}" names another word: ${text}`);
      }
      return `${bodies.length} requests`;
    },
  },
  {
    rule: 'LINE-13', title: 'a repeated request gets the same answer byte for byte', ...passive,
    run: async (talk) => {
      const requests: Request[] = [{ word: 'describe', topic: 'safety' }, { word: 'supply', mv: 4_294_967_295 }, { word: 'alive' }];
      for (const request of requests) {
        const seq = talk.next();
        const line = encodeRequest(seq, request);
        const first = await talk.exchange(line, seq);
        for (let i = 0; i < 3; i += 1) {
          const again = await talk.exchange(line, seq);
          expect(again.text === first.text, `first ${first.text}, then ${again.text}`);
        }
      }
      return 'a reply and a refusal, three times each';
    },
  },
  {
    rule: 'LINE-15', title: 'an older number is refused as stale and not remembered', ...passive,
    run: async (talk) => {
      await talk.done({ word: 'alive' });
      const latest = talk.seq;
      for (const back of [1, 2, 100, 32_768]) {
        const seq = (latest - back) & 0xffff;
        const { answer, text } = await talk.exchange(encodeRequest(seq, { word: 'alive' }), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'stale', `${back} numbers back: ${text}`);
      }
      const { answer } = await talk.exchange(encodeRequest(latest, { word: 'alive' }), latest);
      expect(answer.kind === 'reply', 'after a stale request the latest one was forgotten');
      return '1, 2, 100 and 32768 numbers back';
    },
  },
  {
    rule: 'LINE-14', title: 'numbers may jump 32767 ahead and pass from 65535 to 0', ...passive,
    run: async (talk) => {
      talk.seq = (talk.seq + 32_766) & 0xffff;
      await talk.done({ word: 'alive' });
      talk.seq = 65_533;
      await talk.hello();
      for (let i = 0; i < 3; i += 1) await talk.done({ word: 'alive' });
      return 'as stated';
    },
  },
  {
    rule: 'LINE-27', title: 'dead-man times outside the stated range are refused', ...passive,
    run: async (talk) => {
      const { deadmanMinMs, deadmanMaxMs } = await talk.describe('safety');
      await talk.refused({ word: 'deadman', ms: deadmanMinMs - 1 }, 'range');
      await talk.refused({ word: 'deadman', ms: deadmanMaxMs + 1 }, 'range');
      await talk.refused({ word: 'deadman', ms: 4_294_967_295 }, 'range');
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      await talk.done({ word: 'deadman', ms: deadmanMaxMs });
      return `${deadmanMinMs} to ${deadmanMaxMs} ms`;
    },
  },
  {
    rule: 'LINE-28', title: 'telemetry comes at the set rate and cannot be switched off', ...passive,
    run: async (talk) => {
      const { telemetryMaxHz } = await talk.describe('safety');
      await talk.refused({ word: 'telemetry', hz: 0 }, 'range');
      await talk.refused({ word: 'telemetry', hz: telemetryMaxHz + 1 }, 'range');
      const seen: string[] = [];
      for (const hz of [...new Set([5, Math.min(20, telemetryMaxHz), telemetryMaxHz])]) {
        await talk.done({ word: 'telemetry', hz });
        const first = await talk.frame();
        let last = first;
        for (let i = 0; i < 10; i += 1) last = await talk.rawFrame();
        const mean = (last.atUs - first.atUs) / 10;
        expect(Math.abs(mean - 1e6 / hz) <= 2e4 / hz, `at ${hz} Hz the frames are ${mean} us apart`);
        seen.push(`${hz} Hz: ${mean} us`);
      }
      return seen.join('; ');
    },
  },
  {
    rule: 'LINE-40', title: 'frames are numbered without a gap, and the clock goes forward', ...passive,
    run: async (talk) => {
      let before = await talk.frame();
      for (let i = 0; i < 20; i += 1) {
        const frame = await talk.rawFrame();
        expect(frame.frame === before.frame + 1, `frame ${before.frame} was followed by ${frame.frame}`);
        expect(frame.atUs > before.atUs, `the clock went from ${before.atUs} to ${frame.atUs}`);
        expect(frame.edges >= before.edges && frame.lastEdgeUs >= before.lastEdgeUs, 'the meter counted backwards');
        expect(frame.lastEdgeUs <= frame.atUs, 'an edge in the future');
        expect(frame.done <= frame.commanded, 'more pulses done than commanded');
        before = frame;
      }
      return '20 frames';
    },
  },
  {
    rule: 'LINE-31', title: 'a disarmed bench takes no supply above the safe value', ...passive,
    run: async (talk) => {
      const supply = await talk.describe('supply');
      await talk.refused({ word: 'supply', mv: supply.maxMv + 1 }, 'range');
      await talk.done({ word: 'supply', mv: supply.safeMv });
      if (supply.maxMv === supply.safeMv) return 'the safe value is the highest';
      const answer = await talk.ask({ word: 'supply', mv: aboveSafe(supply) });
      const code = answer.kind === 'refusal' ? answer.refusal.code : 'carried out';
      expect(code === 'not-armed' || code === 'fault', `above the safe value: ${code}`);
      return `refused as ${code}`;
    },
  },
  {
    rule: 'LINE-33', title: 'a disarmed bench drives no pulse', ...passive,
    run: async (talk) => {
      const before = await talk.frame();
      const answer = await talk.ask(await talk.smallBurst(1));
      const code = answer.kind === 'refusal' ? answer.refusal.code : 'carried out';
      expect(code === 'not-armed' || code === 'fault', `burst: ${code}`);
      const after = await talk.frame();
      expect(after.burst === before.burst && after.done === before.done && !after.active, 'a refused burst changed the burst');
      return `refused as ${code}`;
    },
  },
  {
    rule: 'LINE-21', title: 'a burst outside the limits is refused as range, also when disarmed', ...passive,
    run: async (talk) => {
      const timing = await talk.describe('timing');
      const { channels } = await talk.hello();
      const good = await talk.smallBurst(1);
      const bad: Partial<typeof good>[] = [
        { channel: 0 }, { channel: channels + 1 }, { widthNs: timing.minWidthNs - 1 }, { widthNs: timing.maxWidthNs + 1 },
        { periodUs: timing.minPeriodUs - 1 }, { periodUs: timing.maxPeriodUs + 1 }, { count: 0 }, { count: timing.maxCount + 1 },
      ];
      for (const change of bad) await talk.refused({ ...good, ...change }, 'range');
      return `${bad.length} bursts`;
    },
  },
  {
    rule: 'LINE-35', title: 'duty over 100 % is refused as range', ...passive,
    run: async (talk) => {
      const timing = await talk.describe('timing');
      const periodUs = timing.minPeriodUs;
      const widthNs = (Math.floor((periodUs * 1_000) / timing.tickNs) + 1) * timing.tickNs;
      if (widthNs > timing.maxWidthNs) throw new NotApplicable('the longest pulse is shorter than the shortest period');
      await talk.refused({ word: 'burst', channel: 1, widthNs, periodUs, count: 1 }, 'range');
      return `${widthNs} ns in ${periodUs} us refused`;
    },
  },
  {
    rule: 'LINE-32', title: 'pressure is refused where it cannot be commanded, and outside its range', ...passive,
    run: async (talk) => {
      const pressure = await talk.describe('pressure');
      if (!pressure.commandable) {
        await talk.refused({ word: 'pressure', pa: 400_000 }, 'unsupported');
        return 'set by hand; refused as unsupported';
      }
      await talk.refused({ word: 'pressure', pa: pressure.maxPa + 1 }, 'range');
      if (pressure.minPa > 0) await talk.refused({ word: 'pressure', pa: pressure.minPa - 1 }, 'range');
      const answer = await talk.ask({ word: 'pressure', pa: pressure.minPa });
      expect(answer.kind === 'reply' || answer.refusal.code === 'fault', 'the lowest pressure was refused');
      return `${pressure.minPa} to ${pressure.maxPa} Pa`;
    },
  },
  {
    rule: 'LINE-39', title: 'clear and halt with nothing to do are answered', ...passive,
    run: async (talk) => {
      await talk.done({ word: 'halt' });
      const { fault } = await talk.frame();
      if (fault !== '') throw new NotApplicable(`the fault ${fault} cannot be cleared at present`);
      await talk.done({ word: 'clear' });
      return 'answered';
    },
  },
  {
    rule: 'LINE-29', title: 'arm arms, also twice; LINE-30: safe disarms', ...arming,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      await talk.done({ word: 'arm' });
      const frame = await talk.frame();
      expect(frame.armed, 'not armed after arm');
      const { interlocks } = await talk.describe('safety');
      const open = interlocks.filter((_, bit) => (frame.interlocks & (1 << bit)) === 0);
      expect(open.length === 0, `LINE-107: armed, and the frame says that these interlocks are open: ${open.join(', ')}`);
      await talk.done({ word: 'safe' });
      expect(!(await talk.frame()).armed, 'still armed after safe');
      await talk.done({ word: 'safe' });
      return 'seen in telemetry';
    },
  },
  {
    rule: 'LINE-33', title: 'a burst is counted, driven to its end and reported', ...energising,
    run: async (talk) => {
      const before = await talk.frame();
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(3);
      for (let i = 1; i <= 2; i += 1) {
        const { number } = await talk.startBurst(burst);
        expect(number === before.burst + i, `burst ${before.burst + i} was numbered ${number}`);
        const end = await talk.until(2_000, 'the end of the burst', (f) => !f.active);
        expect(end.burst === number && end.commanded === 3 && end.done === 3, `burst ${end.burst}: ${end.done} of ${end.commanded} pulses`);
      }
      return 'two bursts of three pulses';
    },
  },
  {
    rule: 'LINE-13', title: 'a repeated burst request is not driven again', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(2);
      const seq = talk.next();
      const line = encodeRequest(seq, burst);
      const first = await talk.exchange(line, seq);
      const during = await talk.exchange(line, seq);
      const end = await talk.until(2_000, 'the end of the burst', (f) => !f.active);
      const after = await talk.exchange(line, seq);
      expect(first.text === during.text && first.text === after.text, 'the copies were answered differently');
      const later = await talk.frame();
      expect(later.burst === end.burst && !later.active && later.done === 2, `burst ${later.burst} with ${later.done} pulses after the copies; it was ${end.burst} with 2`);
      return 'one burst, three equal answers';
    },
  },
  {
    rule: 'LINE-34', title: 'the width is rounded to the tick and stated', ...energising,
    run: async (talk) => {
      const { tickNs, minWidthNs, maxWidthNs } = await talk.describe('timing');
      if (tickNs < 2) throw new NotApplicable('the tick is 1 ns');
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(1);
      const ticks = Math.ceil(minWidthNs / tickNs) + 1;
      const half = Math.ceil(tickNs / 2);
      for (const [asked, expected] of [[ticks * tickNs, ticks], [ticks * tickNs + half - 1, ticks], [ticks * tickNs + half, ticks + 1]] as const) {
        if (asked > maxWidthNs) continue;
        const { widthNs } = await talk.startBurst({ ...burst, widthNs: asked });
        expect(widthNs === expected * tickNs, `${asked} ns was rounded to ${widthNs} ns; it should be ${expected * tickNs} ns`);
        await talk.until(2_000, 'the end of the burst', (f) => !f.active);
      }
      return `tick ${tickNs} ns`;
    },
  },
  {
    rule: 'LINE-36', title: 'a second burst is refused as busy and the first goes on', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(5, 100);
      const { number } = await talk.startBurst(burst);
      await talk.refused(burst, 'busy');
      await talk.refused({ ...burst, channel: 0 }, 'range');
      const end = await talk.until(5_000, 'the end of the burst', (f) => !f.active);
      expect(end.burst === number && end.done === 5, `burst ${end.burst} ended with ${end.done} of 5 pulses`);
      return 'five of five pulses';
    },
  },
  {
    rule: 'LINE-38', title: 'halt ends the burst and leaves the bench armed', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(50, 100);
      await talk.startBurst(burst);
      await talk.until(2_000, 'the first pulse', (f) => f.done >= 1);
      await talk.done({ word: 'halt' });
      const halted = await talk.until(1_000, 'the end of the burst', (f) => !f.active);
      const later = await talk.frame();
      expect(later.done === halted.done && later.done < 50 && later.commanded === 50, `${later.done} of ${later.commanded} pulses after halt`);
      expect(later.armed, 'halt disarmed the bench');
      await talk.startBurst({ ...burst, count: 1 });
      return `${later.done} of 50 pulses, then a new burst was taken`;
    },
  },
  {
    rule: 'LINE-54', title: 'safe ends the burst, lowers the supply and disarms', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const safeMv = await raiseSupply(talk);
      await talk.startBurst(await talk.smallBurst(50, 100));
      await talk.done({ word: 'safe' });
      const safe = await talk.frame();
      expect(!safe.armed && !safe.active && safe.fault === '', 'after safe the bench is armed, pulsing or faulty');
      const later = await talk.until(SUPPLY_FALLS_WITHIN_MS, 'the supply at its safe value', (f) => f.supplyMv <= safeMv + SUPPLY_TOLERANCE_MV);
      expect(later.done === safe.done, 'pulses went on after safe');
      return `supply read back ${later.supplyMv} mV, ${later.done} of 50 pulses`;
    },
  },
  {
    rule: 'LINE-55', title: 'silence: the dead-man makes safe and latches', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const safety = await talk.describe('safety');
      const setUs = safety.deadmanMinMs * 1_000;
      const burst = await talk.smallBurst(50, 100);
      await talk.done({ word: 'arm' });
      const safeMv = await raiseSupply(talk);
      await talk.startBurst(burst);
      const before = await talk.frame();
      await talk.done({ word: 'deadman', ms: safety.deadmanMinMs });
      await talk.rawFrame();
      const after = await talk.rawFrame();
      let last = after;
      let frame = after;
      while (frame.fault === '') {
        expect(frame.atUs - after.atUs <= setUs + 1_000_000, `no dead-man a second after ${safety.deadmanMinMs} ms were over`);
        expect(frame.armed, 'disarmed without a fault');
        last = frame;
        frame = await talk.rawFrame();
      }
      expect(frame.fault === 'dead-man', `the fault is ${frame.fault}`);
      expect(!frame.armed && !frame.active, 'armed or pulsing with the fault latched');
      // Between `before` and `after` lies the request, between `last` and `frame` the dead-man.
      expect(frame.atUs - before.atUs >= setUs, `acted ${frame.atUs - before.atUs} us after a frame before the last request, too early`);
      expect(last.atUs - after.atUs <= setUs + REACTION_MS * 1_000, `still armed ${last.atUs - after.atUs} us after the last request, too late`);
      const later = await talk.until(SUPPLY_FALLS_WITHIN_MS, 'the supply at its safe value', (f) => f.supplyMv <= safeMv + SUPPLY_TOLERANCE_MV);
      expect(later.done === frame.done && later.done < 50, 'pulses went on after the dead-man');
      return `set ${safety.deadmanMinMs} ms, seen between ${(last.atUs - after.atUs) / 1_000} and ${(frame.atUs - before.atUs) / 1_000} ms`;
    },
  },
  {
    rule: 'LINE-62', title: 'a latched fault refuses work until clear; the bench stays disarmed', ...arming,
    run: async (talk) => {
      await fireDeadMan(talk);
      await talk.refused({ word: 'arm' }, 'fault');
      await talk.refused(await talk.smallBurst(1), 'fault');
      const supply = await talk.describe('supply');
      if (supply.maxMv > supply.safeMv) await talk.refused({ word: 'supply', mv: aboveSafe(supply) }, 'fault');
      const pressure = await talk.describe('pressure');
      if (pressure.commandable) await talk.refused({ word: 'pressure', pa: pressure.minPa }, 'fault');
      await talk.done({ word: 'safe' });
      await talk.hello();
      expect((await talk.frame()).fault === 'dead-man', 'the fault went away without clear');
      await talk.done({ word: 'clear' });
      const cleared = await talk.frame();
      expect(cleared.fault === '' && !cleared.armed, 'after clear the fault is still there or the bench is armed');
      await talk.done({ word: 'arm' });
      return 'refused, kept over hello and safe, cleared, armed again';
    },
  },
  {
    rule: 'LINE-56', title: 'bad and stale lines do not feed the dead-man', ...arming,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const { deadmanMinMs } = await talk.describe('safety');
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      const stale = encodeRequest((talk.seq - 1) & 0xffff, { word: 'alive' });
      const steps = 12;
      for (let i = 0; i < steps; i += 1) {
        talk.port.send(`${stale}? 1 alive #0000\nnoise\n`);
        await talk.port.wait(deadmanMinMs / 4);
      }
      while ((await talk.port.nextLine(0)) !== null) {
        // refusals of the stale copies, and frames
      }
      expect((await talk.frame()).fault === 'dead-man', 'the bench is still armed');
      return `fell after ${deadmanMinMs} ms although lines kept coming`;
    },
  },
  {
    rule: 'LINE-56', title: 'refused and repeated requests feed the dead-man', ...arming,
    run: async (talk) => {
      const { deadmanMinMs, deadmanMaxMs } = await talk.describe('safety');
      await talk.done({ word: 'arm' });
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      const pause = deadmanMinMs / 3;
      for (let i = 0; i < 9; i += 1) {
        await talk.refused({ word: 'telemetry', hz: 0 }, 'range');
        await talk.port.wait(pause);
      }
      const seq = talk.next();
      const line = encodeRequest(seq, { word: 'alive' });
      for (let i = 0; i < 9; i += 1) {
        await talk.exchange(line, seq);
        await talk.port.wait(pause);
      }
      await talk.done({ word: 'deadman', ms: deadmanMaxMs });
      const frame = await talk.frame();
      expect(frame.armed && frame.fault === '', `armed ${frame.armed}, fault ${frame.fault}`);
      return 'still armed after six times the set time';
    },
  },
  {
    rule: 'LINE-80', title: 'describe with an unknown topic is refused as form; the extensions are listed or refused like that', ...passive,
    run: async (talk) => {
      for (const body of ['describe topic=weather', 'describe topic=Timing']) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'form' && answer.refusal.word === 'describe', `"${body}": ${text}`);
      }
      const names = await talk.extensions();
      return names.length === 0 ? 'no extensions' : `extensions ${names.join(', ')}`;
    },
  },
  {
    rule: 'LINE-101', title: 'a whole line with a strange body is answered', ...passive,
    run: async (talk) => {
      for (const [body, word, code] of [
        [' alive', 'unknown', 'unknown'], ['', 'unknown', 'unknown'], ['alive  ', 'alive', 'form'], ['a'.repeat(25), 'unknown', 'unknown'],
        ['supply mv=4294967296', 'supply', 'form'], ['supply mv=99999999999999999999', 'supply', 'form'],
      ] as const) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.word === word && answer.refusal.code === code, `"${body}" should have been refused as ${word} ${code}: ${text}`);
      }
      return 'six bodies';
    },
  },
  {
    rule: 'LINE-106', title: 'answers come within 50 ms', ...passive,
    run: async (talk) => {
      const asked = 20;
      const before = await talk.frame();
      for (let i = 0; i < asked; i += 1) await talk.done({ word: 'alive' });
      const { atUs } = await talk.timed(EASY_TELEMETRY_HZ);
      const each = (atUs - before.atUs) / 1e3 / asked;
      // One interval and the host's own delay lie before the first of them.
      const allowed = REACTION_MS + (1_000 / EASY_TELEMETRY_HZ + HOST_MS) / asked;
      expect(each <= allowed, `an answer takes ${each.toFixed(1)} ms on the average of ${asked}`);
      return `${each.toFixed(1)} ms on the average, host and line included`;
    },
  },
  {
    rule: 'LINE-103', title: 'frames come evenly', ...passive,
    run: async (talk) => {
      await talk.done({ word: 'telemetry', hz: EASY_TELEMETRY_HZ });
      const interval = 1e6 / EASY_TELEMETRY_HZ;
      let before = await talk.frame();
      let worst = 0;
      for (let i = 0; i < 30; i += 1) {
        const frame = await talk.rawFrame();
        worst = Math.max(worst, Math.abs((frame.atUs - before.atUs) / (frame.frame - before.frame) - interval));
        before = frame;
      }
      expect(worst <= interval / 5, `an interval differs by ${worst} us from ${interval} us`);
      return `within ${worst} us of ${interval} us`;
    },
  },
  {
    rule: 'LINE-91', title: 'every input states its scale, and the trip limits lie inside', ...passive,
    run: async (talk) => {
      await talk.needs('calibration');
      const { scales, stored } = await talk.describe('calibration');
      const { tripMa, tripPa, tripMilliC } = await talk.describe('safety');
      for (const [input, trip] of [['current', tripMa], ['pressure', tripPa], ['rail', tripMilliC], ['meter', tripMilliC]] as const) {
        const { zero, full } = scales[input];
        expect(zero < trip && trip < full, `the trip limit ${trip} of ${input} lies outside ${zero} to ${full}, so it can never be seen`);
      }
      // Outside any range: refused, and nothing changed.
      await talk.refused({ word: 'calibrate', input: 'pressure', zero: 1, full: 0 }, 'range');
      const after = await talk.describe('calibration');
      expect(JSON.stringify(after.scales) === JSON.stringify(scales), 'a refused calibration changed the scales');
      return `${Object.entries(scales).map(([input, { zero, full }]) => `${input} ${zero} to ${full}`).join(', ')}; ${stored ? 'stored' : 'of the program'}`;
    },
  },
  {
    rule: 'LINE-96', title: 'the watched limits are stated', ...passive,
    run: async (talk) => {
      await talk.needs('watch');
      const w = await talk.describe('watch');
      expect(w.sensorLowPermille < w.sensorHighPermille && w.frozenMs > 0 && w.idleMs > 0 && w.idleMs <= 1_000, 'the limits contradict each other');
      return `meter to ${w.meterMaxHz} Hz, idle ${w.idleMa} mA or ${w.idleEdges} edges in ${w.idleMs} ms`;
    },
  },
  {
    rule: 'LINE-98', title: 'bad lines are counted where they can be read', ...passive,
    run: async (talk) => {
      await talk.needs('health');
      const before = await talk.describe('health');
      await talk.silent('nonsense\n', 'a bad line');
      await talk.silent(`${'z'.repeat(300)}\n`, 'an over-long line');
      const after = await talk.describe('health');
      expect(after.badLines - before.badLines === 2, `two bad lines were counted as ${after.badLines - before.badLines}`);
      expect(after.starts >= 1 && after.starts === before.starts, 'the count of starts changed');
      return `start ${after.starts} by ${after.cause}, ${after.badLines} bad lines, ${after.byteErrors} damaged bytes, ${after.stackFree} bytes of stack never used`;
    },
  },
  {
    rule: 'LINE-84', title: 'pump and valves need an armed bench, are read back, and drop with safe', ...energising,
    run: async (talk) => {
      await talk.needs('rail');
      const outputs = await talk.describe('rail');
      const feeds = outputs.pump || outputs.relief;
      const state = () => talk.done({ word: 'rail' }) as Promise<Extract<Reply, { word: 'rail' }>>;
      const off = { word: 'rail', pumping: false, relieved: outputs.relief, shut: false, keeping: false };
      const isOff = async (when: string) => {
        const now = await state();
        expect(JSON.stringify(now) === JSON.stringify(off), `LINE-88: ${when} the rail stands at ${JSON.stringify(now)}`);
      };
      await isOff('after safe');
      await talk.refused({ word: 'pump', on: true }, feeds ? 'not-armed' : 'unsupported');
      await talk.refused({ word: 'shut-off', shut: true }, outputs.shutOff ? 'not-armed' : 'unsupported');
      await talk.refused({ word: 'keep-pressure' }, 'not-armed');
      await talk.done({ word: 'arm' });
      await isOff('after arming');
      if (feeds) await talk.done({ word: 'pump', on: true });
      if (outputs.shutOff) await talk.done({ word: 'shut-off', shut: true });
      const on = await state();
      expect(on.pumping === outputs.pump && !on.relieved && on.shut === outputs.shutOff && !on.keeping, `pump and valves on: ${JSON.stringify(on)}`);
      // LINE-86
      await talk.done({ word: 'keep-pressure' });
      const kept = await state();
      expect(kept.keeping && kept.pumping === on.pumping && kept.shut === on.shut && !kept.relieved, `keeping the pressure: ${JSON.stringify(kept)}`);
      expect(!(await talk.frame()).armed, 'keep-pressure left the bench armed');
      await talk.refused(await talk.smallBurst(1), 'not-armed');
      const { deadmanMinMs } = await talk.describe('safety');
      await talk.done({ word: 'deadman', ms: deadmanMinMs });
      await talk.until(deadmanMinMs + 2_000, 'the dead-man of a bench that keeps its pressure', (f) => f.fault === 'dead-man');
      await isOff('after the dead-man');
      return `pump ${outputs.pump ? 'yes' : 'no'}, relief valve ${outputs.relief ? 'yes' : 'no'}, shut-off valve ${outputs.shutOff ? 'yes' : 'no'}`;
    },
  },
  {
    rule: 'LINE-16', title: 'hello leaves outputs and arming as they are', ...energising,
    run: async (talk) => {
      await talk.done({ word: 'arm' });
      const safeMv = await raiseSupply(talk);
      const { maxMv } = await talk.describe('supply');
      const raised = Math.min(maxMv, safeMv + 1_000);
      if (raised > safeMv + 2 * SUPPLY_TOLERANCE_MV) {
        await talk.until(SUPPLY_FALLS_WITHIN_MS, 'the supply at its value', (f) => f.supplyMv >= raised - SUPPLY_TOLERANCE_MV);
      }
      const before = await talk.frame();
      await talk.hello();
      const after = await talk.until(1_000, 'a frame after hello', (f) => f.atUs > before.atUs + 300_000);
      expect(after.armed, 'hello disarmed the bench');
      expect(Math.abs(after.supplyMv - before.supplyMv) <= SUPPLY_TOLERANCE_MV, `hello changed the supply from ${before.supplyMv} to ${after.supplyMv} mV`);
      return 'armed as before, supply as before';
    },
  },
  {
    rule: 'LINE-37', title: 'the first pulse comes within 10 ms, the others a period apart', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const { telemetryMaxHz } = await talk.describe('safety');
      const hz = Math.min(100, telemetryMaxHz);
      await talk.done({ word: 'arm' });
      const burst = await talk.smallBurst(400, 5);
      await talk.startBurst(burst);
      const { atUs: requestedBefore, first } = await talk.timed(hz);
      const widthUs = burst.widthNs / 1e3;
      // Each frame says between which two falling edges it lies: the start of the first pulse is narrowed down by all of them.
      let earliest = Number.NEGATIVE_INFINITY;
      let latest = Number.POSITIVE_INFINITY;
      let frame = first;
      while (frame.active) {
        earliest = Math.max(earliest, frame.atUs - frame.done * burst.periodUs - widthUs);
        if (frame.done > 0) latest = Math.min(latest, frame.atUs - (frame.done - 1) * burst.periodUs - widthUs);
        frame = await talk.rawFrame();
      }
      expect(frame.done === burst.count, `${frame.done} of ${burst.count} pulses`);
      expect(earliest <= latest + 1_000, `the pulses are not ${burst.periodUs} us apart: they drift by ${earliest - latest} us in ${burst.count} of them`);
      expect(earliest <= requestedBefore + 10_000 + 1_000, `the first pulse came ${earliest - requestedBefore} us after the request at the earliest`);
      return `period ${burst.periodUs} us over ${burst.count} pulses`;
    },
  },
  {
    rule: 'LINE-34', title: 'a pulse lasts as long as the reply states', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const { telemetryMaxHz } = await talk.describe('safety');
      const hz = Math.min(100, telemetryMaxHz);
      const burst = await talk.longBurst(1);
      await talk.done({ word: 'arm' });
      const before = await talk.frame();
      const { widthNs } = await talk.startBurst(burst);
      const { atUs: requestedBefore, first } = await talk.timed(hz);
      let last = before;
      let frame = first;
      while (frame.active) {
        last = frame;
        frame = await talk.rawFrame();
      }
      expect(frame.done === 1, `${frame.done} of 1 pulses`);
      const widthUs = widthNs / 1e3;
      expect(last.atUs <= requestedBefore + 10_000 + widthUs + 1_000, `a pulse of ${widthUs} us still went on ${last.atUs - requestedBefore} us after its request`);
      expect(frame.atUs >= before.atUs + widthUs, `a pulse of ${widthUs} us was over ${frame.atUs - before.atUs} us after a frame before it`);
      return `${widthUs / 1e3} ms`;
    },
  },
  {
    rule: 'LINE-38', title: 'halt lets the pulse in progress run to its end, and it counts', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const burst = await talk.longBurst(3);
      await talk.done({ word: 'arm' });
      await talk.startBurst(burst);
      await talk.port.wait(INTO_PULSE_MS);
      await talk.done({ word: 'halt' });
      const end = await talk.until(1_000, 'the end of the burst', (f) => !f.active);
      expect(end.done === 1 && end.commanded === 3, `halted in the first pulse: ${end.done} of ${end.commanded} pulses are done`);
      return 'one pulse of three, whole';
    },
  },
  {
    rule: 'LINE-45', title: 'a pulse that was cut short is not counted', ...energising,
    run: async (talk) => {
      await fastTelemetry(talk);
      const burst = await talk.longBurst(3);
      await talk.done({ word: 'arm' });
      await talk.startBurst(burst);
      await talk.port.wait(INTO_PULSE_MS);
      await talk.done({ word: 'safe' });
      const cut = await talk.frame();
      const later = await talk.until(1_000, 'a frame after the pulse would have ended', (f) => f.atUs > cut.atUs + 2 * LONG_PULSE_MS * 1e3);
      expect(!cut.active && later.done === 0, `${later.done} pulses are done, and the first was cut`);
      return 'none of three';
    },
  },
  {
    rule: 'LINE-90', title: 'the burst is echoed as it was asked for, its channel too', ...energising,
    run: async (talk) => {
      await talk.needs('echo');
      const { channels } = await talk.hello();
      await talk.done({ word: 'arm' });
      const small = await talk.smallBurst(1);
      for (const channel of new Set([1, Math.ceil(channels / 2), channels])) {
        const { number, widthNs } = await talk.startBurst({ ...small, channel });
        const echo = await talk.done({ word: 'echo' });
        const right = { word: 'echo', number, channel, widthNs, periodUs: small.periodUs, count: small.count };
        expect(JSON.stringify(echo) === JSON.stringify(right), `asked for ${JSON.stringify(right)}, driven is ${JSON.stringify(echo)}`);
        await talk.until(2_000, 'the end of the burst', (f) => !f.active);
      }
      return 'first, middle and last channel';
    },
  },
  {
    rule: 'LINE-55', title: 'the dead-man keeps its time', ...arming,
    run: async (talk) => {
      const { deadmanMaxMs, telemetryMaxHz } = await talk.describe('safety');
      const setMs = Math.min(2_000, deadmanMaxMs);
      const hz = Math.min(EASY_TELEMETRY_HZ, telemetryMaxHz);
      await talk.done({ word: 'arm' });
      await talk.done({ word: 'deadman', ms: setMs });
      // The last request is the one that times itself.
      const { atUs, first } = await talk.timed(hz);
      let last = first;
      let frame = first;
      while (frame.fault === '') {
        expect(frame.atUs <= atUs + setMs * 1e3 + 1e6, `no dead-man a second after ${setMs} ms were over`);
        last = frame;
        frame = await talk.rawFrame();
      }
      expect(frame.atUs >= atUs + setMs * 1e3, `acted ${(frame.atUs - atUs) / 1e3} ms after the last request at the latest; ${setMs} ms were set`);
      expect(last.atUs <= atUs + (setMs + REACTION_MS) * 1e3, `still armed ${(last.atUs - atUs) / 1e3} ms after the last request; ${setMs} ms were set`);
      return `set ${setMs} ms, acted between ${(last.atUs - atUs) / 1e3} and ${(frame.atUs - atUs) / 1e3} ms`;
    },
  },
  {
    rule: 'LINE-52', title: 'after a reset: no-hello, a new boot id, frames from 0, disarmed, dead-man and rate at their defaults', ...arming,
    run: async (talk) => {
      const reset = talk.port.reset?.bind(talk.port);
      if (reset === undefined) throw new NotApplicable('this port cannot press the reset button');
      const { boot } = await talk.hello();
      await talk.done({ word: 'arm' });
      await reset();
      const frame = await firstFrameOfAnotherBoot(talk, boot);
      expect(frame.frame <= 1, `the first frame after the reset is number ${frame.frame}`);
      expect(!frame.armed && !frame.active && frame.burst === 0 && frame.done === 0, 'armed or with a burst after the reset');
      await talk.refused({ word: 'arm' }, 'no-hello');
      await talk.refused({ word: 'alive' }, 'no-hello');
      // LINE-102
      for (const [body, word] of [['frobnicate', 'unknown'], ['hello token=', 'hello'], ['describe topic=weather', 'describe']] as const) {
        const seq = talk.next();
        const { answer, text } = await talk.exchange(sealed(seq, body), seq);
        expect(answer.kind === 'refusal' && answer.refusal.code === 'no-hello' && answer.refusal.word === word, `"${body}" before a hello: ${text}`);
      }
      const next = await talk.hello();
      expect(next.boot !== boot, `the boot id is still ${boot}`);
      const one = await talk.rawFrame();
      const two = await talk.rawFrame();
      const apart = (two.atUs - one.atUs) / (two.frame - one.frame);
      expect(Math.abs(apart - 100_000) <= 2_000, `frames are ${apart} us apart after the reset; 10 Hz is the default`);
      return `boot id ${boot}, then ${next.boot}`;
    },
  },
];

async function firstFrameOfAnotherBoot(talk: Talk, boot: string): Promise<Telemetry> {
  for (;;) {
    const text = await talk.port.nextLine(STARTED_WITHIN_MS);
    expect(text !== null, 'no telemetry after the reset');
    // A line that the reset cut short is nobody's fault.
    const line = decodeFromController(text);
    if (line.kind === 'telemetry' && line.telemetry.boot !== boot) return line.telemetry;
  }
}

/** Arms nothing by itself: one volt above the safe value, or less where the bench has less. Gives the safe value. */
async function raiseSupply(talk: Talk): Promise<number> {
  const { safeMv, minMv, maxMv } = await talk.describe('supply');
  await talk.done({ word: 'supply', mv: Math.min(maxMv, Math.max(minMv, safeMv + 1_000)) });
  return safeMv;
}

/** The least that needs an armed bench (LINE-31, LINE-100). */
function aboveSafe({ minMv, safeMv }: Description<'supply'>): number {
  return Math.max(minMv, safeMv + 1);
}

async function fastTelemetry(talk: Talk): Promise<void> {
  const { telemetryMaxHz } = await talk.describe('safety');
  await talk.done({ word: 'telemetry', hz: Math.min(100, telemetryMaxHz) });
}

async function fireDeadMan(talk: Talk): Promise<void> {
  const { deadmanMinMs } = await talk.describe('safety');
  await talk.done({ word: 'arm' });
  await talk.done({ word: 'deadman', ms: deadmanMinMs });
  await talk.until(deadmanMinMs + 2_000, 'the dead-man', (f) => f.fault === 'dead-man');
}

/** What would be checked, for a person who has to allow it first. */
export const conformanceChecks: readonly { readonly rule: string; readonly title: string; readonly energises: boolean }[] =
  checks.map(({ rule, title, energises }) => ({ rule, title, energises }));

export interface ConformanceOptions {
  /** false: the checks that drive a channel or raise the supply are left out. */
  readonly energise: boolean;
  /** Told after each check. */
  readonly onResult?: (result: ConformanceResult) => void;
  /** Ends the checks early: the one that is going on is cut and has no result, and the bench is left safe at once. */
  readonly signal?: AbortSignal | undefined;
}

/**
 * Runs every check, one after the other, and leaves the bench safe. One result per check, in the order of
 * `conformanceChecks`, and a last one that says whether the bench was seen safe at the end.
 */
export async function runConformance(port: ControllerPort, options: ConformanceOptions): Promise<readonly ConformanceResult[]> {
  const talk = new Talk(port);
  const results: ConformanceResult[] = [];
  const record = (rule: string, title: string, result: ConformanceResult['result'], detail: string) => {
    const entry = { rule, title, result, detail };
    results.push(entry);
    options.onResult?.(entry);
  };
  const { signal } = options;
  for (const check of checks) {
    if (signal?.aborted === true) break;
    if (check.energises && !options.energise) {
      record(check.rule, check.title, 'not-applicable', 'Left out: it would drive an injector channel, the supply or the pump.');
      continue;
    }
    if (signal !== undefined) talk.port = cuttable(port, signal);
    try {
      await talk.restore();
      if (check.arms) await showThatItArms(talk);
      record(check.rule, check.title, 'pass', await check.run(talk));
    } catch (error) {
      if (error instanceof NotApplicable) record(check.rule, check.title, 'not-applicable', error.message);
      else if (error instanceof Failure) record(check.rule, check.title, 'fail', error.message);
      else if (!(error instanceof Cut)) throw error;
    } finally {
      talk.port = port;
      // Whatever happened, and unheard if need be: these two need no answer to work.
      talk.port.send(`\n${encodeRequest(talk.next(), { word: 'hello', token: talk.freshToken() })}`);
      talk.port.send(encodeRequest(talk.next(), { word: 'safe' }));
      await talk.port.wait(2 * REACTION_MS);
    }
  }
  const title = 'the bench is left safe';
  try {
    await talk.restore();
    await talk.done({ word: 'deadman', ms: 1_000 });
    const { safeMv } = await talk.describe('supply');
    const frame = await talk.until(
      SUPPLY_FALLS_WITHIN_MS, 'the supply at its safe value', (f) => f.supplyMv <= safeMv + SUPPLY_TOLERANCE_MV,
    );
    expect(!frame.armed && !frame.active, 'the bench is armed or pulsing');
    record('LINE-54', title, 'pass', `disarmed, no burst, supply read back ${frame.supplyMv} mV`);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    record('LINE-54', title, 'fail', `${error.message}. Press the emergency stop and switch the supply off by hand.`);
  }
  return results;
}

/** Nothing goes through it, in either direction, once the signal has come. */
function cuttable(port: ControllerPort, signal: AbortSignal): ControllerPort {
  const look = (): void => {
    if (signal.aborted) throw new Cut();
  };
  const looking = async <T>(call: () => Promise<T>): Promise<T> => {
    look();
    const result = await call();
    look();
    return result;
  };
  return {
    send: (text) => {
      look();
      port.send(text);
    },
    nextLine: (timeoutMs) => looking(() => port.nextLine(timeoutMs)),
    wait: (ms) => looking(() => port.wait(ms)),
    ...(port.reset === undefined ? {} : { reset: () => looking(() => port.reset?.() ?? Promise.resolve()) }),
  };
}

async function showThatItArms(talk: Talk): Promise<void> {
  const answer = await talk.ask({ word: 'arm' });
  if (answer.kind === 'refusal' && (answer.refusal.code === 'interlock' || answer.refusal.code === 'fault')) {
    throw new NotApplicable(`The bench cannot be armed at present (${answer.refusal.code}): ${answer.refusal.text}`);
  }
  await talk.done({ word: 'safe' });
}
