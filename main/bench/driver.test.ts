/** Rules named LINE-n are those of firmware-protocol/README.md. */
import { afterEach, expect, test } from 'vitest';
import type { BenchFrame, BenchReply, BenchRequest } from '../../app/bench/port.ts';
import { milliseconds, pascals, seconds, unixMillis, volts } from '../../app/quantities/quantity.ts';
import { sealLine } from '../../firmware-protocol/line/codec.ts';
import { createPlant } from '../../firmware-protocol/simulator/plant/plant.ts';
import { scenarioSchema, type Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { VirtualClock, wait } from '../clock/clock.ts';
import { machineEntropy } from '../clock/machine.ts';
import type { Channel, ChannelEvents, ChannelSource } from '../link/channel.ts';
import { SimulatedChannel } from './simulated-channel.ts';
import { connectBench, type Bench, type BenchLinkEvent, type ConnectOptions } from './driver.ts';
import { RunningBench } from './running-bench.ts';

const undo: (() => void | Promise<void>)[] = [];
afterEach(async () => {
  for (const step of undo.splice(0).reverse()) await step();
});

function newClock(): VirtualClock {
  const clock = new VirtualClock(0);
  undo.push(() => {
    clock.stop();
  });
  return clock;
}

function switchOn(clock: VirtualClock, scenario: Partial<Scenario> = {}): RunningBench {
  const bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1, ...scenario }), clock);
  undo.push(() => {
    bench.switchOff();
  });
  return bench;
}

interface Connected {
  readonly clock: VirtualClock;
  readonly bench: Bench;
  readonly running: RunningBench;
  readonly frames: BenchFrame[];
  readonly events: (BenchLinkEvent & { readonly at: number })[];
  readonly channel: SimulatedChannel;
}

async function tryConnect(clock: VirtualClock, channels: ChannelSource, more: Partial<ConnectOptions> = {}) {
  const frames: BenchFrame[] = [];
  const events: (BenchLinkEvent & { at: number })[] = [];
  const result = await connectBench({
    channels,
    clock,
    entropy: machineEntropy,
    deadManMs: 1000,
    telemetryHz: 20,
    onFrame: (frame) => frames.push(frame),
    onLink: (event) => events.push({ ...event, at: clock.now() }),
    ...more,
  });
  if (result.ok) undo.push(() => result.bench.close());
  return { result, frames, events };
}

async function connected(scenario: Partial<Scenario> = {}, more: Partial<ConnectOptions> = {}): Promise<Connected> {
  const clock = newClock();
  const running = switchOn(clock, scenario);
  const channel = new SimulatedChannel(running);
  const { result, frames, events } = await tryConnect(clock, () => Promise.resolve([channel]), more);
  if (!result.ok) throw new Error(result.text);
  return { clock, bench: result.bench, running, frames, events, channel };
}

const done: BenchReply = { kind: 'done' };
const burst = (count = 10, channel = 1): BenchRequest => ({
  kind: 'burst', channel, width: milliseconds(3), period: milliseconds(20), count,
});

/** The newest frame, at least one frame later than now. */
async function nextFrame({ clock, frames }: Connected): Promise<BenchFrame> {
  await wait(clock, 120);
  const frame = frames.at(-1);
  if (frame === undefined) throw new Error('no frame');
  return frame;
}

async function arm(c: Connected): Promise<void> {
  expect(await c.bench.perform({ kind: 'arm' })).toEqual(done);
  expect(await c.bench.perform({ kind: 'set-supply', supply: volts(12) })).toEqual(done);
}

test('a bench is connected with its identity, its capabilities in SI, and frames at the asked rate', async () => {
  const c = await connected();
  expect(c.bench.identity).toMatchObject({ model: 'simulated-bench', serialNumber: 'SIM-0001', protocol: 1 });
  expect(c.bench.capabilities).toMatchObject({
    channels: 8, timerResolution: 5e-7, minWidth: 1e-4, maxWidth: 0.1, minPeriod: 1e-3, maxPeriod: 1, safeSupply: 0, maxSupply: 18,
    pressure: { commandable: true, min: 100e3, max: 600e3 }, deadManMin: 0.1, deadManMax: 10, telemetryMaxHz: 200,
    interlocks: ['emergency-stop', 'cover', 'ventilation'],
  });
  await wait(c.clock, 2000);
  expect(c.frames.length).toBeGreaterThanOrEqual(39);
  expect(c.frames.length).toBeLessThanOrEqual(41);
  expect(c.frames[0]).toMatchObject({ bootId: c.bench.bootId, armed: false, fault: null, interlocks: 7 });
  expect(c.frames.every((frame, i) => i === 0 || frame.number === (c.frames[i - 1]?.number ?? 0) + 1)).toBe(true);
});

