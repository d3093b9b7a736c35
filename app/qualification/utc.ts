/** Instants of a sheet, between ISO 8601 in UTC and Unix milliseconds: `app` has no clock and no `Date`. */
import { daysBetween } from '../equipment/standing.ts';

const dayMs = 86_400_000;

/** Unix ms of `2026-02-01T12:30:00.000Z`, as zod's `iso.datetime` takes it. NaN: it is none. */
export function unixOf(iso: string): number {
  const found = /^(\d{4}-\d{2}-\d{2})T(\d{2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?Z$/u.exec(iso);
  if (found === null) return Number.NaN;
  const [, day = '', hours = '', minutes = '', s = '0'] = found;
  return daysBetween('1970-01-01', day) * dayMs + Math.round(((Number(hours) * 60 + Number(minutes)) * 60 + Number(s)) * 1e3);
}

/** `2026-02-01 12:30 UTC`, cut and not rounded, so that what ends is never said to last longer. From 1970 on. */
export function minuteUtc(unixMs: number): string {
  const days = Math.floor(unixMs / dayMs);
  const minutes = Math.floor((unixMs - days * dayMs) / 60_000);
  // Days of the proleptic Gregorian calendar by its cycle of 400 years, counted from 1 March (Hinnant, days_from_civil, from memory).
  const shifted = days + 719_468;
  const cycle = Math.floor(shifted / 146_097);
  const ofCycle = shifted - cycle * 146_097;
  const yearOfCycle = Math.floor((ofCycle - Math.floor(ofCycle / 1460) + Math.floor(ofCycle / 36_524) - Math.floor(ofCycle / 146_096)) / 365);
  const ofYear = ofCycle - (365 * yearOfCycle + Math.floor(yearOfCycle / 4) - Math.floor(yearOfCycle / 100));
  const fromMarch = Math.floor((5 * ofYear + 2) / 153);
  const day = ofYear - Math.floor((153 * fromMarch + 2) / 5) + 1;
  const month = fromMarch < 10 ? fromMarch + 3 : fromMarch - 9;
  const year = yearOfCycle + cycle * 400 + (month <= 2 ? 1 : 0);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${String(year).padStart(4, '0')}-${two(month)}-${two(day)} ${two(Math.floor(minutes / 60))}:${two(minutes % 60)} UTC`;
}
