/** What a person is told of a run: how it ended, what is left of it, and where its points are. */
import { describe, expect, it } from 'vitest';
import type { Ending } from '../journal/events.ts';
import { seconds } from '../quantities/quantity.ts';
import { endingOf, endingWords, endText, outText } from './ending.ts';
import { deadManText, madeSafeInJournal, madeSafeText, safeClause, safeSentence, stopShown } from './safe-words.ts';
import { TestRun, testPlan } from './scripted-bench.test-helper.ts';
import { adviceText, doingText, remainingTime } from './status.ts';

const oneInjector = [{ serialNumber: 'A-1', type: 'T', channel: 1 }];
const axes = { voltageV: [14], pressureKpa: [400], widthMs: [3], periodMs: [20], replicates: 1 };
const once = { repeats: { attemptsAtOnce: 1, attemptsSecondPass: 0 }, byItself: { sameCause: 0 } };
const ended = (run: TestRun): boolean => run.mode === 'ended';

/** A run of so many points of which those that `fails` names are refused. */
function runOf(points: number, fails: (point: number) => boolean, changes: Record<string, unknown> = {}): TestRun {
  const run = new TestRun({ plan: testPlan({ injectors: oneInjector, axes: { ...axes, replicates: points }, purge: { pulses: 0 }, ...once, ...changes }) }).start();
  run.runUntil(({ mode }) => mode === 'measuring');
  run.bench.answer = (request) => (request.kind === 'burst' && fails(run.engine.state.current?.point ?? 0) ? { kind: 'refused', code: 'open-load', text: 'no coil' } : undefined);
  return run;
}

describe('RUN-9 the end of a run', () => {
  it('names up to twenty points without a result, and says how many more there are', () => {
    const told = (points: number) => {
      const run = runOf(points, () => true);
      run.runUntil(ended);
      return run.events('ended')[0]?.text ?? '';
    };
    expect(told(20)).toContain('Without one: 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20. Look at');
    expect(told(21)).toContain(', 19, 20 and 1 more. Look at');
  });

  it('is complete only when every point counts, finished early when a point was never tried and nobody left it out', () => {
    const run = runOf(3, (point) => point === 1);
    run.runUntil(({ engine }) => engine.state.counts.attempts === 1);
    expect(endingOf(run.engine.state)).toBe<Ending>('finished-early');
    run.runUntil(ended);
    expect(endingOf(run.engine.state)).toBe<Ending>('complete-with-failures');
    run.bench.answer = () => undefined;
    run.command({ kind: 'measure-again', points: [1] });
    run.runUntil((r) => !ended(r));
    run.runUntil(ended);
    expect(endingOf(run.engine.state)).toBe<Ending>('complete');
  });

  it('speaks of one point as of one', () => {
    const run = runOf(1, () => false);
    run.runUntil(ended);
    expect(run.events('ended')[0]?.text).toBe('The only point has an attempt that counts.');
  });

  it('counts a point that was left out as neither failed nor untried, and says so', () => {
    const run = runOf(2, () => false);
    run.command({ kind: 'skip-point', point: 1 });
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe<Ending>('complete-with-failures');
    expect(run.events('ended')[0]?.text).toBe('1 of 2 points have an attempt that counts, 1 was left out.');
  });

  it('that is asked for is finished early, though nothing was left untried', () => {
    const run = runOf(2, (point) => point === 0);
    run.runUntil(({ engine }) => engine.state.current?.point === 1 && engine.state.current.step === 'measure');
    run.command({ kind: 'finish-early' });
    expect(endingOf(run.engine.state)).toBe<Ending>('finished-early');
    run.runUntil(ended);
    expect(run.engine.state.ending).toBe<Ending>('finished-early');
  });

  it('has one word for each, and one text', () => {
    const run = runOf(2, () => false);
    const all: readonly (Ending | null)[] = ['complete', 'complete-with-failures', 'finished-early', 'aborted', 'emergency-stopped', null];
    expect(all.map(endingWords)).toEqual(['complete', 'complete, with failed points', 'finished early', 'aborted', 'stopped with STOP', 'unfinished']);
    expect(endText(run.engine.state, 'emergency-stopped')).toBe('Stopped with STOP: 0 of 2 points have an attempt that counts. Find out why before anything is measured again.');
    expect(endText(run.engine.state, 'complete')).toBe('0 of 2 points have an attempt that counts; by a decision the others have none.');
    expect(endText(run.engine.state, 'complete-with-failures')).toBe('0 of 2 points have an attempt that counts. Without one: 1, 2. Look at what their attempts say, then measure these points again.');
  });

  it('names every injector that is out, how, and how many points wait for it', () => {
    const three = [1, 2, 3].map((channel) => ({ serialNumber: `A-${channel}`, type: 'T', channel }));
    const run = runOf(2, () => false, { injectors: three, giveUp: { afterFailures: 1 } });
    run.bench.answer = (request) => (request.kind === 'burst' && request.channel !== 2 ? { kind: 'refused', code: `load-${request.channel}`, text: 'no coil' } : undefined);
    run.runUntil(ended);
    expect(outText(run.engine.state)).toBe('A-1 on channel 1 was given up; 2 of its points wait; A-3 on channel 3 was given up; 2 of its points wait');
    expect(run.events('ended')[0]?.text).toBe(`2 of 6 points have an attempt that counts. ${outText(run.engine.state)}. Put right what is wrong with it, then measure its points again.`);
    expect(outText(runOf(1, () => false).engine.state)).toBe('');
  });

  it('tells who goes on measuring that an injector waits', () => {
    const run = runOf(2, () => false, { injectors: [...oneInjector, { serialNumber: 'A-2', type: 'T', channel: 2 }], giveUp: { afterFailures: 1 } });
    run.bench.answer = (request) => (request.kind === 'burst' && request.channel === 1 ? { kind: 'refused', code: 'open-load', text: 'no coil' } : undefined);
    run.runUntil(({ engine }) => engine.state.current?.step === 'measure');
    expect(run.engine.status(run.bench.time).advice).toBe('A-1 on channel 1 was given up; 2 of its points wait. Put right what is wrong and measure its points again when you can; the others go on.');
    expect(adviceText(run.engine.state, { notStartable: null, pressureByHand: true })).toBe('Set the rail pressure to the middle of the band by hand.');
    expect(run.engine.status(run.bench.time).progress).toEqual({ points: 4, accepted: 0, skipped: 0, attempts: 1, waiting: 2 });
  });
});