test('requests reach the bench in the units of the line, and its refusals come back in words', async () => {
  const c = await connected();
  expect(await c.bench.perform(burst())).toMatchObject({ kind: 'refused', code: 'not-armed' });
  await arm(c);
  expect(await c.bench.perform({ kind: 'pump', on: true })).toEqual(done);
  expect(await c.bench.perform({ kind: 'set-pressure', pressure: pascals(400_000) })).toEqual(done);
  expect(await c.bench.perform(burst(5, 3))).toEqual({ ...done, drivenWidth: 0.003 });
  expect(await c.bench.perform(burst(5, 3))).toMatchObject({ kind: 'refused', code: 'busy' });
  await wait(c.clock, 2000);
  const frame = await nextFrame(c);
  expect(frame.burst).toEqual({ number: 1, active: false, commanded: 5, done: 5 });
  expect(frame.armed).toBe(true);
  expect(Math.abs(frame.supply - 12)).toBeLessThan(0.2);
  expect(Math.abs(frame.pressure - 400e3)).toBeLessThan(20e3);
  expect(await c.bench.perform({ kind: 'set-supply', supply: volts(19) })).toMatchObject({ kind: 'refused', code: 'range' });
  await expect(c.bench.perform({ kind: 'set-supply', supply: volts(Number.NaN) })).rejects.toThrow(RangeError);
});

test('stopping a burst stops it; the bench stays armed', async () => {
  const c = await connected();
  await arm(c);
  await c.bench.perform(burst(1000));
  await wait(c.clock, 500);
  expect(await c.bench.perform({ kind: 'stop-burst' })).toEqual(done);
  const frame = await nextFrame(c);
  expect(frame.burst.active).toBe(false);
  expect(frame.burst.done).toBeLessThan(40);
  expect(frame.armed).toBe(true);
});

test('make-safe is done only when a frame shows it: disarmed, no burst, supply near its safe value', async () => {
  const c = await connected();
  await arm(c);
  await c.bench.perform(burst(1000));
  await wait(c.clock, 1000);
  const before = c.frames.length;
  expect(await c.bench.perform({ kind: 'make-safe' })).toEqual(done);
  expect(c.frames.length).toBeGreaterThan(before);
  expect(c.frames.at(-1)).toMatchObject({ armed: false, burst: { active: false } });
  expect(Math.abs(c.frames.at(-1)?.supply ?? 99)).toBeLessThanOrEqual(0.5);
});

test('make-safe does not believe an answer that the telemetry does not bear out', async () => {
  const c = await connected({ faults: [{ begins: { atS: 3 }, fault: { kind: 'sensor-stuck', sensor: 'supply' } }] });
  await arm(c);
  await wait(c.clock, 4000);
  const from = c.clock.now();
  const reply = await c.bench.perform({ kind: 'make-safe' });
  expect(reply).toMatchObject({ kind: 'no-answer' });
  expect(reply.kind === 'no-answer' && reply.text).toContain('telemetry does not show it');
  expect(c.clock.now() - from).toBeGreaterThanOrEqual(5000);
});

test('LINE-55: keeping silent lets the dead-man act, and the link lives through it', async () => {
  const c = await connected();
  await arm(c);
  await c.bench.perform(burst(1000));
  expect(await c.bench.perform({ kind: 'keep-silent', duration: seconds(1.5) })).toEqual(done);
  const frame = await nextFrame(c);
  expect(frame).toMatchObject({ armed: false, burst: { active: false }, fault: { code: 'dead-man' } });
  expect(frame.fault?.text).toContain('clear the fault');
  expect(c.events).toEqual([]);
  expect(await c.bench.perform({ kind: 'clear-faults' })).toEqual(done);
  expect((await nextFrame(c)).fault).toBeNull();
});

test('the heartbeat keeps an armed bench armed for as long as nobody asks for anything', async () => {
  const c = await connected();
  await arm(c);
  await wait(c.clock, 60_000);
  expect((await nextFrame(c)).armed).toBe(true);
});

test('make-safe breaks a silence', async () => {
  const c = await connected();
  await arm(c);
  const silence = c.bench.perform({ kind: 'keep-silent', duration: seconds(60) });
  await wait(c.clock, 100);
  expect(await c.bench.perform({ kind: 'make-safe' })).toEqual(done);
  expect(await silence).toMatchObject({ kind: 'no-answer' });
  expect(c.clock.now()).toBeLessThan(10_000);
});

