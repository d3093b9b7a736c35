/**
 * The invariance set: a number must not depend on what it was measured beside. Each member holds windows under a changed nuisance
 * against the ordinary ones, with the errors that both share taken out by their sources, and says in words what it found. RED-110 to RED-114.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import { changedPressures } from '../plan/invariance.ts';
import type { Nuisance } from '../plan/invariance.ts';
import { celsius, kilopascals } from '../quantities/quantity.ts';
import { fAbove } from '../distributions/distributions.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { massPerPulse } from './mass.ts';
import type { MassPerPulse } from './mass.ts';
import { NamedSums } from './named-sums.ts';
import { grouped, rememberingKey } from './cells.ts';
import { attemptNumber } from './leak-block.ts';
import type { LeakBlock } from './leak-block.ts';
import { uCoilLate } from './coil-thermal.ts';
import type { OfCoil } from './coil-thermal.ts';
import { dutyChange, isPair } from './period-pair.ts';
import type { InvarianceMember, InvarianceSet, LineCell, NoLineCell, ReducedWindow, ScatterModel } from './reduction.ts';
import { degreesOf, partsAt, varianceAt, varianceOfWindow } from './variance-model.ts';
import type { PartsOfVariance } from './variance-model.ts';

/** Chance that a bench on which all agrees has any member called: over the whole set, by Bonferroni. RED-112 */
const falseCalls = 0.01;

interface Measured {
  readonly reduced: ReducedWindow;
  readonly window: WindowSummary;
  /** Rises in the order in which attempts were made. */
  readonly order: number;
}

interface Question {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly windows: readonly Measured[];
  readonly cells: readonly (LineCell | NoLineCell)[];
  readonly scatter: readonly ScatterModel[];
  readonly blocks: ReadonlyMap<number, LeakBlock>;
  /** By `attemptNumber`, windows that do not belong to their repeats: they hold nothing. */
  readonly light: ReadonlySet<number>;
  /** K/W of an injector's coil, and by how much later a window opened than its settled warmth would have had it, s. */
  readonly coilOf: (injector: number) => OfCoil;
  readonly delayOf: (window: ReducedWindow, byTemperature: number) => number;
}

/** What a variance holds of the parts of each model of scatter, so that it is known how well the variance is. */
type Held = ReadonlyMap<ScatterModel, PartsOfVariance>;

/** A mass as its cell would have it, kg, with its variance and what one standard uncertainty of each shared source does to it. */
interface Referred {
  readonly mass: number;
  readonly variance: number;
  readonly held: Held;
  readonly shared: ReadonlyMap<string, number>;
}

/** The same of one window. There are many: its shared part is added to what it belongs to, and is no list of its own. */
interface ReferredWindow extends Omit<Referred, 'shared' | 'held'> {
  readonly model: ScatterModel;
  /** What its variance holds of the model; null: nothing, its timing says more. */
  readonly parts: PartsOfVariance | null;
  readonly outcome: MassPerPulse;
  /** How far it stood from the conditions of its cell, and what one unit of each does to its mass that is not known. */
  readonly toVoltage: number;
  readonly toPressure: number;
  readonly toTemperature: number;
  readonly unknown: { readonly ofVoltage: number; readonly ofPressure: number; readonly ofTemperature: number };
}

/** Adds up what sources that windows share do to a mean of them. */
class SharedOfMean {
  readonly #sums = new NamedSums();
  readonly #part: number;

  /** `part`: of the mean that each window is. */
  constructor(part: number) {
    this.#part = part;
  }

  add({ outcome, toVoltage, toPressure, toTemperature, unknown: { ofVoltage, ofPressure, ofTemperature } }: ReferredWindow): void {
    const { count, sources, sensitivities, uncertainties } = outcome.sharedTerms();
    for (let i = 0; i < count; i += 1) this.#sums.add((sources[i] as ErrorSource).key, this.#part * (sensitivities[i] as number) * (uncertainties[i] as number) * outcome.mass);
    this.#sums.add('by voltage', this.#part * (ofVoltage * toVoltage));
    this.#sums.add('by pressure', this.#part * (ofPressure * toPressure));
    this.#sums.add('by temperature', this.#part * (ofTemperature * toTemperature));
  }

