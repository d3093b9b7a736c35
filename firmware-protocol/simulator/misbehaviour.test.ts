import { describe, expect, it } from 'vitest';
import { LONGEST_TO_HOST } from '../line/codec.ts';
import { LineSplitter } from '../line/line-splitter.ts';
import { decodeFromController, encodeRequest, type Reply, type Request, type Telemetry } from '../line/messages.ts';
import type { Misbehaviour } from './misbehaviour.ts';
import { createPlant } from './plant/plant.ts';
import { scenarioSchema } from './plant/scenario.ts';
import { SimulatedBench } from './simulated-bench.ts';

interface Heard {
  readonly frames: readonly Telemetry[];
  readonly replies: readonly (Reply & { readonly atS: number })[];
  readonly unreadable: number;
  readonly driven: readonly number[];
}

/** A host that greets, arms, sets 14 V and has channel 1 pulsed from 1 s on; what is heard of it until 4 s. The fault acts from 2 s to 3 s. */
function heard(how: Misbehaviour | null, beginsS = 2): Heard {
  const frames: Telemetry[] = [];
  const replies: (Reply & { readonly atS: number })[] = [];
  const driven: number[] = [];
  let unreadable = 0;
  let now = 0;
  let seq = 0;
  const splitter = new LineSplitter(LONGEST_TO_HOST, (text) => {
    const line = decodeFromController(text);
    if (line.kind === 'telemetry') frames.push(line.telemetry);
    else if (line.kind === 'reply') replies.push({ ...line.reply, atS: now });
    else if (line.kind === 'bad' && line.why === 'form') unreadable += 1;
  });
  const faults = how === null ? [] : [{ begins: { atS: beginsS }, forS: 1, fault: { kind: 'controller-misbehaves', how } }];
  const bench = new SimulatedBench(
    scenarioSchema.parse({ scenarioVersion: 1, seed: 5, faults }),
    (bytes) => splitter.push(bytes),
    (scenario) => {
      const plant = createPlant(scenario);
      const pulse = plant.pulse.bind(plant);
      plant.pulse = (channel, startUs, widthUs) => {
        driven.push(channel);
        pulse(channel, startUs, widthUs);
      };
      return plant;
    },
  );
  const pass = (toS: number): void => {
    while (now < toS - 1e-9) {
      now += 0.05;
      bench.advanceTo(now * 1e6);
      say({ word: 'alive' });
    }
  };
  const say = (request: Request): void => {
    seq += 1;
    bench.receive(Buffer.from(encodeRequest(seq, request)));
  };
  say({ word: 'hello', token: 'a' });
  say({ word: 'arm' });
  say({ word: 'pressure', pa: 400_000 });
  say({ word: 'supply', mv: 14_000 });
  pass(1);
  say({ word: 'burst', channel: 1, widthNs: 5_000_000, periodUs: 20_000, count: 10_000 });
  pass(2.5);
  say({ word: 'echo' });
  say({ word: 'hello', token: 'b' });
  pass(4);
  return { frames, replies, unreadable, driven };
}

const well = heard(null);
const inside = (h: Heard): readonly Telemetry[] => h.frames.slice(20, 29);
const gained = (h: Heard): number => (h.frames[27]?.edges ?? 0) - (h.frames[21]?.edges ?? 0);
const steps = (h: Heard, of: (frame: Telemetry) => number): readonly number[] => h.frames.slice(1).map((frame, i) => of(frame) - of(h.frames[i] ?? frame));

