/**
 * What the bench says now and what it said: the latest frame and a trend of each signal, over the last ten minutes and
 * since the start. Frames come up to 200 times a second, so this lies outside of React; `version` tells that it changed.
 */
import type { BenchFrame } from '../../app/bench/port.ts';
import { readingOf, signals } from '../../app/bench/readings.ts';
import type { SignalId } from '../../app/bench/readings.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { FlowFromEdges, massFlow } from './flow.ts';
import { Trend } from './trend.ts';

/** In SI units; the flow in kg/s. */
export type LiveSignal = SignalId | 'flow';
export type Span = 'ten-minutes' | 'since-start';

export interface Latest {
  readonly frame: BenchFrame;
  /** kg/s; null: not known. */
  readonly flow: number | null;
  /** Machine's clock when it came, ms. */
  readonly receivedAt: number;
}

type BySignal = Readonly<Record<LiveSignal, Trend>>;

const newTrends = (make: () => Trend): BySignal =>
  Object.fromEntries([...signals.map(({ id }) => id), 'flow'].map((signal) => [signal, make()])) as Record<LiveSignal, Trend>;

/** Strips are some hundred points wide: more slots than that cannot be seen. */
const recentTrends = () => newTrends(() => new Trend({ slot: 0.5, capacity: 1200, whenFull: 'drop-oldest' }));
const wholeTrends = () => newTrends(() => new Trend({ slot: 0.5, capacity: 2400, whenFull: 'widen' }));

export class LiveBench {
  #recent = recentTrends();
  #whole = wholeTrends();
  #latest: Latest | null = null;
  #equipment: Equipment | null = null;
  readonly #flow = new FlowFromEdges();
  readonly #listeners = new Set<() => void>();
  #version = 0;
  /** Trend time = controller time + this: a controller that starts anew does not make time go back. */
  #offset = 0;
  #lost = 0;

  get latest(): Latest | null {
    return this.#latest;
  }

  get version(): number {
    return this.#version;
  }

  /** Frames that did not come, by their numbers. */
  get lostFrames(): number {
    return this.#lost;
  }

  /** Trend time of the latest frame, s. */
  get now(): number {
    return this.#latest === null ? 0 : this.#latest.frame.at + this.#offset;
  }

  trend(signal: LiveSignal, span: Span): Trend {
    return (span === 'ten-minutes' ? this.#recent : this.#whole)[signal];
  }

  onChange(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  useEquipment(equipment: Equipment | null): void {
    this.#equipment = equipment;
  }

  /** Another bench, or none: nothing of the earlier one is shown any more. */
  clear(): void {
    this.#recent = recentTrends();
    this.#whole = wholeTrends();
    this.#latest = null;
    this.#offset = 0;
    this.#lost = 0;
    this.#flow.clear();
    this.#changed();
  }

  /** `since-start` begins with these frames, stored before this window was there; what was live meanwhile follows them. */
  startWith(stored: readonly BenchFrame[]): void {
    this.#whole = wholeTrends();
    const bootId = this.#latest?.frame.bootId;
    for (const frame of stored) {
      // Thinned frames lie too far apart for edges to be timed; the flow's trend begins with the live ones.
      if (bootId === undefined || frame.bootId === bootId) this.#put(this.#whole, frame, null);
    }
    this.#changed();
  }

  /** `receivedAt`: the machine's clock, ms. */
  push(frames: readonly BenchFrame[], receivedAt: number): void {
    for (const frame of frames) {
      const before = this.#latest;
      if (before !== null && before.frame.bootId !== frame.bootId) {
        this.#offset += before.frame.at + (receivedAt - before.receivedAt) / 1e3 + 1e-3 - frame.at;
        this.#flow.clear();
      } else if (before !== null) {
        if (frame.at < before.frame.at) continue;
        this.#lost += Math.max(0, frame.number - before.frame.number - 1);
      }
      const edges = this.#flow.add(frame);
      const flow = edges === null || this.#equipment === null ? null : massFlow(this.#equipment, frame, edges);
      this.#latest = { frame, flow, receivedAt };
      this.#put(this.#recent, frame, flow);
      this.#put(this.#whole, frame, flow);
    }
    this.#changed();
  }

  #put(trends: BySignal, frame: BenchFrame, flow: number | null): void {
    const at = frame.at + this.#offset;
    for (const { id } of signals) {
      const reading = readingOf(frame, id);
      if (reading !== undefined) trends[id].add(at, reading);
    }
    if (flow !== null) trends.flow.add(at, flow);
  }

  #changed(): void {
    this.#version += 1;
    for (const listener of this.#listeners) listener();
  }
}