  toMap(): Map<string, number> {
    return this.#sums.toMap();
  }
}

/** Adds `factor` times what another variance holds. */
function hold(to: Map<ScatterModel, PartsOfVariance>, model: ScatterModel, parts: PartsOfVariance, factor: number): void {
  const [a, b, c] = to.get(model) ?? [0, 0, 0];
  to.set(model, [a + factor * parts[0], b + factor * parts[1], c + factor * parts[2]]);
}

function heldTimes(lists: readonly (readonly [Held, number])[]): Held {
  const sum = new Map<ScatterModel, PartsOfVariance>();
  for (const [held, factor] of lists) for (const [model, parts] of held) hold(sum, model, parts, factor);
  return sum;
}

const add = (to: Map<string, number>, key: string, effect: number): void => {
  to.set(key, (to.get(key) ?? 0) + effect);
};

/** What one injector says: difference in pulse width, s. */
interface OfInjector {
  readonly injector: number;
  readonly difference: number;
  readonly variance: number;
  readonly shared: ReadonlyMap<string, number>;
  readonly held: Held;
  /** Mass that the difference is one of, in pulse width, s: from the dead time to the width. */
  readonly open: number;
}

/** Every member that the run has windows for, each with its verdict; the verdicts hold over the whole set. */
export function invarianceOf(question: Question): InvarianceSet {
  const found = members(question);
  const tests = found.reduce((sum, m) => sum + m.tests.length, 0);
  return {
    tests,
    falseCalls,
    members: found.map(({ tests: own, ...m }): InvarianceMember => {
      const { by, p } = own.reduce((least, one) => (one.p < least.p ? one : least));
      return { ...m, p: Math.min(1, p * tests), called: p * tests <= falseCalls, by };
    }),
  };
}

type Found = Omit<InvarianceMember, 'p' | 'called' | 'by'> & { readonly tests: readonly { readonly by: InvarianceMember['by']; readonly p: number }[] };

function members(question: Question): readonly Found[] {
  const { plan, windows } = question;
  const lines = new Map(question.cells.flatMap((c) => (c.kind === 'line' ? [[cellKey(c), c] as const] : [])));
  const under = (changed: Nuisance) => windows.filter(({ reduced: { at } }) => at.changed === changed);
  const base = (list: readonly Measured[], pressure: number | null, halved: boolean): readonly Pairing[] =>
    list.flatMap((w): Pairing[] => {
      const { injector, voltage, period, pressure: own } = w.reduced.at;
      const cell = lines.get(cellKey({ injector, voltage, pressure: pressure ?? own, period: halved ? period / 2 : period }));
      return cell === undefined ? [] : [{ window: w, cell }];
    });
  const first = kilopascals(plan.axes.pressureKpa[0] ?? Number.NaN);
  const against = (pairings: readonly Pairing[], warmth: boolean): readonly OfInjector[] => heldAgainst(question, pairings, warmth);
  const { up, down } = changedPressures(plan);
  return [
    member('period', against(base(windows.filter(({ reduced: { at } }) => isPair(at)), null, true), true)),
    member('long-period', against(base(under('long-period'), null, true), true)),
    member('direction', directionsOf(question, lines)),
    member('pressure', upAgainstDown(question, base(under('pressure-up'), first, false), base(under('pressure-down'), first, false)), (plan.accept.pressureKpa) / (up - down)),
    withCourse(member('time', against(base(under('time'), null, false), false)), courseOf(question, lines)),
  ].flatMap((m) => (m === null ? [] : [m]));
}

interface Pairing {
  readonly window: Measured;
  readonly cell: LineCell;
}

const cellKey = ({ injector, voltage, pressure, period }: { readonly injector: number; readonly voltage: number; readonly pressure: number; readonly period: number }): string =>
  `${injector}|${voltage}|${pressure}|${Math.round(period * 1e9)}`;

