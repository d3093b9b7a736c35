/**
 * Fluid that passes the meter and not the injector under test: how much, at which time of the run, and how well that is known
 * (RED-40 to RED-42). All flows are volume flows at the meter, m3/s.
 *
 * With all injectors shut, n edges in a time T say that K T times the leak lies between n - 1 and n + 1, because nobody knows
 * how far the meter stood from its next edge. A count whose mean is x therefore has the variance f (1 - f), f the fraction of x,
 * and never more than a quarter; where x is small that is x itself, as in a Poisson count.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Point } from '../plan/points.ts';
import { leakOfDecay } from './pressure-decay.ts';
import { followedLevels } from './local-level.ts';
import type { Stage } from './local-level.ts';
import { kFactorAt } from './mass.ts';
import type { LeakBlock } from './leak-block.ts';
import type { CountingAttempt, Leak, Source } from './reduction.ts';

/** Counts are worth something where one edge in all their time is a smaller leak than this, m3/s: 0.05 mL/min. */
const worthCounting = (0.05 * 1e-6) / 60;
/** From so many edges on their own times say more than their number. */
const edgesOfTimes = 3;
/** Standard uncertainty of the place of an edge on the gear, edges: a meter's gears give no equal angles. An estimate. */
const uEdge = 0.1;
/** Relative standard uncertainty of the K-factor below the lowest flow of its certificate. An estimate: slip past the gears. */
const uBelowCertificate = 0.01;
/**
 * A leak grows with pressure as its root (a hole) or in proportion (a gap): by the power 3/4, rectangular between the two.
 */
const pressurePower = 0.75;
const uPressurePower = 0.25 / Math.sqrt(3);

interface Measured extends Source {
  readonly at: Point;
  readonly window: CountingAttempt['window'];
}

interface Count {
  /** Edges, with a fraction where their times tell it, and over how long, s. */
  readonly edges: number;
  readonly time: number;
  /** In so many separate spans, each with its own unknown beginning. */
  readonly spans: number;
  readonly byTimes: boolean;
}

/** A zero point, or the attempts of a stretch between two of them. RED-40. */
interface Part {
  readonly zero: boolean;
  /** The first of its attempts. */
  readonly first: Measured;
  readonly attempts: readonly Measured[];
}

