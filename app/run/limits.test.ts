/** The engine's rules where they end: what is refused and why, what trips and what does not, and when. */
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { celsius, kilopascals, seconds, volts } from '../quantities/quantity.ts';
import type { Ending, RunCommand } from '../journal/events.ts';
import { ScriptedBench, TestRun, testCapabilities, testEquipment, testPlan } from './scripted-bench.test-helper.ts';

const inMode = (...modes: readonly string[]) => (run: TestRun): boolean => modes.includes(run.mode);
const inStep = (step: string) => (run: TestRun): boolean => run.engine.state.current?.step === step;
const ended = inMode('ended');
const never = (): boolean => false;
const oneInjector = [{ serialNumber: 'A-1', type: 'T', channel: 1 }];
const axes = { voltageV: [14], pressureKpa: [400], widthMs: [3], periodMs: [20], replicates: 2 };
const plan = (changes: Record<string, unknown> = {}) => testPlan({ injectors: oneInjector, axes, ...changes });
const hot = (level: string, changes: Record<string, unknown> = {}) => ({ guards: [{ id: 'hot', signal: 'rail-temperature-c', high: 30, level, ...changes }] });

function measuring(changes: Record<string, unknown> = {}, bench = new ScriptedBench()): TestRun {
  const run = new TestRun({ plan: plan(changes), bench });
  bench.frameEvery = 1 / 16;
  run.start().runUntil(inStep('measure'));
  return run;
}

function paused(changes: Record<string, unknown> = {}): TestRun {
  const run = measuring(changes);
  run.command({ kind: 'pause-now' });
  run.runUntil(inMode('paused'), 5);
  return run;
}

const reasonOf = (run: TestRun, command: RunCommand): string | undefined => {
  const answer = run.command(command).answer;
  return answer?.accepted === false ? answer.reason : undefined;
};

describe('on the way to safe', () => {
  const onTheWay = { paused: (run: TestRun) => run.command({ kind: 'pause-now' }), ended: (run: TestRun) => run.command({ kind: 'abort' }), held: (run: TestRun) => { run.link('down'); }, tripped: (run: TestRun) => { run.bench.latch('over-current'); run.pass(); } };

  it.each([
    ['paused', 'The run is about to pause.', undefined],
    ['ended', 'The run is about to end.', 'The run is about to end.'],
    ['tripped', 'The run has tripped.', undefined],
    ['held', undefined, undefined],
  ] as const)('RUN-71 RUN-75 to %s a pause is answered: %s; an abort, or an early end: %s', (where, pause, end) => {
    for (const kind of ['pause-now', 'pause-at-next-point', 'abort', 'finish-early'] as const) {
      const run = measuring();
      onTheWay[where](run);
      expect(run.mode, kind).toBe('making-safe');
      expect(reasonOf(run, { kind }), kind).toBe(kind.startsWith('pause') ? pause : end);
    }
  });

  it('RUN-71 a hold that is turned into a pause waits for a person', () => {
    for (const kind of ['pause-now', 'pause-at-next-point'] as const) {
      for (const where of ['making-safe', 'held']) {
        const run = measuring();
        run.link('down');
        run.runUntil(inMode(where));
        run.command({ kind });
        run.link('up');
        run.runUntil(never, 10);
        expect(run.mode, `${kind} ${where}`).toBe('paused');
        expect(run.events('resumed'), `${kind} ${where}`).toEqual([]);
      }
    }
  });

  it('RUN-5 what turns it elsewhere asks nothing more of the bench', () => {
    const run = measuring();
    expect(run.command({ kind: 'pause-now' }).requests.map(({ request }) => request.kind)).toEqual(['make-safe']);
    expect(run.command({ kind: 'emergency-stop' }).requests).toEqual([]);
    run.runUntil(ended, 5);
    expect(run.command({ kind: 'emergency-stop' }).requests.map(({ request }) => request.kind)).toEqual(['make-safe']);
  });

  it('RUN-9 STOP ends a run as stopped that is about to end otherwise, and not one that has ended', () => {
    const run = measuring();
    run.command({ kind: 'abort' });
    run.command({ kind: 'emergency-stop' });
    run.runUntil(ended, 5);
    expect(run.engine.state.ending).toBe<Ending>('emergency-stopped');
    run.command({ kind: 'measure-again', points: [0] });
    run.runUntil(inMode('measuring'), 20);
    run.command({ kind: 'pause-now' });
    run.command({ kind: 'emergency-stop' });
    run.runUntil(ended, 5);
    expect(run.events('ended').map(({ ending }) => ending)).toEqual(['emergency-stopped', 'emergency-stopped']);
  });

  it('RUN-72 an early end while the dead-man is proved, or at rest, is at once', () => {
    const proving = new TestRun({ plan: plan() }).start();
    proving.command({ kind: 'finish-early' });
    proving.runUntil(ended, 1);
    expect(proving.engine.state.ending).toBe<Ending>('finished-early');
    const run = measuring();
    const asked = run.command({ kind: 'finish-early' });
    expect(asked.events.map(({ kind }) => kind)).toEqual(['commanded']);
  });

  it('RUN-23 RUN-24 a fault trips on the way to a pause or a hold, an open interlock on that to a hold; what trips or ends goes on', () => {
    const after = (where: keyof typeof onTheWay, what: (bench: ScriptedBench) => void): string => {
      const run = measuring();
      // Nothing answers, so that frames come while the bench is being made safe.
      run.bench.answer = ({ kind }) => (kind === 'make-safe' ? null : undefined);
      onTheWay[where](run);
      if (where === 'held') run.link('up');
      what(run.bench);
      run.pass();
      return run.engine.state.safe?.then.kind ?? '';
    };
    const fault = (bench: ScriptedBench): void => { bench.latch('over-current'); };
    const cover = (bench: ScriptedBench): void => { bench.interlocks = 0b101; };
    expect([after('paused', fault), after('held', fault), after('ended', fault)]).toEqual(['tripped', 'tripped', 'ended']);
    expect([after('paused', cover), after('held', cover), after('ended', cover)]).toEqual(['paused', 'tripped', 'ended']);
  });
});