/** RED-111: windows as they would stand in a cell, at its own pressure, supply and temperature; those that hold nothing are left out. */
function referredAll(question: Question, list: readonly Measured[], cell: LineCell): readonly ReferredWindow[] {
  const { plan, equipment, scatter, blocks, light, delayOf } = question;
  const model = scatter.find((s) => s.pressure === cell.pressure && Math.abs(s.period - cell.period) < 1e-9);
  if (model === undefined) return [];
  const slope = cell.slope.value;
  const { byVoltage, byPressure, byTemperature } = cell;
  const reference = celsius(plan.reduction.referenceC);
  // How well it is known what the dead time does with the conditions counts by how far the window stands from its cell's.
  // What nothing in the run has told may be off by all of itself: no call is to rest on a usual value.
  const ofCondition = ({ value, u, from }: typeof byVoltage): number => -slope * (from === 'default' ? Math.abs(value) : u);
  const unknown = { ofVoltage: ofCondition(byVoltage), ofPressure: ofCondition(byPressure), ofTemperature: ofCondition(byTemperature) };
  const referred: ReferredWindow[] = [];
  for (const { reduced, window } of list) {
    const { at } = reduced;
    if (light.size > 0 && light.has(attemptNumber(reduced))) continue;
    // A window at another pressure is worked out anew for that of its cell: the root of the pressure is what is in question.
    const moved = Math.abs(at.pressure - cell.pressure) > 1;
    const outcome = moved ? massPerPulse({ ...at, pressure: cell.pressure }, window, equipment, plan.reduction, blocks.get(attemptNumber(reduced)) ?? null) : reduced.outcome;
    if (outcome.kind !== 'mass') continue;
    const ofBench = moved ? (reduced.ofBench ?? 1) : 1;
    const toVoltage = at.voltage - window.supply.mean;
    const toPressure = cell.pressure - window.pressure.mean;
    const toTemperature = reference - window.railTemperature.mean;
    const variance = varianceOfWindow(model, outcome, outcome.mass);
    referred.push({
      mass: outcome.mass / ofBench - slope * (byVoltage.value * toVoltage + byPressure.value * toPressure + byTemperature.value * toTemperature - delayOf(reduced, byTemperature.value)),
      variance,
      model,
      parts: variance > varianceAt(model, outcome.mass, outcome.partTurn) ? null : partsAt(outcome.mass, outcome.partTurn),
      outcome,
      toVoltage,
      toPressure,
      toTemperature,
      unknown,
    });
  }
  return referred;
}

/** Mean of windows, with the variance of the mean. `worse`: how much worse than the model each repeats. */
function meanOf(list: readonly ReferredWindow[], worse: number): Referred {
  const n = list.length;
  const shared = new SharedOfMean(1 / n);
  const held = new Map<ScatterModel, PartsOfVariance>();
  let [mass, variance] = [0, 0];
  for (const one of list) {
    mass += one.mass;
    variance += one.variance;
    shared.add(one);
    if (one.parts !== null) hold(held, one.model, one.parts, (worse * worse) / (n * n));
  }
  return { mass: mass / n, variance: (worse * worse * variance) / (n * n), held, shared: shared.toMap() };
}

function difference(a: Referred, b: Referred): Referred {
  const shared = new Map(a.shared);
  b.shared.forEach((effect, key) => {
    add(shared, key, -effect);
  });
  return { mass: a.mass - b.mass, variance: a.variance + b.variance, held: heldTimes([[a.held, 1], [b.held, 1]]), shared };
}

function divided(shared: ReadonlyMap<string, number>, by: number): ReadonlyMap<string, number> {
  const parts = new Map<string, number>();
  shared.forEach((effect, key) => {
    parts.set(key, effect / by);
  });
  return parts;
}

const inWidth = (cell: LineCell, width: number, { mass, variance, held, shared }: Referred): OfInjector => {
  const slope = cell.slope.value;
  return { injector: cell.injector, difference: mass / slope, variance: variance / slope ** 2, held: heldTimes([[held, 1 / slope ** 2]]), shared: divided(shared, slope), open: width - cell.deadTime.value };
};

