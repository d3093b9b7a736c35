/** What a run does by itself, and when it waits for a person: RUN-160 to RUN-169. */
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { celsius, pascals, seconds } from '../quantities/quantity.ts';
import { ScriptedBench, TestRun, testPlan } from './scripted-bench.test-helper.ts';

const inMode = (mode: string) => (run: TestRun): boolean => run.mode === mode;
const inStep = (step: string) => (run: TestRun): boolean => run.engine.state.current?.step === step;
const accepted = (n: number) => (run: TestRun): boolean => run.engine.state.counts.accepted >= n;
const atRest = (run: TestRun): boolean => ['paused', 'tripped', 'ended'].includes(run.mode);

/** From the second accepted attempt on, once a window is open, the controller says `tell`. */
function toldInAWindow(tell: (frame: BenchFrame, nth: number) => BenchFrame, plan = testPlan()): TestRun {
  const run = new TestRun({ plan }).start();
  run.runUntil(accepted(2));
  run.runUntil(inStep('measure'));
  let nth = 0;
  run.bench.tell = (frame) => tell(frame, (nth += 1));
  return run;
}

describe('telemetry that cannot be', () => {
  it.each<[string, (frame: BenchFrame, nth: number) => BenchFrame, string]>([
    ['clock-back', (f) => ({ ...f, at: seconds(f.at - 2), lastEdgeAt: seconds(f.lastEdgeAt - 2) }), 'its clock says'],
    ['clock-ahead', (f) => ({ ...f, at: seconds(f.at + 0.2), lastEdgeAt: seconds(f.lastEdgeAt + 0.2) }), 'its clock went on by 0.250 s over 1 frames'],
    ['edges-back', (f) => ({ ...f, edges: f.edges - 10 }), 'fell from'],
    ['edge-time-back', (f) => ({ ...f, lastEdgeAt: seconds(f.lastEdgeAt - 1) }), 'went back from'],
    ['edge-time-ahead', (f) => ({ ...f, lastEdgeAt: seconds(f.at + 5) }), 'is said to be of'],
    ['pulses-back', (f) => ({ ...f, burst: { ...f.burst, done: Math.floor(f.burst.done / 2) } }), 'count of pulses fell'],
  ])('RUN-160 %s rejects the attempt with its own reason, once', (what, tell, words) => {
    const run = toldInAWindow(tell);
    run.runUntil((r) => r.events('attempt-ended').length === 3);
    const ended = run.events('attempt-ended')[2];
    expect(ended).toMatchObject({ verdict: 'rejected', window: null, cause: `telemetry-${what}` });
    expect(ended?.text).toContain(words);
  });

  it('RUN-160 edges that come at one time', () => {
    let before: BenchFrame | null = null;
    const run = toldInAWindow((f) => {
      const told = { ...f, lastEdgeAt: before?.lastEdgeAt ?? f.lastEdgeAt };
      before = told;
      return told;
    });
    run.runUntil((r) => r.events('attempt-ended').length === 3);
    expect(run.events('attempt-ended')[2]?.cause).toBe('telemetry-edge-time-stands');
  });

  it('RUN-160 one step costs one attempt, and the point is measured again', () => {
    const run = toldInAWindow((f, nth) => (nth === 5 ? { ...f, edges: f.edges - 10 } : f));
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('attempt-ended').filter((e) => e.verdict === 'rejected')).toHaveLength(1);
  });

  it('RUN-161 in the proof it holds, and the run goes on when it is over', () => {
    const run = new TestRun().start();
    run.runUntil((r) => r.bench.burst.active);
    run.bench.tell = (f) => ({ ...f, at: seconds(f.at - 3) });
    run.runUntil(inMode('held'));
    expect(run.events('held')[0]?.guard).toBe('telemetry-impossible');
    run.bench.tell = (f) => f;
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-162 more frames than were asked for reject the window', () => {
    const run = new TestRun({ plan: testPlan({ link: { telemetryHz: 10 } }) }).start();
    // 10 frames a second were asked for; the bench sends 20.
    run.runUntil((r) => r.events('attempt-ended').length === 1);
    expect(run.events('attempt-ended')[0]).toMatchObject({ verdict: 'rejected', cause: 'RUN-162' });
    expect(run.events('attempt-ended')[0]?.text).toContain('12 telemetry frames in the window, at most 11 allowed');
  });
});

