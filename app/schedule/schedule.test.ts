import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { estimateRun } from '../plan/estimate.ts';
import type { Plan } from '../plan/plan.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { bentBelow, planOf, play, rulesOf, straight } from './play.test-helper.ts';
import { howFar, progressOf } from './progress.ts';
import type { ScheduleDecision } from './schedule.ts';

describe('a schedule', () => {
  it('SCH-1 SCH-7: brings every cell to its target, as the reduction states it, and says so', () => {
    const plan = planOf({});
    const { points, attempts, decisions } = play(plan, bentBelow(1.2e-3));
    const { cells } = reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
    expect(cells).toHaveLength(15);
    for (const cell of cells) expect(cell.kind === 'line' && cell.deadTime.expanded).toBeLessThanOrEqual(6e-6);
    expect(decisions.at(-1)?.text).toBe('All 15 cells are known as well as was wanted.');
    // What it was decided from gives the same again.
    const again = play(plan, bentBelow(1.2e-3));
    expect(again.decisions).toEqual(decisions);
  });

  it('SCH-7: a lower target takes more windows, and one of the slope is reached too', () => {
    const loose = play(planOf({ deadTimeUs: 8 }), straight).points.length;
    const tight = play(planOf({ deadTimeUs: 2.9 }), straight).points.length;
    expect(tight).toBeGreaterThan(loose);
    // Where windows scatter, they are what keeps a slope from its target.
    const scattered = { relative: 4e-3 };
    const plan = planOf({ deadTimeUs: 40, slopePercent: 0.4 });
    const { points, attempts, decisions } = play(plan, straight, scattered);
    expect(points.length).toBeGreaterThan(play(planOf({ deadTimeUs: 40 }), straight, scattered).points.length);
    expect(decisions.flatMap((d) => d.additions).some((a) => a.why.includes('slope of S-1'))).toBe(true);
    for (const cell of reduceRun({ plan, equipment: syntheticEquipment, points, attempts }).cells) expect(cell.kind === 'line' && cell.slope.expanded / cell.slope.value).toBeLessThanOrEqual(0.004);
  });

  it('SCH-3 SCH-4 SCH-5: begins with the long widths, searches the end at the two lowest voltages, and does not go below it at the others', () => {
    const { decisions, points } = play(planOf({ deadTimeUs: 8 }), bentBelow(1.2e-3));
    expect(rulesOf(decisions[0])).toEqual(['SCH-3']);
    const widthsAt = (decision: ScheduleDecision | undefined, voltage: number) => [...new Set(decision?.additions.flatMap((a) => a.points).filter((p) => p.voltage === voltage).map((p) => p.width * 1e3))].sort((a, b) => b - a).map((w) => Number(w.toFixed(3)));
    expect(widthsAt(decisions[0], 16)).toEqual([12, 5, 4, 3.2]);
    expect(widthsAt(decisions[0], 9)).toEqual([12, 5, 4, 3.2, 2.8, 2.5]);
    for (const d of decisions.filter((one) => rulesOf(one).includes('SCH-4'))) for (const voltage of [9, 10.5]) expect(widthsAt(d, voltage).length).toBeLessThanOrEqual(1);
    expect(decisions.some((d) => rulesOf(d).includes('SCH-4') && d.additions.every((a) => a.points.every((p) => p.voltage <= 10.5)))).toBe(true);
    const others = points.filter((p) => p.role === 'measure' && p.voltage > 10.5);
    for (const { injector, voltage, width } of others) expect(width - straight(injector).deadTime(voltage, 4e5 as never)).toBeGreaterThan(1.2e-3);
    expect(decisions.flatMap((d) => d.additions).some((a) => a.rule === 'SCH-5' && a.why.includes('bends end at'))).toBe(true);
  });

  it('SCH-5: goes to the shortest width where nothing bends, but where chance shows a bend', () => {
    const shortest = [1, 2, 3, 4, 5, 6].map((seed) => Math.min(...play(planOf({ deadTimeUs: 8 }), straight, { seed }).points.filter((p) => p.role === 'measure' && p.voltage === 16).map((p) => p.width)));
    expect(shortest.filter((w) => Math.abs(w - 1.8e-3) < 1e-9).length).toBeGreaterThanOrEqual(4);
  });

  it('SCH-6: measures the short end of every line twice at least', () => {
    const plan = planOf({ deadTimeUs: 100 });
    const { points, attempts } = play(plan, bentBelow(1.2e-3));
    for (const cell of reduceRun({ plan, equipment: syntheticEquipment, points, attempts }).cells) {
      const used = cell.kind === 'line' ? cell.widths.filter((w) => w.inRegion).slice(-2) : [];
      expect(used.map((w) => w.windows >= 2)).toEqual([true, true]);
    }
  });

  it('SCH-8: brings a cell that instruments keep from its target as near as is sensible, and names the largest part', () => {
    const plan = planOf({ deadTimeUs: 8, atVoltage: [{ voltageV: 9, deadTimeUs: 1 }] });
    const { points, attempts, decisions } = play(plan, straight);
    const { cells } = reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
    for (const c of cells) if (c.kind === 'line' && c.voltage === 9) expect(c.deadTime.expanded).toBeLessThanOrEqual(1.05 * c.deadTime.coverageFactor * c.deadTime.uShared);
    // No more than for the least that would be sensible.
    expect(points.length).toBeLessThan(play(planOf({ deadTimeUs: 8, atVoltage: [{ voltageV: 9, deadTimeUs: 1 }] }), straight, { seed: 2 }).points.length * 1.5);
    expect(decisions.at(-1)?.text).toMatch(/^12 of 15 cells .* at 9 V \(the worst of 3\): .*No sensible number of windows reaches it: instruments alone leave .* us, most of it /);
    const soFar = { plan, equipment: syntheticEquipment, points, attempts, out: new Set<number>() };
    expect(progressOf(soFar, reduceRun(soFar)).filter((c) => c.state === 'beyond').map((c) => c.voltage)).toEqual([9, 9, 9]);
  });

  it('SCH-8: keeps the windows of a cell and the bench time within what the plan allows', () => {
    const few = planOf({ deadTimeUs: 3, attemptsPerCell: 8 });
    const { points, decisions } = play(few, straight);
    const counts = new Map<string, number>();
    for (const p of points) if (p.role === 'measure') counts.set(`${p.injector} ${p.voltage}`, (counts.get(`${p.injector} ${p.voltage}`) ?? 0) + 1);
    expect(Math.max(...counts.values())).toBeLessThanOrEqual(8);
    expect(decisions.at(-1)?.text).toContain('the 8 windows that targets.attemptsPerCell allows');
    const short = planOf({ deadTimeUs: 2.3, hours: 0.1 });
    const ended = play(short, straight);
    expect(estimateRun(short, ended.points, syntheticEquipment).durationS).toBeLessThan(2 * 0.1 * 3600);
    expect(ended.decisions.at(-1)?.text).toContain('targets.hours');
  });

  it('SCH-2: measures pressures one after the other, and leaves injectors that are out', () => {
    const plan = { ...planOf({ deadTimeUs: 12 }), axes: { ...planOf({}).axes, pressureKpa: [300, 400] } };
    const { points } = play(plan, straight, { out: [1] });
    expect(new Set(points.map((p) => p.injector))).toEqual(new Set([0, 2]));
    const pressures = points.filter((p) => p.role === 'measure').map((p) => p.pressure);
    expect(pressures.toSorted((a, b) => a - b)).toEqual(pressures);
    expect(new Set(pressures)).toEqual(new Set([3e5, 4e5]));
  });

  it('SCH-8: comes to an end where windows fail', () => {
    const { decisions } = play(planOf({ attemptsPerCell: 20 }), straight, { fails: (p) => p.injector === 0 && p.width < 2.1e-3 });
    expect(decisions.at(-1)?.additions).toEqual([]);
    const none = play(planOf({ attemptsPerCell: 20 }), straight, { fails: (p) => p.injector === 0 });
    expect(none.decisions.at(-1)?.text).toContain('S-1 at');
  });

  it('SCH-9 SCH-10: has zero and reference points on their own clock, and ends a pressure with its self-checks once', () => {
    const plan = planOf({ deadTimeUs: 6 }, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 }, pair: { windows: 1 }, static: { replicates: 2, voltageV: 14, periodMs: 20 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 30 } });
    const { points, decisions } = play(plan, straight);
    const measured = points.filter((p) => p.role === 'measure').length;
    expect(points.filter((p) => p.role === 'reference').length).toBeGreaterThanOrEqual(Math.floor(measured / 30) + 1);
    expect(points.filter((p) => p.role === 'static').length).toBe(6);
    expect(points.filter((p) => p.role === 'pair').length).toBe(3);
    expect(points.at(-1)?.role).toBe('zero');
    expect(points[0]?.role).toBe('zero');
    expect(decisions.filter((d) => rulesOf(d).includes('SCH-10'))).toHaveLength(1);
    const zeros = points.filter((p) => p.role === 'zero').map((p) => p.index);
    for (let i = 1; i < zeros.length - 1; i += 1) expect(estimateRun(plan, points.slice(zeros[i - 1], zeros[i]), syntheticEquipment).durationS).toBeGreaterThan(700);
    expect(zeros.length).toBeGreaterThan(2);
  });

  it('SCH-10: reference and zero points alone end a pressure once too, each pressure its own', () => {
    const reference = { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 1000 };
    const zero = { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 };
    const ends = (more: Partial<Plan>, pressureKpa: number[]): readonly string[] => {
      const plan = planOf({}, more);
      const { decisions } = play({ ...plan, axes: { ...plan.axes, pressureKpa } }, straight);
      return decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-10').map((a) => a.points.map((p) => `${p.role} ${p.pressure / 1000}`).join(', '));
    };
    expect(ends({ reference }, [400])).toEqual(['reference 400']);
    expect(ends({ zero }, [300, 400])).toEqual(['zero 300', 'zero 400']);
    expect(ends({ reference, zero }, [300, 400])).toEqual(['reference 400, zero 300', 'reference 400, zero 400']);
  });

  it('SCH-9: the widths of a cell are shuffled, and an injector follows itself', () => {
    const { decisions } = play(planOf({}), straight, { until: 1 });
    const first = decisions[0]?.additions ?? [];
    expect(new Set(first.map((a) => `${a.points[0]?.injector ?? ''} ${a.points[0]?.voltage ?? ''}`)).size).toBe(first.length);
    expect(first.some((a) => a.points.some((p, i) => i > 0 && p.width > (a.points[i - 1]?.width ?? 0)))).toBe(true);
    expect(first.some((a) => a.points.some((p, i) => i > 0 && p.width < (a.points[i - 1]?.width ?? 0)))).toBe(true);
  });

  it('SCH-7: tells why in words', () => {
    const { decisions } = play(planOf({ deadTimeUs: 2.9 }), straight);
    const whys = decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-7').map((a) => a.why);
    expect(whys.length).toBeGreaterThan(0);
    for (const why of whys) expect(why).toMatch(/^(short|long) end of S-\d at [\d.]+ V; dead time of S-\d at [\d.]+ V: U95 [\d.]+ us now, 2\.9 us wanted$/);
  });

  it('says how far a run without lines is', () => {
    const plan = planOf({});
    expect(howFar(progressOf({ plan, equipment: syntheticEquipment, points: expandPlan(plan), attempts: [], out: new Set() }, null))).toContain('its windows give no line');
  });
});
