import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { milliseconds, volts } from '../../app/quantities/quantity.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { connectBench, type Bench, type BenchLinkEvent } from '../bench/driver.ts';
import { encodeReply, encodeRequest, encodeTelemetry } from '../../firmware-protocol/line/messages.ts';
import { RunningBench } from '../bench/running-bench.ts';
import { VirtualClock, wait, type Clock } from '../clock/clock.ts';
import { machineEntropy } from '../clock/machine.ts';
import type { Channel } from './channel.ts';
import { ReplayChannel } from './replay-channel.ts';
import { SimulatedChannel } from '../bench/simulated-channel.ts';
import { readTranscript, recordedChannel, TranscriptRecorder, type Transcript } from './transcript.ts';

interface Host {
  readonly bench: Bench;
  readonly frames: BenchFrame[];
  readonly events: BenchLinkEvent[];
}

async function connect(channel: Channel, clock: Clock): Promise<Host> {
  const frames: BenchFrame[] = [];
  const events: BenchLinkEvent[] = [];
  const result = await connectBench({
    channels: () => Promise.resolve([channel]),
    clock,
    entropy: machineEntropy,
    deadManMs: 1000,
    telemetryHz: 20,
    onFrame: (frame) => frames.push(frame),
    onLink: (event) => events.push(event),
  });
  if (!result.ok) throw new Error(result.text);
  return { bench: result.bench, frames, events };
}

const burst = { kind: 'burst', channel: 1, width: milliseconds(3), period: milliseconds(20), count: 20 } as const;

async function session(host: Host, clock: Clock): Promise<unknown[]> {
  const replies: unknown[] = [await host.bench.perform(burst), await host.bench.perform({ kind: 'arm' })];
  replies.push(await host.bench.perform({ kind: 'set-supply', supply: volts(12) }));
  await wait(clock, 700);
  replies.push(await host.bench.perform(burst));
  await wait(clock, 1000);
  replies.push(await host.bench.perform({ kind: 'make-safe' }));
  return replies;
}

const folder = mkdtempSync(join(tmpdir(), 'replay-'));
let transcript: Transcript;
let recorded: { readonly host: Host; readonly replies: unknown[] };

beforeAll(async () => {
  const clock = new VirtualClock(0);
  const running = new RunningBench(
    scenarioSchema.parse({
      scenarioVersion: 1,
      faults: [{ begins: { atS: 0 }, fault: { kind: 'lines-garbled', direction: 'both', probability: 0.1 } }],
    }),
    clock,
  );
  const path = join(folder, 'line.jsonl');
  const recorder = new TranscriptRecorder(path, 'simulated bench', clock);
  const host = await connect(recordedChannel(new SimulatedChannel(running), recorder), clock);
  recorded = { host, replies: await session(host, clock) };
  await host.bench.close();
  recorder.close();
  running.switchOff();
  clock.stop();
  const read = await readTranscript(path);
  if (!read.ok) throw new Error(read.text);
  transcript = read.transcript;
});
afterAll(() => {
  rmSync(folder, { recursive: true });
});

test('the same host gets the same replies and the same frames from the replay, and departs nowhere', async () => {
  const clock = new VirtualClock(0);
  const replay = new ReplayChannel(transcript, clock);
  const host = await connect(replay, clock);
  expect(await session(host, clock)).toEqual(recorded.replies);
  expect(host.bench.identity).toEqual(recorded.host.bench.identity);
  expect(replay.departures).toEqual([]);
  // The axis stood still now and then: what the recorded host heard last comes a little later.
  await wait(clock, 2000);
  const numbers = recorded.host.frames.map(({ number }) => number);
  expect(numbers.length).toBeGreaterThan(20);
  expect(host.frames.filter(({ number }) => numbers.includes(number))).toEqual(recorded.host.frames);
  await host.bench.close();
  clock.stop();
});

test('a host that is slower than the recorded one gets the same replies; the time axis waits for it', async () => {
  const clock = new VirtualClock(0);
  const replay = new ReplayChannel(transcript, clock);
  const host = await connect(replay, clock);
  await host.bench.perform(burst);
  await wait(clock, 500);
  await host.bench.perform({ kind: 'arm' });
  await host.bench.perform({ kind: 'set-supply', supply: volts(12) });
  await wait(clock, 1100);
  expect(await host.bench.perform(burst)).toMatchObject({ kind: 'done' });
  expect(replay.departures).toEqual([]);
  await host.bench.close();
  clock.stop();
});

