/** A plan becomes a numbered list of points; the rules PLAN-1 to PLAN-12, PLAN-40 to PLAN-44, PLAN-50 to PLAN-52 and PLAN-81 are in README.md beside this file. */
import { mersenne } from 'pure-rand/generator/mersenne';
import type { RandomGenerator } from 'pure-rand/types/RandomGenerator';
import { kilopascals, milliseconds, seconds, volts } from '../quantities/quantity.ts';
import { blindPlaces, blindWindows, changedPressures, invarianceSet, invarianceWidths } from './invariance.ts';
import type { Nuisance } from './invariance.ts';
import { hasLook, lookSetPoint } from './look.ts';
import type { Plan } from './plan.ts';
import { onceMore } from './points.ts';
import type { Point } from './points.ts';
import { typicalDeadTime } from './typical.ts';
import { hasZeroPoints } from './zero.ts';

/** A point before it has its place in the list: indices into the plan's axes. */
interface Combination {
  readonly pressure: number;
  readonly voltage: number;
  readonly injector: number;
  readonly width: number;
  readonly period: number;
  readonly replicate: number;
}

/** The period pairs are measured at the plan's voltage nearest to this, where an injector opens fast. */
const pairVoltageV = 14;
/** Their width in times a typical dead time, at least. */
const pairOverDeadTime = 2.5;

/** How many points of each role `expandPlan` gives, without making them. */
export function countPoints(plan: Plan): Readonly<Record<'measure' | 'reference' | 'held' | 'zero' | 'pair' | 'invariance' | 'blind' | 'look', number>> {
  // PLAN-90
  if (plan.targets !== undefined) return { measure: 0, reference: plan.reference === undefined ? 0 : 1, held: 0, zero: hasZeroPoints(plan) ? 1 : 0, pair: 0, invariance: 0, blind: 0, look: hasLook(plan) ? 3 * plan.injectors.length : 0 };
  const { voltageV, pressureKpa, widthMs, periodMs, replicates } = plan.axes;
  const { time, period, longPeriod, pressure } = invarianceSet(plan);
  const measure =
    plan.injectors.length * voltageV.length * pressureKpa.length * widthMs.length * periodMs.length * replicates;
  return {
    measure,
    reference: plan.reference === undefined ? 0 : 1 + Math.ceil(measure / plan.reference.everyPoints),
    held: plan.injectors.length * pressureKpa.length * plan.static.replicates,
    zero: hasZeroPoints(plan) ? pressureKpa.length * (voltageV.length + 1) : 0,
    pair: plan.injectors.length * plan.pair.windows,
    invariance: plan.injectors.length * (time + period + longPeriod + 2 * pressure),
    blind: blindWindows(plan),
    look: hasLook(plan) ? 3 * plan.injectors.length : 0,
  };
}

/**
 * All points of a plan in the order in which they are measured. The same plan gives the same list for all time: a
 * point's index is its name in the archive.
 *
 * The plan must have passed `parsePlan`; a reference injector that is not in the plan throws.
 */
export function expandPlan(plan: Plan): readonly Point[] {
  const grid = expandGrid(plan);
  // What is measured is added by the schedule. PLAN-90
  return plan.targets === undefined ? grid : grid.slice(0, grid.findIndex((p) => p.role === 'measure'));
}

/** The points by which a plan is looked at before a run: those of its own, or, as nobody knows what a schedule will add, those of its grid with one replicate, which takes about as long. PLAN-93 */
export const expectedPoints = (plan: Plan): readonly Point[] => (plan.targets === undefined ? expandGrid(plan) : expandGrid({ ...plan, axes: { ...plan.axes, replicates: 1 } }));

/** What a plan with targets measures of one pressure, kPa, once its cells are known: static flow and self-checks, as many as for one replicate of its grid, a reference and a zero point. PLAN-91 */
export function checksOf(plan: Plan, pressureKpa: number): readonly Omit<Point, 'index'>[] {
  const first = kilopascals(at(plan.axes.pressureKpa, 0));
  const pressure = kilopascals(pressureKpa);
  const grid = expandGrid({ ...plan, axes: { ...plan.axes, replicates: 1 } });
  const checks = grid.filter((p) => (p.role === 'static' || p.role === 'blind' ? p.pressure === pressure : (p.role === 'pair' || p.role === 'invariance') && pressure === first));
  const ends = (['reference', 'zero'] as const).flatMap((role) => grid.filter((p) => p.role === role && (role === 'reference' || p.pressure === pressure)).slice(-1));
  return [...checks, ...ends].map(onceMore);
}

