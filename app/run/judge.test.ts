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
});