/** The leak of a run. `attempts` in any order; their `order` says when they were made, or else their point. */
// eslint-disable-next-line max-lines-per-function -- the rules of the leak in their order (RED-40 on); each step needs what the ones before found
export function leakOf(points: readonly Point[], attempts: readonly CountingAttempt[], equipment: Equipment): Leak {
  const measured = inTheirOrder(points, attempts);
  const parts = inParts(measured);
  const counts = parts.map((part) => countsOf(part));
  const all = counts.flat().flatMap((c) => (c === null ? [] : [c.count]));
  const time = all.reduce((sum, c) => sum + c.time, 0);
  const least = equipment.meter.leastHertz ?? 0;
  const decays = new Map(measured.filter((m) => m.at.role === 'zero').flatMap((m) => decayOf(m, equipment)));
  if (decays.size === 0 && time * kFactorAt(equipment.meter, 0) * worthCounting < 1) return { kind: 'not-looked-at', text: time === 0 ? notLookedAt : `${tooShort(time)} ${notLookedAt}` };
  const edges = all.reduce((sum, c) => sum + c.edges, 0);
  // Half an edge: what no edge at all may mean (the prior of Jeffreys for a count).
  const hertz = (edges + 0.5) / time;
  const reference = measured.find((m) => m.window.pressure.mean > 0)?.at.pressure ?? 1;
  const perBlock = Math.max(1, measured.length / Math.max(1, parts.filter((p) => !p.zero).length));

  const stages: Stage[] = [];
  /** For each part the indices of its stages. */
  const stagesOf: number[][] = [];
  let made = 0;
  let before: number | null = null;
  let precision = 0;
  parts.forEach((part, i) => {
    const own: number[] = [];
    const pressure = part.first.at.pressure;
    const scale = (pressure / reference) ** pressurePower;
    (counts[i] ?? []).forEach((half) => {
      const jump = before === null ? 0 : (hertz * uPressurePower * Math.log(pressure / before)) ** 2;
      before = pressure;
      own.push(stages.length);
      // Where the meter may stand still, no edges say nothing of the leak as soon as the rail's pressure says something.
      const silent = decays.size > 0 && half !== null && half.count.edges < least * half.count.time;
      const reading = silent ? readingOfDecay(decays.get(part.first), kFactorAt(equipment.meter, hertz), scale) : half === null ? null : readingOf(half.count, hertz, scale);
      if (reading !== null) precision += 1 / reading.variance;
      stages.push({ at: (made + (half?.at ?? part.attempts.length / 2)) / perBlock, reading, jump });
    });
    made += part.zero ? 0 : part.attempts.length;
    stagesOf.push(own);
  });
  // What the prior adds to the mean: half an edge over the whole time where edges are few, nothing where their times are known.
  const shift = decays.size > 0 ? 0 : 0.5 / precision / hertz;

  const blocks: LeakBlock[] = [];
  let levels: ReturnType<typeof followedLevels> | null = null;
  // eslint-disable-next-line complexity -- the rules of the leak in their order (RED-40 on); each step needs what the ones before found
  parts.forEach((part, i) => {
    if (part.zero) return;
    const own = stagesOf[i] ?? [];
    const [first, last] = [own[0] ?? 0, own.at(-1) ?? 0];
    const [zeroBefore, zeroAfter] = [parts[i - 1], parts[i + 1]].map((p) => (p?.zero === true ? p : null));
    const start = zeroBefore == null ? first : (stagesOf[i - 1]?.[0] ?? first);
    const end = zeroAfter == null ? last : (stagesOf[i + 1]?.[0] ?? last);
    const length = (stages[end]?.at ?? 0) - (stages[start]?.at ?? 0);
    // Where the stages do not reach over the whole block, the change that they show is stretched to it.
    const stretch = length > 0 ? Math.max(1, part.attempts.length / perBlock / length) : 0;
    levels ??= followedLevels(stages);
    const [inside, ends, change] = levels([
      own.map((stage) => ({ stage, weight: 1 / own.length })),
      [
        { stage: start, weight: 0.5 },
        { stage: end, weight: 0.5 },
      ],
      [
        { stage: end, weight: stretch },
        { stage: start, weight: -stretch },
      ],
    ]);
    if (inside === undefined || ends === undefined || change === undefined) return;
    // Between its ends the leak is somewhere between what it was there; where enough was counted inside, that says it better.
    const between = { mean: ends.mean, variance: ends.variance + (change.mean * change.mean + change.variance) / 12 };
    const mean = inside.variance < between.variance ? inside : between;
    const scale = ((part.first.at.pressure) / reference) ** pressurePower;
    const rate = scale * Math.max(0, mean.mean + shift);
    const kFactor = kFactorAt(equipment.meter, rate);
    const unseen = rate < least;
    const below = unseen && decays.size === 0 ? least / kFactor : null;
    // A meter that stands still says no more than that the leak is anywhere up to its least flow.
    const flow = below === null ? rate / kFactor : below / 2;
    const idle = { edges: 0, time: 0 };
    for (const { window: { idle: one } } of part.attempts) {
      idle.edges += one?.edges ?? 0;
      idle.time += one?.time ?? 0;
    }
    blocks.push({
      block: blocks.length,
      pressure: part.first.at.pressure,
      voltage: part.attempts.find((a) => a.at.role === 'measure')?.at.voltage ?? part.first.at.voltage,
      flow,
      uFlow: (scale * Math.sqrt(mean.variance)) / kFactor,
      change: (scale * change.mean) / kFactor,
      uChange: (scale * Math.sqrt(change.variance)) / kFactor,
      uMeter: below === null ? flow * (unseen ? (equipment.rail?.complianceUncertaintyPercent ?? 0) / 100 : relativeOfMeter(equipment.meter, rate)) : below / Math.sqrt(12),
      below,
      zeroPoints: [zeroBefore, zeroAfter].flatMap((z) => (z == null ? [] : [sourceOf(z.first)])),
      idle,
      sources: part.attempts.map(sourceOf),
    });
  });
  return { kind: 'leak', edges: Math.round(edges), time, decays: decays.size, blocks };
}

/** What leaked while an attempt was made; null: nobody looked, or the attempt does not count. */
export function leakDuring(leak: Leak, point: number, attempt: number): LeakBlock | null {
  if (leak.kind !== 'leak') return null;
  return leak.blocks.find((b) => b.sources.some((s) => s.point === point && s.attempt === attempt)) ?? null;
}

const tooShort = (time: number): string => `The meter was watched for ${time.toFixed(1)} s without pulses, which is too short to tell a leak.`;

const notLookedAt =
  'Nobody looked whether fluid leaks past the injector under test, by zero points or long enough between pulses. A leak of 0.05 mL/min at a period of 20 ms moves the dead time of an injector of 4 g/s by about 3 us, and would not be seen.';

const sourceOf = ({ point, attempt }: Source): Source => ({ point, attempt });

/** As they were made. */
function inTheirOrder(points: readonly Point[], attempts: readonly CountingAttempt[]): readonly Measured[] {
  const measured: (Measured & { readonly order: number })[] = [];
  let isInOrder = true;
  let last = Number.NEGATIVE_INFINITY;
  for (const { point, attempt, window, order = point } of attempts) {
    const at = points[point];
    if (at === undefined) continue;
    measured.push({ point, attempt, at, window, order });
    isInOrder &&= order >= last;
    last = order;
  }
  return isInOrder ? measured : measured.sort((a, b) => a.order - b.order);
}

