import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { milliseconds, volts } from '../../app/quantities/quantity.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { connectBench, type Bench, type BenchLinkEvent } from '../bench/driver.ts';
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
