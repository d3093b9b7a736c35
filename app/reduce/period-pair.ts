/**
 * Period pair: the same pulse at twice the period gives the same mass, unless fluid leaks past the injector: then it differs by
 * what leaks in one period more. Tells a leak while pulses flow, without waiting. RED-47.
 */
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { powerOf, ohmOf } from './coil-thermal.ts';
import type { OfCoil } from './coil-thermal.ts';
import type { MassPerPulse } from './mass.ts';
import { attemptNumber } from './leak-block.ts';
import type { LeakBlock } from './leak-block.ts';
import type { CountingAttempt, Leak, LineCell, NoLineCell, PeriodPair, ReducedWindow, ScatterModel } from './reduction.ts';
import { varianceAt } from './variance-model.ts';

/**
 * Zero points and pair contradict each other from so many standard uncertainties on: three would refuse one sound bench in a hundred
 * (own trials, with the scatter that a few windows tell), four none.
 */
export const contradicts = 4;
interface Question {
  readonly plan: Plan;
  readonly windows: readonly { readonly reduced: ReducedWindow; readonly window: WindowSummary }[];
  readonly cells: readonly (LineCell | NoLineCell)[];
  readonly scatter: readonly ScatterModel[];
  readonly blocks: ReadonlyMap<number, LeakBlock>;
  /** Half the duty leaves the coil cooler, and a cooler coil opens sooner: K/W of an injector's coil, and by how much later a window opened than its settled warmth would have had it, s. */
  readonly coilOf: (injector: number) => OfCoil;
  readonly delayOf: (window: ReducedWindow, byTemperature: number) => number;
}

interface Weighed {
  readonly reduced: ReducedWindow;
  readonly at: Point;
  readonly outcome: MassPerPulse;
  readonly window: WindowSummary;
  readonly block: LeakBlock | null;
}

/** Of the plan's period pairs, and those that the invariance set adds to them. */
export const isPair = (at: Point): boolean => at.role === 'pair' || at.changed === 'period';

export function periodPairOf(question: Question): PeriodPair {
  const { plan, windows, blocks } = question;
  const isThere = windows.some(({ reduced: { at, outcome } }) => outcome.kind === 'mass' && isPair(at));
  if (!isThere) return { kind: 'no-period-pair', text: 'No window at twice the period was measured, so pulses do not say whether fluid leaks past the injectors.' };
  const weighed = windows.flatMap(({ reduced, window }): Weighed[] => {
    const { at, outcome } = reduced;
    return outcome.kind === 'mass' && (isPair(at) || at.role === 'measure') ? [{ reduced, at, outcome, window, block: blocks.get(attemptNumber(reduced)) ?? null }] : [];
  });
  const pairs = weighed.filter((w) => isPair(w.at));
  const found = plan.injectors.flatMap((_, injector) => {
    const one = ofInjector(injector, pairs, weighed, question);
    return one === null ? [] : [one];
  });
  if (found.length === 0) return { kind: 'no-period-pair', text: 'The windows at twice the period have no line and no windows of the same width at the period itself beside them, so they say nothing.' };

  let weights = 0;
  for (const f of found) weights += 1 / (f.uRandom * f.uRandom);
  const share = (f: (typeof found)[number]): number => 1 / (f.uRandom * f.uRandom) / weights;
  const mean = (read: (f: (typeof found)[number]) => number): number => found.reduce((sum, f) => sum + share(f) * read(f), 0);
  const flow = mean((f) => f.flow);
  // Injectors that differ by more than their windows explain say so of the mean too (Birge).
  const birge = found.length < 3 ? 0 : found.reduce((sum, f) => sum + ((f.flow - flow) / f.uRandom) ** 2, 0) / (found.length - 1);
  const uRandom = Math.sqrt(Math.max(1, birge) / weights);
  const sources = new Set(found.flatMap((f) => [...f.ofMeter.keys()]));
  const uShared = Math.hypot(mean((f) => f.uWarmth), ...[...sources].map((source) => mean((f) => f.ofMeter.get(source) ?? 0)));
  const takenOff = mean((f) => f.takenOff);
  const uTakenOff = mean((f) => f.uTakenOff);
  const z = flow / Math.hypot(uRandom, uShared, uTakenOff);
  return {
    kind: 'period-pair',
    injectors: found.map((f) => ({ injector: f.injector, serialNumber: plan.injectors[f.injector]?.serialNumber ?? '', flow: f.flow, uRandom: f.uRandom })),
    flow,
    uRandom,
    uShared,
    beside: blocks.size > 0,
    takenOff,
    uTakenOff,
    z,
    agrees: Math.abs(z) <= contradicts,
  };
}

