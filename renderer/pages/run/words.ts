/** Words of the run page. */
import { decimals } from '../../components/decimals.ts';
import { decimalsShown, shownIn, unitShown } from '../../settings/quantities.ts';
import { shownUnit } from '../../../app/run/criterion.ts';
import { callOf, type WaitingFor } from '../../../app/run/status.ts';
import type { PointRecord, RunState } from '../../../app/journal/state.ts';
import { clockTime } from '../../components/dates.ts';
import { durationText, roughDuration } from '../../components/durations.ts';

/** A length of time to the second: `0:07`, `12:30`, `1:02:03`. */
export function clockText(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (n: number) => String(n).padStart(2, '0');
  const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  return h > 0 ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

/**
 * How long it takes yet and when it is over by the clock. `remaining` in s of the bench's time, which passes `speed` times as fast as the clock
 * on the wall: where the two differ, each is called by its name. `now`: ms since 1970.
 */
export function timeLeftText(remaining: number | null, now: number, speed = 1): string {
  if (remaining === null) return '';
  if (remaining === 0) return 'nothing left to measure';
  const onTheWall = remaining / speed;
  const over = `done about ${clockTime(now + onTheWall * 1e3, now)}`;
  const about = remaining < 50 ? '' : 'about ';
  const left = `${about}${roughDuration(remaining)}`;
  return speed === 1 ? `${left} left, ${over}` : `${left} of bench time left (${roughDuration(onTheWall)} by the clock, ${speed} times as fast), ${over}`;
}

/** `byClock` and `window` in s, the second in the bench's time: a window that is longer than its whole attempt was measured on a simulated bench that went faster. */
export const tookText = (byClock: number, window: number): string =>
  window > byClock ? `, took ${durationText(byClock)} by the clock, its window ${durationText(window)} of bench time` : `, took ${durationText(byClock)}`;

/** Which attempt of a point counts, who says so, and why. */
export function countingText({ chosen, choice, attempts }: PointRecord): string {
  if (choice === null) return attempts.every((attempt) => attempt.verdict === null) ? 'Not measured yet.' : 'No attempt counts: none was accepted so far.';
  const who = 'person' in choice.by ? ` (${choice.by.person} decided)` : '';
  const what = chosen === null ? 'No attempt counts' : `Attempt ${chosen} counts`;
  return `${what}${who}: ${choice.why}`;
}

const decimalsOf: Readonly<Record<string, number>> = { V: 3, kPa: 1, degC: 1, s: 1, edges: 0, pulses: 0 };

/** What is waited for, with the live value and its band. */
export function waitingText({ text, value, low, high, unit }: WaitingFor): string {
  const shown = unitShown(shownUnit(unit));
  const number = (n: number) => decimals(shownIn(unit, n).toFixed(decimalsShown(unit, decimalsOf[unit] ?? 2)));
  const band =
    low !== null && high !== null ? `, band ${number(low)} to ${number(high)} ${shown}` : low !== null ? ` of ${number(low)}` : high !== null ? `, at most ${number(high)} ${shown}` : '';
  if (value === null) return `Waiting for: ${text}. No reading yet${band}.`;
  return low !== null && high === null ? `Waiting for: ${text}, ${number(value)}${band} ${shown}.` : `Waiting for: ${text}, now ${number(value)} ${shown}${band}.`;
}

/** What the head of the page calls a person for; empty: nobody is called. */
export const calledFor = (state: RunState): string => callOf(state)?.text ?? '';
