import { afterEach, describe, expect, it, vi } from 'vitest';
import { milliseconds, volts } from '../../app/quantities/quantity.ts';
import type { Telemetry } from '../../firmware-protocol/line/messages.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { VirtualClock, wait } from '../clock/clock.ts';
import { machineEntropy } from '../clock/machine.ts';
import { connectBench, type Bench, type BenchLinkEvent } from './driver.ts';
import { DriverInvariants } from './invariants.ts';
import { RunningBench } from './running-bench.ts';
import { SimulatedChannel } from './simulated-channel.ts';

const telemetry = (more: Partial<Telemetry> = {}): Telemetry => ({ boot: 'aa', frame: 1, armed: false, active: false, supplyMv: 0, ...more }) as Telemetry;
const capabilities = { safeSupply: volts(0) };
const done = { kind: 'done' } as const;

describe('what must hold of a driver', () => {
  it('HOST-71 frames are of the controller start that is stated, and each comes once and in order', () => {
    const must = new DriverInvariants();
    expect(must.frame(telemetry(), 'aa')).toBeNull();
    expect(must.frame(telemetry({ frame: 2 }), 'aa')).toBeNull();
    expect(must.frame(telemetry({ frame: 2 }), 'aa')).toMatch(/Frame 2 .* after frame 2/);
    expect(must.frame(telemetry({ frame: 1 }), 'aa')).toMatch(/Frame 1 /);
    expect(must.frame(telemetry({ boot: 'bb', frame: 9 }), 'aa')).toMatch(/start bb .* one of aa/);
    // Another start counts from its own beginning.
    expect(must.frame(telemetry({ boot: 'cc', frame: 0 }), 'cc')).toBeNull();
  });

  it('HOST-72 one request of what brings energy is unanswered at a time; a withdrawn one is none', () => {
    for (const word of ['arm', 'burst'] as const) {
      const must = new DriverInvariants();
      const withdrawn = new AbortController();
      expect(must.asked(word, withdrawn.signal)).toBeNull();
      expect(must.asked(word, undefined)).toMatch(new RegExp(`"${word}" .* unanswered`));
      withdrawn.abort();
      must.answered(word, undefined);
      expect(must.asked(word, undefined)).toBeNull();
      must.answered(word, withdrawn.signal);
      expect(must.asked(word, undefined)).not.toBeNull();
      must.answered(word, undefined);
      must.answered(word, undefined);
      expect(must.asked(word, undefined)).toBeNull();
    }
    const must = new DriverInvariants();
    for (const word of ['safe', 'safe', 'alive', 'alive'] as const) expect(must.asked(word, undefined)).toBeNull();
  });

  it('HOST-73 the bench is called safe only where its latest frame shows it', () => {
    const after = (more: Partial<Telemetry>) => {
      const must = new DriverInvariants();
      must.frame(telemetry(more), 'aa');
      return must.madeSafe(done, capabilities);
    };
    expect(after({ supplyMv: 400 })).toBeNull();
    expect(after({ active: true })).toMatch(/pulsing/);
    expect(after({ armed: true })).toMatch(/armed/);
    expect(after({ supplyMv: 900 })).toMatch(/900 mV/);
    expect(new DriverInvariants().madeSafe(done, capabilities)).toMatch(/without a frame/);
    const refused = { kind: 'no-answer', text: 'It was not confirmed.' } as const;
    expect(new DriverInvariants().madeSafe(refused, capabilities)).toBeNull();
  });

  it('HOST-74 a bench that was not called lost is not called connected again', () => {
    const must = new DriverInvariants();
    expect(must.link('up')).toMatch(/without having been called lost/);
    expect(must.link('down')).toBeNull();
    expect(must.link('down')).toBeNull();
    expect(must.link('up')).toBeNull();
    expect(must.link('up')).not.toBeNull();
  });
});

describe('HOST-75 a driver that finds itself wrong', () => {
  const undo: (() => unknown)[] = [];
  afterEach(async () => {
    vi.restoreAllMocks();
    for (const step of undo.splice(0).reverse()) await step();
  });

  async function pulsing(): Promise<{ readonly bench: Bench; readonly clock: VirtualClock; readonly told: BenchLinkEvent[]; readonly lines: string[] }> {
    const clock = new VirtualClock(0);
    const running = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1 }), clock);
    const channel = new SimulatedChannel(running);
    const lines: string[] = [];
    const write = channel.write.bind(channel);
    vi.spyOn(channel, 'write').mockImplementation((bytes) => {
      lines.push(Buffer.from(bytes).toString('latin1'));
      write(bytes);
    });
    const told: BenchLinkEvent[] = [];
    const connected = await connectBench({ channels: () => Promise.resolve([channel]), clock, entropy: machineEntropy, deadManMs: 1000, telemetryHz: 20, onLink: (event) => told.push(event) });
    if (!connected.ok) throw new Error(connected.text);
    const { bench } = connected;
    undo.push(() => { clock.stop(); }, () => { running.switchOff(); }, () => bench.close());
    await bench.perform({ kind: 'arm' });
    await bench.perform({ kind: 'set-supply', supply: volts(12) });
    expect(await bench.perform({ kind: 'burst', channel: 1, width: milliseconds(3), period: milliseconds(20), count: 10_000 })).toMatchObject(done);
    return { bench, clock, told, lines };
  }

  it.each([
    ['a frame', (): unknown => vi.spyOn(DriverInvariants.prototype, 'frame').mockReturnValueOnce('A frame is wrong.'), null, 'A frame is wrong.'],
    ['a request', (): unknown => vi.spyOn(DriverInvariants.prototype, 'asked').mockReturnValueOnce('A request is wrong.'), { kind: 'pump', on: true }, 'A request is wrong.'],
    ['a safe that is none', (): unknown => vi.spyOn(DriverInvariants.prototype, 'madeSafe').mockReturnValue('It is not safe.'), { kind: 'make-safe' }, 'It is not safe.'],
  ] as const)('%s: it tells the bench to make safe, says what was wrong, and asks nothing any more', async (_, wrong, request, what) => {
    const { bench, clock, told, lines } = await pulsing();
    wrong();
    if (request === null) await wait(clock, 200);
    else expect(await bench.perform(request)).toMatchObject({ kind: 'no-answer' });
    expect(told).toHaveLength(1);
    expect(told[0]).toMatchObject({ state: 'down' });
    expect(told[0]?.reason).toContain(`fault of its own in how it speaks to the bench: ${what}`);
    expect(bench.downReason).toBe(told[0]?.reason);
    await wait(clock, 500);
    expect(lines.at(-1)).toMatch(/^\? \d+ safe /);
    const before = lines.length;
    expect(await bench.perform({ kind: 'arm' })).toMatchObject({ kind: 'no-answer' });
    // It does not come back by itself, and nothing keeps the dead-man from acting.
    await wait(clock, 120_000);
    expect(lines).toHaveLength(before);
    expect(told).toHaveLength(1);
  });
});
