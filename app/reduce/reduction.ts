/** What goes into a reduction and what comes out of it. Values in SI units. */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import type { LowestWidth } from '../statistics/repeatability.ts';
import type { Result } from '../uncertainty/budget.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { LeakBlock } from './leak-block.ts';
import type { LackOfFit } from './line.ts';
import type { RegionStop } from './linear-region.ts';
import type { MassPerPulse, NoMass } from './mass.ts';
import type { Sensitivity } from './sensitivity.ts';
import type { VarianceModel } from './variance-model.ts';

/** The accepted attempt that counts for its point. */
export interface CountingAttempt {
  /** Index of the point in the expansion of the plan. */
  readonly point: number;
  readonly attempt: number;
  readonly window: WindowSummary;
  /** The pulse width that was driven, where it is not that of the plan: what the result is of (RUN-169). */
  readonly drivenWidth?: Point['width'];
  /** Of a blind window: by how much its commanded width was shifted, s; null: sealed, or its secret was lost. Absent: it was not (RUN-211). */
  readonly blindShift?: Seconds | null;
  /** Rises in the order in which attempts ended; absent: that of the points. */
  readonly order?: number;
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
  /** What its mass was divided by for the drift of the bench; absent: nothing. RED-132 */
  readonly ofBench?: number;
}

/** One standard uncertainty of an instrument, carried with its sign to both parameters, so that it can be carried on. */
export interface SharedPart {
  readonly source: ErrorSource;
  /** kg/s */
  readonly onSlope: number;
  /** s */
  readonly onDeadTime: number;
}

export interface WidthResult {
  readonly width: Seconds;
  readonly windows: number;
  /** Mean Qd as the line saw it, referred to the plan's voltage, pressure and temperature in every respect, kg. */
  readonly mass: number;
  /** Standard uncertainty of `mass` from scatter, kg, with the degrees of freedom of the line. */
  readonly uMass: number;
  /** From the line, percent of the line (SAE J1832 list: LD); null where the line is not above zero. */
  readonly deviationPercent: number | null;
  /** So much of `mass`, kg, lies off the stated line because mass bends over the whole line; absent: nobody says so (RED-97). */
  readonly ofBend?: number;
  readonly inRegion: boolean;
  /** Standard deviation of windows of this width, percent, pooled over the injectors of the type; null: no replicates. */
  readonly repeatability: { readonly percent: number; readonly dof: number } | null;
}

/** Linear flow range (SAE J1832 list: LFR): largest over smallest flow inside the limit, without a gap between. RED-25. */
export interface FlowRange {
  readonly limitPercent: number;
  readonly ratio: number;
  readonly from: Seconds;
  readonly to: Seconds;
  /** Shorter widths that lie inside the limit again, though a width between does not: they do not count. */
  readonly reenters: readonly Seconds[];
}

/** The random errors of a line, in the centred form in which the two are independent. */
interface LineScatter {
  /** Standard uncertainty of the slope, kg/s. */
  readonly uSlope: number;
  /** Of what it consists, under the names of the errors: cells that lean on one slope share its. */
  readonly slopeParts: readonly { readonly source: ErrorSource; readonly u: number }[];
  /** Standard uncertainty of the line's height at its centre, kg, and its name. */
  readonly uMean: number;
  readonly meanSource: ErrorSource;
  /** From the dead time to the centre of the line, s. */
  readonly distance: number;
  readonly dof: number;
  /** Name of the estimate of the variance behind both. */
  readonly scale: string;
}

export type NoLineReason = 'not-measured' | 'too-few-widths' | 'no-slope' | 'leak';

/** What a leak does to one result, in its unit: taken off, and how well that is known. RED-45. */
export interface LeakEffect {
  /** The leak, m3/s, mean over the windows of the result. */
  readonly flow: number;
  /** By how much it moved the result before it was taken off. */
  readonly shift: number;
  /** Standard uncertainty of that. */
  readonly u: number;
  /** By how much it moves from the beginning of the block to its end. */
  readonly change: number;
  /** By how much zero points and period pair disagree where they contradict each other; 0: they do not. */
  readonly contradiction: number;
}

export type Leak =
  | {
      readonly kind: 'leak';
      /** All that was counted while nothing was driven: edges, and over how long, s. */
      readonly edges: number;
      readonly time: number;
      /** Zero points whose pressure decay told a leak that the meter may not see. RED-49. */
      readonly decays: number;
      readonly blocks: readonly LeakBlock[];
    }
  | { readonly kind: 'not-looked-at'; readonly text: string };

/** What windows at twice the period say of a leak (RED-47). Volume flows, m3/s. */
export type PeriodPair =
  | {
      readonly kind: 'period-pair';
      /** What leaks beyond what was taken off already, one for each injector that has a pair, and the weighted mean. */
      readonly injectors: readonly { readonly injector: number; readonly serialNumber: string; readonly flow: number; readonly uRandom: number }[];
      readonly flow: number;
      readonly uRandom: number;
      /** From what else the period changes: the warmth of the coils, and the meter at another rate. */
      readonly uShared: number;
      /** false: nobody looked for a leak in another way, so the pair is all that is known of it. */
      readonly beside: boolean;
      /** Flow that was taken off already, and its standard uncertainty. */
      readonly takenOff: number;
      readonly uTakenOff: number;
      /** `flow` over everything that is not known of it. */
      readonly z: number;
      readonly agrees: boolean;
    }
  | { readonly kind: 'no-period-pair'; readonly text: string };

