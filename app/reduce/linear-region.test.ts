import { describe, expect, it } from 'vitest';
import { findRegionsTogether } from './linear-region.ts';
import type { RegionMember } from './linear-region.ts';
import { fitLine, lineAt } from './regression.ts';

/** Of one family alone: no other voltage shows a bend. */
const findRegions = (family: readonly Alone[], limitPercent: number) => findRegionsTogether([family.map((one, injector) => ({ ...one, injector }))], limitPercent)[0] ?? [];
type Alone = Omit<RegionMember, 'injector'>;

const slope = 4e-3;
const deadTime = 0.5e-3;
const sd = 1e-8;
/** 20 to 3 ms, longest first. */
const widths = Array.from({ length: 18 }, (_, i) => (20 - i) * 1e-3);
const all = widths.length;

/** Masses on a line, but for one width that lies `times` its standard uncertainty off the line through the longer ones. */
function member(dof: number, at: number, times: number): Alone {
  const onLine = widths.map((width) => ({ width, mean: slope * (width - deadTime), variance: sd * sd }));
  const longer = onLine.slice(0, at);
  const { u } = lineAt(fitLine(longer.map((w) => w.width), longer.map((w) => w.mean), longer.map(() => 1 / (sd * sd)), 'known'), widths[at] ?? 0);
  return { dof, widths: onLine.map((w, i) => (i === at ? { ...w, mean: w.mean - times * Math.hypot(sd, u) } : w)) };
}

