import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Part } from '../../../app/contract/library-requests.ts';
import { parsePlan } from '../../../app/plan/parse.ts';
import { expandPlan } from '../../../app/plan/expand.ts';
import { typeFindings } from '../../../app/plan/preflight-type.ts';
import { documentOf } from './plan-form.ts';
import { cutText, startingPlan } from './starting-plan.ts';
import { takenFrom, withRecords } from './types-of-form.ts';

const part = (serialNumber: string, channel: number | null, order = 'L-7'): Part => ({ id: serialNumber, order, type: 'T', serialNumber, coilResistanceOhm: 12.5, condition: '', channel });

test('with one mounted injector the plan that one begins with is right', () => {
  const parsed = parsePlan(documentOf(startingPlan([part('A', null), part('B', 3), part('C', 1)], [])));
  expect(parsed).toMatchObject({
    ok: true,
    plan: {
      order: 'L-7',
      injectors: [{ serialNumber: 'C', channel: 1, coilResistanceOhm: 12.5 }, { serialNumber: 'B', channel: 3 }],
      reference: { injector: 'C', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20 },
    },
  });
});

test('injectors of two orders leave the order to the person; without any, only the injectors are missing', () => {
  expect(startingPlan([part('A', 1), part('B', 2, 'M')], []).texts.order).toBe('');
  const parsed = parsePlan(documentOf(startingPlan([], [])));
  expect(parsed.ok ? [] : parsed.problems.map(({ path }) => path)).toEqual(['injectors']);
});

test('EQ-16 EQ-17 it begins with what the lab keeps of the types: their template, expected flow and limits; what was typed stays', () => {
  const template = { axes: { voltageV: [14], pressureKpa: [300], widthMs: [3, 4, 5, 6, 7, 8], periodMs: [25], replicates: 2 }, settleS: 2 };
  const record = { typeRecordVersion: 1, type: 'T', staticFlowGPerMin: 180.5, flowPressureKpa: 300, maxVoltageV: 16, drive: 'saturated', template } as const;
  const form = startingPlan([part('A', 1), part('B', 2)], [record]);
  const parsed = parsePlan(documentOf(form));
  expect(parsed).toMatchObject({
    ok: true,
    plan: { axes: template.axes, settleS: 2, types: [{ type: 'T', staticFlowGPerMin: 180.5, flowPressureKpa: 300, maxVoltageV: 16, drive: 'saturated' }], reference: { pressureKpa: 300, periodMs: 25 } },
  });
  expect(takenFrom(form, [record])).toEqual([]);
  expect(withRecords(form, [record])).toBe(form);
  const typed = { ...form, types: form.types.map((row) => ({ ...row, staticFlowGPerMin: '2oo', flowPressureKpa: '', maxVoltageV: '' })) };
  expect(withRecords(typed, [record]).types).toMatchObject([{ type: 'T', staticFlowGPerMin: '2oo', flowPressureKpa: '', maxVoltageV: '16' }]);
  // A second type without a record has no row, and no template stands for both.
  const other = { ...part('C', 3), type: 'U' };
  expect(startingPlan([part('A', 1), other], [record]).axes.pressureKpa).toEqual(['400']);
  expect(startingPlan([part('A', 1), other], [record]).types.map((row) => row.type)).toEqual(['T']);
});

const ofType = (type: string, limits: object) => ({ typeRecordVersion: 1 as const, type, ...limits });
const axesOf = (limits: object) => {
  const parsed = parsePlan(documentOf(startingPlan([part('A', 1)], [ofType('T', limits)])));
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.plan;
};

