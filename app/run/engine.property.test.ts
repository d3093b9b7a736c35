import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { amperes, celsius, pascals, seconds, volts } from '../quantities/quantity.ts';
import type { EngineOutput } from './engine.ts';
import { commands, runCommandSchema } from '../journal/commands.ts';
import type { RunCommand } from '../journal/events.ts';
import { foldRun } from '../journal/fold.ts';
import type { RunState } from '../journal/state.ts';
import { handling, restingModes, transitions } from './machine.ts';
import type { Mode } from '../journal/state.ts';
import { TestRun, testPlan } from './scripted-bench.test-helper.ts';

const modes = Object.keys(transitions) as Mode[];

const plan = testPlan({
  injectors: [{ serialNumber: 'A-1', type: 'T', channel: 1 }],
  axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 1 },
  giveUp: { afterFailures: 2 },
  guards: [
    { id: 'hot', signal: 'rail-temperature-c', high: 30, level: 'trip', dwellS: 0.2, hysteresis: 1 },
    { id: 'warm', signal: 'meter-temperature-c', high: 25, level: 'hold', dwellS: 0.1, hysteresis: 1, clearS: 1, maxResumes: 2 },
    { id: 'leak', signal: 'idle-flow-ml-min', high: 5, level: 'note' },
    { id: 'pressure', signal: 'pressure-deviation-kpa', low: -20, high: 20, level: 'hold', dwellS: 0.2, clearS: 1 },
  ],
});

const pointIndex = fc.integer({ min: -1, max: 4 });
const command: fc.Arbitrary<RunCommand> = fc.oneof(
  ...(['start', 'pause-at-next-point', 'pause-now', 'resume', 'resume', 'skip-wait', 'finish-early', 'abort', 'emergency-stop', 'acknowledge', 'measure-remaining', 'start'] as const).map((kind) =>
    fc.constant<RunCommand>({ kind }),
  ),
  pointIndex.map((point): RunCommand => ({ kind: 'skip-point', point })),
  fc.array(pointIndex, { maxLength: 3 }).map((points): RunCommand => ({ kind: 'measure-again', points })),
  fc.record({ kind: fc.constant('choose' as const), point: pointIndex, attempt: fc.option(fc.integer({ min: 0, max: 4 })), reason: fc.constantFrom('', 'because') }),
  fc.record({ kind: fc.constant('change-target' as const), voltageV: fc.option(fc.constantFrom(9, 14)), deadTimeUs: fc.constantFrom(2, 20) }),
  fc.record({ kind: fc.constant('note' as const), point: fc.option(pointIndex), attempt: fc.option(fc.integer({ min: 0, max: 4 })), injector: fc.option(fc.integer({ min: 0, max: 3 })), text: fc.constantFrom('', 'a drop'), mark: fc.constantFrom('note', 'look', 'settled') }),
);

/** Any frame at all, mostly impossible ones. */
const wildFrame: fc.Arbitrary<BenchFrame> = fc.record({
  at: fc.double({ noNaN: false }).map(seconds),
  number: fc.integer({ min: 0, max: 100_000 }),
  bootId: fc.constantFrom('boot-1', 'boot-1', 'boot-9'),
  supply: fc.double().map(volts),
  current: fc.double().map(amperes),
  pressure: fc.double().map(pascals),
  railTemperature: fc.double({ min: -50, max: 100 }).map(celsius),
  meterTemperature: fc.double({ min: -50, max: 100 }).map(celsius),
  edges: fc.nat(),
  lastEdgeAt: fc.double().map(seconds),
  burst: fc.record({ number: fc.nat(5), active: fc.boolean(), commanded: fc.nat(100), done: fc.nat(120) }),
  armed: fc.boolean(),
  fault: fc.option(fc.constantFrom('dead-man', 'emergency-stop', 'unheard-of').map((code) => ({ code, text: 'x' }))),
  interlocks: fc.nat(15),
});

type Action = (run: TestRun) => void;

const passing = fc.integer({ min: 1, max: 120 }).map(
  (n): Action =>
    (run) => {
      for (let i = 0; i < n; i += 1) run.pass();
    },
);

const mischief: fc.Arbitrary<Action> = fc.oneof(
  fc.constantFrom('over-current', 'dead-man').map((code): Action => (run) => { run.bench.latch(code); }),
  fc.constant<Action>((run) => { run.bench.reset(`boot-${run.bench.time}`); }),
  fc.constantFrom(-30, 0, 0).map((offset): Action => (run) => { run.bench.pressureOffset = offset; }),
  fc.constantFrom(21, 21, 27, 35).map((temperature): Action => (run) => { run.bench.temperature = temperature; }),
  fc.constantFrom(0b111, 0b111, 0b101).map((interlocks): Action => (run) => { run.bench.interlocks = interlocks; }),
  fc.constantFrom(false, false, true).map((silent): Action => (run) => { run.bench.telemetrySilent = silent; }),
  fc.constantFrom(true, true, false).map((works): Action => (run) => { run.bench.deadManWorks = works; }),
  fc.constantFrom('up', 'up', 'down').map((state): Action => (run) => { run.link(state); }),
  fc.constantFrom(60, 60, 1, 0).map((flow): Action => (run) => { run.bench.flow = flow; }),
  fc.constantFrom('burst', 'arm', 'make-safe', 'clear-faults', 'stop-burst', 'none', 'none').chain((kind) =>
    fc.constantFrom('refused', 'no-answer', 'never').map(
      (how): Action =>
        (run) => {
          run.bench.answer = (request) => {
            if (request.kind !== kind) return undefined;
            return how === 'refused' ? { kind: 'refused', code: 'x', text: 'no' } : how === 'no-answer' ? { kind: 'no-answer', text: 'nothing' } : null;
          };
        },
    ),
  ),
);

