import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { amperes, celsius, kilopascals, seconds, volts } from '../quantities/quantity.ts';
import { summariseWindow, WindowCollector } from './window.ts';
import type { WindowSummary } from '../journal/measured.ts';

function frame(changes: Partial<BenchFrame>): BenchFrame {
  return {
    at: seconds(0),
    number: 0,
    bootId: 'b',
    supply: volts(14),
    current: amperes(0.5),
    pressure: kilopascals(400),
    railTemperature: celsius(21),
    meterTemperature: celsius(22),
    edges: 0,
    lastEdgeAt: seconds(0),
    burst: { number: 1, active: true, commanded: 1000, done: 0 },
    armed: true,
    fault: null,
    interlocks: 7,
    ...changes,
  };
}

/**
 * Frames at `hertz` for `duration`, from a meter whose k-th edge comes at `edgeTime(k)`: the counts and the time of the
 * latest edge are what a controller would capture.
 */
function sampled(edgeTime: (k: number) => number, hertz: number, duration: number): BenchFrame[] {
  const frames: BenchFrame[] = [];
  let k = 0;
  for (let n = 0; n <= Math.round(duration * hertz); n += 1) {
    const at = 10 + n / hertz;
    while (edgeTime(k + 1) <= at) k += 1;
    frames.push(frame({ at: seconds(at), number: n, edges: k, lastEdgeAt: seconds(edgeTime(k)), burst: { number: 1, active: true, commanded: 1000, done: Math.floor(50 * (at - 10)) } }));
  }
  return frames;
}

function summary(frames: readonly BenchFrame[], edgesPerRevolution: number): WindowSummary {
  const result = summariseWindow(frames, edgesPerRevolution);
  if ('failure' in result) throw new Error(result.text);
  return result;
}

