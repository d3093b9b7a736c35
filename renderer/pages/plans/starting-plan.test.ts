import { expect, test } from 'vitest';
import type { Part } from '../../../app/contract/library-requests.ts';
import { parsePlan } from '../../../app/plan/parse.ts';
import { documentOf } from './plan-form.ts';
import { startingPlan } from './starting-plan.ts';
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