/** What one member of the invariance set found. Differences are in pulse width, s: that of the masses over the slope. RED-110 */
export interface InvarianceMember {
  /** The nuisance. period: twice, at a short width; long-period: twice, at the longest; direction: after a longer less after a shorter width; pressure: up less down; time: at the end less in its block. */
  readonly of: 'period' | 'long-period' | 'direction' | 'pressure' | 'time';
  readonly injectors: readonly { readonly injector: number; readonly difference: number; readonly uRandom: number; readonly uShared: number }[];
  /** Weighted mean over the injectors, and the same in percent of the mass. */
  readonly difference: number;
  readonly percent: number;
  /** The mass that they are of, in pulse width, s. */
  readonly open: number;
  readonly uRandom: number;
  /** From what the nuisance changes in the instruments, and from what is allowed for. */
  readonly uShared: number;
  readonly z: number;
  /** Chance of so much on a bench on which all agrees, over the whole set. */
  readonly p: number;
  readonly called: boolean;
  /** What says so: the mean of all injectors, how they differ, or how the reference point wandered. */
  readonly by: 'common' | 'injectors' | 'course';
  /** Of `time`: relative standard deviation of the reference point beyond its scatter; absent: the plan has none. */
  readonly wandered?: number;
  /** Part of the difference that the windows of one result may stand from each other. */
  readonly reach: number;
}

export interface InvarianceSet {
  readonly members: readonly InvarianceMember[];
  /** Tests of the whole set; each is made at `falseCalls` over their number. */
  readonly tests: number;
  readonly falseCalls: number;
}

/** A blind window, and the shift that the reduction found in it. Shifts in s. RED-115 */
export interface BlindFinding extends Source {
  readonly injector: number;
  readonly voltage: Volts;
  readonly width: Seconds;
  readonly found: number;
  readonly u: number;
  readonly dof: number;
  readonly expanded: number;
  /** null: it is sealed, or its secret was lost. */
  readonly truth: number | null;
}

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
  /** Whether the slope is this cell's own, that of all voltages of the injector, or weighted of both; `slopeModels` says why. */
  readonly slopeFrom: 'own' | 'shared' | 'weighted';
  /** Static flow over slope, Qs / m; null: the static flow was not measured at this pressure. */
  readonly staticToSlope: Result | null;
  /** null: no width is inside the limit. */
  readonly flowRange: FlowRange | null;
  /** The shortest width at and above which every width repeats within the plan's limit. */
  readonly lowestRepeatable: LowestWidth;
  readonly scatter: LineScatter;
  /** Covariance of slope and dead time, kg. */
  readonly covarianceRandom: number;
  readonly covarianceShared: number;
  readonly shared: readonly SharedPart[];
  /** null: nobody looked for a leak. `again`: why this should be measured again, in words; null: no reason. */
  readonly leak: (LeakEffect & { readonly again: string | null }) | null;
  /** Mean change of dead time by which the windows were referred to the plan's conditions, already made, s. */
  readonly referred: { readonly toVoltage: number; readonly toPressure: number; readonly toTemperature: number; readonly toCoil: number };
  readonly byVoltage: Sensitivity;
  readonly byPressure: Sensitivity;
  readonly byTemperature: Sensitivity;
  /** With the driver's clamp, s/V, and with resistance between supply and coil, s/ohm; absent: the record states neither. */
  readonly byClamp?: Sensitivity;
  readonly byResistance?: Sensitivity;
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

export interface SlopeModel {
  /** Injector type, pressure and period that the decision holds for. */
  readonly type: string;
  readonly pressure: Pascals;
  readonly period: Seconds;
  /** weighted: each leans on the slope of all voltages as far as their spread says. */
  readonly model: 'own' | 'shared' | 'weighted';
  readonly decidedBy: 'spread' | 'plan' | 'one-voltage';
  /** weighted: standard deviations of the slopes over voltages beyond what the lines explain, relative: of each injector by itself, and of all in common. */
  readonly spread?: number;
  readonly commonSpread?: number;
  /** Scatter of the slopes about each injector's common slope over what the lines explain; null: not tested. */
  readonly test: FTest | null;
  /** The same for what all injectors have in common: a slope that rises or falls with 1 / V. */
  readonly trend: FTest | null;
}

export interface FTest {
  readonly f: number;
  readonly dofNumerator: number;
  readonly dofDenominator: number;
  /** Chance of an F at least as large where the lines are parallel. */
  readonly p: number;
}

interface StaticPlace {
  readonly injector: number;
  readonly serialNumber: string;
  readonly pressure: Pascals;
}

