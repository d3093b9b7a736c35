/** What a measuring window comes down to: enough to judge it and to reduce it, computed from its frames alone. */
import type { BenchFrame } from '../bench/port.ts';
import type { Point } from '../plan/points.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { frameSignals, readingOf, readInto, windowSignals } from '../bench/readings.ts';
import type { Signal, Spread, Spreads } from '../bench/readings.ts';

/** Why frames do not make a window. */
export interface WindowFailure {
  readonly failure: 'too-few-frames' | 'controller-reset' | 'other-burst' | 'no-flow';
  readonly text: string;
}

/** No more parts than this; a part is at least one revolution, or `edgesOfAPart` edges where revolutions are few. */
const maxParts = 10;
const minRevolutions = 4;
const edgesOfAPart = 4;

/**
 * Gathers the frames of a window, one at a time and at constant cost, and says at any time how many edges its summary
 * would rest on. The first edge that counts is the first that fell inside the window, so that nothing of the settling
 * before it enters; first and last edge lie a whole number of meter revolutions apart, so that the meter's in-rotation
 * error cancels, unless that would give away more than half of the edges (RUN-50).
 */
export class WindowCollector {
  readonly #frames: BenchFrame[] = [];
  readonly #edgesPerRevolution: number;
  /** For each place of a revolution: the first frame whose latest edge stood there. */
  readonly #firstAtPlace: (number | undefined)[];
  #firstWithEdge = -1;
  #lastWithEdge = -1;
  #wholeFrom = -1;
  #wholeTo = -1;
  #wholeEdges = 0;

  /** `edgesPerRevolution` is a whole number of at least 1. */
  constructor(edgesPerRevolution: number) {
    this.#edgesPerRevolution = edgesPerRevolution;
    this.#firstAtPlace = new Array<number | undefined>(edgesPerRevolution);
  }

