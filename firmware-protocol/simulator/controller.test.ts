import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { sealLine } from '../line/codec.ts';
import { decodeFromController, encodeRequest, type Refusal, type Reply, type Request, type Telemetry } from '../line/messages.ts';
import { SimulatedController } from './controller.ts';
import type { PlantPort, PlantReadings, RailOutputs } from './plant/plant-port.ts';

/** A plant without physics that writes down what the pins do and says what the test wants the sensors to say. */
class RecordingPlant implements PlantPort {
  now = 0;
  supplyMv = -1;
  pressurePa = -1;
  rail: RailOutputs | null = null;
  #drivenUntil = 0;
  readonly pulses: { readonly channel: number; readonly startUs: number; readonly widthUs: number }[] = [];
  onPulse: (startUs: number) => void = () => undefined;
  reads: { -readonly [K in keyof PlantReadings]: PlantReadings[K] } = {
    supplyMv: 0, currentMa: 20, pressurePa: 400_000, railMilliC: 20_000, meterMilliC: 20_000, edges: 0, lastEdgeUs: 0, frozen: [], interlocks: 7,
  };

  advanceTo(us: number): void {
    if (us < this.now) throw new Error('time went back');
    this.now = us;
  }

  setSupply(mv: number): void {
    this.supplyMv = mv;
  }

  setPressure(pa: number): void {
    this.pressurePa = pa;
  }

  setRail(outputs: RailOutputs): void {
    this.rail = outputs;
  }

  pulse(channel: number, startUs: number, widthUs: number): void {
    if (startUs < this.now) throw new Error('a pulse in the past');
    if (startUs < this.#drivenUntil) throw new Error('two pulses at once');
    this.#drivenUntil = startUs + widthUs;
    this.onPulse(startUs);
    this.pulses.push({ channel, startUs, widthUs });
  }

  driven = 0;
  drivenMa(): number {
    return this.driven;
  }

  read(): PlantReadings {
    return { ...this.reads, supplyMv: this.supplyMv };
  }
}

type Answer = Reply | (Refusal & { refused: true });

class Bench {
  readonly plant = new RecordingPlant();
  readonly lines: string[] = [];
  readonly frames: Telemetry[] = [];
  now = 0;
  seq = 100;
  readonly controller: SimulatedController;

  constructor(pressureCommandable = true, rail = { pump: true, relief: true, shutOff: true }) {
    this.controller = new SimulatedController({
      plant: this.plant,
      serial: 'T-1',
      channels: 4,
      pressureCommandable,
      rail,
      bootSeed: 3,
      emit: (line) => {
        const decoded = decodeFromController(line.slice(0, -1));
        if (decoded.kind === 'bad') throw new Error(`bad line ${line}`);
        if (decoded.kind === 'telemetry') this.frames.push(decoded.telemetry);
        else this.lines.push(line);
      },
    });
  }

  passMs(ms: number): void {
    this.now += ms * 1_000;
    this.controller.advanceTo(this.now);
  }

  /** What comes back at once, raw; '' for nothing. */
  say(line: string): string {
    this.lines.length = 0;
    this.controller.receive(Buffer.from(line, 'latin1'));
    return this.lines.join('');
  }

  ask(request: Request): Answer {
    this.seq = (this.seq + 1) & 0xffff;
    return this.read(this.say(encodeRequest(this.seq, request)));
  }

  read(line: string): Answer {
    const decoded = decodeFromController(line.slice(0, -1));
    if (decoded.kind === 'reply') return decoded.reply;
    if (decoded.kind === 'refusal') return { ...decoded.refusal, refused: true };
    throw new Error(`no answer: ${line}`);
  }

  code(request: Request): string {
    const answer = this.ask(request);
    return 'refused' in answer ? answer.code : 'done';
  }

  /** Passes time with a line every 100 ms. */
  passAliveMs(ms: number): void {
    for (let left = ms; left > 0; left -= 100) {
      this.ask({ word: 'alive' });
      this.passMs(Math.min(100, left));
    }
  }