test.each([['lines-lost'], ['lines-garbled'], ['lines-repeated']] as const)(
  'LINE-13: on a line with %s every request is done exactly once',
  async (kind) => {
    // A dead-man of 5 s: with a quarter of the lines lost, one of 1 s would rightly act now and then.
    const faults = [{ begins: { atS: 0 }, fault: { kind, direction: 'both' as const, probability: 0.25 } }];
    const c = await connected({ faults }, { deadManMs: 5000 });
    await arm(c);
    for (let number = 1; number <= 40; number += 1) {
      expect(await c.bench.perform({ ...burst(2), channel: 1 + (number % 8) } as BenchRequest)).toMatchObject(done);
      await wait(c.clock, 1000);
      expect(c.frames.at(-1)?.burst).toEqual({ number, active: false, commanded: 2, done: 2 });
    }
    expect(c.events).toEqual([]);
    const numbers = c.frames.map((frame) => frame.number);
    expect(numbers).toEqual([...new Set(numbers)].toSorted((a, b) => a - b));
    const statistics = c.bench.statistics();
    if (kind === 'lines-repeated') expect(statistics?.staleAnswers).toBeGreaterThan(0);
    else expect(statistics?.linesSentAgain).toBeGreaterThan(0);
    if (kind === 'lines-garbled') expect(Object.values(statistics?.badLines ?? {}).reduce((a, b) => a + b)).toBeGreaterThan(0);
  },
);

test('LINE-72: a controller that started anew is told with its new boot id, and nothing is started for it', async () => {
  const c = await connected({ faults: [{ begins: { atS: 5 }, fault: { kind: 'controller-reset' } }] });
  const firstBoot = c.bench.bootId;
  await arm(c);
  await c.bench.perform(burst(100_000));
  await wait(c.clock, 10_000);
  expect(c.events.map(({ state }) => state)).toEqual(['down', 'up']);
  const [down, up] = c.events;
  expect(down?.reason).toContain('started anew');
  expect(up?.state === 'up' && up.bootId).not.toBe(firstBoot);
  expect(up?.state === 'up' && up.bootId).toBe(c.bench.bootId);
  expect(up?.reason).toContain('started anew');
  const frame = await nextFrame(c);
  expect(frame).toMatchObject({ bootId: c.bench.bootId, armed: false, burst: { number: 0, active: false } });
  // Its settings were given to it again: 20 Hz, and not the 10 Hz of a start.
  const late = c.frames.slice(-10);
  expect((late[9]?.at ?? 0) - (late[0]?.at ?? 0)).toBeCloseTo(9 / 20, 3);
});

test('LINE-18: a request that meets a controller just started is answered no-answer, and the conversation begins again', async () => {
  // At one frame a second the refusal comes before the first frame that would tell of the start.
  const c = await connected({ faults: [{ begins: { atS: 5 }, fault: { kind: 'controller-reset' } }] }, { telemetryHz: 1 });
  await wait(c.clock, 5390 - c.clock.now());
  expect(c.events).toEqual([]);
  expect(await c.bench.perform({ kind: 'arm' })).toMatchObject({ kind: 'no-answer' });
  await wait(c.clock, 1000);
  expect(c.events.map(({ state }) => state)).toEqual(['down', 'up']);
  expect((await nextFrame(c)).armed).toBe(false);
});

test('a line that falls silent is noticed, requests end, the dead-man acts, and the same bench is found again', async () => {
  const c = await connected({ faults: [{ begins: { atS: 5 }, forS: 10, fault: { kind: 'line-silent', direction: 'both' } }] });
  await arm(c);
  await wait(c.clock, 5000 - c.clock.now());
  const request = await c.bench.perform({ kind: 'stop-burst' });
  expect(request).toMatchObject({ kind: 'no-answer' });
  expect(c.events).toHaveLength(1);
  expect(c.events[0]?.at).toBeLessThanOrEqual(6100);
  expect(await c.bench.perform({ kind: 'arm' })).toMatchObject({ kind: 'no-answer' });
  expect(c.bench.statistics()).toBeNull();
  await wait(c.clock, 20_000 - c.clock.now());
  expect(c.events.map(({ state }) => state)).toEqual(['down', 'up']);
  expect(c.events[1]?.reason).toContain('ran on');
  expect(await nextFrame(c)).toMatchObject({ armed: false, fault: { code: 'dead-man' } });
});

