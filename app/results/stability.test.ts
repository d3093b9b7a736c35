import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { celsius, kilopascals, pascals, seconds } from '../quantities/quantity.ts';
import { syntheticEquipment as equipment } from '../reduce/synthetic.test-helper.ts';
import { driftSentence, paysSentence } from './stability-words.ts';
import { stabilityOf, type SignalStability, type Stability } from './stability.ts';

const at = { pressure: kilopascals(400), period: seconds(0.02) };
const settings = { referenceC: 20 };

interface Made {
  readonly durationS: number;
  readonly hertz?: number;
  /** Edges a second, over that of the steady flow. */
  readonly flow?: (s: number) => number;
  readonly pressure?: (s: number) => number;
  readonly without?: (s: number) => boolean;
}

/** Frames twenty times a second of a meter whose edges stand at their true times. */
function frames({ durationS, hertz = 31, flow = () => 1, pressure = () => 400e3, without = () => false }: Made): BenchFrame[] {
  const made: BenchFrame[] = [];
  let [edges, angle, lastEdgeAt] = [0, 0.37, 0];
  for (let i = 0; i <= durationS * 1000; i += 1) {
    const s = i / 1000;
    const rate = hertz * flow(s);
    angle += rate / 1000;
    if (angle >= 1) {
      angle -= 1;
      edges += 1;
      lastEdgeAt = s - angle / rate;
    }
    if (i % 50 > 0 || without(s)) continue;
    made.push({
      at: seconds(s), number: i / 50, bootId: 'b', edges, lastEdgeAt: seconds(lastEdgeAt), burst: { number: 1, active: true, commanded: 1e6, done: 0 }, armed: true, fault: null, interlocks: 7,
      supply: 14, current: 0.4, pressure: pascals(pressure(s)), railTemperature: celsius(20), meterTemperature: celsius(20.3),
    } as unknown as BenchFrame);
  }
  return made;
}

const found = (windows: readonly Made[]): Extract<Stability, { kind: 'stability' }> => {
  const of = stabilityOf(windows.map((w, i) => ({ point: i, attempt: 1, frames: frames(w) })), at, equipment, settings);
  if (of.kind !== 'stability') throw new Error(of.text);
  return of;
};
const mass = ({ signals }: Extract<Stability, { kind: 'stability' }>): SignalStability => signals.find((s) => s.signal === 'mass') as SignalStability;

describe('a held window', () => {
  it('RED-169 is cut into steps without a gap: a steady flow has no deviation, wherever its edges fall', () => {
    for (const hertz of [17.3, 31, 148.9]) {
      const { rows, mean } = mass(found([{ durationS: 100, hertz }]));
      expect(mean).toBeGreaterThan(0);
      // Counting whole edges in each step would give 1 / hertz.
      for (const row of rows) expect(row.deviation).toBeLessThan(1e-3 / hertz);
    }
  });

  it('takes steps of more than a second where edges or frames come slowly', () => {
    expect(found([{ durationS: 100 }]).step).toBe(1);
    expect(found([{ durationS: 100, hertz: 2.5 }]).step).toBe(2);
    expect(found([{ durationS: 200, without: (s) => s % 1 > 0.01 }]).step).toBe(4);
  });

  it('refers the mass to the pressure of the plan, step by step', () => {
    const wave = (s: number): number => 1 + 0.02 * Math.sin(s / 15);
    const of = found([{ durationS: 300, pressure: (s) => 400e3 * wave(s), flow: (s) => Math.sqrt(wave(s)) }]);
    const pressure = of.signals.find((s) => s.signal === 'pressure');
    expect(Math.max(...(pressure?.rows ?? []).map((r) => r.deviation))).toBeGreaterThan(3e3);
    for (const row of mass(of).rows) expect(row.deviation).toBeLessThan(1e-4);
  });

  it('ends a stretch where frames are missing for a step, and takes no average across', () => {
    const level = (s: number): number => (s < 100 ? 1 : 1.2);
    const whole = mass(found([{ durationS: 200, flow: level }]));
    const broken = mass(found([{ durationS: 200, flow: level, without: (s) => s > 97 && s < 103 }]));
    expect(whole.rows[0]?.deviation).toBeGreaterThan(5e-3);
    for (const row of broken.rows) expect(row.deviation).toBeLessThan(1e-3);
  });

  it('takes several windows together, and says in words what is too short', () => {
    const two = found([{ durationS: 60 }, { durationS: 90 }]);
    expect(two).toMatchObject({ windows: [{ point: 0 }, { point: 1 }] });
    expect(two.duration).toBeGreaterThan(145);
    const short = stabilityOf([{ point: 0, attempt: 1, frames: frames({ durationS: 20 }) }], at, equipment, settings);
    expect(short).toMatchObject({ kind: 'no-stability', text: expect.stringMatching(/lasts 19 s\. At least 32 s are needed/u) as string });
    expect(stabilityOf([], at, equipment, settings)).toMatchObject({ kind: 'no-stability' });
  });

  it('says up to where averaging pays, and what drifts', () => {
    const of = mass(found([{ durationS: 400, flow: (s) => 1 + 1e-4 * s }]));
    for (const row of of.rows.slice(2)) expect(row.deviation).toBeCloseTo((1e-4 / 1.02) * (row.time / Math.SQRT2), 5);
    expect(driftSentence(of)).toMatch(/^Drift: \(35 ± .* %\/h, more than noise and a random walk explain\.$/u);
    expect(paysSentence({ ...of, pays: { time: 61, low: 48, high: 82 } })).toMatch(/up to about 61 s \(48 to 82 s by the 95 % intervals\)\. Beyond, .* one more window elsewhere/u);
    expect(paysSentence({ ...of, pays: { time: null, low: 90, high: null } })).toMatch(/as far as the record tells: up to 64 s at least \(by the 95 % intervals perhaps up to 90 s only\)\./u);
    expect(paysSentence({ ...of, pays: null })).toMatch(/too short/u);
  });
});
