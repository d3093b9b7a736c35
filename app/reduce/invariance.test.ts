/** The invariance set and blind windows: RED-110 to RED-116. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { seconds } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { blindSentences, invarianceSentences, memberVerdict } from './invariance-words.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, InvarianceMember, LineCell, Reduction } from './reduction.ts';
import { drawErrors, noErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';
import type { SyntheticInjector } from './synthetic.test-helper.ts';

const injectors = 3;
const planWith = (change: Record<string, unknown> = {}): Plan =>
  planSchema.parse({
    ...syntheticPlan({ voltageV: [9, 12, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] }, injectors),
    invariance: { percent: 12 },
    pair: { windows: 1 },
    ...change,
  });
const plan = planWith();
const scatter = { relative: 4e-4, width: 3e-7, voltage: 0.005, pressure: 400, warmer: 0.3 };

interface Made {
  readonly seed?: number;
  readonly of?: Plan;
  /** Changes a window that the bench would have given; `last`: the point before it. */
  readonly change?: (window: WindowSummary, point: Point, before: Point | undefined, part: number) => WindowSummary;
  readonly injector?: (index: number) => SyntheticInjector;
  readonly shift?: (point: Point) => number;
  readonly scatterTimes?: number;
}

function reduced({ seed = 1, of = plan, change = (window) => window, injector = syntheticInjector, shift = () => 0, scatterTimes = 1 }: Made): Reduction {
  const normal = normalFrom(seed);
  const list = expandPlan(of);
  const errors = seed === 0 ? noErrors : drawErrors(syntheticEquipment, normal);
  const attempts = list.map((point, i): CountingAttempt => {
    const secret = point.role === 'blind' ? shift(point) : 0;
    const driven = { ...point, width: seconds(point.width + secret) };
    const times = point.role === 'blind' ? scatterTimes : 1;
    const window = syntheticWindow(driven, injector(point.injector), of, syntheticEquipment, errors, { ...scatter, relative: times * scatter.relative, width: times * scatter.width }, normal);
    return { point: point.index, attempt: 1, window: change(window, point, list[i - 1], i / list.length), order: i, ...(point.role === 'blind' ? { blindShift: seconds(secret) } : {}) };
  });
  return reduceRun({ plan: of, equipment: syntheticEquipment, points: list, attempts });
}

/** The same edges in a time that is shorter by a part: so much more flow. */
const more = (window: WindowSummary, part: number): WindowSummary => ({ ...window, lastEdgeAt: seconds(window.firstEdgeAt + (window.lastEdgeAt - window.firstEdgeAt) / (1 + part)) });
const of = (reduction: Reduction, name: InvarianceMember['of']): InvarianceMember => {
  const found = reduction.invariance.members.find((m) => m.of === name);
  if (found === undefined) throw new Error(`no ${name}`);
  return found;
};
const called = (reduction: Reduction): readonly string[] => reduction.invariance.members.filter((m) => m.called).map((m) => m.of);
const cells = (reduction: Reduction): readonly LineCell[] => reduction.cells.flatMap((c) => (c.kind === 'line' ? [c] : []));

