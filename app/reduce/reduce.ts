/**
 * The reduction of a run: windows in, lines and their uncertainties out. Pure; the rules are numbered in README.md.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import { celsius, kilograms } from '../quantities/quantity.ts';
import { coverageFactor, result } from './budget.ts';
import type { Result } from './budget.ts';
import { cellsOf, fitCells, meanMass, withMasses } from './cells.ts';
import type { Cell, FittedCell, Observed } from './cells.ts';
import type { CellLine } from './line.ts';
import { massPerPulse, pressureSource, railTemperatureSource } from './mass.ts';
import type { CellPlace, LineCell, NoLineCell, ReducedWindow, Reduction, ReductionInput, SharedPart, Source, WidthResult } from './reduction.ts';
import { fieller } from './regression.ts';
import { deadTimeByPressure, deadTimeByTemperature, deadTimeByVoltage, uCoilOverRail } from './sensitivity.ts';
import type { Sensitivity } from './sensitivity.ts';

export type { CountingAttempt, Reduction } from './reduction.ts';

/** Fieller's g above which its interval is stated instead of the symmetric one: there the two differ by about 5 %. */
const deltaGoodUpTo = 0.05;

type FittedLine = Extract<FittedCell, { kind: 'line' }>;

/**
 * Reduces a run, in two passes: lines through the masses as they are tell how dead time changes with the conditions; then
 * every window is referred to the plan's conditions and regions and lines are found anew.
 * Attempts must belong to `points` (anything else is a programming error and throws).
 */
export function reduceRun({ plan, equipment, points, attempts }: ReductionInput): Reduction {
  const windows = attempts.map(({ point: index, attempt, window }) => {
    const at = points[index];
    if (at?.index !== index) throw new Error(`attempt ${attempt} names point ${index}, which the plan does not have`);
    const reduced: ReducedWindow = { point: index, attempt, at, outcome: massPerPulse(at, window, equipment, plan.reduction) };
    return { reduced, window };
  });
  const first = fitCells(cellsOf(points, windows), plan).fitted;
  const shifts = conditionsOf(first, plan);
  const second = fitCells(
    first.flatMap((f) => (f.kind === 'line' ? [referredCell(f, shifts.get(f.cell.key))] : [])),
    plan,
  );
  const conditions = conditionsOf(second.fitted, plan);
  const cells = [
    ...first.flatMap((f) => (f.kind === 'no-line' ? [noLine(f, plan)] : [])),
    ...second.fitted.map((f) => (f.kind === 'no-line' ? noLine(f, plan) : stated(f, conditions.get(f.cell.key), shifts.get(f.cell.key), plan, equipment))),
  ];
  return { reductionVersion: 1, windows: windows.map((w) => w.reduced), cells: cells.sort(byPlace), scatter: second.scatter };
}

/** How the dead time of one cell changes with the conditions, and how to read how far a window stood from the plan's. */
interface Conditions {
  readonly byVoltage: Sensitivity;
  readonly byPressure: Sensitivity;
  readonly byTemperature: Sensitivity;
  /** Changes of dead time that refer one window to the plan, s. */
  readonly shiftsOf: (observed: Observed) => LineCell['referred'];
}

/** By cell key, for the cells that have a line. */
function conditionsOf(fitted: readonly FittedCell[], plan: Plan): ReadonlyMap<string, Conditions> {
  const lines = fitted.filter((f): f is FittedLine => f.kind === 'line');
  const byInjector = new Map<string, FittedLine[]>();
  const injectorKey = ({ cell: { at } }: FittedLine): string => `${at.injector}|${at.period}`;
  for (const f of lines) {
    const siblings = byInjector.get(injectorKey(f));
    if (siblings === undefined) byInjector.set(injectorKey(f), [f]);
    else siblings.push(f);
  }
  const reference = celsius(plan.reduction.referenceC);
  return new Map(
    lines.map((f) => {
      const { at, key } = f.cell;
      const { deadTime } = f.line;
      const siblings = byInjector.get(injectorKey(f)) ?? [];
      const overVoltage = siblings.filter((s) => s.cell.at.pressure === at.pressure).map((s) => ({ at: s.cell.at.voltage, deadTime: s.line.deadTime }));
      const overPressure = siblings.filter((s) => s.cell.at.voltage === at.voltage).map((s) => ({ at: s.cell.at.pressure, deadTime: s.line.deadTime }));
      const byVoltage = deadTimeByVoltage(overVoltage, at.voltage, deadTime);
      const byPressure = deadTimeByPressure(overPressure, at.pressure, deadTime);
      const byTemperature = deadTimeByTemperature(byVoltage, at.voltage, deadTime);
      const shiftsOf = ({ window }: Observed): LineCell['referred'] => ({
        toVoltage: byVoltage.value * (at.voltage - window.supply.mean),
        toPressure: byPressure.value * (at.pressure - window.pressure.mean),
        toTemperature: byTemperature.value * (reference - window.railTemperature.mean),
      });
      return [key, { byVoltage, byPressure, byTemperature, shiftsOf }];
    }),
  );
}

