/**
 * The reduction of a run: windows in, lines and their uncertainties out. Pure; the rules are numbered in README.md.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, milliseconds } from '../quantities/quantity.ts';
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../run/window.ts';
import { coverageFactor, result } from './budget.ts';
import type { Result } from './budget.ts';
import { fieller } from './regression.ts';
import { fitCellLine } from './line.ts';
import type { CellLine, LackOfFit, LineObservation } from './line.ts';
import { findRegions, givenRegion } from './linear-region.ts';
import type { Region, RegionStop } from './linear-region.ts';
import { massPerPulse, pressureSource, railTemperatureSource } from './mass.ts';
import type { MassPerPulse, NoMass } from './mass.ts';
import { deadTimeByPressure, deadTimeByTemperature, deadTimeByVoltage } from './sensitivity.ts';
import type { Sensitivity } from './sensitivity.ts';
import { fitVarianceModel, varianceAt } from './variance-model.ts';
import type { ScatterGroup, VarianceModel } from './variance-model.ts';

/** The accepted attempt that counts for its point. */
export interface CountingAttempt {
  /** Index of the point in the expansion of the plan. */
  readonly point: number;
  readonly attempt: number;
  readonly window: WindowSummary;
}

export interface ReductionInput {
  readonly plan: Plan;
  readonly equipment: Equipment;
  /** The whole expansion of the plan. */
  readonly points: readonly Point[];
  readonly attempts: readonly CountingAttempt[];
}

/** Where a number comes from. */
export interface Source {
  readonly point: number;
  readonly attempt: number;
}

/** One window reduced to mass per pulse, or why not. */
export interface ReducedWindow extends Source {
  readonly at: Point;
  readonly outcome: MassPerPulse | NoMass;
}

/** One standard uncertainty of an instrument, carried with its sign to both parameters, so that it can be carried on. */
export interface SharedPart {
  readonly source: string;
  /** kg/s */
  readonly onSlope: number;
  /** s */
  readonly onDeadTime: number;
}

export interface WidthResult {
  readonly width: Seconds;
  readonly windows: number;
  /** Mean Qd, kg. */
  readonly mass: number;
  /** From the line, percent of the line (SAE J1832 list: LD); null where the line is not above zero. */
  readonly deviationPercent: number | null;
  readonly inRegion: boolean;
}

export type NoLineReason = 'not-measured' | 'too-few-widths' | 'no-slope';

/** A cell's place in the plan. */
export interface CellPlace {
  /** Index into `plan.injectors`. */
  readonly injector: number;
  readonly serialNumber: string;
  readonly voltage: Volts;
  readonly pressure: Pascals;
  readonly period: Seconds;
}

export interface LineCell extends CellPlace {
  readonly kind: 'line';
  /** kg/s (SAE J1832 list: Slope, m). */
  readonly slope: Result;
  /** s (SAE J1832 list: Time-Offset, X). */
  readonly deadTime: Result;
  /** 95 % interval of the dead time, s; Fieller's where the delta method is not good enough (RED-15). */
  readonly deadTimeInterval: { readonly low: number; readonly high: number; readonly method: 'delta' | 'fieller' };
  /** Covariance of slope and dead time, kg. */
  readonly covarianceRandom: number;
  readonly covarianceShared: number;
  readonly shared: readonly SharedPart[];
  /** Changes of dead time that refer it to the plan's voltage, pressure and reference temperature, already made, s. */
  readonly referred: { readonly toVoltage: number; readonly toPressure: number; readonly toTemperature: number };
  readonly byVoltage: Sensitivity;
  readonly byPressure: Sensitivity;
  readonly byTemperature: Sensitivity;
  readonly region: { readonly from: Seconds; readonly to: Seconds; readonly stop: RegionStop };
  readonly lackOfFit: LackOfFit;
  readonly widths: readonly WidthResult[];
  /** The windows that the line went through. */
  readonly sources: readonly Source[];
}

export interface NoLineCell extends CellPlace {
  readonly kind: 'no-line';
  readonly reason: NoLineReason;
  readonly text: string;
  readonly sources: readonly Source[];
}

export interface ScatterModel extends VarianceModel {
  readonly pressure: Pascals;
  readonly period: Seconds;
}

export interface Reduction {
  readonly reductionVersion: 1;
  readonly windows: readonly ReducedWindow[];
  /** In the order pressure, period, injector, voltage of the plan: one for each, measured or not. */
  readonly cells: readonly (LineCell | NoLineCell)[];
  readonly scatter: readonly ScatterModel[];
}

