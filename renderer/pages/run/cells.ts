/** How a point of the run stands, as one of nine looks that differ by glyph, pattern and word, not by colour alone. */
import type { PointRecord, RunState } from '../../../app/journal/state.ts';
import { quantityText } from '../../settings/quantities.ts';

export type Look = 'planned' | 'running' | 'accepted' | 'failed' | 'cut' | 'skipped' | 'again' | 'waiting' | 'none';

/** In the order of the legend. */
export const looks: readonly { readonly look: Look; readonly glyph: string; readonly word: string; readonly meaning: string }[] = [
  { look: 'planned', glyph: '·', word: 'planned', meaning: 'not measured yet' },
  { look: 'running', glyph: '▶', word: 'running', meaning: 'being measured now' },
  { look: 'accepted', glyph: '✓', word: 'accepted', meaning: 'has an attempt that counts' },
  { look: 'failed', glyph: '×', word: 'failed', meaning: 'measured, but no attempt met its limits' },
  { look: 'cut', glyph: '/', word: 'cut short', meaning: 'its attempt was cut short and it has no result; while the plan goes on it is measured again' },
  { look: 'again', glyph: '↻', word: 'to be measured again', meaning: 'somebody asked for it; it comes before all others' },
  { look: 'waiting', glyph: '◦', word: 'waits', meaning: 'its injector is out of the run; measure it again once that is put right' },
  { look: 'skipped', glyph: '–', word: 'left out', meaning: 'somebody left it out' },
  { look: 'none', glyph: '∅', word: 'none counts', meaning: 'somebody decided that no attempt counts' },
];

const byLook = new Map(looks.map((entry) => [entry.look, entry]));

export const glyphOf = (look: Look): string => byLook.get(look)?.glyph ?? '';
export const wordOf = (look: Look): string => byLook.get(look)?.word ?? '';

export function lookOf(state: RunState, index: number): Look {
  if (state.current?.point === index) return 'running';
  const point = state.points.at(index);
  if (point === undefined) return 'planned';
  if (point.queued) return 'again';
  if (point.skipped !== null) return 'skipped';
  if (point.chosen !== null) return 'accepted';
  if (point.waiting) return 'waiting';
  if (point.choice !== null) return 'none';
  return lookOfAttempts(point);
}

function lookOfAttempts({ attempts }: PointRecord): Look {
  if (attempts.length === 0) return 'planned';
  return attempts.some((attempt) => attempt.verdict === 'rejected') ? 'failed' : 'cut';
}

/** Points that were measured without success and that nobody has dealt with. */
export function rejectedPoints(state: RunState): readonly number[] {
  const failed: number[] = [];
  for (let index = 0; index < state.points.length; index += 1) {
    if (lookOf(state, index) === 'failed') failed.push(index);
  }
  return failed;
}

export type Tally = Readonly<Record<Look, number>>;

export function tallyOf(state: RunState, points: Iterable<number>): Tally {
  const tally: Record<Look, number> = { planned: 0, running: 0, accepted: 0, failed: 0, cut: 0, skipped: 0, again: 0, waiting: 0, none: 0 };
  for (const index of points) tally[lookOf(state, index)] += 1;
  return tally;
}

/** `12 accepted, 3 failed, 45 planned`: what there is none of is left out. */
export function tallyText(tally: Tally): string {
  const parts = (['accepted', 'failed', 'cut', 'again', 'running', 'waiting', 'skipped', 'none', 'planned'] as const).flatMap((look) =>
    tally[look] === 0 ? [] : [`${tally[look]} ${wordOf(look)}`],
  );
  return parts.join(', ');
}

/** What measuring these points next does to the rail pressure of a run that is under way; empty: nothing. WIN-137 */
export function pressureMoveText(state: RunState, points: readonly number[]): string {
  const now = state.current === null ? undefined : state.setPoints[state.current.point]?.pressure;
  if (now === undefined) return '';
  const kpa = (pressure: number): string => quantityText(pressure / 1e3, 'kPa');
  const others = [...new Set(points.flatMap((point) => state.setPoints[point]?.pressure ?? []))].filter((pressure) => Math.abs(pressure - now) >= 1);
  return others.length === 0 ? '' : `The rail goes from ${kpa(now)} to ${others.map(kpa).join(', ')} for it, and back.`;
}
