/**
 * The reduction of a run: windows in, lines and their uncertainties out. Pure; the rules are numbered in README.md.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import { celsius } from '../quantities/quantity.ts';
import { coverageFactor, result } from '../uncertainty/budget.ts';
import type { Result } from '../uncertainty/budget.ts';
import { benchBiasOf, biasOf, biasOfLines } from './bench-bias.ts';
import type { BenchBias } from './bench-bias.ts';
import { benchCourseOf, onMeanBench } from './bench-course.ts';
import { benchDriftOf } from './bench-drift.ts';
import { sweepLagsOf, uOfLag } from './coil-lag.ts';
import { coilMemories, latenessOf, warmthOf } from './coil-memory.ts';
import type { CoilMemory, Lateness } from './coil-memory.ts';
import { curvaturesOf, middlesOf } from './curvature.ts';
import type { Middle } from './curvature.ts';
import { uCoilLate } from './coil-thermal.ts';
import { cellsOf, fitCells, meanMass, scatterModels } from './cells.ts';
import { typeOfInjector } from './cell.ts';
import type { Cell, FittedCell, Observed } from './cell.ts';
import { beforePulse, cellConditions, meanShift, offLine, pressureEffectOf, referredCell, sagOf } from './conditions.ts';
import type { Conditions } from './conditions.ts';
import { combine, stateCarried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import { slopeCarried } from './carried-line.ts';
import { withBendOfDip } from './dip-of-bend.ts';
import { effectsOf, sharedParts, summedUp } from './effects.ts';
import type { FittedLine, OnInjector } from './effects.ts';
import { blindFindings } from './blind.ts';
import { invarianceOf, partsOfSet } from './invariance.ts';
import { leakOf } from './leak.ts';
import { attemptNumber, byAttempt } from './leak-block.ts';
import { flowRange, lowestRepeatable } from './flow-range.ts';
import { leakOnMass, leakVerdictOf } from './leak-limits.ts';
import type { LookedFor } from './leak-limits.ts';
import type { LineSlope } from './line.ts';
import { massPerPulse } from './mass.ts';
import { leakByPair, periodPairOf } from './period-pair.ts';
import type { CellPlace, CountingAttempt, InvarianceSet, Leak, LeakEffect, LineCell, NoLineCell, ReducedWindow, Reduction, ReductionInput, Source, StaticFlow, SupplyLoss, WidthResult } from './reduction.ts';
import { fieller } from './regression.ts';
import { uCoilOverRail } from './sensitivity.ts';
import type { Sensitivity } from './sensitivity.ts';
import { shareSlopes } from './shared-slope.ts';
import { inFrontOfLoss, insidePulse, supplyLossOf } from './supply-loss.ts';
import { staticCarried, staticFlowsOf } from './static-flow.ts';
import { lightWindowsOf } from './window-weights.ts';

export type { Reduction } from './reduction.ts';

/** A window that counts for less than this beside its repeats says nothing of a nuisance. */
const countsHalf = 0.5;
/** Fieller's g above which its interval is stated instead of the symmetric one: there the two differ by about 5 %. */
const deltaGoodUpTo = 0.05;

/**
 * Reduces a run, in two passes: lines through the masses as they are tell how dead time changes with the conditions; then
 * every window is referred to the plan's conditions and regions and lines are found anew.
 * Attempts must belong to `points` (anything else is a programming error and throws).
 */
export function reduceRun(asked: ReductionInput): Reduction {
  const input = asDriven(asked);
  const { points, attempts, equipment } = input;
  const looked = leakOf(points, attempts, equipment);
  const first = reducing(input, looked, null);
  const reduced = first(null);
  // A pair that says something else than zero points is part of what is known of the leak; without zero points it is all there is.
  const again = leakByPair(looked, reduced.periodPair, points, attempts);
  const last = again === null ? first : reducing(input, again.leak, again.contradiction);
  // What the pair said of the leak before anything was made of it: afterwards it agrees with itself.
  const { invariance, periodPair } = reduced;
  const isCalled = invariance.members.some((m) => m.called);
  if (again === null && !isCalled) return reduced;
  // What the set found is part of the results it concerns.
  return last(isCalled ? { set: invariance, leakTold: again !== null } : null, { invariance, periodPair });
}