describe('what cannot be asked for', () => {
  it('RUN-33 leaving out what is left out, what counts and what is not there', () => {
    const run = measuring();
    run.command({ kind: 'skip-point', point: 1 });
    expect(reasonOf(run, { kind: 'skip-point', point: 1 })).toBe('Point 2 is left out already.');
    expect(reasonOf(run, { kind: 'skip-point', point: 2 })).toBe('The run has the points 1 to 2, so there is no point 3.');
    run.runUntil(inMode('making-safe'), 20);
    expect(reasonOf(run, { kind: 'skip-point', point: 0 })).toBe('Point 1 has an attempt that counts; to withdraw it, choose that none counts.');
  });

  it('RUN-74 measuring nothing again, or what is not there, or on a bench that is not fit', () => {
    const run = measuring();
    expect(reasonOf(run, { kind: 'measure-again', points: [] })).toBe('No points were named.');
    expect(reasonOf(run, { kind: 'measure-again', points: [0, 2] })).toBe('The run has the points 1 to 2, so there is no point 3.');
    run.runUntil(ended);
    run.bench.interlocks = 0b101;
    run.pass();
    expect(reasonOf(run, { kind: 'measure-again', points: [0] })).toBe('Interlock open: cover. Close it first.');
  });

  it('RUN-37 choosing without a reason, what is not there, what goes on, and what has no window', () => {
    const run = measuring();
    const choose = (point: number, attempt: number | null, reason = 'because') => reasonOf(run, { kind: 'choose', point, attempt, reason });
    expect(choose(2, null)).toBe('The run has the points 1 to 2, so there is no point 3.');
    expect(choose(0, null, ' ')).toBe('A choice needs a reason.');
    expect(choose(0, 2)).toBe('Point 1 has no attempt 2.');
    expect(choose(0, 1)).toBe('Attempt 1 of point 1 is still going on.');
    expect(choose(1, null)).toBeUndefined();
    run.command({ kind: 'skip-point', point: 0 });
    run.runUntil((r) => r.events('attempt-ended').length > 0, 5);
    expect(choose(0, 1)).toBe('Attempt 1 of point 1 has no measuring window, so it cannot count.');
  });

  it('RUN-35 what a person decided while it was measured stands: an accepted attempt does not count by itself', () => {
    const run = measuring();
    run.command({ kind: 'choose', point: 0, attempt: null, reason: 'air in the rail' });
    run.runUntil(ended);
    expect(run.events('attempt-ended')[0]).toMatchObject({ point: 0, verdict: 'accepted' });
    expect(run.engine.state.points.at(0)).toMatchObject({ chosen: null, choice: { by: { person: 'op' } } });
  });

  it('RUN-70 RUN-73 resuming what goes on, pausing twice, skipping what is not a wait', () => {
    const run = measuring();
    expect(reasonOf(run, { kind: 'resume' })).toBe('The run is going on and no pause was asked for.');
    expect(reasonOf(run, { kind: 'skip-wait' })).toBe('Nothing is being waited for that could be skipped.');
    run.command({ kind: 'pause-at-next-point' });
    expect(reasonOf(run, { kind: 'pause-at-next-point' })).toBe('A pause at the next point was asked for already.');
    expect(run.command({ kind: 'resume' }).events.map(({ kind }) => kind)).toEqual(['commanded']);
    expect(run.engine.state.pausePending).toBe(false);
  });

  it('RUN-11 RUN-29 acknowledging before the start where there is nothing, and while it is done', () => {
    const run = new TestRun({ plan: plan() });
    expect(reasonOf(run, { kind: 'acknowledge' })).toBe('The controller has no fault, so there is nothing to acknowledge.');
    run.pass();
    expect(reasonOf(run, { kind: 'acknowledge' })).toBe('The controller has no fault, so there is nothing to acknowledge.');
    run.bench.latch('over-current');
    run.pass();
    expect(reasonOf(run, { kind: 'start' })).toBe('The controller has latched a fault. Fault over-current. Acknowledge it first.');
    run.bench.answer = () => null;
    run.command({ kind: 'acknowledge' });
    expect(reasonOf(run, { kind: 'acknowledge' })).toBe('The faults are being cleared.');
    run.runUntil(never, 2.5);
    expect(reasonOf(run, { kind: 'start' })).toBe('The controller is still busy with the last request. Try again in a moment.');
    // Nobody reports back.
    run.runUntil(never, 2);
    expect(run.events('controller-fault')).toEqual([{ kind: 'controller-fault', fault: { code: 'no-answer', text: 'The fault could not be cleared: The bench driver did not report back in time.' } }]);
    run.bench.answer = () => ({ kind: 'refused', code: 'interlock', text: 'an interlock is open' });
    run.command({ kind: 'acknowledge' });
    run.pass();
    expect(run.events('controller-fault').at(-1)?.fault).toEqual({ code: 'interlock', text: 'The fault could not be cleared: an interlock is open' });
    run.bench.answer = () => undefined;
    run.command({ kind: 'acknowledge' });
    run.runUntil(never, 0.5);
    expect(run.events('controller-fault')).toHaveLength(2);
    expect(run.bench.fault).toBeNull();
  });

  it('RUN-11 a start without telemetry, with telemetry that is old, and with the link down', () => {
    const run = new TestRun({ plan: plan() });
    run.bench.frameEvery = 1 / 16;
    expect(run.engine.status(run.bench.time).advice).toContain('no fresh telemetry');
    run.pass();
    run.bench.telemetrySilent = true;
    run.runUntil(never, 1);
    expect(run.engine.status(run.bench.time).advice).toBe('Start the run.');
    run.pass();
    expect(reasonOf(run, { kind: 'start' })).toBe('There is no fresh telemetry from the bench. Wait for it, or look at the link.');
    run.link('down');
    expect(reasonOf(run, { kind: 'start' })).toBe('The link to the bench is down. Restore it first.');
  });

  it('RUN-110 RUN-111 what is out of date stands against a start and a resume until somebody has chosen', () => {
    const line = { rule: 'PRE-12', result: 'refuse', text: 'Ended.', untraceable: 'M has ended.' } as const;
    const run = new TestRun({ plan: plan(), preflight: [{ ...line, result: 'pass' }, { ...line, rule: 'PRE-42', untraceable: 'Lot L is old.' }, line] });
    run.pass();
    expect(reasonOf(run, { kind: 'start' })).toMatch(/\(PRE-42\)/);
    run.command({ kind: 'accept-untraceable' });
    expect(run.events('not-traceable')[0]?.reasons).toEqual(['Lot L is old.', 'M has ended.']);
    expect(reasonOf(run, { kind: 'start' })).toBeUndefined();
  });
});