/** Fewer degrees of freedom than this say too little of how scatter grows with mass: the windows' own scatter is used. */
const enoughReplicates = 10;
/** Fieller's g above which its interval is stated instead of the symmetric one: there the two differ by about 5 %. */
const deltaGoodUpTo = 0.05;

interface Observed {
  readonly source: ReducedWindow;
  readonly outcome: MassPerPulse;
  readonly window: WindowSummary;
}

interface WidthGroup {
  readonly width: Seconds;
  readonly observed: Observed[];
}

/** Reduces a run. Attempts must belong to `points` (anything else is a programming error and throws). */
export function reduceRun({ plan, equipment, points, attempts }: ReductionInput): Reduction {
  const cells = cellsOf(points);
  const windows: ReducedWindow[] = [];
  for (const { point: index, attempt, window } of attempts) {
    const at = points[index];
    if (at?.index !== index) throw new Error(`attempt ${attempt} names point ${index}, which the plan does not have`);
    const outcome = massPerPulse(at, window, equipment, plan.reduction);
    const reduced: ReducedWindow = { point: index, attempt, at, outcome };
    windows.push(reduced);
    if (at.role !== 'measure') continue;
    const cell = cells.get(cellKey(at));
    if (outcome.kind === 'mass') addTo(cell, { source: reduced, outcome, window });
    else cell?.refused.push(outcome);
  }

  const fitted: Fitted[] = [];
  const scatter: ScatterModel[] = [];
  for (const condition of grouped([...cells.values()], (c) => `${c.at.pressure}|${c.at.period}`)) {
    for (const cell of condition) cell.groups.sort((a, b) => b.width - a.width);
    const model = scatterOf(condition.flatMap((c) => c.groups));
    const [first] = condition;
    if (first !== undefined) scatter.push({ ...model, pressure: first.at.pressure, period: first.at.period });
    const families = grouped(condition, (c) => `${plan.injectors[c.at.injector]?.type ?? ''}|${c.at.voltage}`);
    for (const family of families) fitted.push(...linesOf(family, model, plan.reduction));
  }
  return { reductionVersion: 1, windows, cells: stated(fitted, plan, equipment).sort(byPlace), scatter };
}

interface Cell {
  readonly at: Point;
  readonly groups: WidthGroup[];
  readonly refused: NoMass[];
}

type Fitted =
  | { readonly kind: 'line'; readonly cell: Cell; readonly line: CellLine; readonly used: readonly Observed[]; readonly stop: RegionStop; readonly count: number }
  | { readonly kind: 'no-line'; readonly cell: Cell; readonly reason: NoLineReason; readonly text: string };

function cellKey(at: Point): string {
  return `${at.injector}|${at.voltage}|${at.pressure}|${at.period}`;
}

/** One cell for each injector, voltage, pressure and period that the plan measures. */
function cellsOf(points: readonly Point[]): Map<string, Cell> {
  const cells = new Map<string, Cell>();
  for (const at of points) {
    if (at.role !== 'measure') continue;
    const key = cellKey(at);
    if (!cells.has(key)) cells.set(key, { at, groups: [], refused: [] });
  }
  return cells;
}

function addTo(cell: Cell | undefined, observed: Observed): void {
  if (cell === undefined) return;
  const { width } = observed.source.at;
  const group = cell.groups.find((g) => g.width === width);
  if (group === undefined) cell.groups.push({ width, observed: [observed] });
  else group.observed.push(observed);
}

function grouped<T>(items: readonly T[], key: (item: T) => string): readonly T[][] {
  const groups = new Map<string, T[]>();
  for (const item of items) {
    const name = key(item);
    const group = groups.get(name);
    if (group === undefined) groups.set(name, [item]);
    else group.push(item);
  }
  return [...groups.values()];
}

function byPlace(a: CellPlace, b: CellPlace): number {
  return a.pressure - b.pressure || a.period - b.period || a.injector - b.injector || a.voltage - b.voltage;
}

/** How masses scatter at one pressure and period: from replicates, or from inside the windows where those are few. RED-6. */
function scatterOf(groups: readonly WidthGroup[]): VarianceModel {
  const replicates: ScatterGroup[] = [];
  let dof = 0;
  for (const { observed } of groups) {
    if (observed.length < 2) continue;
    const mass = meanMass(observed);
    let squares = 0;
    for (const o of observed) squares += (o.outcome.mass - mass) ** 2;
    replicates.push({ mass, variance: squares / (observed.length - 1), dof: observed.length - 1 });
    dof += observed.length - 1;
  }
  if (dof >= enoughReplicates) return fitVarianceModel(replicates, 'replicates');
  const windows: ScatterGroup[] = [];
  for (const { observed } of groups) {
    for (const { outcome, window } of observed) {
      if (window.partRates.length < 2) continue;
      windows.push({ mass: outcome.mass, variance: (outcome.uRandom * outcome.mass) ** 2, dof: window.partRates.length - 1 });
    }
  }
  return fitVarianceModel(windows, 'windows');
}