/** The ordinary windows of a cell at a width. */
const ordinary = (question: Question, cell: LineCell, width: number): readonly Measured[] =>
  question.windows.filter(({ reduced: { at } }) => at.role === 'measure' && at.width === width && cellKey(at) === cellKey(cell));

/** A window of fewer edges repeats worse, at the worst by as much as it has fewer (RED-47). */
const fewerEdges = (usual: readonly Measured[], windows: readonly Measured[]): number => (usual.length === 0 ? 1 : Math.max(1, edgesOf(usual) / edgesOf(windows)));

const edgesOf = (list: readonly Measured[]): number => list.reduce((sum, { window }) => sum + window.edges, 0) / list.length;

/** Windows under a changed nuisance against the ordinary ones of their cells, injector by injector. `warmth`: at twice the period. */
function heldAgainst(question: Question, pairings: readonly Pairing[], warmth: boolean): readonly OfInjector[] {
  return byCell(pairings).flatMap(({ cell, width, windows }): OfInjector[] => {
    const usual = ordinary(question, cell, width);
    const [changed, same] = [referredAll(question, windows, cell), referredAll(question, usual, cell)];
    if (changed.length === 0 || same.length === 0) return [];
    const found = difference(meanOf(changed, fewerEdges(usual, windows)), meanOf(same, 1));
    if (!warmth) return [inWidth(cell, width, found)];
    const watts = dutyChange(question.plan, cell, width);
    const perKelvin = cell.slope.value * cell.byTemperature.value;
    const coil = question.coilOf(cell.injector);
    const shared = new Map(found.shared).set('warmth of the coil', perKelvin * coil.u * watts);
    return [inWidth(cell, width, { ...found, mass: found.mass - perKelvin * coil.kelvinPerWatt * watts, shared })];
  });
}

/** Windows that are held against one cell at one width. */
function byCell<T extends Pairing>(pairings: readonly T[]): readonly { readonly cell: LineCell; readonly width: number; readonly of: readonly T[]; readonly windows: readonly Measured[] }[] {
  const groups = new Map<LineCell, Map<number, T[]>>();
  for (const one of pairings) {
    const ofCell = groups.get(one.cell) ?? new Map<number, T[]>();
    groups.set(one.cell, ofCell);
    const { width } = one.window.reduced.at;
    const group = ofCell.get(width);
    if (group === undefined) ofCell.set(width, [one]);
    else group.push(one);
  }
  return [...groups].flatMap(([cell, ofCell]) => [...ofCell].map(([width, of]) => ({ cell, width, of, windows: of.map((p) => p.window) })));
}

function upAgainstDown(question: Question, ups: readonly Pairing[], downs: readonly Pairing[]): readonly OfInjector[] {
  const down = byCell(downs);
  return byCell(ups).flatMap((up): OfInjector[] => {
    // Both have the width in the middle (PLAN-73).
    const other = down.find((d) => d.cell === up.cell);
    if (other === undefined) return [];
    const [above, below] = [referredAll(question, up.windows, up.cell), referredAll(question, other.windows, up.cell)];
    if (above.length === 0 || below.length === 0) return [];
    const worse = fewerEdges(ordinary(question, up.cell, up.width), [...up.windows, ...other.windows]);
    return [inWidth(up.cell, up.width, difference(meanOf(above, worse), meanOf(below, worse)))];
  });
}

/** As they were made; mostly they stand so. */
function inTheirOrder(windows: readonly Measured[]): readonly Measured[] {
  for (let i = 1; i < windows.length; i += 1) if ((windows[i - 1] as Measured).order > (windows[i] as Measured).order) return windows.toSorted((a, b) => a.order - b.order);
  return windows;
}

/**
 * The same width after a longer and after a shorter one, from the ordinary windows of all cells: a coil that follows its warmth late is
 * warmer in the first. It costs no bench time, and wants an order of the plan in which both come. RED-113
 */
