/** Dates and times as people read them, in this machine's time zone, the same in every locale. */

const two = (n: number): string => String(n).padStart(2, '0');
const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** `25 Nov 2026, 14:57` */
export function dateTimeText(unixMs: number): string {
  const at = new Date(unixMs);
  return `${at.getDate()} ${months[at.getMonth()] ?? ''} ${at.getFullYear()}, ${two(at.getHours())}:${two(at.getMinutes())}`;
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
  return at.toDateString() === today.toDateString() ? time : `${at.getDate()} ${months[at.getMonth()] ?? ''}, ${time}`;
}
