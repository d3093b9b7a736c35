import { describe, expect, it } from 'vitest';
import type { Plan } from '../plan/plan.ts';
import { milliseconds } from '../quantities/quantity.ts';
import type { ScheduleDecision } from '../schedule/schedule.ts';
import { TestRun, testPlan, type ScriptedBench } from './scripted-bench.test-helper.ts';

const targets: NonNullable<Plan['targets']> = { deadTimeUs: 5, atVoltage: [], hours: 10, attemptsPerCell: 30, known: [] };
const wanting = (): TestRun => new TestRun({ plan: { ...testPlan(), targets, zero: { ...testPlan().zero, windowS: 0 } } });

/** Measure points of these injectors, one after the other. */
function adding(run: TestRun, injectors: readonly number[], why = 'not known well enough'): ScheduleDecision {
  const { axes, injectors: all } = run.plan;
  return {
    text: '',
    additions: [{
      rule: 'SCH-7',
      why,
      points: injectors.map((injector, replicate) => ({ role: 'measure', injector, channel: all[injector]?.channel ?? 0, voltage: (axes.voltageV[0] ?? 0) as never, pressure: ((axes.pressureKpa[0] ?? 0) * 1e3) as never, width: milliseconds(8), period: milliseconds(axes.periodMs[0] ?? 20), replicate })),
    }],
  };
}
const nothing: ScheduleDecision = { additions: [], text: 'All 2 cells are known as well as was wanted.' };

const give = (run: TestRun, decision: ScheduleDecision, number = run.engine.awaitsDecision ?? 0) => run.step({ kind: 'decision', now: run.bench.time, number, decided: { ok: true, decision } });

/** Started, and at its first decision. */
function asked(): TestRun {
  const run = wanting().start();
  if (!run.runUntil(({ engine }) => engine.awaitsDecision !== null)) throw new Error('nothing was asked');
  return run;
}

/** Waits for the pause, goes on after a rest, and waits for what is asked then. */
function restAndResume(run: TestRun): void {
  expect(run.runUntil((one) => one.mode === 'paused')).toBe(true);
  run.runUntil(() => false, 3);
  run.command({ kind: 'resume' });
  expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
}