test('make-safe asked for while the link is down is done when it comes back in time', async () => {
  const c = await connected({ faults: [{ begins: { atS: 5 }, forS: 3, fault: { kind: 'line-silent', direction: 'both' } }] });
  await arm(c);
  await wait(c.clock, 6500 - c.clock.now());
  expect(c.events).toHaveLength(1);
  expect(await c.bench.perform({ kind: 'make-safe' })).toEqual(done);
});

test('LINE-71: lost requests with telemetry still coming end in a new hello, not in silence', async () => {
  const c = await connected({ faults: [{ begins: { atS: 5 }, forS: 5, fault: { kind: 'line-silent', direction: 'to-controller' } }] });
  await wait(c.clock, 5000 - c.clock.now());
  expect(await c.bench.perform({ kind: 'arm' })).toMatchObject({ kind: 'no-answer' });
  await wait(c.clock, 15_000 - c.clock.now());
  expect(c.events.map(({ state }) => state)).toEqual(['down', 'up']);
  await arm(c);
});

test.each([
  ['answers and does not measure any more', '.', 'No telemetry came for 1 s, although the controller answers.'],
  // The dead-man is longer than the time after which telemetry is missed.
  ['is silent, with a long dead-man', '', 'No telemetry came for 1 s, nor anything else.'],
])('LINE-120: a controller that %s is not taken for a healthy one, and what is said of it is so', async (_, withheld, said) => {
  const clock = newClock();
  const running = switchOn(clock);
  let mute = false;
  const inner = new SimulatedChannel(running);
  const channel: Channel = {
    description: 'without telemetry',
    open: (events: ChannelEvents) =>
      inner.open({
        ...events,
        onBytes: (bytes) => {
          if (!mute || (withheld !== '' && bytes[0] !== withheld.charCodeAt(0))) events.onBytes(bytes);
        },
      }),
    write: (bytes) => {
      inner.write(bytes);
    },
    close: () => inner.close(),
  };
  const { result, events } = await tryConnect(clock, () => Promise.resolve([channel]), { deadManMs: 4000 });
  expect(result.ok).toBe(true);
  await wait(clock, 1000);
  mute = true;
  await wait(clock, 1500);
  expect(events[0]).toMatchObject({ state: 'down' });
  expect(events[0]?.reason).toContain(said);
  mute = false;
  await wait(clock, 6000);
  expect(events.at(-1)).toMatchObject({ state: 'up' });
});

test('a pulled plug: the bench is looked for in every place, and another bench there is left alone', async () => {
  const clock = newClock();
  const ours = switchOn(clock);
  const other = switchOn(clock, { seed: 2 });
  const channel = new SimulatedChannel(ours);
  let otherWasSent = 0;
  const otherChannel = new SimulatedChannel(other);
  const watched: Channel = {
    description: 'the other bench',
    open: (events) => otherChannel.open(events),
    write: (bytes) => {
      otherWasSent += 1;
      otherChannel.write(bytes);
    },
    close: () => otherChannel.close(),
  };
  const gone: Channel = {
    description: 'the old place',
    open: () => Promise.resolve({ ok: false, code: 'absent', text: 'gone' }),
    write: () => undefined,
    close: () => Promise.resolve(),
  };
  let places: Channel[] = [gone, watched];
  const { result, events } = await tryConnect(clock, (purpose) => Promise.resolve(purpose === 'connect' ? [channel] : places));
  if (!result.ok) throw new Error(result.text);
  await result.bench.perform({ kind: 'arm' });
  channel.unplug();
  await wait(clock, 5000);
  // LINE-111: and why it does not come back is told, once.
  expect(events.map(({ state }) => state)).toEqual(['down', 'down']);
  expect(events[1]?.reason).toContain('is the bench simulated-bench SIM-0002, and not simulated-bench SIM-0001');
  expect(otherWasSent).toBeGreaterThan(0);
  places = [gone, watched, new SimulatedChannel(ours)];
  await wait(clock, 5000);
  expect(events.map(({ state }) => state)).toEqual(['down', 'down', 'up']);
  expect(result.bench.identity.serialNumber).toBe('SIM-0001');
});