  frame(): Telemetry {
    const frame = this.frames.at(-1);
    if (frame === undefined) throw new Error('no frame yet');
    return frame;
  }
}

function greeted(pressureCommandable = true): Bench {
  const bench = new Bench(pressureCommandable);
  bench.ask({ word: 'hello', token: 'a' });
  return bench;
}

function armed(): Bench {
  const bench = greeted();
  expect(bench.code({ word: 'arm' })).toBe('done');
  return bench;
}

const burst = (change: Partial<Extract<Request, { word: 'burst' }>> = {}): Request => ({
  word: 'burst', channel: 2, widthNs: 2_500_000, periodUs: 20_000, count: 5, ...change,
});

describe('a start', () => {
  it('LINE-52 LINE-53 switches everything off, and nothing is armed', () => {
    const bench = greeted();
    expect(bench.plant.supplyMv).toBe(0);
    expect(bench.plant.pressurePa).toBe(100_000);
    bench.passMs(500);
    expect(bench.frame()).toMatchObject({ armed: false, fault: '', burst: 0, active: false, commanded: 0, done: 0 });
    expect(bench.code(burst())).toBe('not-armed');
    expect(bench.code({ word: 'supply', mv: 1 })).toBe('not-armed');
    expect(bench.plant.pulses).toEqual([]);
  });

  it('LINE-18 does nothing before a hello', () => {
    const bench = new Bench();
    for (const request of [{ word: 'arm' }, { word: 'safe' }, { word: 'alive' }] as const) expect(bench.code(request)).toBe('no-hello');
    expect(bench.ask({ word: 'hello', token: 'x' })).toMatchObject({ word: 'hello', token: 'x', serial: 'T-1', channels: 4, protocol: 1 });
    expect(bench.code({ word: 'arm' })).toBe('done');
  });

  it('LINE-52 LINE-24 LINE-40 a reset in the middle of work is a start: new boot id, frames from 0, deaf while it starts', () => {
    const bench = armed();
    bench.ask({ word: 'supply', mv: 12_000 });
    bench.ask({ word: 'pressure', pa: 400_000 });
    bench.ask(burst({ count: 100 }));
    bench.plant.reads.edges = 1_000;
    bench.plant.reads.lastEdgeUs = 400_000;
    bench.passMs(500);
    const { boot } = bench.frame();
    const before = bench.plant.pulses.length;
    bench.controller.reset();
    expect(bench.plant.supplyMv).toBe(0);
    expect(bench.plant.pressurePa).toBe(100_000);
    expect(bench.say(encodeRequest(bench.seq + 1, { word: 'alive' }))).toBe('');
    bench.frames.length = 0;
    bench.passMs(1_000);
    expect(bench.plant.pulses.length).toBe(before);
    expect(bench.frames[0]).toMatchObject({ frame: 0, atUs: 100_000, armed: false, burst: 0, edges: 0, lastEdgeUs: 0, fault: '' });
    expect(bench.frame().boot).not.toBe(boot);
    expect(bench.code({ word: 'alive' })).toBe('no-hello');
  });

  it('LINE-24 boot ids differ over many starts', () => {
    const bench = new Bench();
    const ids = new Set<string>();
    for (let i = 0; i < 500; i += 1) {
      bench.controller.reset();
      bench.passMs(500);
      ids.add(bench.frame().boot);
    }
    expect(ids.size).toBe(500);
  });
});

describe('sequence numbers', () => {
  it('LINE-13 a repeated burst request is answered again and not driven again', () => {
    const bench = armed();
    bench.seq += 1;
    const line = encodeRequest(bench.seq, burst({ count: 2 }));
    const first = bench.say(line);
    for (let i = 0; i < 5; i += 1) {
      bench.passMs(50);
      expect(bench.say(line)).toBe(first);
    }
    expect(bench.plant.pulses).toHaveLength(2);
    expect(bench.controller.burstsAccepted).toBe(1);
  });

  it('LINE-13 a refusal is remembered too, even when it would now be carried out', () => {
    const bench = greeted();
    bench.seq += 1;
    const line = encodeRequest(bench.seq, burst());
    expect(bench.read(bench.say(line))).toMatchObject({ code: 'not-armed' });
    expect(bench.read(bench.say(line))).toMatchObject({ code: 'not-armed' });
  });

  it('LINE-14 LINE-15 newer by up to 32767 is new, everything else is stale', () => {
    fc.assert(
      fc.property(fc.nat(65_535), fc.integer({ min: 1, max: 65_535 }), (last, ahead) => {
        const bench = new Bench();
        bench.say(encodeRequest(last, { word: 'hello', token: 'a' }));
        const answer = bench.read(bench.say(encodeRequest((last + ahead) % 65_536, { word: 'alive' })));
        expect('refused' in answer ? answer.code : 'done').toBe(ahead <= 32_767 ? 'done' : 'stale');
      }),
    );
  });

  it('LINE-15 a stale request does nothing and is not remembered', () => {
    const bench = armed();
    const latest = bench.seq;
    expect(bench.read(bench.say(encodeRequest(latest - 1, { word: 'safe' })))).toMatchObject({ code: 'stale', word: 'safe' });
    bench.passMs(200);
    expect(bench.frame().armed).toBe(true);
    expect(bench.read(bench.say(encodeRequest(latest, { word: 'arm' })))).toEqual({ word: 'arm' });
  });

  it('LINE-16 hello is carried out whatever its number and leaves the bench as it is', () => {
    const bench = armed();
    bench.ask({ word: 'supply', mv: 12_000 });
    bench.ask({ word: 'telemetry', hz: 50 });
    bench.seq = 7;
    expect(bench.ask({ word: 'hello', token: 'b' })).toMatchObject({ token: 'b' });
    expect(bench.code({ word: 'alive' })).toBe('done');
    bench.passMs(100);
    expect(bench.frame().armed).toBe(true);
    expect(bench.plant.supplyMv).toBe(12_000);
    expect(bench.frames).toHaveLength(5);
  });

  it('LINE-17 a late copy of hello opens no way for an old request to be done twice', () => {
    const bench = new Bench();
    const hello = encodeRequest(10, { word: 'hello', token: 'a' });
    const first = bench.say(hello);
    bench.say(encodeRequest(11, { word: 'arm' }));
    bench.say(encodeRequest(12, burst({ count: 1 })));
    bench.passMs(100);
    expect(bench.say(hello)).toBe(first);
    expect(bench.read(bench.say(encodeRequest(12, burst({ count: 1 }))))).toMatchObject({ number: 1 });
    expect(bench.read(bench.say(encodeRequest(11, { word: 'arm' })))).toMatchObject({ code: 'stale' });
    bench.passMs(100);
    expect(bench.plant.pulses).toHaveLength(1);
  });

  it('LINE-20 an unfit request is refused, remembered, and does nothing', () => {
    const bench = greeted();
    const line = sealLine('? 300 arm now=1');
    const first = bench.say(line);
    expect(bench.read(first)).toMatchObject({ word: 'arm', code: 'form' });
    expect(bench.say(line)).toBe(first);
    expect(bench.read(bench.say(sealLine('? 301 jump')))).toMatchObject({ word: 'unknown', code: 'unknown' });
  });

  it('LINE-9 a bad line is not answered', () => {
    const bench = greeted();
    for (const line of ['? 200 arm #0000\n', 'arm\n', sealLine('= 200 arm'), '\n', '\r\n', 'x'.repeat(500) + '\n']) expect(bench.say(line)).toBe('');
  });
});

describe('requests', () => {
  it('LINE-21 LINE-33 limits come before the state of the bench', () => {
    const bench = greeted();
    for (const change of [
      { channel: 0 }, { channel: 5 }, { widthNs: 99_999 }, { widthNs: 100_000_001 }, { periodUs: 999 }, { periodUs: 1_000_001 }, { count: 0 },
      { count: 1_000_001 },
    ]) {
      expect(bench.code(burst(change)), JSON.stringify(change)).toBe('range');
    }
    for (const request of [{ word: 'deadman', ms: 99 }, { word: 'deadman', ms: 10_001 }, { word: 'telemetry', hz: 0 }, { word: 'telemetry', hz: 201 }, { word: 'supply', mv: 18_001 }, { word: 'pressure', pa: 600_001 }, { word: 'pressure', pa: 99_999 }] as const) {
      expect(bench.code(request), JSON.stringify(request)).toBe('range');
    }
  });

  it('LINE-29 LINE-58 arming needs every interlock closed', () => {
    const bench = greeted();
    bench.plant.reads.interlocks = 0b101;
    expect(bench.ask({ word: 'arm' })).toMatchObject({ code: 'interlock', text: 'Open: cover. The bench stays disarmed.' });
    bench.passMs(100);
    expect(bench.frame()).toMatchObject({ fault: '', interlocks: 0b101 });
    bench.plant.reads.interlocks = 0b111;
    expect(bench.code({ word: 'arm' })).toBe('done');
    expect(bench.code({ word: 'arm' })).toBe('done');
  });

  it('LINE-31 a supply up to the safe value is always taken, above it only when armed', () => {
    const bench = greeted();
    expect(bench.code({ word: 'supply', mv: 0 })).toBe('done');
    expect(bench.code({ word: 'supply', mv: 1 })).toBe('not-armed');
    bench.ask({ word: 'arm' });
    expect(bench.code({ word: 'supply', mv: 18_000 })).toBe('done');
    expect(bench.plant.supplyMv).toBe(18_000);
  });

  it('LINE-32 pressure is commanded without arming, or not at all', () => {
    const bench = greeted();
    expect(bench.code({ word: 'pressure', pa: 400_000 })).toBe('done');
    expect(bench.plant.pressurePa).toBe(400_000);
    const byHand = greeted(false);
    expect(byHand.code({ word: 'pressure', pa: 700_000 })).toBe('unsupported');
    expect(byHand.plant.pressurePa).toBe(-1);
    expect(byHand.ask({ word: 'describe', topic: 'pressure' })).toMatchObject({ commandable: false, minPa: 0, maxPa: 0 });
  });

  it('LINE-33 LINE-37 a burst is driven pulse by pulse at exact times', () => {
    const bench = armed();
    bench.passMs(3.25);
    expect(bench.ask(burst({ count: 4, periodUs: 7_001 }))).toEqual({ word: 'burst', number: 1, widthNs: 2_500_000 });
    const asked = bench.now;
    bench.passMs(100);
    const first = bench.plant.pulses[0]?.startUs ?? Number.NaN;
    expect(first - asked).toBeGreaterThanOrEqual(0);
    expect(first - asked).toBeLessThanOrEqual(10_000);
    expect(bench.plant.pulses).toEqual([0, 1, 2, 3].map((k) => ({ channel: 2, startUs: first + k * 7_001, widthUs: 2_500 })));
    bench.passMs(100);
    expect(bench.frame()).toMatchObject({ burst: 1, active: false, commanded: 4, done: 4 });
    expect(bench.ask(burst())).toMatchObject({ number: 2 });
  });

  it('LINE-34 the width is rounded to the nearest tick, half a tick up', () => {
    const bench = armed();
    for (const [asked, given] of [[2_500_249, 2_500_000], [2_500_250, 2_500_500], [2_500_499, 2_500_500], [100_000_000, 100_000_000]] as const) {
      expect(bench.ask(burst({ widthNs: asked, periodUs: 200_000, count: 1 }))).toMatchObject({ widthNs: given });
      bench.passAliveMs(300);
      expect(bench.plant.pulses.at(-1)?.widthUs).toBe(given / 1_000);
    }
  });

  it('LINE-35 duty up to 100 % is driven, above it refused', () => {
    const bench = armed();
    expect(bench.code(burst({ widthNs: 5_000_249, periodUs: 5_000 }))).toBe('done');
    bench.passMs(100);
    expect(bench.plant.pulses).toHaveLength(5);
    expect(bench.frames.length > 0 && bench.code(burst({ widthNs: 5_000_250, periodUs: 5_000 }))).toBe('range');
  });

  it('LINE-36 one burst at a time', () => {
    const bench = armed();
    bench.ask(burst());
    bench.passMs(30);
    expect(bench.code(burst({ channel: 3 }))).toBe('busy');
    bench.passMs(200);
    expect(bench.plant.pulses.map((p) => p.channel)).toEqual([2, 2, 2, 2, 2]);
    expect(bench.code(burst({ channel: 3 }))).toBe('done');
  });

  it('LINE-38 halt lets the pulse in progress end, and no other begins', () => {
    const bench = armed();
    bench.ask({ word: 'telemetry', hz: 200 });
    bench.ask(burst({ widthNs: 15_000_000, count: 10 }));
    bench.passMs(25);
    expect(bench.plant.pulses).toHaveLength(2);
    expect(bench.code({ word: 'halt' })).toBe('done');
    bench.passMs(5);
    expect(bench.frame()).toMatchObject({ active: true, done: 1 });
    expect(bench.code(burst())).toBe('busy');
    bench.passMs(10);
    expect(bench.frame()).toMatchObject({ active: false, commanded: 10, done: 2, armed: true });
    bench.passMs(100);
    expect(bench.plant.pulses).toHaveLength(2);
  });

  it('LINE-38 halt before the first pulse and between pulses ends at once', () => {
    const bench = armed();
    bench.ask(burst());
    bench.ask({ word: 'halt' });
    expect(bench.code(burst())).toBe('done');
    bench.passMs(10);
    bench.ask({ word: 'halt' });
    expect(bench.code(burst())).toBe('done');
    expect(bench.plant.pulses).toHaveLength(1);
  });

  it('LINE-30 LINE-54 safe stops, lowers the supply and disarms', () => {
    const bench = armed();
    bench.ask({ word: 'supply', mv: 14_000 });
    bench.ask(burst({ count: 50 }));
    bench.passMs(30);
    expect(bench.code({ word: 'safe' })).toBe('done');
    expect(bench.plant.supplyMv).toBe(0);
    const pulses = bench.plant.pulses.length;
    bench.passMs(300);
    expect(bench.plant.pulses).toHaveLength(pulses);
    expect(bench.frame()).toMatchObject({ armed: false, active: false, fault: '' });
    expect(bench.code(burst())).toBe('not-armed');
  });

  it('LINE-54 a pulse that could not be cut keeps the next burst waiting', () => {
    const bench = armed();
    bench.ask(burst({ widthNs: 50_000_000, periodUs: 100_000 }));
    bench.passMs(20);
    bench.ask({ word: 'safe' });
    bench.ask({ word: 'arm' });
    expect(bench.code(burst())).toBe('busy');
    bench.passMs(31);
    expect(bench.code(burst())).toBe('done');
  });
});

describe('telemetry', () => {
  it('LINE-42 comes at 10 Hz from the start, LINE-28 at the set rate from the request on', () => {
    const bench = greeted();
    bench.passMs(1_000);
    expect(bench.frames.map((f) => f.atUs)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10].map((k) => k * 100_000));
    bench.passMs(33);
    bench.frames.length = 0;
    bench.ask({ word: 'telemetry', hz: 30 });
    bench.passMs(100);
    expect(bench.frames.map((f) => f.atUs)).toEqual([1_066_333, 1_099_666, 1_132_999]);
    expect(bench.frames.map((f) => f.frame)).toEqual([10, 11, 12]);
  });

  it('tells when the next frame is due, and emits it exactly then', () => {
    const bench = greeted();
    bench.passMs(150);
    expect(bench.controller.nextDueUs()).toBe(200_000);
    bench.controller.advanceTo(199_999);
    expect(bench.frames).toHaveLength(1);
    bench.controller.advanceTo(200_000);
    expect(bench.frames).toHaveLength(2);
  });

  it('LINE-41 LINE-44 carries the sensors and the meter, in whole units', () => {
    const bench = greeted();
    Object.assign(bench.plant.reads, { currentMa: 123.4, pressurePa: -0.4, railMilliC: -1_500.6, meterMilliC: 1e12, edges: 77, lastEdgeUs: 41_234.7 });
    bench.passMs(100);
    expect(bench.frame()).toMatchObject({ currentMa: 123, pressurePa: 0, railMilliC: -1_501, meterMilliC: 0x7fffffff, edges: 77, lastEdgeUs: 41_234 });
  });
});

