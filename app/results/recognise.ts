/**
 * Whether the injector that a run calls by a serial number is another of its type by its own numbers: a serial number that was mistyped, or two that were exchanged. It is a question to a
 * person and never an answer. WIN-83
 */
import { chiSquareQuantile } from '../distributions/distributions.ts';
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import { whitened } from '../statistics/likelihood.ts';
import { combine, covarianceOfTwo, type Carried } from '../uncertainty/carried.ts';
import { carriedIn, type RunOfErrors } from './across-runs.ts';
import type { statedQuantities } from './agreement.ts';

type Quantity = (typeof statedQuantities)[number];

/** What of a run tells one injector from another. */
export interface RunOfInjectors extends RunOfErrors {
  readonly order: string;
  /** By serial number. */
  readonly types: ReadonlyMap<string, string>;
  readonly reduction: Pick<Reduction, 'cells' | 'staticFlows'>;
}

/** By place: quantity, pressure, period, voltage. */
type Fingerprint = ReadonlyMap<string, { readonly quantity: Quantity; readonly of: Carried }>;

export interface PrintedRun {
  readonly id: string;
  readonly order: string;
  readonly types: ReadonlyMap<string, string>;
  readonly prints: ReadonlyMap<string, Fingerprint>;
}

/** What is needed of a run, so that its windows need not be kept: results of each injector with errors that can be joined over runs. */
export function printedRun(run: RunOfInjectors): PrintedRun {
  const prints = new Map<string, Map<string, { quantity: Quantity; of: Carried }>>();
  const add = (serialNumber: string, quantity: Quantity, place: string, of: Carried): void => {
    const print = prints.get(serialNumber) ?? new Map<string, { quantity: Quantity; of: Carried }>();
    prints.set(serialNumber, print);
    print.set(`${quantity}|${place}`, { quantity, of: carriedIn(run, of) });
  };
  for (const cell of run.reduction.cells) {
    if (cell.kind === 'no-line') continue;
    const place = `${cell.pressure}|${cell.period}|${cell.voltage}`;
    add(cell.serialNumber, 'dead-time', place, deadTimeCarried(cell));
    add(cell.serialNumber, 'slope', place, slopeCarried(cell));
  }
  for (const flow of run.reduction.staticFlows) if (flow.kind === 'static-flow') add(flow.serialNumber, 'static-flow', `${flow.pressure}|${flow.voltage}`, staticCarried(flow));
  return { id: run.id, order: run.order, types: run.types, prints };
}

/**
 * By how much an injector may be another at its next visit and still be itself (standard deviations): alike at all places, and at each alone. Slope and static flow relative, dead time in s.
 * An estimate of ours; without it every wear of an injector would look like another injector.
 */
const wear: Readonly<Record<Quantity, { readonly alike: number; readonly each: number }>> = {
  'dead-time': { alike: 4e-6, each: 1e-6 },
  slope: { alike: 2e-3, each: 5e-4 },
  'static-flow': { alike: 2e-3, each: 5e-4 },
};

/** Fewer places tell nobody from another. */
const fewestPlaces = 4;

/** How far two fingerprints are apart at these places, as a square of standard deviations with as many degrees of freedom as there are places. */
function apart(earlier: Fingerprint, now: Fingerprint, places: readonly string[]): number {
  const differences = places.flatMap((place) => {
    const [a, b] = [earlier.get(place), now.get(place)];
    if (a === undefined || b === undefined) return [];
    const scale = a.quantity === 'dead-time' ? 1 : a.of.value;
    return [{ quantity: a.quantity, of: combine((b.of.value - a.of.value) / scale, [{ of: b.of, sensitivity: 1 / scale }, { of: a.of, sensitivity: -1 / scale }]) }];
  });
  const matrix = differences.map((one, i) =>
    differences.slice(0, i + 1).map((other, j) => {
      const { alike, each } = wear[one.quantity];
      return covarianceOfTwo(one.of, other.of) + (one.quantity === other.quantity ? alike ** 2 : 0) + (i === j ? each ** 2 : 0);
    }),
  );
  return whitened(matrix, differences.map(({ of }) => of.value)).squares;
}

/** Of an injector and an earlier run of it. */
interface Known {
  readonly run: PrintedRun;
  readonly print: Fingerprint;
}

/** The latest run before, the last of the list, that has this injector. */
function latestOf(earlier: readonly PrintedRun[], serialNumber: string): Known | null {
  for (const run of earlier.toReversed()) {
    const print = run.prints.get(serialNumber);
    if (print !== undefined) return { run, print };
  }
  return null;
}