describe('RUN-23 RUN-27 the controller by itself', () => {
  it('RUN-23 a dead-man that acts while it is not proved holds; at rest it changes nothing; any other fault trips a rest', () => {
    const run = measuring();
    run.bench.latch('dead-man');
    run.runUntil(inMode('held'), 5);
    expect(run.events('held')[0]).toMatchObject({ guard: 'dead-man', text: 'The controller did not hear the host for too long, and its watchdog acted. Fault dead-man.' });
    expect(run.events('controller-fault')[0]?.fault.code).toBe('dead-man');
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe<Ending>('complete');

    const resting = paused();
    resting.bench.latch('dead-man');
    resting.runUntil(never, 2);
    expect([resting.mode, resting.events('controller-fault').length]).toEqual(['paused', 0]);
    resting.bench.latch('over-current');
    resting.runUntil(never, 1);
    expect(resting.mode).toBe('tripped');
    expect(resting.events('controller-fault')).toHaveLength(1);

    const ready = new TestRun({ plan: plan() });
    ready.bench.latch('over-current');
    ready.runUntil(never, 1);
    expect([ready.mode, ready.events('controller-fault').length]).toEqual(['ready', 0]);
  });

  it('RUN-121 names the injector that was driven last for a fault of the drivers only, and for a point that drives one', () => {
    const tripped = (code: string, changes: Record<string, unknown> = {}): string => {
      const run = measuring(changes);
      run.bench.latch(code);
      run.runUntil(inMode('tripped'), 5);
      return run.events('tripped')[0]?.text ?? '';
    };
    expect(tripped('driver')).toBe('Fault driver. The injector driven last is A-1 on channel 1.');
    expect(tripped('over-current')).toBe('Fault over-current.');
    expect(tripped('driver', { zero: { windowS: 5, settleS: 0 } })).toBe('Fault driver.');
  });

  it('RUN-24 an interlock that the bench does not have is not asked for, and one that opens in a pause changes nothing', () => {
    const run = paused();
    run.bench.interlocks = 0b1111_0111;
    run.pass();
    expect(reasonOf(run, { kind: 'resume' })).toBeUndefined();
    const open = paused();
    open.bench.interlocks = 0b011;
    open.runUntil(never, 1);
    expect(open.mode).toBe('paused');
    expect(reasonOf(open, { kind: 'resume' })).toBe('Interlock open: ventilation. Close it first.');
  });

  it('RUN-26 as many pulses as were commanded are not too many', () => {
    const run = measuring();
    const { burst } = run.bench;
    run.bench.tell = (frame) => ({ ...frame, burst: { ...frame.burst, done: burst.commanded } });
    run.pass();
    expect(run.mode).toBe('measuring');
    run.bench.tell = (frame) => ({ ...frame, burst: { ...frame.burst, done: burst.commanded + 1 } });
    run.pass();
    expect(run.engine.state.safe?.then).toMatchObject({ guard: 'pulse-count', text: `The controller counted ${burst.commanded + 1} pulses where ${burst.commanded} were commanded.` });
  });
});

describe('RUN-20 RUN-22 guards by mode', () => {
  it('a hold or trip that finds nothing to stop is noted once, and when it clears', () => {
    for (const level of ['hold', 'trip']) {
      const run = new TestRun({ plan: plan(hot(level, { hysteresis: 1, clearS: 0 })) });
      run.pass();
      run.bench.temperature = 31;
      run.runUntil(never, 1);
      expect(run.events('guard-noted')).toMatchObject([{ guard: 'hot', text: 'Fluid temperature in the rail 31.0 degC, allowed at most 30 degC.', reading: { found: 31, high: 30 } }]);
      run.bench.temperature = 29;
      run.runUntil(never, 1);
      expect(run.events('guard-cleared')).toMatchObject([{ guard: 'hot', text: 'Fluid temperature in the rail 29.0 degC, allowed at most 30 degC: back inside.', reading: { found: 29, high: 30 } }]);
      expect(run.mode).toBe('ready');
    }
  });

  it('in a pause a trip trips and a hold is noted; while it is tripped, or has ended, nothing more is done', () => {
    const warm = (level: string): TestRun => {
      const run = paused(hot(level));
      run.bench.temperature = 31;
      run.runUntil(never, 1);
      return run;
    };
    expect(warm('trip').mode).toBe('tripped');
    const held = warm('hold');
    expect([held.mode, held.events('guard-noted').length]).toEqual(['paused', 1]);
    expect(reasonOf(held, { kind: 'resume' })).toBe('Guard hot is not clear. Fluid temperature in the rail 31.0 degC, allowed at most 30 degC.');

    const tripped = measuring(hot('trip'));
    tripped.bench.latch('over-current');
    tripped.runUntil(inMode('tripped'), 5);
    tripped.bench.temperature = 31;
    tripped.runUntil(never, 1);
    expect(tripped.events('tripped')).toHaveLength(1);
    expect(tripped.events('guard-noted')).toHaveLength(1);

    const over = measuring(hot('note'));
    over.runUntil(ended);
    over.bench.temperature = 31;
    const before = over.journal.length;
    over.runUntil(never, 1);
    expect(over.journal.length).toBe(before);
  });

  it('a guard that is active when the run goes on stops it then', () => {
    const run = paused(hot('hold', { clearS: 0 }));
    run.bench.temperature = 31;
    run.runUntil(never, 1);
    run.bench.temperature = 30;
    run.pass();
    expect(reasonOf(run, { kind: 'resume' })).toBeUndefined();
    run.bench.temperature = 31;
    run.pass();
    expect(run.engine.state.safe?.then).toMatchObject({ kind: 'held', guard: 'hot' });
  });

  it('RUN-143 RUN-20 deviations are those of the point: of the pressure at its set point, of the supply once it was steady', () => {
    const guards = [{ id: 'p', signal: 'pressure-deviation-kpa', low: -2, high: 2, level: 'note' }, { id: 'v', signal: 'supply-deviation-v', low: -0.02, high: 0.02, level: 'note' }];
    const run = new TestRun({ plan: plan({ axes: { ...axes, replicates: 1 }, guards, supply: { steadyS: 1, timeoutS: 4 }, condition: { steadyS: 1, timeoutS: 4 } }) }).start();
    run.runUntil(inMode('measuring'));
    run.bench.pressureOffset = 3;
    run.bench.supplyOffset = 0.03;
    run.runUntil(inStep('condition'));
    expect(run.events('guard-noted')).toEqual([]);
    run.pass();
    expect(run.events('guard-noted')).toMatchObject([{ guard: 'v', text: 'Supply off its set point by 0.030 V, allowed -0.02 to 0.02 V.' }]);
    run.runUntil(inStep('purge'));
    expect(run.events('guard-noted')).toHaveLength(1);
    run.pass();
    expect(run.events('guard-noted')[1]).toMatchObject({ guard: 'p', text: 'Rail pressure off its set point by 3.0 kPa, allowed -2 to 2 kPa.' });
    run.runUntil(ended);
    run.runUntil(never, 1);
    // Nothing is held any more.
    expect(run.events('guard-cleared').map(({ guard }) => guard).toSorted()).toEqual(['p', 'v']);
  });
});

