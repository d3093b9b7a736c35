import { describe, expect, it } from 'vitest';
import { kilopascals, volts } from '../quantities/quantity.ts';
import type { BenchRequest } from '../bench/port.ts';
import type { Ending, RunCommand } from '../journal/events.ts';
import type { PreflightLine } from '../plan/preflight-line.ts';
import { createEngine } from './engine.ts';
import type { EngineRequest } from './engine.ts';
import { ScriptedBench, TestRun, testCapabilities, testPlan } from './scripted-bench.test-helper.ts';

const ended = (run: TestRun): boolean => run.mode === 'ended';
const inStep = (step: string) => (run: TestRun): boolean => run.engine.state.current?.step === step;
const inMode = (mode: string) => (run: TestRun): boolean => run.mode === mode;

function requestKinds(run: TestRun): string[] {
  return run.bench.requests.map((request) => request.kind);
}

function isSafe(bench: ScriptedBench): boolean {
  return !bench.armed && !bench.burst.active && bench.supply === 0;
}

/** Two injectors at two voltages: every kind of step, and every change between two points. */
const fourPoints = () => testPlan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3], periodMs: [20], replicates: 1 } });

function guard(changes: Record<string, unknown>): Record<string, unknown> {
  return { guards: [{ id: 'g', signal: 'rail-temperature-c', high: 30, level: 'hold', dwellS: 0.2, hysteresis: 1, clearS: 3, maxResumes: 2, ...changes }] };
}

describe('a whole run', () => {
  it('RUN-9 ends complete with one accepted attempt of each point, safe', () => {
    const run = new TestRun().start();
    expect(run.runUntil(ended)).toBe(true);
    expect(run.engine.state.ending).toBe<Ending>('complete');
    expect(run.engine.state.counts).toEqual({ accepted: 8, skipped: 0, attempts: 8, waiting: 0 });
    expect(run.events('chosen').map((e) => e.point)).toEqual([0, 1, 2, 3, 4, 5, 6, 7]);
    expect(isSafe(run.bench)).toBe(true);
    expect(run.last?.done).toBe(true);
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-40 sets and waits for a supply only when the voltage changes', () => {
    const run = new TestRun().start();
    run.runUntil(ended);
    // Proof (lowest voltage), then after its end again 10 V, 14 V: the nested order has the voltage outside the injector.
    const supplies = run.bench.requests.filter((r): r is Extract<BenchRequest, { kind: 'set-supply' }> => r.kind === 'set-supply').map((r) => r.supply);
    expect(supplies).toEqual([10, 10, 14]);
    expect(requestKinds(run).filter((kind) => kind === 'set-pressure')).toHaveLength(1);
  });

  it('RUN-120 enables the pump after each arming, before anything is measured, and sets the pressure anew after a rest', () => {
    const rail = { pump: true, relief: true, shutOff: true };
    const run = new TestRun({ bench: new ScriptedBench({ ...testCapabilities, rail }) }).start();
    expect(run.runUntil((r) => r.engine.state.counts.accepted === 2)).toBe(true);
    run.command({ kind: 'pause-now' });
    expect(run.runUntil((r) => r.mode === 'paused')).toBe(true);
    expect(run.bench.pumping).toBe(false);
    expect(run.events('made-safe').at(-1)?.text).toContain('rail pressure given up');
    run.bench.requests.length = 0;
    run.command({ kind: 'resume' });
    expect(run.runUntil(ended)).toBe(true);
    expect(requestKinds(run).slice(0, 4)).toEqual(['arm', 'pump', 'set-supply', 'set-pressure']);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-120 the proof needs no pressure, and a bench without pump output is asked for none', () => {
    const rail = { pump: true, relief: false, shutOff: false };
    const run = new TestRun({ bench: new ScriptedBench({ ...testCapabilities, rail }) }).start();
    run.runUntil(ended);
    expect(requestKinds(run).slice(0, 8)).toEqual(['arm', 'set-supply', 'burst', 'keep-silent', 'clear-faults', 'arm', 'pump', 'set-supply']);
    const old = new TestRun().start();
    old.runUntil(ended);
    expect(requestKinds(old)).not.toContain('pump');
  });

  it('RUN-43 leaves the purge out when the plan has none', () => {
    const run = new TestRun({ plan: testPlan({ purge: { pulses: 0 } }) }).start();
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('step').some((e) => e.step === 'purge')).toBe(false);
  });
});

describe('start', () => {
  it('RUN-10 a pre-flight refusal refuses the start with its rule', () => {
    const run = new TestRun({ preflight: [{ rule: 'PRE-3', result: 'refuse', text: '19 V is out of reach.' }] });
    run.pass();
    expect(run.command({ kind: 'start' }).answer).toEqual({ accepted: false, reason: 'The pre-flight sheet refuses the start (PRE-3): 19 V is out of reach.' });
    expect(run.mode).toBe('ready');
  });

  it('RUN-110 by choice a start is made with instruments out of date; the journal says who chose so and why nothing can be traced', () => {
    const line = { rule: 'PRE-12', result: 'refuse', text: 'M-1 has ended. Have it calibrated.', untraceable: 'M-1 has ended.' } as const;
    const run = new TestRun({ preflight: [line] });
    run.pass();
    expect(run.command({ kind: 'start' }).answer?.reason).toMatch(/refuses the start \(PRE-12\)/);
    expect(run.command({ kind: 'accept-untraceable' }).answer?.accepted).toBe(true);
    expect(run.events('not-traceable')).toEqual([{ kind: 'not-traceable', reasons: ['M-1 has ended.'], by: 'op' }]);
    expect(run.command({ kind: 'accept-untraceable' }).answer).toMatchObject({ accepted: false, reason: 'That was chosen already.' });
    expect(run.command({ kind: 'start' }).answer?.accepted).toBe(true);
    expect(run.refold().notTraceable).toEqual(['M-1 has ended.']);
    run.runUntil(ended);
    expect(run.refold().notTraceable).toEqual(['M-1 has ended.']);
  });

  it('RUN-110 passes over nothing but what is out of date', () => {
    const run = new TestRun({
      preflight: [
        { rule: 'PRE-12', result: 'refuse', text: 'M-1 has ended. Remedy.', untraceable: 'M-1 has ended.' },
        { rule: 'PRE-40', result: 'refuse', text: 'The record is that of another bench.' },
      ],
    });
    run.pass();
    expect(run.command({ kind: 'accept-untraceable' }).answer?.accepted).toBe(true);
    expect(run.events('not-traceable')[0]?.reasons).toEqual(['M-1 has ended.']);
    expect(run.command({ kind: 'start' }).answer?.reason).toMatch(/PRE-40/);
    const good = new TestRun();
    good.pass();
    expect(good.command({ kind: 'accept-untraceable' }).answer).toMatchObject({ accepted: false, reason: 'Nothing on the pre-flight sheet is out of date, so there is nothing to choose.' });
  });

  it('RUN-111 a run that is opened again with a record of another bench, or out of date, is not resumed; a choice made before does not hold', () => {
    const stale = { rule: 'PRE-12', result: 'refuse', text: 'M-1 has ended. Remedy.', untraceable: 'M-1 has ended.' } as const;
    const run = new TestRun({ preflight: [stale] });
    run.pass();
    run.command({ kind: 'accept-untraceable' });
    run.command({ kind: 'start' });
    run.runUntil((r) => r.mode === 'measuring');
    run.command({ kind: 'pause-now' });
    run.runUntil((r) => r.mode === 'paused');
    const again = (lines: readonly PreflightLine[]): void => {
      run.connectAgain(lines);
      run.pass();
    };
    again([stale]);
    expect(run.command({ kind: 'resume' }).answer?.reason).toMatch(/refuses to go on \(PRE-12\)/);
    expect(run.command({ kind: 'accept-untraceable' }).answer?.accepted).toBe(true);
    again([{ rule: 'PRE-40', result: 'refuse', text: 'The record is that of another bench.' }]);
    expect(run.command({ kind: 'resume' }).answer?.reason).toMatch(/refuses to go on \(PRE-40\)/);
    // What looks at the plan stood against a start, and does not stand against going on.
    again([{ rule: 'PRE-11', result: 'refuse', text: 'The disk is too small for the whole plan.' }]);
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(true);
  });

  it('RUN-11 refuses without telemetry, with an open interlock, with a fault, with a guard outside its limits', () => {
    const silent = new TestRun();
    expect(silent.command({ kind: 'start' }).answer?.reason).toMatch(/no fresh telemetry/);

    const open = new TestRun();
    open.bench.interlocks = 0b101;
    open.pass();
    expect(open.command({ kind: 'start' }).answer?.reason).toBe('Interlock open: cover. Close it first.');

    const faulty = new TestRun();
    faulty.bench.latch('over-current');
    faulty.pass();
    expect(faulty.command({ kind: 'start' }).answer?.reason).toMatch(/over-current/);
    expect(faulty.command({ kind: 'acknowledge' }).answer?.accepted).toBe(true);
    faulty.pass();
    faulty.pass();
    expect(faulty.command({ kind: 'start' }).answer?.reason).toMatch(/rests for 2 s/);
    faulty.runUntil(() => false, 2.1);
    expect(faulty.command({ kind: 'start' }).answer?.accepted).toBe(true);

    const warm = new TestRun({ plan: testPlan(guard({ level: 'trip', dwellS: 60 })) });
    warm.bench.temperature = 31;
    warm.pass();
    expect(warm.command({ kind: 'start' }).answer?.reason).toMatch(/Guard g is not clear/);

    const down = new TestRun();
    down.link('down');
    expect(down.command({ kind: 'start' }).answer?.reason).toMatch(/link/);
  });

  it('RUN-12 proves the dead-man before anything is measured, and records the figures', () => {
    const run = new TestRun().start();
    run.runUntil(inMode('measuring'));
    expect(requestKinds(run)).toEqual(['arm', 'set-supply', 'burst', 'keep-silent', 'clear-faults']);
    const burst = run.bench.requests[2];
    expect(burst).toMatchObject({ width: testCapabilities.minWidth, channel: 1 });
    const [proof] = run.events('dead-man-proved');
    expect(proof?.silence).toBe(1.5);
    expect(proof?.pulsesBefore).toBeGreaterThanOrEqual(2);
    expect(proof?.pulsesBefore).toBeLessThan(proof?.pulsesCommanded ?? 0);
    expect((proof?.pulsesCommanded ?? 0) * 0.02).toBeGreaterThanOrEqual(15);
  });

  it('RUN-13 a controller without a dead-man is not measured with', () => {
    const run = new TestRun().start();
    run.bench.deadManWorks = false;
    run.runUntil(inMode('tripped'), 60);
    expect(run.mode).toBe('tripped');
    expect(run.events('dead-man-not-proved')[0]?.text).toMatch(/latched no watchdog fault/);
    expect(run.events('attempt-started')).toHaveLength(0);
    expect(isSafe(run.bench)).toBe(true);
  });

  it('RUN-12 clears a dead-man that is latched already, before it arms', () => {
    const run = new TestRun();
    run.bench.latch('dead-man');
    run.start();
    run.runUntil(ended);
    expect(requestKinds(run).slice(0, 2)).toEqual(['clear-faults', 'arm']);
    expect(run.engine.state.ending).toBe('complete');
  });
});