describe('RUN-163 readings that stand while an injector is pulsed', () => {
  /** A bench whose readings have noise of a few digits of the given size. */
  function noisy(digit: { readonly pascals: number; readonly kelvins: number }, stands: (run: TestRun) => readonly ('pressure' | 'rail' | 'meter')[]): TestRun {
    const bench = new ScriptedBench();
    const run = new TestRun({ bench, plan: testPlan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 5 } }) });
    let seed = 1;
    const chance = (): number => {
      seed = (seed * 16_807) % 2_147_483_647;
      return seed / 2_147_483_647;
    };
    const last = { pressure: 0, rail: 0, meter: 0 };
    bench.tell = (f) => {
      const still = stands(run);
      if (!still.includes('pressure')) last.pressure = Math.round((f.pressure + 400 * (chance() - 0.5)) / digit.pascals) * digit.pascals;
      if (!still.includes('rail')) last.rail = Math.round((bench.temperature + 0.02 * (chance() - 0.5)) / digit.kelvins) * digit.kelvins;
      if (!still.includes('meter')) last.meter = Math.round((bench.temperature + 0.02 * (chance() - 0.5)) / digit.kelvins) * digit.kelvins;
      return { ...f, pressure: pascals(last.pressure), railTemperature: celsius(last.rail), meterTemperature: celsius(last.meter) };
    };
    return run.start();
  }

  it.each(['pressure', 'rail', 'meter'] as const)('%s', (which) => {
    const run = noisy({ pascals: 1, kelvins: 0.001 }, (r) => (r.engine.state.counts.accepted >= 20 ? [which] : []));
    run.runUntil(atRest);
    const bad = run.events('attempt-ended').filter((e) => e.verdict === 'rejected');
    expect(bad.map((e) => e.cause)).toEqual(['RUN-163', 'RUN-163', 'RUN-163']);
    expect(bad[0]?.text).toContain('stands at');
    // RUN-165: the bench is at fault, so a person is called and no injector is blamed.
    expect(run.events('paused')).toMatchObject([{ guard: 'same-cause' }]);
    expect(run.events('injector-out')).toEqual([]);
    expect(run.engine.state.counts.accepted).toBeLessThan(24);
  });

  it('readings that are too coarse to move are never judged', () => {
    const run = noisy({ pascals: 1000, kelvins: 0.1 }, () => []);
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('attempt-ended').every((e) => e.verdict === 'accepted')).toBe(true);
  });

  it('nor is a bench without any noise', () => {
    const run = noisy({ pascals: 1, kelvins: 0.001 }, (r) => (r.engine.state.counts.attempts < 1 ? [] : ['pressure', 'rail', 'meter']));
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
  });
});

describe('RUN-164 a host that stood still', () => {
  it.each([
    ['5 s stopped', 5, false], ['180 s stopped', 180, false], ['12 s suspended', 12, true], ['180 s suspended', 180, true],
  ] as const)('%s: paused, safe, and only a person resumes', (_, s, suspended) => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.standStill(s, suspended);
    run.runUntil(inMode('paused'), 20);
    expect(run.mode).toBe('paused');
    expect(run.events('paused')[0]).toMatchObject({ guard: 'host-stood-still' });
    expect(run.bench.armed).toBe(false);
    expect(run.engine.status(run.bench.time).doing).toContain('stood still');
    run.runUntil(() => false, 60);
    expect(run.mode).toBe('paused');
    expect(run.events('resumed')).toEqual([]);
    run.command({ kind: 'resume' });
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
  });

  it.each(['wall clock', 'controller clock'] as const)('suspended, the %s alone tells', (which) => {
    const run = new TestRun().start();
    run.hasWall = which === 'wall clock';
    run.pass();
    run.runUntil(inStep('measure'));
    run.standStill(30, true);
    if (which === 'wall clock') {
      // Bench and host suspended both: the controller's clock stood still with the host's.
      run.suspendedFor -= 30;
      run.bench.time -= 30;
      run.clockSetBy += 30;
    }
    run.runUntil(inMode('paused'), 20);
    expect(run.events('paused')[0]).toMatchObject({ guard: 'host-stood-still' });
  });

  it('a hold turns into a pause', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.link('down');
    run.runUntil(inMode('held'), 60);
    run.standStill(10, false);
    run.pass();
    run.runUntil(inMode('paused'), 60);
    run.link('up');
    run.runUntil(() => false, 30);
    expect(run.mode).toBe('paused');
  });

  it('what the plan allows goes on, and at rest nothing is done', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.standStill(2, false);
    expect(run.runUntil(inMode('ended'))).toBe(true);
    run.standStill(100, true);
    run.pass();
    expect(run.last?.events).toEqual([]);
  });
});