function meanMass(observed: readonly Observed[]): number {
  let sum = 0;
  for (const o of observed) sum += o.outcome.mass;
  return sum / observed.length;
}

/** Variance of one window: the model, and never less than its timing allows. */
function windowVariance(model: VarianceModel, { outcome }: Observed, mass: number): number {
  return Math.max(varianceAt(model, mass), (outcome.uTiming * outcome.mass) ** 2);
}

/** Regions and lines of the injectors of one type at one voltage, pressure and period. */
function linesOf(family: readonly Cell[], model: VarianceModel, reduction: Plan['reduction']): readonly Fitted[] {
  const members = family.map((cell) => ({
    dof: model.dof,
    widths: cell.groups.map(({ width, observed }) => {
      const mean = meanMass(observed);
      let precision = 0;
      for (const o of observed) precision += 1 / windowVariance(model, o, mean);
      return { width, mean, variance: 1 / precision };
    }),
  }));
  const regions =
    reduction.linearFromMs === undefined
      ? findRegions(members, reduction.linearityPercent)
      : members.map((m) => givenRegion(m, milliseconds(reduction.linearFromMs ?? 0)));
  return family.map((cell, i) => lineOf(cell, regions[i], model));
}

function lineOf(cell: Cell, region: Region | undefined, model: VarianceModel): Fitted {
  if (cell.groups.length === 0) {
    const [refused] = cell.refused;
    return { kind: 'no-line', cell, reason: 'not-measured', text: refused === undefined ? 'No accepted attempt counts for any width here.' : refused.text };
  }
  if (region?.kind !== 'region') {
    return {
      kind: 'no-line',
      cell,
      reason: 'too-few-widths',
      text: `A line needs ${region?.needed ?? 0} measured widths in its region and ${region?.found ?? 0} are there.`,
    };
  }
  const used: Observed[] = [];
  const observations: LineObservation[] = [];
  for (const { width, observed } of cell.groups.slice(0, region.count)) {
    const mean = meanMass(observed);
    for (const o of observed) {
      used.push(o);
      observations.push({ width, mass: o.outcome.mass, variance: windowVariance(model, o, mean) });
    }
  }
  const line = fitCellLine(observations);
  if (!(line.slope > 0) || !fieller(line.fit, coverageFactor(line.dof)).bounded) {
    return { kind: 'no-line', cell, reason: 'no-slope', text: 'Mass does not grow with pulse width by more than its scatter, so there is no dead time to state.' };
  }
  return { kind: 'line', cell, line, used, stop: region.stop, count: region.count };
}

