import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { seconds, unixMillis } from '../quantities/quantity.ts';
import { countingAttempts } from '../reduce/counting.ts';
import { TestRun, testPlan } from '../run/scripted-bench.test-helper.ts';
import { condensed, foldCondensed, upToPlace, withoutLimitsKept } from './condensed.ts';
import type { RunCommand, RunEvent } from './events.ts';
import { foldRun } from './fold.ts';
import { notesOf } from './note.ts';
import type { RunState } from './state.ts';

type Action = (run: TestRun) => void;

const passingFor = (n: number): Action => (run) => {
  for (let i = 0; i < n; i += 1) run.pass();
};
const passing = fc.integer({ min: 1, max: 150 }).map(passingFor);
const command = fc
  .oneof(
    ...(['pause-now', 'resume', 'resume', 'skip-wait', 'skip-wait', 'finish-early', 'measure-remaining'] as const).map((kind) => fc.constant<RunCommand>({ kind })),
    fc.array(fc.nat(3), { maxLength: 3 }).map((points): RunCommand => ({ kind: 'measure-again', points })),
    fc.record({ kind: fc.constant('choose' as const), point: fc.nat(3), attempt: fc.option(fc.integer({ min: 1, max: 2 })), reason: fc.constant('because') }),
    fc.record({ kind: fc.constant('note' as const), point: fc.option(fc.nat(3)), attempt: fc.constant(null), injector: fc.constant(null), text: fc.constant('a drop'), mark: fc.constant('look' as const) }),
  )
  .map((of): Action => (run) => void run.command(of));
const mischief = fc.oneof(
  fc.constantFrom(-30, 0, 0).map((offset): Action => (run) => { run.bench.pressureOffset = offset; }),
  fc.constantFrom('up', 'down').map((state): Action => (run) => { run.link(state); }),
  fc.constant<Action>((run) => { run.restartHost(); }),
);
const drawnRun = fc.array(fc.oneof({ weight: 6, arbitrary: passing }, { weight: 3, arbitrary: command }, { weight: 2, arbitrary: mischief }), { minLength: 4, maxLength: 30 });

const plan = testPlan({ injectors: [{ serialNumber: 'A-1', type: 'T', channel: 1 }], axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 1 }, giveUp: { afterFailures: 2 } });

function journalOf(actions: readonly Action[]): readonly RunEvent[] {
  const run = new TestRun({ plan }).start();
  for (const action of actions) action(run);
  return run.journal.map((body, seq) => ({ seq, at: unixMillis(seq), body }));
}

const condensedOf = (events: readonly RunEvent[]): readonly RunEvent[] => [...condensed(events, ({ body }) => body.kind)].map(withoutLimitsKept);

/** What a reader of pages comes to: of the events up to each place in `ends` what stands of them, one page after the other. */
function read(events: readonly RunEvent[], ends: readonly number[]): RunState | null {
  let state: RunState | null = null;
  let from = 0;
  for (const to of [...ends, events.length]) {
    for (const event of condensedOf(events.slice(from, to))) state = foldCondensed(state, event);
    if (state !== null) state = upToPlace(state, to);
    from = to;
  }
  return state;
}

describe('HOST-170 the condensed form of a journal', () => {
  it('folds to the very state of the whole journal, wherever the journal ends and however its pages are cut', () => {
    let steps = 0;
    let restarts = 0;
    let rejected = 0;
    fc.assert(
      fc.property(drawnRun, fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { maxLength: 5 }), fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 6, maxLength: 6 }), (actions, cuts, ends) => {
        const all = journalOf(actions);
        for (const share of [1, ...ends]) {
          const events = all.slice(0, Math.max(1, Math.round(share * all.length)));
          const whole = events.reduce<RunState | null>((state, { body }) => foldRun(state, body), null);
          const state = read(events, cuts.map((cut) => Math.round(cut * events.length)).sort((a, b) => a - b));
          expect(state).toStrictEqual(whole);
          if (state !== null && whole !== null) expect(countingAttempts(state)).toStrictEqual(countingAttempts(whole));
        }
        expect(notesOf(condensedOf(all))).toEqual(notesOf(all));
        for (const { body } of all) {
          if (body.kind === 'step') steps += 1;
          if (body.kind === 'host-restarted') restarts += 1;
          if (body.kind === 'attempt-ended' && body.verdict === 'rejected') rejected += 1;
        }
      }),
      { numRuns: 60, seed: 170 },
    );
    // It would be little to say of journals in which nothing happens.
    expect(Math.min(steps / 10, restarts, rejected)).toBeGreaterThan(10);
  });

  it('has of the steps of an attempt none that another step or the end follows, in their order', () => {
    const all = journalOf([(run) => run.runUntil((r) => r.engine.state.counts.accepted === 2), (run) => { run.bench.pressureOffset = 30; }, passingFor(200)]);
    const short = condensedOf(all);
    const nextTo = ({ seq }: RunEvent): string | undefined => all[seq + 1]?.body.kind;
    const isStep = ({ body }: RunEvent): boolean => body.kind === 'step';
    expect(short.filter(isStep).filter((event) => ['step', 'attempt-ended'].includes(nextTo(event) ?? ''))).toEqual([]);
    expect(short.filter(isStep).length).toBeLessThan(all.filter(isStep).length / 5);
    expect(short.map(({ seq }) => seq)).toEqual([...short.map(({ seq }) => seq)].sort((a, b) => a - b));
  });

  it('has of the limits that an attempt was held against those that it did not keep, and all else of it', () => {
    const criteria = [{ rule: 'RUN-60', passed: true, text: 'well' }, { rule: 'RUN-62', passed: false, text: 'not well' }];
    const body = { kind: 'attempt-ended', point: 3, attempt: 2, verdict: 'rejected', window: null, criteria, text: 'Not well.', injector: 1, cause: 'pressure', drivenWidth: 0.004 } as const;
    const event = { seq: 7, at: unixMillis(8), body: { ...body, drivenWidth: seconds(0.004) } };
    expect(withoutLimitsKept(event)).toEqual({ ...event, body: { ...event.body, criteria: criteria.slice(1) } });
  });
});
