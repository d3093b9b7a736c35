import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { parsePlan } from '../plan/parse.ts';
import { seconds, volts } from '../quantities/quantity.ts';
import { countingAttempts } from '../reduce/counting.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { createEngine } from '../run/engine.ts';
import { testEquipment, testPlan, TestRun } from '../run/scripted-bench.test-helper.ts';
import type { RunEvent, RunEventBody } from './events.ts';
import { foldRun } from './fold.ts';
import { List } from './list.ts';
import { emptyOutline, outlined, outlineOf } from './outline.ts';
import { bodySchemas } from './schemas.ts';
import type { RunState } from './state.ts';
import { upcast } from './upcast.ts';

type Kind = RunEventBody['kind'];

const plan = testPlan();
const window = {
  from: 1, to: 4, frames: 60, missingFrames: 0, edges: 120, firstEdgeAt: 1.01, lastEdgeAt: 3.99, partRates: [40, 40.1], pulses: 150,
  pressure: { mean: 4e5, sd: 100 }, supply: { mean: 14, sd: 0.01 }, railTemperature: { mean: 293, sd: 0.1 }, meterTemperature: { mean: 293, sd: 0.1 },
};
const identity = { model: 'M', serialNumber: '1', firmware: '1', protocol: 1 };
const by = { rule: 'RUN-35' };

/** One of each kind as it stands in a journal, with what it may lack left out. The compiler asks for one of each. */
const least: { readonly [K in Kind]: Record<string, unknown> & { readonly kind: K } } = {
  opened: { kind: 'opened', plan, equipment: testEquipment, operator: 'op', software: 'test', points: expandPlan(plan).length },
  'bench-connected': { kind: 'bench-connected', identity, capabilities: new TestRun().bench.capabilities, bootId: 'b', link: 'test' },
  preflight: { kind: 'preflight', lines: [{ rule: 'PRE-1', result: 'pass', text: 'well' }] },
  commanded: { kind: 'commanded', id: 'c1', command: { kind: 'choose', point: 0, attempt: null, reason: 'air' }, by: 'op', answer: 'accepted', reason: '' },
  'not-traceable': { kind: 'not-traceable', reasons: ['old'], by: 'op' },
  'clocks-compared': { kind: 'clocks-compared', bootId: 'b', comparison: { difference: 1e-5, u: 1e-6, duration: 60 }, text: '' },
  'proving-started': { kind: 'proving-started' },
  'dead-man-proved': { kind: 'dead-man-proved', silence: 1, pulsesBefore: 2, pulsesCommanded: 100 },
  'dead-man-not-proved': { kind: 'dead-man-not-proved', text: '' },
  'measuring-started': { kind: 'measuring-started' },
  'points-added': { kind: 'points-added', points: [{ role: 'measure', injector: 0, channel: 1, voltage: 14, pressure: 4e5, width: 5e-3, period: 0.02, replicate: 9 }], by: { person: 'op' }, why: 'not known well enough' },
  'target-changed': { kind: 'target-changed', voltageV: null, deadTimeUs: 5, before: 6, by: 'op' },
  'attempt-started': { kind: 'attempt-started', point: 0, attempt: 1, reason: 'plan' },
  step: { kind: 'step', step: 'supply', point: 0, attempt: 1 },
  'wait-skipped': { kind: 'wait-skipped', step: 'supply', point: 0, attempt: 1 },
  'attempt-ended': { kind: 'attempt-ended', point: 0, attempt: 1, verdict: 'accepted', window, criteria: [{ rule: 'RUN-62', passed: true, text: '' }], text: '' },
  'blind-sealed': { kind: 'blind-sealed', point: 0, attempt: 1, seal: 'ab' },
  'blind-unsealed': { kind: 'blind-unsealed', shifts: [{ point: 0, attempt: 1, shift: 1e-5, salt: 's' }] },
  chosen: { kind: 'chosen', point: 0, attempt: 1, by, why: '' },
  'point-skipped': { kind: 'point-skipped', point: 0, why: '' },
  'injector-out': { kind: 'injector-out', how: 'given-up', injector: 0, points: [0], cause: 'no-flow', text: '' },
  'injector-looked-at': { kind: 'injector-looked-at', injector: 0, attempts: [1, 1, 1], passed: true, criteria: [], text: '' },
  'injector-back': { kind: 'injector-back', injector: 0, text: '' },
  queued: { kind: 'queued', points: [0], reason: 'measure-again' },
  'second-pass-started': { kind: 'second-pass-started', points: [0] },
  'guard-noted': { kind: 'guard-noted', guard: 'rail', text: '' },
  'guard-cleared': { kind: 'guard-cleared', guard: 'rail', text: '' },
  'link-lost': { kind: 'link-lost', text: '' },
  'link-restored': { kind: 'link-restored', bootId: 'b', text: '' },
  'link-not-restored': { kind: 'link-not-restored', text: '' },
  'clock-stepped': { kind: 'clock-stepped', by: 1.5, text: '' },
  'controller-fault': { kind: 'controller-fault', fault: { code: 'watchdog', text: '' } },
  'making-safe': { kind: 'making-safe', then: { kind: 'ended', ending: 'aborted' }, why: '' },
  'made-safe': { kind: 'made-safe', confirmed: true, text: '' },
  paused: { kind: 'paused' },
  held: { kind: 'held', guard: 'rail', text: '' },
  tripped: { kind: 'tripped', guard: 'rail', text: '' },
  acknowledged: { kind: 'acknowledged' },
  resumed: { kind: 'resumed', automatic: true },
  ended: { kind: 'ended', ending: 'complete', text: '' },
  reopened: { kind: 'reopened', why: '' },
  'host-restarted': { kind: 'host-restarted', text: '' },
};