test('LINE-74: a bench that is not heard any more is not kept alive by the looking for it', async () => {
  const clock = newClock();
  const fault = { begins: { atS: 5 }, forS: 20, fault: { kind: 'line-silent', direction: 'to-host' } } as const;
  let supplyMv = 0;
  const plant = (scenario: Scenario) => {
    const real = createPlant(scenario);
    const setSupply = real.setSupply.bind(real);
    real.setSupply = (mv) => {
      supplyMv = mv;
      setSupply(mv);
    };
    return real;
  };
  const running = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1, faults: [fault] }), clock, plant);
  const { result } = await tryConnect(clock, () => Promise.resolve([new SimulatedChannel(running)]));
  if (!result.ok) throw new Error(result.text);
  const { bench } = result;
  await bench.perform({ kind: 'arm' });
  await bench.perform({ kind: 'set-supply', supply: volts(12) });
  await wait(clock, 5000 - clock.now());
  expect(supplyMv).toBe(12_000);
  // A second of silence and a last look, the dead-man's time, and what the controller may be late by.
  await wait(clock, 1100 + 1000 + 150);
  expect(bench.downReason).not.toBeNull();
  expect(supplyMv).toBe(0);
  running.switchOff();
});

test('a bench other than the expected one is refused with both names', async () => {
  const clock = newClock();
  const running = switchOn(clock);
  const { result } = await tryConnect(clock, () => Promise.resolve([new SimulatedChannel(running)]), {
    expected: { model: 'simulated-bench', serialNumber: 'SIM-0007' },
  });
  expect(result).toMatchObject({ ok: false, code: 'other-bench' });
  if (!result.ok) expect(result.text).toMatch(/SIM-0001.*SIM-0007/);
});

test.each([
  [{ deadManMs: 20 }, 'dead-man-range', '100 to 10000 ms'],
  [{ telemetryHz: 500 }, 'telemetry-range', '1 to 200'],
] as const)('settings that the controller does not allow are refused: %o', async (more, code, says) => {
  const clock = newClock();
  const running = switchOn(clock);
  const { result } = await tryConnect(clock, () => Promise.resolve([new SimulatedChannel(running)]), more);
  expect(result).toMatchObject({ ok: false, code });
  if (!result.ok) expect(result.text).toContain(says);
});

/** A channel to `running` on which lines from the controller are changed on the way, with a checksum that fits again. */
function rewriting(running: RunningBench, change: (body: string) => string): Channel {
  const inner = new SimulatedChannel(running);
  return {
    description: 'a controller of another making',
    open: (events) =>
      inner.open({
        ...events,
        onBytes: (bytes) => {
          const body = Buffer.from(bytes).toString('latin1').slice(0, -7);
          events.onBytes(Buffer.from(sealLine(change(body)), 'latin1'));
        },
      }),
    write: (bytes) => {
      inner.write(bytes);
    },
    close: () => inner.close(),
  };
}

test.each([
  ['another version of the line', 'protocol=1', 'protocol=2', 'protocol', 'version 2'],
  ['widths that cannot be', 'min-width-ns=100000 ', 'min-width-ns=900000000 ', 'capabilities', 'shortest pulse'],
  ['a safe supply above its highest', 'safe-mv=0', 'safe-mv=20000', 'capabilities', 'safe supply'],
  ['two interlocks of one name', 'emergency-stop,cover', 'cover,cover', 'capabilities', 'same name'],
])('a controller with %s is refused in words', async (_, from, to, code, says) => {
  const clock = newClock();
  const running = switchOn(clock);
  const { result } = await tryConnect(clock, () => Promise.resolve([rewriting(running, (body) => body.replace(from, to))]));
  expect(result).toMatchObject({ ok: false, code });
  if (!result.ok) expect(result.text).toContain(says);
});

test('LINE-80 a controller that knows of no extensions is used as before, and what it cannot do is not asked of it', async () => {
  const clock = newClock();
  const running = switchOn(clock, { rail: { pump: false, relief: false, shutOff: false } });
  const old = rewriting(running, (body) =>
    body.replace(/^= (\d+) describe topic=extensions .*/, '! $1 describe code=form text=The fields of this request are not those of the specification.'));
  const { result } = await tryConnect(clock, () => Promise.resolve([old]));
  if (!result.ok) throw new Error(result.text);
  expect(result.bench.capabilities.rail).toBeUndefined();
  expect(await result.bench.perform({ kind: 'arm' })).toEqual(done);
  for (const request of [{ kind: 'pump', on: true }, { kind: 'shut-off', shut: true }, { kind: 'keep-pressure' }] as const) {
    expect(await result.bench.perform(request)).toMatchObject({ kind: 'refused', code: 'unsupported' });
  }
  expect(await result.bench.perform({ kind: 'make-safe' })).toEqual(done);
});