describe('the time that is left', () => {
  it('is that of the plan\'s own figures before anything is measured, and of the attempts the more there are', () => {
    const { state } = new TestRun({ plan: testPlan({ injectors: oneInjector, axes: { ...axes, replicates: 10 } }) }).engine;
    // Supply 0.2 s, purge 5 times 20 ms, settling 0.3 s, one and a half windows of 0.5 s, 0.5 s for the line.
    expect(remainingTime(state, 0, 0)).toBeCloseTo(10 * 1.85, 9);
    expect(remainingTime(state, 7 * 5, 7)).toBeCloseTo((10 * (35 + 3 * 1.85)) / 10, 9);
  });

  it('leaves out what is accepted, left out or waits, and is never less than nothing', () => {
    const { state } = new TestRun({ plan: testPlan({ injectors: oneInjector, axes: { ...axes, replicates: 10 } }) }).engine;
    expect(remainingTime({ ...state, counts: { accepted: 1, skipped: 2, attempts: 9, waiting: 4 } }, 0, 0)).toBeCloseTo(3 * 1.85, 9);
    expect(remainingTime({ ...state, counts: { accepted: 8, skipped: 2, attempts: 9, waiting: 4 } }, 0, 0)).toBe(0);
  });

  it('is told while the run drives only', () => {
    const run = runOf(2, () => false);
    expect(run.engine.status(run.bench.time).remaining).toBeGreaterThan(0);
    run.command({ kind: 'pause-now' });
    expect(run.engine.status(run.bench.time).remaining).toBeNull();
    expect(run.engine.status(run.bench.time).safe).toBeNull();
  });
});

describe('RUN-154 a point in words', () => {
  it.each([[0.9994, '999 us'], [0.25, '250 us'], [1, '1.000 ms'], [2.5, '2.500 ms']])('with a width of %d ms says %s', (width, said) => {
    const run = new TestRun({ plan: testPlan({ injectors: oneInjector, axes: { ...axes, widthMs: [width] } }) }).start();
    run.runUntil(({ mode }) => mode === 'measuring');
    expect(run.engine.status(run.bench.time).doing).toBe(`Setting the supply. Point 1 (A-1, 14 V, 400 kPa, ${said}), attempt 1.`);
  });

  it('says what each mode is about where nothing is known of it', () => {
    const { state } = new TestRun().engine;
    expect(doingText({ ...state, mode: 'measuring' }, null)).toBe('Measuring.');
    expect(doingText({ ...state, mode: 'ended' }, null)).toBe('Ended.');
    expect(doingText({ ...state, mode: 'making-safe' }, null)).toBe('Making the bench safe. ');
    expect(doingText({ ...state, mode: 'paused' }, null)).toBe('Paused; the bench has NOT confirmed that it is safe.');
    expect(doingText({ ...state, mode: 'measuring' }, new TestRun().points[0] ?? null)).toBe('Setting up. Point 1 (A-1, 10 V, 400 kPa, 3.000 ms), attempt 1.');
  });
});

describe('RUN-170 words about safety', () => {
  it('call a bench safe that has confirmed it, and no other', () => {
    expect(safeClause(true)).toBe('the bench is safe');
    expect(safeClause(false)).toBe('the bench has NOT confirmed that it is safe: press its emergency stop, isolate its supply, and look before you touch anything');
    for (const unknown of [null, undefined]) expect(safeSentence(unknown)).toBe('The bench has NOT confirmed that it is safe');
  });

  it('say what was shown, what the rail has done and what was answered', () => {
    expect(madeSafeText({ kind: 'done' }, null)).toBe('The bench was made safe.');
    expect(madeSafeText({ kind: 'done' }, true)).toBe('The bench was made safe: not pulsing, supply at its safe value, disarmed, rail pressure given up.');
    expect(madeSafeText({ kind: 'done' }, false)).toBe('The bench was made safe: not pulsing, supply at its safe value, disarmed.');
    expect(madeSafeText({ kind: 'no-answer', text: 'Nothing came.' }, true)).toMatch(/^The bench has NOT confirmed .*anything\. Nothing came\.$/);
    expect(madeSafeInJournal.confirmed(false)).toBe('Injectors off, supply at its safe value, disarmed: confirmed by the controller.');
    expect(madeSafeInJournal.unconfirmed(true)).toContain('Telemetry says');
    expect(madeSafeInJournal.unconfirmed(false)).not.toContain('Telemetry says');
    expect(deadManText()).toContain('heard nothing for its time.');
    expect(deadManText(seconds(2))).toContain('heard nothing for 2 s.');
    expect(stopShown(0.126)).toBe('The readings of the bench show pulses off, supply at 0.13 V, disarmed.');
  });
});