describe('RUN-25 the link', () => {
  it('that is lost twice is told with the new reason, and else accounted for', () => {
    const run = measuring();
    const down = (reason: string) => run.step({ kind: 'link', now: run.bench.time, state: 'down', bootId: '', reason });
    expect(down('pulled').events.map(({ kind }) => kind)).toEqual(['link-lost', 'attempt-ended', 'making-safe']);
    expect(down('pulled')).toMatchObject({ events: [], ignored: 'The link counted as down already.' });
    expect(down('in use')).toMatchObject({ events: [{ kind: 'link-not-restored', text: 'in use' }], ignored: null });
    expect(down('in use').ignored).toBe('The link counted as down already.');
    const frame = run.bench.pass(false);
    expect(run.step({ kind: 'frame', now: run.bench.time, frame })).toMatchObject({ events: [], ignored: 'A frame came while the link counts as down.' });
  });

  it('that comes back says whether the controller was reset; one that is up is left alone', () => {
    const run = measuring();
    const up = (bootId: string) => run.step({ kind: 'link', now: run.bench.time, state: 'up', bootId, reason: '' });
    expect(up('boot-1')).toMatchObject({ events: [], ignored: 'The link counted as up already.' });
    expect(up('boot-2').events.map(({ kind }) => kind)).toEqual(['link-restored', 'attempt-ended', 'making-safe']);
    expect(run.events('link-restored')[0]).toMatchObject({ bootId: 'boot-2', text: 'The controller was reset; it is set up again before anything is measured.' });
    const other = paused();
    other.link('down');
    other.link('up');
    expect(other.events('link-restored')[0]).toMatchObject({ bootId: 'boot-1', text: 'The link is back; the controller was not reset meanwhile.' });
    expect(other.events('held')).toEqual([]);
  });

  it('a hold goes on when all has been well for two seconds since it was safe, since the link, and since telemetry came back', () => {
    const goesOnAfter = (disturb: (run: TestRun) => void): number => {
      const run = measuring();
      run.bench.latch('dead-man');
      run.runUntil(inMode('held'), 5);
      run.runUntil(never, 1);
      disturb(run);
      const since = run.bench.time;
      run.runUntil(inMode('measuring'), 60);
      return run.bench.time - since;
    };
    expect(goesOnAfter(() => undefined)).toBe(0.9375);
    // From the first frame on.
    expect(goesOnAfter((run) => { run.link('down'); run.runUntil(never, 3); run.link('up'); })).toBe(2.0625);
    expect(goesOnAfter((run) => { run.bench.telemetrySilent = true; run.runUntil(never, 3); run.bench.telemetrySilent = false; })).toBe(2.0625);
  });

  it('that was lost for a moment takes its frames with it: nothing is driven before a new one has come', () => {
    const run = paused();
    run.link('down');
    run.link('up');
    expect(reasonOf(run, { kind: 'resume' })).toMatch(/^There is no fresh telemetry/);
    run.pass();
    expect(reasonOf(run, { kind: 'resume' })).toBeUndefined();
  });

  it('a frame that had come already is accounted for', () => {
    const run = measuring();
    const frame = run.bench.pass(true);
    expect(run.step({ kind: 'frame', now: run.bench.time, frame }).ignored).toBeNull();
    expect(run.step({ kind: 'frame', now: run.bench.time, frame }).ignored).toBe(`Frame ${frame.number} had come already.`);
    run.step({ kind: 'frame', now: run.bench.time, frame: { ...frame, number: frame.number - 1 } });
    expect(run.last?.ignored).toBe(`Frame ${frame.number - 1} had come already.`);
    expect(run.step({ kind: 'reply', now: run.bench.time, id: 999, reply: { kind: 'done' } }).ignored).toBe('Request 999 was given up or answered before; its reply is too late.');
  });
});

