import { describe, expect, it } from 'vitest';
import { decodeFromController, encodeRequest, type FromController, type Request, type Telemetry } from '../line/messages.ts';
import { LONGEST_TO_HOST } from '../line/codec.ts';
import { LineSplitter } from '../line/line-splitter.ts';
import { createPlant, type Plant } from './plant/plant.ts';
import { scenarioSchema, type Fault } from './plant/scenario.ts';
import { SimulatedBench } from './simulated-bench.ts';

/** A host on the bench's own time that hears whatever arrives. */
class Host {
  now = 0;
  seq = 0;
  bytes = '';
  readonly heard: FromController[] = [];
  readonly bench: SimulatedBench;
  /** What the plant was told of faults, with the bench time. */
  readonly plantFaults: string[] = [];

  constructor(faults: unknown[] = [], seed = 5) {
    const splitter = new LineSplitter(LONGEST_TO_HOST, (text) => this.heard.push(decodeFromController(text)));
    this.bench = new SimulatedBench(
      scenarioSchema.parse({ scenarioVersion: 1, seed, faults }),
      (bytes) => {
        this.bytes += Buffer.from(bytes).toString('latin1');
        splitter.push(bytes);
      },
      (scenario) => this.#watched(createPlant(scenario)),
    );
  }

  #watched(plant: Plant): Plant {
    const note = (what: string, fault: Fault['fault']) => this.plantFaults.push(`${what} ${fault.kind} ${this.now / 1e6}`);
    return {
      advanceTo: (us) => plant.advanceTo(us),
      setSupply: (mv) => plant.setSupply(mv),
      setPressure: (pa) => plant.setPressure(pa),
      setRail: (outputs) => plant.setRail(outputs),
      pulse: (channel, startUs, widthUs) => plant.pulse(channel, startUs, widthUs),
      read: () => plant.read(),
      drivenMa: (channel) => plant.drivenMa(channel),
      begin: (fault) => {
        note('begin', fault);
        plant.begin(fault);
      },
      end: (fault) => {
        note('end', fault);
        plant.end(fault);
      },
    };
  }

  /** Steps of 50 ms, with a line in each, so that the dead-man stays fed. */
  passS(s: number, say: Request | null = { word: 'alive' }): void {
    for (let left = Math.round(s * 20); left > 0; left -= 1) {
      this.now += 50_000;
      this.bench.advanceTo(this.now);
      if (say !== null) this.say(say);
    }
  }

  say(request: Request): void {
    this.seq = (this.seq + 1) & 0xffff;
    this.bench.receive(Buffer.from(encodeRequest(this.seq, request)));
  }

  answered(request: Request): FromController | null {
    const before = this.heard.length;
    this.say(request);
    return this.heard.slice(before).find((h) => h.kind === 'reply' || h.kind === 'refusal') ?? null;
  }

  get frames(): Telemetry[] {
    return this.heard.flatMap((h) => (h.kind === 'telemetry' ? [h.telemetry] : []));
  }

  count(kind: FromController['kind']): number {
    return this.heard.filter((h) => h.kind === kind).length;
  }

  work(): this {
    this.say({ word: 'hello', token: 'h' });
    this.say({ word: 'arm' });
    this.say({ word: 'supply', mv: 13_500 });
    this.say({ word: 'pressure', pa: 400_000 });
    return this;
  }
}

const burst: Request = { word: 'burst', channel: 1, widthNs: 5_000_000, periodUs: 20_000, count: 10 };