// eslint-disable-next-line max-lines-per-function -- the order of the plan is the nesting of its loops, read from outside in
function expandGrid(plan: Plan): readonly Point[] {
  const points: Point[] = [];
  const reference = referenceOf(plan);
  let references = 0;
  let measured = 0;
  const addReference = () => {
    if (reference === null) return;
    points.push({ ...reference.point, index: points.length, role: 'reference', replicate: references });
    references += 1;
  };

  const addStatic = (pressure: number) => {
    for (let injector = 0; injector < plan.injectors.length; injector += 1)
      for (let replicate = 0; replicate < plan.static.replicates; replicate += 1)
        points.push({
          index: points.length,
          role: 'static',
          injector,
          channel: at(plan.injectors, injector).channel,
          voltage: volts(plan.static.voltageV),
          pressure: kilopascals(at(plan.axes.pressureKpa, pressure)),
          width: milliseconds(plan.static.periodMs),
          period: milliseconds(plan.static.periodMs),
          replicate,
        });
  };

  let zeros = 0;
  const addZero = ({ pressure, voltage }: Pick<Combination, 'pressure' | 'voltage'>) => {
    if (!hasZeroPoints(plan)) return;
    points.push({
      index: points.length,
      role: 'zero',
      injector: 0,
      channel: 0,
      voltage: volts(at(plan.axes.voltageV, voltage)),
      pressure: kilopascals(at(plan.axes.pressureKpa, pressure)),
      width: seconds(0),
      period: seconds(0),
      replicate: zeros,
    });
    zeros += 1;
  };

  const addLooks = () => {
    if (!hasLook(plan)) return;
    const { voltageV, pressureKpa, widthsMs, periodMs } = lookSetPoint(plan);
    plan.injectors.forEach(({ channel }, injector) => {
      widthsMs.forEach((width, replicate) => {
        points.push({
          index: points.length,
          role: 'look',
          injector,
          channel,
          voltage: volts(voltageV),
          pressure: kilopascals(pressureKpa),
          width: milliseconds(width),
          period: milliseconds(periodMs),
          replicate,
        });
      });
    });
  };

  const setBlock = pairOf(plan);
  const pair = plan.pair.windows === 0 ? null : setBlock;
  const addPairs = (ended: Pick<Combination, 'pressure' | 'voltage'>) => {
    if (pair === null || ended.pressure !== pair.pressure || ended.voltage !== pair.voltage) return;
    for (let injector = 0; injector < plan.injectors.length; injector += 1)
      for (let replicate = 0; replicate < plan.pair.windows; replicate += 1)
        points.push({
          index: points.length,
          role: 'pair',
          injector,
          channel: at(plan.injectors, injector).channel,
          voltage: volts(at(plan.axes.voltageV, pair.voltage)),
          pressure: kilopascals(at(plan.axes.pressureKpa, pair.pressure)),
          width: milliseconds(pair.widthMs),
          period: milliseconds(pair.periodMs),
          replicate,
        });
  };

  const set = invarianceSet(plan);
  const widths = invarianceWidths(plan);
  const shortest = Math.min(...plan.axes.periodMs);
  const addInvariance = (changed: Nuisance, windows: number, { voltage, pressureKpa, widthMs, periodMs }: { readonly voltage: number; readonly pressureKpa: number; readonly widthMs: number; readonly periodMs: number }) => {
    for (let injector = 0; injector < plan.injectors.length; injector += 1)
      for (let replicate = 0; replicate < windows; replicate += 1)
        points.push({
          index: points.length,
          role: 'invariance',
          injector,
          channel: at(plan.injectors, injector).channel,
          voltage: volts(at(plan.axes.voltageV, voltage)),
          pressure: kilopascals(pressureKpa),
          width: milliseconds(widthMs),
          period: milliseconds(periodMs),
          replicate,
          changed,
        });
  };
  const addSet = (ended: Pick<Combination, 'pressure' | 'voltage'>) => {
    if (ended.pressure !== setBlock.pressure || ended.voltage !== setBlock.voltage) return;
    const { voltage } = setBlock;
    const { up, down } = changedPressures(plan);
    addInvariance('period', set.period, { voltage, pressureKpa: at(plan.axes.pressureKpa, 0), widthMs: setBlock.widthMs, periodMs: setBlock.periodMs });
    addInvariance('long-period', set.longPeriod, { voltage, pressureKpa: at(plan.axes.pressureKpa, 0), widthMs: widths.long, periodMs: setBlock.periodMs });
    addInvariance('pressure-up', set.pressure, { voltage, pressureKpa: up, widthMs: widths.middle, periodMs: shortest });
    addInvariance('pressure-down', set.pressure, { voltage, pressureKpa: down, widthMs: widths.middle, periodMs: shortest });
  };

  const blind = blindPlaces(plan);
  let blinds = 0;
  /** Blind windows of one block, or of one injector in it. */
  const addBlind = ({ pressure, voltage }: Pick<Combination, 'pressure' | 'voltage'>, injector: number | null) => {
    for (const place of blind) {
      if (place.pressure !== pressure || place.voltage !== voltage || (injector !== null && place.injector !== injector)) continue;
      points.push({
        index: points.length,
        role: 'blind',
        injector: place.injector,
        channel: at(plan.injectors, place.injector).channel,
        voltage: volts(at(plan.axes.voltageV, voltage)),
        pressure: kilopascals(at(plan.axes.pressureKpa, pressure)),
        width: milliseconds(at(plan.axes.widthMs, place.width)),
        period: milliseconds(at(plan.axes.periodMs, place.period)),
        replicate: blinds,
      });
      blinds += 1;
    }
  };
  // Beside what they are held against, where an injector's points of a block follow each other.
  const byInjector = plan.sequence.kind !== 'randomised';
  const endBlock = (ended: Combination) => {
    addBlind(ended, byInjector ? ended.injector : null);
    addSet(ended);
    addPairs(ended);
  };

  /** The block of one pressure and voltage that is being measured; null: before the first. */
  let block: Combination | null = null;
  let first: Combination | null = null;
  for (const combination of inOrder(plan)) {
    if (block === null) {
      first = combination;
      addLooks();
      addZero(combination);
      addReference();
    } else if (combination.pressure !== block.pressure) {
      endBlock(block);
      addStatic(block.pressure);
      addZero(block);
      addZero(combination);
    } else if (combination.voltage !== block.voltage) {
      endBlock(block);
      addZero(combination);
    } else if (byInjector && combination.injector !== block.injector) addBlind(block, block.injector);
    block = combination;
    if (reference !== null && measured > 0 && measured % reference.everyPoints === 0) addReference();
    points.push({
      index: points.length,
      role: 'measure',
      injector: combination.injector,
      channel: at(plan.injectors, combination.injector).channel,
      voltage: volts(at(plan.axes.voltageV, combination.voltage)),
      pressure: kilopascals(at(plan.axes.pressureKpa, combination.pressure)),
      width: milliseconds(at(plan.axes.widthMs, combination.width)),
      period: milliseconds(at(plan.axes.periodMs, combination.period)),
      replicate: combination.replicate,
    });
    measured += 1;
  }
  if (block !== null) {
    endBlock(block);
    addStatic(block.pressure);
    if (first !== null) addInvariance('time', set.time, { voltage: first.voltage, pressureKpa: at(plan.axes.pressureKpa, first.pressure), widthMs: widths.long, periodMs: shortest });
    addReference();
    addZero(block);
  }
  return points;
}

