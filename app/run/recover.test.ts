/** What a new host writes into the journal of a run, by where the one before had left it. */
import { describe, expect, it } from 'vitest';
import type { Mode } from '../journal/state.ts';
import { recoverRun } from './recover.ts';
import { TestRun, testPlan } from './scripted-bench.test-helper.ts';

const plan = testPlan({ guards: [{ id: 'hot', signal: 'rail-temperature-c', high: 30, level: 'trip' }, { id: 'warm', signal: 'meter-temperature-c', high: 25, level: 'hold' }] });
const until = (run: TestRun, mode: Mode): TestRun => {
  if (!run.runUntil(() => run.mode === mode, 60)) throw new Error(`never ${mode}`);
  return run;
};
const measuring = (): TestRun => {
  const run = new TestRun({ plan }).start();
  run.runUntil(({ engine }) => engine.state.current?.step === 'measure');
  return run;
};

/** A run that is left in each mode, and the two ways to safe that a new host must not turn away from. */
const left = {
  ready: () => new TestRun({ plan }),
  proving: () => new TestRun({ plan }).start(),
  measuring,
  'on the way to a pause': () => {
    const run = measuring();
    run.command({ kind: 'pause-now' });
    return run;
  },
  'on the way to a hold': () => {
    const run = measuring();
    run.link('down');
    return run;
  },
  'on the way to a trip': () => {
    const run = measuring();
    run.bench.temperature = 31;
    run.pass();
    return run;
  },
  'on the way to an end': () => {
    const run = measuring();
    run.command({ kind: 'abort' });
    return run;
  },
  paused: () => {
    const run = measuring();
    run.command({ kind: 'pause-now' });
    return until(run, 'paused');
  },
  held: () => {
    const run = measuring();
    run.bench.temperature = 26;
    return until(run, 'held');
  },
  tripped: () => {
    const run = measuring();
    run.bench.temperature = 31;
    return until(run, 'tripped');
  },
  'ended and going on again': () => {
    const run = new TestRun({ plan }).start();
    until(run, 'ended').command({ kind: 'measure-again', points: [0] });
    return until(run, 'measuring');
  },
  ended: () => until(new TestRun({ plan }).start(), 'ended'),
} satisfies Record<string, () => TestRun>;

describe('RUN-80 RUN-82 RUN-83 a new host', () => {
  it.each<[keyof typeof left, string | null]>([
    ['ready', null],
    ['proving', 'paused'],
    ['measuring', 'paused'],
    ['on the way to a pause', 'paused'],
    ['on the way to a hold', 'paused'],
    ['on the way to a trip', 'tripped'],
    ['on the way to an end', 'ended'],
    ['paused', 'paused'],
    ['held', 'paused'],
    ['tripped', 'tripped'],
    ['ended and going on again', 'paused'],
  ])('that finds a run %s goes to %s', (where, then) => {
    const run = left[where]();
    const { state } = run.engine;
    const [restarted, ...others] = recoverRun(state);
    expect(restarted?.kind).toBe('host-restarted');
    const safe = others.at(-1);
    if (then === null) expect(others).toEqual([]);
    else expect(safe).toMatchObject({ kind: 'making-safe', then: { kind: then } });
    // Where it keeps to what was told, it keeps to the words as well.
    if (then === 'tripped' || then === 'ended') expect(safe).toMatchObject({ then: state.safe?.then });
    else if (then === 'paused') expect(safe).toMatchObject({ then: { kind: 'paused' } });
    const cut = others.slice(0, -1);
    expect(cut).toEqual(state.current === null ? [] : [expect.objectContaining({ kind: 'attempt-ended', point: state.current.point, attempt: state.current.attempt, verdict: 'cut', window: null, criteria: [] })]);
  });

  it('leaves a run that has ended as it is', () => {
    expect(recoverRun(left.ended().engine.state)).toEqual([]);
  });

  it('takes a pause from nothing that was told before: what made the run rest is over', () => {
    const [, safe] = recoverRun(left.held().engine.state);
    expect(safe).toEqual({ kind: 'making-safe', then: { kind: 'paused' }, why: 'The program was started again.' });
  });
});
