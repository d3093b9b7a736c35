import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { seconds } from '../quantities/quantity.ts';
import { IdleTime } from './idle-time.ts';
import { leakOfDecay } from '../reduce/pressure-decay.ts';
import type { PressureDecay } from '../journal/measured.ts';
import { ScriptedBench, TestRun, testCapabilities, testEquipment, testPlan } from './scripted-bench.test-helper.ts';
import type { WindowSummary } from '../journal/measured.ts';

const ended = (run: TestRun): boolean => run.mode === 'ended';
const zeroPlan = (changes: Record<string, unknown> = {}) => testPlan({ zero: { windowS: 6, settleS: 0.5 }, ...changes });

/** Windows of the zero points that count, in their order. */
function zeroWindows(run: TestRun): readonly WindowSummary[] {
  return run.points.flatMap((point) => {
    const record = run.engine.state.points.at(point.index);
    const window = point.role === 'zero' ? record?.attempts.find((a) => a.attempt === record.chosen)?.window : null;
    return window == null ? [] : [window];
  });
}

describe('zero points', () => {
  it('RUN-100 RUN-101 RUN-103 RUN-105 nothing is driven, and no edge in the window is a finding', () => {
    const run = new TestRun({ plan: zeroPlan() }).start();
    expect(run.runUntil(ended)).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
    const windows = zeroWindows(run);
    expect(windows).toHaveLength(3);
    for (const window of windows) {
      expect(window).toMatchObject({ edges: 0, pulses: 0, partRates: [0, 0], firstEdgeAt: window.from, lastEdgeAt: window.from });
      expect(window.to - window.from).toBeGreaterThanOrEqual(6 - 1e-9);
    }
    const bursts = run.bench.requests.filter(({ kind }) => kind === 'burst').length;
    // Proof, and purge and measurement of eight points: a zero point asks for none.
    expect(bursts).toBe(1 + 2 * 8);
    const [first] = run.events('attempt-ended');
    expect(first?.criteria.map(({ rule }) => rule)).toEqual(['RUN-61', 'RUN-62', 'RUN-63', 'RUN-64', 'RUN-65', 'RUN-66', 'RUN-68', 'RUN-105', 'RUN-106', 'RUN-162']);
    const steps = run.events('step').filter((e) => e.point === 0).map((e) => e.step);
    expect(steps).toEqual(['supply', 'condition', 'settle', 'measure']);
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-103 a leak shows as edges over the time of the window', () => {
    const run = new TestRun({ plan: zeroPlan() });
    run.bench.leak = 3.3;
    run.start().runUntil(ended);
    for (const window of zeroWindows(run)) {
      const time = window.to - window.from;
      expect(Math.abs(window.edges - 3.3 * time)).toBeLessThan(1);
      expect(window.firstEdgeAt).toBeGreaterThanOrEqual(window.from);
      expect((window.edges - 1) / (window.lastEdgeAt - window.firstEdgeAt)).toBeCloseTo(3.3, 6);
    }
  });

  it('RUN-101 RUN-106 what fills the rail after pulses is rested for; a flow that dies away in the window is measured again', () => {
    const run = new TestRun({ plan: zeroPlan() });
    run.bench.leak = 20;
    run.start();
    const inWindow = (r: TestRun) => r.engine.state.current?.step === 'measure';
    run.runUntil(inWindow);
    run.runUntil(() => false, 2);
    run.bench.leak = 0;
    run.runUntil(ended);
    const [first, second] = run.events('attempt-ended');
    expect(first).toMatchObject({ point: 0, verdict: 'rejected' });
    expect(first?.criteria.filter(({ passed }) => !passed).map(({ rule }) => rule)).toEqual(['RUN-106']);
    expect(second).toMatchObject({ point: 0, verdict: 'accepted', window: { edges: 0 } });
  });

  it('RUN-102 pulses in a zero point trip', () => {
    const run = new TestRun({ plan: zeroPlan() }).start();
    run.runUntil((r) => r.engine.state.current?.step === 'measure');
    run.bench.burst = { ...run.bench.burst, number: run.bench.burst.number + 1, active: true, commanded: 100, done: 0, exact: 0 };
    run.runUntil((r) => r.mode === 'tripped', 3);
    expect(run.events('tripped')[0]?.guard).toBe('unexpected-pulses');
  });

  it('a controller whose clock stands still ends the attempt', () => {
    const run = new TestRun({ plan: zeroPlan() }).start();
    run.runUntil((r) => r.engine.state.current?.step === 'measure');
    const pass = run.bench.pass.bind(run.bench);
    const { at } = pass(true);
    run.bench.pass = (linked) => ({ ...pass(linked), at });
    run.runUntil((r) => r.events('attempt-ended').length > 0, 30);
    expect(run.events('attempt-ended')[0]).toMatchObject({ verdict: 'rejected', window: null });
  });

  it('PLAN-44 a period pair needs half of the edges', () => {
    const run = new TestRun({ plan: testPlan({ pair: { windows: 1 }, window: { minEdges: 90, minS: 0.5, maxS: 2 } }), bench: new ScriptedBench() }).start();
    // At twice the period half as much flows.
    run.runUntil((r) => {
      const { current } = r.engine.state;
      r.bench.flow = current !== null && r.points[current.point]?.role === 'pair' ? 30 : 60;
      return ended(r);
    });
    expect(run.engine.state.ending).toBe('complete');
    const pairs = run.points.filter(({ role }) => role === 'pair').map(({ index }) => run.engine.state.points.at(index)?.attempts[0]?.window?.edges ?? 0);
    expect(pairs.every((edges) => edges >= 45 && edges < 60)).toBe(true);
    expect(pairs).toHaveLength(2);
  });
});

