/** Rules named LINE-n are those of firmware-protocol/README.md. */
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { afterEach, expect, test } from 'vitest';
import { sealLine } from '../../firmware-protocol/line/codec.ts';
import { encodeRefusal, encodeReply, encodeTelemetry, decodeFromHost, type FromHost, type Reply, type Request, type Telemetry } from '../../firmware-protocol/line/messages.ts';
import { VirtualClock, wait, type Clock } from '../clock/clock.ts';
import type { Channel, ChannelEvents } from './channel.ts';
import { Link, type LinkOptions } from './link.ts';

const REPLY_TIMEOUT = 200;

/** A wire whose far end is the test. */
class TestWire implements Channel {
  readonly description = 'a wire in a test';
  readonly sent: { readonly at: number; readonly text: string }[] = [];
  closed = false;
  /** What it was opened with: a port may also tell something after it was closed. */
  opened: ChannelEvents | null = null;
  onRequest: (heard: Extract<FromHost, { kind: 'request' }>) => void = () => undefined;
  readonly #clock: VirtualClock;
  #events: ChannelEvents | null = null;

  constructor(clock: VirtualClock) {
    this.#clock = clock;
  }

  open(events: ChannelEvents) {
    this.#events = this.opened = events;
    return Promise.resolve({ ok: true } as const);
  }

