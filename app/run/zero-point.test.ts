import { describe, expect, it } from 'vitest';
import { ScriptedBench, TestRun, testPlan } from './scripted-bench.test-helper.ts';
import { IdleTime } from './idle-time.ts';
import type { WindowSummary } from './window.ts';

const ended = (run: TestRun): boolean => run.mode === 'ended';
const zeroPlan = (changes: Record<string, unknown> = {}) => testPlan({ zero: { windowS: 6, settleS: 0.5 }, ...changes });

/** Windows of the zero points that count, in their order. */
function zeroWindows(run: TestRun): readonly WindowSummary[] {
  return run.points.flatMap((point) => {
    const record = run.engine.state.points[point.index];
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
    expect(first?.criteria.map(({ rule }) => rule)).toEqual(['RUN-61', 'RUN-62', 'RUN-63', 'RUN-64', 'RUN-65', 'RUN-66', 'RUN-68', 'RUN-105', 'RUN-106']);
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
    const pairs = run.points.filter(({ role }) => role === 'pair').map(({ index }) => run.engine.state.points[index]?.attempts[0]?.window?.edges ?? 0);
    expect(pairs.every((edges) => edges >= 45 && edges < 60)).toBe(true);
    expect(pairs).toHaveLength(2);
  });
});

describe('idle time', () => {
  it('RUN-104 counts between frames, after the rest, and not while anything is driven', () => {
    const bench = new ScriptedBench();
    bench.leak = 10;
    const idle = new IdleTime(1);
    const pass = (frames: number, quiet: boolean) => {
      for (let n = 0; n < frames; n += 1) idle.add(bench.pass(true), quiet);
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