describe('a point', () => {
  it('RUN-40 a supply that does not come is a rejected attempt with the read-back', () => {
    const run = new TestRun({ plan: testPlan({ supply: { steadyS: 0.2, timeoutS: 2 } }) }).start();
    run.runUntil(inMode('measuring'));
    run.bench.supplyOffset = -0.2;
    run.runUntil((r) => r.events('attempt-ended').length > 0);
    const [attempt] = run.events('attempt-ended');
    expect(attempt).toMatchObject({ verdict: 'rejected', window: null });
    expect(attempt?.text).toMatch(/did not come to 10 V.*9\.800 V/);
  });

  it('RUN-41 a pressure that is commanded and does not come is a rejected attempt', () => {
    const run = new TestRun();
    run.bench.pressureOffset = -30;
    run.start();
    run.runUntil((r) => r.events('attempt-ended').length > 0);
    expect(run.events('attempt-ended')[0]?.text).toMatch(/did not come into their bands within 3 s: rail pressure 370\.0 kPa/);
  });

  it('RUN-42 a pressure set by hand is waited for without a limit, pulses off, with value and band', () => {
    const bench = new ScriptedBench({ ...testCapabilities, pressure: { commandable: false } });
    bench.pressure = 350;
    const run = new TestRun({ bench }).start();
    run.runUntil(inStep('condition'), 60);
    expect(run.runUntil((r) => r.events('attempt-ended').length > 0, 200)).toBe(false);
    expect(bench.burst.active).toBe(false);
    const status = run.engine.status(bench.time);
    expect(status.waitingFor).toEqual({ text: 'rail pressure in band', value: 350, low: 396, high: 404, unit: 'kPa' });
    expect(status.advice).toMatch(/by hand/);
    bench.pressure = 401;
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
    expect(requestKinds(run)).not.toContain('set-pressure');
    // Nothing was given up as soon as the pressure fitted, for all the time that had gone by.
    expect(run.events('attempt-ended').map((event) => event.verdict)).not.toContain('rejected');
  });

  it('RUN-44 the burst outlasts settling and the longest window; settling counts from the frame that shows it', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    const burst = run.bench.requests.at(-1);
    expect(burst).toEqual({ kind: 'burst', channel: 1, width: run.points[0]?.width, period: 0.02, count: Math.ceil((0.3 + 3 + 10) / 0.02) });
    // 0.3 s at 50 Hz, seen in frames 0.05 s apart.
    expect(run.bench.burst.done).toBeGreaterThanOrEqual(15);
    expect(run.bench.burst.done).toBeLessThanOrEqual(21);
  });

  it('RUN-44 a controller that cannot count so far gets what it can, and the window ends before the pulses do', () => {
    const bench = new ScriptedBench({ ...testCapabilities, maxCount: 150 });
    bench.flow = 9;
    const run = new TestRun({ bench, plan: testPlan({ repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 } }) }).start();
    run.runUntil((r) => r.events('attempt-ended').length > 0);
    const [attempt] = run.events('attempt-ended');
    expect((attempt?.window?.to ?? 0) - (attempt?.window?.from ?? 0)).toBeLessThan(1.8);
    expect(attempt?.criteria.filter((c) => !c.passed).map((c) => c.rule)).toEqual(['RUN-60']);
  });

  it('RUN-45 pulses that end early reject the attempt', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.burst.active = false;
    run.runUntil((r) => r.events('attempt-ended').length > 0);
    expect(run.events('attempt-ended')[0]?.text).toMatch(/pulses ended after/);
  });

  it('RUN-46 a meter that stays silent rejects the attempt', () => {
    const run = new TestRun({ plan: testPlan({ window: { minEdges: 24, minS: 0.5, maxS: 60 }, repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 } }) });
    run.bench.meterSilent = true;
    run.start();
    run.runUntil(ended, 1000);
    expect(run.engine.state.ending).toBe('complete-with-failures');
    expect(run.events('attempt-ended').every((e) => e.text.startsWith('The meter gave no edge for 3.0 s while the injector was driven (supply current 0.5'))).toBe(true);
    expect(run.events('ended')[0]?.text).toContain('Without one: 1, 2, 3, 4, 5, 6, 7, 8.');
  });

  it('RUN-46 where no flow is expected the meter may stay silent for 20 s', () => {
    const run = new TestRun({ plan: testPlan({ axes: { voltageV: [10], pressureKpa: [400], widthMs: [1.2], periodMs: [20], replicates: 1 }, window: { minEdges: 24, minS: 0.5, maxS: 60 }, repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 } }) });
    run.bench.meterSilent = true;
    run.start();
    run.runUntil(ended, 1000);
    expect(run.events('attempt-ended').every((e) => e.text.startsWith('The meter gave no edge for 20.0 s'))).toBe(true);
  });

  it('RUN-132 says of a silent meter whether a coil was driven', () => {
    const run = new TestRun({ plan: testPlan({ repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 } }) });
    run.bench.openCoils.add(1);
    run.bench.dead.add(2);
    run.start();
    run.runUntil(ended, 1000);
    const cause = (channel: number) => [...new Set(run.events('attempt-ended').filter((e) => run.points[e.point]?.channel === channel).map((e) => e.cause))];
    expect(cause(1)).toEqual(['no-current']);
    expect(cause(2)).toEqual(['no-flow']);
    expect(run.events('attempt-ended')[0]?.text).toContain('no coil is driven on channel 1');
  });

  it('RUN-47 the window closes with its edges, and at its greatest length without', () => {
    const slow = new TestRun({ plan: testPlan({ repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 } }) });
    slow.bench.flow = 5;
    slow.start();
    slow.runUntil(ended);
    const [attempt] = slow.events('attempt-ended');
    const length = (attempt?.window?.to ?? 0) - (attempt?.window?.from ?? 0);
    expect(length).toBeGreaterThanOrEqual(3);
    expect(length).toBeLessThan(3.06);
    expect(attempt?.criteria.filter((c) => !c.passed).map((c) => c.rule)).toContain('RUN-60');

    const fast = new TestRun().start();
    fast.runUntil(ended);
    for (const { window } of fast.events('attempt-ended')) {
      expect(window?.edges).toBeGreaterThanOrEqual(24);
      expect((window?.to ?? 0) - (window?.from ?? 0)).toBeLessThan(0.7);
    }
  });

  it('RUN-47 a window of few frames goes on until its halves can be compared', () => {
    // In half a second two frames come; 24 edges are told in six parts or more, each of which ends with a frame of its own.
    const run = new TestRun({ plan: testPlan({ link: { telemetryHz: 4 }, window: { minEdges: 24, minS: 0.5, maxS: 10 } }) });
    run.bench.frameEvery = 0.25;
    run.start();
    run.runUntil(ended, 1000);
    const attempts = run.events('attempt-ended');
    expect(attempts.length).toBeGreaterThan(0);
    for (const { verdict, window, text } of attempts) {
      expect(verdict, text).toBe('accepted');
      expect(window?.partRates.length).toBeGreaterThanOrEqual(4);
      expect((window?.to ?? 0) - (window?.from ?? 0)).toBeLessThan(4);
    }
  });

  it('RUN-48 pulses that do not stop trip the run', () => {
    const run = new TestRun().start();
    run.bench.answer = (request) => (request.kind === 'stop-burst' ? { kind: 'done' } : undefined);
    run.runUntil(inMode('tripped'), 60);
    expect(run.events('tripped')[0]?.guard).toBe('stop-not-confirmed');
    expect(isSafe(run.bench)).toBe(true);
  });

  it('RUN-60 to RUN-69 each limit rejects', () => {
    const run = new TestRun({ plan: testPlan({ accept: { pressureKpa: 1 }, repeats: { attemptsAtOnce: 2, attemptsSecondPass: 1 } }) });
    run.bench.pressureOffset = 2;
    run.start();
    run.runUntil(ended);
    expect(run.events('attempt-ended').map((e) => [e.point, e.attempt])).toHaveLength(8 * 3);
    const [first] = run.events('attempt-ended');
    expect(first?.criteria.map((c) => c.rule)).toEqual(['RUN-60', 'RUN-61', 'RUN-62', 'RUN-63', 'RUN-64', 'RUN-65', 'RUN-66', 'RUN-67', 'RUN-68', 'RUN-69', 'RUN-162', 'RUN-163']);
    expect(first?.criteria.filter((c) => !c.passed).map((c) => c.rule)).toEqual(['RUN-62']);
  });

  it('a refused burst, supply or pressure rejects the attempt and goes on', () => {
    for (const kind of ['burst', 'set-supply', 'set-pressure'] as const) {
      const run = new TestRun().start();
      run.runUntil(inMode('measuring'));
      let refusals = 1;
      run.bench.answer = (request) => (request.kind === kind && refusals-- > 0 ? { kind: 'refused', code: 'out-of-range', text: 'not today' } : undefined);
      run.runUntil(ended);
      expect(run.engine.state.ending).toBe('complete');
      expect(run.events('attempt-ended')[0]).toMatchObject({ verdict: 'rejected' });
      expect(run.events('attempt-ended')[0]?.text).toContain('not today (out-of-range)');
    }
  });

  it('RUN-28 a refusal to arm trips', () => {
    const run = new TestRun().start();
    run.bench.answer = (request) => (request.kind === 'arm' ? { kind: 'refused', code: 'no', text: 'not today' } : undefined);
    run.runUntil(inMode('tripped'), 20);
    expect(run.events('tripped')[0]?.guard).toBe('refused');
  });
});

