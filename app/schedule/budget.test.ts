import { describe, expect, it } from 'vitest';
import { estimateRun } from '../plan/estimate.ts';
import type { Plan } from '../plan/plan.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { LineCell } from '../reduce/reduction.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { planOf, play, straight } from './play.test-helper.ts';
import { progressOf } from './progress.ts';

const budget = (hours: number, targets: Partial<NonNullable<Plan['targets']>> = {}, more: Partial<Plan> = {}): Plan => planOf({ deadTimeUs: undefined, spend: 'all-hours', hours, attemptsPerCell: 400, ...targets }, more, 2);

const found = (plan: Plan, seed = 1) => {
  const played = play(plan, straight, { seed });
  const { points, attempts } = played;
  const soFar = { plan, equipment: syntheticEquipment, points, attempts, out: new Set<number>() };
  const reduction = reduceRun(soFar);
  const lines = reduction.cells.filter((c): c is LineCell => c.kind === 'line');
  return { ...played, lines, progress: progressOf(soFar, reduction), hours: estimateRun(plan, points, syntheticEquipment).durationS / 3600, worst: Math.max(...lines.map((c) => c.deadTime.expanded)) };
};

describe('a budget of hours', () => {
  it('PLAN-105 SCH-18: spends its hours and no more, and makes the worst cell as good as a target does that takes as long', () => {
    const wanted = found(planOf({ deadTimeUs: 3.6 }, {}, 2));
    const bought = found(budget(wanted.hours));
    expect(bought.hours).toBeLessThanOrEqual(wanted.hours);
    expect(bought.hours).toBeGreaterThan(0.93 * wanted.hours);
    // Now and then the last window of a run makes a line doubtful by chance (RED-13), and no time is left to ask again.
    const middle = (plan: Plan): number => [1, 2, 3, 4, 5].map((seed) => found(plan, seed).worst).sort((a, b) => a - b)[2] ?? Number.NaN;
    expect(middle(budget(wanted.hours))).toBeLessThanOrEqual(1.1 * 3.6e-6);
    expect(bought.decisions.at(-1)?.text).toMatch(/^The [\d.]+ h of bench time are spent, or no window that is left would bring a cell nearer\. The worst of 10 cells is S-\d at [\d.]+ V: U95 of the dead time is \d\.\d us\.$/u);
    // More hours buy more, and what cells cost decides where they go: the worst are brought near each other.
    const more = found(budget(2 * wanted.hours));
    expect(middle(budget(2 * wanted.hours))).toBeLessThan(0.97 * middle(budget(wanted.hours)));
    expect(more.hours).toBeGreaterThan(0.93 * 2 * wanted.hours);
    expect(play(budget(wanted.hours), straight).decisions).toEqual(bought.decisions);
  });

  it('SCH-18: goes by what is wanted as a scale: half as much wanted at one voltage brings it to about half of the others', () => {
    const { lines } = found(budget(1.2, { deadTimeUs: 20, atVoltage: [{ voltageV: 16, deadTimeUs: 8 }] }));
    const alike = found(budget(1.2)).lines;
    const at = (list: readonly LineCell[], voltage: number): number => Math.max(...list.filter((c) => c.voltage === voltage).map((c) => c.deadTime.uRandom));
    expect(at(lines, 16) / at(lines, 9)).toBeLessThan(0.8 * (at(alike, 16) / at(alike, 9)));
  });

  it('SCH-18: gives each pressure its share, keeps back what ends it, and tells how near each cell is to what instruments leave', () => {
    const plan = budget(1.4, {}, { axes: { ...planOf({}).axes, pressureKpa: [300, 400] }, static: { replicates: 2, voltageV: 14, periodMs: 20 } });
    const { points, hours, progress } = found(plan);
    expect(hours).toBeLessThanOrEqual(1.4);
    expect(hours).toBeGreaterThan(1.25);
    const took = [3e5, 4e5].map((p) => estimateRun(plan, points.filter((at) => at.pressure === p).map((at, index) => ({ ...at, index })), syntheticEquipment).durationS);
    expect(Math.max(...took) / Math.min(...took)).toBeLessThan(1.15);
    expect(points.filter((p) => p.role === 'static')).toHaveLength(8);
    expect(progress).toHaveLength(20);
    for (const { weighed, state, expanded, least } of progress) expect([weighed, state]).toEqual([true, (expanded ?? 0) <= 1.05 * (least ?? 0) ? 'reached' : 'open']);
  });

  it('SCH-18: ends early where every cell is as near as is sensible to what instruments leave', () => {
    // Instruments leave so little here that four hundred windows of a cell would not be enough.
    const { hours, decisions, lines } = found(budget(40, { attemptsPerCell: 1000 }));
    expect(hours).toBeLessThan(20);
    expect(decisions.at(-1)?.text).toMatch(/^Every cell is as near as is sensible/u);
    for (const { deadTime } of lines) expect(deadTime.expanded).toBeLessThanOrEqual(1.0501 * deadTime.coverageFactor * deadTime.uShared);
  });

  it('SCH-18: a map is bought as well', () => {
    const map = { voltageV: [9, 10, 11, 12, 13, 14, 15, 16], pressureKpa: [300, 350, 400], deadTimeUs: 1 };
    const bought = (hours: number): number => {
      const { progress, hours: took } = found(budget(hours, { map }, { axes: { ...planOf({}).axes, pressureKpa: [300, 400] } }));
      // What is come back to a pressure for is within the hours as well.
      expect(took).toBeLessThanOrEqual(hours);
      expect(progress.map((c) => c.of)).toEqual(new Array(48).fill('map-dead-time'));
      return progress.reduce((sum, c) => sum + (c.expanded ?? Infinity), 0) / 48;
    };
    expect(bought(1.8)).toBeLessThan(0.97 * bought(0.6));
  });
});
