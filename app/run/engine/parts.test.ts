/** Parts of the engine by themselves: what must not happen is refused, and where a limit lies. */
import { describe, expect, it } from 'vitest';
import { amperes, celsius, pascals, seconds, volts } from '../../quantities/quantity.ts';
import type { BenchFrame } from '../../bench/port.ts';
import { frameSignals, readInto } from '../../bench/readings.ts';
import { foldRun } from '../../journal/fold.ts';
import type { RunState } from '../../journal/state.ts';
import { TestRun, testPlan } from '../scripted-bench.test-helper.ts';
import { EngineCore } from './core.ts';
import { ask, Course, factsOf, leave, noFacts, until } from './course.ts';
import type { Procedure } from './course.ts';
import { Burst } from './drive.ts';
import { LatestReadings } from './readings.ts';
import { EngineSettings } from './settings.ts';

const frame = (changes: Partial<BenchFrame> = {}): BenchFrame => ({
  at: seconds(10), number: 100, bootId: 'boot-1', supply: volts(14), current: amperes(0.5), pressure: pascals(400e3), railTemperature: celsius(21), meterTemperature: celsius(22),
  edges: 50, lastEdgeAt: seconds(9.9), burst: { number: 3, active: true, commanded: 1000, done: 40 }, armed: true, fault: null, interlocks: 7, ...changes,
});

const ready = (changes: Record<string, unknown> = {}): RunState => new TestRun({ plan: testPlan(changes) }).engine.state;
const coreAt = (now: number, state = ready()): EngineCore => {
  const core = new EngineCore(state);
  core.now = now;
  return core;
};

describe('EngineCore', () => {
  it.each(['proving', 'measuring', 'held'] as const)('refuses a run that was left %s', (mode) => {
    expect(() => new EngineCore({ ...ready(), mode })).toThrow(`The run was left ${mode}; recover it first.`);
  });

  it('refuses a run without a bench, and takes one in any other mode', () => {
    expect(() => new EngineCore({ ...ready(), bench: null })).toThrow('A run needs a bench before it has an engine');
    for (const mode of ['ready', 'making-safe', 'paused', 'tripped', 'ended'] as const) expect(new EngineCore({ ...ready(), mode }).state.mode).toBe(mode);
  });

  it.each([[20, 1], [3, 1], [2, 1.5], [1, 3]])('RUN-25 at %d Hz telemetry older than %d s does not count', (telemetryHz, s) => {
    const core = coreAt(100, ready({ link: { telemetryHz } }));
    expect(core.staleAfter).toBe(s);
    expect(core.hasFreshFrame).toBe(false);
    core.frame = frame();
    core.frameNow = 100;
    core.now = 100 + s;
    expect(core.hasFreshFrame).toBe(true);
    core.now = 100.01 + s;
    expect(core.hasFreshFrame).toBe(false);
    core.now = 100;
    core.forgetFrames();
    expect([core.frame, core.frameNow, core.hasFreshFrame]).toEqual([null, Number.NEGATIVE_INFINITY, false]);
  });

  it('RUN-3 refuses an event that leads where the table does not allow', () => {
    const core = coreAt(0);
    expect(() => { core.emit({ kind: 'paused' }); }).toThrow("The event 'paused' leads from ready to paused, which the table does not allow.");
    expect(() => { core.step('supply'); }).toThrow('The step supply has no attempt.');
  });

  it('knows the point of the attempt, and the injector that a point drives', () => {
    const core = coreAt(0, ready({ zero: { windowS: 5 } }));
    expect(core.currentPoint).toBeNull();
    core.emit({ kind: 'attempt-started', point: 1, attempt: 1, reason: 'plan', origin: 'first-pass' });
    expect(core.currentPoint?.index).toBe(1);
    // A zero point drives none, nor does a point that is not there.
    expect([0, 1, 3, 99].map((point) => core.drivenInjector(point))).toEqual([null, 0, 1, null]);
    expect(core.state).toEqual(foldRun(ready({ zero: { windowS: 5 } }), { kind: 'attempt-started', point: 1, attempt: 1, reason: 'plan', origin: 'first-pass' }));
  });
});