describe('order and repeats', () => {
  it('RUN-31 RUN-32 repeats at once, then in a second pass, then ends with failures', () => {
    const run = new TestRun().start();
    run.runUntil(inMode('measuring'));
    // Channel 2 gives no pulses at all.
    run.bench.answer = (request) => (request.kind === 'burst' && request.channel === 2 ? { kind: 'refused', code: 'open-load', text: 'no coil there' } : undefined);
    run.runUntil(ended);
    const attempts = run.events('attempt-started').map((e) => [e.point, e.attempt, e.reason]);
    const failing = run.points.filter((p) => p.channel === 2).map((p) => p.index);
    for (const point of failing) {
      expect(attempts.filter(([p]) => p === point)).toEqual([
        [point, 1, 'plan'],
        [point, 2, 'repeat'],
        [point, 3, 'second-pass'],
      ]);
    }
    expect(run.events('second-pass-started').map((e) => e.points)).toEqual([failing]);
    expect(run.engine.state.ending).toBe('complete-with-failures');
    expect(run.engine.state.counts.accepted).toBe(8 - failing.length);
  });

  it('RUN-31 a second pass that succeeds makes the run complete', () => {
    const run = new TestRun().start();
    run.runUntil(inMode('measuring'));
    let refusals = 2;
    run.bench.answer = (request) => (request.kind === 'burst' && refusals-- > 0 ? { kind: 'refused', code: 'x', text: 'later' } : undefined);
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('chosen').map((e) => e.point)).toEqual([1, 2, 3, 4, 5, 6, 7, 0]);
  });

  it('RUN-33 a point that is left out is not measured; the attempt in progress is cut', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    expect(run.command({ kind: 'skip-point', point: 0 }).answer?.accepted).toBe(true);
    expect(run.command({ kind: 'skip-point', point: 5 }).answer?.accepted).toBe(true);
    expect(run.command({ kind: 'skip-point', point: 5 }).answer?.accepted).toBe(false);
    expect(run.command({ kind: 'skip-point', point: 8 }).answer?.reason).toMatch(/points 1 to 8, so there is no point 9/);
    run.runUntil(ended);
    expect(run.events('attempt-ended')[0]).toMatchObject({ point: 0, verdict: 'cut' });
    expect(run.events('chosen').map((e) => e.point)).toEqual([1, 2, 3, 4, 6, 7]);
    expect(run.engine.state.ending).toBe('complete-with-failures');
    expect(run.command({ kind: 'measure-again', points: [5] }).answer?.accepted).toBe(true);
    run.runUntil(ended);
    expect(run.engine.state.counts).toMatchObject({ accepted: 7, skipped: 1 });
  });

  it('RUN-33 skipping the point whose burst has just been asked for stops that burst', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('settle'));
    run.command({ kind: 'skip-point', point: 0 });
    run.runUntil(ended);
    expect(run.events('tripped')).toHaveLength(0);
    expect(run.engine.state.counts).toMatchObject({ accepted: 7, skipped: 1 });
  });

  it('RUN-36 measure-again comes next, and counts if it is accepted; history stays', () => {
    const run = new TestRun().start();
    run.runUntil((r) => r.engine.state.counts.accepted === 3 && r.engine.state.current?.step === 'measure');
    run.command({ kind: 'measure-again', points: [1] });
    run.runUntil(ended);
    expect(run.events('attempt-started').map((e) => e.point)).toEqual([0, 1, 2, 3, 1, 4, 5, 6, 7]);
    expect(run.engine.state.points.at(1)).toMatchObject({ chosen: 2, choice: { by: { rule: 'RUN-36' } } });
    expect(run.engine.state.points.at(1)?.attempts.map((a) => a.verdict)).toEqual(['accepted', 'accepted']);
  });

  it('RUN-36 a rejected measure-again changes nothing of what counts', () => {
    const run = new TestRun().start();
    run.runUntil(ended);
    run.command({ kind: 'measure-again', points: [2] });
    run.bench.pressureOffset = 3;
    run.bench.flow = 2;
    run.runUntil(ended);
    expect(run.engine.state.points.at(2)).toMatchObject({ chosen: 1 });
    expect(run.engine.state.points.at(2)?.attempts.map((a) => a.verdict)).toEqual(['accepted', 'rejected', 'rejected']);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-74 an ended run is opened again with a proof, for these points only', () => {
    const run = new TestRun().start();
    run.runUntil((r) => r.engine.state.counts.accepted === 2);
    run.command({ kind: 'finish-early' });
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('finished-early');
    const before = run.engine.state.counts.accepted;
    run.command({ kind: 'measure-again', points: [6] });
    expect(run.mode).toBe('proving');
    run.runUntil(ended);
    expect(run.events('reopened')).toHaveLength(1);
    expect(run.events('dead-man-proved')).toHaveLength(2);
    expect(run.engine.state.counts.accepted).toBe(before + 1);
    expect(run.engine.state.ending).toBe('finished-early');
    run.command({ kind: 'measure-again', points: [0, 1, 2, 3, 4, 5, 7] });
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-74 a proof that was interrupted is made again, also where one was made before', () => {
    const run = new TestRun().start();
    run.runUntil(ended);
    run.command({ kind: 'measure-again', points: [6] });
    run.runUntil(() => false, 0.2);
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'), 5);
    run.command({ kind: 'resume' });
    expect(run.mode).toBe('proving');
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-37 a person decides which attempt counts, with a reason, at any time', () => {
    const run = new TestRun().start();
    run.runUntil(ended);
    expect(run.command({ kind: 'choose', point: 3, attempt: null, reason: ' ' }).answer?.accepted).toBe(false);
    expect(run.command({ kind: 'choose', point: 3, attempt: 2, reason: 'x' }).answer?.reason).toMatch(/no attempt 2/);
    expect(run.command({ kind: 'choose', point: 3, attempt: null, reason: 'air in the rail' }).answer?.accepted).toBe(true);
    expect(run.engine.state.points.at(3)).toMatchObject({ chosen: null, choice: { by: { person: 'op' }, why: 'air in the rail' } });
    expect(run.engine.state.counts.accepted).toBe(7);
    expect(run.mode).toBe('ended');
  });

  it('RUN-37 an attempt without a window cannot be chosen', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'));
    expect(run.command({ kind: 'choose', point: 0, attempt: 1, reason: 'looks good' }).answer?.reason).toMatch(/no measuring window/);
  });
});