/** A longer dead time by s would have passed k s less: so masses are referred to other conditions. RED-16 to RED-18. */
function referredCell({ cell, line }: FittedLine, conditions: Conditions | undefined): Cell {
  if (conditions === undefined) return cell;
  return withMasses(cell, (observed) => {
    const { toVoltage, toPressure, toTemperature } = conditions.shiftsOf(observed);
    return kilograms(observed.mass - line.slope * (toVoltage + toPressure + toTemperature));
  });
}

function byPlace(a: CellPlace, b: CellPlace): number {
  return a.pressure - b.pressure || a.period - b.period || a.injector - b.injector || a.voltage - b.voltage;
}

function placeOf({ at }: Cell, plan: Plan): CellPlace {
  return {
    injector: at.injector,
    serialNumber: plan.injectors[at.injector]?.serialNumber ?? '',
    voltage: at.voltage,
    pressure: at.pressure,
    period: at.period,
  };
}

function noLine({ cell, reason, text }: Extract<FittedCell, { kind: 'no-line' }>, plan: Plan): NoLineCell {
  const sources = cell.groups.flatMap((g) => g.observed.map((o) => sourceOf(o.source)));
  return { ...placeOf(cell, plan), kind: 'no-line', reason, text, sources };
}

/** Adds to a line what the instruments' shared errors do to it, and states the results. */
function stated(fitted: FittedLine, conditions: Conditions | undefined, shifts: Conditions | undefined, plan: Plan, equipment: Equipment): LineCell {
  if (conditions === undefined || shifts === undefined) throw new Error('every line has its conditions');
  const { cell, line, used, count, stop } = fitted;
  const { byVoltage, byPressure, byTemperature } = conditions;
  const warmer = meanOf(used, (o) => o.window.railTemperature.mean) - celsius(plan.reduction.referenceC);
  const shared = sharedParts(used, line, [
    { source: pressureSource, onDeadTime: -byPressure.value * equipment.pressure.uncertaintyKpa * 1e3 },
    { source: railTemperatureSource, onDeadTime: -byTemperature.value * equipment.temperature.uncertaintyC },
    { source: 'supply read-back', onDeadTime: -byVoltage.value * equipment.supply.uncertaintyMv * 1e-3 },
    { source: 'coil temperature model', onDeadTime: -byTemperature.u * warmer },
    { source: 'coil against rail temperature', onDeadTime: -byTemperature.value * uCoilOverRail },
  ]);
  let slopeSquares = 0;
  let deadTimeSquares = 0;
  let covarianceShared = 0;
  for (const part of shared) {
    slopeSquares += part.onSlope * part.onSlope;
    deadTimeSquares += part.onDeadTime * part.onDeadTime;
    covarianceShared += part.onSlope * part.onDeadTime;
  }
  const deadTime = result(line.deadTime, line.uDeadTime, line.dof, Math.sqrt(deadTimeSquares));
  return {
    ...placeOf(cell, plan),
    kind: 'line',
    slope: result(line.slope, line.uSlope, line.dof, Math.sqrt(slopeSquares)),
    deadTime,
    deadTimeInterval: deadTimeInterval(line, deadTime),
    covarianceRandom: line.covariance,
    covarianceShared,
    shared,
    referred: {
      toVoltage: meanOf(used, (o) => shifts.shiftsOf(o).toVoltage),
      toPressure: meanOf(used, (o) => shifts.shiftsOf(o).toPressure),
      toTemperature: meanOf(used, (o) => shifts.shiftsOf(o).toTemperature),
    },
    byVoltage,
    byPressure,
    byTemperature,
    region: { from: cell.groups[count - 1]?.width ?? cell.at.width, to: cell.groups[0]?.width ?? cell.at.width, stop },
    lackOfFit: line.lackOfFit,
    widths: cell.groups.map(({ width, observed }, i): WidthResult => {
      const mass = meanMass(observed);
      const expected = line.slope * (width - line.deadTime);
      return { width, windows: observed.length, mass, deviationPercent: expected > 0 ? (100 * (mass - expected)) / expected : null, inRegion: i < count };
    }),
    sources: used.map((o) => sourceOf(o.source)),
  };
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
