import { describe, expect, it } from 'vitest';
import type { Point } from '../plan/points.ts';
import { celsius, kilopascals, microseconds, milliseconds, seconds, volts } from '../quantities/quantity.ts';
import { judge } from './judge.ts';
import { testPlan } from './scripted-bench.test-helper.ts';
import type { WindowSummary } from '../journal/measured.ts';

const point: Point = {
  index: 0,
  role: 'measure',
  injector: 0,
  channel: 1,
  voltage: volts(14),
  pressure: kilopascals(400),
  width: milliseconds(5),
  period: milliseconds(20),
  replicate: 0,
};
const plan = testPlan({
  window: { minEdges: 100, minS: 2, maxS: 60 },
  accept: { pressureKpa: 4, pressureSdKpa: 2, supplyV: 0.05, temperatureMinC: 15, temperatureMaxC: 30, halvesPercent: 5, missingFramesPercent: 10 },
});
const capabilities = { timerResolution: microseconds(0.1) };

function window(changes: Partial<WindowSummary> = {}): WindowSummary {
  return {
    from: seconds(10),
    to: seconds(12),
    frames: 41,
    missingFrames: 0,
    edges: 120,
    firstEdgeAt: seconds(10),
    lastEdgeAt: seconds(12),
    partRates: [60, 60, 60, 60],
    pulses: 100,
    pressure: { mean: kilopascals(400), sd: 500 },
    supply: { mean: volts(14), sd: 0.01 },
    railTemperature: { mean: celsius(21), sd: 0.01 },
    meterTemperature: { mean: celsius(21), sd: 0.01 },
    ...changes,
  };
}

const failedRules = (changes: Partial<WindowSummary>): string[] =>
  judge(window(changes), point, plan, capabilities).criteria.filter((c) => !c.passed).map((c) => c.rule);

describe('judge', () => {
  it('accepts a window that keeps every limit, and records each criterion', () => {
    const judgement = judge(window(), point, plan, capabilities);
    expect(judgement.verdict).toBe('accepted');
    expect(judgement.criteria).toHaveLength(10);
    expect(judgement.text).toBe('The window kept every limit of the plan.');
  });

  const pressure = (kPa: number, sd = 500) => ({ pressure: { mean: kilopascals(kPa), sd } });
  const cases: [rule: string, bad: Partial<WindowSummary>, atTheLimit: Partial<WindowSummary>][] = [
    ['RUN-60', { edges: 99 }, { edges: 100 }],
    ['RUN-61', { to: seconds(11.9), pulses: 95 }, { to: seconds(12) }],
    ['RUN-62', pressure(404.1), pressure(404)],
    ['RUN-62', pressure(395.9), pressure(396)],
    ['RUN-63', pressure(400, 2001), pressure(400, 2000)],
    ['RUN-64', { supply: { mean: volts(13.94), sd: 0 } }, { supply: { mean: volts(13.951), sd: 0 } }],
    ['RUN-65', { railTemperature: { mean: celsius(30.1), sd: 0 } }, { railTemperature: { mean: celsius(30), sd: 0 } }],
    ['RUN-66', { meterTemperature: { mean: celsius(14.9), sd: 0 } }, { meterTemperature: { mean: celsius(15), sd: 0 } }],
    ['RUN-67', { partRates: [60, 60, 63.2, 63.2] }, { partRates: [60, 60, 63, 63] }],
    ['RUN-67', { partRates: [] }, { partRates: [60, 61] }],
    ['RUN-68', { missingFrames: 5 }, { missingFrames: 4 }],
    ['RUN-69', { pulses: 97 }, { pulses: 98 }],
    ['RUN-69', { pulses: 103 }, { pulses: 102 }],
  ];
  it.each(cases)('%s rejects %j and takes %j', (rule, bad, atTheLimit) => {
    expect(failedRules(bad)).toEqual([rule]);
    expect(failedRules(atTheLimit)).toEqual([]);
  });

  it('RUN-67 leaves an odd part in the middle out', () => {
    expect(failedRules({ partRates: [60, 90, 60] })).toEqual([]);
  });

  it('rejects what is not a number', () => {
    expect(failedRules({ pressure: { mean: kilopascals(Number.NaN), sd: 0 } })).toEqual(['RUN-62']);
  });

  it('says what failed, with units', () => {
    expect(judge(window({ edges: 60 }), point, plan, capabilities)).toMatchObject({
      verdict: 'rejected',
      text: 'The window did not keep the limits of the plan: 60 meter edges, at least 100 wanted.',
    });
  });

  it('holds what is known from outside the window beside its own limits', () => {
    const more = (passed: boolean) => judge(window(), point, plan, capabilities, [{ rule: 'RUN-163', passed, text: 'it stands' }]);
    expect(more(true)).toMatchObject({ verdict: 'accepted', criteria: expect.objectContaining({ length: 11 }) as unknown });
    expect(more(false)).toMatchObject({ verdict: 'rejected', text: 'The window did not keep the limits of the plan: it stands.' });
  });

  it('RUN-67 compares the halves by the mean of both, as many parts on either side', () => {
    // 5 % of 61.5 are 3.075; three parts on a side, each with its own rate.
    expect(failedRules({ partRates: [59, 60, 61, 62.1, 63.1, 64.0] })).toEqual([]);
    expect(failedRules({ partRates: [59, 60, 61, 62.1, 63.1, 64.1] })).toEqual(['RUN-67']);
    expect(failedRules({ partRates: [64.1, 63.1, 62.1, 61, 60, 59] })).toEqual(['RUN-67']);
    expect(failedRules({ partRates: [60] })).toEqual(['RUN-67']);
  });

  it('RUN-68 counts those that are missing in the time of the window, in percent of all', () => {
    expect(judge(window({ frames: 45, missingFrames: 5 }), point, plan, capabilities).criteria).toContainEqual(expect.objectContaining({ rule: 'RUN-68', found: 10, passed: true }));
    expect(failedRules({ frames: 44, missingFrames: 5 })).toEqual(['RUN-68']);
  });

  it('RUN-69 allows what rounding of the period to the timer explains', () => {
    // Half a second in a million parts of a period of 20 ms: 100 pulses in 2 s may be off by 0.0005 and two, those of 4000 s by one more.
    const coarse = { timerResolution: microseconds(0.1) };
    const long = (pulses: number) => judge(window({ to: seconds(4010), pulses }), point, plan, coarse).criteria.find(({ rule }) => rule === 'RUN-69');
    expect(long(199_997)).toMatchObject({ passed: true, low: expect.closeTo(199_997, 6) as number, high: expect.closeTo(200_003, 6) as number });
    expect(long(199_996)?.passed).toBe(false);
    expect(long(200_004)?.passed).toBe(false);
  });

  it('RUN-60 PLAN-44 a period pair needs half of the edges', () => {
    const pair = (edges: number) => judge(window({ edges, pulses: 50 }), { ...point, role: 'pair', period: milliseconds(40) }, plan, capabilities).verdict;
    expect(pair(50)).toBe('accepted');
    expect(pair(49)).toBe('rejected');
  });
});