describe('pausing', () => {
  it('RUN-70 pauses when the attempt in progress is judged, and goes on with the next point', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'pause-at-next-point' });
    expect(run.command({ kind: 'pause-at-next-point' }).answer?.accepted).toBe(false);
    run.runUntil(inMode('paused'), 60);
    expect(run.engine.state.counts).toMatchObject({ accepted: 1, attempts: 1 });
    expect(isSafe(run.bench)).toBe(true);
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(true);
    run.runUntil(ended);
    expect(run.engine.state.counts).toEqual({ accepted: 8, skipped: 0, attempts: 8, waiting: 0 });
    expect(run.events('dead-man-proved')).toHaveLength(1);
  });

  it('RUN-70 resume takes a pause that is pending back', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(false);
    run.command({ kind: 'pause-at-next-point' });
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(true);
    run.runUntil(ended);
    expect(run.events('paused')).toHaveLength(0);
  });

  it('RUN-34 RUN-71 pause-now cuts the attempt in every step; the run ends with the same accepted points', () => {
    const plan = fourPoints();
    const undisturbed = new TestRun({ plan }).start();
    undisturbed.runUntil(ended);
    const stepsOfARun = undisturbed.events('step').length;
    for (const kind of ['pause-now', 'pause-at-next-point'] as const) {
      for (let n = 1; n <= stepsOfARun; n += 1) {
        const run = new TestRun({ plan }).start();
        run.runUntil((r) => r.events('step').length >= n);
        run.command({ kind });
        run.runUntil((r) => r.mode === 'paused' || r.mode === 'ended', 60);
        expect(isSafe(run.bench)).toBe(true);
        if (run.mode === 'paused') {
          if (kind === 'pause-now') expect(run.events('attempt-ended').at(-1)?.verdict).toBe('cut');
          run.command({ kind: 'resume' });
          if (kind === 'pause-now') expect(run.events('attempt-started').at(-1)?.reason).toBe('resumed');
        }
        run.runUntil(ended);
        expect(run.engine.state.ending).toBe('complete');
        expect(run.engine.state.points.map((p) => p.attempts.filter((a) => a.verdict === 'accepted').length)).toEqual(Array(4).fill(1));
      }
    }
  });

  it('RUN-14 proves again after a pause in which the controller was reset', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'));
    run.bench.reset('boot-2');
    run.pass();
    run.command({ kind: 'resume' });
    expect(run.mode).toBe('proving');
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('link-restored')[0]?.text).toMatch(/reset/);
  });

  it('RUN-24 an open cover in a pause only stops the resume', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'));
    run.bench.interlocks = 0b101;
    run.runUntil(() => false, 5);
    expect(run.mode).toBe('paused');
    expect(run.command({ kind: 'resume' }).answer?.reason).toMatch(/cover/);
    run.bench.interlocks = 0b111;
    run.pass();
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(true);
  });
});

describe('guards', () => {
  it('RUN-22 a hold resumes by itself when clear, a bounded number of times, then trips', () => {
    const run = new TestRun({ plan: testPlan(guard({})) }).start();
    for (let n = 0; n < 2; n += 1) {
      run.runUntil(inStep('measure'), 60);
      run.bench.temperature = 31;
      expect(run.runUntil(inMode('held'), 60)).toBe(true);
      expect(isSafe(run.bench)).toBe(true);
      run.runUntil(() => false, 10);
      expect(run.mode).toBe('held');
      run.bench.temperature = 29.5; // inside the limit, not by the hysteresis
      run.runUntil(() => false, 10);
      expect(run.mode).toBe('held');
      expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(false);
      run.bench.temperature = 25;
      const from = run.bench.time;
      expect(run.runUntil(inMode('measuring'), 60)).toBe(true);
      expect(run.bench.time - from).toBeGreaterThanOrEqual(3);
    }
    run.runUntil(inStep('measure'), 60);
    run.bench.temperature = 31;
    run.runUntil(inMode('tripped'), 60);
    expect(run.events('tripped')[0]?.text).toMatch(/2 times/);
  });

  it('RUN-20 a note is written down once when it begins and once when it clears', () => {
    const run = new TestRun({ plan: testPlan(guard({ level: 'note' })) }).start();
    run.runUntil(inStep('measure'));
    run.bench.temperature = 31;
    run.runUntil(() => false, 2);
    run.bench.temperature = 21;
    run.runUntil(ended);
    expect(run.events('guard-noted')).toHaveLength(1);
    expect(run.events('guard-noted')[0]?.text).toBe('Fluid temperature in the rail 31.0 degC, allowed at most 30 degC.');
    expect(run.events('guard-cleared')).toHaveLength(1);
  });

  it('RUN-29 a trip is latched until acknowledged, and trips again while the cause is there', () => {
    const run = new TestRun({ plan: testPlan(guard({ level: 'trip' })) }).start();
    run.runUntil(inStep('measure'));
    run.bench.temperature = 31;
    run.runUntil(inMode('tripped'), 60);
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(false);
    run.command({ kind: 'acknowledge' });
    run.runUntil(() => false, 3);
    expect(run.mode).toBe('tripped');
    run.bench.temperature = 21;
    run.runUntil(() => false, 3);
    expect(run.mode).toBe('tripped');
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'), 3);
    run.runUntil(() => false, 2.1);
    run.command({ kind: 'resume' });
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-150 the bench rests after an acknowledgement: a second press does nothing and is not remembered', () => {
    const run = new TestRun({ plan: testPlan(guard({ level: 'trip' })) }).start();
    run.runUntil(inStep('measure'));
    run.bench.temperature = 31;
    run.runUntil(inMode('tripped'), 60);
    run.bench.temperature = 21;
    run.runUntil(() => false, 3);
    // As fast as a person can press: once more while the bench is made safe, and again as soon as it rests.
    run.command({ kind: 'acknowledge' });
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(false);
    run.runUntil(inMode('paused'), 3);
    const rested = run.bench.time;
    while (run.bench.time < rested + 1.9) {
      expect(run.command({ kind: 'resume' }).answer).toMatchObject({ accepted: false, reason: expect.stringMatching(/rests for 2 s/) as string });
      run.pass();
    }
    run.runUntil(() => false, 10);
    expect(run.mode).toBe('paused');
    expect(run.bench.armed || run.bench.burst.active).toBe(false);
    expect(run.command({ kind: 'resume' }).answer?.accepted).toBe(true);
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-151 an emergency stop is told as pressed, beside what stands open', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.interlocks = 0b100;
    run.runUntil(inMode('tripped'), 3);
    expect(run.events('tripped')[0]).toMatchObject({ guard: 'interlock', text: 'The emergency stop of the bench is pressed. Interlock open: cover.' });
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'), 3);
    run.runUntil(() => false, 3);
    expect(run.command({ kind: 'resume' }).answer?.reason).toBe('The emergency stop of the bench is pressed. Interlock open: cover. Release it at the bench, once you know why it was pressed. Close cover first.');
  });

  it('RUN-23 a latched fault trips; acknowledge clears it, and trips again if it cannot be cleared', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.interlocks = 0b110;
    run.bench.latch('emergency-stop');
    run.runUntil(inMode('tripped'), 3);
    expect(run.events('controller-fault')[0]?.fault.code).toBe('emergency-stop');
    run.command({ kind: 'acknowledge' });
    run.runUntil(() => false, 2);
    expect(run.mode).toBe('tripped');
    expect(run.events('tripped').at(-1)?.text).toMatch(/could not be cleared/);
    run.bench.interlocks = 0b111;
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'), 3);
    run.runUntil(() => false, 2.1);
    expect(run.bench.fault).toBeNull();
    run.command({ kind: 'resume' });
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-121 a fault of the drivers names the injector driven last', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.latch('driver');
    run.runUntil(inMode('tripped'), 3);
    expect(run.events('tripped')[0]?.text).toMatch(/The injector driven last is A-1 on channel 1\.$/);
  });

  it('RUN-24 an interlock that opens in a hold trips', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.link('down');
    run.runUntil(inMode('held'), 60);
    run.link('up');
    run.bench.interlocks = 0b101;
    run.runUntil(inMode('tripped'), 3);
    expect(run.events('tripped')[0]).toMatchObject({ guard: 'interlock', text: 'Interlock open: cover.' });
    expect(run.events('resumed')).toEqual([]);
  });

  it('RUN-24 an open interlock trips while driven', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.interlocks = 0b101;
    run.runUntil(inMode('tripped'), 3);
    expect(run.events('tripped')[0]).toMatchObject({ guard: 'interlock', text: 'Interlock open: cover.' });
  });

  it('RUN-25 a lost link makes safe unconfirmed and holds; back, it is made safe again, confirmed, and goes on', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.link('down');
    run.runUntil(inMode('held'), 60);
    expect(run.events('made-safe').at(-1)).toMatchObject({ confirmed: false });
    expect(run.events('made-safe').at(-1)?.text).toMatch(/watchdog.*emergency stop/);
    run.runUntil(() => false, 5);
    expect(run.bench.fault?.code).toBe('dead-man');
    expect(run.mode).toBe('held');
    run.link('up');
    run.runUntil(ended);
    expect(run.events('made-safe').at(-2)).toMatchObject({ confirmed: true });
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('dead-man-proved')).toHaveLength(1);
  });

  it('RUN-25 a reset of the controller holds, and everything is set up and proved again', () => {
    for (const step of ['supply', 'condition', 'purge', 'settle', 'measure', 'stop']) {
      const run = new TestRun().start();
      run.runUntil(inStep(step));
      run.bench.reset('boot-2');
      run.runUntil(ended);
      expect(run.events('held').map((e) => e.guard)).toEqual(['reset']);
      expect(run.events('dead-man-proved')).toHaveLength(2);
      expect(run.engine.state.ending).toBe('complete');
    }
  });

  it('RUN-25 telemetry that stops holds while measuring', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.telemetrySilent = true;
    run.runUntil(inMode('held'), 10);
    expect(run.events('held')[0]?.guard).toBe('telemetry');
    run.runUntil(() => false, 20);
    expect(run.mode).toBe('held');
    run.bench.telemetrySilent = false;
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-25 no answer holds, and after ten resumes trips', () => {
    const run = new TestRun().start();
    run.runUntil(inMode('measuring'));
    run.bench.answer = (request) => (request.kind === 'burst' ? { kind: 'no-answer', text: 'nothing heard' } : undefined);
    run.runUntil(inMode('tripped'), 600);
    expect(run.events('held')).toHaveLength(10);
    expect(run.events('tripped')[0]?.guard).toBe('no-answer');
  });

  it('RUN-5 a driver that never reports back counts as no answer', () => {
    const run = new TestRun().start();
    run.runUntil(inMode('measuring'));
    let lost = 1;
    run.bench.answer = (request) => (request.kind === 'burst' && lost-- > 0 ? null : undefined);
    run.runUntil(inMode('held'), 60);
    expect(run.events('held')[0]?.guard).toBe('no-answer');
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-26 more pulses than commanded, and pulses that nobody asked for, trip', () => {
    const many = new TestRun().start();
    many.runUntil(inStep('measure'));
    many.bench.countsTooMany = true;
    many.runUntil(inMode('tripped'), 3);
    expect(many.events('tripped')[0]?.guard).toBe('pulse-count');

    const unasked = new TestRun().start();
    unasked.runUntil((r) => r.engine.state.mode === 'measuring' && r.engine.state.current?.step === 'supply');
    unasked.bench.burst = { ...unasked.bench.burst, active: true, commanded: 100, done: 0, exact: 0 };
    unasked.runUntil(inMode('tripped'), 3);
    expect(unasked.events('tripped')[0]?.guard).toBe('unexpected-pulses');
  });

  it('RUN-27 a controller that disarms without a fault trips', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.makeItselfSafe();
    run.runUntil(inMode('tripped'), 3);
    expect(run.events('tripped')[0]?.guard).toBe('disarmed');
  });

  it('RUN-131 current while nothing is driven trips before a burst, and a window measured beside it does not count', () => {
    const shorted = new TestRun();
    shorted.bench.idleCurrent = 1;
    shorted.start();
    shorted.runUntil(inMode('tripped'), 20);
    expect(shorted.events('tripped')[0]?.guard).toBe('idle-current');
    expect(requestKinds(shorted)).not.toContain('burst');

    const during = new TestRun().start();
    during.runUntil(inStep('measure'));
    during.bench.idleCurrent = 1;
    during.runUntil(inMode('tripped'), 10);
    expect(during.events('tripped')[0]?.text).toMatch(/1\.00 A flow while nothing is driven, at most 0\.2 A/);
    expect(during.engine.state.counts.accepted).toBe(0);
    expect(isSafe(during.bench)).toBe(true);
  });

  it('RUN-131 waits for the current of the last pulse to die away', () => {
    const run = new TestRun().start();
    let driven = Number.NaN;
    run.runUntil((r) => {
      if (r.bench.burst.active) driven = r.bench.time;
      r.bench.idleCurrent = r.bench.time - driven < 0.5 ? 0.4 : 0;
      return ended(r);
    });
    expect(run.engine.state.ending).toBe('complete');
  });

  it('counts a leak while nothing is driven', () => {
    const run = new TestRun({ plan: testPlan(guard({ signal: 'idle-flow-ml-min', high: 5, level: 'note', dwellS: 0 })) });
    run.bench.leak = 8; // 8 Hz at 48 edges per mL are 10 mL/min
    run.runUntil(() => false, 20);
    expect(run.events('guard-noted')[0]?.text).toMatch(/Flow while no injector is driven (9\.\d|10\.\d)\d mL\/min, allowed at most 5/);
  });

  it('RUN-108 a leak that was found in a zero point is not gone because pulses begin', () => {
    const plan = testPlan({ ...guard({ signal: 'idle-flow-ml-min', high: 5, level: 'note', dwellS: 0, hysteresis: 1 }), zero: { windowS: 8, settleS: 0.5 } });
    const run = new TestRun({ plan });
    run.bench.leak = 8;
    run.start();
    run.runUntil((r) => r.events('guard-noted').length > 0, 60);
    const notedAt = run.engine.state.current?.point;
    expect(plan.axes.voltageV.length).toBe(2);
    expect(run.points[notedAt ?? -1]?.role).toBe('zero');
    run.runUntil((r) => r.points[r.engine.state.current?.point ?? -1]?.role === 'measure' && r.engine.state.current?.step === 'measure', 60);
    expect(run.events('guard-cleared')).toEqual([]);
    run.bench.leak = 0;
    run.runUntil((r) => r.events('guard-cleared').length > 0, 120);
    expect(run.points[run.engine.state.current?.point ?? -1]?.role).toBe('zero');
    expect(run.events('guard-noted')).toHaveLength(1);
  });

  it('RUN-20 PRE-33 a leak guard of level trip stops the run at the first zero point', () => {
    const plan = testPlan({ ...guard({ signal: 'idle-flow-ml-min', high: 1, level: 'trip', dwellS: 1, hysteresis: 0.2 }), zero: { windowS: 12, settleS: 1 } });
    const run = new TestRun({ plan });
    run.start();
    run.bench.leak = 8;
    expect(run.runUntil(inMode('tripped'), 60)).toBe(true);
    expect(run.events('tripped')[0]?.text).toMatch(/Flow while no injector is driven \d+\.\d+ mL\/min, allowed at most 1 mL\/min/);
    expect(run.events('attempt-started').map(({ point }) => point)).toEqual([0]);
  });

  it('RUN-6 a resting bench that arms by itself is made safe again, then trips', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'));
    run.bench.armed = true;
    run.runUntil(() => false, 3);
    expect(run.mode).toBe('paused');
    expect(run.bench.armed).toBe(false);
    const arms = setUpArming(run);
    run.runUntil(inMode('tripped'), 60);
    expect(run.events('tripped')[0]?.guard).toBe('not-safe');
    const events = run.journal.length;
    run.runUntil(() => false, 30);
    expect(run.journal.length - events).toBeLessThan(10);
    expect(arms.length).toBeGreaterThan(2);
  });
});

