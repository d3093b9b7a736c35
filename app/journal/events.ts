/**
 * The journal of a run. Everything that happens is one of these, appended and never changed; the state of a run is a
 * pure fold over them, and window, archive and report use that same fold.
 */
import type { BenchCapabilities, BenchFault, BenchIdentity } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import type { PreflightLine, SheetInForce } from '../plan/preflight-line.ts';
import type { Seconds, UnixMillis } from '../quantities/quantity.ts';
import type { BlindShift } from './blind.ts';
import type { RunCommand } from './commands.ts';
import type { ClockComparison, WindowSummary } from './measured.ts';

export type { RunCommand } from './commands.ts';

/** Why an attempt is made. */
export type AttemptReason = 'plan' | 'repeat' | 'second-pass' | 'measure-again' | 'resumed';

/** Where the wish to measure a point came from. */
export type Origin = 'first-pass' | 'second-pass' | 'measure-again';

/** Who or what decided: a numbered rule, or a person by name. */
export type Decider = { readonly rule: string } | { readonly person: string };

/** What was held against limits: `found` in `unit`, between `low` and `high`. null: not known, no limit on that side. RUN-193, RUN-194 */
export interface HeldReading {
  readonly quantity: string;
  readonly found: number | null;
  readonly low: number | null;
  readonly high: number | null;
  /** In plain letters; empty: a count. */
  readonly unit: string;
}

/** One limit that a window was held against. `found` and its like: absent where it is no number, and in journals of earlier versions. */
export interface Criterion extends Partial<HeldReading> {
  readonly rule: string;
  readonly passed: boolean;
  /** What was found and what was allowed, in words with units. */
  readonly text: string;
}

export type Verdict = 'accepted' | 'rejected' | 'cut';

/** How a run can end; only the first is a whole result. */
export type Ending = 'complete' | 'complete-with-failures' | 'finished-early' | 'aborted' | 'emergency-stopped';

/** Where the run goes once the bench is safe. */
export type AfterSafe =
  /** `guard` and `text`: why a person has to resume; absent: a person asked for the pause, or another host did. */
  | { readonly kind: 'paused'; readonly guard?: string; readonly text?: string }
  /** `reading`: of a guard of the plan, what it read. */
  | { readonly kind: 'held'; readonly guard: string; readonly text: string; readonly reading?: HeldReading }
  | { readonly kind: 'tripped'; readonly guard: string; readonly text: string; readonly reading?: HeldReading }
  | { readonly kind: 'ended'; readonly ending: Ending };

/** set-aside: it did not look like a working injector before the sweep. given-up: it failed again and again in the sweep. */
export type OutKind = 'set-aside' | 'given-up';

export type StepKind = 'supply' | 'condition' | 'purge' | 'settle' | 'measure' | 'stop';

/** What is to be measured; its place in the run is its index. */
type AddedPoint = Omit<Point, 'index'>;