describe('RUN-165 attempts that fail for one cause that no injector explains', () => {
  it('three running pause the run, with the cause; resumed, the count begins anew', () => {
    const run = new TestRun().start();
    run.runUntil(accepted(1));
    run.bench.supplyOffset = 1.5;
    run.runUntil(inMode('paused'));
    expect(run.events('paused')[0]?.text).toContain('3 attempts running were rejected');
    expect(run.events('paused')[0]?.text).toContain('The supply did not come to');
    run.command({ kind: 'resume' });
    run.bench.supplyOffset = 0;
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.engine.state).toEqual(run.refold());
  });

  it('PLAN-63 0: never', () => {
    const run = new TestRun({ plan: testPlan({ byItself: { sameCause: 0 } }) }).start();
    run.runUntil(accepted(1));
    run.bench.supplyOffset = 1.5;
    run.runUntil(atRest);
    expect(run.events('paused')).toEqual([]);
    expect(run.engine.state.ending).toBe('complete-with-failures');
  });
});

describe('RUN-166 a hold that lasts', () => {
  it('becomes a pause after the time of the plan, with the cause', () => {
    const run = new TestRun({ plan: testPlan({ byItself: { holdS: 60 } }) }).start();
    run.runUntil(inStep('measure'));
    run.link('down');
    run.runUntil(inMode('held'), 60);
    const since = run.bench.time;
    run.runUntil(inMode('paused'), 300);
    expect(run.bench.time - since).toBeGreaterThan(60);
    expect(run.events('paused')[0]).toMatchObject({ guard: 'link' });
    expect(run.events('paused')[0]?.text).toContain('longer than 60 s');
    run.link('up');
    run.runUntil(() => false, 60);
    expect(run.mode).toBe('paused');
  });
});

describe('RUN-167 automatic resumes', () => {
  const silences = (run: TestRun): void => {
    run.runUntil(inStep('measure'), 30);
    run.bench.telemetrySilent = true;
    run.runUntil(inMode('making-safe'), 10);
    run.bench.telemetrySilent = false;
    run.runUntil((r) => r.mode === 'measuring' || r.mode === 'tripped', 30);
  };
  /** Three of them, a pause in which time goes by, and what a fourth leads to. */
  const fourthAfter = (s: number, second = silences): TestRun => {
    const run = new TestRun({ plan: testPlan({ byItself: { perHour: 3 } }) }).start();
    for (let n = 0; n < 3; n += 1) silences(run);
    const first = run.bench.time;
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'));
    run.bench.time = first + s;
    run.pass();
    run.command({ kind: 'resume' });
    second(run);
    return run;
  };

  it('are counted over an hour and not over the run', () => {
    const run = fourthAfter(3500);
    expect(run.mode).toBe('tripped');
    expect(run.events('tripped')[0]?.text).toBe('No telemetry for 1.0 s. The run went on by itself 3 times after this within the last hour; it does not any more.');
    expect(fourthAfter(3600).mode).toBe('measuring');
  });

  it('are counted by guard: another cause is none of them', () => {
    const run = fourthAfter(10, (r) => {
      r.runUntil(inStep('measure'), 30);
      r.link('down');
      r.runUntil(inMode('held'), 60);
      r.link('up');
      r.runUntil((one) => one.mode === 'measuring' || one.mode === 'tripped', 60);
    });
    expect(run.mode).toBe('measuring');
  });

  it('do not count what a person resumed', () => {
    const run = new TestRun({ plan: testPlan({ byItself: { perHour: 1 } }) }).start();
    for (let n = 0; n < 2; n += 1) {
      run.runUntil(inStep('measure'), 30);
      run.bench.telemetrySilent = true;
      run.runUntil(inMode('held'), 10);
      run.bench.telemetrySilent = false;
      run.pass();
      expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(true);
    }
    silences(run);
    expect(run.mode).toBe('measuring');
    silences(run);
    expect(run.mode).toBe('tripped');
  });
});