test('LINE-83 LINE-88 pump and valves are commanded, and make-safe is done only when they are off again', async () => {
  const c = await connected({ noise: false });
  expect(c.bench.capabilities.rail).toEqual({ pump: true, relief: true, shutOff: true });
  await arm(c);
  expect(await c.bench.perform({ kind: 'pump', on: true })).toEqual(done);
  expect(await c.bench.perform({ kind: 'set-pressure', pressure: pascals(600_000) })).toEqual(done);
  await wait(c.clock, 5_000);
  expect((await nextFrame(c)).pressure).toBeGreaterThan(590e3);
  expect(await c.bench.perform({ kind: 'keep-pressure' })).toEqual(done);
  expect(await c.bench.perform({ kind: 'shut-off', shut: true })).toEqual(done);
  await wait(c.clock, 3_000);
  expect(await nextFrame(c)).toMatchObject({ armed: false, fault: null });
  expect((await nextFrame(c)).pressure).toBeGreaterThan(590e3);
  expect(await c.bench.perform({ kind: 'make-safe' })).toEqual(done);
  await wait(c.clock, 5_000);
  expect((await nextFrame(c)).pressure).toBeLessThan(2e3);
});

/** A computer that is suspended when an answer to `word` has come, the first `times`, and before it reads it: its wall clock alone tells. */
async function sleepingOver(word: string, times: number, change: (body: string) => string = (body) => body) {
  const clock = newClock();
  let asleepMs = 0;
  let answers = 0;
  const computer = {
    now: () => clock.now(),
    unixNow: () => unixMillis(clock.unixNow() + asleepMs),
    suspended: () => asleepMs,
    after: (ms: number, action: () => void) => clock.after(ms, action),
  };
  const channel = rewriting(switchOn(clock), (body) => {
    if (new RegExp(`^= \\d+ ${word}\\b`).test(body)) {
      answers += 1;
      if (answers <= times) asleepMs += 12_000;
    }
    return change(body);
  });
  const { result } = await tryConnect(clock, () => Promise.resolve([channel]), { clock: computer });
  if (!result.ok) throw new Error(result.text);
  return { bench: result.bench, answers: () => answers };
}

test('RUN-4 an answer that lay unread while the computer was suspended confirms nothing: the bench is asked again', async () => {
  const { bench, answers } = await sleepingOver('rail', 1);
  expect(await bench.perform({ kind: 'make-safe' })).toEqual(done);
  expect(answers()).toBe(2);
});

test('RUN-4 a controller that knows of no rail is asked too whether it is there now', async () => {
  const { bench } = await sleepingOver('alive', Number.POSITIVE_INFINITY, (body) =>
    body.replace(/^= (\d+) describe topic=extensions .*/, '! $1 describe code=form text=The fields of this request are not those of the specification.'));
  expect(bench.capabilities.rail).toBeUndefined();
  const reply = await bench.perform({ kind: 'make-safe' });
  expect(reply).toMatchObject({ kind: 'no-answer' });
  if (reply.kind === 'no-answer') expect(reply.text).toContain('stood still');
});

test('LINE-88 a pump that is not given up is not called safe', async () => {
  const clock = newClock();
  const running = switchOn(clock);
  const { result } = await tryConnect(clock, () => Promise.resolve([rewriting(running, (body) => body.replace('rail pumping=0', 'rail pumping=1'))]));
  if (!result.ok) throw new Error(result.text);
  const reply = await result.bench.perform({ kind: 'make-safe' });
  expect(reply).toMatchObject({ kind: 'no-answer' });
  if (reply.kind === 'no-answer') expect(reply.text).toContain('pump and relief valve');
});

test.each([
  ['channel', /(echo .* channel=)1/, '$12', 'on channel 2'],
  ['period', /(echo .* period-us=)20000/, '$140000', 'every 40 ms'],
])('LINE-90 a burst with another %s than was asked for is stopped and refused', async (_, from, to, says) => {
  const clock = newClock();
  const running = switchOn(clock);
  const { result, frames } = await tryConnect(clock, () => Promise.resolve([rewriting(running, (body) => body.replace(from, to))]));
  if (!result.ok) throw new Error(result.text);
  await result.bench.perform({ kind: 'arm' });
  const reply = await result.bench.perform(burst(1000));
  expect(reply).toMatchObject({ kind: 'refused', code: 'burst-not-kept' });
  if (reply.kind === 'refused') expect(reply.text).toContain(says);
  await wait(clock, 200);
  expect(frames.at(-1)?.burst.active).toBe(false);
});

