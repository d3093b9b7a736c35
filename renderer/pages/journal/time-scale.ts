/** Instants of a day on a strip: where the marks stand and what they say. */

const second = 1000;
const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 21_600, 43_200, 86_400].map((s) => s * second);

export interface TimeMark {
  readonly at: number;
  readonly text: string;
}

/** At most `most` marks on whole steps in UTC, with the day where it changes. */
export function timeMarks(from: number, to: number, most: number): readonly TimeMark[] {
  const step = steps.find((s) => (to - from) / s <= most) ?? Math.ceil((to - from) / most / (86_400 * second)) * 86_400 * second;
  const marks: TimeMark[] = [];
  let day = '';
  for (let at = Math.ceil(from / step) * step; at <= to; at += step) {
    const iso = new Date(at).toISOString();
    const time = step < 60 * second ? iso.slice(11, 19) : iso.slice(11, 16);
    marks.push({ at, text: iso.slice(0, 10) === day ? time : `${iso.slice(5, 10)} ${time}` });
    day = iso.slice(0, 10);
  }
  return marks;
}

/** A stretch of time inside of `whole`, of the same length where it fits. */
export function spanInside(whole: { readonly from: number; readonly to: number }, from: number, to: number): { readonly from: number; readonly to: number } {
  const least = 2 * second;
  const length = Math.min(Math.max(to - from, least), Math.max(whole.to - whole.from, least));
  const begin = Math.min(Math.max(from, whole.from), Math.max(whole.from, whole.to - length));
  return { from: begin, to: begin + length };
}