describe('summariseWindow', () => {
  it('RUN-50 recovers any steady rate from whole edges and their times, whatever the phase of the frames', () => {
    fc.assert(
      fc.property(fc.double({ min: 2, max: 900, noNaN: true }), fc.double({ min: 0, max: 1, noNaN: true }), fc.constantFrom(10, 20, 50), (rate, phase, hertz) => {
        const window = summary(sampled((k) => (k + phase) / rate, hertz, 4), 1);
        const found = window.edges / (window.lastEdgeAt - window.firstEdgeAt);
        expect(Math.abs(found / rate - 1)).toBeLessThan(1e-9);
        expect(window.firstEdgeAt).toBeGreaterThanOrEqual(window.from);
        expect(window.lastEdgeAt).toBeLessThanOrEqual(window.to);
      }),
    );
  });

  it('RUN-50 the count over a fixed gate would be off by up to an edge: double chronometry is not', () => {
    const window = summary(sampled((k) => (k + 0.4) / 7.3, 20, 3), 1);
    const gate = window.edges / (window.to - window.from);
    expect(Math.abs(gate / 7.3 - 1)).toBeGreaterThan(0.02);
    expect(window.edges / (window.lastEdgeAt - window.firstEdgeAt)).toBeCloseTo(7.3, 9);
  });

  it('RUN-50 whole revolutions cancel the in-rotation error of the meter', () => {
    // Edge k of a revolution of 24 comes early or late by 2 % of a revolution.
    const edgeTime = (k: number): number => (k + 24 * 0.02 * Math.sin((2 * Math.PI * k) / 24)) / 15;
    const frames = sampled(edgeTime, 20, 5.9);
    const byRevolutions = summary(frames, 24);
    expect(byRevolutions.edges % 24).toBe(0);
    expect(byRevolutions.edges / (byRevolutions.lastEdgeAt - byRevolutions.firstEdgeAt)).toBeCloseTo(15, 9);
    const byEdges = summary(frames, 1);
    expect(Math.abs(byEdges.edges / (byEdges.lastEdgeAt - byEdges.firstEdgeAt) / 15 - 1)).toBeGreaterThan(1e-3);
  });

  it('RUN-50 keeps all edges where whole revolutions would give more than half of them away', () => {
    // 1.9 s at 10 Hz are less than one revolution of 24.
    expect(summary(sampled((k) => (k + 0.5) / 10, 20, 1.9), 24).edges).toBe(18);
    // Frames too far apart to meet the same place of a revolution twice, but for one pair at the start.
    const at = [0, 5, 29, 60, 100, 142].map((edges, n) => frame({ at: seconds(10 + n), number: n, edges, lastEdgeAt: seconds(10 + n - 1e-3) }));
    expect(summary(at, 24).edges).toBe(137);
    expect(summary(at.slice(0, 4), 24).edges).toBe(55);
    expect(summary(at.slice(0, 3), 24).edges).toBe(24);
  });

  it('RUN-50 an edge from before the window does not count', () => {
    // The latest edge before the window came 3 s before it: the injector was shut then.
    const frames = [0, 1, 2, 3, 4].map((n) => frame({ at: seconds(10 + n), number: n, edges: n === 0 ? 5 : 5 + 10 * n, lastEdgeAt: seconds(n === 0 ? 7 : 10 + n - 0.01) }));
    const window = summary(frames, 1);
    expect(window.firstEdgeAt).toBeCloseTo(10.99, 9);
    expect(window.edges).toBe(30);
  });

  it('RUN-51 parts cover the window, each a whole number of revolutions, and their mean is the rate', () => {
    const edgeTime = (k: number): number => (k + 24 * 0.02 * Math.sin((2 * Math.PI * k) / 24)) / 15;
    const window = summary(sampled(edgeTime, 20, 8), 24);
    expect(window.edges).toBe(96);
    expect(window.partRates).toHaveLength(4);
    for (const rate of window.partRates) expect(rate).toBeCloseTo(15, 9);

    const long = summary(sampled((k) => k / 150, 20, 30), 24);
    expect(long.partRates).toHaveLength(10);
    for (const rate of long.partRates) expect(rate).toBeCloseTo(150, 9);
  });

  it('RUN-51 fewer than four revolutions make parts of edges; fewer than eight edges make none', () => {
    expect(summary(sampled((k) => k / 15, 20, 2), 24).partRates).toHaveLength(6);
    expect(summary(sampled((k) => k / 3, 20, 2), 24).partRates).toEqual([]);
  });

  it('RUN-51 parts show a flow that falls', () => {
    const { partRates } = summary(sampled((k) => k / 40 + k * k * 2e-4, 20, 6), 1);
    for (const [i, rate] of partRates.entries()) if (i > 0) expect(rate).toBeLessThan(partRates[i - 1] ?? 0);
  });

  it('RUN-52 frames that do not belong together make no window', () => {
    const good = sampled((k) => k / 15, 20, 2);
    expect(summariseWindow([], 1)).toMatchObject({ failure: 'too-few-frames' });
    expect(summariseWindow(good.slice(0, 1), 1)).toMatchObject({ failure: 'too-few-frames' });
    expect(summariseWindow([...good, frame({ at: seconds(13), number: 99, bootId: 'c' })], 1)).toMatchObject({ failure: 'controller-reset' });
    expect(summariseWindow([...good, frame({ at: seconds(13), number: 99, burst: { number: 2, active: true, commanded: 1, done: 0 } })], 1)).toMatchObject({ failure: 'other-burst' });
    expect(summariseWindow(sampled(() => Number.POSITIVE_INFINITY, 20, 2).map((f) => ({ ...f, lastEdgeAt: seconds(1) })), 1)).toMatchObject({ failure: 'no-flow' });
    expect(summariseWindow(sampled((k) => k / 0.6, 20, 2), 1)).toMatchObject({ failure: 'no-flow' });
  });

  it('LINE-73 counts frames, missing frames and pulses; mean and standard deviation by their definitions', () => {
    // Values and results: NIST StRD Univariate "NumAcc1" (mean 10000002, standard deviation 1), shifted to frames.
    const values = [10_000_001, 10_000_003, 10_000_002];
    const frames = values.map((value, i) =>
      frame({ at: seconds(10 + i), number: 5 + 2 * i, pressure: value as BenchFrame['pressure'], edges: 100 + 10 * i, lastEdgeAt: seconds(10 + i), burst: { number: 1, active: true, commanded: 1000, done: 50 * i } }),
    );
    const window = summary(frames, 1);
    expect(window).toMatchObject({ frames: 3, missingFrames: 2, pulses: 100, from: 10, to: 12 });
    expect(window.pressure).toEqual({ mean: 10_000_002, sd: 1 });
    expect(window.supply).toEqual({ mean: 14, sd: 0 });
  });

  it('RUN-130 states the supply current over the window', () => {
    const currents = [1.2, 1.1, 1.3];
    const window = summary(currents.map((a, i) => frame({ at: seconds(10 + i), number: i, current: amperes(a), edges: 10 * i, lastEdgeAt: seconds(10 + i) })), 1);
    expect(window.current?.mean).toBeCloseTo(1.2, 12);
    expect(window.current?.sd).toBeCloseTo(0.1, 12);
  });

  it('RUN-130 of one frame or more the standard deviation is that of a sample', () => {
    const at = (supply: number, n: number) => frame({ at: seconds(10 + n), number: n, supply: volts(supply), edges: 10 * n, lastEdgeAt: seconds(10 + n) });
    expect(summary([at(13, 0), at(15, 1), at(14, 2)], 1).supply).toEqual({ mean: 14, sd: 1 });
    expect(Object.keys(summary([at(13, 0), at(15, 1), at(14, 2)], 1)).slice(0, 10)).toEqual(['from', 'to', 'frames', 'missingFrames', 'edges', 'firstEdgeAt', 'lastEdgeAt', 'partRates', 'pulses', 'pressure']);
  });
});