describe('Course', () => {
  const arm = { kind: 'arm' } as const;
  const waits = (log: string[]): Procedure => (function* (): Procedure { log.push(yield* until({ facts: factsOf('arming'), skippable: true, met: ({ armed }) => armed, dueAfter: 3, overdue: () => true })); })();

  it('RUN-5 asks, has one request outstanding, and goes on with the reply to it', () => {
    const course = new Course(coreAt(7));
    const log: unknown[] = [];
    course.run((function* (): Procedure { log.push(yield* ask(arm, 3, () => null)); })());
    expect(course.request).toEqual({ id: 1, request: arm, deadline: 10 });
    expect([course.busy, course.idle, course.skippable]).toEqual([true, false, false]);
    expect(course.reply(2, { kind: 'done' })).toBe(false);
    expect(course.reply(1, { kind: 'done' })).toBe(true);
    expect(log).toEqual([{ kind: 'done' }]);
    expect([course.busy, course.idle]).toEqual([false, true]);
    expect(course.reply(1, { kind: 'done' })).toBe(false);
  });

  it('RUN-5 a deadline that passed without a word counts as no answer a second later', () => {
    const core = coreAt(7);
    const course = new Course(core);
    const log: unknown[] = [];
    course.run((function* (): Procedure { log.push(yield* ask(arm, 3, () => null)); })());
    core.now = 11;
    expect(course.tick()).toBe(false);
    core.now = 11.01;
    expect(course.tick()).toBe(true);
    expect(log).toEqual([{ kind: 'no-answer', text: 'The bench driver did not report back in time.' }]);
    expect(course.tick()).toBe(false);
  });

  it('turns away by a reply, by a wait that is met, and by one that takes too long', () => {
    const log: string[] = [];
    const away = (what: string) => leave(() => { log.push(what); });
    const core = coreAt(0);
    const course = new Course(core);
    course.run((function* (): Procedure { yield* ask(arm, 3, () => away('reply')); log.push('never'); })());
    course.reply(1, { kind: 'done' });
    course.run((function* (): Procedure { yield* until({ facts: noFacts, met: () => away('met'), dueAfter: 0, overdue: () => false }); log.push('never'); })());
    course.frame(frame());
    course.run((function* (): Procedure { yield* until({ facts: noFacts, met: () => false, dueAfter: 1, overdue: (since) => since >= 2 && away('overdue') }); log.push('never'); })());
    core.now = 1.9;
    course.frame(frame());
    course.checkDeadline();
    core.now = 2;
    course.checkDeadline();
    course.run((function* (): Procedure { yield away('at once'); log.push('never'); })());
    expect(log).toEqual(['reply', 'met', 'overdue', 'at once']);
    expect([course.idle, course.busy]).toEqual([true, false]);
  });

  it('a wait ends with the frame that meets it, with its time, or with a person', () => {
    const log: string[] = [];
    const core = coreAt(0);
    const course = new Course(core);
    course.run(waits(log));
    expect([course.skippable, course.facts.arming, course.facts.stopping]).toEqual([true, true, false]);
    course.frame(frame({ armed: false }));
    expect(log).toEqual([]);
    course.frame(frame({ armed: true }));
    expect(log).toEqual(['met']);
    expect(course.facts).toBe(noFacts);
    course.run(waits(log));
    core.now = 3;
    course.frame(frame({ armed: false }));
    course.restartWait();
    core.now = 6;
    course.checkDeadline();
    expect(log).toEqual(['met']);
    core.now = 6.1;
    course.frame(frame({ armed: false }));
    expect(log).toEqual(['met', 'met']);
    course.run(waits(log));
    course.skip();
    expect(log).toEqual(['met', 'met', 'skipped']);
    expect(() => { course.skip(); }).toThrow('A wait is skipped that is not there.');
  });

  it('what takes the place of another gives its request up; frames and deadlines of an answer that is awaited change nothing', () => {
    const course = new Course(coreAt(0));
    course.run((function* (): Procedure { yield* ask(arm, 3, () => null); throw new Error('it was gone on with'); })());
    course.frame(frame());
    course.checkDeadline();
    expect(course.waitingFor(0)).toBeNull();
    expect(() => { course.skip(); }).toThrow('not there');
    const log: string[] = [];
    course.run(waits(log));
    expect(course.busy).toBe(false);
    expect(course.reply(1, { kind: 'done' })).toBe(false);
  });

  it('says what is waited for from its beginning on', () => {
    const course = new Course(coreAt(5));
    const waiting = (value: number) => ({ text: 'x', value, low: null, high: null, unit: 's' });
    expect(course.waitingFor(5)).toBeNull();
    course.run((function* (): Procedure { yield* ask(arm, 3, () => null, noFacts, (now, since) => waiting(now - since)); })());
    expect(course.waitingFor(7.5)).toEqual(waiting(2.5));
    course.run((function* (): Procedure { yield* until({ facts: noFacts, met: () => false, dueAfter: 0, overdue: () => false, waitingFor: (now) => waiting(now) }); })());
    expect(course.waitingFor(8)).toEqual(waiting(8));
    course.run(waits([]));
    expect(course.waitingFor(8)).toBeNull();
  });

  it('refuses a procedure that runs another from within', () => {
    const course = new Course(coreAt(0));
    const within = (function* (): Procedure { course.run(waits([])); yield* ask(arm, 3, () => null); })();
    expect(() => { course.run(within); }).toThrow('A procedure ran another one from within.');
  });
});

