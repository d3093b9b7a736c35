/**
 * The state of a run is this fold over its journal and nothing else. Engine, archive, window and report all use it. It is a pure
 * function: the state that it was given stays as it was. Cost per event hardly grows with the run (`list.ts`).
 */
import { windowSignals } from '../bench/readings.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import { changedTargets } from '../plan/wanted.ts';
import { isBenchCause } from './bench-cause.ts';
import { commandRow } from './commands.ts';
import type { RunEventBody } from './events.ts';
import { List } from './list.ts';
import type { WindowSummary } from './measured.ts';
import type { AttemptRecord, PointRecord, RunState } from './state.ts';
import { nextTarget } from './targets.ts';

type EventOf<Kind extends RunEventBody['kind']> = Extract<RunEventBody, { kind: Kind }>;

/** A state while one event is folded into it: a copy whose fields are replaced, and whose parts are never written into. */
type Draft = { -readonly [K in keyof RunState]: RunState[K] };

const nothing = { mean: Number.NaN, sd: Number.NaN };

/** Stands in a state for a window that only the journal keeps. */
const inJournal = Object.freeze({
  from: Number.NaN, to: Number.NaN, frames: 0, missingFrames: 0, edges: 0, firstEdgeAt: Number.NaN, lastEdgeAt: Number.NaN, partRates: [], pulses: 0,
  ...Object.fromEntries(windowSignals.map(({ id }) => [id, nothing])),
}) as unknown as WindowSummary;

/** Whether a state holds a window itself, and not only that there is one. */
export const isKept = (window: WindowSummary): boolean => window !== inJournal;

/**
 * The same state for driving a run: of the windows, which are most of a long run, it keeps only those of the first look, which the
 * engine judges by; of the others that they are there. It cannot be reduced. HOST-19
 */
export function forDriving(state: RunState): RunState {
  const keeps = new Set(state.setPoints.flatMap(({ index, role }) => (role === 'look' ? [index] : [])));
  return {
    ...state,
    keeps,
    points: state.points.changed((point, index) =>
      keeps.has(index) || point.attempts.length === 0 ? point : { ...point, attempts: point.attempts.map((attempt) => (attempt.window === null ? attempt : { ...attempt, window: inJournal })) }),
  };
}

/** Folds one event into the state of its run; `null` before the first, which must be 'opened'. Throws where an event cannot follow those before it. */
export function foldRun(state: RunState | null, event: RunEventBody): RunState {
  if (state === null) {
    if (event.kind !== 'opened') throw new Error(`The first event of a run must be 'opened', not '${event.kind}'.`);
    return opened(event);
  }
  const run: Draft = { ...state, revision: state.revision + 1 };
  apply(run, event);
  return run;
}

const untouched: PointRecord = {
  attempts: [], chosen: null, choice: null, skipped: null, decided: false, firstPassRejected: 0, secondPassRejected: 0, queueRejected: 0, queued: false, waiting: false,
};
const noneFailing: RunState['benchFailing'] = { cause: '', count: 0 };
const noneOut: RunState['outRunning'] = { cause: '', injectors: [] };

function opened(event: EventOf<'opened'>): RunState {
  const setPoints = expandPlan(event.plan);
  if (setPoints.length !== event.points) throw new Error(`The plan expands to ${setPoints.length} points, but the run was opened with ${event.points}.`);
  return {
    revision: 1,
    plan: event.plan,
    equipment: event.equipment,
    operator: event.operator,
    software: event.software,
    bench: null,
    preflight: [],
    qualification: null,
    notTraceable: [],
    untraceableAccepted: false,
    clocks: new Map(),
    mode: 'ready',
    safe: null,
    provedBootId: null,
    linkUp: false,
    pausePending: false,
    finishing: false,
    ending: null,
    planOver: false,
    current: null,
    setPoints,
    points: List.of(setPoints.map(() => untouched)),
    counts: { accepted: 0, skipped: 0, attempts: 0, waiting: 0 },
    secondPassStarted: false,
    firstPass: 0,
    secondPassPoints: [],
    secondPass: 0,
    queue: [],
    queueHead: 0,
    keeps: null,
    out: new Map(),
    failing: new Map(),
    looked: new Map(),
    outRunning: noneOut,
    benchFailing: noneFailing,
    commands: new Map(),
    resumes: new Map(),
    notes: new Map(),
    hostRestarts: 0,
    lastFault: null,
  };
}