describe('LINE-110, LINE-112 a controller that misbehaves by scenario', () => {
  it('does nothing of it without', () => {
    expect(steps(well, (f) => f.atUs).every((us) => us === 100_000)).toBe(true);
    expect(Math.min(...steps(well, (f) => f.edges))).toBeGreaterThanOrEqual(0);
    expect(Math.min(...steps(well, (f) => f.lastEdgeUs))).toBeGreaterThanOrEqual(0);
    expect(well.frames.every((f) => f.lastEdgeUs <= f.atUs)).toBe(true);
    expect(well.unreadable).toBe(0);
    expect(new Set(well.driven)).toEqual(new Set([1]));
  });

  it.each<[Misbehaviour, (h: Heard) => boolean]>([
    [{ what: 'clock-back', s: 0.5 }, (h) => Math.min(...steps(h, (f) => f.atUs)) === -400_000],
    [{ what: 'clock-ahead', s: 5 }, (h) => Math.max(...steps(h, (f) => f.atUs)) === 5_100_000],
    [{ what: 'clock-stands' }, (h) => steps(h, (f) => f.atUs).filter((us) => us === 0).length === 9],
    [{ what: 'edges-back', edges: 100 }, (h) => Math.min(...steps(h, (f) => f.edges)) < 0],
    [{ what: 'edges-doubled' }, (h) => gained(h) > 1.5 * gained(well)],
    [{ what: 'edge-time-back', s: 0.5 }, (h) => Math.min(...steps(h, (f) => f.lastEdgeUs)) < 0],
    [{ what: 'edge-time-ahead', s: 5 }, (h) => h.frames.some((f) => f.lastEdgeUs > f.atUs)],
    [{ what: 'values-stand', sensor: 'pressure' }, (h) => new Set(inside(h).map((f) => f.pressurePa)).size === 1],
    [{ what: 'values-stand', sensor: 'rail-temperature' }, (h) => new Set(inside(h).map((f) => f.railMilliC)).size === 1],
    [{ what: 'values-stand', sensor: 'meter-temperature' }, (h) => new Set(inside(h).map((f) => f.meterMilliC)).size === 1],
    [{ what: 'supply-offset', mv: 1500 }, (h) => inside(h).every((f) => f.supplyMv > 15_000)],
    [{ what: 'frames-doubled' }, (h) => steps(h, (f) => f.frame).filter((n) => n === 0).length === 10],
    [{ what: 'frames-swapped' }, (h) => steps(h, (f) => f.frame).filter((n) => n < 0).length >= 4],
    [{ what: 'frames-absent' }, (h) => h.frames.length === well.frames.length - 10],
    [{ what: 'frames-unreadable' }, (h) => h.frames.length === well.frames.length - 10 && h.unreadable === 10],
    [{ what: 'frames-flood', hz: 200 }, (h) => h.frames.length > well.frames.length + 150],
    [{ what: 'boot-id-other' }, (h) => new Set(h.frames.map((f) => f.boot)).size === 2],
    [{ what: 'pulses-overcounted' }, (h) => h.frames.some((f) => f.done > f.commanded)],
    [{ what: 'pulses-undercounted', percent: 50 }, (h) => Math.min(...steps(h, (f) => f.done)) < 0],
    [{ what: 'channel-mixed', with: 2, echoed: false }, (h) => h.driven.includes(2) && h.replies.some((r) => r.word === 'echo' && r.channel === 1)],
    [{ what: 'channel-mixed', with: 2, echoed: true }, (h) => h.driven.includes(2) && h.replies.some((r) => r.word === 'echo' && r.channel === 2)],
    [{ what: 'replies-unreadable' }, (h) => h.unreadable > 15 && h.frames.length === well.frames.length],
    [{ what: 'replies-late', s: 0.4 }, (h) => h.replies.some((r) => r.word === 'echo' && r.atS > 2.85)],
    [{ what: 'serial-other' }, (h) => h.replies.some((r) => r.word === 'hello' && r.serial === 'SIM-ANOTHER')],
  ])('%o', (how, shows) => {
    expect(shows(heard(how))).toBe(true);
    expect(shows(well)).toBe(false);
  });

  it('drives and states a width that it was not asked for', () => {
    const stated = ({ replies }: Heard) => replies.find((reply) => reply.word === 'burst')?.widthNs;
    expect(stated(heard({ what: 'width-not-kept', percent: 10 }, 0.5))).toBe(5_500_000);
    expect(stated(well)).toBe(5_000_000);
  });
});
