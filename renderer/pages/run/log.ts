/**
 * What the run page shows of a journal beside the state that is the fold over it: the limits of each attempt, times, and
 * the alarms. It is worked out from the same events, so a window that was just opened shows the same as one that saw
 * everything. Unlike the fold of a run, `foldLog` writes into the log that it was given: depend on the state beside it.
 */
import type { Plan } from '../../../app/plan/plan.ts';
import type { Criterion, RunEvent } from '../../../app/journal/events.ts';
import { attemptKey } from '../../components/attempts.ts';
import { alarmsAfter } from '../../../app/results/alarms.ts';
import type { Alarm } from '../../../app/results/alarms.ts';

export interface AttemptDetail {
  /** Milliseconds since 1970; `to` is null while the attempt is going on. */
  readonly from: number;
  readonly to: number | null;
  readonly criteria: readonly Criterion[];
}

/** What the schedule of a run decided at once, and why. */
export interface LastDecision {
  readonly at: number;
  readonly windows: number;
  readonly reasons: readonly string[];
}

export interface RunLog {
  /** Events folded so far. */
  readonly revision: number;
  /** By `attemptKey`. */
  readonly attempts: ReadonlyMap<string, AttemptDetail>;
  /** Point of the latest attempt; null: there was none. */
  readonly latestPoint: number | null;
  /** null: the schedule has decided nothing so far, or the plan states no targets. */
  readonly lastDecision: LastDecision | null;
  /** Attempts that were ended as rejected. */
  readonly rejected: number;
  /** Oldest first; the list is replaced when one changes. */
  readonly alarms: readonly Alarm[];
  readonly openedAt: number;
  /** When the run was first started; null: not yet. */
  readonly startedAt: number | null;
  /** Time at rest between the start and the last change, ms. */
  readonly restedMs: number;
  /** Since when the run rests; null: it does not, or was not started. */
  readonly restingSince: number | null;
}

interface Working {
  revision: number;
  plan: Plan | null;
  attempts: Map<string, AttemptDetail>;
  latestPoint: number | null;
  lastDecision: LastDecision | null;
  /** The event before was of the same decision. */
  deciding: boolean;
  rejected: number;
  confirmedSafe: boolean;
  alarms: readonly Alarm[];
  openedAt: number;
  startedAt: number | null;
  restedMs: number;
  restingSince: number | null;
}

const emptyLog = (): Working => ({
  revision: 0, plan: null, attempts: new Map(), latestPoint: null, lastDecision: null, deciding: false, rejected: 0, confirmedSafe: false, alarms: [], openedAt: 0, startedAt: null, restedMs: 0, restingSince: null,
});

/** Additions that follow each other are of one decision. */
function foldDecision(log: Working, { at, body }: RunEvent): void {
  const isDecision = body.kind === 'points-added' && 'rule' in body.by;
  if (isDecision) {
    const { windows, reasons } = log.deciding && log.lastDecision !== null ? log.lastDecision : { windows: 0, reasons: [] };
    log.lastDecision = { at, windows: windows + body.points.length, reasons: [...reasons, body.why] };
  }
  log.deciding = isDecision;
}

function foldLog(log: Working, event: RunEvent): void {
  const { at, body } = event;
  log.revision += 1;
  if (body.kind === 'opened') {
    log.plan = body.plan;
    log.openedAt = at;
  }
  foldDecision(log, event);
  if (body.kind === 'made-safe') log.confirmedSafe = body.confirmed;
  log.alarms = alarmsAfter(log.alarms, { guards: log.plan?.guards ?? [], started: log.startedAt !== null, confirmedSafe: log.confirmedSafe }, event);
  switch (body.kind) {
    case 'attempt-started':
      log.latestPoint = body.point;
      log.attempts.set(attemptKey(body.point, body.attempt), { from: at, to: null, criteria: [] });
      return;
    case 'attempt-ended': {
      if (body.verdict === 'rejected') log.rejected += 1;
      const key = attemptKey(body.point, body.attempt);
      log.attempts.set(key, { from: log.attempts.get(key)?.from ?? at, to: at, criteria: body.criteria });
      return;
    }
    case 'paused':
    case 'held':
    case 'tripped':
    case 'ended':
      if (log.startedAt !== null) log.restingSince ??= at;
      return;
    case 'proving-started':
    case 'measuring-started':
      log.startedAt ??= at;
      if (log.restingSince !== null) log.restedMs += at - log.restingSince;
      log.restingSince = null;
      return;
    default:
      return;
  }
}

/** A log that goes on from another, which stays as it was; null: from the beginning. */
export function logAfter(before: RunLog | null, events: readonly RunEvent[], from: number, to: number): RunLog {
  const log: Working = before === null ? emptyLog() : { ...(before as Working), attempts: new Map(before.attempts) };
  for (let index = from; index < to; index += 1) {
    const event = events[index];
    if (event !== undefined) foldLog(log, event);
  }
  return log;
}

const logs = new WeakMap<readonly RunEvent[], Working>();

/** The log of a journal that grows in place: each event is folded once, however often this is asked for. */
export function logOf(events: readonly RunEvent[]): RunLog {
  let log = logs.get(events);
  if (log === undefined) {
    log = emptyLog();
    logs.set(events, log);
  }
  for (let index = log.revision; index < events.length; index += 1) {
    const event = events[index];
    if (event !== undefined) foldLog(log, event);
  }
  return log;
}

export interface Elapsed {
  /** From the start to now, or to the end of a run that has ended. */
  readonly totalMs: number;
  /** Of it, time in which the run rested. */
  readonly restedMs: number;
}

/** null: the run was not started. `now` is the host's time, ms since 1970. */
export function elapsedOf(log: RunLog, ended: boolean, now: number): Elapsed | null {
  const { startedAt, restedMs, restingSince } = log;
  if (startedAt === null) return null;
  if (restingSince === null) return { totalMs: Math.max(0, now - startedAt), restedMs };
  if (ended) return { totalMs: restingSince - startedAt, restedMs };
  return { totalMs: Math.max(0, now - startedAt), restedMs: restedMs + Math.max(0, now - restingSince) };
}