describe('the invariance set', () => {
  it('RED-110 holds every nuisance of the plan against its own cell, and enters no line', () => {
    const whole = reduced({});
    expect(whole.invariance.members.map((m) => m.of)).toEqual(['period', 'long-period', 'direction', 'pressure', 'time']);
    expect(whole.invariance.members.every((m) => m.injectors.length === injectors)).toBe(true);
    expect(called(whole)).toEqual([]);
    // Twice as much flow in every window of the set: no line knows of it. (What short pulses at twice the period say of a leak is taken off, RED-47.)
    const spoilt = reduced({ change: (window, point) => (point.role === 'invariance' && point.changed !== 'period' ? more(window, 1) : window) });
    expect(cells(spoilt).map((c) => [c.slope.value, c.deadTime.value])).toEqual(cells(whole).map((c) => [c.slope.value, c.deadTime.value]));
    expect(called(spoilt)).toContain('time');
    const without = reduced({ of: planWith({ invariance: { percent: 0 }, pair: { windows: 0 }, sequence: { kind: 'nested' } }) });
    expect(without.invariance.members).toEqual([]);
    expect(invarianceSentences(without.invariance)[0]).toMatch(/^Nothing was measured again/);
  });

  it('RED-111 the differences are in pulse width, and what both windows share is not in their uncertainty', () => {
    const shifted = reduced({ seed: 0, change: (window, point) => (point.changed === 'time' ? more(window, 2e-3) : window) });
    const time = of(shifted, 'time');
    const open = 12e-3 - (cells(shifted).find((c) => c.voltage === 9)?.deadTime.value ?? 0);
    expect(time.difference).toBeCloseTo(2e-3 * open, 5);
    expect(time.percent).toBeCloseTo(0.2, 1);
    // K-factor and density are 0.1 % each of a result, which is 10 us here; none of it is in a difference.
    expect(time.uShared).toBeLessThan(1e-6);
    expect(of(shifted, 'pressure').uShared).toBeGreaterThan(0);
  });

  it('RED-111 windows at another pressure are worked out for that of their cell', () => {
    // No scatter to hide behind: an orifice agrees, a flow that goes with the pressure to the power 0.6 does not.
    expect(of(reduced({}), 'pressure').called).toBe(false);
    const steeper = (index: number): SyntheticInjector => ({ ...syntheticInjector(index), slope: (p) => 3.95e-3 * (p / 4e5) ** 0.8 });
    const pressure = of(reduced({ injector: steeper }), 'pressure');
    expect(pressure.called).toBe(true);
    // 0.3 in the exponent over 4 %.
    expect(pressure.percent).toBeCloseTo(1.2, 0);
  });

  it('RED-111 a window that does not belong to its repeats takes no part', () => {
    const gross = reduced({ change: (window, point) => (point.role === 'measure' && point.index % 23 === 0 ? more(window, point.index % 2 === 0 ? 0.05 : -0.05) : window) });
    expect(gross.lightWindows.length).toBeGreaterThan(5);
    expect(called(gross)).toEqual([]);
    expect(cells(gross).some((c) => c.shared.some((s) => s.source.quantity === 'invariance'))).toBe(false);
  });

  it('RED-112 at most one sound run in a hundred has a call', () => {
    let runs = 0;
    for (let seed = 1; seed <= 120; seed += 1) if (called(reduced({ seed })).length > 0) runs += 1;
    // More than 4 of 120 has a chance of 0.7 % at one in a hundred.
    expect(runs).toBeLessThanOrEqual(4);
    const { members, tests, falseCalls } = reduced({}).invariance;
    expect(tests).toBe(2 * members.length);
    expect(falseCalls).toBe(0.01);
  });

  it('RED-112 one injector that differs is called by how the injectors differ', () => {
    const found = of(reduced({ change: (window, point) => (point.changed === 'time' && point.injector === 1 ? more(window, 4e-3) : window) }), 'time');
    expect(found).toMatchObject({ called: true });
    const both = of(reduced({ change: (window, point) => (point.changed === 'time' && point.injector < 2 ? more(window, point.injector === 1 ? 4e-3 : -4e-3) : window) }), 'time');
    expect(both).toMatchObject({ called: true, by: 'injectors' });
    expect(memberVerdict(both)).toMatch(/^injectors differ/);
  });

  it('RED-113 a coil that remembers the pulse before is called by the order of the widths, without a window more', () => {
    const lagging = (window: WindowSummary, point: Point, before: Point | undefined): WindowSummary =>
      point.role === 'measure' && before?.role === 'measure' && before.injector === point.injector && before.width > point.width ? more(window, -4e-6 / (point.width - 1e-3)) : window;
    const lean = planWith({ invariance: { percent: 0 }, pair: { windows: 0 } });
    const found = reduced({ of: lean, change: lagging });
    expect(found.invariance.members.map((m) => m.of)).toEqual(['direction']);
    expect(of(found, 'direction')).toMatchObject({ called: true, by: 'common' });
    expect(of(found, 'direction').difference).toBeCloseTo(-4e-6, 6);
    expect(of(reduced({ of: lean }), 'direction').called).toBe(false);
  });

  it('RED-114 what is called is part of the results it concerns, under its own name, and of no others', () => {
    const sound = reduced({});
    expect(cells(sound).some((c) => c.shared.some((s) => s.source.quantity === 'invariance'))).toBe(false);
    const late = reduced({ change: (window, point) => (point.changed === 'time' ? more(window, 5e-3) : window) });
    expect(called(late)).toEqual(['time']);
    const time = of(late, 'time');
    cells(late).forEach((cell, i) => {
      const part = cell.shared.find((s) => s.source.quantity === 'invariance');
      expect(part?.source.key).toBe('invariance time');
      expect(part?.onDeadTime).toBe(0);
      expect(part?.onSlope).toBeCloseTo((cell.slope.value * Math.abs(time.difference / time.open)) / Math.sqrt(3), 9);
      expect(cell.slope.expanded).toBeGreaterThan(1.5 * (cells(sound)[i]?.slope.expanded ?? 0));
      expect(cell.deadTime.expanded).toBeCloseTo(cells(sound)[i]?.deadTime.expanded ?? 0, 12);
    });
    // A reference point that tells the drift has it in the results already.
    const watched = planWith({ reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 6, periodMs: 20, everyPoints: 12 } });
    const drifting = reduced({ of: watched, change: (window, _point, _before, part) => more(window, 0.02 * part) });
    expect(called(drifting)).toContain('time');
    for (const cell of cells(drifting)) {
      const uOf = (quantity: string): number => (cell.shared.find((s) => s.source.quantity === quantity)?.onSlope ?? 0) / cell.slope.value;
      expect(uOf('bench-drift')).toBeGreaterThan(0.004);
      expect(Math.hypot(uOf('bench-drift'), uOf('invariance'))).toBeCloseTo(Math.max(uOf('bench-drift'), Math.abs(of(drifting, 'time').difference / of(drifting, 'time').open) / Math.sqrt(3), of(drifting, 'time').wandered ?? 0), 6);
    }
    const drawn = reduced({ change: (window, point) => (point.changed === 'long-period' ? more(window, 5e-3) : window) });
    expect(called(drawn)).toEqual(['long-period']);
    const half = of(drawn, 'long-period').difference / Math.sqrt(3);
    for (const cell of cells(drawn)) expect(cell.shared.find((s) => s.source.quantity === 'invariance')).toMatchObject({ onSlope: 0, onDeadTime: half });
  });
});