test('a request that the recording does not have is refused and told with its place', async () => {
  const clock = new VirtualClock(0);
  const replay = new ReplayChannel(transcript, clock);
  const host = await connect(replay, clock);
  expect(await host.bench.perform({ kind: 'set-supply', supply: volts(13) })).toMatchObject({ kind: 'refused', code: 'replay' });
  expect(replay.departures).toMatchObject([{ kind: 'not-recorded' }]);
  expect(replay.departures[0]?.text).toContain('mv=13000');
  await host.bench.close();
  clock.stop();
});

test('a request that the recorded host sent and this one leaves out is told', async () => {
  const clock = new VirtualClock(0);
  const replay = new ReplayChannel(transcript, clock);
  const host = await connect(replay, clock);
  await host.bench.perform(burst);
  expect(await host.bench.perform({ kind: 'set-supply', supply: volts(12) })).toEqual({ kind: 'done' });
  expect(replay.departures).toMatchObject([{ kind: 'not-sent' }]);
  expect(replay.departures[0]?.text).toContain('"arm"');
  await host.bench.close();
  clock.stop();
});

test('a host far ahead of the recording is told', async () => {
  const clock = new VirtualClock(0);
  const replay = new ReplayChannel(transcript, clock);
  const host = await connect(replay, clock);
  await host.bench.perform(burst);
  await host.bench.perform({ kind: 'arm' });
  await host.bench.perform({ kind: 'set-supply', supply: volts(12) });
  await host.bench.perform(burst);
  expect(replay.departures).toEqual([]);
  void host.bench.perform({ kind: 'make-safe' });
  await wait(clock, 100);
  expect(replay.departures[0]).toMatchObject({ kind: 'early', text: expect.stringContaining('"safe"') as string });
  await host.bench.close();
  clock.stop();
});

test('a host that does nothing is told of the requests it owes, one by one, and then the recording ends', async () => {
  const clock = new VirtualClock(0);
  const replay = new ReplayChannel(transcript, clock);
  const closed: string[] = [];
  await replay.open({ onBytes: () => undefined, onClosed: (reason) => closed.push(reason) });
  await wait(clock, 60_000);
  expect(replay.departures.every(({ kind }) => kind === 'not-sent')).toBe(true);
  expect(replay.departures.length).toBeGreaterThanOrEqual(11);
  expect(replay.departures[0]?.text).toContain('hello');
  expect(closed).toHaveLength(1);
  expect(await replay.open({ onBytes: () => undefined, onClosed: () => undefined })).toMatchObject({ ok: false });
  clock.stop();
});

const frame = encodeTelemetry({
  atUs: 1, frame: 0, boot: 'b1', supplyMv: 0, currentMa: 0, pressurePa: 0, railMilliC: 20_000, meterMilliC: 20_000, edges: 0,
  lastEdgeUs: 0, burst: 0, active: false, commanded: 0, done: 0, armed: false, fault: '', interlocks: 7,
});
const opened = { ms: 0, from: 'channel', event: 'opened', text: 'test' } as const;
const host = (ms: number, text: string) => ({ ms, from: 'host', text }) as const;
const controller = (ms: number, text: string) => ({ ms, from: 'controller', text }) as const;

/** A replay of a recording that is written here, open, with what it says and when. */
async function replayOf(entries: Transcript['entries'], openedAt = 0) {
  const clock = new VirtualClock(0);
  await wait(clock, openedAt);
  const replay = new ReplayChannel({ header: { transcriptVersion: 1, channel: 'test', startedUnixMs: 0 }, entries, torn: false }, clock);
  const heard: { readonly at: number; readonly text: string }[] = [];
  const closed: string[] = [];
  await replay.open({ onBytes: (bytes) => heard.push({ at: clock.now(), text: Buffer.from(bytes).toString('latin1') }), onClosed: (reason) => closed.push(reason) });
  return { clock, replay, heard, closed, write: (text: string) => replay.write(Buffer.from(text, 'latin1')) };
}

const armed = [opened, host(100, encodeRequest(0, { word: 'arm' })), controller(101, encodeReply(0, { word: 'arm' })), controller(200, frame)];

