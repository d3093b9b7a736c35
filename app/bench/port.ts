/**
 * The bench as the run engine sees it: requests out, replies and frames in. Nothing here knows of lines or ports.
 * The bench driver in `main/` speaks the line for it.
 */
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';
import type { Readings } from './readings.ts';

export interface BenchIdentity {
  /** What the controller calls itself and the serial number it was given: together they identify the bench. */
  readonly model: string;
  readonly serialNumber: string;
  readonly firmware: string;
  readonly protocol: number;
}

export interface BenchCapabilities {
  /** Injector driver channels are numbered from 1 to this. */
  readonly channels: number;
  readonly timerResolution: Seconds;
  readonly minWidth: Seconds;
  readonly maxWidth: Seconds;
  readonly minPeriod: Seconds;
  readonly maxPeriod: Seconds;
  readonly maxCount: number;
  readonly minSupply: Volts;
  readonly maxSupply: Volts;
  readonly safeSupply: Volts;
  readonly pressure:
    | { readonly commandable: true; readonly min: Pascals; readonly max: Pascals }
    | { readonly commandable: false };
  /**
   * Outputs that command the rail: pump enable, normally open relief valve, shut-off valve between regulator and rail.
   * Absent: none of it (and in what was recorded before there were any).
   */
  readonly rail?: { readonly pump: boolean; readonly relief: boolean; readonly shutOff: boolean };
  readonly deadManMin: Seconds;
  readonly deadManMax: Seconds;
  readonly telemetryMaxHz: number;
  /** Interlock inputs in bit order; a closed (healthy) input is a 1 in a frame. */
  readonly interlocks: readonly string[];
}

/** One pulse train that the controller times by itself on one channel. */
export interface BurstRequest {
  readonly channel: number;
  readonly width: Seconds;
  readonly period: Seconds;
  readonly count: number;
}

export type BenchRequest =
  | { readonly kind: 'arm' }
  /**
   * Stop pulsing, supply to its safe value, disarm; done means the controller has confirmed all three. A bench with `rail`
   * also gives up the rail pressure: regulator at its lowest, pump off, relief and shut-off valve open.
   */
  | { readonly kind: 'make-safe' }
  | { readonly kind: 'set-supply'; readonly supply: Volts }
  | { readonly kind: 'set-pressure'; readonly pressure: Pascals }
  | ({ readonly kind: 'burst' } & BurstRequest)
  | { readonly kind: 'stop-burst' }
  | { readonly kind: 'clear-faults' }
  /** Only with `rail.pump` or `rail.relief`. On: pump enabled, relief valve shut; needs an armed bench. Off: the pump only. */
  | { readonly kind: 'pump'; readonly on: boolean }
  /** Only with `rail.shutOff`. To shut it needs an armed bench, or one that keeps its pressure. */
  | { readonly kind: 'shut-off'; readonly shut: boolean }
  /**
   * Only with `rail`. Makes an armed bench safe but for its rail, which stays as it is until `make-safe`, a fault, an open
   * interlock or the dead-man, which goes on running.
   */
  | { readonly kind: 'keep-pressure' }
  /** Send nothing for this long, so that the controller's dead-man has to act. Only for the proof before a start. */
  | { readonly kind: 'keep-silent'; readonly duration: Seconds };

export type BenchReply =
  /** `drivenWidth`: of a burst, the width that the controller says it drives (LINE-34). */
  | { readonly kind: 'done'; readonly drivenWidth?: Seconds }
  | { readonly kind: 'refused'; readonly code: string; readonly text: string }
  /** The deadline passed or the link went down; whether the request was carried out is unknown. */
  | { readonly kind: 'no-answer'; readonly text: string };

export interface BenchFault {
  readonly code: string;
  readonly text: string;
}

/** What the controller knows of the burst last asked for. */
interface BurstState {
  /** Counts bursts since the controller started; a new burst has a new number. 0: none yet. */
  readonly number: number;
  readonly active: boolean;
  readonly commanded: number;
  readonly done: number;
}

/** One telemetry frame: everything the controller measured at one instant of its own clock. */
export interface BenchFrame extends Readings {
  /** Controller clock at the sample, seconds since the controller started (resolution 1 us, never wraps). */
  readonly at: Seconds;
  /** Counts frames since the controller started: a gap is a lost frame. */
  readonly number: number;
  readonly bootId: string;
  /** Flow meter edges since the controller started, and the controller clock at the latest of them. */
  readonly edges: number;
  readonly lastEdgeAt: Seconds;
  readonly burst: BurstState;
  readonly armed: boolean;
  readonly fault: BenchFault | null;
  /** Bit i is capability `interlocks[i]`; 1 is closed (healthy). */
  readonly interlocks: number;
}