// eslint-disable-next-line max-lines-per-function, complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
function apply(run: Draft, event: RunEventBody): void {
  switch (event.kind) {
    case 'opened':
      throw new Error('A run can be opened only once.');
    case 'bench-connected':
      run.bench = { identity: event.identity, capabilities: event.capabilities, bootId: event.bootId, link: event.link };
      run.linkUp = true;
      // Another day, another choice.
      run.untraceableAccepted = false;
      return;
    case 'preflight':
      run.preflight = event.lines;
      run.qualification = event.qualification ?? null;
      return;
    case 'clocks-compared':
      run.clocks = withEntry(run.clocks, event.bootId, event.comparison);
      return;
    case 'not-traceable':
      run.untraceableAccepted = true;
      run.notTraceable = [...new Set([...run.notTraceable, ...event.reasons])];
      return;
    case 'commanded':
      run.commands = withEntry(run.commands, event.id, { command: event.command, accepted: event.answer === 'accepted', reason: event.reason });
      if (event.answer === 'accepted') Object.assign(run, commandRow(event.command).sets);
      return;
    case 'proving-started':
      // A proof that is begun must be finished, also where one was made before.
      run.provedBootId = null;
      run.mode = 'proving';
      return;
    case 'dead-man-proved':
      run.provedBootId = run.bench?.bootId ?? null;
      return;
    case 'dead-man-not-proved':
      run.provedBootId = null;
      return;
    case 'measuring-started':
      run.mode = 'measuring';
      return;
    case 'points-added':
      addPoints(run, event);
      return;
    case 'target-changed':
      run.plan = { ...run.plan, targets: targetsAfter(run.plan.targets, event) };
      return;
    case 'attempt-started':
      startAttempt(run, event);
      return;
    case 'step':
      if (run.current !== null) run.current = { ...run.current, step: event.step };
      return;
    case 'wait-skipped':
      if (run.current !== null) run.current = { ...run.current, skippedWaits: [...run.current.skippedWaits, event.step] };
      return;
    case 'attempt-ended':
      endAttempt(run, event);
      return;
    case 'blind-sealed':
      changeAttempt(run, event, { blind: { seal: event.seal, shift: null } });
      return;
    case 'blind-unsealed':
      for (const secret of event.shifts) {
        const seal = pointAt(run, secret.point).attempts[secret.attempt - 1]?.blind?.seal;
        if (seal === undefined) throw new Error(`Attempt ${secret.attempt} of point ${secret.point} was unsealed without having been sealed.`);
        changeAttempt(run, secret, { blind: { seal, shift: secret.shift } });
      }
      return;
    case 'chosen':
      choose(run, event);
      return;
    case 'point-skipped':
      if (pointAt(run, event.point).skipped === null) count(run, 'skipped', 1);
      change(run, event.point, { skipped: event.why });
      setWaiting(run, event.point, false);
      advance(run);
      return;
    case 'injector-out':
      run.out = withEntry(run.out, event.injector, { how: event.how, cause: event.cause, text: event.text, points: event.points });
      run.outRunning = { cause: event.cause, injectors: event.cause === run.outRunning.cause ? [...run.outRunning.injectors, event.injector] : [event.injector] };
      for (const index of event.points) {
        setWaiting(run, index, true);
        change(run, index, { queued: false });
      }
      advance(run);
      return;
    case 'injector-looked-at':
      run.looked = withEntry(run.looked, event.injector, { attempts: event.attempts, passed: event.passed, text: event.text });
      return;
    case 'injector-back':
      takeBack(run, event.injector);
      return;
    case 'queued':
      enqueue(run, event.points);
      return;
    case 'second-pass-started':
      run.secondPassStarted = true;
      run.secondPassPoints = event.points;
      run.secondPass = 0;
      advance(run);
      return;
    case 'guard-noted':
      run.notes = withEntry(run.notes, event.guard, event.text);
      return;
    case 'guard-cleared':
      run.notes = without(run.notes, event.guard);
      return;
    case 'link-lost':
      run.linkUp = false;
      return;
    case 'link-not-restored':
    case 'clock-stepped':
      return;
    case 'link-restored':
      run.linkUp = true;
      if (run.bench !== null) run.bench = { ...run.bench, bootId: event.bootId };
      return;
    case 'controller-fault':
      run.lastFault = event.fault;
      return;
    case 'making-safe':
      run.mode = 'making-safe';
      run.safe = { then: event.then, why: event.why, confirmed: null, text: '' };
      return;
    case 'made-safe':
      if (run.safe !== null) run.safe = { ...run.safe, confirmed: event.confirmed, text: event.text };
      return;
    case 'paused':
      run.mode = 'paused';
      run.pausePending = false;
      return;
    case 'held':
      run.mode = 'held';
      return;
    case 'tripped':
      run.mode = 'tripped';
      return;
    case 'acknowledged':
      return;
    case 'resumed':
      if (!event.automatic) run.benchFailing = noneFailing;
      if (event.automatic && run.safe?.then.kind === 'held') {
        const { guard } = run.safe.then;
        run.resumes = withEntry(run.resumes, guard, (run.resumes.get(guard) ?? 0) + 1);
      }
      return;
    case 'ended':
      run.mode = 'ended';
      run.ending = event.ending;
      run.planOver = true;
      run.pausePending = false;
      run.finishing = false;
      return;
    case 'reopened':
      run.ending = null;
      if (event.plan === true) planAgain(run);
      return;
    case 'host-restarted':
      run.hostRestarts += 1;
      run.linkUp = false;
      return;
  }
}

