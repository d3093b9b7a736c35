/**
 * The state of a run is this fold over its journal and nothing else. Engine, archive, window and report all use it.
 *
 * For speed over long runs the fold writes into the state that it was given and returns it: a caller that folds gives
 * its state away and goes on with the answer. Everybody else sees it read-only. Cost per event does not grow with the
 * run (amortised).
 */
import { windowSignals } from '../bench/readings.ts';
import { shownThroughout } from '../boundary/text.ts';
import type { Point } from '../plan/points.ts';
import { planOfJournal } from '../plan/stored.ts';
import { isBenchCause } from './bench-cause.ts';
import { commandRow } from './commands.ts';
import type { RunEventBody } from './events.ts';
import type { ClockComparison, WindowSummary } from './measured.ts';
import type { Answered, AttemptRecord, Origin, OutRecord, PointRecord, RunCounts, RunState, Streak } from './state.ts';

/** The same state as the fold itself sees it. */
type Writable<T> = { -readonly [K in keyof T]: T[K] };

interface WorkingPoint extends Writable<Omit<PointRecord, 'attempts'>> {
  attempts: AttemptRecord[];
  /** A person has decided on this point: it is not measured by itself any more. */
  decided: boolean;
  /** Rejected attempts that used up the allowance of each origin. */
  firstPassRejected: number;
  secondPassRejected: number;
  queueRejected: number;
}

interface WorkingState extends Writable<Omit<RunState, 'points' | 'counts' | 'commands' | 'resumes' | 'notes' | 'clocks' | 'out' | 'failing' | 'looked'>> {
  clocks: Map<string, ClockComparison>;
  points: WorkingPoint[];
  counts: Writable<RunCounts>;
  commands: Map<string, Answered>;
  resumes: Map<string, number>;
  notes: Map<string, string>;
  out: Map<number, OutRecord>;
  failing: Map<number, Streak>;
  looked: Map<number, { readonly attempts: readonly number[]; readonly passed: boolean; readonly text: string }>;
  /** All points below are dealt with in the first pass. */
  firstPass: number;
  secondPassPoints: readonly number[];
  secondPass: number;
  queue: number[];
  queueHead: number;
  /** The points whose windows are kept; null: those of all. */
  keeps: ReadonlySet<number> | null;
}

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
 * engine judges by; of the others that they are there. It cannot be reduced. Gives `state` away. HOST-19
 */
export function forDriving(state: RunState, points: readonly Pick<Point, 'index' | 'role'>[]): RunState {
  const run = state as WorkingState;
  const keeps = new Set(points.flatMap(({ index, role }) => (role === 'look' ? [index] : [])));
  run.keeps = keeps;
  for (const [index, point] of run.points.entries()) {
    if (!keeps.has(index)) point.attempts = point.attempts.map((attempt) => (attempt.window === null ? attempt : { ...attempt, window: inJournal }));
  }
  return run;
}

/** Folds one event into the state of its run; `null` before the first, which must be 'opened'. Gives `state` away. */
export function foldRun(state: RunState | null, event: RunEventBody): RunState {
  if (state === null) {
    if (event.kind !== 'opened') throw new Error(`The first event of a run must be 'opened', not '${event.kind}'.`);
    return opened(event);
  }
  const run = state as WorkingState;
  run.revision += 1;
  apply(run, event);
  return run;
}

function opened(event: Extract<RunEventBody, { kind: 'opened' }>): WorkingState {
  return {
    revision: 1,
    plan: planOfJournal(event.plan),
    equipment: shownThroughout(event.equipment),
    operator: event.operator,
    software: event.software,
    bench: null,
    preflight: [],
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
    points: Array.from({ length: event.points }, () => ({
      attempts: [],
      chosen: null,
      choice: null,
      skipped: null,
      decided: false,
      firstPassRejected: 0,
      secondPassRejected: 0,
      queueRejected: 0,
      queued: false,
      waiting: false,
    })),
    counts: { accepted: 0, skipped: 0, attempts: 0, waiting: 0 },
    secondPassStarted: false,
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
    firstPass: 0,
    secondPassPoints: [],
    secondPass: 0,
    queue: [],
    queueHead: 0,
    keeps: null,
  };
}

const noneFailing: RunState['benchFailing'] = { cause: '', count: 0 };
const noneOut: RunState['outRunning'] = { cause: '', injectors: [] };

