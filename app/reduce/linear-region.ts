/**
 * Which widths the line may be fitted to (RED-8 to RED-11 of README.md). First a walk from the longest width down that
 * ends at the first width that clearly leaves the line through the longer ones: so it copes with curves that come back
 * into the limit below a bump where the needle bounces. Then the shortest widths are taken off again for as long as the
 * now well-known line shows that they bend away, and one more.
 */
import { normalQuantile } from '../distributions/distributions.ts';
import { median } from '../statistics/robust.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { fitLine, lineAt } from './regression.ts';
import type { LineFit } from './regression.ts';

/** All windows of one width of one cell. */
interface WidthMean {
  readonly width: number;
  readonly mean: number;
  /** Variance of the mean, kg^2. */
  readonly variance: number;
}

export interface RegionMember {
  /** Its number in the plan: of one injector at all voltages. */
  readonly injector: number;
  /** Longest first, distinct. */
  readonly widths: readonly WidthMean[];
  /** Degrees of freedom behind the variances; 0: they are not known, and only the limit in percent is applied. */
  readonly dof: number;
}

/**
 * Why the region ends where it ends: by the plan, with the last width, at the limit, at a deviation beyond noise, where other voltages show a bend, or where those of this injector do by
 * themselves; `bent-within`: they do so at the shortest width that is left, and fewer would make no line.
 */
export type RegionStop =
  | { readonly kind: 'given' | 'all-widths-fit' }
  /** The longest width that failed and its deviation from the line through the longer ones, percent. */
  | { readonly kind: 'beyond-limit' | 'significant' | 'family-significant' | 'bent-elsewhere' | 'bent-itself' | 'bent-within'; readonly width: number; readonly deviationPercent: number };

export type Region =
  | { readonly kind: 'region'; readonly count: number; readonly stop: RegionStop }
  | { readonly kind: 'too-few-widths'; readonly found: number; readonly needed: number };

/** A found region never has fewer widths than this. */
const startWidths = 4;
/** Widths that a region given by the plan must hold, so that there is one to spare that can speak against the line. */
const givenWidths = 3;
/** The walk ends at a deviation that chance gives once in this many steps of a true line... */
const walkLevel = 0.001;
/** ...or at one beyond the limit that chance gives this often. */
const walkLimitLevel = 0.05;
/** Taking off: how often it takes a good width off, by a member's own deviation and by that of the family. */
const memberLevel = 0.01;
const familyLevel = 0.05;
const familyLimit = normalQuantile(1 - familyLevel / 2);
/** |t| that chance exceeds with these probabilities at the most known scatter: no Student's t is less. Nearly every step ends here, without its own quantile. */
const leastCritical: ReadonlyMap<number, number> = new Map([walkLevel, walkLimitLevel, memberLevel].map((level) => [level, coverageFactor(Number.POSITIVE_INFINITY, 1 - level)]));

/** The region that the plan gives: all widths at or above `from`. */
export function givenRegion(member: RegionMember, from: number): Region {
  const count = member.widths.filter((w) => w.width >= from * (1 - 1e-9)).length;
  return count < givenWidths ? { kind: 'too-few-widths', found: count, needed: givenWidths } : { kind: 'region', count, stop: { kind: 'given' } };
}

/**
 * Regions of a family together, without the guard width: injectors of one type at one voltage, pressure and period bend away from their lines in the same sense
 * at about the same width, so their common deviation shows what one alone would hide. One region for each member, in order. `noChance`: down to which width, s, the walk of each minds no deviation that is within the limit; absent: none.
 */