/** Points with the width that was driven in place of the one that was asked for, where the controller's timer made another of it. */
function asDriven(input: ReductionInput): ReductionInput {
  const driven = new Map(input.attempts.filter(({ drivenWidth }) => drivenWidth !== undefined).map(({ point, drivenWidth }) => [point, drivenWidth]));
  if (driven.size === 0) return input;
  return { ...input, points: input.points.map((point) => ({ ...point, width: driven.get(point.index) ?? point.width })) };
}

/** States what was reduced; `found`: what the invariance set found, null: nothing. `selfChecks`: what they said before; absent: they are asked. */
type State = (found: Found, selfChecks?: Pick<Reduction, 'invariance' | 'periodPair'>) => Reduction;

/** Reduces as far as it does not matter what is found of it. `contradiction`: the flow by which zero points and period pair contradict each other, m3/s; null: they do not. */
function reducing({ plan, equipment, points, attempts: asMeasured }: ReductionInput, leak: Leak, contradiction: number | null): State {
  const blocks = byAttempt(leak.kind === 'leak' ? leak.blocks : []);
  const loss = supplyLossOf({ points, attempts: asMeasured, equipment });
  const heldFor = (at: ReductionInput['points'][number], window: CountingAttempt['window']): CountingAttempt['window'] =>
    loss !== null ? inFrontOfLoss(window, loss) : sagOf(equipment) === 0 ? window : beforePulse(window, at, equipment);
  const measured = asMeasured.map((asked): Measured => {
    const { point: index, attempt, order = index, blindShift } = asked;
    const at = points[index];
    if (at?.index !== index) throw new Error(`attempt ${attempt} names point ${index}, which the plan does not have`);
    const block = blocks.size === 0 ? null : (blocks.get(attemptNumber(asked)) ?? null);
    // What is held for the supply moves when the needle opens and no mass: that is of the window as it was measured, of which much is known from before (RED-160).
    const reduced: ReducedWindow = { point: index, attempt, at, outcome: massPerPulse(at, asked.window, equipment, plan.reduction, block) };
    const window = heldFor(at, asked.window);
    return blindShift === undefined ? { reduced, window, order } : { reduced, window, order, blindShift };
  });
  const looked: LookedFor | null = leak.kind === 'leak' ? { blocks, contradiction: contradiction ?? 0 } : null;
  const { windows, all, scatter: asTheyAre, benchDrift, bias } = onOneBench(plan, points, measured);
  const reducedWindows = windows.map((w) => w.reduced);
  const uDrift = benchDrift.kind === 'told' ? (benchDrift.takenOff?.u ?? benchDrift.u) : 0;
  const { staticFlows, light } = staticFlowsOf(plan, points, reducedWindows, looked, { timeBase: uTimeBase(equipment), bias });
  const memories = coilMemories(plan, windows);
  const context: Context = { plan, equipment, staticFlows, looked, uDrift, bias, memories, loss };
  const ofAll = fitsOf(all, context, asTheyAre);
  return (found, selfChecks) => {
    const before = statedCells(ofAll, plan, found);
    // Lines that a leak has made worthless must not be joined with good ones either, so those are reduced without them.
    const refused = new Map(before.refused.map((r) => [r.key, r.cell]));
    const fits = refused.size === 0 ? ofAll : fitsOf(all.filter((c) => !refused.has(c.key)), context);
    const { cells } = refused.size === 0 ? before : statedCells(fits, plan, found);
    const { scatter, models, lightWindows, curvatures, statement: { lags, lateness } } = fits;
    const pressureEffect = pressureEffectOf(plan);
    const coilOf = (injector: number) => warmthOf(plan, ofAll.statement.lateness.lags, typeOfInjector(plan, { injector }));
    const asked = { plan, windows, cells: before.cells, scatter: ofAll.scatter, blocks, coilOf, delayOf: ofAll.statement.lateness.delayOf };
    return {
      reductionVersion: 1,
      windows: reducedWindows,
      cells: [...cells, ...refused.values()].sort(byPlace),
      scatter,
      slopeModels: models,
      staticFlows,
      leak,
      invariance: selfChecks?.invariance ?? invarianceOf({ ...asked, equipment, light: new Set(ofAll.lightWindows.filter((w) => w.weight < countsHalf).map(attemptNumber)) }),
      blind: blindFindings({ plan, windows, cells, scatter, delayOf: lateness.delayOf }),
      periodPair: selfChecks?.periodPair ?? periodPairOf(asked),
      ...(pressureEffect === null ? {} : { pressureEffect }),
      benchDrift,
      sweepLags: lags,
      coilLags: lateness.lags,
      curvatures,
      ...(loss === null ? {} : { supplyLoss: loss }),
      lightWindows: [...lightWindows, ...light].sort((a, b) => a.point - b.point),
    };
  };
}