/** The block at the end of which period pairs and invariance set stand (PLAN-44, PLAN-73), and with what the pairs are measured. */
function pairOf(plan: Plan): { readonly pressure: number; readonly voltage: number; readonly widthMs: number; readonly periodMs: number } {
  const { voltageV, widthMs, periodMs } = plan.axes;
  const nearest = (a: number, b: number) => Math.abs(a - pairVoltageV) - Math.abs(b - pairVoltageV) || b - a;
  const voltage = at(voltageV.toSorted(nearest), 0);
  const rising = widthMs.toSorted((a, b) => a - b);
  // As short as opens for sure: half the duty leaves the coil cooler, which looks like a leak, and more so for a longer pulse.
  const least = pairOverDeadTime * typicalDeadTime(voltage) * 1e3;
  return {
    pressure: 0,
    voltage: voltageV.indexOf(voltage),
    widthMs: rising.find((width) => width >= least) ?? at(rising, rising.length - 1),
    periodMs: 2 * Math.min(...periodMs),
  };
}

function inOrder(plan: Plan): Iterable<Combination> {
  switch (plan.sequence.kind) {
    case 'nested':
      return nested(plan);
    case 'alternating':
      return alternating(plan);
    case 'shuffled':
      return shuffledWidths(plan);
    case 'randomised':
      return randomised(plan);
  }
}

function* nested({ injectors, axes }: Plan): Generator<Combination> {
  for (let pressure = 0; pressure < axes.pressureKpa.length; pressure += 1)
    for (let voltage = 0; voltage < axes.voltageV.length; voltage += 1)
      for (let injector = 0; injector < injectors.length; injector += 1)
        for (let width = 0; width < axes.widthMs.length; width += 1)
          for (let period = 0; period < axes.periodMs.length; period += 1)
            for (let replicate = 0; replicate < axes.replicates; replicate += 1)
              yield { pressure, voltage, injector, width, period, replicate };
}