describe('Burst', () => {
  it('is of frames with another number than before and the count that was asked for', () => {
    const burst = new Burst(3, 1000);
    const of = (number: number, commanded: number) => burst.isOf(frame({ burst: { number, active: true, commanded, done: 0 } }));
    expect([of(3, 1000), of(4, 1000), of(4, 999), of(0, 1000)]).toEqual([false, true, false, true]);
  });
});

describe('EngineSettings', () => {
  const settingsAt = (now: number, changes: Record<string, unknown> = {}) => {
    const core = coreAt(now, ready({ supply: { toleranceV: 0.0625, steadyS: 2 }, condition: { pressureToleranceKpa: 4, temperatureMinC: 15, temperatureMaxC: 30, steadyS: 2 }, ...changes }));
    const settings = new EngineSettings(core);
    settings.armed = true;
    settings.supply = 14;
    settings.pressure = 400e3;
    const at = (s: number, change: Partial<BenchFrame> = {}) => {
      core.now = s;
      const told = frame(change);
      core.takeFrame(told);
      settings.track(told);
    };
    return { core, settings, at };
  };

  it.each<[string, Partial<BenchFrame>, boolean]>([
    ['at its tolerance', { supply: volts(14.0625) }, true],
    ['at it below', { supply: volts(13.9375) }, true],
    ['beyond it', { supply: volts(14.07) }, false],
    ['not a number', { supply: volts(Number.NaN) }, false],
  ])('RUN-40 a supply %s is steady after its time: %s', (_, change, steady) => {
    const { settings, at, core } = settingsAt(0);
    at(1);
    at(2, change);
    at(2.9);
    expect(settings.supplyIsSteady).toBe(false);
    at(3);
    expect(settings.supplyIsSteady).toBe(steady);
    at(4);
    at(5);
    expect(settings.supplyIsSteady).toBe(true);
    settings.armed = false;
    expect(settings.supplyIsSteady).toBe(false);
    settings.armed = true;
    settings.forgetSupply();
    expect([settings.supply, settings.supplyIsSteady, settings.conditionIsSteady]).toEqual([Number.NaN, false, true]);
    expect(core.now).toBe(5);
  });

  it.each<[string, Partial<BenchFrame>, boolean]>([
    ['pressure at its tolerance', { pressure: pascals(404e3) }, true],
    ['pressure at it below', { pressure: pascals(396e3) }, true],
    ['pressure beyond it', { pressure: pascals(404.1e3) }, false],
    ['the rail at the upper limit', { railTemperature: celsius(30) }, true],
    ['the rail above', { railTemperature: celsius(30.1) }, false],
    ['the meter at the lower limit', { meterTemperature: celsius(15) }, true],
    ['the meter below', { meterTemperature: celsius(14.9) }, false],
    ['a temperature that is not a number', { meterTemperature: celsius(Number.NaN) }, false],
  ])('RUN-41 with %s the condition is steady after its time: %s', (_, change, steady) => {
    const { settings, at } = settingsAt(0);
    at(1);
    at(2, change);
    expect([settings.pressureFits(frame(change)) && settings.temperaturesFit()]).toEqual([steady]);
    at(2.9);
    expect(settings.conditionIsSteady).toBe(false);
    at(3);
    expect(settings.conditionIsSteady).toBe(steady);
    at(5);
    expect(settings.conditionIsSteady).toBe(true);
    settings.forgetPressure();
    expect([settings.pressure, settings.conditionIsSteady]).toEqual([Number.NaN, false]);
  });

  it('RUN-42 a pressure that a person has set counts from now on, if it is there', () => {
    const { settings, at } = settingsAt(0);
    at(1);
    at(4);
    settings.expectPressure(400e3);
    expect(settings.conditionIsSteady).toBe(false);
    at(6);
    expect(settings.conditionIsSteady).toBe(true);
    settings.conditionBeginsAnew();
    expect(settings.conditionIsSteady).toBe(false);
    const { settings: none, core } = settingsAt(0);
    core.frame = null;
    none.expectPressure(300e3);
    expect([none.pressure, none.conditionIsSteady]).toEqual([300e3, false]);
  });

  it('RUN-25 after a reset nothing that was set holds, and at the way to safe nothing of it is certain', () => {
    const { settings } = settingsAt(0);
    Object.assign(settings, { pumping: true, pulsing: true, railShut: true });
    settings.forgetAfterReset();
    expect(settings).toMatchObject({ supply: Number.NaN, pressure: Number.NaN, armed: true, pumping: false, pulsing: true, railShut: true });
    settings.pumping = true;
    settings.forgetAll();
    expect(settings).toMatchObject({ supply: Number.NaN, pressure: Number.NaN, armed: false, pumping: false, pulsing: false, railShut: false });
  });
});