test('a burst whose width the controller does not keep is stopped and refused', async () => {
  const clock = newClock();
  const running = switchOn(clock);
  const { result, frames } = await tryConnect(clock, () =>
    Promise.resolve([rewriting(running, (body) => body.replace('width-ns=3000000', 'width-ns=2000000'))]));
  if (!result.ok) throw new Error(result.text);
  await result.bench.perform({ kind: 'arm' });
  expect(await result.bench.perform(burst(1000))).toMatchObject({ kind: 'refused', code: 'width-not-kept' });
  await wait(clock, 200);
  expect(frames.at(-1)?.burst.active).toBe(false);
});

test('nobody on the line: connecting ends by its deadline, or at once by its signal', async () => {
  const clock = newClock();
  const nobody: Channel = {
    description: 'an open end',
    open: () => Promise.resolve({ ok: true }),
    write: () => undefined,
    close: () => Promise.resolve(),
  };
  const { result } = await tryConnect(clock, () => Promise.resolve([nobody]));
  expect(result).toMatchObject({ ok: false, code: 'no-answer' });
  if (!result.ok) expect(result.text).toContain('an open end');
  expect(clock.now()).toBeLessThan(10_000);

  const abort = new AbortController();
  const from = clock.now();
  const connecting = tryConnect(clock, () => Promise.resolve([nobody]), { signal: abort.signal });
  clock.after(100, () => {
    abort.abort();
  });
  expect((await connecting).result).toMatchObject({ ok: false, code: 'cancelled' });
  expect(clock.now() - from).toBeLessThan(1000);
});

test('a connection takes another dead-man and telemetry rate, keeps them over a loss, and refuses what the bench does not allow', async () => {
  const { clock, bench, frames, channel } = await connected();
  const rate = async (): Promise<number> => {
    const before = frames.length;
    await wait(clock, 2000);
    return (frames.length - before) / 2;
  };
  expect(Math.round(await rate())).toBe(20);
  expect(await bench.configure({ deadManMs: 400, telemetryHz: 50 })).toEqual(done);
  expect(Math.round(await rate())).toBe(50);
  for (const settings of [{ deadManMs: 20_000, telemetryHz: 50 }, { deadManMs: 400, telemetryHz: 1000 }]) {
    expect(await bench.configure(settings)).toMatchObject({ kind: 'refused', code: 'range' });
  }
  // The heartbeat keeps up with the shorter time.
  expect(await bench.perform({ kind: 'arm' })).toEqual(done);
  await wait(clock, 5000);
  expect(frames.at(-1)).toMatchObject({ armed: true, fault: null });
  channel.unplug();
  expect(bench.downReason).toMatch(/unplugged/);
  expect(await bench.configure({ deadManMs: 1000, telemetryHz: 20 })).toMatchObject({ kind: 'no-answer' });
  await wait(clock, 3000);
  expect(bench.downReason).toBeNull();
  expect(Math.round(await rate())).toBe(50);
});

test('listeners come and go without disturbing each other', async () => {
  const { clock, bench, frames } = await connected();
  let heard = 0;
  const unlisten = bench.listen({ onFrame: () => (heard += 1), onLink: () => undefined });
  await wait(clock, 1000);
  expect(heard).toBeGreaterThan(15);
  unlisten();
  const before = { heard, frames: frames.length };
  await wait(clock, 1000);
  expect(heard).toBe(before.heard);
  expect(frames.length).toBeGreaterThan(before.frames + 15);
});

test('an aborted signal ends every kind of request as no-answer', async () => {
  const c = await connected();
  const abort = new AbortController();
  abort.abort();
  const requests: BenchRequest[] = [
    { kind: 'arm' }, { kind: 'make-safe' }, { kind: 'set-supply', supply: volts(5) }, { kind: 'set-pressure', pressure: pascals(3e5) },
    burst(), { kind: 'stop-burst' }, { kind: 'clear-faults' }, { kind: 'keep-silent', duration: seconds(5) },
  ];
  for (const request of requests) expect(await c.bench.perform(request, abort.signal)).toMatchObject({ kind: 'no-answer' });
  expect((await nextFrame(c)).armed).toBe(false);
});

test('a closed bench answers no-answer, sends nothing, and the bench itself runs on to its dead-man', async () => {
  const c = await connected();
  await arm(c);
  await c.bench.perform(burst(100_000));
  await c.bench.close();
  expect(await c.bench.perform({ kind: 'arm' })).toMatchObject({ kind: 'no-answer' });
  expect(await c.bench.perform({ kind: 'make-safe' })).toMatchObject({ kind: 'no-answer' });
  await wait(c.clock, 3000);
  const again = await tryConnect(c.clock, () => Promise.resolve([new SimulatedChannel(c.running)]));
  expect(again.result.ok).toBe(true);
  await wait(c.clock, 200);
  expect(again.frames.at(-1)).toMatchObject({ armed: false, burst: { active: false }, fault: { code: 'dead-man' } });
  expect(c.events).toEqual([]);
});