test('a host that is late moves what follows; one that is early does not', async () => {
  const late = await replayOf(armed);
  await wait(late.clock, 600);
  late.write(encodeRequest(5, { word: 'arm' }));
  await wait(late.clock, 300);
  expect(late.heard).toEqual([{ at: 601, text: encodeReply(5, { word: 'arm' }) }, { at: 700, text: frame }]);
  late.clock.stop();
  const early = await replayOf(armed);
  await wait(early.clock, 50);
  early.write(encodeRequest(5, { word: 'arm' }));
  await wait(early.clock, 300);
  expect(early.heard).toEqual([{ at: 51, text: encodeReply(5, { word: 'arm' }) }, { at: 200, text: frame }]);
  expect(early.replay.departures).toEqual([]);
  early.clock.stop();
});

test('a request that is sent again gets its answer again, and is not a second one', async () => {
  const { clock, heard, write, replay } = await replayOf(armed);
  write(encodeRequest(5, { word: 'arm' }));
  write(encodeRequest(5, { word: 'arm' }));
  await wait(clock, 10);
  write(encodeRequest(5, { word: 'arm' }));
  expect(heard.map(({ text }) => text)).toEqual([encodeReply(5, { word: 'arm' }), encodeReply(5, { word: 'arm' })]);
  expect(replay.departures).toEqual([]);
  clock.stop();
});

test('a line that is no request is told', async () => {
  const { clock, write, replay } = await replayOf(armed);
  write('nonsense\n');
  expect(replay.departures).toMatchObject([{ kind: 'unreadable', text: expect.stringContaining('nonsense') as string }]);
  clock.stop();
});

test('a replay that is closed says nothing, hears nothing and does not end', async () => {
  const { clock, write, replay, heard, closed } = await replayOf([opened, controller(200, frame)]);
  await replay.close();
  write('nonsense\n');
  await wait(clock, 60_000);
  expect([heard, closed, replay.departures]).toEqual([[], [], []]);
  clock.stop();
});

test('it ends as the recording does: with the reason of the line that closed, or because there is no more', async () => {
  const pulled = await replayOf([opened, { ms: 300, from: 'channel', event: 'closed', text: 'pulled' }]);
  await wait(pulled.clock, 301);
  expect(pulled.closed).toEqual(['pulled']);
  pulled.clock.stop();
  const over = await replayOf([opened, controller(200, frame)]);
  await wait(over.clock, 3199);
  expect(over.closed).toEqual([]);
  await wait(over.clock, 2);
  expect(over.closed).toEqual(['The recording ends here.']);
  expect(over.heard).toEqual([{ at: 200, text: frame }]);
  over.clock.stop();
});

test('half a line does not live on over a new connection, and an answer to nobody is none', async () => {
  const request = encodeRequest(0, { word: 'arm' });
  const { clock, replay, write, heard } = await replayOf([
    { ...opened, ms: 0 }, controller(1, encodeReply(9, { word: 'arm' })), host(2, request.slice(0, 5)),
    { ms: 3, from: 'channel', event: 'closed', text: 'pulled' }, { ...opened, ms: 4 }, host(5, request), controller(6, encodeReply(0, { word: 'arm' })),
  ]);
  await wait(clock, 4);
  expect(await replay.open({ onBytes: (bytes) => heard.push({ at: clock.now(), text: Buffer.from(bytes).toString('latin1') }), onClosed: () => undefined })).toEqual({ ok: true });
  write(encodeRequest(3, { word: 'arm' }));
  await wait(clock, 50);
  expect(heard.map(({ text }) => text)).toEqual([encodeReply(3, { word: 'arm' })]);
  expect(replay.departures).toEqual([]);
  clock.stop();
});

test('a host that leaves a request out is waited for three seconds, and what follows comes that much later', async () => {
  const { clock, heard, replay, write } = await replayOf([...armed, host(250, encodeRequest(1, { word: 'halt' })), controller(252, encodeReply(1, { word: 'halt' })), controller(300, frame)], 5000);
  await wait(clock, 3099);
  expect(replay.departures).toEqual([]);
  await wait(clock, 141);
  // Times of departures are those of the recording.
  expect(replay.departures).toEqual([{ kind: 'not-sent', ms: 100, text: expect.stringContaining('"arm"') as string }]);
  write(encodeRequest(9, { word: 'halt' }));
  write('nonsense\n');
  await wait(clock, 200);
  expect(heard).toEqual([{ at: 8200, text: frame }, { at: 8242, text: encodeReply(9, { word: 'halt' }) }, { at: 8300, text: frame }]);
  expect(replay.departures.slice(1)).toMatchObject([{ kind: 'unreadable', ms: 240 }]);
  clock.stop();
});

