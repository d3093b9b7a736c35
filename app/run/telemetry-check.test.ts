import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { frameSignals, readInto } from '../bench/readings.ts';
import { amperes, celsius, pascals, seconds, volts } from '../quantities/quantity.ts';
import { framesInTime, impossibleStep, impossibleText, StandingReadings } from './telemetry-check.ts';
import type { WindowSummary } from '../journal/measured.ts';

const frame = (changes: Partial<BenchFrame> = {}): BenchFrame => ({
  at: seconds(10), number: 100, bootId: 'b', supply: volts(14), current: amperes(0.5), pressure: pascals(400e3), railTemperature: celsius(21), meterTemperature: celsius(22),
  edges: 50, lastEdgeAt: seconds(9.9), burst: { number: 3, active: true, commanded: 1000, done: 40 }, armed: true, fault: null, interlocks: 7, ...changes,
});
const before = frame();
/** The frame that follows: a sixteenth of a second later, three edges and three pulses on. */
const next = (changes: Partial<BenchFrame> = {}): BenchFrame =>
  frame({ at: seconds(10.0625), number: 101, edges: 53, lastEdgeAt: seconds(10.05), burst: { ...before.burst, done: 43 }, ...changes });
const step = (changes: Partial<BenchFrame>, from: BenchFrame = before) => impossibleStep(from, next(changes), 0.0625);

describe('RUN-160 LINE-110 what cannot be of two frames that follow each other', () => {
  it.each<[string, Partial<BenchFrame>, Partial<BenchFrame>]>([
    ['clock-back', { at: before.at }, { at: seconds(10 + 1e-6), lastEdgeAt: seconds(10) }],
    // One and a half intervals, and 50 ms.
    ['clock-ahead', { at: seconds(10.1438) }, { at: seconds(10.1437) }],
    // Of two frames that are three apart.
    ['clock-ahead', { number: 103, at: seconds(10.3313) }, { number: 103, at: seconds(10.3312) }],
    ['edges-back', { edges: 49 }, { edges: 50 }],
    ['edge-time-ahead', { lastEdgeAt: seconds(10.0625 + 2e-7) }, { lastEdgeAt: seconds(10.0625 + 0.5e-7) }],
    ['edge-time-back', { edges: 50, lastEdgeAt: seconds(9.9 - 2e-7) }, { edges: 50, lastEdgeAt: seconds(9.9 - 0.5e-7) }],
    ['edge-time-stands', { lastEdgeAt: before.lastEdgeAt }, { edges: 50, lastEdgeAt: before.lastEdgeAt }],
    ['pulses-back', { burst: { ...before.burst, done: 39 } }, { burst: { ...before.burst, done: 40 } }],
    ['pulses-back', { burst: { ...before.burst, done: 39 } }, { burst: { ...before.burst, number: 4, done: 0 } }],
  ])('%s: %j, and not %j', (what, wrong, right) => {
    expect(step(wrong)).toBe(what);
    expect(step(right)).toBeNull();
  });

  it('is told with its figures and the number of the frame', () => {
    const told = (what: Parameters<typeof impossibleText>[0], changes: Partial<BenchFrame>): string => impossibleText(what, before, next(changes));
    expect(told('clock-back', { at: seconds(9.5) })).toBe(
      'The telemetry of the controller cannot be: its clock says 9.500000 s after 10.000000 s (frame 101). No flow can be had from it. Have the controller\'s firmware looked at.',
    );
    expect(told('clock-ahead', { number: 103, at: seconds(11) })).toContain('went on by 1.000 s over 3 frames (frame 103)');
    expect(told('edges-back', { edges: 49 })).toContain('fell from 50 to 49');
    expect(told('edge-time-back', { lastEdgeAt: seconds(9) })).toContain('went back from 9.900000 s to 9.000000 s');
    expect(told('edge-time-ahead', { lastEdgeAt: seconds(11) })).toContain('said to be of 11.000000 s at 10.062500 s');
    expect(told('edge-time-stands', { lastEdgeAt: seconds(9.9) })).toContain('3 more meter edges came at one time, 9.900000 s');
    expect(told('pulses-back', { burst: { ...before.burst, done: 39 } })).toContain('fell from 40 to 39');
  });
});

describe('RUN-162 frames in the time of a window', () => {
  it('are one and a half times those that were asked for, and three, at most; those that are missing count', () => {
    const of = (frames: number, missingFrames: number) => framesInTime({ from: seconds(4), to: seconds(6), frames, missingFrames } as WindowSummary, 20);
    expect(of(60, 3)).toMatchObject({ rule: 'RUN-162', passed: true, found: 63, low: null, high: 63 });
    expect(of(61, 3)).toMatchObject({ passed: false, found: 64 });
    expect(framesInTime({ from: seconds(0), to: seconds(0.51), frames: 18, missingFrames: 0 } as WindowSummary, 20)).toMatchObject({ passed: true, high: 18 });
  });
});

describe('RUN-163 a reading that stands', () => {
  const take = (readings: StandingReadings, one: BenchFrame): void => {
    const values = new Float64Array(frameSignals.length);
    readInto(values, one);
    readings.add(one, values);
  };

  /** Whether `standing` frames that stand are told after `lively` frames of which each `every`-th moves the pressure. */
  function told(lively: number, every: number, standing: number): boolean {
    const readings = new StandingReadings();
    let pressure = 400e3;
    const add = (moves: boolean): void => {
      if (moves) pressure += 1;
      take(readings, frame({ pressure: pascals(pressure) }));
    };
    for (let i = 0; i < lively; i += 1) add(i % every === 0);
    for (let i = 0; i < standing; i += 1) add(false);
    return !readings.criterion().passed;
  }

  it('is judged from 40 frames running on', () => {
    expect(told(600, 1, 39)).toBe(false);
    expect(told(600, 1, 40)).toBe(true);
  });

  it('is known to move after 200 frames, those that stand among them', () => {
    expect(told(160, 1, 40)).toBe(false);
    expect(told(161, 1, 40)).toBe(true);
  });

  it('is never judged where fewer than half of the frames moved it', () => {
    expect(told(600, 2, 50)).toBe(false);
    expect(told(600, 3, 100)).toBe(false);
  });

  it('goes on being told for as long as it stands, and is forgiven once it moves', () => {
    expect(told(600, 1, 2000)).toBe(true);
    const readings = new StandingReadings();
    for (let i = 0; i < 640; i += 1) take(readings, frame({ pressure: pascals(400e3 + Math.min(i, 600)) }));
    expect(readings.criterion().passed).toBe(true);
    for (let i = 0; i < 10; i += 1) take(readings, frame({ pressure: pascals(400e3 + 600) }));
    expect(readings.criterion()).toEqual({
      rule: 'RUN-163', passed: false,
      text: 'rail pressure stands at 400.600 kPa for 49 readings running, and every second one moved it before: the transducer, its wire or the controller does not follow',
    });
    take(readings, frame({ pressure: pascals(400e3 + 601) }));
    expect(readings.criterion()).toEqual({ rule: 'RUN-163', passed: true, text: 'no reading stands still' });
  });
});