describe('idle time', () => {
  it('RUN-104 counts between frames, after the rest, and not while anything is driven', () => {
    const bench = new ScriptedBench();
    bench.leak = 10;
    const idle = new IdleTime(1);
    let before: BenchFrame | null = null;
    const pass = (frames: number, quiet: boolean) => {
      for (let n = 0; n < frames; n += 1) {
        const frame = bench.pass(true);
        idle.add(frame, before, quiet);
        before = frame;
      }
    };
    pass(200, false);
    expect(idle.take()).toBeNull();
    pass(20, true);
    expect(idle.take()).toBeNull();
    pass(41, true);
    const { edges, time } = idle.take() ?? { edges: -1, time: -1 };
    expect(Math.abs(time - 2)).toBeLessThan(0.11);
    expect(Math.abs(edges - 20)).toBeLessThanOrEqual(1);
    // A train that came and went between two frames.
    bench.burst.number += 1;
    pass(20, true);
    expect(idle.take()).toBeNull();
    bench.burst.active = true;
    bench.burst.commanded = 1e9;
    pass(100, true);
    expect(idle.take()).toBeNull();
  });

  /** Frames a second apart, one edge in each; `quiet` of each, and what is told after the last. */
  const taken = (quiet: readonly boolean[], change: (n: number) => Partial<BenchFrame> = () => ({}), rest = 2): ReturnType<IdleTime['take']> => {
    const idle = new IdleTime(rest);
    const { burst } = new ScriptedBench().pass(true);
    let before: BenchFrame | null = null;
    quiet.forEach((is, n) => {
      const frame = { ...new ScriptedBench().pass(true), at: seconds(n), edges: n, burst, ...change(n) };
      idle.add(frame, before, is);
      before = frame;
    });
    return idle.take();
  };
  const allQuiet = Array.from({ length: 8 }, () => true);

  it('RUN-104 counts from the end of the rest on, which begins with the first frame that is quiet and follows another', () => {
    // The first frame has none before it; the second begins the rest, which the fourth ends.
    expect(taken(allQuiet)).toEqual({ edges: 4, time: 4 });
    expect(taken(allQuiet.slice(0, 4))).toBeNull();
    expect(taken(allQuiet.slice(0, 5))).toEqual({ edges: 1, time: 1 });
    expect(taken(allQuiet, undefined, 2.5)).toEqual({ edges: 3, time: 3 });
    // Not quiet in the fourth: the rest begins anew with the fifth.
    expect(taken([true, true, true, false, ...allQuiet])).toEqual({ edges: 5, time: 5 });
  });

  it('RUN-104 a burst, one that came and went, and another controller life each begin the rest anew', () => {
    const { burst } = new ScriptedBench().pass(true);
    expect(taken(allQuiet, (n) => (n === 3 ? { burst: { ...burst, active: true } } : {}))).toEqual({ edges: 1, time: 1 });
    expect(taken(allQuiet, (n) => (n >= 3 ? { burst: { ...burst, number: 1 } } : {}))).toEqual({ edges: 1, time: 1 });
    expect(taken(allQuiet, (n) => (n >= 3 ? { bootId: 'boot-2' } : {}))).toEqual({ edges: 1, time: 1 });
  });

  it('RUN-104 what was told is not told again, and goes on without another rest', () => {
    const idle = new IdleTime(0);
    const { burst } = new ScriptedBench().pass(true);
    let before: BenchFrame | null = null;
    const add = (n: number) => {
      const frame = { ...new ScriptedBench().pass(true), at: seconds(n), edges: 2 * n, burst };
      idle.add(frame, before, true);
      before = frame;
    };
    [0, 1, 2].forEach(add);
    expect(idle.take()).toEqual({ edges: 2, time: 1 });
    expect(idle.take()).toBeNull();
    add(5);
    expect(idle.take()).toEqual({ edges: 6, time: 3 });
  });

  it('RUN-104 stands in the attempts of a run, sums to its waits, and leaves zero windows out', () => {
    const run = new TestRun({ plan: zeroPlan({ zero: { windowS: 6, settleS: 1 } }) });
    run.bench.leak = 4;
    run.start();
    // The fluid is too cold for a while, so that the run waits with all injectors shut.
    for (const point of [3, 6]) {
      run.runUntil((r) => r.engine.state.current?.point === point);
      run.bench.temperature = 14;
      run.runUntil(() => false, 2.5);
      run.bench.temperature = 21;
    }
    run.runUntil(ended);
    const windows = run.events('attempt-ended').flatMap(({ window }) => (window === null ? [] : [window]));
    const sum = windows.reduce((all, { idle }) => ({ edges: all.edges + (idle?.edges ?? 0), time: all.time + (idle?.time ?? 0) }), { edges: 0, time: 0 });
    // Two waits of 2.5 s and what follows them, each less 1 s; the windows of 6 s would be 18 s more.
    expect(sum.time).toBeGreaterThan(1.5);
    expect(sum.time).toBeLessThan(8);
    expect(Math.abs(sum.edges - 4 * sum.time)).toBeLessThan(4);
  });
});