const benchAction: fc.Arbitrary<Action> = fc.oneof({ weight: 6, arbitrary: passing }, { weight: 3, arbitrary: command.map((c): Action => (run) => { run.command(c); }) }, { weight: 2, arbitrary: mischief });

const anyAction: fc.Arbitrary<Action> = fc.oneof(
  { weight: 4, arbitrary: benchAction },
  { weight: 1, arbitrary: wildFrame.map((frame): Action => (run) => { run.step({ kind: 'frame', now: run.bench.time, frame }); }) },
  { weight: 1, arbitrary: fc.nat(60).map((id): Action => (run) => { run.step({ kind: 'reply', now: run.bench.time, id, reply: { kind: 'done' } }); }) },
  { weight: 1, arbitrary: fc.constantFrom('up', 'down').map((state): Action => (run) => { run.step({ kind: 'link', now: run.bench.time, state, bootId: 'boot-7', reason: 'x' }); }) },
  { weight: 1, arbitrary: fc.constant<Action>((run) => { run.restartHost(); }) },
);

/** As `expect`, for a check that is made a million times. */
function must(kept: boolean, what: string): void {
  if (!kept) throw new Error(`Not kept: ${what}.`);
}

/** Folds along and looks at every change of mode. */
function checkModes(run: TestRun): void {
  let state: RunState | null = null;
  let before: Mode | null = null;
  for (const event of run.journal) {
    state = foldRun(state, event);
    if (before !== null && state.mode !== before) {
      expect(transitions[before], `${event.kind}: ${before} to ${state.mode}`).toContain(state.mode);
      if (restingModes.includes(state.mode)) expect(before).toBe('making-safe');
    }
    before = state.mode;
  }
}

function checkAccepted(run: TestRun): void {
  for (const [index, point] of run.engine.state.points.entries()) {
    const unasked = run.journal.filter((e) => e.kind === 'chosen' && e.point === index && 'rule' in e.by && e.by.rule === 'RUN-35');
    expect(unasked.length).toBeLessThanOrEqual(1);
    if (point.chosen !== null) expect(point.attempts[point.chosen - 1]?.window).not.toBeNull();
  }
  for (const event of run.journal) {
    if (event.kind === 'attempt-ended' && event.verdict === 'accepted') expect(event.criteria.every((c) => c.passed)).toBe(true);
  }
}

describe('the table', () => {
  it('RUN-2 has an entry for every mode and input', () => {
    const inputs = Object.keys(handling.ready);
    for (const mode of modes) {
      expect(Object.keys(handling[mode]).sort()).toEqual([...inputs].sort());
      for (const how of Object.values(handling[mode])) expect(how.kind === 'refused' ? how.why : how.how).not.toBe('');
    }
  });

  it('RUN-200 is the schema, the rights and the fold of every command', () => {
    const kinds = Object.keys(commands) as RunCommand['kind'][];
    const of = (kind: RunCommand['kind']) => ({ kind, ...Object.fromEntries(Object.keys(commands[kind].brings).map((field) => [field, { point: 0, points: [0], attempt: null, reason: 'r', injector: null, text: 't', mark: 'note', voltageV: 9, deadTimeUs: 2, ofMap: true }[field]])) });
    // As journals of before have it: a target of measured cells.
    const mayBeAbsent = new Set(['change-target ofMap']);
    for (const kind of kinds) {
      expect(runCommandSchema.safeParse(of(kind)).data, kind).toEqual(of(kind));
      expect(runCommandSchema.safeParse({ ...of(kind), more: 1 }).success, kind).toBe(false);
      for (const field of Object.keys(commands[kind].brings)) expect(runCommandSchema.safeParse({ ...of(kind), [field]: undefined }).success, `${kind} without ${field}`).toBe(mayBeAbsent.has(`${kind} ${field}`));
    }
    expect(runCommandSchema.safeParse({ kind: 'no-such' }).success).toBe(false);
    expect(kinds.filter((kind) => commands[kind].who === 'anyone')).toEqual(['emergency-stop', 'note']);
    expect(kinds.filter((kind) => commands[kind].drives)).toEqual(['start', 'resume', 'measure-again', 'measure-remaining']);
    expect(kinds.filter((kind) => commands[kind].stored)).toEqual(['choose', 'note']);
    expect(kinds.filter((kind) => Object.keys(commands[kind].sets).length > 0)).toEqual(['pause-at-next-point', 'resume', 'finish-early']);
  });

  it('RUN-3 leads to rest from making-safe only, and from every mode to making-safe', () => {
    for (const mode of modes) {
      for (const next of transitions[mode]) if (restingModes.includes(next)) expect(mode).toBe('making-safe');
      if (mode !== 'making-safe') expect(transitions[mode]).toContain('making-safe');
    }
  });

  it('RUN-8 accepts an emergency stop in every mode', () => {
    for (const mode of modes) expect(handling[mode]['emergency-stop'].kind).toBe('handled');
  });
});

