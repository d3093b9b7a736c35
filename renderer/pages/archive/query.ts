/** What is looked for in the archive, and how that becomes pages of runs: newest first, each page behind the last run of the one before. */
import type { Params } from '../../../app/contract/contract.ts';

export interface Query {
  /** In plan name, order, serial numbers and injector types. */
  readonly text: string;
  /** Calendar days, `2026-11-25`, both included; empty: open. */
  readonly from: string;
  readonly to: string;
}

export const everyRun: Query = { text: '', from: '', to: '' };

export interface Bounds {
  /** Unix ms: runs at or after this. null: from the beginning. */
  readonly notBefore: number | null;
  /** Unix ms: runs before this. null: to the newest. */
  readonly before: number | null;
  /** What is wrong with the dates, a sentence; empty: nothing. */
  readonly problem: string;
  /** Where it is put right. */
  readonly at: 'from' | 'to';
}

/** `midnight` gives the beginning of a day, `offset` days on, in the time zone of the person; NaN where there is no such day. */
export function boundsOf({ from, to }: Query, midnight: (day: string, offset: number) => number): Bounds {
  const notBefore = from === '' ? null : midnight(from, 0);
  const before = to === '' ? null : midnight(to, 1);
  for (const [at, day] of [['from', notBefore], ['to', before]] as const) {
    if (Number.isNaN(day)) return { notBefore: null, before: null, problem: 'This is not a day of the calendar.', at };
  }
  if (notBefore !== null && before !== null && notBefore >= before) return { notBefore, before, problem: 'The first day is after the last, so no run can be found.', at: 'to' };
  return { notBefore, before, problem: '', at: 'to' };
}

/** Beginning of a calendar day in the time zone of this machine. */
export function localMidnight(day: string, offset: number): number {
  const parts = /^(\d{4,6})-(\d{2})-(\d{2})$/.exec(day);
  if (parts === null) return Number.NaN;
  const [year, month, date] = [Number(parts[1]), Number(parts[2]), Number(parts[3])];
  const at = new Date(year, month - 1, date);
  if (at.getMonth() !== month - 1) return Number.NaN;
  return new Date(year, month - 1, date + offset).getTime();
}

/** Sorts before every id, so that runs of the same millisecond as `before` stay out. */
const beforeEveryId = ' ';

/** The request for the page behind `last`; null: the first page. */
export function pageRequest(query: Query, { before }: Bounds, last: { readonly createdAt: number; readonly id: string } | null, limit: number): Params<'runs.list'> {
  const text = query.text.trim();
  const after = last ?? (before === null ? null : { createdAt: before, id: beforeEveryId });
  return { limit, ...(text === '' ? {} : { text }), ...(after === null ? {} : { after: { createdAt: after.createdAt, id: after.id } }) };
}