const stored = (body: unknown, seq = 0): unknown => JSON.parse(JSON.stringify({ seq, at: 1000 + seq, body }));
const read = (body: unknown): RunEventBody => {
  const found = upcast(stored(body));
  if (!found.ok) throw new Error(found.text);
  return found.event.body;
};

/** Another type of value in the place of this one. */
const spoiled = (value: unknown): unknown => (typeof value === 'string' ? 7 : typeof value === 'object' ? 'text' : {});

/** The host dies, another takes the run up and measures it to its end; `more` is written before. */
function goOn(run: TestRun, ...more: readonly RunEventBody[]): void {
  run.restartHost();
  run.runUntil((r) => r.mode === 'paused');
  run.journal.push(...more);
  run.engine = createEngine(run.refold());
  run.runUntil(() => false, 3);
  expect(run.command({ kind: 'resume' }).answer).toMatchObject({ accepted: true });
  run.runUntil((r) => r.mode === 'ended', 5000);
}

/** A journal in which a good deal happens. */
function eventfulRun(): TestRun {
  const run = new TestRun({ plan: testPlan() }).start();
  run.runUntil((r) => r.engine.state.counts.accepted === 2);
  run.bench.pressureOffset = 30;
  run.runUntil((r) => r.events('attempt-ended').some((event) => event.verdict === 'rejected'), 200);
  run.bench.pressureOffset = 0;
  run.command({ kind: 'measure-again', points: [0, 1] });
  run.runUntil((r) => r.engine.state.counts.accepted >= 4, 900);
  goOn(run);
  return run;
}

describe('the door to the past', () => {
  it('RUN-180 every kind passes with the least that a journal of any version holds, and comes out as it was', () => {
    expect(Object.keys(least).sort()).toEqual(Object.keys(bodySchemas).sort());
    for (const body of Object.values(least)) expect(read(body)).toEqual(JSON.parse(JSON.stringify(body)));
  });

  it('RUN-180 without a field that every journal has, or with another thing in its place, an event is refused, and the words name kind and field', () => {
    for (const [kind, body] of Object.entries(least)) {
      for (const [field, value] of Object.entries(body)) {
        if (field === 'kind') continue;
        for (const changed of [Object.fromEntries(Object.entries(body).filter(([name]) => name !== field)), { ...body, [field]: spoiled(value) }]) {
          const found = upcast(stored(changed));
          expect(found, `${kind}.${field}`).toMatchObject({ ok: false, text: expect.stringContaining(`kind ${kind}`) as string });
          expect(!found.ok && found.text).toContain(field);
        }
      }
    }
  });

  it('RUN-180 what is no event is refused in words, whatever it is', () => {
    const refusal = (input: unknown): string => {
      const found = upcast(input);
      return found.ok ? 'read' : found.text;
    };
    expect(refusal(null)).toBe('is no event');
    expect(refusal({ seq: -1, at: 0, body: least.acknowledged })).toBe('has no place in its journal');
    expect(refusal({ seq: 0, at: 'noon', body: least.acknowledged })).toBe('has no time');
    expect(refusal({ seq: 0, at: 0, body: 3 })).toBe('has no contents');
    expect(refusal({ seq: 0, at: 0, body: { kind: 'constructor' } })).toBe('has a kind that this program does not know');
    fc.assert(fc.property(fc.jsonValue(), fc.jsonValue(), fc.constantFrom(...Object.keys(least)), (value, field, kind) => {
      for (const input of [value, { seq: 0, at: 0, body: value }, { seq: 0, at: 0, body: { kind, point: field, text: value } }]) {
        const found = upcast(input);
        if (!found.ok) expect(found.text).toMatch(/^(is|has) /);
      }
    }));
  });

  it('RUN-180 what later versions add stays, and every event of a run that was disturbed comes through unchanged', () => {
    expect(read({ ...least.step, later: { a: 1 } })).toEqual({ ...least.step, later: { a: 1 } });
    const { journal } = eventfulRun();
    expect(new Set(journal.map(({ kind }) => kind)).size).toBeGreaterThan(14);
    // Key by key, so that its text is the stored one.
    for (const body of journal) expect(JSON.stringify(read(body))).toBe(JSON.stringify(body));
    expect(JSON.stringify(read({ text: 'b', later: 1, kind: 'link-lost' }))).toBe('{"text":"b","later":1,"kind":"link-lost"}');
  });

  it('RUN-181 plan and equipment of an earlier version are read with what they lack: parts that add points off, the rest as today', () => {
    const { planVersion, name, injectors, axes, sequence } = plan;
    const opened = read({ ...least.opened, plan: { planVersion, name: `${name}\u0007`, injectors, axes, sequence } });
    if (opened.kind !== 'opened') throw new Error('another kind');
    expect(opened.plan).toMatchObject({ name: `${name}\ufffd`, zero: { windowS: 0 }, pair: { windows: 0 }, look: { windowS: 0 } });
    const today = parsePlan({ planVersion, name, injectors, axes, sequence });
    expect(today.ok && opened.plan.byItself).toEqual(today.ok && today.plan.byItself);
    expect(upcast(stored({ ...least.opened, plan: { ...plan, axes: {} } }))).toMatchObject({ ok: false, text: expect.stringContaining('axes.') as string });
    expect(upcast(stored({ ...least.opened, equipment: { ...testEquipment, ambientKpa: -1 } }))).toMatchObject({ ok: false, text: expect.stringContaining('ambientKpa') as string });
  });
});