describe('LatestReadings', () => {
  it('RUN-25 RUN-163 after a reset the flow that was counted is none, and no reading is known to be a lively one', () => {
    const core = coreAt(0, ready({ zero: { windowS: 5, settleS: 1 } }));
    const readings = new LatestReadings(core, new Course(core), new EngineSettings(core));
    const leaking = (from: number, s: number): void => {
      for (let at = from; at < from + s; at += 0.5) readings.add(frame({ at: seconds(at), edges: 10 * Math.round(at), burst: { number: 3, active: false, commanded: 0, done: 0 } }), null, false);
    };
    const values = new Float64Array(frameSignals.length);
    const seen = (n: number, moves: boolean): void => {
      for (let i = 0; i < n; i += 1) {
        const one = frame({ pressure: pascals(400e3 + (moves && i % 2 === 0 ? 10 : 0)) });
        readInto(values, one);
        readings.standing.add(one, values);
      }
    };
    leaking(0, 20);
    expect(readings.idleFlow.millilitresPerMinute).toBeGreaterThan(0);
    seen(300, true);
    seen(60, false);
    expect(readings.standing.criterion()).toMatchObject({ rule: 'RUN-163', passed: false });
    readings.forget();
    expect(readings.idleFlow.millilitresPerMinute).toBeNull();
    // What stood before the reset says nothing of the board that has started.
    seen(60, false);
    expect(readings.standing.criterion().passed).toBe(true);
    // And it has to rest as long as after pulses before its edges are counted again.
    leaking(20, 4);
    expect(readings.idleFlow.millilitresPerMinute).toBeNull();
    leaking(24, 6);
    expect(readings.idleFlow.millilitresPerMinute).toBeGreaterThan(0);
  });
});