describe('the simulated bench', () => {
  it('gives the same bytes for the same scenario and the same calls, and others for another seed', () => {
    const run = (seed: number) => {
      const host = new Host([{ begins: { atS: 1 }, fault: { kind: 'lines-garbled', direction: 'both', probability: 0.1 } }], seed).work();
      host.passS(2);
      host.say(burst);
      host.passS(3);
      return host.bytes;
    };
    expect(run(5)).toBe(run(5));
    expect(run(5)).not.toBe(run(6));
  });

  it('does not depend on how its time is cut into steps', () => {
    const run = (stepUs: number) => {
      const host = new Host([{ begins: { atS: 0.42 }, forS: 0.3, fault: { kind: 'emergency-stop' } }]).work();
      host.say(burst);
      for (let t = stepUs; t <= 840_000; t += stepUs) host.bench.advanceTo(t);
      return host.frames.map((f) => [f.atUs, f.burst, f.done, f.armed, f.fault, f.interlocks]);
    };
    expect(run(840_000)).toEqual(run(1_000));
  });

  it('says when bytes may next come out, and is mute before', () => {
    const host = new Host();
    for (let i = 0; i < 20; i += 1) {
      const due = host.bench.nextDueUs();
      host.bench.advanceTo(due - 1);
      expect(host.frames).toHaveLength(i);
      host.bench.advanceTo(due);
      expect(host.frames).toHaveLength(i + 1);
    }
  });

  it('takes bytes cut anywhere', () => {
    const host = new Host();
    for (const byte of Buffer.from(encodeRequest(9, { word: 'hello', token: 'slow' }))) host.bench.receive(Uint8Array.of(byte));
    expect(host.count('reply')).toBe(1);
  });

  it('lines lost: some answers and frames are missing, nothing is damaged', () => {
    const host = new Host([{ begins: { atS: 0 }, fault: { kind: 'lines-lost', direction: 'to-host', probability: 0.3 } }]).work();
    host.passS(20);
    expect(host.count('bad')).toBe(0);
    const lost = 1 - host.frames.length / 200;
    expect(lost).toBeGreaterThan(0.15);
    expect(lost).toBeLessThan(0.45);
    expect(host.frames.at(-1)?.armed).toBe(true);
  });

  it('lines lost on the way to the controller are never answered', () => {
    const host = new Host([{ begins: { atS: 0.5 }, forS: 2, fault: { kind: 'lines-lost', direction: 'to-controller', probability: 1 } }]).work();
    host.passS(0.4);
    host.heard.length = 0;
    host.passS(2.05);
    expect(host.frames.at(-1)?.fault).toBe('dead-man');
    expect(host.count('reply')).toBeLessThanOrEqual(2);
    host.heard.length = 0;
    host.passS(1);
    expect(host.count('reply')).toBeGreaterThanOrEqual(19);
  });

  it('LINE-9 lines garbled: none is taken for another, the bench goes on', () => {
    const host = new Host([{ begins: { atS: 0 }, fault: { kind: 'lines-garbled', direction: 'both', probability: 0.4 } }]);
    for (let i = 0; i < 40; i += 1) host.work();
    host.passS(30);
    expect(host.count('bad')).toBeGreaterThan(50);
    for (const frame of host.frames) {
      expect(frame.boot).toBe(host.frames[0]?.boot);
      expect(frame.atUs % 100_000).toBe(0);
    }
  });

  it('LINE-13 lines repeated to the controller: every burst is driven once', () => {
    const host = new Host([{ begins: { atS: 0 }, fault: { kind: 'lines-repeated', direction: 'to-controller', probability: 1 } }]).work();
    for (let i = 1; i <= 5; i += 1) {
      host.say({ ...burst, count: 2 });
      host.passS(0.3);
      expect(host.frames.at(-1)).toMatchObject({ burst: i, done: 2, commanded: 2 });
    }
    const numbers = host.heard.flatMap((h) => (h.kind === 'reply' && h.reply.word === 'burst' ? [h.reply.number] : []));
    expect(numbers).toEqual([1, 1, 2, 2, 3, 3, 4, 4, 5, 5]);
  });

  it('LINE-55 line silent: the dead-man makes the bench safe, and it is heard again after', () => {
    const host = new Host([{ begins: { atS: 1 }, forS: 3, fault: { kind: 'line-silent', direction: 'both' } }]).work();
    host.say({ ...burst, count: 10_000 });
    host.passS(4);
    expect(host.frames.filter((f) => f.atUs > 1_000_000)).toEqual([]);
    expect(host.frames.at(-1)).toMatchObject({ armed: true, active: true });
    host.passS(0.5);
    expect(host.frames.at(-1)).toMatchObject({ armed: false, active: false, fault: 'dead-man' });
  });

  it('LINE-72 controller reset: a new boot id, and nothing but hello is carried out', () => {
    const host = new Host([{ begins: { atS: 2 }, fault: { kind: 'controller-reset' } }]).work();
    host.passS(1.9);
    const boot = host.frames.at(-1)?.boot;
    host.passS(1);
    expect(host.frames.at(-1)?.boot).not.toBe(boot);
    expect(host.frames.at(-1)).toMatchObject({ armed: false, burst: 0 });
    expect(host.answered({ word: 'arm' })).toMatchObject({ kind: 'refusal', refusal: { code: 'no-hello' } });
    expect(host.answered({ word: 'hello', token: 'again' })).toMatchObject({ kind: 'reply' });
    expect(host.answered({ word: 'arm' })).toMatchObject({ kind: 'reply' });
  });

  it('a fault of the plant begins and ends at its times', () => {
    const host = new Host([
      { begins: { atS: 1 }, forS: 0.5, fault: { kind: 'meter-silent' } },
      { begins: { atS: 2 }, fault: { kind: 'pressure-loss', toKpa: 100 } },
    ]);
    host.passS(3, null);
    expect(host.plantFaults).toEqual(['begin meter-silent 1', 'end meter-silent 1.5', 'begin pressure-loss 2']);
  });

  it('a fault begins with the n-th burst, over controller resets, before its first pulse', () => {
    const host = new Host([
      { begins: { atBurst: 2 }, forS: 0.1, fault: { kind: 'meter-silent' } },
      { begins: { atS: 1 }, fault: { kind: 'controller-reset' } },
    ]).work();
    host.say(burst);
    host.passS(2);
    host.work();
    expect(host.plantFaults).toEqual([]);
    host.say(burst);
    expect(host.plantFaults).toEqual(['begin meter-silent 2']);
    host.passS(0.2);
    expect(host.plantFaults).toEqual(['begin meter-silent 2', 'end meter-silent 2.1']);
  });

  it('LINE-60 the emergency stop of a scenario is seen, latched, and cleared once it is released', () => {
    const host = new Host([{ begins: { atS: 1 }, forS: 1, fault: { kind: 'emergency-stop' } }]).work();
    host.passS(1.5);
    expect(host.frames.at(-1)).toMatchObject({ armed: false, fault: 'emergency-stop' });
    expect(host.answered({ word: 'clear' })).toMatchObject({ kind: 'refusal', refusal: { code: 'fault' } });
    host.passS(1);
    expect(host.answered({ word: 'clear' })).toMatchObject({ kind: 'reply' });
    expect(host.answered({ word: 'arm' })).toMatchObject({ kind: 'reply' });
  });

  it('LINE-58 a cover that is opened, and a ventilation that fails, are seen, latched, and cleared once all is well', () => {
    for (const [interlock, bits] of [['cover', 0b101], ['ventilation', 0b011]] as const) {
      const host = new Host([{ begins: { atS: 1 }, forS: 1, fault: { kind: 'interlock-open', interlock } }]).work();
      host.passS(1.5);
      expect(host.frames.at(-1)).toMatchObject({ armed: false, fault: `interlock-${interlock}`, interlocks: bits });
      expect(host.answered({ word: 'arm' })).toMatchObject({ kind: 'refusal' });
      host.passS(1);
      expect(host.frames.at(-1)).toMatchObject({ interlocks: 0b111 });
      expect(host.answered({ word: 'clear' })).toMatchObject({ kind: 'reply' });
      expect(host.answered({ word: 'arm' })).toMatchObject({ kind: 'reply' });
    }
  });

  it('a fault can be let happen at any time, and is over after its own', () => {
    const host = new Host().work();
    host.passS(0.5);
    host.bench.strike({ kind: 'over-temperature', riseC: 3 }, 0.2);
    host.passS(0.1);
    const boot = host.frames.at(-1)?.boot;
    host.bench.strike({ kind: 'controller-reset' });
    host.passS(1);
    expect(host.plantFaults).toEqual(['begin over-temperature 0.5', 'end over-temperature 0.7']);
    expect(host.frames.at(-1)?.boot).not.toBe(boot);
  });

  it('LINE-4 a flood without LF through a faulty wire is held in bounded memory', () => {
    const host = new Host([{ begins: { atS: 0 }, fault: { kind: 'lines-lost', direction: 'to-controller', probability: 0 } }]);
    const flood = new Uint8Array(10_000).fill(120);
    for (let i = 0; i < 1_000; i += 1) host.bench.receive(flood);
    host.bench.receive(Buffer.from('\n'));
    expect(host.answered({ word: 'hello', token: 'dry' })).toMatchObject({ kind: 'reply' });
  });
});
