import { describe, expect, test } from 'vitest';
import { kilopascals, milliseconds, volts } from '../quantities/quantity.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { estimateRun, expectedEdgeRate } from './estimate.ts';
import { expandPlan } from './expand.ts';
import { assumedStaticFlow, expectedFlow, statedStaticFlow } from './flow-of-type.ts';
import { parsePlan } from './parse.ts';
import type { Plan } from './plan.ts';
import { typeFindings } from './preflight-type.ts';

const equipment = syntheticEquipment;

const document = (change: object = {}, axes: object = {}) => ({
  planVersion: 1, name: 'types',
  injectors: [{ serialNumber: 'A', type: 'small', channel: 1 }, { serialNumber: 'B', type: 'large', channel: 2 }],
  axes: { voltageV: [9, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 2, ...axes },
  purge: { pulses: 0 }, look: { windowS: 0 }, pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 0 },
  ...change,
});

function planOf(change: object = {}, axes: object = {}): Plan {
  const parsed = parsePlan(document(change, axes));
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.plan;
}

describe('PLAN-94', () => {
  test('the flow of a type is told at 400 kPa in n-heptane, by the root of pressure and density', () => {
    expect(statedStaticFlow({ staticFlowGPerMin: 300 })).toBeCloseTo(5e-3, 12);
    expect(statedStaticFlow({ staticFlowGPerMin: 300, flowPressureKpa: 100 })).toBeCloseTo(10e-3, 12);
    expect(statedStaticFlow({ staticFlowGPerMin: 300, flowDensityKgPerM3: 4 * 684 })).toBeCloseTo(2.5e-3, 12);
    expect(statedStaticFlow({})).toBeNull();
    expect(statedStaticFlow(undefined)).toBeNull();
  });

  test('each injector is expected to flow as its own type does, and as was assumed where that states nothing', () => {
    const flowOf = expectedFlow(planOf({ types: [{ type: 'large', staticFlowGPerMin: 600 }] }));
    expect([flowOf(0), flowOf(1)]).toEqual([assumedStaticFlow, 10e-3]);
  });

  test('duration, fluid and disk are estimated by it: of every window that waits for its edges, and only of the injectors of that type', () => {
    const of = (types: object) => {
      const plan = planOf({ ...types, window: { minEdges: 400, minS: 1, maxS: 60 }, zero: { windowS: 0 } }, { voltageV: [14], widthMs: [5] });
      return estimateRun(plan, expandPlan(plan), equipment);
    };
    const [plain, one, both] = [of({}), of({ types: [{ type: 'large', staticFlowGPerMin: 120 }] }), of({ types: [{ type: 'large', staticFlowGPerMin: 120 }, { type: 'small', staticFlowGPerMin: 120 }] })];
    const windowS = 400 / expectedEdgeRate(assumedStaticFlow, equipment, { voltage: volts(14), pressure: kilopascals(400), width: milliseconds(5), period: milliseconds(20) });
    // Half the flow doubles the two windows of each injector; the edges, and so the fluid, stay.
    expect(one.durationS - plain.durationS).toBeCloseTo(2 * windowS, 6);
    expect(both.durationS - one.durationS).toBeCloseTo(2 * windowS, 6);
    expect(one.fluidMl).toBeLessThan(plain.fluidMl);
    expect(of({ types: [{ type: 'large', staticFlowGPerMin: 240 }] })).toEqual(plain);
  });

  test('PLAN-110 purges where the injector changes take so much less time, and no other time', () => {
    const [often, seldom] = (['each-window', 'injector-changes'] as const).map((when) => planOf({ purge: { pulses: 50, periodMs: 20, widthMs: 4, when }, zero: { windowS: 0 } }));
    if (often === undefined || seldom === undefined) throw new Error('two plans');
    const points = expandPlan(often);
    expect(expandPlan(seldom)).toEqual(points);
    const saved = points.filter((p, i) => p.role !== 'look' && points[i - 1]?.channel === p.channel).length;
    expect(saved).toBeGreaterThan(0);
    expect(estimateRun(often, points, equipment).durationS - estimateRun(seldom, points, equipment).durationS).toBeCloseTo(saved, 6);
  });

  test('a plan that states no flow, as every stored one, is estimated as before types had one', () => {
    const plan = planOf({ types: [{ type: 'small', resistanceOhm: 12 }] });
    expect(estimateRun(plan, expandPlan(plan), equipment)).toEqual(estimateRun(planOf(), expandPlan(planOf()), equipment));
  });
});