/** From now on make-safe is answered with done, but the bench stays armed. */
function setUpArming(run: TestRun): BenchRequest[] {
  const seen: BenchRequest[] = [];
  run.bench.armed = true;
  run.bench.answer = (request) => {
    if (request.kind !== 'make-safe') return undefined;
    seen.push(request);
    return { kind: 'done' };
  };
  return seen;
}

describe('commands', () => {
  it('RUN-7 the same id gets the same answer and does nothing, also from another host', () => {
    const run = new TestRun();
    run.pass();
    const first = run.command({ kind: 'start' }, 'x');
    const again = run.command({ kind: 'start' }, 'x');
    expect(again.answer).toEqual(first.answer);
    expect(again.events).toEqual([]);
    expect(again.ignored).toMatch(/answered before/);
    run.runUntil(inStep('measure'));
    run.restartHost();
    expect(run.command({ kind: 'start' }, 'x').answer).toEqual(first.answer);
    const other = run.command({ kind: 'abort' }, 'x');
    expect(other.answer).toMatchObject({ accepted: false, reason: expect.stringContaining('id is that of an earlier command, start') as string });
    expect(other.events).toEqual([]);
    expect(run.engine.state.commands.size).toBe(1);
  });

  it('RUN-8 an emergency stop is accepted in every mode and makes safe', () => {
    const modes: Record<string, (run: TestRun) => void> = {
      ready: (run) => run.pass(),
      proving: (run) => run.start(),
      silence: (run) => run.start().runUntil((r) => requestKinds(r).includes('keep-silent')),
      measuring: (run) => run.start().runUntil(inStep('measure')),
      'making-safe': (run) => {
        run.start().runUntil(inStep('measure'));
        run.command({ kind: 'pause-now' });
      },
      paused: (run) => {
        run.start().runUntil(inStep('measure'));
        run.command({ kind: 'pause-now' });
        run.runUntil(inMode('paused'));
      },
      held: (run) => {
        run.start().runUntil(inStep('measure'));
        run.bench.telemetrySilent = true;
        run.runUntil(inMode('held'));
      },
      tripped: (run) => {
        run.start().runUntil(inStep('measure'));
        run.bench.latch('over-current');
        run.runUntil(inMode('tripped'));
      },
    };
    for (const [mode, bringIn] of Object.entries(modes)) {
      const run = new TestRun();
      bringIn(run);
      if (mode !== 'silence') expect(run.mode).toBe(mode);
      run.bench.requests.length = 0;
      expect(run.command({ kind: 'emergency-stop' }).answer?.accepted).toBe(true);
      run.runUntil(ended, 3);
      expect(run.engine.state.ending).toBe('emergency-stopped');
      expect(requestKinds(run)).toEqual(['make-safe']);
      expect(isSafe(run.bench)).toBe(true);
    }
  });

  it('RUN-8 an emergency stop of a run that has ended makes safe once more and keeps the ending', () => {
    const run = new TestRun().start();
    run.runUntil(ended);
    run.bench.requests.length = 0;
    expect(run.command({ kind: 'emergency-stop' })).toMatchObject({ answer: { accepted: true }, done: false });
    expect(run.command({ kind: 'emergency-stop' }).answer?.accepted).toBe(true);
    run.runUntil(ended, 3);
    expect(requestKinds(run)).toEqual(['make-safe']);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('RUN-5 the reply to a request that an emergency stop overtook is ignored, and said to be', () => {
    const run = new TestRun().start();
    const abandoned = run.last?.requests[0];
    expect(abandoned?.request.kind).toBe('arm');
    run.command({ kind: 'emergency-stop' });
    const late = run.step({ kind: 'reply', now: run.bench.time, id: abandoned?.id ?? 0, reply: { kind: 'done' } });
    expect(late).toMatchObject({ events: [], requests: [], ignored: expect.stringMatching(/too late/) as string });
    run.runUntil(ended, 3);
    expect(run.engine.state.ending).toBe('emergency-stopped');
  });

  it('RUN-4 a bench that does not confirm is asked three times, then left to its dead-man, then asked once more', () => {
    const abort = (answersAfterSilence: boolean) => {
      const run = new TestRun().start();
      run.runUntil(inStep('measure'));
      const isSilenced = () => run.bench.requests.some(({ kind }) => kind === 'keep-silent');
      run.bench.answer = (request) => (request.kind === 'make-safe' && !(answersAfterSilence && isSilenced()) ? { kind: 'no-answer', text: 'nothing heard' } : undefined);
      run.bench.requests.length = 0;
      run.command({ kind: 'abort' });
      run.runUntil(ended, 30);
      expect(requestKinds(run)).toEqual(['make-safe', 'make-safe', 'make-safe', 'keep-silent', 'make-safe']);
      expect(isSafe(run.bench)).toBe(true);
      expect(run.engine.state.ending).toBe('aborted');
      return run.events('made-safe');
    };
    expect(abort(true)).toMatchObject([{ confirmed: true, text: expect.stringMatching(/confirmed by the controller/) as string }]);
    // Its telemetry shows all that is wanted, and it answers no question: what is shown may be old, and says nothing of the rail.
    expect(abort(false)).toMatchObject([{ confirmed: false, text: expect.stringMatching(/Telemetry says pulses off.*no question is answered.*emergency stop/) as string }]);
  });

  it('RUN-4 frames from before the silence show nothing of it, however fresh they are', () => {
    const run = new TestRun({ plan: testPlan({ link: { deadManMs: 300 } }) }).start();
    run.runUntil(inStep('measure'));
    run.bench.answer = (request) => {
      if (request.kind !== 'make-safe') return undefined;
      run.bench.makeItselfSafe();
      return { kind: 'no-answer', text: 'nothing heard' };
    };
    // From then on no frame comes: the bench was last seen just before.
    let silent: EngineRequest | undefined;
    const step = run.step.bind(run);
    run.step = (input) => {
      if (silent !== undefined) return step({ kind: 'tick', now: input.now });
      const output = step(input);
      silent ??= output.requests.find(({ request }) => request.kind === 'keep-silent');
      return output;
    };
    run.command({ kind: 'abort' });
    expect(run.runUntil(() => silent !== undefined, 30)).toBe(true);
    const { id, request } = silent ?? { id: 0, request: null };
    const silence = request?.kind === 'keep-silent' ? request.duration : Number.NaN;
    expect(silence).toBeLessThan(1);
    const after = step({ kind: 'reply', now: run.bench.time + silence, id, reply: { kind: 'done' } });
    expect(after.requests).toEqual([]);
    expect(after.events.filter(({ kind }) => kind === 'made-safe')).toMatchObject([{ confirmed: false, text: expect.not.stringContaining('Telemetry says') as string }]);
  });

  it('RUN-4 a bench that stays armed all the same is told to be not confirmed', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.deadManWorks = false;
    run.bench.answer = (request) => (request.kind === 'make-safe' ? { kind: 'refused', code: 'x', text: 'no' } : undefined);
    run.command({ kind: 'abort' });
    run.runUntil(ended, 30);
    expect(run.engine.state.safe).toMatchObject({ confirmed: false });
    expect(run.engine.state.ending).toBe('aborted');
    expect(run.engine.status(run.bench.time).advice).toMatch(/^The bench did not confirm .*emergency stop.*touch anything\.$/);
  });

  it('RUN-152 the bench is called safe only when it has confirmed that it is', () => {
    const said = (refuses: boolean) => {
      const run = new TestRun().start();
      run.runUntil(inStep('measure'));
      run.bench.deadManWorks = !refuses;
      if (refuses) run.bench.answer = (request) => (request.kind === 'make-safe' ? { kind: 'refused', code: 'x', text: 'no' } : undefined);
      expect(run.engine.status(run.bench.time).safe).toBeNull();
      run.command({ kind: 'pause-now' });
      run.runUntil(inMode('paused'), 30);
      return run.engine.status(run.bench.time);
    };
    expect(said(false)).toMatchObject({ safe: true, doing: 'Paused; the bench is safe.' });
    expect(said(true)).toMatchObject({ safe: false, doing: 'Paused; the bench has NOT confirmed that it is safe: press its emergency stop, isolate its supply, and look before you touch anything.', advice: expect.stringMatching(/emergency stop/) as string });
  });

  it('RUN-72 finish-early ends when the attempt is judged; at rest, at once', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'finish-early' });
    run.runUntil(ended, 10);
    expect(run.engine.state).toMatchObject({ ending: 'finished-early', counts: { accepted: 1, attempts: 1 } });

    const paused = new TestRun().start();
    paused.runUntil(inStep('measure'));
    paused.command({ kind: 'pause-now' });
    paused.runUntil(inMode('paused'));
    paused.command({ kind: 'finish-early' });
    paused.runUntil(ended, 10);
    expect(paused.engine.state.ending).toBe('finished-early');
  });

  it('RUN-49 RUN-73 skips the waits, and the attempt says so', () => {
    const run = new TestRun({ plan: testPlan({ settleS: 30, supply: { steadyS: 30, timeoutS: 100 }, condition: { steadyS: 30, timeoutS: 100 }, purge: { pulses: 5000 } }) }).start();
    expect(run.command({ kind: 'skip-wait' }).answer?.accepted).toBe(false);
    run.runUntil(inMode('measuring'), 100);
    for (const step of ['supply', 'condition', 'purge', 'settle']) {
      run.runUntil(inStep(step), 10);
      run.runUntil((r) => r.command({ kind: 'skip-wait' }).answer?.accepted === true, 3);
    }
    run.runUntil(inStep('measure'), 10);
    expect(run.command({ kind: 'skip-wait' }).answer?.accepted).toBe(false);
    run.runUntil((r) => r.events('attempt-ended').length > 0, 20);
    expect(run.events('wait-skipped').map((e) => e.step)).toEqual(['supply', 'condition', 'purge', 'settle']);
    expect(run.events('attempt-ended')[0]).toMatchObject({ verdict: 'accepted' });
    expect(run.events('attempt-ended')[0]?.text).toMatch(/A person skipped the wait for: supply, condition, purge, settle/);
  });

  it('a command on the way to safe may turn a hold into a pause, but not a trip or an end', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.command({ kind: 'abort' });
    for (const kind of ['pause-now', 'pause-at-next-point', 'finish-early', 'abort', 'resume', 'acknowledge'] as const) {
      expect(run.command({ kind }).answer?.accepted, kind).toBe(false);
    }
    run.runUntil(ended, 3);
    expect(run.engine.state.ending).toBe('aborted');
  });

  it('RUN-75 abort ends from every mode', () => {
    const ready = new TestRun();
    ready.pass();
    ready.command({ kind: 'abort' });
    ready.runUntil(ended, 3);
    expect(ready.engine.state.ending).toBe('aborted');
    expect(ready.command({ kind: 'abort' }).answer?.accepted).toBe(false);
  });
});