describe('WindowCollector', () => {
  /** Frames a second apart whose latest edge is the n-th, 1 ms before the frame. */
  const counting = (edges: readonly number[]): BenchFrame[] => edges.map((n, i) => frame({ at: seconds(10 + i), number: i, edges: n, lastEdgeAt: seconds(10 + i - 1e-3) }));
  const collected = (edges: readonly number[], edgesPerRevolution: number): WindowCollector => {
    const collector = new WindowCollector(edgesPerRevolution);
    for (const one of counting(edges)) collector.add(one);
    return collector;
  };

  it('has neither time nor edges before its first frame', () => {
    const collector = new WindowCollector(4);
    expect([collector.duration, collector.edges]).toEqual([0, 0]);
    expect(collected([7], 4).duration).toBe(0);
    expect(collected([7, 7, 7], 4)).toMatchObject({ duration: 2, edges: 0 });
  });

  it('RUN-50 says at any time how many edges its summary would rest on', () => {
    // Places of a revolution of 4: 1, 3, 2, 1, 3. The first frame only says what came before the window.
    expect([2, 3, 4, 5, 6].map((n) => collected([0, 5, 7, 10, 13, 15].slice(0, n), 4).edges)).toEqual([0, 2, 5, 8, 8]);
    // A tie goes to the pair that was first; a longer one takes its place.
    const summaryOf = (edges: readonly number[]) => summary(counting(edges), 4);
    expect(summaryOf([0, 5, 7, 10, 13, 15])).toMatchObject({ edges: 8, firstEdgeAt: 10.999, lastEdgeAt: 13.999 });
    expect(summaryOf([0, 5, 7, 10, 13, 15, 19])).toMatchObject({ edges: 12, firstEdgeAt: 11.999, lastEdgeAt: 15.999 });
  });

  it('RUN-50 goes by revolutions as long as they keep half of the edges', () => {
    // Two edges a revolution of 8 apart: of 15 edges in all they keep more than half, of 17 less.
    expect(collected([0, 1, 9, 16], 8).edges).toBe(8);
    expect(collected([0, 1, 9, 18], 8).edges).toBe(17);
  });

  it('RUN-52 two frames are a window, and two edges', () => {
    expect(summariseWindow(counting([0, 5]), 1)).toEqual({ failure: 'no-flow', text: 'The meter gave fewer than two edges inside the window, so there is no flow to measure.' });
    expect(summariseWindow(counting([0, 5, 6]), 1)).toMatchObject({ edges: 1, frames: 3 });
    expect(summariseWindow(counting([0]), 1)).toEqual({ failure: 'too-few-frames', text: 'The window holds 1 telemetry frames; at least two are needed.' });
    expect(summariseWindow(counting([0, 0]), 1, 'zero')).toMatchObject({ edges: 0, frames: 2 });
    expect(summariseWindow(counting([0]), 1, 'zero')).toMatchObject({ failure: 'too-few-frames' });
    expect(summariseWindow(counting([0, 0]).map((one, i) => ({ ...one, bootId: `b${i}` })), 1, 'zero')).toMatchObject({ failure: 'controller-reset' });
    // Edges whose time stands cannot be told a rate of.
    expect(summariseWindow(counting([0, 5, 6]).map((one) => ({ ...one, lastEdgeAt: seconds(10) })), 1)).toMatchObject({ failure: 'no-flow' });
  });

  it('RUN-51 parts are whole revolutions from four of them on, else at least four edges, two at least and ten at most', () => {
    const parts = (last: number, edgesPerRevolution: number) => summary(counting(Array.from({ length: last + 2 }, (_, n) => n)), edgesPerRevolution).partRates.length;
    // Of 15 edges three revolutions of 4 count: three parts of four edges. Of 16 there are four revolutions.
    expect([parts(15, 4), parts(16, 4), parts(19, 4), parts(20, 4)]).toEqual([3, 4, 4, 5]);
    expect([parts(3, 1), parts(4, 1), parts(10, 1), parts(11, 1)]).toEqual([0, 4, 10, 10]);
    // Four edges to a part where there are no four revolutions: 7 edges make none, 8 make two.
    expect([parts(7, 24), parts(8, 24), parts(40, 24)]).toEqual([0, 2, 6]);
  });

  it('RUN-51 each part has the rate of its own edges and times', () => {
    const times = [0, 1, 2, 4, 6, 7, 8, 9, 10];
    const frames = times.map((at, n) => frame({ at: seconds(20 + at), number: n, edges: 4 * n, lastEdgeAt: seconds(20 + at - 0.25) }));
    // Revolutions of 4 edges, one in each frame: seven of them, four a second or two.
    expect(summary(frames, 4).partRates).toEqual([4, 2, 2, 4, 4, 4, 4]);
    // Where two parts fall between two frames there are none.
    expect(summary([0, 1, 2, 12, 13, 14].map((revolutions, n) => frame({ at: seconds(20 + n), number: n, edges: 4 * revolutions, lastEdgeAt: seconds(20 + n - 0.25) })), 4).partRates).toEqual([]);
    // Nor where the times of edges stand.
    const standing = frames.map((one, n) => (n === 3 ? { ...one, lastEdgeAt: frames[2]?.lastEdgeAt ?? one.lastEdgeAt } : one));
    expect(summary(standing, 4).partRates).toEqual([]);
  });
});

