/** Dates and times as people read them, in this machine's time zone and the chosen style, the same on every page (WIN-35). */
import { settings } from '../settings/settings.ts';

const two = (n: number): string => String(n).padStart(2, '0');
const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** `25 Nov 2026`, `25.11.2026`, `2026-11-25`; without the year: `25 Nov`, `25.11.`, `11-25`. */
function dayText(at: Date, withYear: boolean): string {
  const [year, month, day] = [String(at.getFullYear()), two(at.getMonth() + 1), two(at.getDate())];
  switch (settings().dates) {
    case 'en':
      return `${at.getDate()} ${months[at.getMonth()] ?? ''}${withYear ? ` ${year}` : ''}`;
    case 'de':
      return `${day}.${month}.${withYear ? year : ''}`;
    case 'iso':
      return withYear ? `${year}-${month}-${day}` : `${month}-${day}`;
  }
}

/** `+01:00` of this machine at that time. */
function zoneText(at: Date): string {
  const minutes = -at.getTimezoneOffset();
  return `${minutes < 0 ? '-' : '+'}${two(Math.floor(Math.abs(minutes) / 60))}:${two(Math.abs(minutes) % 60)}`;
}

/** `25 Nov 2026, 14:57`, `25.11.2026, 14:57`, `2026-11-25T14:57+01:00` */
export const dateTimeText = (unixMs: number): string => dayAndTime(unixMs, false);

/** The same with seconds. */
export const secondText = (unixMs: number): string => dayAndTime(unixMs, true);

function dayAndTime(unixMs: number, withSeconds: boolean): string {
  const at = new Date(unixMs);
  const time = withSeconds ? timeOfDay(unixMs) : `${two(at.getHours())}:${two(at.getMinutes())}`;
  return settings().dates === 'iso' ? `${dayText(at, true)}T${time}${zoneText(at)}` : `${dayText(at, true)}, ${time}`;
}

/** `14:57:03` */
export function timeOfDay(unixMs: number): string {
  const at = new Date(unixMs);
  return `${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}`;
}

/** `14:57`, or with the day where that is not the day of `now`: `28 Nov, 02:10`. */
export function clockTime(unixMs: number, now: number): string {
  const [at, today] = [new Date(unixMs), new Date(now)];
  const time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  return at.toDateString() === today.toDateString() ? time : `${dayText(at, false)}, ${time}`;
}