function withEntry<Key, Value>(map: ReadonlyMap<Key, Value>, key: Key, value: Value): ReadonlyMap<Key, Value> {
  return new Map(map).set(key, value);
}

function without<Key, Value>(map: ReadonlyMap<Key, Value>, key: Key): ReadonlyMap<Key, Value> {
  if (!map.has(key)) return map;
  const fewer = new Map(map);
  fewer.delete(key);
  return fewer;
}

function pointAt(run: RunState, index: number): PointRecord {
  const point = run.points.at(index);
  if (point === undefined) throw new RangeError(`The run has ${run.points.length} points, so there is no point ${index}.`);
  return point;
}

function change(run: Draft, index: number, changes: Partial<PointRecord>): void {
  run.points = run.points.with(index, { ...pointAt(run, index), ...changes });
}

function changeAttempt(run: Draft, { point, attempt }: { readonly point: number; readonly attempt: number }, changes: Partial<AttemptRecord>): void {
  const { attempts } = pointAt(run, point);
  const before = attempts[attempt - 1];
  if (before === undefined) throw new Error(`Point ${point} has no attempt ${attempt}.`);
  change(run, point, { attempts: attempts.with(attempt - 1, { ...before, ...changes }) });
}

function count(run: Draft, what: keyof RunState['counts'], by: number): void {
  run.counts = { ...run.counts, [what]: run.counts[what] + by };
}

function addPoints(run: Draft, { points }: EventOf<'points-added'>): void {
  for (const { injector } of points) if (run.plan.injectors[injector] === undefined) throw new RangeError(`The plan has no injector ${injector} to measure a point of.`);
  const first = run.setPoints.length;
  run.setPoints = [...run.setPoints, ...points.map((point, i) => ({ ...point, index: first + i }))];
  run.points = run.points.concat(points.map(() => untouched));
}

function targetsAfter(targets: Plan['targets'], change: EventOf<'target-changed'>): NonNullable<Plan['targets']> {
  if (targets === undefined) throw new RangeError('The plan states no targets that could be changed.');
  return changedTargets(targets, change);
}

function startAttempt(run: Draft, event: EventOf<'attempt-started'>): void {
  const { point, attempt, reason } = event;
  // Journals of earlier versions do not say it; the order in which they were measured does (RUN-30).
  const origin = event.origin ?? nextTarget(run)?.origin ?? 'first-pass';
  const { attempts } = pointAt(run, point);
  change(run, point, { attempts: [...attempts, { attempt, reason, verdict: null, window: null, text: '', order: run.revision }] });
  run.current = { point, attempt, reason, origin, step: null, skippedWaits: [] };
}

let latestText = '';
/** A text that was met just before, as the same text in memory. */
function same(text: string): string {
  if (text !== latestText) latestText = text;
  return latestText;
}

const rejectedBy = { 'first-pass': 'firstPassRejected', 'second-pass': 'secondPassRejected', 'measure-again': 'queueRejected' } as const;

function endAttempt(run: Draft, event: EventOf<'attempt-ended'>): void {
  const point = pointAt(run, event.point);
  const place = event.attempt - 1;
  const started = point.attempts[place];
  if (started === undefined) throw new Error(`Attempt ${event.attempt} of point ${event.point} ended without having been started.`);
  const { drivenWidth } = event;
  const window = event.window === null || run.keeps === null || run.keeps.has(event.point) ? event.window : inJournal;
  const ended = { ...started, verdict: event.verdict, window, text: same(event.text), ...(drivenWidth === undefined ? {} : { drivenWidth }) };
  change(run, event.point, { attempts: point.attempts.with(place, ended) });
  count(run, 'attempts', 1);
  const origin = run.current?.origin;
  if (event.verdict === 'rejected' && origin !== undefined) change(run, event.point, { [rejectedBy[origin]]: point[rejectedBy[origin]] + 1 });
  countBenchFailures(run, event);
  if (event.injector !== undefined) countFailures(run, event.injector, event);
  // An operator's wish is served by any accepted attempt; a rejected one uses up one of its repeats.
  const isServed = event.verdict === 'accepted' || pointAt(run, event.point).queueRejected >= run.plan.repeats.attemptsAtOnce;
  if (point.queued && origin === 'measure-again' && isServed) change(run, event.point, { queued: false });
  run.current = null;
  advance(run);
}