describe('RUN-168 steps of the wall clock', () => {
  it.each([[-3600, 'was set back by 60 min'], [2, 'went on by 2.0 s more']] as const)('%d s is written down', (by, words) => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.clockSetBy += by;
    run.pass();
    expect(run.events('clock-stepped')).toMatchObject([{ by }]);
    expect(run.events('clock-stepped')[0]?.text).toContain(words);
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-164 one forward by more than a standstill may last pauses nothing where the computer counts its sleep', () => {
    const run = new TestRun();
    run.countsSleep = true;
    run.start();
    run.runUntil(inStep('measure'));
    run.clockSetBy += 3600;
    run.pass();
    expect(run.events('clock-stepped')).toMatchObject([{ by: 3600 }]);
    expect(run.events('clock-stepped')[0]?.text).toMatch(/went on by 60 min .*: it was set\.$/);
    expect(run.runUntil(inMode('ended'))).toBe(true);
    expect(run.events('paused')).toEqual([]);
    expect(run.engine.state.ending).toBe('complete');
  });

  it.each([[true, 'the computer was suspended'], [false, 'it was set, or the computer was suspended']])('RUN-164 suspended for 12 s pauses, and says so as far as it is known (counted: %s)', (counts, words) => {
    const run = new TestRun();
    run.countsSleep = counts;
    run.start();
    run.runUntil(inStep('measure'));
    run.standStill(12, true);
    run.runUntil(inMode('paused'), 20);
    expect(run.events('paused')[0]).toMatchObject({ guard: 'host-stood-still' });
    expect(run.events('clock-stepped')[0]?.text).toContain(`: ${words}.`);
  });

  it('RUN-164 the count of sleep alone tells, with the clock set back meanwhile and the bench asleep too', () => {
    const run = new TestRun();
    run.countsSleep = true;
    run.hasWall = false;
    run.start();
    run.runUntil(inStep('measure'));
    run.suspendedFor += 30;
    run.bench.time += 30;
    run.pass();
    run.runUntil(inMode('paused'), 20);
    expect(run.events('paused')[0]).toMatchObject({ guard: 'host-stood-still' });
  });

  it('RUN-164 one forward by more than a standstill may last is taken for one where the two cannot be told apart', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.clockSetBy += 3600;
    run.runUntil(inMode('paused'), 20);
    expect(run.events('paused')[0]).toMatchObject({ guard: 'host-stood-still' });
  });
});

describe('RUN-169 the width that is driven', () => {
  it('stands in the attempt where it is not that of the plan, and in the state', () => {
    const run = new TestRun().start();
    run.runUntil(accepted(1));
    run.bench.widthError = 7e-6;
    expect(run.runUntil(inMode('ended'))).toBe(true);
    const [first, second] = run.events('attempt-ended');
    expect(first).not.toHaveProperty('drivenWidth');
    expect(second?.drivenWidth).toBeCloseTo((run.points[1]?.width ?? 0) + 7e-6, 12);
    expect(run.engine.state.points.at(1)?.attempts[0]?.drivenWidth).toBe(second?.drivenWidth);
  });
});