interface Measured {
  readonly reduced: ReducedWindow;
  readonly window: CountingAttempt['window'];
  readonly order: number;
  readonly blindShift?: NonNullable<CountingAttempt['blindShift']> | null;
}

/** What the bench drifted, and the windows with it taken off where the plan asks for that. RED-83, RED-132 */
function onOneBench(plan: Plan, points: ReductionInput['points'], measured: readonly Measured[]): { readonly windows: readonly Measured[]; readonly all: readonly Cell[]; readonly scatter: Reduction['scatter']; readonly benchDrift: Reduction['benchDrift']; readonly bias: BenchBias } {
  const reduced = measured.map((w) => w.reduced);
  const order = new Map(measured.filter(({ reduced: { at } }) => at.role === 'reference' || at.role === 'static').map((w) => [w.reduced, w.order]));
  const all = cellsOf(points, measured);
  // By the scatter of the windows as they are: referring them to the plan's conditions hardly changes it.
  const scatter = scatterModels(all);
  const course = plan.reduction.driftCorrection === 'reference' ? benchCourseOf(reduced, scatter, order) : null;
  const benchDrift = benchDriftOf(reduced, scatter, order, course?.takenOff ?? null);
  if (course === null) return { windows: measured, all, scatter, benchDrift, bias: benchBiasOf(reduced, scatter, order) };
  const windows = measured.map((w) => ({ ...w, reduced: onMeanBench(w.reduced, course.factorAt(w.order)) }));
  const moved = cellsOf(points, windows);
  return { windows, all: moved, scatter: scatterModels(moved), benchDrift, bias: biasOf(course.takenOff.u) };
}

/** What the invariance set found, and whether the leak has taken in what the period pair said; null: nothing. */
type Found = { readonly set: InvarianceSet; readonly leakTold: boolean } | null;

/** What is the same for all cells. */
interface Context {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly staticFlows: readonly StaticFlow[];
  readonly looked: LookedFor | null;
  /** Relative standard uncertainty by what the bench drifted. */
  readonly uDrift: number;
  /** What of it is in a result. */
  readonly bias: BenchBias;
  /** By type; of others the lateness of the coils is not told from the windows. */
  readonly memories: ReadonlyMap<string, CoilMemory>;
  /** null: the supply was not read inside pulses. */
  readonly loss: SupplyLoss | null;
}

/** Lines as they are fitted, whatever is found of them afterwards. */
interface Fits extends Pick<Reduction, 'scatter' | 'lightWindows' | 'curvatures'> {
  /** Cells of which the first fit made no line. */
  readonly none: readonly Extract<FittedCell, { kind: 'no-line' }>[];
  readonly inMiddle: readonly FittedCell[];
  readonly conditions: ReadonlyMap<string, Conditions>;
  readonly shifts: ReadonlyMap<string, Conditions>;
  readonly statement: Omit<Statement, 'found'>;
  readonly models: Reduction['slopeModels'];
}

