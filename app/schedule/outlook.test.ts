import { describe, expect, it } from 'vitest';
import { estimateRun } from '../plan/estimate.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { seconds } from '../quantities/quantity.ts';
import type { CountingAttempt } from '../reduce/reduction.ts';
import { syntheticEquipment as equipment, syntheticPlan } from '../reduce/synthetic.test-helper.ts';
import { expectedBench, usualFigures } from './expected-bench.ts';
import { forecastOf } from './forecast.ts';
import { outlooks } from './outlook.ts';
import type { SoFarAndOpen } from './outlook.ts';
import { decideNext } from './schedule.ts';

const widthMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
const plan: Plan = { ...syntheticPlan({ voltageV: [9, 12, 14], widthMs, replicates: 1 }, 2), targets: { deadTimeUs: 3, atVoltage: [{ voltageV: 9, deadTimeUs: 5 }], hours: 24, attemptsPerCell: 40, known: [] } };
/** What instruments leave at 9 V is more than that. */
const tooMuch: Plan = { ...plan, targets: { deadTimeUs: 9, atVoltage: [{ voltageV: 9, deadTimeUs: 1 }], hours: 24, attemptsPerCell: 40, known: [] } };

/** A run on a bench of usual figures with another seed, `slower` than was expected, as it stood at each decision; the last has nothing left. */
function runs(plan: Plan, slower = 1, figures = usualFigures): readonly SoFarAndOpen[] {
  const windowOf = expectedBench({ ...plan, sequence: { ...plan.sequence, seed: 77 } }, equipment, figures);
  let points: readonly Point[] = expandPlan(plan);
  const attempts: CountingAttempt[] = [];
  const stood: SoFarAndOpen[] = [];
  for (;;) {
    stood.push({ plan, equipment, points, attempts: [...attempts], out: new Set(), open: points.slice(attempts.length).map(({ index }) => index) });
    for (const at of points.slice(attempts.length)) {
      const window = windowOf(at);
      attempts.push({ point: at.index, attempt: 1, order: at.index, window: { ...window, from: seconds(window.from * slower), to: seconds(window.to * slower) } });
    }
    const { additions } = decideNext({ plan, equipment, points, attempts, out: new Set() });
    if (additions.length === 0) break;
    const first = points.length;
    points = [...points, ...additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: first + i }))];
  }
  return [...stood, { plan, equipment, points, attempts, out: new Set(), open: [] }];
}

const hoursOf = (points: readonly Point[]): number => estimateRun(plan, points, equipment).durationS;

const outlookOf = outlooks();

describe('the outlook of a run', () => {
  const stood = runs(plan);
  const end = stood.at(-1);
  if (end === undefined) throw new Error('a run without an end');

  it('SCH-30: before anything is measured it is the forecast; at the end nothing is left', () => {
    const [begin] = stood;
    if (begin === undefined) throw new Error('a run without a beginning');
    const { remaining, cells } = outlookOf(begin);
    expect(remaining.likely / 3600).toBeCloseTo(forecastOf(plan, equipment).hours, 1);
    expect(cells.every((cell) => cell.state === 'no-line' && cell.expanded === null)).toBe(true);
    expect(outlookOf(end).remaining).toEqual({ low: 0, likely: 0, high: 0 });
  });

  it('SCH-30: what the plan is expected to take is played once for each plan and scatter, however often a window comes in, and anew when a target has changed', () => {
    const played: Plan[] = [];
    const again = outlooks((of, ...known) => {
      played.push(of);
      return forecastOf(of, ...known);
    });
    const [, at] = stood;
    if (at === undefined) throw new Error('a run without a decision');
    // As they come to a worker: each a copy.
    for (let i = 0; i < 3; i += 1) expect(again(structuredClone(at))).toEqual(outlooks()(at));
    expect(played).toHaveLength(1);
    const raised = { ...at, plan: tooMuch };
    expect(again(raised)).toEqual(outlooks()(raised));
    expect(played).toHaveLength(2);
  });

  it('SCH-30: a bench that scatters more than is usual is expected to take longer, as soon as that is seen', () => {
    const noisy = runs(plan, 1, { ...usualFigures, relative: 2 * usualFigures.relative, width: 2 * usualFigures.width });
    const [, , quiet] = stood;
    const [, , loud] = noisy;
    if (quiet === undefined || loud === undefined) throw new Error('runs of one decision');
    expect(outlookOf(loud).remaining.likely).toBeGreaterThan(1.5 * outlookOf(quiet).remaining.likely);
  });

  it('SCH-30: of what was measured it expects the rest that the run took, within its range, and less from decision to decision', () => {
    const rests = stood.slice(1, -1).map((at) => ({ remaining: outlookOf(at).remaining, taken: hoursOf(end.points) - hoursOf(at.points.slice(0, at.attempts.length)) }));
    expect(rests.length).toBeGreaterThan(2);
    for (const { remaining: { low, likely, high }, taken } of rests) {
      expect(low).toBeLessThan(likely);
      expect(taken).toBeGreaterThan(low);
      expect(taken).toBeLessThan(high);
    }
    expect(rests.at(-1)?.remaining.likely).toBeLessThan((rests[0]?.remaining.likely ?? 0) / 2);
  });

  it('SCH-30: what was decided is measured in any case, however little was expected', () => {
    const at = stood.find(({ attempts }) => attempts.length > 0);
    if (at === undefined) throw new Error('a run without a decision');
    const more = Array.from({ length: 400 }, (_, i): Point => ({ ...end.points.find((p) => p.role === 'measure') as Point, index: at.points.length + i }));
    const { remaining } = outlookOf({ ...at, points: [...at.points, ...more], open: [...at.open, ...more.map(({ index }) => index)] });
    // At the pace of the run, which is a little faster than was expected of it.
    expect(remaining.likely).toBeGreaterThan(0.9 * (hoursOf(more) - hoursOf([])));
  });

  it('SCH-30: a bench that is slower than expected is believed, the more the more was measured', () => {
    const slow = runs(plan, 2);
    // The same windows, each twice as long after the one before.
    const ratios = slow.slice(2, -1).map((at) => {
      const asExpected = { ...at, attempts: at.attempts.map((one) => ({ ...one, window: { ...one.window, from: seconds(one.window.from / 2), to: seconds(one.window.to / 2) } })) };
      return outlookOf(at).remaining.likely / outlookOf(asExpected).remaining.likely;
    });
    expect(ratios[0]).toBeGreaterThan(1.3);
    for (const ratio of ratios) expect(ratio).toBeLessThan(2.1);
    expect(ratios.at(-1)).toBeGreaterThan(ratios[0] ?? Infinity);
  });

  it('SCH-31: each cell says how far it is, what instruments leave, and whether it can be reached', () => {
    const { cells } = outlookOf(runs(tooMuch).at(-1) ?? end);
    expect(cells.length).toBe(6);
    for (const cell of cells) {
      expect(cell.state).toBe(cell.voltage === 9 ? 'beyond' : 'reached');
      expect(cell.least).toBeLessThan(cell.expanded ?? 0);
      expect(cell.largest).not.toBeNull();
      expect(cell.period).toBeCloseTo(0.02, 9);
    }
  });
});