describe('PRE-64 PRE-65', () => {
  const finding = (types: object[], more: object = {}, axes: object = {}) => {
    const plan = planOf({ types, ...more }, axes);
    return typeFindings(plan, expandPlan(plan));
  };

  test.each<[string, object, object, object, string | null]>([
    ['a voltage below', { minVoltageV: 9.5 }, {}, {}, 'supply down to 9 V, 9.5 V at least'],
    ['a voltage above', { maxVoltageV: 13 }, {}, {}, 'supply up to 14 V, 13 V at most'],
    ['a voltage at its limit', { minVoltageV: 9, maxVoltageV: 14 }, {}, {}, null],
    ['a pressure', { maxPressureKpa: 350 }, {}, {}, 'pressure up to 400 kPa, 350 kPa at most'],
    ['a pressure at its limit', { minPressureKpa: 300.3, maxPressureKpa: 400.1 }, {}, { pressureKpa: [300.3, 400.1] }, null],
    ['a short pulse', { minWidthMs: 3.5 }, {}, {}, 'pulse width down to 3 ms, 3.5 ms at least'],
    ['a long pulse', { maxWidthMs: 4 }, {}, {}, 'pulse width up to 5 ms, 4 ms at most'],
    ['a duty', { maxDutyPercent: 20 }, {}, {}, 'duty up to 25 %, 20 % at most'],
    ['a purge pulse', { maxWidthMs: 6 }, { purge: { pulses: 5, widthMs: 8, periodMs: 20 } }, {}, 'pulse width up to 8 ms'],
    ['held open', { maxDutyPercent: 85 }, { static: { replicates: 1 } }, {}, 'duty up to 100 %'],
    ['held open has no width', { maxWidthMs: 6 }, { static: { replicates: 1 } }, {}, null],
  ])('%s', (_what, limits, more, axes, words) => {
    const found = finding([{ type: 'large', ...limits }], more, axes)['PRE-64'];
    expect(found.result).toBe(words === null ? 'pass' : 'warn');
    expect(found.text).toContain(words ?? 'within what is stated of large; of small no limits');
    if (words !== null) expect(found.text).toContain('large:');
  });

  test('set points of another type, and zero points, do not count', () => {
    const plan = planOf({ types: [{ type: 'small', maxWidthMs: 6 }, { type: 'large', minWidthMs: 2 }], reference: { injector: 'B', voltageV: 14, pressureKpa: 400, widthMs: 9, periodMs: 20, everyPoints: 4 } });
    expect(typeFindings(plan, expandPlan(plan))['PRE-64'].result).toBe('pass');
  });

  test('what is meant for another drive is named', () => {
    expect(finding([{ type: 'large', drive: 'saturated' }])['PRE-65'].result).toBe('pass');
    const found = finding([{ type: 'large', drive: 'peak-and-hold' }])['PRE-65'];
    expect(found.result).toBe('warn');
    expect(found.text).toMatch(/^large is meant for a peak-and-hold drive/u);
  });
});

describe('PLAN-95 PLAN-96', () => {
  test.each<[string, object, string]>([
    ['a pressure without a flow', { flowPressureKpa: 300 }, 'types[0].staticFlowGPerMin'],
    ['a density without a flow', { flowDensityKgPerM3: 740 }, 'types[0].staticFlowGPerMin'],
    ['voltages', { minVoltageV: 14, maxVoltageV: 9 }, 'types[0].minVoltageV'],
    ['pressures', { minPressureKpa: 400, maxPressureKpa: 400 }, 'types[0].minPressureKpa'],
    ['widths', { minWidthMs: 10, maxWidthMs: 9 }, 'types[0].minWidthMs'],
  ])('refuses %s', (_what, of, path) => {
    const parsed = parsePlan(document({ types: [{ type: 'small', ...of }] }));
    expect(parsed.ok ? [] : parsed.problems.map((p) => p.path)).toEqual([path]);
  });

  test('limits change no point', () => {
    expect(expandPlan(planOf({ types: [{ type: 'small', maxVoltageV: 10, maxDutyPercent: 1, drive: 'peak-and-hold', staticFlowGPerMin: 60 }] }))).toEqual(expandPlan(planOf()));
  });
});