function takenOff(family: readonly RegionMember[], limitPercent: number, noChance: readonly number[] = []): readonly Region[] {
  const regions = family.map((member, i) => walk(member, limitPercent, noChance[i] ?? Number.POSITIVE_INFINITY));
  const longest = Math.max(0, ...regions.map((r) => (r.kind === 'region' ? r.count : 0)));
  for (let count = longest; count > startWidths; count -= 1) {
    const steps: { readonly index: number; readonly step: Step }[] = [];
    family.forEach((member, index) => {
      const region = regions[index];
      if (region?.kind === 'region' && region.count === count) steps.push({ index, step: stepTo(member, count - 1) });
    });
    const familyFails = steps.length > 1 && Math.abs(pooled(steps)) > familyLimit;
    for (const { index, step } of steps) {
      const own = step.isBeyondChance(memberLevel) ? 'significant' : familyFails ? 'family-significant' : null;
      const kind = Math.abs(step.deviationPercent) > limitPercent ? 'beyond-limit' : own;
      if (kind === null) continue;
      regions[index] = { kind: 'region', count: count - 1, stop: { kind, width: step.width, deviationPercent: step.deviationPercent } };
    }
  }
  return regions;
}

/** Deviations of several together, over the standard uncertainty that they would have by chance. */
function pooled(steps: readonly { readonly step: Step }[]): number {
  let sum = 0;
  for (const { step } of steps) sum += step.t;
  return sum / Math.sqrt(steps.length);
}

/** An end of one injector alone, by noise alone, at so many times the open time at which bends end is chance. */
const farBeyond = 1.5;

/**
 * Regions of the injectors of one type at one pressure and period, a family for each voltage, in order. A bend stands where the needle
 * opens, so it ends at one open time (width less dead time) at all voltages, and what one voltage hides others show. RED-92
 */
export function findRegionsTogether(families: readonly (readonly RegionMember[])[], limitPercent: number): readonly (readonly Region[])[] {
  const found = families.map((family) => takenOff(family, limitPercent));
  const ends = endsOfVoltages(families, found);
  // The second longest of the voltages, because one may take good widths off by chance; with fewer nothing is told but by all together.
  const reach = Math.max(ends[1] ?? 0, reachTogether(families, found, ends));
  const own = ownReaches(families, reach);
  if (reach === 0 && own.size === 0) return found.map((regions) => regions.map(withGuard));
  return families.map((family, f) => {
    const before = found[f] ?? [];
    const goesOn = family.map((member, i): number => {
      const region = before[i];
      const alone = region?.kind === 'region' && region.stop.kind === 'significant' && reach > 0 && !own.has(member.injector) && openAt(member, region.count, region.stop.width) > farBeyond * reach;
      return alone ? region.stop.width : Number.POSITIVE_INFINITY;
    });
    const regions = goesOn.every((width) => width === Number.POSITIVE_INFINITY) ? before : takenOff(family, limitPercent, goesOn);
    return family.flatMap((member, i) => {
      const region = regions[i];
      const end = own.get(member.injector);
      return region === undefined ? [] : [end === undefined ? withGuard(cutAt(member, region, reach, 'bent-elsewhere')) : withOwnEnd(member, region, end)];
    });
  });
}

/** The open times, s, at which most injectors of a voltage end, in their middle, of each voltage where they do; the longest first. */
function endsOfVoltages(families: readonly (readonly RegionMember[])[], found: readonly (readonly Region[])[]): readonly number[] {
  const ends = families.flatMap((family, f) => {
    const bent = family.flatMap((member, i) => {
      const region = found[f]?.[i];
      return region?.kind === 'region' && 'width' in region.stop ? [openAt(member, region.count, region.stop.width)] : [];
    });
    return 2 * bent.length >= family.length && bent.length > 0 ? [median(bent)] : [];
  });
  return ends.sort((a, b) => b - a);
}

/** A bend fades: it is looked for up to so many times the open time at which the first voltage shows it... */
const fadesWithin = 2;
/** ...among pulses whose open times lie within so much of each other... */
const span = 1.2;
/** ...which chance puts so far off their lines, all together, this rarely, where they are off by so many seconds of open time in the mean; none counts for more than so many standard uncertainties, so that one injector is not taken for all. */
const together = { chance: 4.65e-4, offS: 0.5e-6, least: 4, most: 2 };

