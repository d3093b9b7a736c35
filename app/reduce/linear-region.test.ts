import { describe, expect, it } from 'vitest';
import { findRegions } from './linear-region.ts';
import type { RegionMember } from './linear-region.ts';
import { fitLine, lineAt } from './regression.ts';

const slope = 4e-3;
const deadTime = 0.5e-3;
const sd = 1e-8;
/** 20 to 3 ms, longest first. */
const widths = Array.from({ length: 18 }, (_, i) => (20 - i) * 1e-3);
const all = widths.length;

/** Masses on a line, but for one width that lies `times` its standard uncertainty off the line through the longer ones. */
function member(dof: number, at: number, times: number): RegionMember {
  const onLine = widths.map((width) => ({ width, mean: slope * (width - deadTime), variance: sd * sd }));
  const longer = onLine.slice(0, at);
  const { u } = lineAt(fitLine(longer.map((w) => w.width), longer.map((w) => w.mean), longer.map(() => 1 / (sd * sd)), 'known'), widths[at] ?? 0);
  return { dof, widths: onLine.map((w, i) => (i === at ? { ...w, mean: w.mean - times * Math.hypot(sd, u) } : w)) };
}

const countOf = (one: RegionMember): number => {
  const [region] = findRegions([one], 50);
  return region?.kind === 'region' ? region.count : 0;
};

// Two-sided points of Student's t: 1 % at 10 degrees of freedom 3.169, 0.1 % 4.587; of the normal distribution 2.576 and 3.291 (any table).
describe('a width is held against chance by the scatter as well as it is known', () => {
  it.each([
    [10, 2.9, all],
    [10, 3.15, all],
    // One more goes, because a bend fades over several widths.
    [10, 3.2, all - 2],
    [1e7, 2.55, all],
    [1e7, 2.6, all - 2],
    // Nothing is known of the scatter: the limit in percent decides.
    [0, 50, all],
  ])('RED-10: the shortest width, %d degrees of freedom, %d standard uncertainties off', (dof, times, count) => {
    expect(countOf(member(dof, all - 1, times))).toBe(count);
  });

  it.each([
    [10, 4.5, all],
    [10, 4.7, 13],
    [1e7, 3.2, all],
    [1e7, 3.4, 13],
  ])('RED-9: a width on the way, with the shorter ones back on the line, %d degrees of freedom, %d standard uncertainties off', (dof, times, count) => {
    expect(countOf(member(dof, 14, times))).toBe(count);
  });
});