test('EQ-24 without a template it has of the usual values those that the type is made for, and the nearest limit where none is', () => {
  expect(axesOf({}).axes).toEqual(axesOf({ minVoltageV: 6, maxVoltageV: 18 }).axes);
  expect(axesOf({ minVoltageV: 10, maxVoltageV: 14.4, minWidthMs: 2.2, maxPressureKpa: 300 })).toMatchObject({
    axes: { voltageV: [10.5, 12, 14], pressureKpa: [300], widthMs: [2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12] }, static: { voltageV: 14, replicates: 1 }, reference: { voltageV: 14, pressureKpa: 300 },
  });
  // 40 % of 20 ms.
  expect(axesOf({ maxDutyPercent: 40, maxVoltageV: 12 })).toMatchObject({ axes: { widthMs: [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8] }, static: { voltageV: 12, replicates: 0 } });
  expect(axesOf({ minWidthMs: 5, maxWidthMs: 6 }).purge.widthMs).toBe(5);
  // What a template says is a person's own.
  expect(startingPlan([part('A', 1)], [ofType('T', { maxPressureKpa: 300, template: { axes: { voltageV: [14], pressureKpa: [400], widthMs: [3, 4, 5], periodMs: [20], replicates: 1 } } })]).axes.pressureKpa).toEqual(['400']);
  // Two types that have no pressure in common.
  const other = { ...part('B', 2), type: 'U' };
  expect(startingPlan([part('A', 1), other], [ofType('T', { maxPressureKpa: 300 }), ofType('U', { minPressureKpa: 350 })]).axes.pressureKpa).toEqual(['400']);
});

test('EQ-24 the sheet finds no set point of it beyond the limits (PRE-64), whatever they are', () => {
  // As a record states them: in tenths.
  const limit = (min: number, max: number) => fc.option(fc.integer({ min: min * 10, max: max * 10 }).map((tenths) => tenths / 10), { nil: undefined });
  const range = (min: number, max: number) => fc.tuple(limit(min, max), limit(min, max)).map(([a, b]) => (a !== undefined && b !== undefined && a >= b ? [undefined, a] as const : [a, b] as const));
  fc.assert(
    fc.property(range(6, 18), range(100, 900), range(0.5, 15), limit(10, 100), ([minVoltageV, maxVoltageV], [minPressureKpa, maxPressureKpa], [minWidthMs, maxWidthMs], maxDutyPercent) => {
      // Pulses that are too short for their duty are no type.
      fc.pre((minWidthMs ?? 0) <= (20 * (maxDutyPercent ?? 100)) / 100);
      const limits = Object.fromEntries(Object.entries({ minVoltageV, maxVoltageV, minPressureKpa, maxPressureKpa, minWidthMs, maxWidthMs, maxDutyPercent }).filter(([, value]) => value !== undefined));
      const parsed = parsePlan(documentOf(startingPlan([part('A', 1)], [ofType('T', limits)])));
      // What else stands against a plan, such as a duty beyond that of the bench, its page says.
      if (parsed.ok) expect(typeFindings(parsed.plan, expandPlan(parsed.plan))['PRE-64']).toMatchObject({ result: 'pass' });
    }),
    { numRuns: 300 },
  );
});

test('WIN-185 what of the usual sweep was left out for the limits of its types is said, with the limits that did it, and nothing where nothing was', () => {
  expect(cutText([part('A', 1)], [])).toBe('');
  expect(cutText([part('A', 1)], [ofType('T', { minVoltageV: 6, maxVoltageV: 18 })])).toBe('');
  expect(cutText([part('A', null)], [ofType('T', { maxVoltageV: 10 })])).toBe('');
  expect(cutText([part('A', 1)], [ofType('T', { minVoltageV: 10, maxVoltageV: 14.4, minWidthMs: 2.2, maxPressureKpa: 300 })])).toBe(
    'The usual sweep was cut to the limits of the type T: supply: without 9; 16 V (made for from 10 V up to 14.4 V); rail pressure: 300 kPa in place of 400 kPa (made for up to 300 kPa); pulse width: without 1.8; 2 ms (made for from 2.2 ms up to 20 ms); the self-check moves no pressure: there is no room up to the limits.',
  );
  expect(cutText([part('A', 1)], [ofType('T', { maxDutyPercent: 50 })])).toMatch(/pulse width: without 12 ms .*; no static flow and no first look: they hold an injector open \(made for a duty of up to 50 %\)\.$/u);
  // A template is what the lab wants: it is not cut, so nothing is said.
  expect(cutText([part('A', 1)], [ofType('T', { maxPressureKpa: 300, template: { axes: { voltageV: [14], pressureKpa: [400], widthMs: [3, 4, 5], periodMs: [20], replicates: 1 } } })])).toBe('');
});