function directionsOf(question: Question, lines: ReadonlyMap<string, LineCell>): readonly OfInjector[] {
  const keyOf = rememberingKey(cellKey);
  const steps: (Pairing & { readonly afterLonger: boolean })[] = [];
  let last = '';
  let lastWidth = 0;
  for (const window of inTheirOrder(question.windows)) {
    const { at } = window.reduced;
    const [before, beforeWidth] = [last, lastWidth];
    last = at.role === 'measure' ? keyOf(at) : '';
    lastWidth = at.width;
    if (last === '' || before !== last || beforeWidth === lastWidth) continue;
    const cell = lines.get(last);
    if (cell !== undefined && at.width >= cell.region.from) steps.push({ window, cell, afterLonger: beforeWidth > lastWidth });
  }
  return grouped(steps, ({ cell }) => String(cell.injector)).flatMap((ofInjector) => {
    const [{ cell: { injector } }] = ofInjector;
    const found = byCell(ofInjector).flatMap(({ cell, width, of }): OfInjector[] => {
      const after = (longer: boolean) => referredAll(question, of.filter((s) => s.afterLonger === longer).map((s) => s.window), cell);
      const [longer, shorter] = [after(true), after(false)];
      if (longer.length === 0 || shorter.length === 0) return [];
      const apart = difference(meanOf(longer, 1), meanOf(shorter, 1));
      // What is allowed for the warmth of the coil to be late anyhow (RED-18) calls nothing.
      return [inWidth(cell, width, { ...apart, shared: new Map(apart.shared).set('coil late', cell.slope.value * cell.byTemperature.value * uCoilLate(question.plan, cell, width - cell.deadTime.value)) })];
    });
    return found.length === 0 ? [] : [{ ...averaged(found), injector }];
  });
}

/** One at least, weighted by the inverse variances. */
function averaged(list: readonly OfInjector[]): Omit<OfInjector, 'injector'> {
  let weights = 0;
  let sum = 0;
  let open = 0;
  const shared = new Map<string, number>();
  for (const one of list) {
    const weight = 1 / one.variance;
    weights += weight;
    sum += weight * one.difference;
    open += weight * one.open;
    one.shared.forEach((effect, key) => {
      add(shared, key, weight * effect);
    });
  }
  const held = heldTimes(list.map((one) => [one.held, 1 / (one.variance * weights) ** 2]));
  return { difference: sum / weights, variance: 1 / weights, held, shared: divided(shared, weights), open: open / weights };
}

/** Of no more is asked: beyond, quantiles are those of a variance that is known. */
const mostDegrees = 1e6;

/** How well the variance is known that a difference is held against: by the masses at which it was found. What is known of it beside scatter makes it no better. RED-112 */
function degreesIn({ variance, held }: Pick<Referred, 'variance' | 'held'>): number {
  let told = 0;
  for (const [{ constant, relative, turn = 0 }, parts] of held) told += parts[0] * constant + parts[1] * relative + parts[2] * turn;
  return Math.min(mostDegrees, degreesOf(held, Math.max(0, variance - told)));
}

/**
 * One test of what all injectors have in common and one of how they differ (RED-112). `reach`: which part of the difference the windows of
 * a result may stand from each other.
 */
function member(of: InvarianceMember['of'], list: readonly OfInjector[], reach = 1): Found | null {
  if (list.length === 0) return null;
  const all = averaged(list);
  const uRandom = Math.sqrt(all.variance);
  const uShared = Math.hypot(...all.shared.values());
  // Errors that are not the same for all, as that of a leak that changes, widen how far injectors may differ.
  const own = (one: OfInjector): number => {
    let squares = 0;
    one.shared.forEach((effect, key) => (squares += (effect - (all.shared.get(key) ?? 0)) ** 2));
    return one.variance + squares;
  };
  const spread = list.reduce((sum, one) => sum + (one.difference - all.difference) ** 2 / own(one), 0);
  const f = all.difference ** 2 / (all.variance + uShared ** 2);
  const dof = degreesIn(all);
  return {
    of,
    injectors: list.map((one) => ({ injector: one.injector, difference: one.difference, uRandom: Math.sqrt(one.variance), uShared: Math.hypot(...one.shared.values()) })),
    difference: all.difference,
    percent: (100 * all.difference) / all.open,
    open: all.open,
    uRandom,
    uShared,
    z: Math.sign(all.difference) * Math.sqrt(f),
    reach,
    tests: [
      { by: 'common', p: fAbove(f, 1, dof) },
      ...(list.length > 1 ? [{ by: 'injectors' as const, p: fAbove(spread / (list.length - 1), list.length - 1, dof) }] : []),
    ],
  };
}

