import { describe, expect, it } from 'vitest';
import type { Plan } from '../plan/plan.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { planOf, play, straight } from './play.test-helper.ts';
import { howFar, progressOf } from './progress.ts';

const held = { replicates: 2, voltageV: 14, periodMs: 20 };
const wanting = (staticFlowPercent: number | undefined, more: Partial<Plan> = {}, attemptsPerCell = 60): Plan =>
  planOf({ deadTimeUs: 30, attemptsPerCell, ...(staticFlowPercent === undefined ? {} : { staticFlowPercent }) }, { static: held, ...more }, 2);
const scattered = { relative: 1e-2, seed: 3 };

const progressIn = (plan: Plan, { points, attempts }: ReturnType<typeof play>) => {
  const soFar = { plan, equipment: syntheticEquipment, points, attempts, out: new Set<number>() };
  return progressOf(soFar, reduceRun(soFar)).filter((c) => c.of === 'static-flow');
};

describe('static flows that are wanted', () => {
  it('PLAN-103 SCH-17: get windows until U95 is at its target, before what ends the pressure, and no more', () => {
    const plan = wanting(0.45, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 } });
    const played = play(plan, straight, scattered);
    const progress = progressIn(plan, played);
    expect(progress.map((c) => c.state)).toEqual(['reached', 'reached']);
    for (const { expanded } of progress) expect(expanded).toBeLessThanOrEqual(0.0045);
    const added = played.decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-17');
    expect(added.length).toBeGreaterThan(0);
    expect(added[0]?.why).toMatch(/^static flow of S-\d at 400 kPa: U95 \d\.\d\d % now, 0\.45 % wanted$/u);
    expect(added.every((a) => a.points.length <= 10 && a.points.every((p) => p.role === 'static' && p.width === p.period))).toBe(true);
    const own = played.points.filter((p) => p.role === 'static' && p.injector === 0).map((p) => p.replicate);
    expect(own).toEqual(own.map((_, i) => i));
    expect(played.points.at(-1)?.role).toBe('zero');
    expect(played.points.findLastIndex((p) => p.role === 'static')).toBeLessThan(played.points.length - 1);
    // As it comes where nothing is wanted of it, and fewer for less.
    const held = (p: Plan): number => [1, 2, 3].reduce((sum, seed) => sum + play(p, straight, { ...scattered, seed }).points.filter((at) => at.role === 'static').length, 0);
    expect(held(wanting(undefined))).toBe(12);
    expect(held(wanting(1))).toBeLessThan(held(wanting(0.45)));
  });

  it('SCH-17: what instruments or the ceiling of windows keep from its target is said, and the run ends', () => {
    const far = wanting(0.01);
    const played = play(far, straight);
    expect(progressIn(far, played).map((c) => c.state)).toEqual(['beyond', 'beyond']);
    expect(played.decisions.at(-1)?.text).toMatch(/S-\d at 400 kPa \(the worst of 2\): U95 of the static flow is 0\.\d\d %, 0\.01 % was wanted\. No sensible number of windows reaches it: instruments alone leave 0\.\d\d %, most of it \w/u);
    const few = wanting(0.45, {}, 8);
    const ended = progressIn(few, play(few, straight, { relative: 9e-3 }));
    expect(ended.map((c) => [c.state, c.windows])).toEqual([['used-up', 8], ['used-up', 8]]);
    expect(howFar(ended)).toContain('It has had the 8 windows');
  });

  it('SCH-31: a slope that is wanted is told of each line, in percent', () => {
    const plan = planOf({ deadTimeUs: 40, slopePercent: 0.4 }, {}, 2);
    const { points, attempts } = play(plan, straight);
    const soFar = { plan, equipment: syntheticEquipment, points, attempts, out: new Set<number>() };
    const reduction = reduceRun(soFar);
    const slopes = progressOf(soFar, reduction).filter((c) => c.of === 'slope');
    expect(slopes).toHaveLength(10);
    for (const cell of slopes) {
      const line = reduction.cells.find((c) => c.injector === cell.injector && c.voltage === cell.voltage);
      expect(line?.kind === 'line' && cell.expanded).toBeCloseTo(line?.kind === 'line' ? line.slope.expanded / line.slope.value : 0, 12);
    }
    expect(slopes.every((c) => c.state === 'reached' && c.wanted === 0.004)).toBe(true);
  });
});