/** The longest open time, s, about which pulses of all injectors and voltages together lie off the lines through the longer ones, where a voltage shows by itself that lines bend; 0: they do not. What is a bend of a microsecond or two is chance to one injector and to one voltage. RED-92 */
function reachTogether(families: readonly (readonly RegionMember[])[], found: readonly (readonly Region[])[], [seen, known = 0]: readonly number[]): number {
  if (seen === undefined) return 0;
  let dof = Number.POSITIVE_INFINITY;
  const steps = families.flatMap((family, f) =>
    family.flatMap((member, i) => {
      const region = found[f]?.[i];
      if (region?.kind !== 'region' || member.dof === 0) return [];
      dof = Math.min(dof, member.dof);
      return member.widths.slice(startWidths).flatMap(({ width }, j) => {
        const open = openAt(member, region.count, width);
        if (open <= known || open > fadesWithin * seen) return [];
        const { t, deviationPercent } = stepTo(member, startWidths + j);
        return [{ open, t: Math.max(-together.most, Math.min(together.most, t)), off: (deviationPercent / 100) * open }];
      });
    }),
  ).sort((a, b) => b.open - a.open);
  const limit = coverageFactor(dof, 1 - together.chance);
  for (const [i, { open }] of steps.entries()) {
    let [count, t, off, at] = [0, 0, 0, 0];
    for (let j = i; j < steps.length; j += 1) {
      const step = steps[j];
      if (step === undefined || step.open <= open / span) break;
      count += 1;
      t += step.t;
      off += step.off;
      at += step.open;
    }
    if (count >= together.least && Math.abs(off / count) > together.offS && Math.abs(t) > limit * Math.sqrt(count)) return at / count;
  }
  return 0;
}

/** What one injector's own voltages show together: so much off, s, by so many of them at least, which chance gives so rarely; none counts for more than so many standard uncertainties, so that no voltage speaks for all. */
const alone = { chance: 5e-6, offS: 0.5e-6, voltages: 2, most: 4 };
/** An injector differs from its type where its bends are seen at so many times the open time at which those of the injector in the middle are. */
const differsFrom = 1.2;
/** What is seen of the bends of one injector ends so much later. */
const fadesBy = 1.5;

/** Where most of the type show by themselves nothing of bends, one that shows them at so much of the open time at which they end for all together differs. */
const nearReach = 0.92;

/** The longest open time, s, of each injector about which its voltages together lie off the lines through their longer pulses; 0: nowhere. */
function ownEnds(families: readonly (readonly RegionMember[])[]): ReadonlyMap<number, number> {
  const members = families.flatMap((family, f) => family.map((member) => ({ f, member })));
  return new Map(
    [...Map.groupBy(members, ({ member }) => member.injector)].map(([injector, own]) => {
      const steps = own.flatMap(({ f, member }) =>
        member.dof === 0 ? [] : member.widths.slice(startWidths).map(({ width }, j) => {
          const { t, deviationPercent } = stepTo(member, startWidths + j);
          const open = openAt(member, startWidths + j, width);
          return { f, dof: member.dof, open, t: Math.max(-alone.most, Math.min(alone.most, t)), off: (deviationPercent / 100) * open };
        }),
      );
      return [injector, longestSeen(steps.sort((a, b) => b.open - a.open))];
    }),
  );
}

function longestSeen(steps: readonly { readonly f: number; readonly dof: number; readonly open: number; readonly t: number; readonly off: number }[]): number {
  const [first] = steps;
  if (first === undefined) return 0;
  const limit = coverageFactor(first.dof, 1 - alone.chance);
  for (const [i, { open }] of steps.entries()) {
    const near = steps.slice(i).filter((s) => s.open > open / span);
    const t = near.reduce((sum, s) => sum + s.t, 0);
    const off = near.reduce((sum, s) => sum + s.off, 0) / near.length;
    if (new Set(near.map((s) => s.f)).size >= alone.voltages && Math.abs(off) > alone.offS && Math.abs(t) > limit * Math.sqrt(near.length)) return near.reduce((sum, s) => sum + s.open, 0) / near.length;
  }
  return 0;
}

/** Down to which open time, s, no line of an injector goes that differs from its type. RED-135 */
function ownReaches(families: readonly (readonly RegionMember[])[], reach: number): ReadonlyMap<number, number> {
  const ends = ownEnds(families);
  if (ends.size === 0) return new Map();
  const usual = median([...ends.values()]);
  return new Map([...ends].filter(([, end]) => end > nearReach * reach && end > differsFrom * usual).map(([injector, end]) => [injector, Math.max(reach, fadesBy * end)]));
}