function apply(run: WorkingState, event: RunEventBody): void {
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
      return;
    case 'clocks-compared':
      run.clocks.set(event.bootId, event.comparison);
      return;
    case 'not-traceable':
      run.untraceableAccepted = true;
      run.notTraceable = [...new Set([...run.notTraceable, ...event.reasons])];
      return;
    case 'commanded':
      run.commands.set(event.id, { command: event.command, accepted: event.answer === 'accepted', reason: event.reason });
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
    case 'attempt-started':
      startAttempt(pointAt(run, event.point), { attempt: event.attempt, reason: event.reason, verdict: null, window: null, text: '', order: run.revision });
      run.current = {
        point: event.point,
        attempt: event.attempt,
        reason: event.reason,
        origin: nextTarget(run)?.origin ?? 'first-pass',
        step: null,
        skippedWaits: [],
      };
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
    case 'chosen':
      choose(run, event);
      return;
    case 'point-skipped': {
      const point = pointAt(run, event.point);
      if (point.skipped === null) run.counts.skipped += 1;
      point.skipped = event.why;
      setWaiting(run, event.point, false);
      advance(run);
      return;
    }
    case 'injector-out':
      run.out.set(event.injector, { how: event.how, cause: event.cause, text: event.text, points: event.points });
      run.outRunning = { cause: event.cause, injectors: event.cause === run.outRunning.cause ? [...run.outRunning.injectors, event.injector] : [event.injector] };
      for (const index of event.points) {
        setWaiting(run, index, true);
        pointAt(run, index).queued = false;
      }
      advance(run);
      return;
    case 'injector-looked-at':
      run.looked.set(event.injector, { attempts: event.attempts, passed: event.passed, text: event.text });
      return;
    case 'injector-back':
      takeBack(run, event.injector);
      return;
    case 'queued':
      for (const index of event.points) enqueue(run, index);
      return;
    case 'second-pass-started':
      run.secondPassStarted = true;
      run.secondPassPoints = event.points;
      run.secondPass = 0;
      advance(run);
      return;
    case 'guard-noted':
      run.notes.set(event.guard, event.text);
      return;
    case 'guard-cleared':
      run.notes.delete(event.guard);
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
        run.resumes.set(guard, (run.resumes.get(guard) ?? 0) + 1);
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

/** Most points have one attempt: a list that is begun with it has no room for sixteen more. */
function startAttempt(point: WorkingPoint, attempt: AttemptRecord): void {
  if (point.attempts.length === 0) point.attempts = [attempt];
  else point.attempts.push(attempt);
}

let latestText = '';
/** A text that was met just before, as the same text in memory. */
function same(text: string): string {
  if (text !== latestText) latestText = text;
  return latestText;
}

function endAttempt(run: WorkingState, event: Extract<RunEventBody, { kind: 'attempt-ended' }>): void {
  const point = pointAt(run, event.point);
  const place = event.attempt - 1;
  const started = point.attempts[place];
  if (started === undefined) throw new Error(`Attempt ${event.attempt} of point ${event.point} ended without having been started.`);
  const { drivenWidth } = event;
  const window = event.window === null || run.keeps === null || run.keeps.has(event.point) ? event.window : inJournal;
  point.attempts[place] = { ...started, verdict: event.verdict, window, text: same(event.text), ...(drivenWidth === undefined ? {} : { drivenWidth }) };
  run.counts.attempts += 1;
  if (event.verdict === 'rejected') {
    switch (run.current?.origin) {
      case 'first-pass':
        point.firstPassRejected += 1;
        break;
      case 'second-pass':
        point.secondPassRejected += 1;
        break;
      case 'measure-again':
        point.queueRejected += 1;
        break;
      case undefined:
        break;
    }
  }
  countBenchFailures(run, event);
  if (event.injector !== undefined) countFailures(run, event.injector, event);
  // An operator's wish is served by any accepted attempt; a rejected one uses up one of its repeats.
  if (point.queued && run.current?.origin === 'measure-again' && (event.verdict === 'accepted' || point.queueRejected >= run.plan.repeats.attemptsAtOnce)) {
    point.queued = false;
  }
  run.current = null;
  advance(run);
}

function countBenchFailures(run: WorkingState, { verdict, cause = '' }: Extract<RunEventBody, { kind: 'attempt-ended' }>): void {
  if (verdict === 'cut') return;
  if (verdict === 'accepted' || !isBenchCause(cause)) run.benchFailing = noneFailing;
  else run.benchFailing = { cause, count: cause === run.benchFailing.cause ? run.benchFailing.count + 1 : 1 };
}

function countFailures(run: WorkingState, injector: number, { verdict, cause }: Extract<RunEventBody, { kind: 'attempt-ended' }>): void {
  switch (verdict) {
    case 'accepted':
      run.failing.delete(injector);
      run.outRunning = noneOut;
      return;
    case 'rejected': {
      if (isBenchCause(cause ?? '')) return;
      const before = run.failing.get(injector);
      const same = cause !== undefined && before?.cause === cause;
      run.failing.set(injector, { cause: cause ?? '', count: same ? before.count + 1 : 1 });
      return;
    }
    case 'cut':
      return;
  }
}

function setWaiting(run: WorkingState, index: number, waiting: boolean): void {
  const point = pointAt(run, index);
  if (point.waiting === waiting) return;
  point.waiting = waiting;
  run.counts.waiting += waiting ? 1 : -1;
}

/** Its waiting points take part again, each at its place in the plan. */
function takeBack(run: WorkingState, injector: number): void {
  const record = run.out.get(injector);
  run.out.delete(injector);
  run.failing.delete(injector);
  run.outRunning = { ...run.outRunning, injectors: run.outRunning.injectors.filter((other) => other !== injector) };
  for (const index of record?.points ?? []) {
    setWaiting(run, index, false);
    const point = pointAt(run, index);
    point.firstPassRejected = 0;
    point.secondPassRejected = 0;
    run.firstPass = Math.min(run.firstPass, index);
  }
  // The second pass may have gone past them as well.
  run.secondPass = 0;
  advance(run);
}

function choose(run: WorkingState, event: Extract<RunEventBody, { kind: 'chosen' }>): void {
  const point = pointAt(run, event.point);
  run.counts.accepted += (event.attempt === null ? 0 : 1) - (point.chosen === null ? 0 : 1);
  point.chosen = event.attempt;
  point.choice = sameChoice(event);
  if ('person' in event.by) point.decided = true;
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

function enqueue(run: WorkingState, index: number): void {
  const point = pointAt(run, index);
  if (point.skipped !== null) {
    point.skipped = null;
    run.counts.skipped -= 1;
  }
  setWaiting(run, index, false);
  point.queueRejected = 0;
  if (point.queued) return;
  point.queued = true;
  run.queue.push(index);
}

/** The plan from its beginning, with all its repeats; what has a result, was left out or decided upon is settled (RUN-153). */
function planAgain(run: WorkingState): void {
  for (const point of run.points) {
    point.firstPassRejected = 0;
    point.secondPassRejected = 0;
  }
  run.firstPass = 0;
  run.secondPass = 0;
  run.secondPassPoints = [];
  run.secondPassStarted = false;
  run.planOver = false;
  advance(run);
}

/** Moves the three places forward over what is dealt with; each only ever moves forward (but for `planAgain`), so a run pays once per point. */
function advance(run: WorkingState): void {
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
    point.queued = false;
    run.queueHead += 1;
  }
  if (run.queueHead > 0 && run.queueHead === run.queue.length) {
    run.queue = [];
    run.queueHead = 0;
  }
}

function isSettled(point: WorkingPoint, rejected: 'firstPassRejected' | 'secondPassRejected', allowed: number): boolean {
  return point.skipped !== null || point.waiting || point.decided || point.chosen !== null || point[rejected] >= allowed;
}

/**
 * The point to measure next and where the wish comes from; null when nothing is left in this pass (RUN-30): first what
 * a person asked for, then the plan from its first point without an accepted attempt, then the second pass.
 */
export function nextTarget(state: RunState): { readonly point: number; readonly origin: Origin } | null {
  const run = state as WorkingState;
  const queued = run.queue[run.queueHead];
  if (queued !== undefined) return { point: queued, origin: 'measure-again' };
  if (run.planOver) return null;
  if (run.firstPass < run.points.length) return { point: run.firstPass, origin: 'first-pass' };
  const again = run.secondPassPoints[run.secondPass];
  return again === undefined ? null : { point: again, origin: 'second-pass' };
}

/** Points without an attempt that counts, that nobody left out or decided upon and that do not wait. Looks at every point. */
export function failedPoints(state: RunState): readonly number[] {
  const failed: number[] = [];
  (state as WorkingState).points.forEach((point, index) => {
    if (point.chosen === null && point.skipped === null && !point.waiting && !point.decided) failed.push(index);
  });
  return failed;
}

/** Points without an attempt that counts, that nobody left out or decided upon, those of an injector that is out among them. Looks at every point. */
export function pointsWithoutResult(state: RunState): readonly number[] {
  const without: number[] = [];
  (state as WorkingState).points.forEach((point, index) => {
    if (point.chosen === null && point.skipped === null && !point.decided) without.push(index);
  });
  return without;
}

function pointAt(run: WorkingState, index: number): WorkingPoint {
  const point = run.points[index];
  if (point === undefined) throw new RangeError(`The run has ${run.points.length} points, so there is no point ${index}.`);
  return point;
}