describe('measuring what has no result', () => {
  it.each([
    ['abort', 'aborted'],
    ['emergency-stop', 'emergency-stopped'],
    ['finish-early', 'finished-early'],
  ] as const)('RUN-153 after %s the plan goes on where it has no result, with checks and proof, in its order', (kind, ending) => {
    const run = new TestRun().start();
    run.runUntil((r) => r.engine.state.counts.accepted === 1);
    run.runUntil(inStep('measure'));
    run.command({ kind });
    run.runUntil(ended, 30);
    expect(run.engine.state.ending).toBe(ending);
    const before = run.engine.state.counts.accepted;
    expect(before).toBeLessThan(run.engine.state.points.length);
    run.bench.interlocks = 0b101;
    run.pass();
    expect(run.command({ kind: 'measure-remaining' }).answer).toMatchObject({ accepted: false, reason: expect.stringMatching(/cover/) as string });
    run.bench.interlocks = 0b111;
    run.pass();
    expect(run.command({ kind: 'measure-remaining' }).answer?.accepted).toBe(true);
    run.runUntil(inMode('measuring'), 30);
    expect(run.events('dead-man-proved')).toHaveLength(2);
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
    const accepted = run.events('attempt-ended').filter(({ verdict }) => verdict === 'accepted').map(({ point }) => point);
    expect(accepted).toEqual(run.engine.state.points.map((_, index) => index));
    expect(run.command({ kind: 'measure-remaining' }).answer?.accepted).toBe(false);
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-153 failed points are among them, with all their repeats; what was left out or decided upon is not', () => {
    const run = new TestRun({ plan: testPlan({ repeats: { attemptsAtOnce: 1, attemptsSecondPass: 1 } }) }).start();
    run.runUntil(inStep('measure'));
    run.bench.meterSilent = true;
    run.command({ kind: 'skip-point', point: 3 });
    run.runUntil((r) => r.engine.state.secondPassStarted, 1000);
    run.command({ kind: 'abort' });
    run.runUntil(ended, 30);
    const tried = run.engine.state.points.map((point) => point.attempts.length);
    run.bench.meterSilent = false;
    run.runUntil(() => false, 1);
    expect(run.command({ kind: 'measure-remaining' }).answer?.accepted).toBe(true);
    run.runUntil(ended, 1000);
    expect(run.engine.state.points.every((point, index) => (index === 3 ? point.attempts.length === tried[3] : point.chosen !== null))).toBe(true);
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-153 a run that goes on measures them by itself', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    expect(run.command({ kind: 'measure-remaining' }).answer).toMatchObject({ accepted: false, reason: expect.stringMatching(/by itself/) as string });
  });
});