describe('where an attempt came from', () => {
  it('RUN-182 stands in the event, and a journal that does not say it folds to the same state by the order of measuring', () => {
    const { journal } = eventfulRun();
    const started = journal.filter((event) => event.kind === 'attempt-started');
    expect(new Set(started.map(({ origin }) => origin))).toEqual(new Set(['first-pass', 'measure-again']));
    let [said, derived]: (RunState | null)[] = [null, null];
    for (const event of journal) {
      said = foldRun(said ?? null, event);
      derived = foldRun(derived ?? null, event.kind === 'attempt-started' ? { kind: event.kind, point: event.point, attempt: event.attempt, reason: event.reason } : event);
      expect(derived).toEqual(said);
    }
  });

  it('RUN-182 is not decided again: what the event says holds where today another point would be next', () => {
    const run = new TestRun();
    const before = run.refold();
    const state = foldRun(before, { kind: 'attempt-started', point: 3, attempt: 1, reason: 'measure-again', origin: 'measure-again' });
    expect(state.current?.origin).toBe('measure-again');
  });
});

describe('points that were added', () => {
  const added = (run: TestRun, why = 'the slope of injector 1 is not known well enough'): RunEventBody => {
    const [first] = run.points;
    if (first === undefined) throw new Error('no point');
    const point = { role: first.role, injector: first.injector, channel: first.channel, voltage: volts(12.5), pressure: first.pressure, width: seconds(6e-3), period: first.period, replicate: first.replicate };
    return { kind: 'points-added', points: [point, { ...point, replicate: 1 }], by: { rule: 'RUN-183' }, why };
  };

  it('RUN-183 follow those of the plan, are measured, judged and counted like them, and stand in the tables', () => {
    const run = new TestRun();
    const planned = run.points.length;
    run.journal.push(added(run));
    run.engine = createEngine(run.refold());
    run.start();
    run.runUntil((r) => r.mode === 'ended', 5000);
    const state = run.refold();
    expect(state.ending).toBe('complete');
    expect(state.setPoints.slice(0, planned)).toEqual(run.points);
    expect(state.setPoints.slice(planned).map(({ index, voltage, replicate }) => ({ index, voltage, replicate }))).toEqual([
      { index: planned, voltage: 12.5, replicate: 0 },
      { index: planned + 1, voltage: 12.5, replicate: 1 },
    ]);
    expect(state.counts.accepted).toBe(planned + 2);
    expect(run.events('attempt-started').slice(-2).map(({ point }) => point)).toEqual([planned, planned + 1]);
    const { windows, cells } = reduceRun({ plan: state.plan, equipment: state.equipment, points: state.setPoints, attempts: countingAttempts(state) });
    expect(windows.filter(({ at }) => at.voltage === 12.5)).toHaveLength(2);
    expect(cells.filter(({ voltage }) => voltage === 12.5)).toHaveLength(1);
  });

  it('RUN-183 while measuring goes on they are next after the plan, also in a run that a new host takes up', () => {
    const run = new TestRun().start();
    run.runUntil((r) => r.engine.state.counts.accepted === 3);
    goOn(run, added(run));
    expect(run.engine.state).toMatchObject({ ending: 'complete', counts: { accepted: run.points.length + 2 } });
    expect(run.engine.status(run.bench.time).progress.points).toBe(run.points.length + 2);
  });

  it('RUN-183 of an injector that the plan does not have are refused', () => {
    const run = new TestRun();
    const event = added(run) as Extract<RunEventBody, { kind: 'points-added' }>;
    expect(() => foldRun(run.refold(), { ...event, points: event.points.map((point) => ({ ...point, injector: 99 })) })).toThrow(/no injector 99/);
  });
});