describe('a zero point', () => {
  const zeroPlan = testPlan({ zero: { windowS: 6 }, accept: plan.accept });
  const zero: Point = { ...point, role: 'zero', channel: 0 };
  const failed = (changes: Partial<WindowSummary>): string[] =>
    judge(window({ to: seconds(16), edges: 60, pulses: 0, partRates: [10, 10], ...changes }), zero, zeroPlan, capabilities).criteria.filter(({ passed }) => !passed).map(({ rule }) => rule);

  it.each<[string, Partial<WindowSummary>, Partial<WindowSummary>]>([
    ['RUN-61', { to: seconds(15.99) }, {}],
    ['RUN-62', pressureOf(404.1), pressureOf(404)],
    ['RUN-68', { missingFrames: 5 }, { missingFrames: 4 }],
    ['RUN-105', { pulses: 1 }, {}],
    // Two edges, and 5 % of 60: halves of 27.5 and 32.5 edges in 3 s each.
    ['RUN-106', { partRates: [27.4 / 3, 32.5 / 3] }, { partRates: [27.6 / 3, 32.5 / 3] }],
    ['RUN-106', { partRates: [32.5 / 3, 27.4 / 3] }, { partRates: [32.5 / 3, 27.6 / 3] }],
    ['RUN-106', { edges: 0, partRates: [0, 2.1 / 3] }, { edges: 0, partRates: [0, 1.9 / 3] }],
  ])('%s rejects %j and takes %j', (rule, bad, good) => {
    expect(failed(bad)).toEqual([rule]);
    expect(failed(good)).toEqual([]);
  });

  it('has no limit of edges and none for the parts of its flow', () => {
    expect(failed({ edges: 0, partRates: [0, 0] })).toEqual([]);
    expect(failed({ edges: 0, partRates: [] })).toEqual([]);
  });
});

function pressureOf(kPa: number): Partial<WindowSummary> {
  return { pressure: { mean: kilopascals(kPa), sd: 500 } };
}
