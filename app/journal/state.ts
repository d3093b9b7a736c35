/** The state of a run: what its journal comes to. The fold (`fold.ts`) makes it, a new one with each event; no part of one is ever written into. */
import type { BenchCapabilities, BenchFault, BenchIdentity } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import type { PreflightLine, SheetInForce } from '../plan/preflight-line.ts';
import type { Seconds } from '../quantities/quantity.ts';
import type { AfterSafe, AttemptReason, Decider, Ending, Origin, OutKind, RunCommand, StepKind, Verdict } from './events.ts';
import type { List } from './list.ts';
import type { ClockComparison, WindowSummary } from './measured.ts';
import type { Mode } from './modes.ts';

export type { Mode } from './modes.ts';

/** One attempt at a point; the criteria it was held against are in its event. */
export interface AttemptRecord {
  /** Numbered from 1 within the point. */
  readonly attempt: number;
  readonly reason: AttemptReason;
  /** null while the attempt is going on. */
  readonly verdict: Verdict | null;
  readonly window: WindowSummary | null;
  readonly text: string;
  /** Where it is not that of the plan (RUN-169). */
  readonly drivenWidth?: Seconds;
  /** Driven blind: the seal, and the shift of the commanded width, s; null: it is not told. Absent: as the plan has it (RUN-211). */
  readonly blind?: { readonly seal: string; readonly shift: Seconds | null };
  /** Events that the journal held when it began: rises in the order in which attempts were made. */
  readonly order: number;
}

export interface PointRecord {
  readonly attempts: readonly AttemptRecord[];
  /** Number of the attempt that counts; null: none does. */
  readonly chosen: number | null;
  /** Why `chosen` is what it is, and which rule or person says so. */
  readonly choice: { readonly by: Decider; readonly why: string } | null;
  /** Why the point was left out; null: it was not. */
  readonly skipped: string | null;
  /** A person asked for it to be measured again, and that is still to be done. */
  readonly queued: boolean;
  /** Its injector is out of the run: the point is not measured until a person asks for it (RUN-133). */
  readonly waiting: boolean;
  /** A person has decided on this point: it is not measured by itself any more (RUN-37). */
  readonly decided: boolean;
  /** Rejected attempts that used up the allowance of each origin. */
  readonly firstPassRejected: number;
  readonly secondPassRejected: number;
  readonly queueRejected: number;
}

/** An injector that is measured no further. */
interface OutRecord {
  readonly how: OutKind;
  readonly cause: string;
  readonly text: string;
  /** Its points that had no result then. */
  readonly points: readonly number[];
}

/** Rejected attempts in a row with the same cause. */
interface Streak {
  readonly cause: string;
  readonly count: number;
}

interface CurrentAttempt {
  readonly point: number;
  readonly attempt: number;
  readonly reason: AttemptReason;
  readonly origin: Origin;
  readonly step: StepKind | null;
  readonly skippedWaits: readonly StepKind[];
}

interface SafeRecord {
  readonly then: AfterSafe;
  readonly why: string;
  /** null while the confirmation is awaited. */
  readonly confirmed: boolean | null;
  readonly text: string;
}

interface RunCounts {
  /** Points with an attempt that counts. */
  readonly accepted: number;
  /** Points left out. */
  readonly skipped: number;
  /** Attempts that were ended, with any verdict. */
  readonly attempts: number;
  /** Points that wait because their injector is out. */
  readonly waiting: number;
}

/** What a command was answered. */
interface Answered {
  readonly command: RunCommand;
  readonly accepted: boolean;
  readonly reason: string;
}

export interface RunState {
  /** Events folded so far. */
  readonly revision: number;
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly operator: string;
  readonly software: string;
  readonly bench: {
    readonly identity: BenchIdentity;
    readonly capabilities: BenchCapabilities;
    readonly bootId: string;
    readonly link: string;
  } | null;
  readonly preflight: readonly PreflightLine[];
  /** The qualification that the bench had when the run was opened on it last; null: none that is known. */
  readonly qualification: SheetInForce | null;
  /** Why the results of this run cannot be traced; empty: they can, as far as the record tells. */
  readonly notTraceable: readonly string[];
  /** A person chose to measure although the present sheet refuses instruments or fluid as out of date. */
  readonly untraceableAccepted: boolean;
  /** The latest comparison of the controller's clock with the host's in each controller life, by boot id. */
  readonly clocks: ReadonlyMap<string, ClockComparison>;
  readonly mode: Mode;
  /** The latest way to safe; null before the first. */
  readonly safe: SafeRecord | null;
  /** Boot id of the controller whose dead-man was proved; null: not proved in this run. */
  readonly provedBootId: string | null;
  readonly linkUp: boolean;
  readonly pausePending: boolean;
  readonly finishing: boolean;
  /** How the run ended; null while it goes on, or again. */
  readonly ending: Ending | null;
  /** true once the run has ended: from then on only points that a person asks for are measured, until the plan is gone through again. */
  readonly planOver: boolean;
  readonly current: CurrentAttempt | null;
  /** What is to be measured, by index: the points of the plan, then those that were added (RUN-183). */
  readonly setPoints: readonly Point[];
  /** What became of each of them, by index. */
  readonly points: List<PointRecord>;
  readonly counts: RunCounts;
  readonly secondPassStarted: boolean;
  /** All points below are dealt with in the first pass. */
  readonly firstPass: number;
  readonly secondPassPoints: readonly number[];
  /** Place in `secondPassPoints`: those before it are dealt with. */
  readonly secondPass: number;
  /** What people asked to be measured again, in this order; those before `queueHead` are dealt with. */
  readonly queue: readonly number[];
  readonly queueHead: number;
  /** The points whose windows are kept; null: those of all. */
  readonly keeps: ReadonlySet<number> | null;
  /** By index into `plan.injectors`: those that are measured no further. */
  readonly out: ReadonlyMap<number, OutRecord>;
  /** By index into `plan.injectors`: how it has failed since its last accepted attempt. */
  readonly failing: ReadonlyMap<number, Streak>;
  /** By index into `plan.injectors`: what the first look found, from which attempts of its look points. */
  readonly looked: ReadonlyMap<number, { readonly attempts: readonly number[]; readonly passed: boolean; readonly text: string }>;
  /** Injectors that were given up one after another for one cause, without an accepted attempt of any between them. */
  readonly outRunning: { readonly cause: string; readonly injectors: readonly number[] };
  /** Rejected attempts in a row with the same cause that no injector explains, of whatever points (RUN-165). */
  readonly benchFailing: { readonly cause: string; readonly count: number };
  /** What each command was answered, by its id. */
  readonly commands: ReadonlyMap<string, Answered>;
  /** Automatic resumes so far, by guard. */
  readonly resumes: ReadonlyMap<string, number>;
  /** Guards that are out of their limits and were noted, with the text. */
  readonly notes: ReadonlyMap<string, string>;
  readonly hostRestarts: number;
  /** The fault that the controller reported last; it may have been cleared since. */
  readonly lastFault: BenchFault | null;
}