/** How the reference point wandered: relative standard deviation beyond its scatter, and the chance of so much without. */
interface Course {
  readonly beyond: number;
  readonly p: number;
}

/** Reference points of the run about their mean, where their set point is one that has a line. */
function courseOf(question: Question, lines: ReadonlyMap<string, LineCell>): Course | null {
  // What they wandered by is taken off already: only what the windows themselves say is left to ask.
  if (question.plan.reduction.driftCorrection === 'reference') return null;
  const references = question.windows.filter(({ reduced: { at } }) => at.role === 'reference');
  const [first] = references;
  const cell = first === undefined ? undefined : lines.get(cellKey(first.reduced.at));
  if (cell === undefined) return null;
  const list = referredAll(question, references, cell);
  if (list.length < 3) return null;
  const { mass, variance, held, shared: all } = meanOf(list, 1);
  const squares = list.reduce((sum, one) => sum + (one.mass - mass) ** 2, 0);
  // What instruments have in common moves all of them alike; what differs, as the leak of a block, does not count as wandering.
  const expected = list.reduce((sum, one) => sum + one.variance + [...meanOf([one], 1).shared].reduce((more, [key, effect]) => more + (effect - (all.get(key) ?? 0)) ** 2, 0), 0) / list.length;
  const dof = list.length - 1;
  return { beyond: Math.sqrt(Math.max(0, squares / dof - expected)) / mass, p: fAbove(squares / dof / expected, dof, degreesIn({ variance, held })) };
}

const withCourse = (time: Found | null, course: Course | null): Found | null =>
  time === null || course === null ? time : { ...time, wandered: course.beyond, tests: [...time.tests, { by: 'course', p: course.p }] };

/** What is left of a part of a result, in squares and with its sign, where that much of the same error is in it already. */
const beyond = (part: number, already: number): number => Math.sign(part) * Math.sqrt(Math.max(0, part ** 2 - already ** 2));

/** What a called member adds to the results it concerns: to the dead time, s, and to the slope, relative. Rectangular (GUM 4.3.7). `uLag`: what up against down has put into its dead time, s. RED-114, RED-90 */
export function partsOfSet(set: InvarianceSet, injector: number, leakTold: boolean, uDrift: number, uLag = 0): readonly { readonly of: InvarianceMember['of']; readonly onDeadTime: number; readonly onSlope: number }[] {
  return set.members.flatMap((m) => {
    // What a period pair says of a leak is the leak's affair where it has been taken into it (RED-47).
    if (!m.called || (m.of === 'period' && leakTold)) return [];
    const own = m.by === 'injectors' ? (m.injectors.find((one) => one.injector === injector)?.difference ?? 0) : m.difference;
    const half = (own * m.reach) / Math.sqrt(3);
    // Relative to the mass; a run wanders at least as far as its reference points and as from its beginning to its end.
    const whole = Math.max(Math.abs(half / m.open), m.wandered ?? 0);
    // What the reference point has put into the results already (RED-83) is not put there twice.
    const relative = m.of === 'time' ? beyond(whole, uDrift) : whole;
    return [m.of === 'time' || m.of === 'pressure' ? { of: m.of, onDeadTime: 0, onSlope: relative } : { of: m.of, onDeadTime: m.of === 'direction' ? beyond(half, uLag) : half, onSlope: 0 }];
  });
}