test('a host that leaves one request out and is late with the next moves what follows that one', async () => {
  const { clock, heard, replay, write } = await replayOf([...armed.slice(0, 3), host(200, encodeRequest(1, { word: 'halt' })), controller(201, encodeReply(1, { word: 'halt' })), controller(300, frame)]);
  await wait(clock, 600);
  write(encodeRequest(9, { word: 'halt' }));
  await wait(clock, 200);
  expect(heard).toEqual([{ at: 601, text: encodeReply(9, { word: 'halt' }) }, { at: 700, text: frame }]);
  expect(replay.departures).toMatchObject([{ kind: 'not-sent', ms: 100 }]);
  clock.stop();
});

test('a host is ahead of the recording when it is so by more than a second', async () => {
  for (const [at, departures] of [[600, []], [599, [{ kind: 'early', ms: 1600, text: expect.stringContaining('1001 ms') as string }]]] as const) {
    const { clock, replay, write } = await replayOf([opened, host(1600, encodeRequest(0, { word: 'arm' })), controller(1601, encodeReply(0, { word: 'arm' }))]);
    await wait(clock, at);
    write(encodeRequest(4, { word: 'arm' }));
    expect(replay.departures).toEqual(departures);
    clock.stop();
  }
});

test('a connection that is taken up later has its own place on the time axis', async () => {
  const { clock, replay } = await replayOf([opened, { ms: 10, from: 'channel', event: 'closed', text: 'pulled' }, { ...opened, ms: 20 }, controller(30, frame)]);
  await wait(clock, 500);
  const heard: number[] = [];
  expect(await replay.open({ onBytes: () => heard.push(clock.now()), onClosed: () => undefined })).toEqual({ ok: true });
  await wait(clock, 100);
  expect(heard).toEqual([510]);
  clock.stop();
});

test('a host that closes on what it hears stops the play there: the next connection is still to come', async () => {
  const clock = new VirtualClock(0);
  const entries: Transcript['entries'] = [opened, controller(10, frame), controller(20, frame), host(25, encodeRequest(0, { word: 'arm' })), { ms: 30, from: 'channel', event: 'closed', text: 'pulled' }, { ...opened, ms: 40 }, controller(50, frame)];
  const replay = new ReplayChannel({ header: { transcriptVersion: 1, channel: 'test', startedUnixMs: 0 }, entries, torn: false }, clock);
  let heard = 0;
  await replay.open({
    onBytes: () => {
      heard += 1;
      void replay.close();
    },
    onClosed: () => undefined,
  });
  await wait(clock, 5000);
  expect(heard).toBe(1);
  // Nor does a host owe anything to a connection that it has closed.
  expect(replay.departures).toEqual([]);
  expect(await replay.open({ onBytes: () => (heard += 1), onClosed: () => undefined })).toEqual({ ok: true });
  await wait(clock, 20);
  expect(heard).toBe(2);
  clock.stop();
});

test('an answer that is due after the host has closed is said to nobody', async () => {
  const { clock, replay, heard, write } = await replayOf([opened, host(0, encodeRequest(0, { word: 'arm' })), controller(50, encodeReply(0, { word: 'arm' }))]);
  write(encodeRequest(4, { word: 'arm' }));
  await replay.close();
  await wait(clock, 100);
  expect(heard).toEqual([]);
  clock.stop();
});

test('a line that the wire spoiled is played as it was heard, and a request that got no answer gets none', async () => {
  const { clock, heard, write, replay } = await replayOf([opened, controller(5, 'no\xffise\n'), host(10, encodeRequest(0, { word: 'arm' })), controller(20, frame)]);
  await wait(clock, 10);
  write(encodeRequest(4, { word: 'arm' }));
  await wait(clock, 100);
  expect(heard).toEqual([{ at: 5, text: 'no\xffise\n' }, { at: 20, text: frame }]);
  expect(replay.departures).toEqual([]);
  clock.stop();
});

test('a request that is refused, because the recording has none like it, is refused again when it is sent again, and told once', async () => {
  const { clock, heard, write, replay } = await replayOf(armed);
  for (let i = 0; i < 2; i += 1) write(encodeRequest(7, { word: 'halt' }));
  expect(heard).toHaveLength(2);
  expect(new Set(heard.map(({ text }) => text)).size).toBe(1);
  expect(replay.departures).toMatchObject([{ kind: 'not-recorded', ms: 0 }]);
  clock.stop();
});

test('no more than a thousand departures are kept', async () => {
  const { clock, write, replay } = await replayOf(armed);
  for (let i = 0; i < 1005; i += 1) write('nonsense\n');
  expect(replay.departures).toHaveLength(1000);
  clock.stop();
});