describe('safety', () => {
  it('LINE-55 LINE-57 the dead-man acts at the set time, not before', () => {
    const bench = armed();
    bench.ask({ word: 'supply', mv: 14_000 });
    bench.ask(burst({ count: 1_000 }));
    bench.passMs(999.9);
    expect(bench.plant.supplyMv).toBe(14_000);
    bench.passMs(0.2);
    expect(bench.plant.supplyMv).toBe(0);
    const pulses = bench.plant.pulses.length;
    bench.passMs(500);
    expect(bench.plant.pulses).toHaveLength(pulses);
    expect(bench.frame()).toMatchObject({ armed: false, active: false, fault: 'dead-man' });
  });

  it('LINE-27 LINE-55 counts from the request that sets it, and only while armed', () => {
    const bench = armed();
    bench.passMs(900);
    bench.ask({ word: 'deadman', ms: 200 });
    bench.passMs(199);
    bench.ask({ word: 'deadman', ms: 5_000 });
    bench.passMs(4_900);
    expect(bench.frame().armed).toBe(true);
    bench.ask({ word: 'safe' });
    bench.passMs(20_000);
    expect(bench.frame().fault).toBe('');
  });

  it('LINE-26 LINE-56 LINE-82 requests feed it, those of extensions, refused and repeated ones too; bad and stale ones do not', () => {
    const feeding: ((bench: Bench) => void)[] = [
      (bench) => bench.code({ word: 'alive' }),
      (bench) => bench.ask({ word: 'rail' }),
      (bench) => bench.code({ word: 'telemetry', hz: 0 }),
      (bench) => bench.say(encodeRequest(bench.seq, { word: 'arm' })),
      (bench) => bench.ask({ word: 'hello', token: 'q' }),
      (bench) => {
        bench.seq += 1;
        bench.say(sealLine(`? ${bench.seq} nonsense`));
      },
    ];
    const starving: ((bench: Bench) => void)[] = [
      (bench) => bench.say(encodeRequest(bench.seq - 1, { word: 'alive' })),
      (bench) => bench.say(`? ${bench.seq + 1} alive #0000\n`),
      (bench) => bench.say('\n'),
      (bench) => bench.say('noise'),
    ];
    for (const [says, alive] of [...feeding.map((s) => [s, true] as const), ...starving.map((s) => [s, false] as const)]) {
      const bench = armed();
      for (let i = 0; i < 10; i += 1) {
        bench.passMs(300);
        says(bench);
      }
      expect(bench.frame().fault, says.toString()).toBe(alive ? '' : 'dead-man');
    }
  });

  it.each([
    ['emergency-stop', { interlocks: 0b110 }],
    ['interlock-cover', { interlocks: 0b101 }],
    ['interlock-ventilation', { interlocks: 0b011 }],
    ['over-current', { currentMa: 5_001 }],
    ['over-pressure', { pressurePa: 700_001 }],
    ['over-temperature', { railMilliC: 45_001 }],
    ['over-temperature', { meterMilliC: 45_001 }],
  ] as const)('LINE-59 LINE-60 LINE-61 LINE-62 LINE-64 %s makes safe within 50 ms and stays latched until cleared', (fault, reading) => {
    const bench = armed();
    bench.ask({ word: 'supply', mv: 14_000 });
    bench.ask({ word: 'pressure', pa: 500_000 });
    bench.ask(burst({ count: 1_000 }));
    bench.passMs(333);
    const healthy = { ...bench.plant.reads };
    Object.assign(bench.plant.reads, reading);
    bench.passMs(50);
    expect(bench.plant.supplyMv).toBe(0);
    // LINE-88
    expect(bench.plant.pressurePa).toBe(100_000);
    expect(bench.plant.rail).toEqual({ pump: false, reliefShut: false, shutOff: false });
    const pulses = bench.plant.pulses.length;
    bench.passAliveMs(1_000);
    expect(bench.plant.pulses).toHaveLength(pulses);
    expect(bench.frame()).toMatchObject({ fault, armed: false, active: false });
    expect(bench.code({ word: 'clear' })).toBe('fault');
    bench.plant.reads = healthy;
    bench.passAliveMs(1_000);
    expect(bench.frame().fault).toBe(fault);
    for (const request of [{ word: 'arm' }, burst(), { word: 'supply', mv: 1 }, { word: 'pressure', pa: 400_000 }] as const) {
      expect(bench.code(request), request.word).toBe('fault');
    }
    expect(bench.code({ word: 'supply', mv: 0 })).toBe('done');
    // LINE-39
    expect(bench.code({ word: 'clear' })).toBe('done');
    bench.passMs(200);
    expect(bench.frame()).toMatchObject({ fault: '', armed: false });
    expect(bench.code({ word: 'arm' })).toBe('done');
  });

  it('LINE-58 the emergency stop latches a disarmed bench too, the cover does not', () => {
    const bench = greeted();
    bench.plant.reads.interlocks = 0b101;
    bench.passMs(200);
    expect(bench.frame().fault).toBe('');
    bench.plant.reads.interlocks = 0b100;
    bench.passMs(200);
    expect(bench.frame().fault).toBe('emergency-stop');
  });

  it('LINE-59 one disturbed reading of a limit does not trip', () => {
    const bench = armed();
    bench.passMs(10);
    for (let i = 0; i < 20; i += 1) {
      bench.plant.reads.currentMa = 20_000;
      bench.passMs(20);
      bench.plant.reads.currentMa = 100;
      bench.passMs(20);
      bench.ask({ word: 'alive' });
    }
    expect(bench.frame().fault).toBe('');
  });

  it('LINE-63 the first fault stays; clear waits for the cause of a later one', () => {
    const bench = armed();
    bench.passMs(1_500);
    bench.plant.reads.interlocks = 0b110;
    bench.passMs(200);
    expect(bench.frame().fault).toBe('dead-man');
    expect(bench.code({ word: 'clear' })).toBe('fault');
    bench.plant.reads.interlocks = 0b111;
    expect(bench.code({ word: 'clear' })).toBe('done');
  });

  it('LINE-53 whatever is said and whatever happens, pins follow the armed state', () => {
    const small = fc.oneof(
      fc.constantFrom<Request>({ word: 'arm' }, { word: 'safe' }, { word: 'halt' }, { word: 'clear' }, { word: 'alive' }, { word: 'hello', token: 'z' },
        { word: 'describe', topic: 'extensions' }, { word: 'pump', on: true }, { word: 'pump', on: false }, { word: 'shut-off', shut: true },
        { word: 'keep-pressure' }, { word: 'keep-pressure' }, { word: 'pressure', pa: 400_000 }),
      fc.record({ word: fc.constant('supply'), mv: fc.constantFrom(0, 1, 12_000, 18_000, 18_001) }),
      fc.record({ word: fc.constant('deadman'), ms: fc.constantFrom(100, 300, 10_000) }),
      fc.record({
        word: fc.constant('burst'), channel: fc.integer({ min: 0, max: 5 }), widthNs: fc.constantFrom(100_000, 3_000_250, 20_000_000),
        periodUs: fc.constantFrom(1_000, 10_000, 20_000), count: fc.constantFrom(1, 3, 1_000),
      }),
    );
    const happening = fc.oneof(
      { weight: 5, arbitrary: fc.record({ ask: small }) },
      { weight: 3, arbitrary: fc.record({ pass: fc.constantFrom(0.3, 5, 37, 250, 1_100) }) },
      { weight: 1, arbitrary: fc.record({ interlocks: fc.constantFrom(7, 7, 6, 5, 3) }) },
      { weight: 1, arbitrary: fc.record({ reset: fc.constant(true) }) },
    );
    fc.assert(
      fc.property(fc.array(happening, { maxLength: 60 }), (happenings) => {
        const bench = greeted();
        // What may be armed at most, told from outside: by answers, by time since the last request, by the inputs.
        let armed = false;
        // LINE-86: disarmed, with the pressure kept; the dead-man and the inputs end that as well.
        let keeping = false;
        let fedUs = 0;
        let deadmanUs = 1_000_000;
        let openUs = Number.POSITIVE_INFINITY;
        const watched = (us: number) => us - fedUs <= deadmanUs + 50_000 && us - openUs <= 50_000;
        const mayBeArmed = (us: number) => armed && watched(us);
        bench.plant.onPulse = (us) => {
          if (!mayBeArmed(us)) throw new Error('a pulse of a bench that cannot be armed');
        };
        for (const h of happenings) {
          const before = bench.frames.length;
          armed = mayBeArmed(bench.now);
          keeping = keeping && watched(bench.now);
          if ('ask' in h) {
            bench.seq = (bench.seq + 1) & 0xffff;
            const line = bench.say(encodeRequest(bench.seq, h.ask));
            const answer = line === '' ? null : bench.read(line);
            const done = answer !== null && !('refused' in answer);
            if (answer !== null && !('refused' in answer && answer.code === 'no-hello')) fedUs = bench.now;
            if (done && h.ask.word === 'arm') armed = true;
            if (done && h.ask.word === 'safe') armed = keeping = false;
            if (done && h.ask.word === 'keep-pressure') [armed, keeping] = [false, true];
            if (done && h.ask.word === 'deadman') deadmanUs = h.ask.ms * 1_000;
          } else if ('pass' in h) {
            bench.passMs(h.pass);
          } else if ('interlocks' in h) {
            bench.plant.reads.interlocks = h.interlocks;
            openUs = h.interlocks === 7 ? Number.POSITIVE_INFINITY : Math.min(openUs, bench.now);
          } else {
            bench.controller.reset();
            armed = keeping = false;
            deadmanUs = 1_000_000;
          }
          if (!mayBeArmed(bench.now)) expect(bench.plant.supplyMv).toBe(0);
          if (!mayBeArmed(bench.now) && !keeping) expect(bench.plant.rail).toEqual({ pump: false, reliefShut: false, shutOff: false });
          for (const f of bench.frames.slice(before)) {
            expect(f.done).toBeLessThanOrEqual(f.commanded);
            expect(f.armed && f.fault !== '').toBe(false);
            expect(f.active && !f.armed).toBe(false);
            if (!f.armed) expect(f.supplyMv).toBe(0);
          }
        }
        bench.passMs(500);
        bench.ask({ word: 'hello', token: 'end' });
        bench.ask({ word: 'safe' });
        const pulses = bench.plant.pulses.length;
        bench.passMs(2_000);
        expect(bench.plant.supplyMv).toBe(0);
        expect(bench.plant.pulses).toHaveLength(pulses);
        expect(bench.frame().armed).toBe(false);
      }),
      { numRuns: 300 },
    );
  });
});

