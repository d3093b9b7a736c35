/** The invariance set and blind windows: RED-110 to RED-116. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import type { Point } from '../plan/points.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { blindSentences, invarianceSentences, memberVerdict } from './invariance-words.ts';
import { calledIn, linesOfRun, memberOf, moreFlow, planOfSet, reducedSet } from './invariance-run.test-helper.ts';
import { syntheticInjector } from './synthetic.test-helper.ts';
import type { SyntheticInjector } from './synthetic.test-helper.ts';

const injectors = 3;

describe('the invariance set', () => {
  it('RED-110 holds every nuisance of the plan against its own cell, and enters no line', () => {
    const whole = reducedSet({});
    expect(whole.invariance.members.map((m) => m.of)).toEqual(['period', 'long-period', 'direction', 'pressure', 'time']);
    expect(whole.invariance.members.every((m) => m.injectors.length === injectors)).toBe(true);
    expect(calledIn(whole)).toEqual([]);
    // Twice as much flow in every window of the set: no line knows of it. (What short pulses at twice the period say of a leak is taken off, RED-47.)
    const spoilt = reducedSet({ change: (window, point) => (point.role === 'invariance' && point.changed !== 'period' ? moreFlow(window, 1) : window) });
    expect(linesOfRun(spoilt).map((c) => [c.slope.value, c.deadTime.value])).toEqual(linesOfRun(whole).map((c) => [c.slope.value, c.deadTime.value]));
    expect(calledIn(spoilt)).toContain('time');
    const without = reducedSet({ of: planOfSet({ invariance: { percent: 0 }, pair: { windows: 0 }, sequence: { kind: 'nested' } }) });
    expect(without.invariance.members).toEqual([]);
    expect(invarianceSentences(without.invariance)[0]).toMatch(/^Nothing was measured again/);
  });

  it('RED-111 the differences are in pulse width, and what both windows share is not in their uncertainty', () => {
    const shifted = reducedSet({ seed: 0, change: (window, point) => (point.changed === 'time' ? moreFlow(window, 2e-3) : window) });
    const time = memberOf(shifted, 'time');
    const open = 12e-3 - (linesOfRun(shifted).find((c) => c.voltage === 9)?.deadTime.value ?? 0);
    expect(time.difference).toBeCloseTo(2e-3 * open, 5);
    expect(time.percent).toBeCloseTo(0.2, 1);
    // K-factor and density are 0.1 % each of a result, which is 10 us here; none of it is in a difference.
    expect(time.uShared).toBeLessThan(1e-6);
    expect(memberOf(shifted, 'pressure').uShared).toBeGreaterThan(0);
  });

  it('RED-111 windows at another pressure are worked out for that of their cell', () => {
    // No scatter to hide behind: an orifice agrees, a flow that goes with the pressure to the power 0.6 does not.
    expect(memberOf(reducedSet({}), 'pressure').called).toBe(false);
    const steeper = (index: number): SyntheticInjector => ({ ...syntheticInjector(index), slope: (p) => 3.95e-3 * (p / 4e5) ** 0.8 });
    const pressure = memberOf(reducedSet({ injector: steeper }), 'pressure');
    expect(pressure.called).toBe(true);
    // 0.3 in the exponent over 4 %.
    expect(pressure.percent).toBeCloseTo(1.2, 0);
  });

  it('RED-111 a window that does not belong to its repeats takes no part', () => {
    const gross = reducedSet({ change: (window, point) => (point.role === 'measure' && point.index % 23 === 0 ? moreFlow(window, point.index % 2 === 0 ? 0.05 : -0.05) : window) });
    expect(gross.lightWindows.length).toBeGreaterThan(5);
    expect(calledIn(gross)).toEqual([]);
    expect(linesOfRun(gross).some((c) => c.shared.some((s) => s.source.quantity === 'invariance'))).toBe(false);
  });

  it('RED-81 RED-111 of two repeats that contradict each other the one that the line speaks for stands for its width, the other takes no part', () => {
    const of = planOfSet({}, { replicates: 2 });
    const asked = new Set(expandPlan(of).flatMap((p) => (p.changed === 'time' && p.injector === 1 ? [`${p.voltage}|${p.width}`] : [])));
    // Half a percent: too much for chance, and too little for the widths beside it to speak (1 %).
    const disputed = reducedSet({ seed: 0, of, change: (window, p) => (p.role === 'measure' && p.injector === 1 && p.replicate === 0 && asked.has(`${p.voltage}|${p.width}`) ? moreFlow(window, 5e-3) : window) });
    expect(asked.size).toBeGreaterThan(0);
    expect(disputed.lightWindows.filter((w) => w.against === 'pair').map((w) => w.weight < 0.5)).toEqual(expect.arrayContaining([true, false]));
    const { injectors: told, open } = memberOf(disputed, 'time');
    expect(told.map((i) => i.injector)).toEqual([0, 1, 2]);
    // With both of them it would be half of half a percent.
    expect(Math.abs(told[1]?.difference ?? Number.NaN)).toBeLessThan(1e-3 * open);
  });

  it('RED-112 two questions a member, at one in a hundred for all of them', () => {
    const { members, tests, falseCalls } = reducedSet({}).invariance;
    expect(tests).toBe(2 * members.length);
    expect(falseCalls).toBe(0.01);
  });

  it('RED-112 one injector that differs is called by how the injectors differ', () => {
    const found = memberOf(reducedSet({ change: (window, point) => (point.changed === 'time' && point.injector === 1 ? moreFlow(window, 4e-3) : window) }), 'time');
    expect(found).toMatchObject({ called: true });
    const both = memberOf(reducedSet({ change: (window, point) => (point.changed === 'time' && point.injector < 2 ? moreFlow(window, point.injector === 1 ? 4e-3 : -4e-3) : window) }), 'time');
    expect(both).toMatchObject({ called: true, by: 'injectors' });
    expect(memberVerdict(both)).toMatch(/^injectors differ/);
  });

  it('RED-113 a coil that remembers the pulse before is called by the order of the widths, without a window more', () => {
    const lagging = (window: WindowSummary, point: Point, before: Point | undefined): WindowSummary =>
      point.role === 'measure' && before?.role === 'measure' && before.injector === point.injector && before.width > point.width ? moreFlow(window, -4e-6 / (point.width - 1e-3)) : window;
    const lean = planOfSet({ invariance: { percent: 0 }, pair: { windows: 0 } });
    const found = reducedSet({ of: lean, change: lagging });
    expect(found.invariance.members.map((m) => m.of)).toEqual(['direction']);
    expect(memberOf(found, 'direction')).toMatchObject({ called: true, by: 'common' });
    expect(memberOf(found, 'direction').difference).toBeCloseTo(-4e-6, 6);
    expect(memberOf(reducedSet({ of: lean }), 'direction').called).toBe(false);
    // A pulse whose window was refused warmed the coil all the same.
    const holed = reducedSet({ of: lean, change: (window, point, before) => (point.index % 3 === 0 ? { ...window, edges: 0 } : lagging(window, point, before)) });
    expect(memberOf(holed, 'direction').difference).toBeCloseTo(-4e-6, 6);
    // The order is that of measuring, in whatever order the windows are handed over.
    expect(reducedSet({ of: lean, change: lagging, handedOver: (attempts) => attempts.toReversed() }).invariance.members[0]?.difference).toBeCloseTo(memberOf(found, 'direction').difference, 12);
  });

  it('RED-114 what is called is part of the results it concerns, under its own name, and of no others', () => {
    const sound = reducedSet({});
    expect(linesOfRun(sound).some((c) => c.shared.some((s) => s.source.quantity === 'invariance'))).toBe(false);
    const late = reducedSet({ change: (window, point) => (point.changed === 'time' ? moreFlow(window, 5e-3) : window) });
    expect(calledIn(late)).toEqual(['time']);
    const time = memberOf(late, 'time');
    linesOfRun(late).forEach((cell, i) => {
      const part = cell.shared.find((s) => s.source.quantity === 'invariance');
      expect(part?.source.key).toBe('invariance time');
      expect(part?.onDeadTime).toBe(0);
      expect(part?.onSlope).toBeCloseTo((cell.slope.value * Math.abs(time.difference / time.open)) / Math.sqrt(3), 9);
      expect(cell.slope.expanded).toBeGreaterThan(1.5 * (linesOfRun(sound)[i]?.slope.expanded ?? 0));
      expect(cell.deadTime.expanded).toBeCloseTo(linesOfRun(sound)[i]?.deadTime.expanded ?? 0, 12);
    });
    // A reference point that tells the drift has it in the results already.
    const watched = planOfSet({ reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 6, periodMs: 20, everyPoints: 12 } });
    const drifting = reducedSet({ of: watched, change: (window, _point, _before, part) => moreFlow(window, 0.02 * part) });
    expect(calledIn(drifting)).toContain('time');
    for (const cell of linesOfRun(drifting)) {
      const told = drifting.benchDrift.kind === 'told' ? drifting.benchDrift.u : 0;
      expect(told).toBeGreaterThan(0.004);
      const beyond = (cell.shared.find((s) => s.source.quantity === 'invariance')?.onSlope ?? 0) / cell.slope.value;
      expect(Math.hypot(told, beyond)).toBeCloseTo(Math.max(told, Math.abs(memberOf(drifting, 'time').difference / memberOf(drifting, 'time').open) / Math.sqrt(3), memberOf(drifting, 'time').wandered ?? 0), 6);
    }
    const drawn = reducedSet({ change: (window, point) => (point.changed === 'long-period' ? moreFlow(window, 5e-3) : window) });
    expect(calledIn(drawn)).toEqual(['long-period']);
    const half = memberOf(drawn, 'long-period').difference / Math.sqrt(3);
    for (const cell of linesOfRun(drawn)) expect(cell.shared.find((s) => s.source.quantity === 'invariance')).toMatchObject({ onSlope: 0, onDeadTime: half });
  });
});

describe('blind windows', () => {
  const blindPlan = planOfSet({ invariance: { percent: 0 }, pair: { windows: 0 }, blind: { percent: 20 }, axes: { ...planOfSet().axes, replicates: 4 } });
  const shift = (point: Point): number => ((point.index * 7) % 31) * 1e-6 - 15e-6;

  it('RED-115 the line tells the shift, the truth takes no part, and no line knows of blind windows', () => {
    const run = reducedSet({ of: blindPlan, shift });
    expect(run.blind.length).toBe(expandPlan(blindPlan).filter((p) => p.role === 'blind').length);
    const inside = run.blind.filter((b) => Math.abs(b.found - (b.truth ?? Number.NaN)) <= b.expanded).length;
    expect(inside / run.blind.length).toBeGreaterThan(0.85);
    const rms = Math.sqrt(run.blind.reduce((sum, b) => sum + ((b.found - (b.truth ?? 0)) / b.u) ** 2, 0) / run.blind.length);
    expect(rms).toBeGreaterThan(0.8);
    expect(rms).toBeLessThan(1.2);
    const unshifted = reducedSet({ of: blindPlan });
    expect(linesOfRun(run).map((c) => c.deadTime.value)).toEqual(linesOfRun(unshifted).map((c) => c.deadTime.value));
    // The estimates move by the shifts and by nothing else.
    run.blind.forEach((b, i) => expect(b.found - (unshifted.blind[i]?.found ?? 0)).toBeCloseTo(b.truth ?? Number.NaN, 7));
    expect(blindSentences(run.blind)[0]).toBe(`${run.blind.length} blind shifts: ${inside} inside their 95 % intervals (${((100 * inside) / run.blind.length).toFixed(0)} %).`);
  });

  it('RED-115 sealed windows are counted apart, and say nothing of shares', () => {
    const { blind } = reducedSet({ of: blindPlan, shift });
    const sealed = blind.slice(0, 3).map((b) => ({ ...b, truth: null }));
    expect(blindSentences(sealed)).toEqual([expect.stringMatching(/^3 blind windows are sealed/)]);
    expect(blindSentences([...sealed, ...blind.slice(3, 5)])).toEqual([expect.stringMatching(/^2 blind shifts: \d inside/), expect.stringMatching(/^3 blind windows are sealed/)]);
    expect(blindSentences(blind)).toHaveLength(1);
    expect(blindSentences([])).toEqual(['The run has no blind window that counts: its plan has none, or none was accepted.']);
  });

  it('RED-115 windows that repeat worse than is stated show in the spread', () => {
    const run = reducedSet({ of: blindPlan, shift, scatterTimes: 3 });
    const rms = Math.sqrt(run.blind.reduce((sum, b) => sum + ((b.found - (b.truth ?? 0)) / b.u) ** 2, 0) / run.blind.length);
    expect(rms).toBeGreaterThan(2);
  });
});
