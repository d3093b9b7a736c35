import { describe, expect, it } from 'vitest';
import { TestRun, testPlan } from '../run/scripted-bench.test-helper.ts';
import { unixMillis } from '../quantities/quantity.ts';
import type { RunEvent, RunEventBody } from '../journal/events.ts';
import { TimeKeeper, timeKinds } from './bench-time.ts';

const plan = testPlan();
const opened = new TestRun({ plan }).journal.find(({ kind }) => kind === 'opened');
if (opened === undefined) throw new Error('a journal without its first event');

/** Each body with the second at which it is written. */
function timeOf(...bodies: readonly (readonly [number, RunEventBody])[]) {
  const keeper = new TimeKeeper();
  [[0, opened] as const, ...bodies].forEach(([s, body], seq) => keeper.follow({ seq, at: unixMillis(s * 1e3), body: body as RunEventBody } satisfies RunEvent));
  return Object.fromEntries(Object.entries(keeper.sums).filter(([, s]) => s !== 0));
}
const started = (point: number): RunEventBody => ({ kind: 'attempt-started', point, attempt: 1, reason: 'plan' });
const step = (name: 'supply' | 'purge' | 'settle' | 'measure' | 'stop'): RunEventBody => ({ kind: 'step', step: name, point: 0, attempt: 1 });
const ended = (point: number, verdict: 'accepted' | 'rejected' | 'cut'): RunEventBody => ({ kind: 'attempt-ended', point, attempt: 1, verdict, window: null, criteria: [], text: '' });
const measure = (opened as Extract<RunEventBody, { kind: 'opened' }>).points - 1;

describe('where the time of a run went', () => {
  const attempt = (point: number, from: number, verdict: 'accepted' | 'rejected' = 'accepted') =>
    [[from, started(point)], [from + 1, step('purge')], [from + 3, step('settle')], [from + 6, step('measure')], [from + 16, step('stop')], [from + 17, ended(point, verdict)]] as const;
  const added = (role: 'measure' | 'reference' | 'zero' | 'blind'): RunEventBody => ({
    kind: 'points-added', why: '', by: { rule: 'SCH-9' }, points: [{ role, injector: 0, channel: 1, voltage: 14 as never, pressure: 4e5 as never, width: 5e-3 as never, period: 0.02 as never, replicate: 0 }],
  });
  const next = measure + 1;

  it('WIN-26: an accepted attempt is its steps, one without a result is told as a whole', () => {
    expect(timeOf([0, added('measure')], [5, { kind: 'proving-started' }], [8, { kind: 'measuring-started' }], ...attempt(next, 10))).toEqual({ proving: 3, deciding: 2, 'set-points': 1, purging: 2, settling: 3, windows: 10, stopping: 1 });
    expect(timeOf([0, added('measure')], [8, { kind: 'measuring-started' }], ...attempt(next, 8, 'rejected'))).toEqual({ repeated: 17 });
  });

  it('WIN-26, WIN-184: of a simulated bench that goes faster the time is its own, each stretch as fast as the window that ends it; by the clock it is told apart', () => {
    const keeper = new TimeKeeper();
    const follow = (s: number, body: RunEventBody): void => keeper.follow({ seq: keeper.events, at: unixMillis(s * 1e3), body });
    const window = (from: number, to: number) => ({ from, to }) as unknown as Extract<RunEventBody, { kind: 'attempt-ended' }>['window'];
    /** 0.1 s on the way to the set point, 0.2 s of a window that the controller measured to be so long. */
    const attemptAt = (s: number, windowS: number): void => {
      follow(s, started(next));
      follow(s + 0.1, step('measure'));
      follow(s + 0.3, step('stop'));
      follow(s + 0.3, { ...ended(next, 'accepted'), window: window(0, windowS) } as RunEventBody);
    };
    follow(0, opened);
    follow(0, added('measure'));
    follow(0, { kind: 'measuring-started' });
    attemptAt(0, 8);
    expect(keeper.pace).toBeCloseTo(40, 6);
    expect(keeper.bench.windows).toBeCloseTo(8, 6);
    expect(keeper.bench['set-points']).toBeCloseTo(4, 6);
    attemptAt(0.3, 4);
    expect(keeper.bench.windows).toBeCloseTo(12, 6);
    expect(keeper.bench['set-points']).toBeCloseTo(4 + 2, 6);
    expect(keeper.sums.windows).toBeCloseTo(0.4, 6);
    // A bench that goes as the clock does: its windows are a little shorter than their steps, and both times are one.
    attemptAt(0.6, 0.18);
    expect(keeper.pace).toBe(1);
    expect(keeper.bench.windows).toBeCloseTo(12.2, 6);
  });

  it('WIN-26: reference points, zero points and checks are told as wholes', () => {
    for (const [role, kind] of [['reference', 'reference'], ['zero', 'zero'], ['blind', 'checks']] as const) expect(timeOf([0, added(role)], [8, { kind: 'measuring-started' }], ...attempt(next, 8))).toEqual({ [kind]: 17 });
  });

  it('WIN-26: holds, rests, making safe and the absence of the host have their own time, and nothing is told before the start and after the end', () => {
    const safe = (at: number, then: RunEventBody): readonly (readonly [number, RunEventBody])[] => [[at, { kind: 'making-safe', then: { kind: 'paused' }, why: '' }], [at + 2, { kind: 'made-safe', confirmed: true, text: '' }], [at + 2, then]];
    expect(timeOf(
      [100, { kind: 'measuring-started' }], ...safe(101, { kind: 'held', guard: 'g', text: '' }), [110, { kind: 'resumed', automatic: true }], [110, { kind: 'measuring-started' }],
      ...safe(110, { kind: 'paused' }), [120, { kind: 'measuring-started' }], [121, started(0)], [160, { kind: 'host-restarted', text: '' }], [165, { kind: 'measuring-started' }],
      ...safe(165, { kind: 'ended', ending: 'complete', text: '' }), [999, { kind: 'clock-stepped', by: 0, text: '' }],
    )).toEqual({ deciding: 2, safe: 6, holds: 7, rests: 13, away: 39 });
  });

  it('WIN-26: of a whole run everything from its start to its end is told, once', () => {
    const run = new TestRun({ plan }).start();
    expect(run.runUntil((one) => one.mode === 'ended', 5000)).toBe(true);
    const keeper = new TimeKeeper();
    run.journal.forEach((body, seq) => keeper.follow({ seq, at: unixMillis(seq * 1000), body }));
    const from = run.journal.findIndex(({ kind }) => kind === 'proving-started');
    const to = run.journal.findIndex(({ kind }) => kind === 'ended');
    expect(timeKinds.reduce((sum, { kind }) => sum + keeper.sums[kind], 0)).toBeCloseTo(to - from, 6);
    for (const kind of ['windows', 'set-points', 'purging', 'settling', 'stopping', 'proving', 'safe'] as const) expect(keeper.sums[kind], kind).toBeGreaterThan(0);
  });
});
