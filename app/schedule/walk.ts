/**
 * Where lines end: a sequential search from the longest width down, of all injectors of a type at a voltage together (SCH-3 to SCH-6). Low voltages show a
 * bend first, because there an injector is open for the shortest time; it ends at one open time at all voltages (RED-92), so the others need not go below it.
 */
import { fAbove } from '../distributions/distributions.ts';
import { grouped } from '../reduce/cells.ts';
import type { LineCell, ScatterModel } from '../reduce/reduction.ts';
import type { Seconds } from '../quantities/quantity.ts';
import { median } from '../statistics/robust.ts';
import { millisecondsText } from './cells.ts';
import type { Block, KnownType, WantedCell, CellWish } from './cells.ts';
import { bendSeen, knownDeadTime } from './known.ts';
import { standingOff } from './stands-off.ts';

/** Voltages that search for the end by themselves: two, because one may see a bend by chance. */
const searching = 2;
/** Widths that these begin with below where every line begins. */
const firstWidths = 2;
/** A width that is left out has so many windows before it is believed to be bent. */
const windowsOfDoubt = 2;
/** Widths at the short end of a line that is not searched. */
const shortWidths = 3;
/** So many points more than windows are wanted of a width are tried before it is left alone without one that counts. */
const triesMore = 1;

type Family = readonly [WantedCell, ...WantedCell[]];

/** Where in the list of widths a line begins, as parts of its length: the longest, and enough for a line as near to its short end as surely does not bend, where windows tell the dead time best. */
const beginning = [0, 1 / 3, 0.45, 0.5];

/** What is still to be measured to know where lines end; none: it is known. */
export function walkOf({ cells, places, known, scatter }: Block): readonly CellWish[] {
  return grouped(cells, (c) => c.type).flatMap((ofType) => walkOfType(grouped(ofType, (c) => String(c.voltage)).toSorted((a, b) => a[0].voltage - b[0].voltage), places, knownHere(known.get(ofType[0].type), scatter)));
}

/** What is known of a type, and how windows scatter; null: replicates do not tell it yet, and nothing is held against what is known. */
interface KnownHere extends KnownType {
  readonly scatter: ScatterModel | null;
}

const knownHere = (known: KnownType | undefined, scatter: ScatterModel | null): KnownHere | null => (known === undefined ? null : { ...known, scatter: scatter?.from === 'replicates' ? scatter : null });

function walkOfType(families: readonly Family[], places: readonly Seconds[], known: KnownHere | null): readonly CellWish[] {
  const walkers = families.slice(0, searching);
  const expected = known === null ? null : expectedPlaces(families, places, known);
  // Once windows are repeated the search is over, whatever further windows say of its first steps: else it would begin anew with every change of mind.
  const isOver = families.some((family) => family.some((cell) => [...cell.counted.values()].some((count) => count > 1)));
  if (known !== null && expected !== null) {
    const injectors = grouped(families.flat(), (cell) => String(cell.injector));
    const off = standingOff(families.flat());
    const others = injectors.filter((own) => off.has(own[0].injector) || doesNotFit(known, own));
    const rest = injectors.filter((own) => !others.includes(own));
    if (2 * others.length < injectors.length && !bendsAbove(known, rest.flat())) return ofKnown(expected, known, others.map((own) => ({ own, why: off.has(own[0].injector) ? offWhy : againWhy(known) })), places, isOver);
    const again = beginningOf(families, walkers, places, 'SCH-13', againWhy(known));
    if (again.length > 0) return again;
  } else if (!isOver) {
    const begin = beginningOf(families, walkers, places, 'SCH-3', 'the beginning of its line');
    if (begin.length > 0) return begin;
  }
  if (isOver) return families.flatMap((family) => [...filled(family, places), ...doubted(family, reachOf(walkers)), ...longer(family, places)]);
  const reach = reachOf(walkers);
  const steps = walkers.flatMap((family) => {
    const tried = places.filter((w) => triedByAll(family, w));
    // Bends end at one open time: a second voltage that was measured below it has nothing more to tell.
    if (endOf(family) !== null || Math.min(...tried) - deadTimeOf(family) < reach) return [];
    return wishes(family, below(tried, places, 1), 'SCH-4', 'no bend down to the width above: the search for the end of the line goes on');
  });
  return steps.length > 0 ? steps : families.flatMap((family) => (walkers.includes(family) ? [] : toReach(family, places, reach)));
}

/** An injector that is not taken for one of its type, and why. */
interface Other {
  readonly own: Family;
  readonly why: string;
}

/** What is measured of a type that is known while nothing speaks against that; `others`: injectors that differ from it, and which are measured as such that are not known. */
function ofKnown(expected: readonly Expected[], known: KnownHere, others: readonly Other[], places: readonly Seconds[], isOver: boolean): readonly CellWish[] {
  const families = expected.map(({ family }) => family);
  const begin = expected.flatMap(({ family, good }) => wishes(family, good, 'SCH-12', `the beginning of its line, which for ${known.type} is straight from ${known.linearFromOpenMs} ms of open time as far as is known (${known.from})`));
  if (begin.length > 0) return begin;
  const alone = [...others.flatMap(({ own, why }) => wishes(own, firstPlaces(places), 'SCH-13', why)), ...searchedAlone(expected, others, places)];
  if (alone.length > 0 || !isOver) return alone;
  return families.flatMap((family) => [...filled(family, places), ...longer(family, places)]);
}

