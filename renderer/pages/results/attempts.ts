/** Every attempt of a run with what became of it, and why one of its point counts. */
import type { Point } from '../../../app/plan/points.ts';
import { attemptKey } from '../../components/attempts.ts';
import type { AttemptReason, RunEvent, Verdict } from '../../../app/journal/events.ts';
import type { PointRecord, RunState } from '../../../app/journal/state.ts';
import type { WindowSummary } from '../../../app/journal/measured.ts';

export interface AttemptRow {
  readonly key: string;
  readonly at: Point;
  readonly serialNumber: string;
  readonly attempt: number;
  readonly reason: AttemptReason;
  /** null: it is going on. */
  readonly verdict: Verdict | null;
  readonly window: WindowSummary | null;
  readonly text: string;
  readonly counts: boolean;
  /** Which attempt of its point counts, and why; empty: nothing was decided yet. */
  readonly choice: string;
  readonly byPerson: boolean;
}

export interface AttemptEnd {
  /** Unix ms. */
  readonly at: number;
  /** Place of its event in the journal. */
  readonly seq: number;
}

export function attemptRows(state: RunState, points: readonly Point[]): readonly AttemptRow[] {
  return state.points.flatMap(({ attempts, chosen, choice }, index) => {
    const at = points[index];
    if (at === undefined) return [];
    return attempts.map(({ attempt, reason, verdict, window, text }): AttemptRow => ({
      key: attemptKey(index, attempt),
      at,
      serialNumber: at.role === 'zero' ? 'All shut' : (state.plan.injectors[at.injector]?.serialNumber ?? ''),
      attempt,
      reason,
      verdict,
      window,
      text,
      counts: attempt === chosen,
      choice: choice === null ? '' : choiceText(choice, chosen),
      byPerson: choice !== null && 'person' in choice.by,
    }));
  });
}

type Choice = NonNullable<PointRecord['choice']>;

function choiceText({ by, why }: Choice, chosen: number | null): string {
  const what = chosen === null ? 'None counts' : `Attempt ${chosen} counts`;
  return 'person' in by ? `${what}: decided by ${by.person}, because: ${why}` : `${what}: ${why}`;
}

/** When each attempt ended, by `attemptKey`. */
export function attemptEnds(events: readonly RunEvent[]): ReadonlyMap<string, AttemptEnd> {
  const ends = new Map<string, AttemptEnd>();
  for (const { seq, at, body } of events) {
    if (body.kind === 'attempt-ended') ends.set(attemptKey(body.point, body.attempt), { seq, at });
  }
  return ends;
}

export type Shown = 'all' | 'counting' | 'not-counting' | 'decided';

export interface AttemptFilter {
  readonly shown: Shown;
  /** null: all. */
  readonly injector: number | null;
  readonly voltage: number | null;
}

export function filtered(rows: readonly AttemptRow[], { shown, injector, voltage }: AttemptFilter): readonly AttemptRow[] {
  return rows.filter((row) => {
    if (injector !== null && row.at.injector !== injector) return false;
    if (voltage !== null && row.at.voltage !== voltage) return false;
    switch (shown) {
      case 'all':
        return true;
      case 'counting':
        return row.counts;
      case 'not-counting':
        return !row.counts;
      case 'decided':
        return row.byPerson;
    }
  });
}

/** What a point is besides a measured one, to stand behind its injector. */
export function roleWords(role: Point['role']): string {
  switch (role) {
    case 'measure':
      return '';
    case 'reference':
      return ', reference point';
    case 'static':
      return ', static flow';
    case 'pair':
      return ', period pair';
    case 'invariance':
      return ', invariance set';
    case 'blind':
      return ', blind window';
    case 'look':
      return ', first look';
    case 'zero':
      return ', zero flow';
  }
}

/** What a person can decide about an attempt. `against`: why not; empty: it can be done. */
export interface Decision {
  readonly attempt: number | null;
  readonly label: string;
  readonly against: string;
}

/** Excluding it leaves its point without an attempt that counts; letting it count takes the place of the one that does. */
export function decisionOn(row: AttemptRow): Decision {
  if (row.counts) return { attempt: null, label: 'Exclude: let no attempt of this point count', against: '' };
  return {
    attempt: row.attempt,
    label: `Let attempt ${row.attempt} count`,
    against: row.verdict === null ? 'It is still going on.' : row.window === null ? 'It has no measuring window, so it cannot count.' : '',
  };
}