export type StaticFlow =
  | (StaticPlace & {
      readonly kind: 'static-flow';
      readonly voltage: Volts;
      /** kg/s, at the plan's pressure and the reference temperature. */
      readonly flow: Result;
      readonly scatter: { readonly source: ErrorSource; readonly u: number; readonly dof: number; readonly scale: string };
      /** Effect of one standard uncertainty of each instrument, kg/s, with its sign. */
      readonly shared: readonly { readonly source: ErrorSource; readonly effect: number }[];
      readonly sources: readonly Source[];
    })
  | (StaticPlace & { readonly kind: 'no-static-flow'; readonly reason: 'not-planned' | 'not-measured' | 'leak'; readonly text: string });

/** A window that counts for less than half of its repeats, or one of two that contradict each other. RED-81. */
export interface LightWindow extends Source {
  /** How much it counts, 0 to 1. */
  readonly weight: number;
  /** kg; and what the windows say that it lies off from: their mean, or the line where it has no repeats. */
  readonly mass: number;
  readonly expected: number;
  /** repeats: against those of its width. line: it stands alone. pair: it and its only repeat contradict each other. */
  readonly against: 'repeats' | 'line' | 'pair';
}

/** Dead times of sweeps up the widths less those of sweeps down, s, of all injectors of a type. RED-84. */
export interface SweepLag {
  readonly type: string;
  readonly difference: number;
  /** Standard uncertainty of that by scatter; null: the order of the plan does not tell it. */
  readonly u: number | null;
}

/** What the windows say of the warmth of the coils of a type. RED-130. */
export interface CoilLag {
  readonly type: string;
  /** For each time constant, s: how likely it is, and the kelvins a watt with their standard uncertainty. */
  readonly candidates: readonly { readonly tau: number; readonly chance: number; readonly kelvinPerWatt: number; readonly u: number }[];
  /** How far the windows see it, in standard uncertainties, at the likeliest time constant. */
  readonly seen: number;
  /** The plan says what the coils are like; false: a usual coil is taken where the windows tell nothing. */
  readonly stated: boolean;
}

/** How the lines of a type bend over their whole length. RED-85. */
export interface Curvature {
  readonly type: string;
  readonly pressure: Pascals;
  readonly period: Seconds;
  /** mass = slope (w - t0 + relative w^2), and its standard uncertainty, 1/s. */
  readonly relative: number;
  readonly u: number;
  /** Widths of the longest region of these lines, six at least: so many may make a line. */
  readonly widest: number;
  /** Widths from there on make the line, because the plan says so; null: what the data showed. */
  readonly definedFrom: Seconds | null;
  /** How far dead times move at most with the widths that make the line, s. */
  readonly shift: number;
}

/** What the bench drifted while it measured, by its reference point. RED-83. */
export type BenchDrift =
  | {
      readonly kind: 'told';
      readonly windows: number;
      /** Standard deviation beyond the scatter of windows, relative. What of it is in a result: RED-144. */
      readonly u: number;
      /** Slope of a straight line through them, relative, over the run. */
      readonly overRun: number;
      /** Chance of so much where nothing drifts. */
      readonly p: number;
      /** By the reference line, where the plan asks for it: the greatest correction, and the standard uncertainty of one, which is in every slope and static flow. RED-132 */
      readonly takenOff?: { readonly most: number; readonly u: number };
    }
  | { readonly kind: 'not-told'; readonly text: string };

/** What the supply loses inside a pulse, as a resistance behind its read-back, ohm, with its standard uncertainty. RED-143 */
export interface SupplyLoss {
  readonly ohm: number;
  readonly u: number;
  /** That it was read in. */
  readonly windows: number;
}

export interface Reduction {
  readonly reductionVersion: 1;
  readonly windows: readonly ReducedWindow[];
  /** In the order pressure, period, injector, voltage of the plan: one for each, measured or not. */
  readonly cells: readonly (LineCell | NoLineCell)[];
  readonly scatter: readonly ScatterModel[];
  /** One for each injector type, pressure and period that has lines. */
  readonly slopeModels: readonly SlopeModel[];
  /** One for each injector and pressure, measured or not. */
  readonly staticFlows: readonly StaticFlow[];
  readonly leak: Leak;
  readonly periodPair: PeriodPair;
  /** By how much the dead times of the type change with the pressure, relative, and its standard uncertainty, for one Pa; absent: the plan does not say. RED-77. */
  readonly pressureEffect?: { readonly relativePerPascal: number; readonly u: number };
  readonly benchDrift: BenchDrift;
  /** One for each type that has lines. */
  readonly sweepLags: readonly SweepLag[];
  /** One for each type that has lines, where lateness was taken off; else none. */
  readonly coilLags: readonly CoilLag[];
  readonly curvatures: readonly Curvature[];
  /** Where the supply was read inside pulses; absent: it was not. */
  readonly supplyLoss?: SupplyLoss;
  /** In the order of the points. */
  readonly lightWindows: readonly LightWindow[];
  readonly invariance: InvarianceSet;
  /** Windows that were driven blind, in the order of their points. */
  readonly blind: readonly BlindFinding[];
}