/** Injectors that differ from a type that is known are searched below its end at the voltages that are searched: there their bends are seen, and where they end (RED-135). SCH-48 */
function searchedAlone(expected: readonly Expected[], others: readonly Other[], places: readonly Seconds[]): readonly CellWish[] {
  return expected.slice(0, searching).flatMap(({ family, good }) =>
    family.flatMap((cell) => {
      if (!others.some(({ own: [other] }) => other.injector === cell.injector)) return [];
      const begin = [...good, ...below(good, places, firstWidths)];
      const tried = places.filter((w) => isTried(cell, w));
      const next = begin.some((w) => !isTried(cell, w)) || endOf([cell]) !== null ? begin : [...begin, ...below([...begin, ...tried], places, 1)];
      return wishes([cell], next, 'SCH-48', 'it differs from its type: where its own bends end is looked for');
    }),
  );
}

/** A line of the fewest widths whose short end bends by what other voltages of the injector show gets the width above, so that it can do without. SCH-49 */
function longer(family: Family, places: readonly Seconds[]): readonly CellWish[] {
  return family.flatMap((cell) => {
    if (cell.found?.kind !== 'line' || cell.found.region.stop.kind !== 'bent-within') return [];
    const { width } = cell.found.region.stop;
    const above = places.filter((w) => w > width && !isTried(cell, w)).slice(-1);
    return wishes([cell], above, 'SCH-49', `its bends go on above ${millisecondsText(width)}, and its line has no width to spare`);
  });
}

/** Whether pulses of these cells together lie off their lines where the type that is known says that they are straight. SCH-13 */
function bendsAbove({ scatter, linearFromOpenMs }: KnownHere, cells: readonly WantedCell[]): boolean {
  const lines = cells.flatMap(({ found }) => (found?.kind === 'line' ? [found] : []));
  const bend = scatter === null ? null : bendSeen([{ lines, scatter }]);
  return bend !== null && bend >= linearFromOpenMs / 1e3;
}

/** Chance with which the lines of an injector are called bent though they are straight: in a run with eight of them once in sixty. Found on simulated benches. */
const calledBent = 0.002;

/**
 * The same of one injector, whose windows lie off to either side: by more than windows scatter (F test over all its lines, which hold nothing but what should be straight). SCH-13
 */
function doesNotFit({ scatter }: KnownHere, cells: readonly WantedCell[]): boolean {
  if (scatter === null) return false;
  let [squares, dof] = [0, 0];
  for (const { found } of cells) {
    if (found?.kind !== 'line') continue;
    squares += found.lackOfFit.ofWidths * found.lackOfFit.ofWidthsDof;
    dof += found.lackOfFit.ofWidthsDof;
  }
  return dof > 0 && scatter.dof > 0 && fAbove(squares / dof, dof, scatter.dof) < calledBent;
}

const againWhy = ({ from }: KnownType): string => `its windows lie off a line that is straight as far as is known (${from}): it is measured as one that is not known`;

const offWhy = 'its dead times lie off those of the others of its type by more than these differ from each other: it is measured as one that is not known';

/** The first windows of a type that is not known. */
function beginningOf(families: readonly Family[], walkers: readonly Family[], places: readonly Seconds[], rule: string, what: string): readonly CellWish[] {
  const first = firstPlaces(places);
  return families.flatMap((family) => wishes(family, walkers.includes(family) ? [...first, ...below(first, places, firstWidths)] : first, rule, what));
}

/** Widths of the short end of a line that is known, beside its longest: with it as many as a line has at least. */
const goodWidths = 3;

interface Expected {
  readonly family: Family;
  /** With those that are measured twice standing twice. */
  readonly good: readonly Seconds[];
}

/** The longest width and the short end of each line as it is expected of a type that is known; null: the plan does not know a voltage, or has too few widths above. SCH-12 */
function expectedPlaces(families: readonly Family[], places: readonly Seconds[], known: KnownType): readonly Expected[] | null {
  const expected = families.flatMap((family) => {
    const deadTime = knownDeadTime(known, family[0].voltage);
    const above = deadTime === null ? [] : places.filter((w) => w - deadTime > known.linearFromOpenMs / 1e3);
    const [longest] = above;
    const [shortest, next] = above.slice(-goodWidths).reverse();
    const middle = nearestTo(above.slice(1, -2), ((longest ?? 0) + (shortest ?? 0)) / 2);
    return longest === undefined || shortest === undefined || next === undefined || middle === undefined || above.length <= goodWidths ? [] : [{ family, good: [longest, longest, middle, next, shortest, shortest] }];
  });
  return expected.length === families.length ? expected : null;
}

