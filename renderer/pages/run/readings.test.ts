import { describe, expect, it } from 'vitest';
import { budgetTable } from '../../../app/reduce/budget-table.ts';
import { massPerPulse } from '../../../app/reduce/mass.ts';
import { noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../../app/reduce/synthetic.test-helper.ts';
import { expandPlan } from '../../../app/plan/expand.ts';
import { unitsFor } from '../../settings/units.ts';
import { plusMinus } from '../../../app/quantities/figures.ts';
import { massText } from './readings.ts';

describe('readings of an attempt', () => {
  it('WIN-17: state the one uncertainty of the attempt, by its effective degrees of freedom, as Results does', () => {
    const plan = syntheticPlan({});
    const [point] = expandPlan(plan);
    if (point === undefined) throw new Error('the plan has points');
    const made = syntheticWindow(point, syntheticInjector(0), plan, syntheticEquipment, noErrors, noScatter, normalFrom(3));
    // Three part rates that scatter: few degrees of freedom, and most of the uncertainty.
    const [rate = 0] = made.partRates;
    const window = { ...made, partRates: [rate * 0.99, rate * 1.01, rate] };
    const mass = massPerPulse(point, window, syntheticEquipment, plan.reduction, null);
    if (mass.kind !== 'mass') throw new Error(mass.text);
    const stated = budgetTable(mass, syntheticEquipment).mass;
    // Few part rates: the factor is not 2.
    expect(stated.coverageFactor).toBeGreaterThan(2.02);
    const units = unitsFor('mg', null);
    const text = massText(point, window, { plan, equipment: syntheticEquipment, leak: null, units, capabilities: null });
    expect(text.replace(/\u00a0mg$/u, '')).toBe(plusMinus(stated.value * 1e6, stated.expanded * 1e6));
  });
});