  add(frame: BenchFrame): void {
    const index = this.#frames.length;
    this.#frames.push(frame);
    const first = this.#frames[0];
    if (first === undefined || frame.edges <= first.edges) return;
    if (this.#firstWithEdge < 0) this.#firstWithEdge = index;
    this.#lastWithEdge = index;
    const place = frame.edges % this.#edgesPerRevolution;
    const from = this.#firstAtPlace[place];
    if (from === undefined) {
      this.#firstAtPlace[place] = index;
      return;
    }
    const edges = frame.edges - (this.#frames[from]?.edges ?? frame.edges);
    if (edges > this.#wholeEdges) {
      this.#wholeEdges = edges;
      this.#wholeFrom = from;
      this.#wholeTo = index;
    }
  }

  /** Controller time between the first and the newest frame. */
  get duration(): number {
    const first = this.#frames[0];
    const last = this.#frames[this.#frames.length - 1];
    return first === undefined || last === undefined ? 0 : last.at - first.at;
  }

  /** Edges that the summary of the frames so far would rest on. */
  get edges(): number {
    const all = this.#allEdges();
    return this.#usesRevolutions(all) ? this.#wholeEdges : all;
  }

  summarise(): WindowSummary | WindowFailure {
    const frames = this.#frames;
    const whole = wholeWindow(frames);
    if ('failure' in whole) return whole;
    const byRevolutions = this.#usesRevolutions(this.#allEdges());
    const from = byRevolutions ? this.#wholeFrom : this.#firstWithEdge;
    const to = byRevolutions ? this.#wholeTo : this.#lastWithEdge;
    const firstEdge = frames[from];
    const lastEdge = frames[to];
    if (firstEdge === undefined || lastEdge === undefined || lastEdge.lastEdgeAt <= firstEdge.lastEdgeAt) {
      return { failure: 'no-flow', text: 'The meter gave fewer than two edges inside the window, so there is no flow to measure.' };
    }
    return withFlow(whole, {
      edges: lastEdge.edges - firstEdge.edges,
      firstEdgeAt: firstEdge.lastEdgeAt,
      lastEdgeAt: lastEdge.lastEdgeAt,
      partRates: this.#partRates(from, to),
    });
  }

  /**
   * The window of a zero point (RUN-103): edges counted between the first and the last frame, of which there may be none, and
   * the times of the first and the last of them (both the beginning of the window where there are none). `partRates`: edges
   * counted in the two halves over the time of each, Hz.
   */
  summariseZero(): WindowSummary | WindowFailure {
    const frames = this.#frames;
    const whole = wholeWindow(frames);
    if ('failure' in whole) return whole;
    const [first] = frames;
    const last = frames[frames.length - 1];
    const middle = frames.find(({ at }) => at - whole.from >= (whole.to - whole.from) / 2);
    if (first === undefined || last === undefined || middle === undefined) throw new Error('a window has frames');
    const rate = (from: BenchFrame, to: BenchFrame): number => (to.at > from.at ? (to.edges - from.edges) / (to.at - from.at) : 0);
    const edges = last.edges - first.edges;
    return withFlow(whole, {
      edges,
      firstEdgeAt: edges > 0 ? (frames[this.#firstWithEdge]?.lastEdgeAt ?? first.at) : first.at,
      lastEdgeAt: edges > 0 ? last.lastEdgeAt : first.at,
      partRates: [rate(first, middle), rate(middle, last)],
    });
  }

  #allEdges(): number {
    return (this.#frames[this.#lastWithEdge]?.edges ?? 0) - (this.#frames[this.#firstWithEdge]?.edges ?? 0);
  }

  #usesRevolutions(all: number): boolean {
    return this.#wholeEdges > 0 && 2 * this.#wholeEdges >= all;
  }

  /** Rates of parts that are equal to within one revolution (or edge), between the frames `from` and `to` (RUN-51). */
  #partRates(from: number, to: number): readonly number[] {
    const frames = this.#frames;
    const first = frames[from];
    const last = frames[to];
    if (first === undefined || last === undefined) return [];
    const edges = last.edges - first.edges;
    const revolutions = edges / this.#edgesPerRevolution;
    const byRevolutions = Number.isInteger(revolutions) && revolutions >= minRevolutions;
    const unit = byRevolutions ? this.#edgesPerRevolution : 1;
    const units = edges / unit;
    const parts = Math.min(maxParts, byRevolutions ? units : Math.floor(units / edgesOfAPart));
    if (parts < 2) return [];
    const rates: number[] = [];
    let start = first;
    for (let index = from + 1; index <= to && rates.length < parts; index += 1) {
      const frame = frames[index];
      if (frame === undefined) break;
      const end = first.edges + Math.round(((rates.length + 1) * units) / parts) * unit;
      if (frame.edges < end) continue;
      if (frame.lastEdgeAt <= start.lastEdgeAt) return [];
      rates.push((frame.edges - start.edges) / (frame.lastEdgeAt - start.lastEdgeAt));
      start = frame;
    }
    return rates.length === parts ? rates : [];
  }
}

/**
 * Summarises the frames of a window, oldest first. The edge times are the controller's own (double chronometry:
 * whole edges over the time between the first and the last of them, as in API MPMS 4.6 and ISO 7278-3).
 */
export function summariseWindow(frames: readonly BenchFrame[], edgesPerRevolution: number, role: Point['role'] = 'measure'): WindowSummary | WindowFailure {
  const collector = new WindowCollector(edgesPerRevolution);
  for (const frame of frames) collector.add(frame);
  return role === 'zero' ? collector.summariseZero() : collector.summarise();
}

type Flow = Pick<WindowSummary, 'edges' | 'firstEdgeAt' | 'lastEdgeAt' | 'partRates'>;
type Whole = Pick<WindowSummary, 'from' | 'to' | 'frames' | 'missingFrames' | 'pulses'> & Spreads;

/** In the order of the archive. */
function withFlow(whole: Whole, { edges, firstEdgeAt, lastEdgeAt, partRates }: Flow): WindowSummary {
  const { from, to, frames, missingFrames, pulses, ...readings } = whole;
  return { from, to, frames, missingFrames, edges, firstEdgeAt, lastEdgeAt, partRates, pulses, ...readings };
}

/** What every window has, if its frames belong together. */
function wholeWindow(frames: readonly BenchFrame[]): Whole | WindowFailure {
  const [first] = frames;
  const last = frames[frames.length - 1];
  if (first === undefined || last === undefined || frames.length < 2) {
    return { failure: 'too-few-frames', text: `The window holds ${frames.length} telemetry frames; at least two are needed.` };
  }
  for (const frame of frames) {
    if (frame.bootId !== first.bootId) {
      return { failure: 'controller-reset', text: 'The controller was reset inside the window, so its counts do not belong together.' };
    }
    if (frame.burst.number !== first.burst.number) {
      return { failure: 'other-burst', text: 'Another pulse train began inside the window, so its counts do not belong together.' };
    }
  }
  return {
    from: first.at,
    to: last.at,
    frames: frames.length,
    missingFrames: last.number - first.number + 1 - frames.length,
    pulses: last.burst.done - first.burst.done,
    ...spreads(frames),
  };
}

const signalCount = frameSignals.length;
/** Of one frame, and of a window: taken up again for each. */
const reading = new Float64Array(signalCount);
const mean = new Float64Array(signalCount);
const squares = new Float64Array(signalCount);

/**
 * Two passes, so that a small scatter on a large mean is not lost, and all signals in each: frames are many, and each is fetched
 * twice in place of ten times. RUN-130, RUN-190
 */
function spreads(frames: readonly BenchFrame[]): Spreads {
  const n = frames.length;
  mean.fill(0);
  squares.fill(0);
  for (const frame of frames) {
    readInto(reading, frame);
    for (let i = 0; i < signalCount; i += 1) mean[i] = (mean[i] as number) + (reading[i] as number);
  }
  for (let i = 0; i < signalCount; i += 1) mean[i] = (mean[i] as number) / n;
  for (const frame of frames) {
    readInto(reading, frame);
    for (let i = 0; i < signalCount; i += 1) squares[i] = (squares[i] as number) + ((reading[i] as number) - (mean[i] as number)) ** 2;
  }
  const of: Record<string, Spread> = {};
  for (const signal of windowSignals) {
    const i = frameSignals.findIndex(({ id }) => id === signal.id);
    const spread = i < 0 ? furtherSpread(frames, signal) : { mean: mean[i] as number, sd: deviation(squares[i] as number, n) };
    if (spread !== null) of[signal.id] = spread;
  }
  return of as unknown as Spreads;
}

const deviation = (sumOfSquares: number, n: number): number => (n > 1 ? Math.sqrt(sumOfSquares / (n - 1)) : 0);

/** Over the frames that have it; null: none has. */
function furtherSpread(frames: readonly BenchFrame[], { id }: Signal): Spread | null {
  const found = frames.flatMap((frame) => readingOf(frame, id) ?? []);
  if (found.length === 0) return null;
  const of = found.reduce((sum, value) => sum + value, 0) / found.length;
  return { mean: of, sd: deviation(found.reduce((sum, value) => sum + (value - of) ** 2, 0), found.length) };
}