/** Adds to every line what the instruments' shared errors do to it, and states the results. */
function stated(fitted: readonly Fitted[], plan: Plan, equipment: Equipment): (LineCell | NoLineCell)[] {
  const neighbours = new Map<string, { at: Point; deadTime: number }[]>();
  const injectorKey = ({ injector, period }: Point): string => `${injector}|${period}`;
  for (const f of fitted) {
    if (f.kind !== 'line') continue;
    const key = injectorKey(f.cell.at);
    const list = neighbours.get(key) ?? [];
    neighbours.set(key, list);
    list.push({ at: f.cell.at, deadTime: f.line.deadTime });
  }
  return fitted.map((f): LineCell | NoLineCell => {
    const { at } = f.cell;
    const place: CellPlace = {
      injector: at.injector,
      serialNumber: plan.injectors[at.injector]?.serialNumber ?? '',
      voltage: at.voltage,
      pressure: at.pressure,
      period: at.period,
    };
    if (f.kind === 'no-line') {
      const sources = f.cell.groups.flatMap((g) => g.observed.map((o) => sourceOf(o.source)));
      return { ...place, kind: 'no-line', reason: f.reason, text: f.text, sources };
    }
    const { line, used } = f;
    const siblings = neighbours.get(injectorKey(at)) ?? [];
    const byVoltage = deadTimeByVoltage(
      siblings.filter((s) => s.at.pressure === at.pressure).map((s) => ({ at: s.at.voltage, deadTime: s.deadTime })),
      at.voltage,
      line.deadTime,
    );
    const byPressure = deadTimeByPressure(
      siblings.filter((s) => s.at.voltage === at.voltage).map((s) => ({ at: s.at.pressure, deadTime: s.deadTime })),
      at.pressure,
      line.deadTime,
    );
    const byTemperature = deadTimeByTemperature(byVoltage, at.voltage, line.deadTime);
    const warmer = meanOf(used, (o) => o.window.railTemperature.mean) - celsius(plan.reduction.referenceC);
    const referred = {
      toVoltage: byVoltage.value * (at.voltage - meanOf(used, (o) => o.window.supply.mean)),
      toPressure: byPressure.value * (at.pressure - meanOf(used, (o) => o.window.pressure.mean)),
      toTemperature: -byTemperature.value * warmer,
    };
    const shared = sharedParts(used, line, [
      { source: pressureSource, onDeadTime: -byPressure.value * equipment.pressure.uncertaintyKpa * 1e3 },
      { source: railTemperatureSource, onDeadTime: -byTemperature.value * equipment.temperature.uncertaintyC },
      { source: 'supply read-back', onDeadTime: -byVoltage.value * equipment.supply.uncertaintyMv * 1e-3 },
      { source: 'coil temperature model', onDeadTime: -byTemperature.u * warmer },
    ]);
    let slopeSquares = 0;
    let deadTimeSquares = 0;
    let covarianceShared = 0;
    for (const part of shared) {
      slopeSquares += part.onSlope * part.onSlope;
      deadTimeSquares += part.onDeadTime * part.onDeadTime;
      covarianceShared += part.onSlope * part.onDeadTime;
    }
    const deadTime = result(line.deadTime + referred.toVoltage + referred.toPressure + referred.toTemperature, line.uDeadTime, line.dof, Math.sqrt(deadTimeSquares));
    return {
      ...place,
      kind: 'line',
      slope: result(line.slope, line.uSlope, line.dof, Math.sqrt(slopeSquares)),
      deadTime,
      deadTimeInterval: deadTimeInterval(line, deadTime),
      covarianceRandom: line.covariance,
      covarianceShared,
      shared,
      referred,
      byVoltage,
      byPressure,
      byTemperature,
      region: {
        from: f.cell.groups[f.count - 1]?.width ?? at.width,
        to: f.cell.groups[0]?.width ?? at.width,
        stop: f.stop,
      },
      lackOfFit: line.lackOfFit,
      widths: f.cell.groups.map(({ width, observed }, i): WidthResult => {
        const mass = meanMass(observed);
        const expected = line.slope * (width - line.deadTime);
        return { width, windows: observed.length, mass, deviationPercent: expected > 0 ? (100 * (mass - expected)) / expected : null, inRegion: i < f.count };
      }),
      sources: used.map((o) => sourceOf(o.source)),
    };
  });
}

function sourceOf({ point, attempt }: Source): Source {
  return { point, attempt };
}

function meanOf(used: readonly Observed[], read: (o: Observed) => number): number {
  let sum = 0;
  for (const o of used) sum += read(o);
  return sum / used.length;
}

/**
 * RED-14 to RED-18. Every shared term of the masses' budgets scales all masses of the line alike and so moves its slope
 * and not its crossing; `onDeadTime` says what errors of the conditions do to the injector itself.
 */
function sharedParts(
  used: readonly Observed[],
  line: CellLine,
  onDeadTime: readonly Pick<SharedPart, 'source' | 'onDeadTime'>[],
): readonly SharedPart[] {
  const parts = new Map<string, SharedPart>();
  for (const part of onDeadTime) parts.set(part.source, { ...part, onSlope: 0 });
  for (const { outcome } of used) {
    for (const t of outcome.budget) {
      if (t.kind !== 'shared') continue;
      const part = parts.get(t.name) ?? { source: t.name, onSlope: 0, onDeadTime: 0 };
      const share = (line.slope * t.sensitivity * t.standardUncertainty) / used.length;
      parts.set(t.name, { ...part, onSlope: part.onSlope + share });
    }
  }
  return [...parts.values()];
}

/** Fieller's interval widened by the shared part where the slope is known too badly for the symmetric one. RED-15. */
function deadTimeInterval(line: CellLine, deadTime: Result): LineCell['deadTimeInterval'] {
  const random = fieller(line.fit, coverageFactor(line.dof));
  if (!random.bounded || random.g <= deltaGoodUpTo) {
    return { low: deadTime.value - deadTime.expanded, high: deadTime.value + deadTime.expanded, method: 'delta' };
  }
  const uShared = coverageFactor(Number.POSITIVE_INFINITY) * deadTime.uShared;
  return {
    low: deadTime.value - Math.hypot(line.deadTime - random.low, uShared),
    high: deadTime.value + Math.hypot(random.high - line.deadTime, uShared),
    method: 'fieller',
  };
}