function countBenchFailures(run: Draft, { verdict, cause = '' }: EventOf<'attempt-ended'>): void {
  if (verdict === 'cut') return;
  if (verdict === 'accepted' || !isBenchCause(cause)) run.benchFailing = noneFailing;
  else run.benchFailing = { cause, count: cause === run.benchFailing.cause ? run.benchFailing.count + 1 : 1 };
}

function countFailures(run: Draft, injector: number, { verdict, cause }: EventOf<'attempt-ended'>): void {
  switch (verdict) {
    case 'accepted':
      run.failing = without(run.failing, injector);
      run.outRunning = noneOut;
      return;
    case 'rejected': {
      if (isBenchCause(cause ?? '')) return;
      const before = run.failing.get(injector);
      const again = cause !== undefined && before?.cause === cause;
      run.failing = withEntry(run.failing, injector, { cause: cause ?? '', count: again ? before.count + 1 : 1 });
      return;
    }
    case 'cut':
      return;
  }
}

function setWaiting(run: Draft, index: number, waiting: boolean): void {
  if (pointAt(run, index).waiting === waiting) return;
  change(run, index, { waiting });
  count(run, 'waiting', waiting ? 1 : -1);
}

/** Its waiting points take part again, each at its place in the plan. */
function takeBack(run: Draft, injector: number): void {
  const record = run.out.get(injector);
  run.out = without(run.out, injector);
  run.failing = without(run.failing, injector);
  run.outRunning = { ...run.outRunning, injectors: run.outRunning.injectors.filter((other) => other !== injector) };
  for (const index of record?.points ?? []) {
    setWaiting(run, index, false);
    change(run, index, { firstPassRejected: 0, secondPassRejected: 0 });
    run.firstPass = Math.min(run.firstPass, index);
  }
  // The second pass may have gone past them as well.
  run.secondPass = 0;
  advance(run);
}

function choose(run: Draft, event: EventOf<'chosen'>): void {
  const before = pointAt(run, event.point);
  count(run, 'accepted', (event.attempt === null ? 0 : 1) - (before.chosen === null ? 0 : 1));
  change(run, event.point, { chosen: event.attempt, choice: sameChoice(event), decided: before.decided || 'person' in event.by });
  setWaiting(run, event.point, false);
  advance(run);
}

let latestChoice: NonNullable<PointRecord['choice']> = { by: { rule: '' }, why: '' };
/** Nearly all points are chosen by the same rule for the same reason: they share one record of it. */
function sameChoice({ by, why }: NonNullable<PointRecord['choice']>): NonNullable<PointRecord['choice']> {
  const alike = 'rule' in by && 'rule' in latestChoice.by && by.rule === latestChoice.by.rule && why === latestChoice.why;
  if (!alike) latestChoice = { by, why };
  return latestChoice;
}

function enqueue(run: Draft, points: readonly number[]): void {
  const added: number[] = [];
  for (const index of points) {
    const { skipped, queued } = pointAt(run, index);
    if (skipped !== null) count(run, 'skipped', -1);
    setWaiting(run, index, false);
    change(run, index, { skipped: null, queueRejected: 0, queued: true });
    if (!queued) added.push(index);
  }
  run.queue = [...run.queue, ...added];
}

/** The plan from its beginning, with all its repeats; what has a result, was left out or decided upon is settled (RUN-153). */
function planAgain(run: Draft): void {
  run.points = run.points.changed((point) => (point.firstPassRejected + point.secondPassRejected === 0 ? point : { ...point, firstPassRejected: 0, secondPassRejected: 0 }));
  run.firstPass = 0;
  run.secondPass = 0;
  run.secondPassPoints = [];
  run.secondPassStarted = false;
  run.planOver = false;
  advance(run);
}

/** Moves the three places forward over what is dealt with; each only ever moves forward (but for `planAgain`), so a run pays once per point. */
function advance(run: Draft): void {
  const { repeats } = run.plan;
  while (run.firstPass < run.points.length && isSettled(pointAt(run, run.firstPass), 'firstPassRejected', repeats.attemptsAtOnce)) {
    run.firstPass += 1;
  }
  for (;;) {
    const index = run.secondPassPoints[run.secondPass];
    if (index === undefined || !isSettled(pointAt(run, index), 'secondPassRejected', repeats.attemptsSecondPass)) break;
    run.secondPass += 1;
  }
  for (;;) {
    const index = run.queue[run.queueHead];
    if (index === undefined) break;
    const point = pointAt(run, index);
    if (point.queued && point.skipped === null) break;
    if (point.queued) change(run, index, { queued: false });
    run.queueHead += 1;
  }
  if (run.queueHead > 0 && run.queueHead === run.queue.length) {
    run.queue = [];
    run.queueHead = 0;
  }
}

function isSettled(point: PointRecord, rejected: 'firstPassRejected' | 'secondPassRejected', allowed: number): boolean {
  return point.skipped !== null || point.waiting || point.decided || point.chosen !== null || point[rejected] >= allowed;
}