export interface IdentityQuestion {
  readonly serialNumber: string;
  /** Its own latest run before, with which it does not agree. */
  readonly ownRun: string;
  /** With whom it agrees, and the run of that one. */
  readonly like: string;
  readonly likeRun: string;
  /** At how many places they were held against each other. */
  readonly places: number;
  /** How far apart, in standard deviations of the difference for each place (root of the mean square). */
  readonly ownApart: number;
  readonly likeApart: number;
}

/** Beyond this it may not be itself, and within it it may be the other one. */
const inDoubt = 0.99;
/** By so much less in the square of standard deviations the other one is nearer. */
const nearerAtLeast = 10;
/** That, over all that were exchanged with each other, or of one alone: e to half of it to one, by what is known of both. */
const farNearer = 40;

interface Link {
  readonly question: IdentityQuestion;
  readonly nearer: number;
}

/**
 * Questions about the injectors of a run. `earlier`: runs before it, the oldest first. An injector is asked about where it does not agree with its own latest results and far better with those of another
 * of its type, measured in the same order as this run or as its own earlier one. Where that one is measured in the run too, it has to be one with which it was exchanged, straight or in a circle: an
 * injector that changed much comes near another by chance, two of each other hardly.
 */
export function identityQuestions(run: PrintedRun, earlier: readonly PrintedRun[]): readonly IdentityQuestion[] {
  const links = new Map([...run.prints].flatMap(([serialNumber, print]) => {
    const link = nearestOther(run, earlier, serialNumber, print);
    return link === null ? [] : [[serialNumber, link] as const];
  }));
  return [...links.values()].filter((link) => isAsked(link, links, run)).map(({ question }) => question);
}

function isAsked(first: Link, links: ReadonlyMap<string, Link>, run: PrintedRun): boolean {
  const chain = [first];
  for (let last = first; ; chain.push(last)) {
    const { like } = last.question;
    if (like === first.question.serialNumber) return chain.reduce((sum, { nearer }) => sum + nearer, 0) >= farNearer;
    // The chain ends with one that is not here: each of it by itself.
    if (!run.prints.has(like)) return chain.every(({ nearer }) => nearer >= farNearer);
    const next = links.get(like);
    if (next === undefined || chain.includes(next)) return false;
    last = next;
  }
}

/** The other one with which an injector of the run agrees far better than with itself; null: none. */
function nearestOther(run: PrintedRun, earlier: readonly PrintedRun[], serialNumber: string, print: Fingerprint): Link | null {
  const own = latestOf(earlier, serialNumber);
  if (own === null) return null;
  let best: Link | null = null;
  for (const like of candidates(run, own.run, earlier, serialNumber)) {
    const other = latestOf(earlier, like);
    if (other === null) continue;
    const places = [...print.keys()].filter((place) => own.print.has(place) && other.print.has(place));
    if (places.length < fewestPlaces) continue;
    const [fromOwn, fromOther, limit] = [apart(own.print, print, places), apart(other.print, print, places), chiSquareQuantile(inDoubt, places.length)];
    const nearer = fromOwn - fromOther;
    if (fromOwn < limit || fromOther > limit || nearer < nearerAtLeast || (best !== null && best.nearer >= nearer)) continue;
    const perPlace = (squares: number): number => Math.sqrt(squares / places.length);
    best = { nearer, question: { serialNumber, ownRun: own.run.id, like, likeRun: other.run.id, places: places.length, ownApart: perPlace(fromOwn), likeApart: perPlace(fromOther) } };
  }
  return best;
}

function candidates(run: PrintedRun, own: PrintedRun, earlier: readonly PrintedRun[], serialNumber: string): ReadonlySet<string> {
  const type = run.types.get(serialNumber);
  const found = new Set<string>();
  for (const before of earlier) {
    if (before.order !== run.order && before.order !== own.order) continue;
    for (const [other, otherType] of before.types) if (other !== serialNumber && otherType === type) found.add(other);
  }
  return found;
}

/** The question as a person is asked it. `dayOf`: the day of a run. */
export function questionWords({ serialNumber, ownRun, like, likeRun, places, ownApart, likeApart }: IdentityQuestion, dayOf: (run: string) => string): string {
  return `Is ${serialNumber} really ${like}? At ${places} places its results are those of ${like} of ${dayOf(likeRun)} (apart by ${likeApart.toFixed(1)} standard deviations) and not its own of ${dayOf(ownRun)} (${ownApart.toFixed(1)}). Look at the numbers on both injectors: they may be exchanged or mistyped.`;
}