export type RunEventBody =
  | {
      readonly kind: 'opened';
      readonly plan: Plan;
      readonly equipment: Equipment;
      readonly operator: string;
      readonly software: string;
      /** How many points the plan gives: those of the run from 0 on, in the order of its expansion (PLAN-2). */
      readonly points: number;
    }
  | { readonly kind: 'bench-connected'; readonly identity: BenchIdentity; readonly capabilities: BenchCapabilities; readonly bootId: string; readonly link: string }
  /** `qualification`: that of the bench, where one held then (EQ-25); absent: none did, or in journals of earlier versions. */
  | { readonly kind: 'preflight'; readonly lines: readonly PreflightLine[]; readonly qualification?: SheetInForce }
  | { readonly kind: 'commanded'; readonly id: string; readonly command: RunCommand; readonly by: string; readonly answer: 'accepted' | 'refused'; readonly reason: string }
  /** From here on nothing that the run tells is traceable, for these reasons. */
  | { readonly kind: 'not-traceable'; readonly reasons: readonly string[]; readonly by: string }
  /** The controller's clock against the host's in this controller life so far; a later one takes the place of an earlier. */
  | { readonly kind: 'clocks-compared'; readonly bootId: string; readonly comparison: ClockComparison; readonly text: string }
  | { readonly kind: 'proving-started' }
  | { readonly kind: 'dead-man-proved'; readonly silence: Seconds; readonly pulsesBefore: number; readonly pulsesCommanded: number }
  | { readonly kind: 'dead-man-not-proved'; readonly text: string }
  | { readonly kind: 'measuring-started' }
  /** More to measure than the plan gives; they follow the points that the run has, in this order (RUN-183). */
  | { readonly kind: 'points-added'; readonly points: readonly AddedPoint[]; readonly by: Decider; readonly why: string }
  /** What is wanted of the dead time, U95 in us, at a voltage (null: at each) from here on, and what was wanted there before (null: not the same at each). `ofMap`: of the cells of its map. RUN-238 */
  | { readonly kind: 'target-changed'; readonly voltageV: number | null; readonly deadTimeUs: number; readonly before: number | null; readonly by: string; readonly ofMap?: true | undefined }
  | {
      readonly kind: 'attempt-started';
      readonly point: number;
      readonly attempt: number;
      readonly reason: AttemptReason;
      /** Absent in journals of earlier versions (RUN-182). */
      readonly origin?: Origin;
    }
  | { readonly kind: 'step'; readonly step: StepKind; readonly point: number; readonly attempt: number }
  | { readonly kind: 'wait-skipped'; readonly step: StepKind; readonly point: number; readonly attempt: number }
  | {
      readonly kind: 'attempt-ended';
      readonly point: number;
      readonly attempt: number;
      readonly verdict: Verdict;
      /** Absent when the attempt never came to its window. */
      readonly window: WindowSummary | null;
      readonly criteria: readonly Criterion[];
      readonly text: string;
      /** Index into `plan.injectors`. Absent in journals of earlier versions, and where no injector was driven. */
      readonly injector?: number;
      /** Of a rejected attempt: the same word for the same cause (RUN-133). */
      readonly cause?: string;
      /** The pulse width that the controller drove, where it is not that of the plan (RUN-169). */
      readonly drivenWidth?: Seconds;
    }
  /** The width of this attempt's pulses is shifted by a secret, of which this is the SHA-256 (RUN-211). */
  | { readonly kind: 'blind-sealed'; readonly point: number; readonly attempt: number; readonly seal: string }
  /** The secrets of attempts that were driven blind, told once they are over (RUN-212). */
  | { readonly kind: 'blind-unsealed'; readonly shifts: readonly BlindShift[] }
  | { readonly kind: 'chosen'; readonly point: number; readonly attempt: number | null; readonly by: Decider; readonly why: string }
  | { readonly kind: 'point-skipped'; readonly point: number; readonly why: string }
  /** An injector is measured no further: `points`, those that it has no result of, wait for a person (RUN-133). */
  | {
      readonly kind: 'injector-out';
      readonly how: OutKind;
      readonly injector: number;
      readonly points: readonly number[];
      readonly cause: string;
      readonly text: string;
    }
  /** What the first look found of an injector, from these attempts of its look points, in their order (RUN-137 to RUN-141). */
  | {
      readonly kind: 'injector-looked-at';
      readonly injector: number;
      readonly attempts: readonly number[];
      readonly passed: boolean;
      readonly criteria: readonly Criterion[];
      readonly text: string;
    }
  /** Its points take part again. */
  | { readonly kind: 'injector-back'; readonly injector: number; readonly text: string }
  | { readonly kind: 'queued'; readonly points: readonly number[]; readonly reason: AttemptReason }
  | { readonly kind: 'second-pass-started'; readonly points: readonly number[] }
  | { readonly kind: 'guard-noted'; readonly guard: string; readonly text: string; readonly reading?: HeldReading }
  | { readonly kind: 'guard-cleared'; readonly guard: string; readonly text: string; readonly reading?: HeldReading }
  | { readonly kind: 'link-lost'; readonly text: string }
  | { readonly kind: 'link-restored'; readonly bootId: string; readonly text: string }
  /** The link is still down, and now it is known why, or why otherwise. */
  | { readonly kind: 'link-not-restored'; readonly text: string }
  /** The wall clock of the host went on by `by` seconds more than its monotonic one (less, where negative): set, or the host was suspended. */
  | { readonly kind: 'clock-stepped'; readonly by: number; readonly text: string }
  | { readonly kind: 'controller-fault'; readonly fault: BenchFault }
  | { readonly kind: 'making-safe'; readonly then: AfterSafe; readonly why: string }
  | { readonly kind: 'made-safe'; readonly confirmed: boolean; readonly text: string }
  | { readonly kind: 'paused'; readonly guard?: string; readonly text?: string }
  | { readonly kind: 'held'; readonly guard: string; readonly text: string }
  | { readonly kind: 'tripped'; readonly guard: string; readonly text: string }
  | { readonly kind: 'acknowledged' }
  | { readonly kind: 'resumed'; readonly automatic: boolean }
  | { readonly kind: 'ended'; readonly ending: Ending; readonly text: string }
  /** `plan`: the plan is worked through again for every point that has no result; absent: only what a person asks for is measured. */
  | { readonly kind: 'reopened'; readonly why: string; readonly plan?: true }
  /** A new host found this run unfinished: what was in progress is cut, nothing else is lost. */
  | { readonly kind: 'host-restarted'; readonly text: string };

export interface RunEvent {
  /** From 0, without a gap. */
  readonly seq: number;
  readonly at: UnixMillis;
  readonly body: RunEventBody;
}