const OFF = { pump: false, reliefShut: false, shutOff: false };

/** Armed by a host that knows of the extensions, at 500 kPa. */
function pumping(): Bench {
  const bench = greeted();
  bench.ask({ word: 'describe', topic: 'extensions' });
  bench.ask({ word: 'arm' });
  expect(bench.code({ word: 'pump', on: true })).toBe('done');
  expect(bench.code({ word: 'pressure', pa: 500_000 })).toBe('done');
  expect(bench.plant.rail).toEqual({ pump: true, reliefShut: true, shutOff: false });
  return bench;
}

describe('the rail', () => {
  it('LINE-80 LINE-81 LINE-83 the extensions are listed, an unknown topic is refused as form', () => {
    const bench = greeted();
    expect(bench.ask({ word: 'describe', topic: 'extensions' })).toMatchObject({ extensions: expect.arrayContaining(['rail']) as string[] });
    expect(bench.ask({ word: 'describe', topic: 'rail' })).toMatchObject({ pump: true, relief: true, shutOff: true });
    bench.seq += 1;
    expect(bench.read(bench.say(sealLine(`? ${bench.seq} describe topic=weather`)))).toMatchObject({ refused: true, word: 'describe', code: 'form' });
  });

  it('LINE-83 LINE-84 the pump needs an armed bench; how the outputs stand is read back', () => {
    const bench = greeted();
    bench.ask({ word: 'describe', topic: 'extensions' });
    expect(bench.plant.rail).toEqual(OFF);
    expect(bench.code({ word: 'pump', on: true })).toBe('not-armed');
    expect(bench.code({ word: 'pump', on: false })).toBe('done');
    bench.ask({ word: 'arm' });
    expect(bench.plant.rail).toEqual(OFF);
    expect(bench.ask({ word: 'rail' })).toEqual({ word: 'rail', pumping: false, relieved: true, shut: false, keeping: false });
    expect(bench.code({ word: 'pump', on: true })).toBe('done');
    expect(bench.ask({ word: 'rail' })).toEqual({ word: 'rail', pumping: true, relieved: false, shut: false, keeping: false });
    // The relief valve stays shut when the pump stops, so that the pressure can be watched.
    expect(bench.code({ word: 'pump', on: false })).toBe('done');
    expect(bench.plant.rail).toEqual({ pump: false, reliefShut: true, shutOff: false });
  });

  it('LINE-84 LINE-85 what a bench does not have is unsupported; LINE-86 keeping pressure is not', () => {
    const bench = new Bench(true, { pump: false, relief: false, shutOff: false });
    bench.ask({ word: 'hello', token: 'a' });
    expect(bench.code({ word: 'pump', on: true })).toBe('unsupported');
    expect(bench.code({ word: 'shut-off', shut: false })).toBe('unsupported');
    expect(bench.code({ word: 'keep-pressure' })).toBe('not-armed');
  });

  it('LINE-86 keeping pressure is making safe but for the rail, and the dead-man goes on', () => {
    const bench = pumping();
    bench.ask({ word: 'supply', mv: 12_000 });
    bench.ask(burst({ count: 1_000 }));
    bench.passMs(100);
    expect(bench.code({ word: 'keep-pressure' })).toBe('done');
    expect(bench.code({ word: 'keep-pressure' })).toBe('done');
    expect(bench.code({ word: 'shut-off', shut: true })).toBe('done');
    bench.passAliveMs(3_000);
    expect(bench.frame()).toMatchObject({ armed: false, active: false, fault: '' });
    expect(bench.plant).toMatchObject({ supplyMv: 0, pressurePa: 500_000, rail: { pump: true, reliefShut: true, shutOff: true } });
    expect(bench.code(burst())).toBe('not-armed');
    expect(bench.code({ word: 'supply', mv: 1 })).toBe('not-armed');
    bench.passMs(1_051);
    expect(bench.ask({ word: 'rail' })).toMatchObject({ keeping: false, pumping: false });
    bench.passMs(100);
    expect(bench.frame().fault).toBe('dead-man');
    expect(bench.plant).toMatchObject({ pressurePa: 100_000, rail: OFF });
  });

  it.each(['safe', 'arm'] as const)('LINE-86 keeping pressure ends with %s', (word) => {
    const bench = pumping();
    bench.ask({ word: 'keep-pressure' });
    expect(bench.code({ word })).toBe('done');
    expect(bench.ask({ word: 'rail' })).toMatchObject({ keeping: false, pumping: word === 'arm' });
    expect(bench.plant.pressurePa).toBe(word === 'arm' ? 500_000 : 100_000);
  });

  it('LINE-87 a host of version 1 finds the pump running when it has armed, and only then', () => {
    const bench = greeted();
    expect(bench.code({ word: 'pressure', pa: 400_000 })).toBe('done');
    expect(bench.plant.rail).toEqual(OFF);
    bench.ask({ word: 'arm' });
    expect(bench.plant.rail).toEqual({ pump: true, reliefShut: true, shutOff: false });
    bench.ask({ word: 'safe' });
    bench.ask({ word: 'describe', topic: 'extensions' });
    bench.ask({ word: 'arm' });
    expect(bench.plant.rail).toEqual(OFF);
    bench.ask({ word: 'safe' });
    // A new conversation may be that of another host.
    bench.ask({ word: 'hello', token: 'b' });
    bench.ask({ word: 'arm' });
    expect(bench.plant.rail?.pump).toBe(true);
  });

  it.each([
    ['safe', (bench: Bench) => void bench.ask({ word: 'safe' })],
    ['the dead-man', (bench: Bench) => { bench.passMs(1_060); }],
    ['the cover', (bench: Bench) => { bench.plant.reads.interlocks = 0b101; bench.passMs(50); }],
    ['the ventilation', (bench: Bench) => { bench.plant.reads.interlocks = 0b011; bench.passMs(50); }],
    ['the emergency stop', (bench: Bench) => { bench.plant.reads.interlocks = 0b110; bench.passMs(50); }],
    ['a reset', (bench: Bench) => { bench.controller.reset(); }],
  ])('LINE-88 %s gives up the rail pressure', (_, happen) => {
    const bench = pumping();
    bench.ask({ word: 'shut-off', shut: true });
    happen(bench);
    expect(bench.plant).toMatchObject({ pressurePa: 100_000, rail: OFF });
  });

  it('LINE-89 dead-man and interlocks watch a disarmed bench too while its regulator is up', () => {
    const bench = greeted();
    bench.ask({ word: 'pressure', pa: 400_000 });
    bench.passAliveMs(2_000);
    expect(bench.plant.pressurePa).toBe(400_000);
    bench.passMs(1_060);
    expect(bench.plant.pressurePa).toBe(100_000);
    bench.passMs(100);
    expect(bench.frame().fault).toBe('dead-man');
    bench.ask({ word: 'clear' });
    bench.ask({ word: 'pressure', pa: 400_000 });
    bench.plant.reads.interlocks = 0b101;
    bench.passMs(50);
    expect(bench.plant.pressurePa).toBe(100_000);
    bench.plant.reads.interlocks = 0b111;
    bench.ask({ word: 'clear' });
    // At its lowest there is nothing to watch.
    bench.ask({ word: 'pressure', pa: 100_000 });
    bench.passMs(2_000);
    expect(bench.frame().fault).toBe('');
  });
});