/** A bend fades over several widths: where one ended the region, the shortest width left still holds what noise hides. */
function withGuard(region: Region): Region {
  if (region.kind !== 'region' || region.stop.kind === 'all-widths-fit') return region;
  return { ...region, count: Math.max(startWidths, region.count - 1) };
}

/** How long the injector of a member is open at a width, s, by the line through its `count` longest widths. */
function openAt(member: RegionMember, count: number, width: number): number {
  const { meanX, meanY, slope } = lineThrough(member, count);
  return width - meanX + meanY / slope;
}

/** The region without the widths at which an injector is open no longer than where bends end. */
function cutAt(member: RegionMember, region: Region, reach: number, kind: 'bent-elsewhere' | 'bent-itself'): Region {
  let left = region;
  while (left.kind === 'region' && left.count > startWidths) {
    const { width, deviationPercent } = stepTo(member, left.count - 1);
    if (openAt(member, left.count, width) > reach) break;
    left = { kind: 'region', count: left.count - 1, stop: { kind, width, deviationPercent } };
  }
  return left;
}

/** Of an injector whose bends end at an open time, s, of its own. */
function withOwnEnd(member: RegionMember, region: Region, end: number): Region {
  const left = cutAt(member, region, end, 'bent-itself');
  if (left.kind !== 'region') return left;
  const { width, deviationPercent } = stepTo(member, left.count - 1);
  return openAt(member, left.count, width) > end ? left : { ...left, stop: { kind: 'bent-within', width, deviationPercent } };
}

function walk(member: RegionMember, limitPercent: number, noChance: number): Region {
  const available = member.widths.length;
  if (available < startWidths) return { kind: 'too-few-widths', found: available, needed: startWidths };
  for (let count = startWidths; count < available; count += 1) {
    const { width, deviationPercent, isBeyondChance } = stepTo(member, count);
    const beyond = Math.abs(deviationPercent) > limitPercent && (member.dof === 0 || isBeyondChance(walkLimitLevel));
    const kind = beyond ? 'beyond-limit' : width < noChance && isBeyondChance(walkLevel) ? 'significant' : null;
    if (kind !== null) return { kind: 'region', count, stop: { kind, width, deviationPercent } };
  }
  return { kind: 'region', count: available, stop: { kind: 'all-widths-fit' } };
}

interface Step {
  readonly width: number;
  readonly deviationPercent: number;
  /** Deviation over its standard uncertainty; 0 where that is not known. */
  readonly t: number;
  /** Whether chance gives such a |t| less often than this. */
  readonly isBeyondChance: (level: number) => boolean;
}

/** A line through so many of the longest widths is asked for again and again, by the walk, by what takes off and by what cuts: each is fitted once. */
const knownLines = new WeakMap<RegionMember, (LineFit | undefined)[]>();

function lineThrough(member: RegionMember, count: number): LineFit {
  let known = knownLines.get(member);
  if (known === undefined) knownLines.set(member, (known = []));
  return (known[count] ??= fitted(member.widths.slice(0, count)));
}

const fitted = (widths: readonly WidthMean[]): LineFit => fitLine(widths.map((w) => w.width), widths.map((w) => w.mean), widths.map((w) => 1 / w.variance), 'known');

/** How the width number `index` lies to the line through the longer ones. */
function stepTo(member: RegionMember, index: number): Step {
  const next = member.widths[index];
  if (next === undefined) throw new Error('no such width');
  const expected = lineAt(lineThrough(member, index), next.width);
  const deviation = next.mean - expected.value;
  const t = member.dof === 0 ? 0 : deviation / Math.sqrt(next.variance + expected.u * expected.u);
  const size = Math.abs(t);
  return {
    width: next.width,
    deviationPercent: expected.value > 0 ? (100 * deviation) / expected.value : Number.POSITIVE_INFINITY,
    t,
    isBeyondChance: (level) => member.dof > 0 && size > (leastCritical.get(level) ?? 0) && size > coverageFactor(member.dof, 1 - level),
  };
}