/** The leak beyond what was taken off already, by the pairs of one injector, m3/s; null: they have no partners or no line. */
function ofInjector(injector: number, pairs: readonly Weighed[], weighed: readonly Weighed[], { cells, scatter, plan, coilOf, delayOf }: Question) {
  const [first] = pairs.filter((p) => p.at.injector === injector);
  if (first === undefined) return null;
  const { at } = first;
  const period = at.period / 2;
  const alike = (w: Weighed): boolean => w.at.injector === injector && w.at.voltage === at.voltage && w.at.pressure === at.pressure && w.at.width === at.width;
  const long = pairs.filter((w) => alike(w) && w.at.period === at.period);
  const short = weighed.filter((w) => w.at.role === 'measure' && alike(w) && Math.abs(w.at.period - period) < 1e-9);
  const cell = cells.find((c) => c.injector === injector && c.voltage === at.voltage && c.pressure === at.pressure && Math.abs(c.period - period) < 1e-9);
  const model = scatter.find((s) => s.pressure === at.pressure && Math.abs(s.period - period) < 1e-9);
  if (short.length === 0 || cell?.kind !== 'line' || model === undefined) return null;

  const slope = cell.slope.value;
  const { byVoltage, byPressure, byTemperature } = cell;
  const referenceK = celsius(plan.reduction.referenceC);
  const referred = ({ reduced, outcome, window }: Weighed): number =>
    outcome.mass -
    slope *
      (byVoltage.value * (at.voltage - window.supply.mean) + byPressure.value * (at.pressure - window.pressure.mean) + byTemperature.value * (referenceK - window.railTemperature.mean) - delayOf(reduced, byTemperature.value));
  const meanOf = (list: readonly Weighed[], read: (w: Weighed) => number): number => list.reduce((sum, w) => sum + read(w), 0) / list.length;
  // The model tells how windows at the period itself repeat. One of fewer edges repeats worse, at the worst as much as it has fewer.
  const usualEdges = meanOf(short, ({ window }) => window.edges);
  const varianceOf = (list: readonly Weighed[]): number =>
    meanOf(list, ({ outcome, window }) => Math.max(varianceAt(model, outcome.mass, outcome.partTurn) * Math.max(1, usualEdges / window.edges) ** 2, (outcome.uTiming * outcome.mass) ** 2)) / list.length;

  const watts = dutyChange(plan, cell, at.width);
  const perKelvin = slope * byTemperature.value;
  const coil = coilOf(injector);
  const difference = meanOf(long, referred) - meanOf(short, referred) - perKelvin * coil.kelvinPerWatt * watts;
  const perFlow = meanOf(short, ({ outcome }) => outcome.meterDensity * period * outcome.pressureFactor * outcome.temperatureFactor);

  const ofMeter = new Map<string, number>();
  for (const [list, sign] of [[long, 1], [short, -1]] as const) {
    for (const { outcome } of list) {
      for (const t of outcome.budget) {
        if (t.source.quantity !== 'k-factor-point') continue;
        ofMeter.set(t.source.key, (ofMeter.get(t.source.key) ?? 0) + (sign * t.sensitivity * t.standardUncertainty * outcome.mass) / list.length / perFlow);
      }
    }
  }
  const blocksOf = [...long, ...short].flatMap((w) => (w.block === null ? [] : [w.block]));
  const ofBlocks = (read: (b: LeakBlock) => number): number => (blocksOf.length === 0 ? 0 : blocksOf.reduce((sum, b) => sum + read(b), 0) / blocksOf.length);
  return {
    injector,
    flow: difference / perFlow,
    uRandom: Math.sqrt(varianceOf(long) + varianceOf(short)) / perFlow,
    uWarmth: (perKelvin * coil.u * watts) / perFlow,
    ofMeter,
    takenOff: ofBlocks((b) => b.flow),
    uTakenOff: ofBlocks((b) => Math.hypot(b.uFlow, b.uMeter, Math.hypot(b.change, b.uChange) / Math.sqrt(12))),
  };
}