describe('single faults that version 1 does not see', () => {
  it.each([
    ['sensor-pressure', { pressurePa: -125_000 }],
    ['sensor-pressure', { pressurePa: 1_125_000 }],
    ['sensor-rail-temperature', { railMilliC: -32_500 }],
    ['sensor-meter-temperature', { meterMilliC: 92_500 }],
  ] as const)('LINE-92 %s: a transducer outside its electrical range trips within 50 ms, armed or not, until it is back', (fault, reading) => {
    const bench = greeted();
    const healthy = { ...bench.plant.reads };
    Object.assign(bench.plant.reads, reading);
    bench.passMs(50);
    expect(bench.code({ word: 'arm' })).toBe('fault');
    bench.passMs(100);
    expect(bench.frame().fault).toBe(fault);
    expect(bench.code({ word: 'clear' })).toBe('fault');
    bench.plant.reads = healthy;
    bench.passMs(100);
    expect(bench.code({ word: 'clear' })).toBe('done');
  });

  it.each(['pressure', 'current'] as const)('LINE-92 a frozen %s trips after two seconds of pulses, and not without pulses', (input) => {
    const bench = pumping();
    bench.plant.reads.frozen = [input];
    bench.passAliveMs(5_000);
    expect(bench.frame().fault).toBe('');
    bench.ask(burst({ count: 1_000 }));
    bench.passAliveMs(1_900);
    expect(bench.frame().fault).toBe('');
    bench.passAliveMs(200);
    expect(bench.frame()).toMatchObject({ fault: `sensor-${input}`, active: false });
    expect(bench.code({ word: 'clear' })).toBe('done');
  });

  it('LINE-93 a converter that stands still trips within 50 ms and cannot be cleared', () => {
    const bench = armed();
    bench.passMs(100);
    bench.controller.converterStopped = true;
    bench.plant.reads.pressurePa = 1_000_000;
    bench.passMs(50);
    expect(bench.code({ word: 'arm' })).toBe('fault');
    bench.passMs(100);
    expect(bench.frame()).toMatchObject({ fault: 'converter', armed: false });
    expect(bench.code({ word: 'clear' })).toBe('fault');
    bench.controller.converterStopped = false;
    bench.plant.reads.pressurePa = 400_000;
    bench.passMs(100);
    expect(bench.code({ word: 'clear' })).toBe('done');
  });

  it('LINE-94 current without a burst trips within a second, after a burst too; current in pulses does not', () => {
    const bench = armed();
    bench.plant.reads.currentMa = 900;
    bench.ask(burst({ count: 100 }));
    bench.passAliveMs(1_990);
    expect(bench.frame().fault).toBe('');
    bench.passAliveMs(1_000);
    expect(bench.frame()).toMatchObject({ fault: 'driver', armed: false, done: 100 });
  });

  it('LINE-94 flow without a burst trips within a second, unless the rail is being filled', () => {
    for (const [rising, fault] of [[0, 'driver'], [5_000, '']] as const) {
      const bench = armed();
      bench.passAliveMs(500);
      for (let ms = 0; ms < 1_300; ms += 10) {
        bench.plant.reads.edges += 1;
        bench.plant.reads.pressurePa += rising / 50;
        bench.ask({ word: 'alive' });
        bench.passMs(10);
      }
      expect(bench.frame().fault).toBe(fault);
    }
  });

  it('LINE-94 a leak of 10 mL/min is no fault of a driver', () => {
    const bench = armed();
    for (let ms = 0; ms < 5_000; ms += 125) {
      bench.plant.reads.edges += 1;
      bench.ask({ word: 'alive' });
      bench.passMs(125);
    }
    expect(bench.frame().fault).toBe('');
  });

  it.each([[2_500_000, 20_000], [5_000_000, 20_000], [4_000_000, 10_000], [100_000, 1_000]])('LINE-95 a short circuit in pulses of %i ns every %i us trips within 2 ms', (widthNs, periodUs) => {
    const bench = armed();
    bench.plant.driven = 10_000;
    bench.ask(burst({ widthNs, periodUs, count: 1_000 }));
    bench.passMs(1);
    expect(bench.plant.pulses).toHaveLength(1);
    bench.passMs(2);
    expect(bench.ask({ word: 'arm' })).toMatchObject({ code: 'fault', text: expect.stringContaining('over-current') as string });
    bench.passMs(200);
    expect(bench.frame()).toMatchObject({ fault: 'over-current', active: false });
  });

  it('LINE-96 a meter that rattles is a fault, and nothing is counted in silence', () => {
    const bench = armed();
    bench.plant.reads.edges += 400;
    bench.passMs(100);
    expect(bench.frame().fault).toBe('meter');
  });

  it('LINE-90 echoes the latest burst', () => {
    const bench = armed();
    expect(bench.ask({ word: 'echo' })).toEqual({ word: 'echo', number: 0, channel: 0, widthNs: 0, periodUs: 0, count: 0 });
    bench.ask(burst({ channel: 3, widthNs: 2_500_100 }));
    expect(bench.ask({ word: 'echo' })).toEqual({ word: 'echo', number: 1, channel: 3, widthNs: 2_500_000, periodUs: 20_000, count: 5 });
  });

  it('LINE-91 a calibration moves the reading and the trip with it, and outlives a reset', () => {
    const bench = greeted();
    expect(bench.code({ word: 'calibrate', input: 'pressure', zero: 0, full: 700_000 })).toBe('range');
    // The transducer reads 2 % low: 700 kPa of it are 714 kPa.
    expect(bench.code({ word: 'calibrate', input: 'pressure', zero: -127_500, full: 1_147_500 })).toBe('done');
    bench.controller.reset();
    bench.passMs(400);
    bench.ask({ word: 'hello', token: 'b' });
    expect(bench.ask({ word: 'describe', topic: 'calibration' })).toMatchObject({ stored: true, scales: { pressure: { full: 1_147_500 } } });
    bench.plant.reads.pressurePa = 686_000;
    bench.passMs(100);
    expect(bench.frame()).toMatchObject({ fault: '', pressurePa: 699_720 });
    bench.plant.reads.pressurePa = 687_000;
    bench.passMs(100);
    expect(bench.frame().fault).toBe('over-pressure');
    expect(bench.code({ word: 'calibrate', input: 'pressure', zero: -125_000, full: 1_125_000 })).toBe('done');
    bench.ask({ word: 'clear' });
    bench.ask({ word: 'arm' });
    expect(bench.code({ word: 'calibrate', input: 'pressure', zero: -125_000, full: 1_125_000 })).toBe('busy');
  });

  it('LINE-98 counts bad lines, over-long ones too, and starts', () => {
    const bench = greeted();
    bench.say('noise\n\n');
    bench.say(`${'x'.repeat(500)}\n`);
    expect(bench.ask({ word: 'describe', topic: 'health' })).toMatchObject({ badLines: 2, starts: 1, cause: 'power-on' });
    bench.controller.reset();
    bench.passMs(400);
    bench.ask({ word: 'hello', token: 'b' });
    expect(bench.ask({ word: 'describe', topic: 'health' })).toMatchObject({ badLines: 0, starts: 2, cause: 'button' });
  });
});