describe('the state', () => {
  const deepFrozen = <T>(value: T, seen = new Set<unknown>()): T => {
    if (typeof value !== 'object' || value === null || seen.has(value)) return value;
    seen.add(value);
    for (const part of value instanceof Map ? value.values() : Object.values(value)) deepFrozen(part, seen);
    return Object.freeze(value);
  };

  it('RUN-185 stays as it was when an event more is folded: no part of it is written into', () => {
    const { journal } = eventfulRun();
    let state: RunState | null = null;
    const seen = new Set<unknown>();
    const kept: { readonly state: RunState; readonly copy: RunState }[] = [];
    for (const event of journal) {
      if (state !== null) {
        deepFrozen(state, seen);
        // Maps cannot be frozen: they are held against a copy.
        if (kept.length < 40) kept.push({ state, copy: structuredClone(state) });
      }
      state = foldRun(state, event);
    }
    for (const { state: before, copy } of kept) expect(structuredClone(before)).toEqual(copy);
  });

  it('RUN-185 a run opened with another number of points than its plan gives cannot be folded', () => {
    const opened = least.opened as unknown as RunEventBody;
    expect(() => foldRun(null, { ...opened, points: 3 } as RunEventBody)).toThrow(/expands to 8 points, but the run was opened with 3/);
  });

  it('RUN-184 the outline that lists show, kept up event by event, is that of the whole state after each', () => {
    const run = eventfulRun();
    run.journal.push(least['points-added'] as unknown as RunEventBody, { kind: 'chosen', point: 0, attempt: null, by: { person: 'op' }, why: 'air' });
    let state: RunState | null = null;
    let outline = emptyOutline;
    const counting = new Map<number, number>();
    for (const [seq, body] of run.journal.entries()) {
      const event = read(body);
      state = foldRun(state, event);
      outline = outlined(outline, counting, { at: (1000 + seq) as RunEvent['at'], body: event });
      expect(outline).toEqual(outlineOf(state, 1000 + seq));
      expect([...counting].sort(([a], [b]) => a - b)).toEqual(state.points.flatMap(({ chosen }, point) => (chosen === null ? [] : [[point, chosen]])));
    }
    expect(outline.attempts).toBeGreaterThan(8);
  });
});

describe('the list that states share', () => {
  it('RUN-185 does as an array does, and what it was made from stays as it was', () => {
    fc.assert(fc.property(fc.integer({ min: 0, max: 1100 }), fc.array(fc.record({ at: fc.nat(1200), value: fc.integer() }), { maxLength: 20 }), fc.array(fc.integer(), { maxLength: 300 }), (length, changes, more) => {
      const array = Array.from({ length }, (_, i) => i);
      const list = List.of(array);
      let [now, expected] = [list, array];
      for (const { at, value } of changes) {
        if (at >= length) {
          expect(() => now.with(at, value)).toThrow(RangeError);
          continue;
        }
        now = now.with(at, value);
        expected = expected.with(at, value);
      }
      expect(now).toEqual(List.of(expected));
      now = now.concat(more);
      expected = [...expected, ...more];
      expect([now.length, [...now], now.at(expected.length - 1), now.at(expected.length), now.at(-1)]).toEqual([expected.length, expected, expected.at(-1), undefined, undefined]);
      const odd = (item: number): boolean => item % 2 !== 0;
      expect([now.map(String), now.filter(odd), now.some(odd), now.every(odd), now.flatMap((item) => [item, item])]).toEqual([expected.map(String), expected.filter(odd), expected.some(odd), expected.every(odd), expected.flatMap((item) => [item, item])]);
      expect(now.changed((item) => item)).toBe(now);
      expect([...now.changed((item, i) => (odd(item) ? i : item))]).toEqual(expected.map((item, i) => (odd(item) ? i : item)));
      expect([...list]).toEqual(array);
      expect(JSON.stringify(now)).toBe(JSON.stringify(expected));
    }), { numRuns: 60 });
  });
});