/** `known`: how the windows scatter, where that was found before. */
function fitsOf(all: readonly Cell[], { plan, equipment, staticFlows, looked, uDrift, bias, memories, loss }: Context, known: Reduction['scatter'] = []): Fits {
  const first = fitCells(all, plan, known).fitted;
  const shifts = cellConditions(first, plan, equipment, loss);
  const lateness = latenessOf(plan, memories, first.filter((f) => f.kind === 'line'), (line) => offLine(line, shifts.get(line.cell.key)));
  const second = fitCells(
    first.flatMap((f) => (f.kind === 'line' ? [referredCell(f, shifts.get(f.cell.key), lateness)] : [])),
    plan,
  );
  const { fitted, models } = shareSlopes(second.fitted, plan);
  const conditions = cellConditions(fitted, plan, equipment, loss);
  const lines = fitted.filter((f): f is FittedLine => f.kind === 'line');
  const lags = sweepLagsOf(lines, plan);
  const curvatures = curvaturesOf(lines, plan);
  const middles = middlesOf(lines, curvatures, plan, equipment.pressure.whileOpenKpa === undefined && equipment.rail === undefined);
  const inMiddle = fitted.map((f) => (f.kind === 'line' ? (middles.get(f)?.fitted ?? f) : f));
  const statement = { plan, equipment, repeatability: repeatabilityOf(fitted, plan), effects: withBendOfDip(effectsOf(inMiddle), curvatures, plan, equipment), staticFlows, looked, uDrift, biases: biasOfLines(inMiddle.filter((f): f is FittedLine => f.kind === 'line'), plan, bias), lags, definitions: new Map([...middles].map(([f, middle]) => [f.cell.key, middle])), lateness, loss };
  return { none: first.filter((f) => f.kind === 'no-line'), inMiddle, conditions, shifts, statement, scatter: second.scatter, models, lightWindows: second.fitted.flatMap(lightWindowsOf), curvatures };
}

/** The cells as they are stated; `refused`: those among them that a leak has spoilt. */
function statedCells({ none, inMiddle, conditions, shifts, statement }: Fits, plan: Plan, found: Found): { readonly cells: readonly (LineCell | NoLineCell)[]; readonly refused: readonly { readonly key: string; readonly cell: NoLineCell }[] } {
  const refused: { readonly key: string; readonly cell: NoLineCell }[] = [];
  const by: Statement = { ...statement, found };
  const cells = [
    ...none.map((f) => noLine(f, plan)),
    ...inMiddle.map((f) => {
      if (f.kind === 'no-line') return noLine(f, plan);
      const { cell, spoilt } = stated(f, conditions.get(f.cell.key), shifts.get(f.cell.key), by);
      if (spoilt !== null) refused.push({ key: f.cell.key, cell: noLine({ kind: 'no-line', cell: f.cell, reason: 'leak', text: spoilt }, plan) });
      return cell;
    }),
  ];
  return { cells: cells.sort(byPlace), refused };
}