describe('recovery', () => {
  it('RUN-80 RUN-81 a host that dies at any step loses no accepted attempt and measures none twice', () => {
    const plan = fourPoints();
    const undisturbed = new TestRun({ plan }).start();
    undisturbed.runUntil(ended);
    for (let n = 1; n < undisturbed.journal.length - 4; n += 1) {
      const run = new TestRun({ plan }).start();
      run.runUntil((r) => r.journal.length >= 3 + n || r.mode === 'ended');
      if (run.mode === 'ended') continue;
      const accepted = run.engine.state.counts.accepted;
      run.restartHost();
      expect(run.engine.state.counts.accepted).toBe(accepted);
      expect(run.mode).toBe('making-safe');
      run.runUntil((r) => r.mode === 'paused' || r.mode === 'ended', 20);
      expect(isSafe(run.bench)).toBe(true);
      if (run.mode === 'paused') {
        run.pass();
        expect(run.command({ kind: 'resume' } satisfies RunCommand).answer).toMatchObject({ accepted: true });
        run.runUntil(ended);
      }
      expect(run.engine.state.ending).toBe('complete');
      expect(run.engine.state.points.map((p) => p.attempts.filter((a) => a.verdict === 'accepted').length)).toEqual(Array(4).fill(1));
      expect(run.engine.state).toEqual(run.refold());
    }
  });

  it('RUN-82 a trip stays latched over a restart', () => {
    const run = new TestRun().start();
    run.runUntil(inStep('measure'));
    run.bench.latch('over-current');
    run.runUntil(inMode('tripped'));
    run.restartHost();
    run.runUntil(inMode('tripped'), 5);
    expect(run.mode).toBe('tripped');
  });

  it('RUN-83 a run that was not started is ready again', () => {
    const run = new TestRun();
    run.restartHost();
    expect(run.mode).toBe('ready');
    run.start();
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe('complete');
  });

  it('refuses to make an engine for a run that was not recovered', () => {
    const run = new TestRun().start();
    expect(() => createEngine(run.refold())).toThrow(/recover/);
  });
});

describe('status', () => {
  it('RUN-154 says in words what goes on, how far and how long; points are counted from 1', () => {
    const run = new TestRun().start();
    run.runUntil((r) => r.engine.state.counts.accepted === 4 && r.engine.state.current?.step === 'measure');
    const status = run.engine.status(run.bench.time);
    expect(status.doing).toBe('Measuring. Point 5 (A-1, 14 V, 400 kPa, 3.000 ms), attempt 1.');
    expect(status.waitingFor).toMatchObject({ text: 'meter edges', low: 24 });
    expect(status.progress).toEqual({ points: 8, accepted: 4, skipped: 0, attempts: 4, waiting: 0 });
    expect(status.remaining).toBeGreaterThan(0);
    expect([status.mode, status.attempt, status.ending, status.safe]).toEqual(['measuring', 1, null, null]);
    expect(status.point).toMatchObject({ voltage: volts(14), pressure: kilopascals(400) });
  });
});

describe('an injector that does not work', () => {
  const giveUp = (afterFailures: number, more: Record<string, unknown> = {}) => testPlan({ giveUp: { afterFailures }, ...more });
  const four = Array.from({ length: 4 }, (_, i) => ({ serialNumber: `A-${i + 1}`, type: 'T', channel: i + 1 }));
  const ofInjector = (run: TestRun, injector: number) => run.points.filter((point) => point.injector === injector).map((point) => point.index);

  it('RUN-133 is given up after so many failures in a row with one cause; its points wait, the others go on', () => {
    const run = new TestRun({ plan: giveUp(3) });
    run.bench.dead.add(2);
    run.start();
    run.runUntil(ended, 1000);
    expect(run.events('attempt-ended').filter((e) => e.injector === 1)).toHaveLength(3);
    const [out] = run.events('injector-out');
    expect(out).toMatchObject({ how: 'given-up', injector: 1, points: ofInjector(run, 1), cause: 'no-flow' });
    expect(out?.text).toMatch(/^A-2 on channel 2 was given up after 3 rejected attempts in a row with the same cause\. The last: The meter gave no edge/);
    const { state } = run.engine;
    expect(state.counts).toMatchObject({ accepted: 4, waiting: 4 });
    expect(state.ending).toBe<Ending>('complete-with-failures');
    expect(run.events('ended')[0]?.text).toBe('4 of 8 points have an attempt that counts. A-2 on channel 2 was given up; 4 of its points wait. Put right what is wrong with it, then measure its points again.');
    expect(state).toEqual(run.refold());
  });

  it('RUN-133 is not given up for failures with different causes, or with an accepted attempt between them', () => {
    const run = new TestRun({ plan: giveUp(3, { repeats: { attemptsAtOnce: 2, attemptsSecondPass: 0 } }) });
    let attempts = 0;
    run.start();
    run.runUntil((r) => {
      const { current } = r.engine.state;
      if (current !== null && r.points[current.point]?.injector === 1 && r.engine.state.counts.attempts !== attempts) {
        attempts = r.engine.state.counts.attempts;
        r.bench.openCoils.delete(2);
        r.bench.dead.delete(2);
        (current.attempt === 1 ? r.bench.dead : r.bench.openCoils).add(2);
      }
      return ended(r);
    }, 1000);
    expect(run.events('attempt-ended').filter((e) => e.injector === 1 && e.verdict === 'rejected').length).toBeGreaterThan(6);
    expect(run.events('injector-out')).toEqual([]);
  });

  it('RUN-133 comes back when a person asks for one of its points, while the run goes on and after its end', () => {
    for (const after of [false, true]) {
      const run = new TestRun({ plan: giveUp(2, { injectors: four }) });
      run.bench.dead.add(1);
      run.start();
      run.runUntil((r) => (after ? ended(r) : r.engine.state.out.size > 0), 1000);
      run.bench.dead.clear();
      const [point = 0] = ofInjector(run, 0);
      expect(run.command({ kind: 'measure-again', points: after ? ofInjector(run, 0) : [point] }).answer?.accepted).toBe(true);
      expect(run.events('injector-back')).toMatchObject([{ injector: 0 }]);
      run.runUntil((r) => !ended(r));
      run.runUntil(ended, 1000);
      expect(run.engine.state.ending).toBe<Ending>('complete');
      expect(run.engine.state.counts.waiting).toBe(0);
      expect(run.engine.state).toEqual(run.refold());
    }
  });

  it('RUN-133 that was asked for and still fails is given up again', () => {
    const run = new TestRun({ plan: giveUp(2) });
    run.bench.dead.add(1);
    run.start();
    run.runUntil(ended, 1000);
    run.command({ kind: 'measure-again', points: ofInjector(run, 0) });
    run.runUntil((r) => !ended(r));
    run.runUntil(ended, 1000);
    expect(run.events('injector-out')).toHaveLength(2);
    expect(run.events('attempt-ended').filter((e) => e.injector === 0)).toHaveLength(4);
  });

  it('RUN-134 one injector after another with one cause is the bench: the run trips, and all take part again', () => {
    const run = new TestRun({ plan: giveUp(2, { injectors: four }) });
    run.start();
    run.runUntil((r) => r.engine.state.counts.accepted === 1);
    run.bench.meterSilent = true;
    run.runUntil(inMode('tripped'), 1000);
    expect(run.events('tripped')[0]).toMatchObject({ guard: 'every-injector', text: expect.stringMatching(/^A-1, A-2, A-3 failed one after another .* A-3 on channel 3 was given up after 2/) as string });
    expect(run.events('injector-out')).toHaveLength(3);
    expect(run.engine.state.out.size).toBe(0);
    run.bench.meterSilent = false;
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'));
    run.runUntil(() => false, 2.1);
    run.command({ kind: 'resume' });
    run.runUntil(ended, 1000);
    expect(run.engine.state.ending).toBe<Ending>('complete');
  });

  it('RUN-134 two bad ones among many are given up, and do not trip', () => {
    const run = new TestRun({ plan: giveUp(2, { injectors: four }) });
    run.bench.dead.add(2).add(3);
    run.start();
    run.runUntil(ended, 1000);
    expect(run.events('tripped')).toEqual([]);
    expect([...run.engine.state.out.keys()]).toEqual([1, 2]);
    expect(run.engine.state.counts.accepted).toBe(8);
  });
});

