/** The address of everything that can be gone to (WIN-56): pages, runs, points and attempts, results of an injector at a voltage, what a search found. */
import type { AnswerTo } from '../../app/contract/contract.ts';
import { shownPoint } from '../../app/plan/points.ts';
import { pathTo } from './route.ts';
import type { Route } from './route.ts';

type Found = AnswerTo<'search'>['found'][number];

/** `point`: index, shown from 1 as everywhere. */
export const pathOfPoint = (run: string, point: number, attempt: number | null = null): string => pathTo('run', run, String(shownPoint(point)), ...(attempt === null ? [] : [String(attempt)]));

export function pathOfFound({ kind, id, point, attempt }: Pick<Found, 'kind' | 'id' | 'point' | 'attempt'>): string {
  switch (kind) {
    case 'injector':
    case 'order':
    case 'type':
      return pathTo('archive', 'find', id);
    case 'examination':
      return pathTo('injectors', id);
    case 'run':
      return pathTo('run', id);
    case 'plan':
      return pathTo('plans', id);
    case 'report':
      return pathTo('reports', id);
    case 'note':
      return point === null ? pathTo('run', id) : pathOfPoint(id, point, attempt);
  }
}

const film = 'film';

/** A run as it was at an instant, ms since 1970; absent: at its end (WIN-133). */
export const pathOfInstant = (run: string, at?: number): string => pathTo('run', run, film, ...(at === undefined ? [] : [new Date(at).toISOString()]));

/** Whether an address leads to a film, and to which instant of it; null: to the run as it is. */
export function filmOfRoute({ page, rest: [, mark, instant] }: Route): { readonly at: number | null } | null {
  if (page !== 'run' || mark !== film) return null;
  const at = instant === undefined ? Number.NaN : Date.parse(instant);
  return { at: Number.isFinite(at) ? at : null };
}

/** In the place of a run: whichever is the latest. */
export const latest = 'latest';

/** The run whose journal is looked at there; null: none is named. */
export const runOfRoute = ({ page, rest: [run] }: Route): string | null => (run !== undefined && run !== latest && (page === 'run' || page === 'results') ? run : null);

const at = 'at';

/** Results of an injector (its place in the plan, shown from 1) at a voltage in V, and the width in s that is looked at. */
export const pathOfCell = (run: string, view: string, { injector, voltage, width }: { readonly injector: number; readonly voltage: number; readonly width: number }): string =>
  pathTo('results', run, view, at, String(injector + 1), String(voltage), String(width));

/** What such an address names behind the view; each null where it does not. */
export function cellOfRoute([mark, injector, voltage, width]: readonly string[]): { readonly injector: number | null; readonly voltage: number | null; readonly width: number | null } {
  const numberOf = (text: string | undefined): number | null => (mark === at && text !== undefined && /^\d+(\.\d+)?$/u.test(text) ? Number(text) : null);
  const place = numberOf(injector);
  return { injector: place === null || place < 1 ? null : place - 1, voltage: numberOf(voltage), width: numberOf(width) };
}

/** The address in a link that somebody pasted: with the address of a host before it or without; null: it is none. */
export function linkOf(text: string): string | null {
  const found = /^(?:https?:\/\/(?:127\.0\.0\.1|localhost)(?::\d+)?\/?|)(#\/[^\s]+)$/u.exec(text.trim());
  return found?.[1] ?? null;
}