/** A leak does not go by the voltage: between zero points a block ends where that changes only when it has so many attempts. An estimate. */
const longBlock = 24;

/** Zero points, and what lies between them. A block ends where the pressure changes, and where the measured voltage does: in a run without zero points always, else when it is long. */
function inParts(measured: readonly Measured[]): readonly Part[] {
  const parts: Part[] = [];
  const least = measured.some(({ at }) => at.role === 'zero') ? longBlock : 1;
  let stretch: Measured[] = [];
  let voltage: number | null = null;
  const close = (): void => {
    const [first] = stretch;
    if (first !== undefined) parts.push({ zero: false, first, attempts: stretch });
    stretch = [];
    voltage = null;
  };
  for (const one of measured) {
    if (one.at.role === 'zero') {
      close();
      parts.push({ zero: true, first: one, attempts: [one] });
      continue;
    }
    const moved = one.at.role === 'measure' && voltage !== null && one.at.voltage !== voltage && stretch.length >= least;
    if (moved || (stretch[0] !== undefined && stretch[0].at.pressure !== one.at.pressure)) close();
    if (one.at.role === 'measure') voltage = one.at.voltage;
    stretch.push(one);
  }
  close();
  return parts;
}

/** A zero point is one count; a stretch has one for either half of its attempts (null: nothing was counted there). */
function countsOf(part: Part): readonly ({ readonly count: Count; readonly at: number } | null)[] {
  if (part.zero) {
    const count = zeroCount(part.first.window);
    return [count === null ? null : { count, at: 0 }];
  }
  const n = part.attempts.length;
  const middle = Math.ceil(n / 2);
  const halves = n < 2 ? [part.attempts] : [part.attempts.slice(0, middle), part.attempts.slice(middle)];
  return halves.map((half, i) => {
    let edges = 0;
    let time = 0;
    let spans = 0;
    for (const { window } of half) {
      if (window.idle === undefined || !(window.idle.time > 0)) continue;
      edges += window.idle.edges;
      time += window.idle.time;
      spans += 1;
    }
    return spans === 0 ? null : { count: { edges, time, spans, byTimes: false }, at: n * (halves.length === 1 ? 0.5 : 0.25 + 0.5 * i) };
  });
}

function zeroCount({ from, to, edges, firstEdgeAt, lastEdgeAt }: CountingAttempt['window']): Count | null {
  const time = to - from;
  if (!(time > 0) || !Number.isFinite(edges)) return null;
  const between = lastEdgeAt - firstEdgeAt;
  return edges >= edgesOfTimes && between > 0
    ? { edges: ((edges - 1) * time) / between, time, spans: 1, byTimes: true }
    : { edges, time, spans: 1, byTimes: false };
}

/** Edge rate of a count and its variance, at the pressure of reference; `hertz` is the rate of the whole run there. */
function readingOf({ edges, time, spans, byTimes }: Count, hertz: number, scale: number): NonNullable<Stage['reading']> {
  const expected = Math.max(hertz * scale * time, 1e-9);
  const each = expected / spans;
  const ofCount = each < 0.5 ? expected * (1 - each) : spans / 4;
  const variance = byTimes ? 2 * (uEdge * Math.max(1, edges / Math.max(1, edges - 1))) ** 2 : ofCount;
  return { value: edges / time / scale, variance: variance / (time * scale) ** 2 };
}

/** A zero point after which the rail was shut off, with the leak that its fall of pressure tells; empty: there was none. */
function decayOf(zero: Measured, equipment: Equipment): (readonly [Measured, NonNullable<ReturnType<typeof leakOfDecay>>])[] {
  const found = zero.window.decay === undefined ? null : leakOfDecay(zero.window.decay, equipment);
  return found === null || !(found.u > 0) ? [] : [[zero, found]];
}

/** As an edge rate at the pressure of reference. */
function readingOfDecay(found: ReturnType<typeof leakOfDecay> | undefined, kFactor: number, scale: number): Stage['reading'] {
  return found == null ? null : { value: (found.leak * kFactor) / scale, variance: ((found.u * kFactor) / scale) ** 2 };
}

/** What is known of the K-factor at the rate of a leak, relative, beside what the whole curve shares. */
function relativeOfMeter({ kFactor }: Equipment['meter'], hertz: number): number {
  let lowest = Number.POSITIVE_INFINITY;
  for (const point of kFactor) lowest = Math.min(lowest, point.hertz);
  if (hertz < lowest) return uBelowCertificate;
  let own = 0;
  let nearest = Number.POSITIVE_INFINITY;
  for (const point of kFactor) {
    if (Math.abs(point.hertz - hertz) >= nearest) continue;
    nearest = Math.abs(point.hertz - hertz);
    own = (point.ownUncertaintyPercent ?? 0) / 100;
  }
  return own;
}