describe('the proof', () => {
  const proofOf = (answer: ScriptedBench['answer'], disturb: (run: TestRun) => void = () => undefined): TestRun => {
    const run = new TestRun({ plan: plan() });
    run.bench.frameEvery = 1 / 16;
    run.bench.answer = answer;
    run.start();
    disturb(run);
    run.runUntil(inMode('tripped', 'held', 'measuring'), 60);
    return run;
  };
  const notProved = (run: TestRun): string | undefined => run.events('dead-man-not-proved')[0]?.text;

  it('RUN-13 is not made where its supply or its pulses are refused, or do not come', () => {
    const refuse = (refused: string): ScriptedBench['answer'] => ({ kind }) => (kind === refused ? { kind: 'refused', code: 'x', text: 'no' } : undefined);
    expect(notProved(proofOf(refuse('set-supply')))).toBe('the controller refused: no (x)');
    expect(notProved(proofOf(refuse('burst')))).toBe('the controller refused: no (x)');
    expect(notProved(proofOf(({ kind }) => (kind === 'burst' ? { kind: 'done' } : undefined)))).toBe('the pulses of the proof were not seen to begin.');
    const low = proofOf(() => undefined, (run) => { run.bench.supplyOffset = -1; });
    expect(notProved(low)).toBe('The supply did not come to 14 V +/- 0.05 V within 2 s; the read-back is 13.000 V.');
    expect(low.events('tripped')[0]).toEqual({ kind: 'tripped', guard: 'dead-man-proof', text: `The watchdog of the controller was not proved: ${notProved(low) ?? ''} Nothing is measured without it.` });
  });

  it('RUN-12 waits for two pulses before it falls silent', () => {
    const run = proofOf(() => undefined, (r) => {
      r.bench.tell = (frame) => (frame.burst.active && frame.burst.done >= 2 && !r.bench.requests.some(({ kind }) => kind === 'keep-silent') ? { ...frame, burst: { ...frame.burst, done: 1 } } : frame);
    });
    expect(notProved(run)).toBe('the pulses of the proof were not seen to begin.');
  });

  it('RUN-12 falls silent when just two are counted', () => {
    const run = proofOf(() => undefined, (r) => {
      r.bench.tell = (frame) => ({ ...frame, burst: { ...frame.burst, done: Math.min(2, frame.burst.done) } });
    });
    expect(run.events('dead-man-proved')).toMatchObject([{ pulsesBefore: 2 }]);
  });

  it('RUN-12 says what was missing of it ten seconds after the silence', () => {
    const stays = (keep: (run: TestRun) => void): TestRun => {
      const run = new TestRun({ plan: plan() });
      run.bench.frameEvery = 1 / 16;
      run.start().runUntil(({ bench }) => bench.fault !== null);
      keep(run);
      run.runUntil(inMode('tripped'), 60);
      return run;
    };
    expect(notProved(stays(({ bench }) => { bench.tell = (frame) => ({ ...frame, supply: volts(3) }); }))).toBe('after 1.5 s of silence it did not take the supply to its safe value of 0 V; the read-back is 3.00 V.');
    expect(notProved(stays(({ bench }) => { bench.tell = (frame) => ({ ...frame, fault: null }); }))).toBe('after 1.5 s of silence it latched no watchdog fault.');
  });

  it('RUN-28 LINE-63 a dead-man that cannot be cleared trips, with what keeps it', () => {
    const guardAnd = (run: TestRun) => [run.events('tripped')[0]?.guard, run.events('tripped')[0]?.text];
    const refuse = (code: string): ScriptedBench['answer'] => ({ kind }) => (kind === 'clear-faults' ? { kind: 'refused', code, text: 'no' } : undefined);
    expect(guardAnd(proofOf(refuse('interlock')))).toEqual(['refused', 'The controller refused a request that it must not refuse: no (interlock).']);
    expect(guardAnd(proofOf(refuse('fault')))).toEqual(['refused', expect.stringMatching(/^Something else than the watchdog keeps the controller from being cleared: no \(fault\)\./)]);
    const stays = proofOf(({ kind }) => (kind === 'clear-faults' ? { kind: 'done' } : undefined));
    expect(guardAnd(stays)).toEqual(['controller-fault', 'The watchdog fault of the controller did not clear.']);
  });

  it('RUN-12 that is made again counts the pulses of its own train, and not those that the controller has counted before', () => {
    const run = measuring();
    run.runUntil(ended);
    run.command({ kind: 'measure-again', points: [0] });
    run.bench.answer = ({ kind }) => (kind === 'burst' ? { kind: 'done' } : undefined);
    run.runUntil(inMode('tripped', 'measuring'), 20);
    expect(notProved(run)).toBe('the pulses of the proof were not seen to begin.');
  });

  it('RUN-25 no answer in it holds, and says what was heard', () => {
    const run = proofOf(({ kind }) => (kind === 'keep-silent' ? { kind: 'no-answer', text: 'nothing heard' } : undefined));
    expect(run.events('held')[0]).toMatchObject({ guard: 'no-answer', text: 'The bench did not answer: nothing heard' });
  });

  it('RUN-12 is made at the lowest voltage of the plan', () => {
    const run = new TestRun({ plan: plan({ axes: { ...axes, voltageV: [14, 9, 12] } }) }).start();
    run.runUntil(inMode('measuring'));
    expect(run.bench.requests.find(({ kind }) => kind === 'set-supply')).toMatchObject({ supply: 9 });
  });
});

describe('RUN-14 RUN-25 a controller that was reset', () => {
  const reset = (run: TestRun, n: number): void => {
    run.runUntil(inStep('measure'), 60);
    run.bench.reset(`boot-${n}`);
    run.pass();
  };

  it('is gone on with by itself as often as the plan allows, a proof each', () => {
    const run = measuring({ axes: { ...axes, replicates: 100 }, byItself: { perHour: 2 } });
    for (let n = 2; n <= 4; n += 1) reset(run, n);
    run.runUntil(inMode('tripped'), 5);
    expect(run.events('resumed').map(({ automatic }) => automatic)).toEqual([true, true]);
    expect(run.events('tripped')[0]?.guard).toBe('reset');
    expect(run.events('dead-man-proved')).toHaveLength(3);
  });

  it('that a person resumes is none of those times', () => {
    const run = measuring({ axes: { ...axes, replicates: 100 }, byItself: { perHour: 1 } });
    reset(run, 2);
    run.runUntil(inMode('held'), 5);
    run.pass();
    expect(reasonOf(run, { kind: 'resume' })).toBeUndefined();
    reset(run, 3);
    run.runUntil(inMode('held', 'tripped'), 5);
    expect(run.mode).toBe('held');
  });

  it('RUN-27 that takes its time to arm is not taken for one that disarmed: after the proof, after a rest, after a reset', () => {
    const armsSlowly = (run: TestRun): void => {
      run.bench.answer = ({ kind }) => (kind === 'arm' ? null : undefined);
      run.runUntil(() => run.bench.requests.at(-1)?.kind === 'arm', 20);
      run.runUntil(never, 1);
      expect(run.events('tripped')).toEqual([]);
      expect(run.engine.state.current?.step ?? run.mode).toMatch(/supply|proving/);
    };
    const proved = new TestRun({ plan: plan() }).start();
    proved.runUntil((run) => run.bench.requests.some(({ kind }) => kind === 'keep-silent'));
    armsSlowly(proved);
    const rested = paused();
    rested.command({ kind: 'resume' });
    armsSlowly(rested);
    const again = measuring();
    reset(again, 2);
    again.runUntil(inMode('proving'), 10);
    armsSlowly(again);
  });
});