describe('a run of a plan with targets', () => {
  it('RUN-231 waits for its schedule with nothing driven, measures what it adds, asks anew, and ends with what it says', () => {
    const run = asked();
    expect(run.mode).toBe('measuring');
    expect(run.engine.state.current).toBeNull();
    expect(run.bench.burst.active).toBe(false);
    expect(run.engine.status(run.bench.time).waitingFor?.text).toContain('what is measured next');
    give(run, adding(run, [0, 1]));
    expect(run.events('points-added')).toMatchObject([{ by: { rule: 'SCH-7' }, why: 'not known well enough', points: [{ injector: 0 }, { injector: 1 }] }]);
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
    expect(run.engine.state.counts.accepted).toBe(run.engine.state.setPoints.length);
    give(run, nothing);
    expect(run.runUntil((one) => one.mode === 'ended')).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('making-safe').at(-1)?.why).toContain('known as well as was wanted');
    expect(run.refold()).toEqual(run.engine.state);
  });

  it('RUN-231 minds no decision that nobody waits for any more', () => {
    const run = asked();
    const number = run.engine.awaitsDecision ?? 0;
    expect(give(run, adding(run, [0]), number + 1).ignored).toContain('not waited for');
    run.command({ kind: 'pause-now' });
    expect(run.engine.awaitsDecision).toBeNull();
    expect(give(run, adding(run, [0]), number).ignored).toContain('not waited for');
    expect(run.events('points-added')).toEqual([]);
    restAndResume(run);
    expect(run.engine.awaitsDecision).not.toBe(number);
    give(run, nothing);
    expect(run.runUntil((one) => one.mode === 'ended')).toBe(true);
  });

  it('RUN-231 is asked again by another host after the death of one, and finishes early without an answer', () => {
    const run = asked();
    run.restartHost();
    restAndResume(run);
    give(run, adding(run, [0]));
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
    run.command({ kind: 'finish-early' });
    give(run, nothing);
    expect(run.runUntil((one) => one.mode === 'ended')).toBe(true);
  });

  it('RUN-231 calls a person when no decision comes', () => {
    const run = asked();
    expect(run.runUntil((one) => one.mode === 'paused', 90)).toBe(true);
    expect(run.events('paused').at(-1)?.guard).toBe('schedule');
  });

  it('RUN-235 calls a person with the reason when a decision cannot be made, and has it made again when resumed', () => {
    const run = asked();
    const number = run.engine.awaitsDecision ?? 0;
    expect(run.step({ kind: 'decision', now: run.bench.time, number, decided: { ok: false, text: 'The archive cannot be read.' } }).ignored).toBeNull();
    expect(run.runUntil((one) => one.mode === 'paused', 5)).toBe(true);
    expect(run.events('paused').at(-1)).toMatchObject({ guard: 'schedule', text: expect.stringContaining('The archive cannot be read. Resume') as string });
    expect(run.events('points-added')).toEqual([]);
    run.runUntil(() => false, 3);
    run.command({ kind: 'resume' });
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
    // A decision that comes too late is asked for anew; why the one before could not be made is of no concern any more.
    const late = run.engine.awaitsDecision ?? 0;
    expect(run.command({ kind: 'change-target', voltageV: null, deadTimeUs: 9 }).answer?.accepted).toBe(true);
    expect(give(run, nothing, late).ignored).toBeNull();
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null && engine.awaitsDecision !== late, 2)).toBe(true);
    expect(run.mode).toBe('measuring');
    give(run, nothing);
    expect(run.runUntil((one) => one.mode === 'ended')).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.refold()).toEqual(run.engine.state);
  });

  it('RUN-236 a pause at the next point is one where nothing is decided yet: the run does not take it for its end', () => {
    const run = asked();
    give(run, adding(run, [0]));
    // The point that was added is the last of what was decided, and is being measured.
    expect(run.runUntil(({ engine }) => engine.state.current !== null)).toBe(true);
    run.command({ kind: 'pause-at-next-point' });
    expect(run.runUntil((one) => one.mode === 'paused' || one.mode === 'ended')).toBe(true);
    expect(run.mode).toBe('paused');
    expect(run.events('second-pass-started')).toEqual([]);
    run.runUntil(() => false, 3);
    run.command({ kind: 'resume' });
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
    give(run, nothing);
    expect(run.runUntil((one) => one.mode === 'ended')).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-237 a decision is asked for anew when something was written since it was asked for', () => {
    const run = asked();
    const number = run.engine.awaitsDecision ?? 0;
    expect(run.command({ kind: 'change-target', voltageV: null, deadTimeUs: 9 }).answer?.accepted).toBe(true);
    expect(give(run, nothing, number).ignored).toBeNull();
    run.runUntil(() => false, 0.2);
    expect(run.mode).toBe('measuring');
    expect(run.engine.awaitsDecision).not.toBe(number);
    expect(run.engine.awaitsDecision).not.toBeNull();
    give(run, adding(run, [0]));
    expect(run.events('points-added').length).toBe(1);
  });

  it('RUN-238 a target is raised or lowered by a person until the run has ended, and stands in the plan of the run', () => {
    const run = asked();
    const change = (voltageV: number | null, deadTimeUs: number) => run.command({ kind: 'change-target', voltageV, deadTimeUs }).answer;
    const [first = 0] = run.plan.axes.voltageV;
    expect(change(null, 5)).toMatchObject({ accepted: false, reason: 'That is what is wanted there already.' });
    expect(change(99, 4)).toMatchObject({ accepted: false, reason: 'Nothing is measured at 99 V.' });
    expect(change(first, 4)?.accepted).toBe(true);
    expect(run.engine.state.plan.targets).toEqual({ ...targets, atVoltage: [{ voltageV: first, deadTimeUs: 4 }] });
    expect(change(first, 3)?.accepted).toBe(true);
    expect(run.engine.state.plan.targets?.atVoltage).toEqual([{ voltageV: first, deadTimeUs: 3 }]);
    expect(change(null, 8)?.accepted).toBe(true);
    expect(run.engine.state.plan.targets).toEqual({ ...targets, deadTimeUs: 8 });
    expect(run.events('target-changed')).toMatchObject([{ voltageV: first, deadTimeUs: 4, before: 5 }, { deadTimeUs: 3, before: 4 }, { voltageV: null, deadTimeUs: 8, before: run.plan.axes.voltageV.length > 1 ? null : 3 }]);
    run.command({ kind: 'abort' });
    expect(run.runUntil((one) => one.mode === 'ended')).toBe(true);
    expect(change(null, 2)?.accepted).toBe(false);
    expect(run.refold()).toEqual(run.engine.state);
    expect(new TestRun({ plan: testPlan() }).command({ kind: 'change-target', voltageV: null, deadTimeUs: 2 }).answer?.reason).toContain('states no targets');
  });

  it('RUN-238 so is a target of the cells of a map, at one of its voltages or at each', () => {
    const map = { voltageV: [10, 11, 12], pressureKpa: [350], deadTimeUs: 6 };
    const run = new TestRun({ plan: { ...testPlan(), targets: { ...targets, deadTimeUs: undefined, map }, zero: { ...testPlan().zero, windowS: 0 } } }).start();
    const change = (voltageV: number | null, deadTimeUs: number) => run.command({ kind: 'change-target', voltageV, deadTimeUs, ofMap: true }).answer;
    expect(change(11, 6)).toMatchObject({ accepted: false, reason: 'That is what is wanted there already.' });
    expect(change(14, 6)).toMatchObject({ accepted: false, reason: '14 V is none of the voltages of the map.' });
    expect(change(11, 4)?.accepted).toBe(true);
    expect(run.engine.state.plan.targets?.map).toEqual({ ...map, atVoltage: [{ voltageV: 11, deadTimeUs: 4 }] });
    expect(change(null, 9)?.accepted).toBe(true);
    expect(run.engine.state.plan.targets?.map).toEqual({ ...map, deadTimeUs: 9, atVoltage: [] });
    expect(run.events('target-changed')).toMatchObject([{ voltageV: 11, deadTimeUs: 4, before: 6, ofMap: true }, { voltageV: null, deadTimeUs: 9, before: null, ofMap: true }]);
    // Of measured cells nothing was wanted before.
    expect(run.command({ kind: 'change-target', voltageV: null, deadTimeUs: 7 }).answer?.accepted).toBe(true);
    expect(run.events('target-changed').at(-1)).toMatchObject({ deadTimeUs: 7, before: null });
    expect(run.refold()).toEqual(run.engine.state);
    const without = wanting().start();
    expect(without.command({ kind: 'change-target', voltageV: null, deadTimeUs: 2, ofMap: true }).answer?.reason).toBe('The plan wants no map.');
  });

  it('RUN-230 purges where the injector changes, and after a rest', () => {
    const run = asked();
    give(run, adding(run, [0, 0, 1, 1, 0]));
    const first = run.engine.state.setPoints.length - 5;
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
    const purged = () => run.events('step').filter((s) => s.step === 'purge' && s.point >= first).map((s) => s.point - first);
    expect(purged()).toEqual([0, 2, 4]);
    run.command({ kind: 'pause-now' });
    restAndResume(run);
    give(run, adding(run, [0]));
    expect(run.runUntil(({ engine }) => engine.awaitsDecision !== null)).toBe(true);
    expect(purged()).toEqual([0, 2, 4, 5]);
  });

  it('RUN-240 PLAN-110 a grid that says so purges where the injector changes, and after a rest', () => {
    const plan = testPlan();
    const run = new TestRun({ plan: { ...plan, purge: { ...plan.purge, when: 'injector-changes' } } }).start();
    expect(run.runUntil(({ engine }) => engine.state.counts.accepted === 4, 3000)).toBe(true);
    run.command({ kind: 'pause-at-next-point' });
    expect(run.runUntil((one) => one.mode === 'paused')).toBe(true);
    run.runUntil(() => false, 3);
    run.command({ kind: 'resume' });
    expect(run.runUntil((one) => one.mode === 'ended', 3000)).toBe(true);
    const wanted: number[] = [];
    let [driven, others] = [0, 0];
    for (const event of run.journal) {
      if (event.kind === 'paused') driven = 0;
      const at = event.kind === 'attempt-started' ? run.points[event.point] : undefined;
      if (at === undefined || at.role === 'zero') continue;
      if (at.role !== 'look' && at.channel !== driven) wanted.push(at.index);
      else if (at.role !== 'look') others += 1;
      driven = at.channel;
    }
    expect(wanted.length).toBeGreaterThan(2);
    expect(others).toBeGreaterThan(2);
    expect(run.events('step').filter((s) => s.step === 'purge').map((s) => s.point)).toEqual(wanted);
  });

  it.each([
    ['nothing flows', 'settle', (bench: ScriptedBench, on: boolean): void => { bench.meterSilent = on; }],
    ['the pressure is off', 'measure', (bench: ScriptedBench, on: boolean): void => { bench.pressureOffset = on ? 7 : 0; }],
  ] as const)('RUN-241 purges again where the last attempt of an injector was not accepted: %s', (_, from, spoil) => {
    const plan = testPlan();
    const run = new TestRun({ plan: { ...plan, purge: { ...plan.purge, when: 'injector-changes' } } }).start();
    // The second window of an injector, without a purge: its coil is driven and nothing flows.
    const second = run.points.find((p, i) => p.role === 'measure' && run.points[i - 1]?.channel === p.channel)?.index ?? -1;
    const steps = () => run.events('step').filter((s) => s.point === second).map((s) => s.step);
    expect(run.runUntil(() => steps().includes(from), 3000)).toBe(true);
    expect(steps()).not.toContain('purge');
    spoil(run.bench, true);
    expect(run.runUntil(() => run.events('attempt-ended').some((a) => a.point === second), 3000)).toBe(true);
    spoil(run.bench, false);
    expect(run.events('attempt-ended').at(-1)).toMatchObject({ point: second, verdict: 'rejected' });
    expect(run.runUntil(() => run.events('attempt-ended').filter((a) => a.point === second).length === 2, 3000)).toBe(true);
    expect(steps().filter((step) => step === 'purge')).toHaveLength(1);
  });

  it('RUN-230 a grid purges before every window, as ever', () => {
    const run = new TestRun({ plan: testPlan() }).start();
    expect(run.runUntil((one) => one.mode === 'ended', 3000)).toBe(true);
    expect(run.events('step').filter((s) => s.step === 'purge').length).toBe(run.events('attempt-started').length - run.events('attempt-started').filter(({ point }) => ['look', 'zero'].includes(run.points[point]?.role ?? '')).length);
  });
});