describe('random runs', () => {
  it('RUN-1 RUN-2 RUN-3 whatever comes in: nothing throws, the state is the fold, rest is reached through safe', () => {
    fc.assert(
      fc.property(fc.boolean(), fc.array(anyAction, { maxLength: 40 }), (started, actions) => {
        const run = new TestRun({ plan });
        if (started) run.start();
        for (const action of actions) action(run);
        expect(run.engine.state).toEqual(run.refold());
        checkModes(run);
        checkAccepted(run);
        run.engine.status(run.bench.time);
      }),
      { numRuns: 1000 },
    );
  });

  it('RUN-2 RUN-5 every input is acted upon or accounted for', () => {
    fc.assert(
      fc.property(fc.array(anyAction, { maxLength: 30 }), (actions) => {
        const run = new TestRun({ plan }).start();
        const step = run.step.bind(run);
        let outstanding: number | null = run.last?.requests[0]?.id ?? null;
        run.step = (input): EngineOutput => {
          const { mode } = run.engine.state;
          const output = step(input);
          must(output.requests.length <= 1, 'one request at most');
          if (input.kind === 'command') {
            must(output.answer !== null && output.answer.reason !== '', 'an answer with a reason');
            must(output.ignored !== null || output.events.some((e) => e.kind === 'commanded'), 'told by the journal, or answered before');
            if (handling[mode][input.command.kind].kind === 'refused' && output.ignored === null) must(output.answer?.accepted === false, 'refused as the table says');
          } else {
            must(output.answer === null, 'an answer only to a command');
          }
          if (input.kind === 'reply') {
            if (input.id !== outstanding) must(output.ignored !== null, 'a late reply is accounted for');
            if (handling[mode].reply.kind === 'noted') must(output.ignored !== null, 'a reply at rest is accounted for');
          }
          if (input.kind === 'link') must(output.ignored !== null || output.events.length > 0, 'a change of the link is told or accounted for');
          const asked = output.requests[0]?.id;
          if (asked !== undefined) outstanding = asked;
          else if (input.kind === 'reply' && input.id === outstanding) outstanding = null;
          return output;
        };
        for (const action of actions) {
          action(run);
          if (run.last?.requests.length === 0 && run.engine.state.mode === 'ready') outstanding = null;
        }
      }),
      { numRuns: 10000 },
    );
  });

  it('RUN-4 RUN-30 after any mischief that passes, the run can be brought to a complete end, safe', () => {
    fc.assert(
      fc.property(fc.array(benchAction, { maxLength: 25 }), (actions) => {
        const run = new TestRun({ plan });
        for (const action of actions) action(run);
        run.bench.pressureOffset = 0;
        run.bench.temperature = 21;
        run.bench.interlocks = 0b111;
        run.bench.telemetrySilent = false;
        run.bench.deadManWorks = true;
        run.bench.flow = 60;
        run.bench.answer = () => undefined;
        run.link('up');
        // A run that has all its points may have been opened again for one, and rest.
        const isOver = (): boolean => run.mode === 'ended' && run.engine.state.counts.accepted + run.engine.state.counts.skipped === 4;
        for (let rounds = 0; rounds < 20 && !isOver(); rounds += 1) {
          run.runUntil((r) => ['ready', 'paused', 'tripped', 'ended'].includes(r.mode), 120);
          switch (run.mode) {
            case 'ready':
              for (let i = 0; i < 10; i += 1) run.pass();
              if (run.command({ kind: 'start' }).answer?.accepted !== true) run.command({ kind: 'acknowledge' });
              break;
            case 'paused':
              run.command({ kind: 'resume' });
              break;
            case 'tripped':
              run.command({ kind: 'acknowledge' });
              break;
            case 'ended':
              run.pass();
              if (run.bench.fault !== null) run.bench.fault = null;
              run.pass();
              run.command({ kind: 'measure-again', points: run.engine.state.points.flatMap((p, i) => (p.chosen === null ? [i] : [])) });
              break;
            default:
              break;
          }
          for (let i = 0; i < 40; i += 1) run.pass();
        }
        run.runUntil((r) => r.mode === 'ended', 120);
        expect(run.mode).toBe('ended');
        expect(run.engine.state.counts.accepted + run.engine.state.counts.skipped).toBe(4);
        if (run.engine.state.safe?.confirmed === true) expect(run.bench.armed || run.bench.burst.active).toBe(false);
        expect(run.engine.state).toEqual(run.refold());
      }),
      { numRuns: 1000 },
    );
  });
});