/** What all cells are stated with. */
interface Statement {
  readonly plan: Plan;
  readonly equipment: Equipment;
  /** By type and condition, then by width. */
  readonly repeatability: ReadonlyMap<string, ReadonlyMap<number, NonNullable<WidthResult['repeatability']>>>;
  readonly effects: ReturnType<typeof effectsOf>;
  readonly staticFlows: readonly StaticFlow[];
  readonly looked: LookedFor | null;
  readonly found: Found;
  readonly uDrift: number;
  /** By the key of the cell. */
  readonly biases: ReadonlyMap<string, readonly OnInjector[]>;
  readonly lags: Reduction['sweepLags'];
  /** By the key of the cell, where a line in the middle of several was taken. */
  readonly definitions: ReadonlyMap<string, Middle>;
  readonly lateness: Lateness;
  readonly loss: SupplyLoss | null;
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

/**
 * Adds to a line what the instruments' shared errors do to it, and states the results. `spoilt`: why a leak leaves no result;
 * null: it leaves one.
 */
// eslint-disable-next-line max-lines-per-function, complexity -- one statement of a line, its parts one after the other
function stated(
  fitted: FittedLine,
  conditions: Conditions | undefined,
  shifts: Conditions | undefined,
  statement: Statement,
): { readonly cell: LineCell; readonly spoilt: string | null } {
  if (conditions === undefined || shifts === undefined) throw new Error('every line has its conditions');
  const { plan, equipment } = statement;
  const { cell, line, used, count, stop, widthMeans } = fitted;
  const { at } = cell;
  const { byVoltage, byPressure, byTemperature } = conditions;
  const leak = statement.looked === null ? null : leakOnMass(used.map((o) => o.source), statement.looked);
  const warmer = meanOf(used, (o) => o.window.railTemperature.mean) - celsius(plan.reduction.referenceC);
  const ofLag = ofSweepLag(fitted, statement);
  const definition = statement.definitions.get(cell.key);
  const shared = sharedParts(fitted, statement.effects.get(fitted) ?? [], [
    { source: errorSource('rail-pressure'), onDeadTime: -byPressure.value * equipment.pressure.uncertaintyKpa * 1e3 },
    { source: errorSource('rail-temperature'), onDeadTime: -byTemperature.value * equipment.temperature.uncertaintyC },
    { source: errorSource('supply-read-back'), onDeadTime: -byVoltage.value * equipment.supply.uncertaintyMv * 1e-3 },
    ...insidePulse(fitted, conditions, equipment, statement.loss),
    { source: errorSource('coil-model'), onDeadTime: -byTemperature.u * warmer - (conditions.circuit === null ? 0 : ofCoilModel(conditions.circuit.byResistance, byTemperature).common * harnessOf(equipment, statement.loss)) },
    { source: errorSource('coil-over-rail'), onDeadTime: -byTemperature.value * (equipment.temperature.coilOverRailC ?? uCoilOverRail) },
    ...ofBench(fitted, conditions, equipment, statement.loss),
    ...(statement.found === null ? [] : partsOfSet(statement.found.set, at.injector, statement.found.leakTold, statement.uDrift, ofLag[0]?.onDeadTime)).map((p) => ({ source: errorSource('invariance', p.of), onDeadTime: p.onDeadTime, onSlope: p.onSlope * line.slope })),
    ...ofLag,
    ...(definition === undefined ? [] : [definition.part]),
    ...(statement.biases.get(cell.key) ?? []),
    ...lateParts(fitted, byTemperature.value, statement),
    // While it is open nothing leaks through its own seat: the line turns about its dead time. RED-44.
    ...(leak === null ? [] : [{ source: errorSource('leak-path', String(at.injector + 1)), onDeadTime: 0, onSlope: -leak.perPeriod / at.period / Math.sqrt(3) }]),
  ]);
  const { slopeSquares, deadTimeSquares, covariance: covarianceShared, uOfLeak, uWithoutLeak, boundOfDeadTime, boundOfSlope, leftIn } = summedUp(shared);
  const effect: LeakEffect | null =
    leak === null
      ? null
      : {
          flow: leak.flow,
          shift: leak.perPeriod / line.slope,
          u: uOfLeak,
          change: leak.change / line.slope,
          contradiction: leak.contradiction / line.slope,
        };
  const verdict = effect === null ? null : leakVerdictOf(effect, { value: line.deadTime, uRandom: line.uDeadTime, dofRandom: line.dof, uShared: uWithoutLeak }, plan.reduction, 'the dead time');
  const deadTime = result(line.deadTime, line.uDeadTime, line.dof, Math.sqrt(deadTimeSquares), boundOfDeadTime);
  const group = `injector ${at.injector}, ${at.pressure} Pa, period ${at.period} s`;
  const own = `${group}, ${at.voltage} V`;
  const repeatability = statement.repeatability.get(familyKey(fitted, plan));
  const widths = cell.groups.map(({ width, observed }, i): WidthResult => {
    const { mean: mass, variance } = widthMeans[i] ?? { mean: Number.NaN, variance: Number.NaN };
    const expected = line.slope * (width - line.deadTime);
    return {
      width,
      windows: observed.length,
      mass,
      uMass: Math.sqrt(variance * line.fit.scale),
      deviationPercent: expected > 0 ? (100 * (mass - expected)) / expected : null,
      ...(definition === undefined ? {} : { ofBend: definition.ofBend(width) }),
      inRegion: i < count,
      repeatability: repeatability?.get(width) ?? null,
    };
  });
  const without = {
    ...placeOf(cell, plan),
    kind: 'line' as const,
    slope: result(line.slope, line.uSlope, line.dof, Math.sqrt(slopeSquares), boundOfSlope, leftIn),
    deadTime,
    deadTimeInterval: deadTimeInterval(line, deadTime),
    slopeFrom: line.slopeFrom.from,
    staticToSlope: null,
    flowRange: flowRange(widths, plan.reduction.linearFlowRangePercent),
    lowestRepeatable: lowestRepeatable(widths, plan.reduction.repeatabilityPercent),
    scatter: {
      uSlope: line.uSlope,
      slopeParts: slopePartsOf(line.slopeFrom, { own, group, type: `type ${typeOfInjector(plan, at)}, ${at.pressure} Pa, period ${at.period} s, ${at.voltage} V` }),
      uMean: Math.sqrt(line.fit.varianceOfMean),
      meanSource: errorSource('line-height', own),
      distance: line.fit.meanX - line.deadTime,
      dof: line.dof,
      scale: line.slopeFrom.ownScale ? own : group,
    },
    covarianceRandom: line.covariance,
    covarianceShared,
    shared,
    leak: effect === null ? null : { ...effect, again: verdict?.again ?? null },
    referred: meanShift(used, shifts, statement.lateness),
    byVoltage,
    byPressure,
    byTemperature,
    ...(conditions.circuit === null ? {} : conditions.circuit),
    region: { from: cell.groups[count - 1]?.width ?? at.width, to: cell.groups[0]?.width ?? at.width, stop },
    lackOfFit: line.lackOfFit,
    widths,
    sources: used.map((o) => sourceOf(o.source)),
  };
  return { cell: { ...without, staticToSlope: staticToSlope(without, statement.staticFlows) }, spoilt: verdict?.refused ?? null };
}

/** What is not known of how late the coil is: told by the windows, or a bound by which the line turns about its dead time, because it grows with the pulse. RED-18, RED-130 */
function lateParts(fitted: FittedLine, byTemperature: number, { lateness, plan }: Statement): readonly OnInjector[] {
  const { line, cell: { at } } = fitted;
  const open = line.fit.meanX - line.deadTime;
  return lateness.partOf(fitted, byTemperature) ?? [{ source: errorSource('coil-late'), onDeadTime: 0, onSlope: (-line.slope * byTemperature * uCoilLate(plan, at, open)) / open }];
}

/** A coil that is late is drawn towards the warmth of the purge: the line turns about the purge's width. RED-84. */
function ofSweepLag({ cell: { at }, line }: FittedLine, { lags, plan }: Statement): readonly OnInjector[] {
  const type = typeOfInjector(plan, at);
  const u = uOfLag(lags.find((lag) => lag.type === type));
  const open = plan.purge.widthMs * 1e-3 - line.deadTime;
  return u === 0 ? [] : [{ source: errorSource('sweep-lag', type), onDeadTime: u, onSlope: open > 0 ? (line.slope * u) / open : 0 }];
}

/** The errors of a slope under their names: of the cell by itself, of the injector's mean, and of what all of its type have in common. RED-23. */
function slopePartsOf({ parts }: LineSlope, names: { readonly own: string; readonly group: string; readonly type: string }): LineCell['scatter']['slopeParts'] {
  return [
    { source: errorSource('line-slope', names.own), u: parts.own },
    { source: errorSource('line-slope', names.group), u: parts.mean },
    { source: errorSource('line-slope', names.type), u: parts.common },
  ].filter(({ u }) => u !== 0);
}

/** Relative standard uncertainty of the controller's time; 0: the record states none. */
function uTimeBase(equipment: Equipment): number {
  return equipment.equipmentVersion === 2 ? equipment.timeBase.uncertaintyPpm * 1e-6 : 0;
}

const harnessOf = (equipment: Equipment, loss: SupplyLoss | null): number => (equipment.equipmentVersion === 2 ? equipment.wiring.harnessOhm + (loss?.ohm ?? 0) : 0);

/**
 * The uncertainty of dt0/dR in two: what it shares with dt0/dT, because both come from one dt0/dlnR, and what is left, the resistance of the circuit
 * alone. RED-93
 */
function ofCoilModel(byResistance: Sensitivity, byTemperature: Sensitivity): { readonly common: number; readonly left: number } {
  const common = byTemperature.value === 0 ? byResistance.u : Math.abs(byResistance.value / byTemperature.value) * byTemperature.u;
  return { common, left: Math.sqrt(Math.max(0, byResistance.u ** 2 - common ** 2)) };
}

/** What wiring, drivers and the controller's clock do to a line. RED-60 to RED-62. */
function ofBench({ cell: { at }, line }: FittedLine, { circuit, byTemperature }: Conditions, equipment: Equipment, loss: SupplyLoss | null): readonly OnInjector[] {
  if (circuit === null || equipment.equipmentVersion === 1) return [];
  const { byClamp, byResistance } = circuit;
  const { wiring, driver } = equipment;
  const u = uTimeBase(equipment);
  return [
    { source: errorSource('harness-resistance'), onDeadTime: byResistance.value * wiring.harnessUncertaintyOhm },
    { source: errorSource('harness-effect'), onDeadTime: ofCoilModel(byResistance, byTemperature).left * harnessOf(equipment, loss) },
    { source: errorSource('driver-clamp'), onDeadTime: byClamp.value * driver.clampUncertaintyV },
    { source: errorSource('driver-clamp-channel', String(at.channel)), onDeadTime: byClamp.value * (driver.channelUncertaintyV ?? 0) },
    // Pulses that are longer than they were told give more mass for each told millisecond, and open as late as ever.
    { source: errorSource('time-base'), onDeadTime: -line.deadTime * u, onSlope: line.slope * u },
  ];
}

/** Qs / m: what both share of the instruments' errors cancels. RED-24. */
function staticToSlope(cell: LineCell, staticFlows: readonly StaticFlow[]): Result | null {
  const flow = staticFlows.find((s) => s.injector === cell.injector && s.pressure === cell.pressure);
  if (flow?.kind !== 'static-flow') return null;
  const ratio = flow.flow.value / cell.slope.value;
  return stateCarried(
    combine(ratio, [
      { of: staticCarried(flow), sensitivity: 1 / cell.slope.value },
      { of: slopeCarried(cell), sensitivity: -ratio / cell.slope.value },
    ]),
  );
}

function familyKey({ cell: { at } }: FittedLine, plan: Plan): string {
  return `${typeOfInjector(plan, at)}|${at.voltage}|${at.pressure}|${at.period}`;
}

/** Relative scatter of windows of one width, pooled over the injectors of a type at one voltage, pressure and period. RED-26. */
function repeatabilityOf(fitted: readonly FittedCell[], plan: Plan): Statement['repeatability'] {
  const families = new Map<string, Map<number, { squares: number; dof: number }>>();
  for (const f of fitted) {
    if (f.kind === 'no-line') continue;
    const family = familyKey(f, plan);
    const sums = families.get(family) ?? new Map<number, { squares: number; dof: number }>();
    families.set(family, sums);
    for (const { width, observed } of f.cell.groups) {
      if (observed.length < 2) continue;
      const mean = meanMass(observed);
      const sum = sums.get(width) ?? { squares: 0, dof: 0 };
      for (const o of observed) sum.squares += (o.mass / mean - 1) ** 2;
      sum.dof += observed.length - 1;
      sums.set(width, sum);
    }
  }
  return new Map([...families].map(([family, sums]) => [family, new Map([...sums].map(([width, { squares, dof }]) => [width, { percent: 100 * Math.sqrt(squares / dof), dof }]))]));
}

function sourceOf({ point, attempt }: Source): Source {
  return { point, attempt };
}

function meanOf(used: readonly Observed[], read: (o: Observed) => number): number {
  let sum = 0;
  for (const o of used) sum += read(o);
  return sum / used.length;
}

/** Fieller's interval widened by the shared part where the slope is known too badly for the symmetric one. RED-15. */
function deadTimeInterval(line: FittedLine['line'], deadTime: Result): LineCell['deadTimeInterval'] {
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
