/**
 * Telemetry that cannot be: what one frame says against the frame before it (LINE-110), and readings that stand while everything
 * else moves. Nothing here allocates for a frame that is sound. RUN-160 to RUN-163.
 */
import type { BenchFrame } from '../bench/port.ts';
import { placeInFrame, readingOf, signals, toShown } from '../bench/readings.ts';
import type { Signal } from '../bench/readings.ts';
import { held } from './criterion.ts';
import type { Criterion } from '../journal/events.ts';
import type { WindowSummary } from '../journal/measured.ts';

export type Impossible = 'clock-back' | 'clock-ahead' | 'edges-back' | 'edge-time-back' | 'edge-time-ahead' | 'edge-time-stands' | 'pulses-back';

/**
 * Frames come evenly to a fifth of their interval (LINE-103); this much more is allowed for (the line's own hiccups do not enter: the
 * time is the controller's).
 */
const intervalsAllowed = 1.5;
const secondsAllowed = 0.05;
/** Times are whole microseconds on the line and may be off by the rounding of a double here, s. */
const rounding = 1e-7;

/** What cannot be of two frames of one controller life, the second of a greater number; null: nothing. `interval` as it was set, s. */
export function impossibleStep(before: BenchFrame, frame: BenchFrame, interval: number): Impossible | null {
  if (frame.at <= before.at) return 'clock-back';
  if (frame.at - before.at > intervalsAllowed * (frame.number - before.number) * interval + secondsAllowed) return 'clock-ahead';
  if (frame.edges < before.edges) return 'edges-back';
  if (frame.lastEdgeAt > frame.at + rounding) return 'edge-time-ahead';
  if (frame.lastEdgeAt < before.lastEdgeAt - rounding) return 'edge-time-back';
  if (frame.edges > before.edges && frame.lastEdgeAt === before.lastEdgeAt) return 'edge-time-stands';
  if (frame.burst.number === before.burst.number && frame.burst.done < before.burst.done) return 'pulses-back';
  return null;
}

/** It in words, with what to do. */
export function impossibleText(what: Impossible, before: BenchFrame, frame: BenchFrame): string {
  const found = {
    'clock-back': `its clock says ${frame.at.toFixed(6)} s after ${before.at.toFixed(6)} s`,
    'clock-ahead': `its clock went on by ${(frame.at - before.at).toFixed(3)} s over ${frame.number - before.number} frames`,
    'edges-back': `its count of meter edges fell from ${before.edges} to ${frame.edges}`,
    'edge-time-back': `the time of the latest meter edge went back from ${before.lastEdgeAt.toFixed(6)} s to ${frame.lastEdgeAt.toFixed(6)} s`,
    'edge-time-ahead': `the latest meter edge is said to be of ${frame.lastEdgeAt.toFixed(6)} s at ${frame.at.toFixed(6)} s`,
    'edge-time-stands': `${frame.edges - before.edges} more meter edges came at one time, ${frame.lastEdgeAt.toFixed(6)} s`,
    'pulses-back': `its count of pulses fell from ${before.burst.done} to ${frame.burst.done}`,
  }[what];
  return `The telemetry of the controller cannot be: ${found} (frame ${frame.number}). No flow can be had from it. Have the controller's firmware looked at.`;
}

/** RUN-162: more frames than were asked for. */
export function framesInTime(window: WindowSummary, telemetryHz: number): Criterion {
  const duration = window.to - window.from;
  return held('RUN-162', 'frames', window.frames + window.missingFrames, null, Math.floor(intervalsAllowed * duration * telemetryHz + 3));
}

/** A reading is known to be a lively one when so many frames have been seen and at least this part of the last ones moved it. */
const framesToKnow = 200;
const livelyPart = 0.5;
/** Below this it is left as it is: left to fall on, it would come to numbers so small that a processor takes ten times as long over each. */
const hardlyEver = 1e-9;
/** The weight of one of them. */
const leastWeight = 1 / framesToKnow;
/** Then so many running that do not move it have a chance below 1e-12. */
const framesToStand = 40;

/** One reading, as it moves from frame to frame. */
class Reading {
  readonly place: number;
  readonly signal: Signal;
  #last = Number.NaN;
  #stood = 0;
  #moving = 0;
  #seen = 0;

  constructor(signal: Signal) {
    this.place = placeInFrame(signal);
    this.signal = signal;
  }

  take(value: number): void {
    const stood = this.#stood;
    const moving = this.#moving;
    const seen = this.#seen;
    if (seen <= framesToKnow) this.#seen = seen + 1;
    const weight = seen < framesToKnow ? 1 / (seen + 1) : leastWeight;
    if (value !== this.#last) {
      this.#last = value;
      if (stood > 0) this.#stood = 0;
      if (moving < 1) this.#moving = moving + (1 - moving) * weight;
      return;
    }
    this.#stood = stood + 1;
    // What is being doubted is not learned from.
    if (moving > hardlyEver && (stood < framesToStand || moving < livelyPart)) this.#moving = moving - moving * weight;
  }

  /** How it stands, in words; null: it does not. */
  stands(): string | null {
    const lively = this.#seen > framesToKnow && this.#moving >= livelyPart;
    if (!lively || this.#stood < framesToStand) return null;
    const { name, plain } = this.signal;
    return `${name} stands at ${toShown(this.signal, this.#last).toFixed(3)} ${plain} for ${this.#stood} readings running, and every second one moved it before: the transducer, its wire or the controller does not follow`;
  }
}

const livelySignals = signals.filter(({ lively }) => lively);

/** Tells readings that stand (RUN-163). A transducer moves its last digit by its own noise; one that is so quiet that it does not is never judged. */
export class StandingReadings {
  /** Of every frame, and those that are asked for. */
  readonly #framed = livelySignals.map((signal) => new Reading(signal)).filter(({ place }) => place >= 0);
  readonly #further = livelySignals.map((signal) => new Reading(signal)).filter(({ place }) => place < 0);

  /** Frames in order, of times in which an injector is pulsed: that moves the pressure besides. `values`: its readings by `readInto`. */
  add(frame: BenchFrame, values: Float64Array): void {
    const framed = this.#framed;
    for (let i = 0; i < framed.length; i += 1) {
      const reading = framed[i] as Reading;
      reading.take(values[reading.place] as number);
    }
    for (const reading of this.#further) {
      const value = readingOf(frame, reading.signal.id);
      if (value !== undefined) reading.take(value);
    }
  }

  criterion(): Criterion {
    const standing = [...this.#framed, ...this.#further].flatMap((reading) => reading.stands() ?? []);
    return { rule: 'RUN-163', passed: standing.length === 0, text: standing.length === 0 ? 'no reading stands still' : standing.join('; ') };
  }
}
