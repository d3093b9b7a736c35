/**
 * Times of a wall clock as dates. A clock that was never set, or set wrongly, is an error in words and not a defect: what is saved is
 * dated, and its id counts from 1970 (UUIDv7, RFC 9562), so a clock before that, or beyond the four digits that a year of ISO 8601 has
 * without agreement, dates nothing.
 */
const firstUndatable = Date.UTC(10_000, 0, 1);
/** The farthest instant of ECMAScript's time values, ms. */
const farthest = 8.64e15;

/** Why nothing can be dated by a clock that says `unixMs`, as a clause without a full stop; null: it can. */
export function undatable(unixMs: number): string | null {
  if (unixMs > 0 && unixMs < firstUndatable) return null;
  return `The clock of this computer says ${isoDay(unixMs)}, which is ${unixMs > 0 ? 'beyond the year 9999' : 'before 1970'}`;
}

/** `2026-02-01T12:30:00.000Z`; a time that is no date, as a damaged or forged file may hold one, in words. Never throws. */
export function isoTime(unixMs: number): string {
  return Math.abs(unixMs) <= farthest ? new Date(unixMs).toISOString() : 'no date';
}

/** `2026-02-01` in UTC. */
export const isoDay = (unixMs: number): string => isoTime(unixMs).split('T')[0] ?? '';

/** The day by the clock of whatever measures, in UTC: certificates and fluids are held against it, everywhere the same one. */
export const today = (clock: { unixNow(): number }): string => isoDay(clock.unixNow());

/** `2026-02-01 12:30` in UTC. */
export const isoMinute = (unixMs: number): string => isoTime(unixMs).replace(/:\d\d\.\d{3}Z$/, '').replace('T', ' ');

/** In no zone is it a later day than so long from now in UTC. */
const FARTHEST_ZONE_MS = 14 * 3_600_000;

/** The latest day that it is anywhere at this instant (ms since 1970). */
export const latestDay = (now: number): string => isoDay(now + FARTHEST_ZONE_MS);