describe('RUN-46 RUN-132 a silent meter', () => {
  const silent = (changes: Record<string, unknown>, disturb: (bench: ScriptedBench) => void): TestRun => {
    const run = new TestRun({ plan: plan({ window: { minEdges: 24, minS: 0.5, maxS: 60 }, repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 }, ...changes }) });
    run.bench.meterSilent = true;
    disturb(run.bench);
    run.start().runUntil((r) => r.events('attempt-ended').length > 0, 200);
    return run;
  };

  it('is waited for as long as an eighth of the expected flow takes for three edges', () => {
    // Of 1.6 ms, at 14 V, about 0.9 ms open: 2.6 edges a second at 48 to the millilitre and 4 g/s.
    const text = silent({ axes: { ...axes, widthMs: [1.6], periodMs: [100] } }, () => undefined).events('attempt-ended')[0]?.text ?? '';
    const s = Number(/no edge for ([\d.]+) s/.exec(text)?.[1]);
    expect(s).toBeGreaterThan(3.5);
    expect(s).toBeLessThan(19);
    const run = silent({ axes: { ...axes, widthMs: [1.6], periodMs: [50] } }, () => undefined);
    expect(Number(/no edge for ([\d.]+) s/.exec(run.events('attempt-ended')[0]?.text ?? '')?.[1])).toBeCloseTo(s / 2, 0);
  });

  it('is no coil below a third of what 30 ohm take, and one that does not open above', () => {
    // 14 V over 30 ohm for 2 of 20 ms are 0.0467 A.
    const cause = (amperes: number) => silent({}, (bench) => { bench.current = amperes; }).events('attempt-ended')[0]?.cause;
    expect([cause(0.0155), cause(0.0156)]).toEqual(['no-current', 'no-flow']);
  });

  it('counts from the last edge, or from the first pulse where there was none', () => {
    const run = measuring({ window: { minEdges: 1000, minS: 0.5, maxS: 60 } });
    run.runUntil(never, 1);
    run.bench.meterSilent = true;
    const since = run.bench.time;
    run.runUntil((r) => r.events('attempt-ended').length > 0, 30);
    // Three seconds without an edge, and a frame or two for the stop.
    expect(run.bench.time - since).toBeCloseTo(3.1, 0);
    expect(run.events('attempt-ended')[0]?.cause).toBe('no-flow');
  });
});

describe('RUN-44 RUN-47 pulses and window', () => {
  it('the pulses last for settling, the longest window and ten seconds, or as long as the controller can count', () => {
    const burstOf = (maxCount: number, changes: Record<string, unknown> = {}) => {
      const run = measuring({ settleS: 0.5, window: { minEdges: 1000, minS: 0.5, maxS: 3 }, repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 }, ...changes }, new ScriptedBench({ ...testCapabilities, maxCount }));
      const burst = run.bench.requests.at(-1);
      run.runUntil((r) => r.events('attempt-ended').length > 0, 60);
      const window = run.events('attempt-ended')[0]?.window;
      return [burst?.kind === 'burst' ? burst.count : 0, (window?.to ?? 0) - (window?.from ?? 0)];
    };
    expect(burstOf(1_000_000)).toEqual([675, 3]);
    // 200 pulses of 20 ms are 4 s: settling, a second to spare, and a window of 2.5 s.
    expect(burstOf(200)).toEqual([200, 2.5]);
    // A first look may take three seconds longer than it wants.
    const look = new TestRun({ plan: plan({ look: { windowS: 0.5 }, settleS: 0.5 }) });
    look.bench.frameEvery = 1 / 16;
    look.bench.flow = 4;
    look.start().runUntil((r) => r.events('attempt-ended').length > 0, 60);
    const [first] = look.events('attempt-ended');
    expect((first?.window?.to ?? 0) - (first?.window?.from ?? 0)).toBe(3.5);
    expect(look.bench.requests.filter(({ kind }) => kind === 'burst').at(1)).toMatchObject({ count: 700 });
  });
});

describe('RUN-48 pulses that are shown for a while after they were stopped', () => {
  /** Frames go on saying so for `s` after the stop was answered. */
  const shownFor = (s: number): TestRun => {
    const run = measuring();
    run.runUntil(inStep('stop'));
    const stopped = run.bench.time;
    const was = run.bench.burst.number;
    run.bench.tell = (frame) => (frame.burst.number === was && run.bench.time <= stopped + s ? { ...frame, burst: { ...frame.burst, active: true } } : frame);
    run.runUntil(ended, 20);
    return run;
  };

  it('are waited for, for three seconds', () => {
    expect(shownFor(2.9).engine.state.ending).toBe<Ending>('complete');
    expect(shownFor(3.2).events('tripped')).toMatchObject([{ guard: 'stop-not-confirmed' }]);
  });
});

describe('RUN-41 RUN-42 what is waited for', () => {
  it('is the pressure where it is out, else the temperature that is, in the rail first', () => {
    const waiting = (tell: (frame: BenchFrame) => BenchFrame): unknown => {
      const run = new TestRun({ plan: plan() }).start();
      run.bench.tell = tell;
      run.runUntil(inStep('condition'));
      run.pass();
      return run.engine.status(run.bench.time).waitingFor;
    };
    const band = { low: 15, high: 30, unit: 'degC' };
    expect(waiting((frame) => ({ ...frame, railTemperature: celsius(14) }))).toEqual({ text: 'fluid temperature in the rail in band', value: expect.closeTo(14, 6) as number, ...band });
    expect(waiting((frame) => ({ ...frame, meterTemperature: celsius(14) }))).toEqual({ text: 'fluid temperature at the meter in band', value: expect.closeTo(14, 6) as number, ...band });
    expect(waiting((frame) => ({ ...frame, meterTemperature: celsius(31), railTemperature: celsius(31) }))).toEqual({ text: 'fluid temperature in the rail in band', value: expect.closeTo(31, 6) as number, ...band });
    expect(waiting((frame) => ({ ...frame, meterTemperature: celsius(31), pressure: kilopascals(405) }))).toEqual({ text: 'rail pressure in band', value: 405, low: 396, high: 404, unit: 'kPa' });
    expect(waiting((frame) => ({ ...frame, pressure: kilopascals(395) }))).toMatchObject({ text: 'rail pressure in band', value: 395 });
  });
});

