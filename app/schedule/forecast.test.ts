import { describe, expect, it } from 'vitest';
import { syntheticEquipment, syntheticPlan } from '../reduce/synthetic.test-helper.ts';
import { expandPlan } from '../plan/expand.ts';
import { expectedBench } from './expected-bench.ts';
import { forecastOf } from './forecast.ts';

const widthMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
const grid = (replicates: number) => syntheticPlan({ voltageV: [9, 12, 14], widthMs, replicates }, 2);

describe('a forecast', () => {
  it('SCH-11: more replicates take longer and leave less, and no fewer than the instruments leave', () => {
    const [one, four] = [1, 4].map((replicates) => forecastOf(grid(replicates), syntheticEquipment));
    expect(four?.hours).toBeGreaterThan(2.5 * (one?.hours ?? Infinity));
    four?.cells.forEach((cell, i) => {
      expect(cell.expanded).toBeLessThan(one?.cells[i]?.expanded ?? 0);
      expect(cell.expanded).toBeGreaterThan(cell.least ?? Infinity);
      expect(cell.without).toBeLessThan(cell.expanded ?? 0);
      expect(cell.largest).not.toBeNull();
      expect(cell.wanted).toBeNull();
    });
    expect(forecastOf(grid(1), syntheticEquipment)).toEqual(one);
  });

  it('SCH-11: a target that instruments keep from being reached is told from one that is reached', () => {
    const plan = { ...grid(1), targets: { deadTimeUs: 8, atVoltage: [{ voltageV: 9, deadTimeUs: 1 }], hours: 24, attemptsPerCell: 60, known: [] } };
    const { cells, points, hours } = forecastOf(plan, syntheticEquipment);
    expect(points).toBeGreaterThan(30);
    expect(hours).toBeGreaterThan(0);
    for (const cell of cells) {
      if (cell.voltage === 9) expect(cell.least).toBeGreaterThan(cell.wanted ?? Infinity);
      else expect(cell.expanded).toBeLessThanOrEqual(cell.wanted ?? 0);
    }
  });

  it('SCH-11: better instruments leave less', () => {
    const better = { ...syntheticEquipment, supply: { ...syntheticEquipment.supply, uncertaintyMv: 0.1 } };
    const [now, then] = [syntheticEquipment, better].map((equipment) => forecastOf(grid(2), equipment).cells[0]?.least ?? Number.NaN);
    expect(then).toBeLessThan(now ?? 0);
  });

  it('PLAN-94 each injector is played with the flow of its own type', () => {
    const [plan, least] = [grid(1), 30];
    const [first, second] = plan.injectors;
    if (first === undefined || second === undefined) throw new Error('the plan has two injectors');
    const mixed = { ...plan, injectors: [{ ...first, type: 'full' }, { ...second, type: 'half' }], types: [{ type: 'full', staticFlowGPerMin: 240 }, { type: 'half', staticFlowGPerMin: 120 }] };
    const windowOf = expectedBench(mixed, syntheticEquipment);
    const at = expandPlan(mixed).filter((p) => p.role === 'measure' && p.width > 9e-3);
    const rateOf = (injector: number): number => {
      const rates = at.filter((p) => p.injector === injector).map(windowOf).map((w) => (w.partRates[0] ?? Number.NaN));
      expect(rates.length).toBeGreaterThan(0);
      return rates.reduce((sum, rate) => sum + rate, 0) / rates.length;
    };
    expect(rateOf(0) / rateOf(1)).toBeGreaterThan(1.95);
    expect(rateOf(0)).toBeGreaterThan(least);
    expect(forecastOf({ ...mixed, types: [] }, syntheticEquipment).hours).toBeLessThan(forecastOf(mixed, syntheticEquipment).hours);
  });
});
