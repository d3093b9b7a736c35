/** Static flow from windows made by hand: RED-24, RED-45. */
import { describe, expect, it } from 'vitest';
import { noBias } from './bench-bias.ts';
import { kilopascals, volts } from '../quantities/quantity.ts';
import { errorSource } from '../uncertainty/source.ts';
import { attemptNumber } from './leak-block.ts';
import type { LeakBlock } from './leak-block.ts';
import type { ReducedWindow, StaticFlow } from './reduction.ts';
import { staticFlowsOf } from './static-flow.ts';
import { syntheticPlan } from './synthetic.test-helper.ts';

const period = 0.02;
const pressure = kilopascals(400);
const base = syntheticPlan({}, 1, {}, { static: { replicates: 3, voltageV: 14, periodMs: 20 } });
const plan = { ...base, reduction: { ...base.reduction, leakTimesU95: 10, leakChangeTimesU95: 1, leakUncertaintyTimesU95: 0.5 } };
const points = [{ index: 0, role: 'static', injector: 0, channel: 1, voltage: volts(14), pressure, width: period, period, replicate: 0 }] as unknown as Parameters<typeof staticFlowsOf>[1];
const mass = 8e-5;
/** 0.1 % by the meter, and 1 % by a leak that is hardly known. */
const uMeter = 1e-3;
const uLeak = 1e-2;

/** Three windows of one injector held open, 0.05 % apart. */
const windows = [-5e-4, 0, 5e-4].map((off, i) => ({
  point: i, attempt: 1, at: points[0],
  outcome: {
    kind: 'mass', mass: mass * (1 + off), uTiming: 1e-5, uRandom: 1e-4, meterDensity: 680, pressureFactor: 1, temperatureFactor: 1,
    budget: [
      { kind: 'random', dof: 10, source: errorSource('timing' as 'leak'), sensitivity: 1, standardUncertainty: 1e-4 },
      { kind: 'shared', source: errorSource('k-factor'), sensitivity: 1, standardUncertainty: uMeter },
      { kind: 'shared', source: errorSource('leak'), sensitivity: 1, standardUncertainty: uLeak },
    ],
  },
})) as unknown as readonly ReducedWindow[];

/** The flow with a leak that moves it by `part` of itself. */
function under(part: number | null): StaticFlow {
  const flow = (part ?? 0) * (mass / period / 680);
  const block: LeakBlock = { block: 0, pressure, voltage: 14, flow, uFlow: 0, change: 0, uChange: 0, uMeter: 0, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [] };
  const looked = part === null ? null : { blocks: new Map(windows.map((w) => [attemptNumber(w), block])), contradiction: 0 };
  const { staticFlows: [one] } = staticFlowsOf(plan, points, windows, looked, { timeBase: 0, bias: noBias });
  if (one === undefined) throw new Error('no flow');
  return one;
}

describe('static flow', () => {
  it('RED-24 is the mean of its windows over the period, with scatter and instruments apart', () => {
    const one = under(null);
    if (one.kind !== 'static-flow') throw new Error(one.text);
    expect(one.flow.value / (mass / period)).toBeCloseTo(1, 12);
    expect(one.shared.map(({ source, effect }) => [source.quantity, Number((effect / one.flow.value).toPrecision(6))])).toEqual([['k-factor', uMeter], ['leak', uLeak]]);
    expect(one.flow.uShared / one.flow.value).toBeCloseTo(Math.hypot(uMeter, uLeak), 9);
  });

  it('RED-45 is refused by what a leak moves it by against what it would be known to without one: the leak is no excuse for itself', () => {
    // U95 without the leak is 0.2 to 0.3 %, so ten times that is 2 to 3 %; with the leak in it, it would be 20 %.
    expect(under(0.015).kind).toBe('static-flow');
    expect(under(0.05)).toMatchObject({ kind: 'no-static-flow', reason: 'leak', text: expect.stringContaining('the static flow') as string });
  });
});
