import { describe, expect, it } from 'vitest';
import { syntheticEquipment, syntheticPlan } from '../reduce/synthetic.test-helper.ts';
import { expandPlan } from '../plan/expand.ts';
import { expectedBench, expectedFigures, usualFigures } from './expected-bench.ts';
import { forecastOf, whatHoursBuy } from './forecast.ts';

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

  it('SCH-19: what a plan knows of its types is what its bench is expected to be: how windows scatter, where lines end, dead times', () => {
    const known = (scatter: number, linearFromOpenMs = 1.2) => ({ type: 'T', pressureKpa: 400, linearFromOpenMs, deadTimes: [{ voltageV: 9, deadTimeMs: 1.3 }, { voltageV: 16, deadTimeMs: 0.6 }], scatterPercent: 0.07 * scatter, scatterUs: 0.7 * scatter, from: 'run 1' });
    const wide = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
    const plan = (scatter: number) => {
      const base = syntheticPlan({ voltageV: [9, 12, 16], widthMs: wide, replicates: 1 }, 2);
      return { ...base, injectors: base.injectors.map((i) => ({ ...i, type: 'T' })), targets: { deadTimeUs: 3.3, atVoltage: [], hours: 24, attemptsPerCell: 200, known: [known(scatter)] } };
    };
    const figures = expectedFigures(plan(2));
    expect([figures.relative * 1e3, figures.width * 1e6, figures.bendsBelow * 1.05e3].map((one) => Number(one.toFixed(6)))).toEqual([1.4, 1.4, 1.2]);
    expect(expectedFigures({ ...plan(1), targets: { ...plan(1).targets, known: [] } })).toBe(usualFigures);
    expect(forecastOf(plan(2), syntheticEquipment).hours).toBeGreaterThan(1.5 * forecastOf(plan(1), syntheticEquipment).hours);
    // A pulse of 2 ms is open for what its dead time leaves.
    const at = { role: 'measure', injector: 0, channel: 1, voltage: 9, pressure: 4e5, width: 2e-3, period: 20e-3, replicate: 0, index: 0 } as never;
    const [late, early] = [{ ...known(0), deadTimes: [{ voltageV: 9, deadTimeMs: 1.3 }] }, { ...known(0), deadTimes: [{ voltageV: 9, deadTimeMs: 0.3 }] }].map((one) => expectedBench({ ...plan(1), targets: { ...plan(1).targets, known: [{ ...one, linearFromOpenMs: 0.1 }] } }, syntheticEquipment)(at).partRates[0] ?? 0);
    expect((early ?? 0) / (late ?? 1)).toBeCloseTo(1.7 / 0.7, 2);
  });

  it('SCH-20: tells of the cells of a map, and of what else is wanted, the worst injector at each place, and what to measure as well', () => {
    const base = syntheticPlan({ voltageV: [9, 16], widthMs: [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12], replicates: 1 }, 2);
    const { others, cells } = forecastOf({ ...base, targets: { map: { voltageV: [9, 12, 16], pressureKpa: [400], deadTimeUs: 5 }, slopePercent: 1, atVoltage: [], hours: 24, attemptsPerCell: 60, known: [] } }, syntheticEquipment);
    expect(cells.every((c) => c.wanted === null)).toBe(true);
    expect(others.map(({ of, voltage }) => `${of} ${voltage}`)).toEqual(['slope 9', 'slope 16', 'map-dead-time 9', 'map-dead-time 12', 'map-dead-time 16']);
    expect(others[3]).toMatchObject({ state: 'beyond', advice: 'Measure 12 V as well.' });
    expect(others.filter((c) => c.voltage !== 12).every((c) => c.state === 'reached')).toBe(true);
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

  it('SCH-21: more hours buy a smaller largest U95 until instruments are all that is left, never below them, and never more than the hours', () => {
    const bought = whatHoursBuy(grid(3), syntheticEquipment, [0.05, 0.1, 0.15, 20]);
    const worst = bought.map(({ cells }) => Math.max(...cells.map((c) => c.expanded ?? Infinity)));
    for (const [i, { hours, took, cells }] of bought.entries()) {
      expect(took).toBeLessThanOrEqual(hours);
      expect(cells).toHaveLength(3);
      for (const { expanded, least } of cells) expect(expanded).toBeGreaterThan(least ?? Infinity);
      if (i > 0) expect(worst[i]).toBeLessThan(worst[i - 1] ?? 0);
    }
    expect(bought[3]?.took).toBeLessThan(2);
    for (const { expanded, least } of bought[3]?.cells ?? []) expect(expanded).toBeLessThan(1.06 * (least ?? 0));
    // Targets of the plan say how cells compare.
    const targets = { deadTimeUs: 20, atVoltage: [{ voltageV: 14, deadTimeUs: 5 }], hours: 9, attemptsPerCell: 400, known: [] };
    const at14 = (plan: ReturnType<typeof grid>) => whatHoursBuy(plan, syntheticEquipment, [0.15])[0]?.cells[2]?.expanded ?? Number.NaN;
    expect(at14({ ...grid(3), targets })).toBeLessThan(at14(grid(3)));
  });
});