describe('blind windows', () => {
  const blindPlan = planWith({ invariance: { percent: 0 }, pair: { windows: 0 }, blind: { percent: 20 }, axes: { ...plan.axes, replicates: 4 } });
  const shift = (point: Point): number => ((point.index * 7) % 31) * 1e-6 - 15e-6;

  it('RED-115 the line tells the shift, the truth takes no part, and no line knows of blind windows', () => {
    const run = reduced({ of: blindPlan, shift });
    expect(run.blind.length).toBe(expandPlan(blindPlan).filter((p) => p.role === 'blind').length);
    const inside = run.blind.filter((b) => Math.abs(b.found - (b.truth ?? Number.NaN)) <= b.expanded).length;
    expect(inside / run.blind.length).toBeGreaterThan(0.85);
    const rms = Math.sqrt(run.blind.reduce((sum, b) => sum + ((b.found - (b.truth ?? 0)) / b.u) ** 2, 0) / run.blind.length);
    expect(rms).toBeGreaterThan(0.8);
    expect(rms).toBeLessThan(1.2);
    const unshifted = reduced({ of: blindPlan });
    expect(cells(run).map((c) => c.deadTime.value)).toEqual(cells(unshifted).map((c) => c.deadTime.value));
    // The estimates move by the shifts and by nothing else.
    run.blind.forEach((b, i) => expect(b.found - (unshifted.blind[i]?.found ?? 0)).toBeCloseTo(b.truth ?? Number.NaN, 7));
    expect(blindSentences(run.blind)[0]).toBe(`${run.blind.length} blind shifts: ${inside} inside their 95 % intervals (${((100 * inside) / run.blind.length).toFixed(0)} %).`);
  });

  it('RED-115 windows that repeat worse than is stated show in the spread', () => {
    const run = reduced({ of: blindPlan, shift, scatterTimes: 3 });
    const rms = Math.sqrt(run.blind.reduce((sum, b) => sum + ((b.found - (b.truth ?? 0)) / b.u) ** 2, 0) / run.blind.length);
    expect(rms).toBeGreaterThan(2);
  });
});
