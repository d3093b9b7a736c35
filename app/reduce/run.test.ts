/** A run as a whole, a few quick ones: what its parts hand to each other. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { kilopascals, seconds, volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { pressureExponents } from './pressure-exponent.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, LineCell, Reduction } from './reduction.ts';
import { noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow, syntheticZero } from './synthetic.test-helper.ts';

const scatter = { ...noScatter, relative: 3e-4, width: 3e-7 };
const flow = 0.5e-6 / 60;
interface Made {
  readonly leak?: (point: Point) => number;
  readonly atRest?: number;
  readonly width?: (point: Point) => number;
  readonly change?: (window: WindowSummary, point: Point) => WindowSummary;
}
function attemptsOf(plan: Plan, { leak = () => 0, atRest = 0, width = (p) => p.width, change = (w) => w }: Made = {}): CountingAttempt[] {
  const normal = normalFrom(41);
  return expandPlan(plan).map((point) => ({
    point: point.index,
    attempt: 1,
    window: point.role === 'zero' ? syntheticZero(point, syntheticEquipment, atRest, 60, 0.3) : change(syntheticWindow({ ...point, width: seconds(width(point)) }, syntheticInjector(point.injector), plan, syntheticEquipment, noErrors, scatter, normal, leak(point)), point),
  }));
}
const reduced = (plan: Plan, attempts: readonly CountingAttempt[], points = expandPlan(plan)): Reduction => reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
const linesOf = ({ cells }: Reduction): readonly LineCell[] => cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
const paired = (windowS: number): Plan => syntheticPlan({ voltageV: [12, 14] }, 4, { linearFromMs: 1 }, { zero: { windowS, settleS: 3, decayS: 0, deadTimeUs: 1 }, pair: { windows: 2 } });

describe('RUN-169, RED-1 the points of a run', () => {
  const plan = syntheticPlan({ voltageV: [12] }, 1, { linearFromMs: 1 });

  it('have the widths that were driven, where the controller rounds', () => {
    const points = expandPlan(plan);
    const driven = (p: Point): Point['width'] => seconds(p.width + (p.index % 2 === 0 ? 8e-6 : 0));
    const attempts = attemptsOf(plan, { width: driven });
    const told = attempts.map((a) => (a.point % 2 === 0 ? { ...a, drivenWidth: driven(points[a.point] as Point) } : a));
    const asDriven = reduced(plan, attempts, points.map((p) => ({ ...p, width: driven(p) })));
    expect(reduced(plan, told).cells).toEqual(asDriven.cells);
    expect(reduced(plan, attempts).cells).not.toEqual(asDriven.cells);
  });

  it('must be those of the plan', () => {
    const [attempt] = attemptsOf(plan);
    const at = (point: number): CountingAttempt => ({ ...(attempt as CountingAttempt), point });
    expect(() => reduced(plan, [at(999)])).toThrow('names point 999');
    const [first, second] = expandPlan(plan) as [Point, Point];
    expect(() => reduced(plan, [at(0)], [second, first])).toThrow('names point 0');
  });

  it('RED-35: at one pressure have no exponent', () => {
    expect(pressureExponents(reduced(plan, attemptsOf(plan)))).toMatchObject([{ kind: 'no-exponent', injector: 0, serialNumber: 'S-1', reason: 'one-pressure' }]);
    expect(pressureExponents(reduced(plan, []))).toEqual([]);
  });
});

describe('RED-45, RED-47 zero points and period pair of one run', () => {
  it('that agree leave what the zero points say', () => {
    const reduction = reduced(paired(60), attemptsOf(paired(60), { leak: () => flow / 10, atRest: flow / 10 }));
    expect(reduction.periodPair).toMatchObject({ agrees: true, beside: true });
    expect(reduction.leak).toMatchObject({ kind: 'leak', time: 180 });
    for (const cell of linesOf(reduction)) expect(cell.leak).toMatchObject({ contradiction: 0 });
    expect(linesOf(reduction)).toHaveLength(8);
  });

  it('that contradict each other refuse the lines, each by what is in doubt', () => {
    const plan = paired(60);
    const free = { ...plan, reduction: { ...plan.reduction, leakTimesU95: 1e6, leakChangeTimesU95: 1e6 } };
    const attempts = attemptsOf(plan, { leak: () => flow });
    const bounded = reduced(plan, attempts);
    expect(bounded.cells.map((c) => c.kind === 'no-line' && c.reason)).toEqual(bounded.cells.map(() => 'leak'));
    for (const c of bounded.cells) expect(c.kind === 'no-line' && c.sources.length).toBe(21);
    const reduction = reduced(free, attempts);
    const { periodPair } = reduction;
    if (periodPair.kind !== 'period-pair') throw new Error(periodPair.text);
    // What was subtracted is what the zero points said; the pair stands as it was before anything was made of it.
    expect(Math.abs(periodPair.flow / flow - 1)).toBeLessThan(0.3);
    expect(periodPair.agrees).toBe(false);
    for (const cell of linesOf(reduction)) {
      const perFlow = (cell.leak?.contradiction ?? 0) / periodPair.flow;
      // rho P / k: 685 kg/m3 x 20 ms over the slope.
      expect(perFlow / ((685 * 0.02) / cell.slope.value)).toBeCloseTo(1, 1);
    }
  });

  it('RED-47: without zero points the pair is what is subtracted', () => {
    const plan = paired(0);
    const reduction = reduced(plan, attemptsOf(plan, { leak: () => flow / 3 }));
    expect(reduction.leak).toMatchObject({ kind: 'leak', edges: 0, time: 0, blocks: [{ block: 0 }] });
    for (const cell of linesOf(reduction)) expect(Math.abs(cell.deadTime.value - syntheticInjector(cell.injector).deadTime(cell.voltage, cell.pressure))).toBeLessThan(cell.deadTime.expanded);
  });

  it('one block that a leak spoils is refused, and the others stand in their order as if it had not been measured', () => {
    const plan = syntheticPlan({ voltageV: [9, 12, 14] }, 2, { linearFromMs: 1 }, { zero: { windowS: 60, settleS: 3, decayS: 0, deadTimeUs: 1 } });
    const zeros = expandPlan(plan).filter((p) => p.role === 'zero').length;
    expect(zeros).toBe(4);
    let seen = 0;
    const points = expandPlan(plan);
    // It begins inside the second block and ends inside it: two zero points on either side of which see it.
    const attempts = attemptsOf(plan).map((a) => {
      const at = points[a.point];
      if (at?.role !== 'zero') return a;
      seen += 1;
      return { ...a, window: syntheticZero(at, syntheticEquipment, seen >= 3 ? flow : 0, 60, 0.3) };
    });
    const reduction = reduced(plan, attempts);
    const reasons = reduction.cells.map((c) => [c.injector, c.voltage, c.kind === 'line' ? 'line' : c.reason]);
    expect(reasons.map(([i, v]) => [i, v])).toEqual([[0, 9], [0, 12], [0, 14], [1, 9], [1, 12], [1, 14]]);
    expect(reasons.filter(([, v]) => v === 12).map(([, , r]) => r)).toEqual(['leak', 'leak']);
    expect(reasons.filter(([, v]) => v === 9).map(([, , r]) => r)).toEqual(['line', 'line']);
    // No dead time of a refused line has a part in what the others are stated with.
    for (const cell of linesOf(reduction).filter((c) => c.voltage === 9)) {
      const alone = reduced(plan, attempts.filter((a) => points[a.point]?.voltage !== 12 || points[a.point]?.role === 'zero'));
      expect(cell.byVoltage.from).toBe(linesOf(alone).find((c) => c.injector === cell.injector && c.voltage === 9)?.byVoltage.from);
    }
  });
});

describe('RED-29 spoilt windows of a run', () => {
  it('leave the other windows of their width and the other lines', () => {
    const plan = syntheticPlan({ voltageV: [9, 14] }, 1, { linearFromMs: 1 });
    const spoilt = reduced(plan, attemptsOf(plan, { change: (w, p) => (p.voltage === 9 && p.replicate === 1 && p.width > 9e-3 ? { ...w, pressure: { mean: kilopascals(-1), sd: 0 } } : w) }));
    const [low, high] = linesOf(spoilt);
    expect([low?.sources.length, high?.sources.length]).toEqual([20, 21]);
    expect(low?.widths[0]).toMatchObject({ windows: 2 });
    const none = reduced(plan, attemptsOf(plan, { change: (w, p) => (p.voltage === 9 ? { ...w, edges: 0 } : w) }));
    expect(none.cells[0]).toMatchObject({ kind: 'no-line', reason: 'not-measured', text: expect.stringContaining('fewer than two meter edges') as string, sources: [] });
    expect(none.cells[1]).toMatchObject({ kind: 'line' });
  });

  it('RED-21: a line that is none any more once its windows are referred to the plan says why, and the others stand', () => {
    // A read-back that climbs by two volts for each tenth of a millisecond: what so many volts would have added is more than what the pulses did.
    const plan = syntheticPlan({ widthMs: [4, 4.1, 4.2, 4.3, 4.4] }, 2, { linearFromMs: 1 });
    const { cells, windows } = reduced(plan, attemptsOf(plan, { change: (w, p) => (p.injector === 0 ? { ...w, supply: { mean: volts(14 + (p.width - 4e-3) * 2e4), sd: 0 } } : w) }));
    expect(windows.every((w) => w.outcome.kind === 'mass')).toBe(true);
    expect(cells).toMatchObject([{ kind: 'no-line', injector: 0, reason: 'no-slope' }, { kind: 'line', injector: 1 }]);
  });

  it('RED-81: windows that count for little are named in the order of their points, those held open among them', () => {
    const plan = syntheticPlan({ voltageV: [9, 14], pressureKpa: [300, 400] }, 3, { linearFromMs: 1 }, { static: { replicates: 3, voltageV: 14, periodMs: 20 } });
    const points = expandPlan(plan);
    const held = points.find((p) => p.role === 'static' && p.injector === 1)?.index ?? 0;
    const others = points.filter((p) => p.role === 'measure' && p.replicate === 1 && p.width > 5.5e-3 && p.width < 6.5e-3 && p.injector === 0).map((p) => p.index);
    expect(others.some((index) => index > held)).toBe(true);
    const bad = new Set([held, ...others]);
    const reduction = reduced(plan, attemptsOf(plan, { change: (w, p) => (bad.has(p.index) ? { ...w, lastEdgeAt: seconds(w.firstEdgeAt + (w.lastEdgeAt - w.firstEdgeAt) * 0.9) } : w) }));
    expect(reduction.lightWindows.map((w) => w.point)).toEqual([...bad].sort((a, b) => a - b));
  });
});