describe('the first look', () => {
  const look = (more: Record<string, unknown> = {}) =>
    testPlan({ look: { windowS: 0.5 }, injectors: Array.from({ length: 3 }, (_, i) => ({ serialNumber: `A-${i + 1}`, type: 'T', channel: i + 1 })), ...more });
  /** The meter's edges of an injector that opens for its width less half a millisecond, all alike. */
  const physical = (run: TestRun, scale: (channel: number) => number = () => 1) => (r: TestRun): void => {
    const { width, period, channel } = run.bench.burst;
    r.bench.flow = 280 * scale(channel) * Math.min(1, Math.max(0, width >= period ? 1 : (width - 0.5e-3) / period));
    r.bench.current = width >= period ? 1.2 : 0.3;
  };
  const work = (run: TestRun, done: (r: TestRun) => boolean, each: (r: TestRun) => void): boolean =>
    run.runUntil((r) => {
      each(r);
      return done(r);
    }, 1000);
  const lookOf = (run: TestRun, injector: number) => run.points.filter((p) => p.role === 'look' && p.injector === injector).map((p) => p.index);

  it('RUN-142 looks at each injector without a purge, judges all of them, and goes on with the sweep', () => {
    const run = new TestRun({ plan: look() }).start();
    work(run, ended, physical(run));
    expect(run.events('injector-looked-at').map(({ injector, passed }) => [injector, passed])).toEqual([[0, true], [1, true], [2, true]]);
    const judged = run.journal.findIndex((event) => event.kind === 'injector-looked-at');
    expect(run.journal.slice(0, judged).filter((event) => event.kind === 'attempt-ended')).toHaveLength(9);
    expect(run.journal.slice(0, judged).some((event) => event.kind === 'step' && event.step === 'purge')).toBe(false);
    expect(run.engine.state.ending).toBe<Ending>('complete');
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-138 one that passes half of what the others pass is set aside; a good look later brings it back', () => {
    const run = new TestRun({ plan: look() }).start();
    work(run, ended, physical(run, (channel) => (channel === 2 ? 0.5 : 1)));
    const [out] = run.events('injector-out');
    expect(out).toMatchObject({ how: 'set-aside', injector: 1, cause: 'RUN-138' });
    expect(run.engine.state.counts).toMatchObject({ accepted: 17, waiting: 4 });
    run.command({ kind: 'measure-again', points: lookOf(run, 1) });
    run.runUntil((r) => !ended(r));
    work(run, ended, physical(run));
    expect(run.events('injector-looked-at').at(-1)).toMatchObject({ injector: 1, passed: true });
    expect(run.engine.state.out.size).toBe(0);
    // The plan is over: the others of its points are measured when somebody asks for them.
    expect(run.engine.state.counts).toMatchObject({ accepted: 17, waiting: 0 });
  });

  it('RUN-135 a window with less than 20 meter edges is no look: its injector is set aside', () => {
    const run = new TestRun({ plan: look() }).start();
    work(run, ended, physical(run, (channel) => (channel === 2 ? 0.04 : 1)));
    expect(run.events('attempt-ended').filter(({ cause }) => cause === 'RUN-135').length).toBeGreaterThan(0);
    expect(run.events('injector-out')).toMatchObject([{ how: 'set-aside', injector: 1, cause: 'RUN-135' }]);
    expect(run.events('injector-out')[0]?.text).toMatch(/meter edges, at least 20 wanted/);
  });

  it('RUN-139 one whose flow does not grow with its width as its static flow says is set aside', () => {
    const run = new TestRun({ plan: look() }).start();
    work(run, ended, (r) => {
      physical(run)(r);
      if (r.bench.burst.channel === 3 && r.bench.burst.width < r.bench.burst.period) r.bench.flow *= 0.6;
    });
    expect(run.events('injector-out')).toMatchObject([{ how: 'set-aside', injector: 2, cause: 'RUN-139' }]);
  });

  it.each([
    ['two that hang on each other\'s channel are both set aside', 14, [0, 1]],
    ['two whose coils the list gives alike are not told apart', 12.05, []],
  ] as const)('RUN-141 %s', (_, other, out) => {
    const ohm = [12, other, 12.9];
    const plan = look({ injectors: ohm.map((coilResistanceOhm, i) => ({ serialNumber: `A-${i + 1}`, type: 'T', channel: i + 1, coilResistanceOhm })) });
    const run = new TestRun({ plan }).start();
    const wired = [ohm[1] ?? 0, ohm[0] ?? 0, ohm[2] ?? 0];
    work(run, ended, (r) => {
      physical(run)(r);
      const { width, period, channel } = r.bench.burst;
      if (width >= period) r.bench.current = r.bench.supply / (wired[channel - 1] ?? 12);
    });
    expect(run.events('injector-out').map(({ injector }) => injector)).toEqual(out);
    for (const { text } of run.events('injector-out')) expect(text).toMatch(/hang on each other's channel/);
  });

  it('RUN-142 one that was set aside and looked at again without success stays aside; asked for its other points it is measured as it is', () => {
    const run = new TestRun({ plan: look() }).start();
    const bad = physical(run, (channel) => (channel === 2 ? 0.5 : 1));
    work(run, (r) => r.engine.state.out.size > 0, bad);
    run.command({ kind: 'measure-again', points: lookOf(run, 1) });
    work(run, (r) => r.events('injector-out').length === 2, bad);
    const [point = 0] = run.points.filter((p) => p.role === 'measure' && p.injector === 1).map((p) => p.index);
    run.command({ kind: 'measure-again', points: [point] });
    work(run, ended, bad);
    expect(run.events('injector-out')).toHaveLength(2);
    expect(run.engine.state.ending).toBe<Ending>('complete');
  });

  it('RUN-142 one that is looked at again when nothing else is left, and cannot be looked at, is set aside again', () => {
    const run = new TestRun({ plan: look() }).start();
    work(run, ended, physical(run, (channel) => (channel === 2 ? 0.5 : 1)));
    run.command({ kind: 'measure-again', points: lookOf(run, 1) });
    expect(run.engine.state.out.size).toBe(0);
    run.bench.dead.add(2);
    run.runUntil((r) => !ended(r));
    work(run, ended, physical(run));
    expect(run.events('injector-out').map(({ how, injector }) => [how, injector])).toEqual([['set-aside', 1], ['set-aside', 1]]);
    expect(run.engine.state.out.size).toBe(1);
  });

  it('RUN-142 one that does not open is set aside at once, with its other look points unmeasured', () => {
    const run = new TestRun({ plan: look() });
    run.bench.dead.add(1);
    run.start();
    work(run, ended, physical(run));
    expect(run.events('attempt-ended').filter((e) => e.injector === 0)).toHaveLength(2);
    expect(run.events('injector-out')).toMatchObject([{ how: 'set-aside', injector: 0, cause: 'no-flow' }]);
    expect(run.engine.state.counts.accepted).toBe(14);
  });

  it('RUN-136 flow that goes on after the pulses sets aside and trips', () => {
    const run = new TestRun({ plan: look() }).start();
    work(run, inMode('tripped'), (r) => {
      physical(run)(r);
      r.bench.leak = 20; // 25 mL/min
    });
    expect(run.events('tripped')[0]).toMatchObject({ guard: 'does-not-shut' });
    expect(run.events('injector-out')).toMatchObject([{ injector: 0, cause: 'RUN-136' }]);
  });

  it('RUN-134 a silent meter in the first look trips, and all are looked at after it', () => {
    const run = new TestRun({ plan: look() });
    run.bench.meterSilent = true;
    run.start();
    work(run, inMode('tripped'), physical(run));
    expect(run.events('tripped')[0]?.guard).toBe('every-injector');
    run.bench.meterSilent = false;
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'));
    run.runUntil(() => false, 2.1);
    run.command({ kind: 'resume' });
    work(run, ended, physical(run));
    expect(run.engine.state.ending).toBe<Ending>('complete');
    expect(run.events('injector-looked-at')).toHaveLength(3);
  });

  it('RUN-143 the guard of the pressure deviation leaves an injector that is held open alone', () => {
    const guards = [{ id: 'p', signal: 'pressure-deviation-kpa', low: -12, high: 12, level: 'hold' }];
    const droop = (run: TestRun) => (r: TestRun): void => {
      physical(run)(r);
      const { active, width, period } = r.bench.burst;
      r.bench.pressureOffset = active && width >= period ? -20 : 0;
    };
    const run = new TestRun({ plan: look({ guards }) }).start();
    work(run, ended, droop(run));
    expect(run.events('held')).toEqual([]);
    expect(run.engine.state.ending).toBe<Ending>('complete');
  });
});