describe('RUN-103 the window of a zero point', () => {
  const zero = (edges: readonly number[], at = edges.map((_, i) => i)): WindowSummary => {
    const frames = edges.map((n, i) => frame({ at: seconds(10 + (at[i] ?? 0)), number: 10 * (at[i] ?? 0), edges: n, lastEdgeAt: seconds(10 + (at[i] ?? 0) - 0.25) }));
    const result = summariseWindow(frames, 24, 'zero');
    if ('failure' in result) throw new Error(result.text);
    return result;
  };

  it('counts edges between its first and its last frame, with the times of the first and the last of them', () => {
    expect(zero([5, 5, 6, 6, 8])).toMatchObject({ edges: 3, firstEdgeAt: 11.75, lastEdgeAt: 13.75, partRates: [0.5, 1] });
    expect(zero([5, 5, 5])).toMatchObject({ edges: 0, firstEdgeAt: 10, lastEdgeAt: 10, partRates: [0, 0] });
  });

  it('has its halves parted by the first frame of the second half', () => {
    expect(zero([0, 3, 5, 9], [0, 1, 2.5, 4])).toMatchObject({ partRates: [2, 4 / 1.5] });
    expect(zero([0, 3, 5, 9], [0, 1, 2, 4])).toMatchObject({ partRates: [2.5, 2] });
    // All of it in one half.
    expect(zero([0, 4])).toMatchObject({ partRates: [4, 0] });
  });
});