const countOf = (one: Alone): number => {
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

describe('RED-92 a bend ends at one open time at all voltages', () => {
  /** A voltage of this dead time, s, whose injectors lie off the line by `off`, standard deviations, at an open time, s. */
  const voltage = (deadTime: number, off: (open: number, injector: number) => number, injectors = 3): readonly RegionMember[] =>
    Array.from({ length: injectors }, (_, injector) => ({
      injector, dof: 1000,
      widths: Array.from({ length: 12 }, (__, i) => (8 - 0.5 * i) * 1e-3).map((width) => ({ width, mean: slope * (width - deadTime) + sd * off(width - deadTime, injector), variance: sd * sd })),
    }));
  const shortest = (families: readonly (readonly RegionMember[])[]): readonly (readonly number[])[] =>
    findRegionsTogether(families, 50).map((regions, f) => regions.map((r, i) => (r.kind === 'region' ? Number((1e3 * (families[f]?.[i]?.widths[r.count - 1]?.width ?? 0)).toFixed(1)) : 0)));
  const bent = (open: number): number => (open < 2.3e-3 ? -40 : 0);

  it('so a voltage that shows nothing of it loses the widths up to there, and one more', () => {
    // Ends between 2 and 2.5 ms: two voltages show it, at the third it crosses the line where its widths are.
    const families = [voltage(1e-3, bent), voltage(0.8e-3, bent), voltage(0.5e-3, () => 0)];
    // The second longest open time at which it was seen: 2.0 (3.0 ms) and 2.2 ms (3.0 ms) give 2.0; 2.5 ms is open for just that.
    expect(shortest(families)).toEqual([[4, 4, 4], [4, 4, 4], [3.5, 3.5, 3.5]]);
    const [, , third] = findRegionsTogether(families, 50);
    expect(third?.every((r) => r.kind === 'region' && r.stop.kind === 'bent-elsewhere' && Math.abs(r.stop.width - 2.5e-3) < 1e-9)).toBe(true);
  });

  it('but one voltage alone says nothing of others, nor fewer than half of the injectors of a voltage', () => {
    expect(shortest([voltage(1e-3, bent), voltage(0.8e-3, () => 0), voltage(0.5e-3, () => 0)])).toEqual([[4, 4, 4], [2.5, 2.5, 2.5], [2.5, 2.5, 2.5]]);
    const one = (open: number, injector: number): number => (injector === 0 ? bent(open) : 0);
    expect(shortest([voltage(1e-3, one), voltage(0.8e-3, one), voltage(0.5e-3, () => 0)])).toEqual([[4.5, 2.5, 2.5], [4, 2.5, 2.5], [4, 2.5, 2.5]]);
  });

  it('and one injector alone that noise ends at half as much again goes on', () => {
    const alone = (open: number, injector: number): number => bent(open) + (injector === 1 && Math.abs(open - 4.5e-3) < 1e-5 ? 5 : 0);
    expect(shortest([voltage(1e-3, alone), voltage(0.8e-3, bent), voltage(0.5e-3, bent)])).toEqual([[4, 4, 4], [4, 4, 4], [3.5, 3.5, 3.5]]);
    // Where nothing else is bent nobody knows where bends end.
    const unknown = (open: number, injector: number): number => (injector === 1 && Math.abs(open - 4.5e-3) < 1e-5 ? 5 : 0);
    expect(shortest([voltage(1e-3, unknown), voltage(0.8e-3, () => 0)])).toEqual([[2.5, 6.5, 2.5], [2.5, 2.5, 2.5]]);
  });

  it('what no voltage shows by itself all of them show together, up to twice the open time at which one does, and no one injector counts for all', () => {
    const visible = voltage(1e-3, (open) => (open < 1.6e-3 ? -40 : 0));
    const others = (off: (open: number, injector: number, which: number) => number, deadTime = 0.5e-3): readonly (readonly RegionMember[])[] =>
      [0, 1, 2, 3, 4].map((which) => voltage(deadTime + which * 0.05e-3, (open, injector) => off(open, injector, which)));
    const shortestOfOthers = (families: readonly (readonly RegionMember[])[], first = visible) => shortest([first, ...families]).slice(1).map((ends) => [...new Set(ends)].join());
    const none = new Array<string>(5).fill('2.5');
    const little = (open: number): number => (open < 2.05e-3 ? 1.25 : 0);
    // 2.5 ms is open for 2.0 to 1.8 ms, in the mean 1.92 with those of the first voltage.
    expect(shortestOfOthers(others(little))).toEqual(['2.5', '2.5', '3.5', '3.5', '3.5']);
    // Nothing is looked for where no voltage bends, nor far beyond where one does; what lies off to either side is chance.
    expect(shortestOfOthers(others(little), voltage(1e-3, () => 0))).toEqual(none);
    expect(shortestOfOthers(others((open) => (Math.abs(open - 3.4e-3) < 0.12e-3 ? 1.9 : 0)))).toEqual(none);
    expect(shortestOfOthers(others((open, _, which) => (which % 2 === 0 ? little(open) : -little(open))))).toEqual(none);
    // One injector that lies far off at all voltages is itself, and says nothing of others.
    expect(shortest([visible, ...others((open, injector) => (injector === 0 && open < 2.05e-3 ? 40 : 0))]).slice(1).map((ends) => ends.slice(1))).toEqual(new Array(5).fill([2.5, 2.5]));
  });

  /** Voltages whose shortest pulse is open for 1.98 to 1.78 ms. */
  const five = (off: (open: number, injector: number, which: number) => number): readonly (readonly RegionMember[])[] => [0, 1, 2, 3, 4].map((which) => voltage((0.52 + which * 0.05) * 1e-3, (open, injector) => off(open, injector, which)));

  it('RED-135: what each voltage of an injector hides they show together: it differs from its type, and does without all that is open for less than half as long again', () => {
    const short = (open: number): boolean => open < 2.05e-3;
    // 2.4 standard uncertainties at each: by itself that is chance at 1 %. In the mean 1.88 ms, half as long again 2.82: 3.5 ms is open for 2.83 at the fourth voltage, 2.78 at the fifth.
    const one = five((open, injector) => (injector === 0 && short(open) ? 2.8 : 0));
    expect(shortest(one)).toEqual([[3.5, 2.5, 2.5], [3.5, 2.5, 2.5], [3.5, 2.5, 2.5], [3.5, 2.5, 2.5], [4, 2.5, 2.5]]);
    expect(findRegionsTogether(one, 50).map(([r]) => r?.kind === 'region' && r.stop.kind)).toEqual(new Array(5).fill('bent-itself'));
    // To either side, or less of it: chance.
    expect(shortest(five((open, injector, which) => (injector === 0 && short(open) ? 2.8 * (-1) ** which : 0)))).toEqual(new Array(5).fill([2.5, 2.5, 2.5]));
    expect(shortest(five((open, injector) => (injector === 0 && short(open) ? 2 : 0)))).toEqual(new Array(5).fill([2.5, 2.5, 2.5]));
    // One voltage does not speak for the others, however far it is off.
    expect(shortest(five((open, injector, which) => (injector === 0 && which === 0 && short(open) ? 40 : 0)))).toEqual([[3.5, 2.5, 2.5], ...new Array<number[]>(4).fill([2.5, 2.5, 2.5])]);
  });

  it('RED-136: an injector that bends as most of its type do is one of it, and one that does so where they have ended is not', () => {
    const kinds = (families: readonly (readonly RegionMember[])[]) => [...new Set(findRegionsTogether(families, 50).flat().map((r, i) => (r.kind === 'region' ? `${i % 3}: ${r.stop.kind}` : r.kind)))].sort();
    expect(kinds(five((open) => (open < 2.05e-3 ? 40 : 0))).filter((kind) => kind.includes('bent-itself'))).toEqual([]);
    // Half as long again, seen at all voltages.
    expect(kinds(five((open, injector) => (open < (injector === 0 ? 3.05e-3 : 2.05e-3) ? 40 : 0))).filter((kind) => kind.includes('bent-itself'))).toEqual(['0: bent-itself']);
  });

  it('RED-137: where the fewest widths still bend as the injector does elsewhere its region says so', () => {
    const regions = findRegionsTogether(five((open, injector) => (injector === 0 && open < 5.3e-3 ? -40 : 0)), 50);
    for (const [own, ...others] of regions) {
      expect(own).toMatchObject({ kind: 'region', count: 4, stop: { kind: 'bent-within', width: expect.closeTo(6.5e-3, 9) as number } });
      for (const other of others) expect(other).toMatchObject({ stop: { kind: 'all-widths-fit' } });
    }
  });

  it('no region gets fewer than four widths', () => {
    const far = (open: number): number => (open < 5.8e-3 ? -40 : 0);
    expect(findRegionsTogether([voltage(1e-3, far), voltage(0.8e-3, far), voltage(3e-3, () => 0)], 50).flat().map((r) => (r.kind === 'region' ? r.count : 0))).toEqual([4, 4, 4, 4, 4, 4, 4, 4, 4]);
  });
});

describe('RED-10 a family', () => {
  /** Just below what one alone is held against (2.576), at the shortest width. */
  const slightly = (): Alone => member(1e7, all - 1, 2);
  const countsOf = (family: readonly Alone[]): readonly (number | string)[] => findRegions(family, 50).map((r) => (r.kind === 'region' ? r.count : r.kind));

  it('shows together what each alone hides, also beside an injector of which too few widths were measured', () => {
    const short: Alone = { dof: 1e7, widths: member(1e7, all - 1, 0).widths.slice(0, 3) };
    expect(countsOf([slightly()])).toEqual([all]);
    // Four of two standard uncertainties each are four in all.
    expect(countsOf([1, 2, 3, 4].map(slightly))).toEqual([all - 2, all - 2, all - 2, all - 2]);
    expect(countsOf([slightly(), short, slightly(), slightly(), slightly()])).toEqual([all - 2, 'too-few-widths', all - 2, all - 2, all - 2]);
    // What they scatter by to either side is none of all.
    expect(countsOf([2, -2, 2, -2].map((times) => member(1e7, all - 1, times)))).toEqual([all, all, all, all]);
  });
});