/** Watts that a coil gets less at twice the period. */
export function dutyChange(plan: Plan, cell: LineCell, width: number): number {
  return powerOf({ voltage: cell.voltage, width, period: cell.period }, ohmOf(plan, cell.injector), cell.deadTime.value) / 2;
}

/** Where the meter stands still at rest, pulses tell the leak: both by the inverse of their variances, and not below nothing. RED-49. */
function withPair(block: LeakBlock, pair: Extract<PeriodPair, { kind: 'period-pair' }>): LeakBlock {
  const uPair = Math.hypot(pair.uRandom, pair.uShared);
  const share = block.uMeter ** 2 / (block.uMeter ** 2 + uPair ** 2);
  return { ...block, flow: Math.max(0, block.flow + share * pair.flow), uMeter: Math.sqrt(share) * uPair };
}

/**
 * The leak with what the pair adds to it: all of it where nobody looked at rest; where the two contradict each other, the
 * disagreement as something that the meter does not tell at rest. null: nothing is added.
 */
export function leakByPair(looked: Leak, pair: PeriodPair, points: readonly Point[], attempts: readonly CountingAttempt[]): { readonly leak: Leak; readonly contradiction: number | null } | null {
  if (pair.kind === 'no-period-pair') return null;
  if (looked.kind === 'leak' && looked.blocks.some((b) => b.below !== null)) {
    const blocks = looked.blocks.map((b) => (b.below === null ? b : withPair(b, pair)));
    return { leak: { ...looked, blocks }, contradiction: pair.agrees ? null : Math.abs(pair.flow) };
  }
  if (looked.kind === 'leak') {
    if (pair.agrees) return null;
    const uMeter = Math.abs(pair.flow) / Math.sqrt(3);
    return { leak: { ...looked, blocks: looked.blocks.map((b) => ({ ...b, uMeter: Math.hypot(b.uMeter, uMeter) })) }, contradiction: Math.abs(pair.flow) };
  }
  const flow = Math.max(0, pair.flow);
  const block = (pressure: number, voltage: number, sources: LeakBlock['sources']): LeakBlock => ({
    block: 0,
    pressure,
    voltage,
    flow,
    uFlow: Math.hypot(pair.uRandom, pair.uShared),
    // Seen once, and not how it changes: it may have been anything up to that, or begun any time.
    change: 0,
    uChange: flow,
    uMeter: 0,
    below: null,
    zeroPoints: [],
    idle: { edges: 0, time: 0 },
    sources,
  });
  const driven = attempts.flatMap(({ point, attempt }) => (points[point] === undefined || points[point].role === 'zero' ? [] : [{ point, attempt, at: points[point] }]));
  const [first] = driven;
  if (first === undefined) return null;
  return { leak: { kind: 'leak', edges: 0, time: 0, decays: 0, blocks: [block(first.at.pressure, first.at.voltage, driven.map(({ point, attempt }) => ({ point, attempt })))] }, contradiction: null };
}
