import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { settlingOf, type Settling, type SettlingAttempt } from './settling.ts';

const plan = { settleS: 1, supply: { toleranceV: 0.05, steadyS: 0.3, timeoutS: 20, idleCurrentA: 0.2 }, condition: { pressureToleranceKpa: 4, temperatureMinC: 15, temperatureMaxC: 30, steadyS: 0.5, timeoutS: 120 } };

interface Made {
  /** Over what it comes to; s from the first frame that shows the pulses running. */
  readonly flow?: (s: number) => number;
  readonly pressure?: (s: number) => number;
  readonly supply?: (s: number) => number;
  readonly hertz?: number;
  readonly period?: number;
  readonly durationS?: number;
}

/** Frames twenty times a second from a pulsed flow, with edges at their true times; `chance` 0 to 1: where pulses, edges and frames stand to each other, and how the meter was left. */
function attempt({ flow = () => 1, pressure = () => 400e3, supply = () => 14, hertz = 60, period = 0.02, durationS = 5 }: Made, chance: () => number): SettlingAttempt {
  const dt = 1e-4;
  const open = 0.25;
  const [lead, pulsePhase] = [0.05 * chance(), period * chance()];
  let [edges, angle, lastEdgeAt] = [1000, chance(), 99];
  const frames: BenchFrame[] = [];
  // Pulses begin `lead` before the first frame that shows them.
  for (let i = Math.floor(-lead / dt); i <= durationS / dt; i += 1) {
    const s = i * dt;
    const rate = ((s + pulsePhase + 10 * period) % period) / period < open ? (hertz / open) * flow(s) : 0;
    angle += rate * dt;
    if (angle >= 1) {
      angle -= 1;
      edges += 1;
      lastEdgeAt = 100 + s - (rate > 0 ? angle / rate : 0);
    }
    if (i < 0 || i % 500 > 0) continue;
    frames.push({ at: 100 + s, edges, lastEdgeAt, burst: { number: 7, active: true, commanded: 1e6, done: 0 }, supply: supply(s), pressure: pressure(s) } as unknown as BenchFrame);
  }
  return { voltage: 14, pressure: 400e3, period, frames };
}

function chanceFrom(seed: number): () => number {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

const settled = (made: (i: number) => Made, n: number, seed: number): Extract<Settling, { kind: 'settling' }> => {
  const chance = chanceFrom(seed);
  const found = settlingOf(Array.from({ length: n }, (_, i) => attempt(made(i), chance)), plan);
  if (found.kind === 'no-settling') throw new Error(found.text);
  return found;
};

describe('RUN-247', () => {
  it('a flow in even pulses is even from the first row on, however pulses, edges and frames stand to each other', () => {
    // Half a second is 25 periods of 20 ms, and no whole number of the others.
    for (const [seed, period, limit] of [[11, 0.02, 3e-3], [12, 0.0125, 3e-3], [13, 0.033, 6e-3], [15, 0.1, 5e-3]] as const) {
      const { flow } = settled(() => ({ period, hertz: 90 }), 120, seed);
      expect(flow.map(({ from, to }) => [from, to])).toEqual([[0, 0.5], [0.5, 1], [1, 1.5], [1.5, 2]]);
      for (const { mean, expanded, attempts } of flow) {
        expect(Math.abs(mean)).toBeLessThan(2 * expanded + 1e-4);
        expect(expanded).toBeLessThan(limit);
        expect(attempts).toBe(120);
      }
    }
    expect(settled(() => ({ hertz: 90 }), 300, 14).flowFrom).toBe(0);
  });

  it('a flow that begins too high and falls off is told as it is, and from when on it no longer matters', () => {
    const [height, tau] = [0.05, 0.3];
    const { flow, flowFrom } = settled(() => ({ flow: (s) => 1 + height * Math.exp(-Math.max(0, s) / tau), hertz: 90 }), 200, 21);
    for (const { from, to, mean, expanded } of flow) {
      const truth = ((height * tau) / (to - from)) * (Math.exp(-from / tau) - Math.exp(-to / tau));
      // The first row begins with its first edge, up to 30 ms late.
      expect(Math.abs(mean - truth)).toBeLessThan(2 * expanded + (from === 0 ? 0.1 * truth : 2e-4));
    }
    expect(flow[0]?.mean).toBeGreaterThan(0.02);
    expect(flowFrom).toBe(1);
  });

  it('a flow that still falls in the window is none that has settled', () => {
    expect(settled(() => ({ flow: (s) => 1 + 0.05 * Math.exp(-Math.max(0, s)), hertz: 90 }), 60, 31).flowFrom).toBeNull();
  });

  it('pressure and supply are within tolerance from the frame on after which they are no more beyond it before the window', () => {
    const { pressure, supply } = settled(
      (i) => ({ pressure: (s) => (s < 0.3 + 0.1 * (i % 3) ? 395.9e3 : 396.1e3), supply: (s) => (i === 4 && s > 0.9 ? 13.94 : s < 0.2 ? 14.06 : 14.04) }),
      9, 41,
    );
    expect(pressure).toMatchObject({ within: 9, attempts: 9 });
    expect(pressure.median).toBeCloseTo(0.4, 6);
    expect(pressure.latest).toBeCloseTo(0.5, 6);
    expect(supply).toMatchObject({ within: 8, attempts: 9 });
    expect(supply.latest).toBeCloseTo(0.2, 6);
  });

  it('what comes after the wait is no fault of it, and windows that are too short tell nothing of the flow', () => {
    const { pressure, flow, flowFrom } = settled(() => ({ pressure: (s) => (s > 1.2 ? 380e3 : 400e3), durationS: 2.5 }), 6, 51);
    expect(pressure).toEqual({ within: 6, attempts: 6, median: 0, latest: 0 });
    expect([flow, flowFrom]).toEqual([[], null]);
  });

  it('takes five attempts', () => {
    const chance = chanceFrom(61);
    expect(settlingOf(Array.from({ length: 4 }, () => attempt({}, chance)), plan)).toEqual({ kind: 'no-settling', text: 'Frames of 4 attempts from the begin of their pulses are stored; 5 are needed at least.' });
  });
});