describe('RUN-40 RUN-41 a wait whose time is over', () => {
  it.each(['supply', 'condition'])('ends with the tick that says so, without another frame: %s', (step) => {
    const run = new TestRun({ plan: plan({ supply: { steadyS: 0.5, timeoutS: 2 }, condition: { steadyS: 0.5, timeoutS: 3 } }) });
    run.bench.frameEvery = 1 / 16;
    run.start().runUntil(inMode('measuring'));
    run.runUntil(inStep(step));
    run.runUntil(never, 0.25);
    expect(run.step({ kind: 'tick', now: run.bench.time + 0.125 }).events).toEqual([]);
    expect(run.step({ kind: 'tick', now: run.bench.time + 0.4375 }).events).toMatchObject([{ kind: 'step', step: step === 'supply' ? 'condition' : 'purge' }]);
  });
});

describe('RUN-120 what a bench can switch', () => {
  it.each([[{ pump: false, relief: false, shutOff: true }, false], [{ pump: false, relief: true, shutOff: false }, true], [{ pump: true, relief: false, shutOff: false }, true]])('%j is asked to enable its pump: %s', (rail, asked) => {
    const run = measuring({}, new ScriptedBench({ ...testCapabilities, rail }));
    expect(run.bench.requests.some(({ kind }) => kind === 'pump')).toBe(asked);
  });
});

describe('RUN-107 the pressure of a rail that is shut off', () => {
  it('is watched until it has moved by more than the tolerance: the tolerance itself is within it', () => {
    const rail = { pump: true, relief: true, shutOff: true };
    const equipment = { ...testEquipment, meter: { ...testEquipment.meter, leastHertz: 2 } };
    const run = new TestRun({ plan: plan({ zero: { windowS: 1, settleS: 0.5, decayS: 5 } }), equipment, bench: new ScriptedBench({ ...testCapabilities, rail }) });
    run.bench.frameEvery = 1 / 16;
    // Half a kilopascal with every frame.
    run.bench.falling = 8000;
    run.start().runUntil((r) => r.events('attempt-ended').length > 0, 60);
    const { decay } = run.events('attempt-ended')[0]?.window ?? {};
    expect((decay?.to ?? 0) - (decay?.from ?? 0)).toBe(9 / 16);
  });
});

describe('RUN-169 the width that is driven', () => {
  it.each([[0.4e-9, false], [0.6e-9, true], [-0.6e-9, true]])('is told when it is off by %d s: %s', (off, told) => {
    const run = new TestRun({ plan: plan() });
    run.bench.widthError = off;
    run.start().runUntil((r) => r.events('attempt-ended').length > 0);
    expect(run.events('attempt-ended')[0]?.drivenWidth !== undefined).toBe(told);
  });

  it('is that of the attempt, and of none before it', () => {
    const run = new TestRun({ plan: plan() });
    run.bench.widthError = 1e-6;
    run.start().runUntil((r) => r.events('attempt-ended').length > 0);
    run.bench.answer = ({ kind }) => (kind === 'burst' ? { kind: 'refused', code: 'x', text: 'no' } : undefined);
    run.runUntil((r) => r.events('attempt-ended').length > 1);
    expect(run.events('attempt-ended').map(({ drivenWidth }) => drivenWidth !== undefined)).toEqual([true, false]);
  });
});

describe('RUN-160 RUN-161 a frame that cannot be', () => {
  const once = (run: TestRun, tell: (frame: BenchFrame) => BenchFrame): void => {
    run.bench.tell = (frame) => {
      run.bench.tell = (same) => same;
      return tell(frame);
    };
    run.pass();
  };
  const back = (frame: BenchFrame): BenchFrame => ({ ...frame, edges: Math.max(0, frame.edges - 5) });

  it('changes nothing while pulses are being stopped, at rest, and before the start', () => {
    const run = measuring();
    run.runUntil(inStep('stop'));
    once(run, back);
    run.runUntil(ended);
    expect(run.events('attempt-ended').map(({ verdict }) => verdict)).toEqual(['accepted', 'accepted']);
    const resting = paused();
    once(resting, back);
    resting.runUntil(never, 1);
    resting.command({ kind: 'resume' });
    resting.runUntil(ended);
    expect(resting.events('attempt-ended').filter(({ verdict }) => verdict === 'rejected')).toEqual([]);
  });

  it('begins the comparison of the clocks anew', () => {
    const run = measuring({ window: { minEdges: 100_000, minS: 0.5, maxS: 80 } });
    run.runUntil(never, 15);
    once(run, back);
    run.runUntil((r) => r.events('attempt-ended').length > 0, 3);
    run.command({ kind: 'abort' });
    expect(run.events('clocks-compared')).toEqual([]);
  });
});

describe('RUN-6 a rest', () => {
  it('is made safe again when it was seen armed or pulsing for half a second, and not before', () => {
    for (const unsafe of [(bench: ScriptedBench) => { bench.armed = true; }, (bench: ScriptedBench) => { bench.burst.active = true; bench.burst.commanded = 1e6; }]) {
      const run = paused();
      run.bench.requests.length = 0;
      unsafe(run.bench);
      run.pass();
      run.runUntil(never, 0.4375);
      expect(run.events('making-safe')).toHaveLength(1);
      run.pass();
      expect(run.events('making-safe')).toHaveLength(2);
      expect(run.events('making-safe')[1]).toMatchObject({ then: { kind: 'paused' }, why: 'The bench was not seen to be safe.' });
    }
  });

  it('begins to count anew when it is seen safe again', () => {
    const run = paused();
    for (let n = 0; n < 4; n += 1) {
      run.bench.armed = true;
      run.runUntil(never, 0.4375);
      run.bench.armed = false;
      run.pass();
    }
    expect(run.events('making-safe')).toHaveLength(1);
  });

  it('has three times after each start, and a trip stays what it was', () => {
    const run = paused();
    const arm = (): void => {
      run.bench.armed = true;
      run.runUntil(never, 1);
    };
    arm();
    arm();
    arm();
    expect(run.mode).toBe('paused');
    run.command({ kind: 'resume' });
    run.runUntil(inStep('measure'));
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'), 5);
    arm();
    arm();
    arm();
    expect(run.mode).toBe('paused');
    arm();
    expect([run.mode, run.events('tripped')[0]?.guard]).toEqual(['tripped', 'not-safe']);

    const tripped = measuring();
    tripped.bench.latch('over-current');
    tripped.runUntil(inMode('tripped'), 5);
    for (let n = 0; n < 6; n += 1) {
      tripped.bench.armed = true;
      tripped.runUntil(never, 1);
    }
    expect(new Set(tripped.events('tripped').map(({ guard }) => guard))).toEqual(new Set(['controller-fault']));
    expect(tripped.events('making-safe')).toHaveLength(5);
  });
});