describe('pressure decay', () => {
  const rail = { pump: true, relief: true, shutOff: true };
  const silent = { equipment: { ...testEquipment, meter: { ...testEquipment.meter, leastHertz: 2 }, rail: { complianceMlPerMpa: 75, complianceUncertaintyPercent: 4, volumeMl: 50 } } };
  const bench = () => new ScriptedBench({ ...testCapabilities, rail });
  const decayPlan = (changes: Record<string, unknown> = {}) => zeroPlan({ zero: { windowS: 4, settleS: 0.5, decayS: 5 }, ...changes });

  it('RUN-107 shuts the rail off after the window of a zero point, watches its pressure, and opens it again', () => {
    const run = new TestRun({ plan: decayPlan(), bench: bench(), ...silent });
    run.bench.falling = 40;
    run.start().runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
    const windows = zeroWindows(run);
    expect(windows).toHaveLength(3);
    for (const { decay, to } of windows) {
      expect(decay?.slope).toBeCloseTo(-40, 6);
      expect(decay?.from).toBeGreaterThanOrEqual(to + 0.5 - 1e-9);
      expect((decay?.to ?? 0) - (decay?.from ?? 0)).toBeGreaterThanOrEqual(5 - 1e-9);
    }
    const valve = run.bench.requests.flatMap((r) => (r.kind === 'shut-off' ? [r.shut] : []));
    // The last one is opened on the way to safe.
    expect(valve).toEqual([true, false, true, false, true]);
    expect(run.bench.shut).toBe(false);
    // 40 Pa/s of 75 mL/MPa are 0.003 mL/s.
    expect(run.events('attempt-ended')[0]?.text).toMatch(/a leak of 0\.180 \+\/- 0\.014 mL\/min \(k = 2\)\./);
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-107 not where the meter sees every flow, where the rail cannot be shut off, or where the plan does without', () => {
    const asked = (setup: ConstructorParameters<typeof TestRun>[0]) => {
      const run = new TestRun(setup).start();
      run.runUntil(ended);
      return run.bench.requests.some(({ kind }) => kind === 'shut-off');
    };
    expect(asked({ plan: decayPlan(), bench: bench(), ...silent })).toBe(true);
    expect(asked({ plan: decayPlan(), bench: bench() })).toBe(false);
    expect(asked({ plan: decayPlan(), ...silent })).toBe(false);
    expect(asked({ plan: decayPlan({ zero: { windowS: 4, settleS: 0.5, decayS: 0 } }), bench: bench(), ...silent })).toBe(false);
  });

  it('RUN-107 a large leak ends it early; a valve that is refused leaves the window as it is; a pause opens the rail', () => {
    const fast = new TestRun({ plan: decayPlan(), bench: bench(), ...silent });
    fast.bench.falling = 5000;
    fast.start().runUntil((r) => r.events('attempt-ended').length > 0, 60);
    const { decay } = fast.events('attempt-ended')[0]?.window ?? {};
    expect((decay?.to ?? 0) - (decay?.from ?? 0)).toBeLessThan(1.2);
    expect(decay?.slope).toBeCloseTo(-5000, 3);

    const refusing = new TestRun({ plan: decayPlan(), bench: bench(), ...silent });
    refusing.bench.answer = (request) => (request.kind === 'shut-off' ? { kind: 'refused', code: 'range', text: 'no' } : undefined);
    refusing.start().runUntil(ended);
    expect(refusing.engine.state.ending).toBe('complete');
    expect(zeroWindows(refusing).every((window) => window.decay === undefined)).toBe(true);

    const paused = new TestRun({ plan: decayPlan(), bench: bench(), ...silent }).start();
    paused.runUntil((r) => r.bench.shut, 60);
    paused.runUntil(() => false, 2);
    paused.command({ kind: 'pause-now' });
    paused.runUntil((r) => r.mode === 'paused', 20);
    expect(paused.bench.shut).toBe(false);
    paused.command({ kind: 'resume' });
    paused.runUntil(ended);
    expect(paused.engine.state.ending).toBe('complete');
    // What was seen before the pause belongs to no other attempt.
    expect(paused.events('attempt-ended').filter(({ window }) => window?.decay !== undefined).every(({ point }) => paused.points[point]?.role === 'zero')).toBe(true);
  });

  it('RUN-107 fluid that warms hides a leak, and the thermal term finds it', () => {
    const base = { from: 0, to: 20, frames: 400, pressure: 400e3, railTemperature: 293.5, slope: -10, uSlope: 0.5, warming: 0, uWarming: 1e-4 };
    const leak = (changes: Partial<typeof base>) => leakOfDecay({ ...base, ...changes } as PressureDecay, silent.equipment);
    const still = leak({});
    expect(still?.leak).toBeCloseTo(7.5e-10, 14);
    // dp/dt of a V / C dT/dt with a = 1.25e-3 1/K (n-heptane at 20 degC): 0.83 Pa/s for 1 mK/s.
    const warming = leak({ slope: -10 + 8.3, warming: 0.01 });
    expect(Math.abs((warming?.leak ?? 0) / 7.5e-10 - 1)).toBeLessThan(0.03);
    expect(warming?.u).toBeGreaterThan(still?.u ?? 0);
    expect(leakOfDecay(base as PressureDecay, { ...silent.equipment, rail: undefined })).toBeNull();
  });
});
