import { expect, test } from 'vitest';
import type { Part } from '../../../app/contract/library-requests.ts';
import { parsePlan } from '../../../app/plan/parse.ts';
import { documentOf } from './plan-form.ts';
import { startingPlan } from './starting-plan.ts';

const part = (serialNumber: string, channel: number | null, order = 'L-7'): Part => ({ id: serialNumber, order, type: 'T', serialNumber, coilResistanceOhm: 12.5, condition: '', channel });

test('with one mounted injector the plan that one begins with is right', () => {
  const parsed = parsePlan(documentOf(startingPlan([part('A', null), part('B', 3), part('C', 1)])));
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
  expect(startingPlan([part('A', 1), part('B', 2, 'M')]).texts.order).toBe('');
  const parsed = parsePlan(documentOf(startingPlan([])));
  expect(parsed.ok ? [] : parsed.problems.map(({ path }) => path)).toEqual(['injectors']);
});