describe('RUN-150 the rest after an acknowledgement', () => {
  it('is two seconds from when the faults were cleared', () => {
    const run = measuring();
    run.bench.latch('over-current');
    run.runUntil(inMode('tripped'), 5);
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'), 5);
    const cleared = run.bench.time;
    // The answer came a frame before.
    run.runUntil((r) => r.bench.time >= cleared + 1.875);
    expect(reasonOf(run, { kind: 'resume' })).toBe('The bench rests for 2 s after an acknowledgement. Look at it, then ask again.');
    run.pass();
    expect(reasonOf(run, { kind: 'resume' })).toBeUndefined();
  });
});

describe('RUN-29 an acknowledgement that nobody answers', () => {
  it('goes to a pause that is not confirmed, in which a fault trips as ever', () => {
    const run = measuring();
    run.bench.latch('over-current');
    run.runUntil(inMode('tripped'), 5);
    run.bench.answer = ({ kind }) => (kind === 'make-safe' ? { kind: 'no-answer', text: 'nothing heard' } : undefined);
    run.bench.telemetrySilent = true;
    run.command({ kind: 'acknowledge' });
    run.runUntil(inMode('paused'), 60);
    expect(run.engine.state.safe).toMatchObject({ confirmed: false, then: { kind: 'paused' } });
    run.bench.telemetrySilent = false;
    run.pass();
    expect(run.engine.state.safe?.then).toMatchObject({ kind: 'tripped', guard: 'controller-fault' });
  });
});

describe('RUN-109 the idle flow', () => {
  it('is counted while the pressure moves by less than its tolerance, and not beyond', () => {
    const noted = (kPa: number): number => {
      const run = new TestRun({ plan: plan({ guards: [{ id: 'leak', signal: 'idle-flow-ml-min', high: 5, level: 'note' }] }) });
      run.bench.leak = 8;
      run.bench.tell = (frame) => ({ ...frame, pressure: kilopascals(400 + (frame.number % 2) * kPa) });
      run.runUntil(never, 20);
      return run.events('guard-noted').length;
    };
    expect([noted(3.9), noted(4.1)]).toEqual([1, 0]);
  });
});

describe('RUN-166 a hold that lasts', () => {
  it('says why the link is down, where that is not what held', () => {
    const lasting = (disturb: (run: TestRun) => void): string | undefined => {
      const run = measuring({ byItself: { holdS: 10 } });
      run.bench.telemetrySilent = true;
      run.runUntil(inMode('held'), 5);
      disturb(run);
      run.runUntil(inMode('paused'), 20);
      return run.events('paused')[0]?.text;
    };
    const longer = 'That lasted longer than 10 s, so the run does not go on by itself any more.';
    expect(lasting((run) => { run.link('down'); })).toBe(`No telemetry for 1.0 s. the cable was pulled ${longer}`);
    expect(lasting((run) => { run.link('down'); run.link('up'); })).toBe(`No telemetry for 1.0 s. ${longer}`);
    expect(lasting(() => undefined)).toBe(`No telemetry for 1.0 s. ${longer}`);
  });
});

describe('RUN-164 RUN-166 what a host that stood still leaves alone', () => {
  it.each([['paused', 'pause-now'], ['ended', 'abort']] as const)('a run that is %s', (mode, kind) => {
    const run = measuring();
    run.command({ kind });
    run.runUntil(inMode(mode), 5);
    run.standStill(60, false);
    run.runUntil(never, 1);
    expect(run.mode).toBe(mode);
    expect(run.events('paused').filter(({ guard }) => guard !== undefined)).toEqual([]);
  });

  it('a standstill of just the time that the plan allows, by the host\'s clock and by the controller\'s', () => {
    const stood = (s: number, by: 'host' | 'controller'): boolean => {
      const run = measuring({ link: { telemetryHz: 16 }, byItself: { gapS: 2 } });
      run.hasWall = false;
      run.pass();
      // The frames between were lost.
      run.bench.tell = (frame) => ({ ...frame, number: frame.number + 1000 });
      run.bench.time += s - run.bench.frameEvery;
      if (by === 'controller') run.suspendedFor += s - run.bench.frameEvery;
      run.pass();
      return run.events('making-safe').some(({ then }) => then.kind === 'paused' && then.guard === 'host-stood-still');
    };
    expect([stood(2, 'host'), stood(2.0625, 'host')]).toEqual([false, true]);
    expect([stood(2.0625, 'controller'), stood(2.125, 'controller')]).toEqual([false, true]);
  });

  it('a wall clock that is set while the run has ended is nobody\'s matter', () => {
    const run = measuring();
    run.runUntil(ended);
    run.clockSetBy += 5000;
    run.pass();
    expect(run.events('clock-stepped')).toEqual([]);
  });
});

describe('what a step gives', () => {
  it('RUN-2 is nothing, and done, where nothing goes on; time that goes back is none', () => {
    const run = measuring();
    run.runUntil(ended);
    expect(run.step({ kind: 'tick', now: run.bench.time })).toEqual({ events: [], requests: [], answer: null, ignored: null, done: true });
    const going = new TestRun({ plan: plan() });
    going.hasWall = false;
    expect(going.step({ kind: 'tick', now: seconds(5) })).toEqual({ events: [], requests: [], answer: null, ignored: null, done: false });
    expect(going.step({ kind: 'tick', now: seconds(3) }).events).toEqual([]);
  });

  it('RUN-5 a clock that goes back does not: deadlines are of the latest time that was seen', () => {
    const run = new TestRun({ plan: plan() });
    run.hasWall = false;
    run.pass();
    const now = run.bench.time;
    const asked = run.step({ kind: 'command', now: now - 0.5, id: 'early', by: 'op', command: { kind: 'start' } });
    expect(asked.requests[0]?.deadline).toBe(now + 3);
  });

  it('RUN-2 answers a command, and nothing else, and forgets what it said before', () => {
    const run = new TestRun({ plan: plan() });
    run.pass();
    expect(run.command({ kind: 'resume' }, 'r').answer).toMatchObject({ accepted: false });
    expect(run.command({ kind: 'resume' }, 'r').ignored).toBe('Command r was answered before.');
    expect(run.step({ kind: 'tick', now: run.bench.time })).toMatchObject({ answer: null, ignored: null });
  });
});