function* alternating({ injectors, axes }: Plan): Generator<Combination> {
  const voltages = forthAndBack(axes.voltageV.length);
  const injectorNumbers = forthAndBack(injectors.length);
  const widths = forthAndBack(axes.widthMs.length);
  const periods = forthAndBack(axes.periodMs.length);
  for (let pressure = 0; pressure < axes.pressureKpa.length; pressure += 1)
    for (const voltage of voltages())
      for (const injector of injectorNumbers())
        for (let replicate = 0; replicate < axes.replicates; replicate += 1)
          for (const width of widths())
            for (const period of periods()) yield { pressure, voltage, injector, width, period, replicate };
}

/** Injector by injector as `alternating` goes, each replicate of its widths and periods in an order of its own. PLAN-81 */
function* shuffledWidths({ injectors, axes, sequence }: Plan): Generator<Combination> {
  const random = mersenne(sequence.seed);
  const periods = axes.periodMs.length;
  const block = Array.from({ length: axes.widthMs.length * periods }, (_, i) => i);
  const voltages = forthAndBack(axes.voltageV.length);
  const injectorNumbers = forthAndBack(injectors.length);
  for (let pressure = 0; pressure < axes.pressureKpa.length; pressure += 1)
    for (const voltage of voltages())
      for (const injector of injectorNumbers())
        for (let replicate = 0; replicate < axes.replicates; replicate += 1)
          for (const place of shuffled(block, random)) yield { pressure, voltage, injector, width: Math.floor(place / periods), period: place % periods, replicate };
}

/** A loop over 0 to n - 1 that runs the other way each time that it is entered. */
function forthAndBack(n: number): () => readonly number[] {
  const forth = Array.from({ length: n }, (_, i) => i);
  const back = forth.toReversed();
  let turn = false;
  return () => {
    turn = !turn;
    return turn ? forth : back;
  };
}

function* randomised({ injectors, axes, sequence }: Plan): Generator<Combination> {
  const random = mersenne(sequence.seed);
  const widths = axes.widthMs.length;
  const periods = axes.periodMs.length;
  const block = Array.from({ length: injectors.length * widths * periods }, (_, i) => i);
  for (let pressure = 0; pressure < axes.pressureKpa.length; pressure += 1)
    for (let voltage = 0; voltage < axes.voltageV.length; voltage += 1)
      for (let replicate = 0; replicate < axes.replicates; replicate += 1) {
        // Each block starts from its nested order, so that a block's order is told by the generator alone.
        for (const place of shuffled(block, random)) {
          const period = place % periods;
          const width = Math.floor(place / periods) % widths;
          const injector = Math.floor(place / (periods * widths));
          yield { pressure, voltage, injector, width, period, replicate };
        }
      }
}

/** Fisher-Yates, from the last place down (Knuth, The Art of Computer Programming 2, algorithm 3.4.2 P). */
function shuffled(list: readonly number[], random: RandomGenerator): readonly number[] {
  const result = [...list];
  for (let last = result.length - 1; last > 0; last -= 1) {
    const other = below(last + 1, random);
    const kept = at(result, last);
    result[last] = at(result, other);
    result[other] = kept;
  }
  return result;
}

/** Uniform integer in [0, n): the generator's 32-bit output modulo n, outputs of the last incomplete round rejected. */
function below(n: number, random: RandomGenerator): number {
  const whole = 0x1_0000_0000 - (0x1_0000_0000 % n);
  for (;;) {
    const draw = random.next() >>> 0;
    if (draw < whole) return draw % n;
  }
}

function referenceOf(plan: Plan): { readonly point: Omit<Point, 'index' | 'role' | 'replicate'>; readonly everyPoints: number } | null {
  const { reference } = plan;
  if (reference === undefined) return null;
  const injector = plan.injectors.findIndex((i) => i.serialNumber === reference.injector);
  return {
    everyPoints: reference.everyPoints,
    point: {
      injector,
      channel: at(plan.injectors, injector).channel,
      voltage: volts(reference.voltageV),
      pressure: kilopascals(reference.pressureKpa),
      width: milliseconds(reference.widthMs),
      period: milliseconds(reference.periodMs),
    },
  };
}

function at<T>(list: readonly T[], index: number): T {
  const value = list[index];
  if (value === undefined) throw new RangeError(`index ${index} is outside a list of ${list.length}`);
  return value;
}