  write(bytes: Uint8Array): void {
    const text = Buffer.from(bytes).toString('latin1');
    this.sent.push({ at: this.#clock.now(), text });
    const heard = decodeFromHost(text.trimEnd());
    if (heard.kind === 'request') this.onRequest(heard);
  }

  close() {
    this.closed = true;
    this.#events = null;
    return Promise.resolve();
  }

  say(text: string): void {
    this.#events?.onBytes(Buffer.from(text, 'latin1'));
  }

  vanish(): void {
    this.#events?.onClosed('pulled');
  }

  /** Requests sent so far, without the line feed of the beginning. */
  get requests(): { readonly at: number; readonly seq: number; readonly request: Request }[] {
    return this.sent.flatMap(({ at, text }) => {
      const heard = decodeFromHost(text.trimEnd());
      return heard.kind === 'request' ? [{ at, seq: heard.seq, request: heard.request }] : [];
    });
  }
}

const clocks: VirtualClock[] = [];
afterEach(() => {
  for (const clock of clocks.splice(0)) clock.stop();
});

async function setUp(options: Partial<LinkOptions> = {}, clock = new VirtualClock(0)) {
  clocks.push(clock);
  const wire = new TestWire(clock);
  const down: string[] = [];
  const frames: Telemetry[] = [];
  const opened = await Link.open(wire, {
    clock,
    replyTimeoutMs: REPLY_TIMEOUT,
    heartbeatMs: 250,
    silenceMs: 1000,
    onTelemetry: (telemetry) => frames.push(telemetry),
    onDown: (reason) => down.push(reason),
    ...options,
  });
  if (!opened.ok) throw new Error(opened.text);
  return { clock, wire, link: opened.link, down, frames };
}

const helloReply = (token: string): Reply => ({
  word: 'hello', token, protocol: 1, model: 'test', serial: '1', firmware: '1', boot: 'b1', channels: 8,
});

/** A far end that answers everything at once. */
function answerAll(wire: TestWire): void {
  wire.onRequest = ({ seq, request }) => {
    switch (request.word) {
      case 'hello':
        wire.say(encodeReply(seq, helloReply(request.token)));
        break;
      case 'burst':
        wire.say(encodeReply(seq, { word: 'burst', number: 1, widthNs: request.widthNs }));
        break;
      case 'describe':
        wire.say(encodeReply(seq, { word: 'describe', topic: 'supply', minMv: 0, maxMv: 18_000, safeMv: 0 }));
        break;
      case 'rail':
        wire.say(encodeReply(seq, { word: 'rail', pumping: false, relieved: true, shut: false, keeping: false }));
        break;
      case 'echo':
        wire.say(encodeReply(seq, { word: 'echo', number: 0, channel: 0, widthNs: 0, periodUs: 0, count: 0 }));
        break;
      case 'signals':
        wire.say(encodeReply(seq, { word: 'signals', names: [] }));
        break;
      default:
        wire.say(encodeReply(seq, { word: request.word }));
        break;
    }
  };
}

const telemetry: Telemetry = {
  atUs: 1, frame: 0, boot: 'b1', supplyMv: 0, currentMa: 0, pressurePa: 0, railMilliC: 20_000, meterMilliC: 20_000, edges: 0,
  lastEdgeUs: 0, burst: 0, active: false, commanded: 0, done: 0, armed: false, fault: '', interlocks: 7,
};

const hello = { word: 'hello', token: 't1' } as const;

test('LINE-2: the first thing on a line is a line feed', async () => {
  const { wire } = await setUp();
  expect(wire.sent[0]?.text).toBe('\n');
});

test('LINE-70: without an answer the same line goes out again with its own number, up to the deadline', async () => {
  const { wire, link } = await setUp();
  const answer = await link.request({ word: 'supply', mv: 12_000 }, { deadlineMs: 1000 });
  expect(answer).toMatchObject({ kind: 'no-answer', unanswered: true });
  expect(new Set(wire.sent.slice(1).map(({ text }) => text)).size).toBe(1);
  expect(wire.requests.map(({ at }) => at)).toEqual([0, 200, 400, 600, 800]);
  expect(link.statistics).toMatchObject({ linesSent: 5, linesSentAgain: 4 });
});

test('an answer to the third repeat is the answer, and its late copies are dropped and counted', async () => {
  const { wire, link, clock } = await setUp();
  let heard = 0;
  wire.onRequest = ({ seq, request }) => {
    if (request.word !== 'supply') return;
    heard += 1;
    if (heard === 3) {
      const line = encodeReply(seq, { word: 'supply' });
      wire.say(line + line + line);
    }
  };
  expect(await link.request({ word: 'supply', mv: 1 }, { deadlineMs: 2000 })).toMatchObject({ kind: 'reply' });
  await wait(clock, 1000);
  expect(heard).toBe(3);
  expect(link.statistics).toMatchObject({ replies: 1, staleAnswers: 2 });
});

test('a garbled answer is no answer: it is counted by its reason and the request goes out again', async () => {
  const { wire, link } = await setUp();
  let heard = 0;
  wire.onRequest = ({ seq }) => {
    heard += 1;
    const line = encodeReply(seq, { word: 'arm' });
    wire.say(heard === 1 ? line.replace('arm', 'ark') : heard === 2 ? line.slice(0, 5) + '\n' : line);
  };
  expect(await link.request({ word: 'arm' }, { deadlineMs: 2000 })).toMatchObject({ kind: 'reply' });
  expect(link.statistics.badLines).toMatchObject({ 'wrong-checksum': 1, 'no-checksum': 1, form: 0 });
});

test('an answer with the right number and another word, topic or token is not taken', async () => {
  const { wire, link } = await setUp();
  wire.onRequest = ({ seq, request }) => {
    if (request.word === 'hello') wire.say(encodeReply(seq, helloReply('older')));
    if (request.word === 'describe') wire.say(encodeReply(seq, { word: 'describe', topic: 'pressure', commandable: false, minPa: 0, maxPa: 0 }));
    if (request.word === 'arm') wire.say(encodeReply(seq, { word: 'safe' }));
  };
  for (const request of [hello, { word: 'describe', topic: 'supply' }, { word: 'arm' }] as const) {
    expect(await link.request(request, { deadlineMs: 150 })).toMatchObject({ kind: 'no-answer' });
  }
  expect(link.statistics).toMatchObject({ replies: 0, staleAnswers: 3 });
});

test('a refusal is told with its code and text, known or not', async () => {
  const { wire, link } = await setUp();
  wire.onRequest = ({ seq }) => {
    wire.say(encodeRefusal(seq, { word: 'arm', code: 'moon-phase', text: 'Not today.' }));
  };
  expect(await link.request({ word: 'arm' }, { deadlineMs: 100 })).toEqual({ kind: 'refused', code: 'moon-phase', text: 'Not today.' });
});

test('LINE-11: one request is under way at a time, in the order of asking', async () => {
  const { wire, link, clock } = await setUp();
  const pending: (() => void)[] = [];
  wire.onRequest = ({ seq, request }) => {
    if (request.word === 'supply') pending.push(() => wire.say(encodeReply(seq, { word: 'supply' })));
  };
  const answers = [1, 2, 3].map((mv) => link.request({ word: 'supply', mv }, { deadlineMs: 5000 }));
  await wait(clock, 100);
  expect(wire.requests).toHaveLength(1);
  while (wire.requests.length < 3) {
    pending.shift()?.();
    await wait(clock, 1);
  }
  pending.shift()?.();
  expect((await Promise.all(answers)).every((answer) => answer.kind === 'reply')).toBe(true);
  expect(wire.requests.map(({ seq, request }) => [seq, request.word === 'supply' && request.mv])).toEqual([[0, 1], [1, 2], [2, 3]]);
});

test('the deadline also counts while waiting for the turn, and what was never sent says so', async () => {
  const { link, wire } = await setUp();
  const first = link.request({ word: 'arm' }, { deadlineMs: 1000 });
  const second = await link.request({ word: 'halt' }, { deadlineMs: 500 });
  expect(second).toMatchObject({ kind: 'no-answer', unanswered: false, text: expect.stringContaining('"halt" could not be sent within 0.5 s') as string });
  expect(await first).toMatchObject({ kind: 'no-answer', unanswered: true, text: expect.stringContaining('"arm" within 1 s') as string });
  expect(wire.requests.some(({ request }) => request.word === 'halt')).toBe(false);
});

test('an aborted signal ends a request under way, a waiting one and one not yet begun; the next goes on', async () => {
  const { link, wire, clock } = await setUp();
  const abort = new AbortController();
  const underWay = link.request({ word: 'arm' }, { deadlineMs: 60_000, signal: abort.signal });
  const waiting = link.request({ word: 'halt' }, { deadlineMs: 60_000, signal: abort.signal });
  const next = link.request({ word: 'clear' }, { deadlineMs: 60_000 });
  answerAll(wire);
  abort.abort();
  expect((await underWay).kind).toBe('no-answer');
  expect((await waiting).kind).toBe('no-answer');
  expect((await next).kind).toBe('reply');
  expect((await link.request({ word: 'arm' }, { deadlineMs: 60_000, signal: abort.signal })).kind).toBe('no-answer');
  expect(clock.now()).toBeLessThan(1000);
});

test('safe goes ahead of everything, and nothing that was asked for before it is sent after it', async () => {
  const { link, wire, clock } = await setUp();
  const burst = link.request({ word: 'burst', channel: 1, widthNs: 3_000_000, periodUs: 20_000, count: 5 }, { deadlineMs: 60_000 });
  const supply = link.request({ word: 'supply', mv: 12_000 }, { deadlineMs: 60_000 });
  const before = wire.sent.length;
  answerAll(wire);
  expect((await link.request({ word: 'safe' }, { deadlineMs: 1000 })).kind).toBe('reply');
  expect((await burst).kind).toBe('no-answer');
  expect((await supply).kind).toBe('no-answer');
  await wait(clock, 2000);
  expect(wire.sent.slice(before).map(({ text }) => text.split(' ')[2])).toEqual(['safe']);
});

test('calls for safe are all answered, however many: one does not push another aside', async () => {
  const { link, wire, clock } = await setUp();
  const calls = [1, 2, 3].map(() => link.request({ word: 'safe' }, { deadlineMs: 1000 }));
  answerAll(wire);
  await wait(clock, 300);
  expect((await Promise.all(calls)).map(({ kind }) => kind)).toEqual(['reply', 'reply', 'reply']);
});

test('LINE-74: after the hello something is sent in every heartbeat time, and nothing more than needed', async () => {
  const { link, wire, clock } = await setUp();
  answerAll(wire);
  await wait(clock, 2000);
  expect(wire.requests).toEqual([]);
  // Neither is a board that says nothing before its hello a dead line: it may be starting.
  expect((await link.request(hello, { deadlineMs: 1000 })).kind).toBe('reply');
  await wait(clock, 1000);
  await link.request({ word: 'arm' }, { deadlineMs: 1000 });
  await wait(clock, 1100);
  expect(link.statistics.heartbeats).toBe(wire.requests.filter(({ request }) => request.word === 'alive').length);
  expect(link.statistics.heartbeats).toBeGreaterThanOrEqual(7);
  const times = wire.requests.map(({ at }) => at);
  expect(times.slice(1).map((at, i) => at - (times[i] ?? 0)).every((gap) => gap <= 250)).toBe(true);
  expect(wire.requests.filter(({ request }) => request.word === 'alive').length).toBeLessThanOrEqual(8);
});

test('while a request waits for its answer it is itself the heartbeat: no other number comes between its repeats', async () => {
  const { link, wire } = await setUp({ heartbeatMs: 50, silenceMs: 60_000 });
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => undefined;
  await link.request({ word: 'arm' }, { deadlineMs: 1000 });
  const arms = wire.requests.filter(({ at }) => at > 0);
  expect(new Set(arms.map(({ seq }) => seq)).size).toBe(1);
  expect(arms.length).toBeGreaterThanOrEqual(19);
  expect(link.statistics).toMatchObject({ linesSent: wire.requests.length, linesSentAgain: wire.requests.length - 2 });
});

test('keeping silent sends nothing at all, then the heartbeat resumes', async () => {
  const { link, wire, clock } = await setUp({ silenceMs: 60_000 });
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  const from = wire.sent.length;
  const silence = link.keepSilent(3000);
  const after = link.request({ word: 'halt' }, { deadlineMs: 10_000 });
  await wait(clock, 2999);
  expect(wire.sent).toHaveLength(from);
  expect(await silence).toBe(true);
  expect((await after).kind).toBe('reply');
  await wait(clock, 600);
  expect(wire.requests.at(-1)?.request.word).toBe('alive');
});

test('safe breaks a silence', async () => {
  const { link, wire, clock } = await setUp();
  answerAll(wire);
  const silence = link.keepSilent(60_000);
  expect((await link.request({ word: 'safe' }, { deadlineMs: 100 })).kind).toBe('reply');
  expect(await silence).toBe(false);
  expect(clock.now()).toBeLessThan(100);
});

test('a line on which nothing valid is heard goes down by itself, noise or no noise, and everything is answered', async () => {
  const { link, wire, clock, down } = await setUp();
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => wire.say('\x00\xff noise #0000\n');
  const pending = link.request({ word: 'arm' }, { deadlineMs: 60_000 });
  expect(await pending).toMatchObject({ kind: 'no-answer', unanswered: false });
  expect(clock.now()).toBeLessThanOrEqual(1300);
  expect(down).toHaveLength(1);
  expect(down[0]).toContain('Nothing was heard from the controller for 1 s');
  expect(wire.closed).toBe(true);
  expect((await link.request({ word: 'arm' }, { deadlineMs: 1000 })).kind).toBe('no-answer');
});

test('telemetry alone keeps the link up and reaches the listener', async () => {
  const { link, wire, clock, down, frames } = await setUp();
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => undefined;
  for (let frame = 0; frame < 30; frame += 1) {
    wire.say(encodeTelemetry({ ...telemetry, frame }));
    await wait(clock, 100);
  }
  expect(down).toEqual([]);
  expect(frames.map(({ frame }) => frame)).toEqual(Array.from({ length: 30 }, (_, frame) => frame));
});

test('a channel that closes takes the link down once, with its reason; close does so without telling', async () => {
  const one = await setUp();
  const pending = one.link.request({ word: 'arm' }, { deadlineMs: 60_000 });
  one.wire.vanish();
  expect(await pending).toMatchObject({ kind: 'no-answer', text: 'pulled' });
  expect(one.down).toEqual(['pulled']);
  expect(one.link.downReason).toBe('pulled');
  // Closing it afterwards is no reason: what is asked of it later is told why it really ended.
  await one.link.close();
  expect(await one.link.request({ word: 'arm' }, { deadlineMs: 5000 })).toMatchObject({ kind: 'no-answer', unanswered: false, text: 'pulled' });

  const two = await setUp();
  const waiting = two.link.request({ word: 'arm' }, { deadlineMs: 60_000 });
  await two.link.close();
  expect((await waiting).kind).toBe('no-answer');
  await wait(two.clock, 10_000);
  expect(two.down).toEqual([]);
});

test('numbers run from 0 to 65535 and begin again at 0', async () => {
  const { link, wire } = await setUp();
  answerAll(wire);
  for (let i = 0; i < 65_538; i += 1) {
    const answer = await link.request({ word: 'alive' }, { deadlineMs: 1000 });
    if (answer.kind !== 'reply') throw new Error('no reply');
    if (i < 65_530) wire.sent.length = 0;
  }
  expect(wire.requests.map(({ seq }) => seq)).toEqual([65_530, 65_531, 65_532, 65_533, 65_534, 65_535, 0, 1]);
});

test('LINE-4: a stream without a line feed takes no memory, and the first line after it is heard', async () => {
  const { wire, link, frames } = await setUp();
  const megabyte = 'x'.repeat(1 << 20);
  // What is kept, and not what waits for the collector: that depends on how busy the machine is.
  setFlagsFromString('--expose-gc');
  const collect = runInNewContext('gc') as () => void;
  const kept = async (): Promise<number> => {
    // Buffers are given back by a thread of their own, some time after they were found to be garbage.
    for (let i = 0; i < 20; i += 1) {
      collect();
      await new Promise((resolve) => setTimeout(resolve, 10));
    }
    return process.memoryUsage().arrayBuffers + process.memoryUsage().heapUsed;
  };
  for (let i = 0; i < 5; i += 1) wire.say(megabyte);
  const before = await kept();
  for (let i = 0; i < 200; i += 1) wire.say(megabyte);
  expect((await kept()) - before).toBeLessThan(8e6);
  wire.say('\n' + encodeTelemetry(telemetry));
  expect(frames).toHaveLength(1);
  expect(link.statistics.badLines['too-long']).toBe(1);
});

test('a value that the line cannot carry throws at once', async () => {
  const { link } = await setUp();
  expect(() => link.request({ word: 'supply', mv: Number.NaN }, { deadlineMs: 100 })).toThrow(RangeError);
});

test('new timing takes the place of the old at once', async () => {
  const { link, wire, clock } = await setUp();
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  link.setTiming({ heartbeatMs: 1000, silenceMs: 60_000 });
  const from = wire.requests.length;
  await wait(clock, 4500);
  expect(wire.requests.slice(from).map(({ request }) => request.word)).toEqual(['alive', 'alive', 'alive', 'alive']);
});

test('what is asked of a link that has ended is answered at once, with why it ended', async () => {
  const { link, clock } = await setUp();
  await link.close();
  expect(await link.request({ word: 'arm' }, { deadlineMs: 5000 })).toMatchObject({ kind: 'no-answer', unanswered: false, text: expect.stringContaining('closed') as string });
  expect(await link.keepSilent(5000)).toBe(false);
  expect(clock.now()).toBe(0);
});

test('a silence that was withdrawn before it was asked for is none, and holds nothing up', async () => {
  const { link, wire, clock } = await setUp();
  answerAll(wire);
  expect(await link.keepSilent(5000, AbortSignal.abort())).toBe(false);
  expect((await link.request({ word: 'arm' }, { deadlineMs: 100 })).kind).toBe('reply');
  expect(clock.now()).toBe(0);
});

test('a silence that is under way when the link ends, or is interrupted, was not kept', async () => {
  const one = await setUp();
  const first = one.link.keepSilent(5000);
  one.wire.vanish();
  expect(await first).toBe(false);

  const two = await setUp();
  answerAll(two.wire);
  const second = two.link.keepSilent(5000);
  const behind = two.link.request({ word: 'arm' }, { deadlineMs: 5000 });
  two.link.interrupt('enough');
  expect([await second, await behind]).toEqual([false, { kind: 'no-answer', unanswered: false, text: 'enough' }]);
  expect(two.link.downReason).toBeNull();
  expect((await two.link.request({ word: 'halt' }, { deadlineMs: 100 })).kind).toBe('reply');
  expect([one.clock.now(), two.clock.now()]).toEqual([0, 0]);
});

test('a channel that does not open is no link, and what it said of itself is handed on', async () => {
  const wire = new TestWire(new VirtualClock(0));
  const absent = { ok: false, code: 'absent', text: 'There is no port.' } as const;
  const channel: Channel = { description: 'none', open: () => Promise.resolve(absent), write: (bytes) => { wire.write(bytes); }, close: () => Promise.resolve() };
  const clock = new VirtualClock(0);
  clocks.push(clock);
  expect(await Link.open(channel, { clock, replyTimeoutMs: REPLY_TIMEOUT, heartbeatMs: 250, silenceMs: 1000, onTelemetry: () => undefined, onDown: () => undefined })).toEqual(absent);
  expect(wire.sent).toEqual([]);
});

test('LINE-74: it is the answer to hello that begins the heartbeat, and no other answer', async () => {
  const { link, wire, clock, down } = await setUp();
  answerAll(wire);
  expect((await link.request({ word: 'arm' }, { deadlineMs: 1000 })).kind).toBe('reply');
  await wait(clock, 3000);
  expect(wire.requests.map(({ request }) => request.word)).toEqual(['arm']);
  expect(down).toEqual([]);
});

test('a heartbeat without an answer is given up after the time of a heartbeat, so that it holds no request up', async () => {
  const { link, wire, clock } = await setUp({ silenceMs: 60_000 });
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => undefined;
  await wait(clock, 260);
  expect(wire.requests.at(-1)).toMatchObject({ at: 250, request: { word: 'alive' } });
  const asked = link.request({ word: 'arm' }, { deadlineMs: 5000 });
  await wait(clock, 300);
  expect(wire.requests.find(({ request }) => request.word === 'arm')?.at).toBe(500);
  answerAll(wire);
  expect((await asked).kind).toBe('reply');
});

test('what is heard between the suspicion of silence and the verdict keeps the link up', async () => {
  const { link, wire, clock, down } = await setUp();
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => undefined;
  await wait(clock, 1050);
  wire.say(encodeTelemetry(telemetry));
  await wait(clock, 900);
  expect(down).toEqual([]);
  await wait(clock, 300);
  expect(down).toHaveLength(1);
});

test('a line whose checksum is right and whose fields are not understood is kept for a person to look at, and only such a one', async () => {
  const { link, wire } = await setUp();
  expect(link.statistics.lastNotUnderstood).toBeNull();
  const understood = encodeReply(0, { word: 'arm' }).trimEnd();
  wire.say(`${understood.replace('arm', 'ark')}\n`);
  expect(link.statistics).toMatchObject({ lastNotUnderstood: null, badLines: { 'wrong-checksum': 1, form: 0 } });
  const strange = sealLine('= 0 moonrise');
  wire.say(strange);
  expect(link.statistics).toMatchObject({ lastNotUnderstood: strange.trimEnd(), badLines: { form: 1 } });
  wire.say('noise\n');
  expect(link.statistics.lastNotUnderstood).toBe(strange.trimEnd());
});

test('timing counts from what was last sent and heard, also when it is set late in the life of a link, or on a clock that has run', async () => {
  const clock = new VirtualClock(0);
  clocks.push(clock);
  await wait(clock, 5000);
  const { link, wire, down } = await setUp({}, clock);
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  await wait(clock, 251);
  expect(wire.requests.map(({ at }) => at)).toEqual([5000, 5250]);
  await wait(clock, 49);
  link.setTiming({ heartbeatMs: 400, silenceMs: 600 });
  await wait(clock, 400);
  expect(wire.requests.at(-1)).toMatchObject({ at: 5650, request: { word: 'alive' } });
  wire.onRequest = () => undefined;
  await wait(clock, 549);
  expect(down).toEqual([]);
  // 600 ms after 5650, when something was last heard, and the last look.
  await wait(clock, 102);
  expect(down).toHaveLength(1);
  expect(link.lastHeardAt).toBe(5650);
});

test('what waits behind a silence goes on when the silence is withdrawn', async () => {
  const { link, wire, clock } = await setUp();
  answerAll(wire);
  const abort = new AbortController();
  const silence = link.keepSilent(60_000, abort.signal);
  const waiting = link.request({ word: 'halt' }, { deadlineMs: 5000 });
  await wait(clock, 100);
  expect(wire.requests).toEqual([]);
  abort.abort();
  expect(await silence).toBe(false);
  expect((await waiting).kind).toBe('reply');
  expect(clock.now()).toBe(100);
});

test('safe answers at once what gives way to it: what is under way, what waits, and a silence that waits', async () => {
  const { link, wire, clock } = await setUp();
  const settled: string[] = [];
  void link.request({ word: 'arm' }, { deadlineMs: 5000 }).then(({ kind }) => settled.push(`arm ${kind}`));
  void link.request({ word: 'halt' }, { deadlineMs: 5000 }).then(({ kind }) => settled.push(`halt ${kind}`));
  void link.keepSilent(5000).then((kept) => settled.push(`silence ${kept}`));
  answerAll(wire);
  await link.request({ word: 'safe' }, { deadlineMs: 1000 });
  await Promise.resolve();
  expect(settled.sort()).toEqual(['arm no-answer', 'halt no-answer', 'silence false']);
  expect(clock.now()).toBe(0);
});

test('a request that is withdrawn while it waits leaves the one under way alone', async () => {
  const { link, wire, clock } = await setUp();
  const abort = new AbortController();
  const underWay = link.request({ word: 'arm' }, { deadlineMs: 5000 });
  const waiting = link.request({ word: 'halt' }, { deadlineMs: 5000, signal: abort.signal });
  abort.abort();
  expect((await waiting).kind).toBe('no-answer');
  answerAll(wire);
  await wait(clock, REPLY_TIMEOUT + 1);
  expect((await underWay).kind).toBe('reply');
  expect(wire.requests.map(({ request }) => request.word)).toEqual(['arm', 'arm']);
});

test('an answer of the same word under another number is not taken; a refusal of a word that the controller does not know is', async () => {
  const { link, wire, clock } = await setUp();
  const asked = link.request({ word: 'arm' }, { deadlineMs: 5000 });
  wire.say(encodeReply(7, { word: 'arm' }));
  await wait(clock, 10);
  expect(link.statistics).toMatchObject({ staleAnswers: 1, replies: 0 });
  wire.say(encodeRefusal(0, { word: 'unknown', code: 'unknown', text: 'what?' }));
  expect(await asked).toEqual({ kind: 'refused', code: 'unknown', text: 'what?' });
});

test('a request that goes out again as heartbeat is not repeated for its own time too', async () => {
  const { link, wire } = await setUp({ heartbeatMs: 150, silenceMs: 60_000 });
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => undefined;
  const from = wire.requests.length;
  await link.request({ word: 'arm' }, { deadlineMs: 1000 });
  const gaps = wire.requests.slice(from).map(({ at }, i, all) => at - (all[i - 1]?.at ?? at)).slice(1);
  expect(gaps.every((gap) => gap === 150)).toBe(true);
});

test('what came with the line on which the link was closed is not heard any more', async () => {
  const heard: number[] = [];
  const { link, wire } = await setUp({
    onTelemetry: ({ frame }) => {
      heard.push(frame);
      if (frame === 2) void link.close();
    },
  });
  wire.say([1, 2, 3].map((frame) => encodeTelemetry({ ...telemetry, frame })).join(''));
  expect(heard).toEqual([1, 2]);
  expect(link.statistics.telemetry).toBe(2);
});

test('a channel that tells its end twice, or after the link was closed, is not told of again, and the first reason stays', async () => {
  const one = await setUp();
  one.wire.vanish();
  one.wire.opened?.onClosed('pulled again');
  expect(one.down).toEqual(['pulled']);
  expect(one.link.downReason).toBe('pulled');

  const two = await setUp();
  await two.link.close();
  two.wire.opened?.onClosed('pulled');
  expect(two.down).toEqual([]);
  expect(two.link.downReason).toBe('The link to the bench was closed.');
});

test('a link that has ended leaves no timer behind, not even where it was closed between the suspicion of silence and the verdict', async () => {
  const clock = new VirtualClock(0);
  let pending = 0;
  const counting: Clock = {
    now: () => clock.now(),
    unixNow: () => clock.unixNow(),
    suspended: () => null,
    after: (ms, action) => {
      let waits = true;
      const end = (): void => {
        if (waits) pending -= 1;
        waits = false;
      };
      pending += 1;
      const cancel = clock.after(ms, () => {
        end();
        action();
      });
      return () => {
        end();
        cancel();
      };
    },
  };
  const { link, wire } = await setUp({ clock: counting }, clock);
  answerAll(wire);
  await link.request(hello, { deadlineMs: 1000 });
  wire.onRequest = () => undefined;
  const asked = link.request({ word: 'arm' }, { deadlineMs: 60_000 });
  const waiting = link.request({ word: 'halt' }, { deadlineMs: 60_000 });
  // Silent for 1000 ms, and not yet for the 100 ms more after which it is down.
  await wait(clock, 1050);
  expect(link.downReason).toBeNull();
  expect(pending).toBeGreaterThan(4);
  await link.close();
  expect([(await asked).kind, (await waiting).kind]).toEqual(['no-answer', 'no-answer']);
  expect(pending).toBe(0);
  // Nor does it take one up again with new timing.
  link.setTiming({ heartbeatMs: 100, silenceMs: 100 });
  expect(pending).toBe(0);
});