const nearestTo = (widths: readonly Seconds[], wanted: number): Seconds | undefined => widths.toSorted((a, b) => Math.abs(a - wanted) - Math.abs(b - wanted) || a - b)[0];

/** The places that every line begins with. */
function firstPlaces(places: readonly Seconds[]): readonly Seconds[] {
  const chosen = new Set(beginning.map((part) => Math.floor(part * places.length)));
  return places.filter((_, i) => chosen.has(i) || places.length <= beginning.length);
}

const below = (tried: readonly Seconds[], places: readonly Seconds[], count: number): readonly Seconds[] => {
  const least = Math.min(...tried);
  return places.filter((w) => w < least).slice(0, count);
};

const isTried = (cell: WantedCell, width: Seconds, times = 1): boolean => (cell.counted.get(width) ?? 0) >= times || (cell.tried.get(width) ?? 0) >= times + triesMore;
const triedByAll = (family: Family, width: Seconds): boolean => family.every((cell) => isTried(cell, width));

/** The windows of these widths that a member has not tried; a width that stands there twice is wanted twice. */
function wishes(family: readonly WantedCell[], widths: readonly Seconds[], rule: string, what: string): readonly CellWish[] {
  return family.flatMap((cell): readonly CellWish[] => {
    const missing = widths.filter((w, i) => !isTried(cell, w, widths.slice(0, i + 1).filter((other) => other === w).length));
    return missing.length === 0 ? [] : [{ cell, widths: missing, rule, why: `${cell.serialNumber} at ${cell.voltage} V, ${[...new Set(missing)].map((w) => `${millisecondsText(w)}${missing.filter((other) => other === w).length > 1 ? ' twice' : ''}`).join(', ')}: ${what}` }];
  });
}

/** In the middle of the family, s; NaN: it has no line yet. */
function deadTimeOf(family: readonly WantedCell[]): number {
  const known = family.flatMap(({ found }) => (found?.kind === 'line' ? [found.deadTime.value] : []));
  return known.length === 0 ? Number.NaN : median(known);
}

/** Widths above where bends end, without the one just above it: a bend fades over several widths. */
function goodPlaces(family: readonly WantedCell[], places: readonly Seconds[], reach: number): readonly Seconds[] {
  const deadTime = deadTimeOf(family);
  const above = places.filter((w) => w - deadTime > reach);
  return reach === 0 ? above : above.slice(0, -1);
}

/** Where half of the members show a bend: the width in their middle, s, and for how long they are open there; null: they do not. */
function endOf(family: readonly WantedCell[]): { readonly width: number; readonly open: number } | null {
  const bent = family.flatMap(({ found }) => (found?.kind === 'line' && 'width' in found.region.stop ? [{ width: found.region.stop.width, open: found.region.stop.width - found.deadTime.value }] : []));
  return bent.length > 0 && 2 * bent.length >= family.length ? { width: median(bent.map((b) => b.width)), open: median(bent.map((b) => b.open)) } : null;
}

/** The shortest widths of a line that is not searched: what lies beside its end tells whether it bends there. */
function toReach(family: Family, places: readonly Seconds[], reach: number): readonly CellWish[] {
  return wishes(family, goodPlaces(family, places, reach).slice(-shortWidths), 'SCH-5', reach === 0 ? 'the short end of its line, as no voltage shows a bend' : `the short end of its line: bends end at ${millisecondsText(reach)} of open time at the other voltages`);
}

const reachOf = (walkers: readonly Family[]): number => Math.max(0, ...walkers.map((family) => endOf(family)?.open ?? 0));

/** Whether a line ends where bends of this injector do. */
const isCutAlone = ({ region: { stop } }: LineCell): boolean => stop.kind === 'bent-itself' || stop.kind === 'bent-within';

/** A width that is left out of its line though bends end below it may be so by chance: it is measured again before the line does without it. */
function doubted(family: Family, reach: number): readonly CellWish[] {
  return family.flatMap((cell): readonly CellWish[] => {
    if (cell.found?.kind !== 'line' || isCutAlone(cell.found)) return [];
    const { deadTime, widths } = cell.found;
    const again = widths.filter((w) => !w.inRegion && w.width - deadTime.value > reach && (cell.tried.get(w.width) ?? 0) < windowsOfDoubt).map((w) => w.width);
    return again.length === 0 ? [] : [{ cell, widths: again, rule: 'SCH-6', why: `${cell.serialNumber} at ${cell.voltage} V, ${again.map(millisecondsText).join(', ')}: left out of the line, though bends end below; whether by chance, further windows tell` }];
  });
}

/** Where a family ends earlier than was tried, the next width between its last good one and the bend. */
function filled(family: Family, places: readonly Seconds[]): readonly CellWish[] {
  const end = endOf(family);
  if (end === null) return [];
  const from = median(family.flatMap(({ found }) => (found?.kind === 'line' ? [found.region.from] : [])));
  const between = places.filter((w) => w < from && w > end.width && !triedByAll(family, w));
  return wishes(family, between.slice(0, 1), 'SCH-5', `its line bends at ${millisecondsText(end.width)} and is good from ${millisecondsText(from)}: the end lies between`);
}