type How = Extract<Scenario['faults'][number]['fault'], { kind: 'controller-misbehaves' }>['how'];
const misbehaving = (how: How, forS?: number): Partial<Scenario> => ({
  faults: [{ begins: { atS: 5 }, ...(forS === undefined ? {} : { forS }), fault: { kind: 'controller-misbehaves', how } }],
});

test.each<[How, RegExp]>([
  [{ what: 'boot-id-other' }, /carries the boot id 0badb007 and its answer to "hello" [0-9a-f]{8}/],
  [{ what: 'frames-unreadable' }, /cannot be read\. \d+ lines were not understood \(form\); the last: "\. \d+ at-us=/],
  [{ what: 'frames-absent' }, /it sends no telemetry/],
])('LINE-111 a bench counts as back only when it is heard: %o', async (how, why) => {
  const c = await connected(misbehaving(how, 600));
  await arm(c);
  await c.bench.perform(burst(100_000));
  await wait(c.clock, 120_000);
  // Told once that it is gone and once why, and not at each try.
  expect(c.events.map(({ state }) => state)).toEqual(['down', 'down']);
  expect(c.events[1]?.reason).toMatch(why);
  expect(c.bench.downReason).toMatch(why);
  await wait(c.clock, 700_000);
  expect(c.events.map(({ state }) => state)).toEqual(['down', 'down', 'up']);
  expect(await nextFrame(c)).toMatchObject({ armed: false, burst: { active: false } });
});

test('LINE-111 a bench that answers and cannot be heard is told to make safe all the same, and is not called safe', async () => {
  // A dead-man so long that it does not help.
  const c = await connected(misbehaving({ what: 'frames-unreadable' }, 8), { deadManMs: 10_000 });
  await arm(c);
  await c.bench.perform(burst(100_000));
  await wait(c.clock, 6500 - c.clock.now());
  expect(await c.bench.perform({ kind: 'make-safe' })).toMatchObject({ kind: 'no-answer' });
  const until = c.clock.now();
  await wait(c.clock, 8000);
  const [first] = c.frames.filter((frame) => frame.at > 13);
  expect(first).toMatchObject({ armed: false, fault: null, burst: { active: false } });
  expect(until).toBeLessThan(13_000);
});

test('LINE-111 a bench that comes and goes is looked for less and less often', async () => {
  const faults = Array.from({ length: 100 }, (_, i) => ({ begins: { atS: 5 + 3 * i }, forS: 1.5, fault: { kind: 'controller-misbehaves' as const, how: { what: 'frames-absent' as const } } }));
  const c = await connected({ faults });
  await wait(c.clock, 310_000);
  const ups = c.events.filter(({ state }) => state === 'up');
  expect(ups.length).toBeGreaterThan(1);
  expect(ups.length).toBeLessThan(12);
  await wait(c.clock, 70_000);
  expect(c.events.at(-1)?.state).toBe('up');
});

test('no text says that an answer did not come within no time at all', async () => {
  const c = await connected(misbehaving({ what: 'replies-unreadable' }));
  await arm(c);
  await wait(c.clock, 5000 - c.clock.now());
  const reply = await c.bench.perform({ kind: 'make-safe' });
  expect(reply).toMatchObject({ kind: 'no-answer' });
  if (reply.kind === 'no-answer') expect(reply.text).not.toMatch(/within 0\.0/);
});

test.each<[How, string]>([
  [{ what: 'width-not-kept', percent: 10 }, 'width-not-kept'],
  [{ what: 'channel-mixed', with: 2, echoed: true }, 'burst-not-kept'],
])('LINE-38 LINE-90 a burst that is not kept is over when it is refused: %o', async (how, code) => {
  const c = await connected(misbehaving(how));
  await arm(c);
  await wait(c.clock, 5100 - c.clock.now());
  expect(await c.bench.perform({ kind: 'burst', channel: 1, width: milliseconds(40), period: milliseconds(50), count: 100 })).toMatchObject({ kind: 'refused', code });
  // The next is not refused as busy.
  expect(await c.bench.perform({ kind: 'burst', channel: 1, width: milliseconds(40), period: milliseconds(50), count: 100 })).toMatchObject({ kind: 'refused', code });
});
