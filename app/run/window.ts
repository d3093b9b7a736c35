/** What a measuring window comes down to: enough to judge it and to reduce it, computed from its frames alone. */
import type { BenchFrame } from '../bench/port.ts';
import type { Point } from '../plan/points.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { frameSignals, furtherSignals, readingOf, readInto, spreadOf } from '../bench/readings.ts';
import type { Spread, Spreads } from '../bench/readings.ts';
import { seconds } from '../quantities/quantity.ts';

/** Why frames do not make a window. */
export interface WindowFailure {
  readonly failure: 'too-few-frames' | 'controller-reset' | 'other-burst' | 'no-flow';
  readonly text: string;
}

/** No more parts than this; a part is at least one revolution, or `edgesOfAPart` edges where revolutions are few. */
const maxParts = 10;
const minRevolutions = 4;
const edgesOfAPart = 4;

/** What a window keeps of a frame, in this order, and then its readings; by columns of plain numbers, because the frames themselves lie all over the memory. */
const [atColumn, edgesColumn, lastEdgeAtColumn, readingsColumn] = [0, 1, 2, 3] as const;
const rowLength = readingsColumn + frameSignals.length;
const rowsAtFirst = 256;

const noFurther = () => furtherSignals.map(({ id }) => ({ id, values: [] as number[] }));

/**
 * Gathers the frames of a window, one at a time and at constant cost, and says at any time how many edges its summary
 * would rest on. The first edge that counts is the first that fell inside the window, so that nothing of the settling
 * before it enters; first and last edge lie a whole number of meter revolutions apart, so that the meter's in-rotation
 * error cancels, unless that would give away more than half of the edges (RUN-50).
 */
export class WindowCollector {
  #rows = new Float64Array(rowsAtFirst * rowLength);
  #count = 0;
  #first: BenchFrame | null = null;
  #lastNumber = 0;
  #lastPulses = 0;
  /** Why frames do not belong together. */
  #apart: WindowFailure | null = null;
  #further = noFurther();
  readonly #edgesPerRevolution: number;
  /** For each place of a revolution: the first frame whose latest edge stood there. */
  readonly #firstAtPlace: Int32Array;
  #firstWithEdge = -1;
  #lastWithEdge = -1;
  #wholeFrom = -1;
  #wholeTo = -1;
  #wholeEdges = 0;

  /** `edgesPerRevolution` is a whole number of at least 1. */
  constructor(edgesPerRevolution: number) {
    this.#edgesPerRevolution = edgesPerRevolution;
    this.#firstAtPlace = new Int32Array(edgesPerRevolution).fill(-1);
  }

  /** The next window: what the collector has room for, it keeps. */
  begin(): this {
    this.#count = 0;
    this.#first = null;
    this.#apart = null;
    this.#further = noFurther();
    this.#firstAtPlace.fill(-1);
    this.#firstWithEdge = -1;
    this.#lastWithEdge = -1;
    this.#wholeFrom = -1;
    this.#wholeTo = -1;
    this.#wholeEdges = 0;
    return this;
  }

  add(frame: BenchFrame): void {
    const index = this.#count;
    this.#keep(frame, index);
    const { edges } = frame;
    if (edges <= (this.#rows[edgesColumn] as number)) return;
    if (this.#firstWithEdge < 0) this.#firstWithEdge = index;
    this.#lastWithEdge = index;
    const place = edges % this.#edgesPerRevolution;
    const from = this.#firstAtPlace[place] as number;
    if (from < 0) {
      this.#firstAtPlace[place] = index;
      return;
    }
    const whole = edges - this.#at(from, edgesColumn);
    if (whole > this.#wholeEdges) {
      this.#wholeEdges = whole;
      this.#wholeFrom = from;
      this.#wholeTo = index;
    }
  }

  #keep(frame: BenchFrame, index: number): void {
    const row = index * rowLength;
    if (row === this.#rows.length) {
      const longer = new Float64Array(2 * row);
      longer.set(this.#rows);
      this.#rows = longer;
    }
    const rows = this.#rows;
    rows[row + atColumn] = frame.at;
    rows[row + edgesColumn] = frame.edges;
    rows[row + lastEdgeAtColumn] = frame.lastEdgeAt;
    readInto(rows, frame, row + readingsColumn);
    for (const { id, values } of this.#further) {
      // By name, as in `readInto`: with every frame.
      const value = id === 'supplyInPulse' ? frame.supplyInPulse : readingOf(frame, id);
      if (value !== undefined) values.push(value);
    }
    this.#count = index + 1;
    this.#lastNumber = frame.number;
    this.#lastPulses = frame.burst.done;
    const first = (this.#first ??= frame);
    if (this.#apart === null && (frame.bootId !== first.bootId || frame.burst.number !== first.burst.number)) this.#apart = apart(frame, first);
  }

  #at(index: number, column: number): number {
    return this.#rows[index * rowLength + column] as number;
  }

  /** Controller time between the first and the newest frame. */
  get duration(): number {
    return this.#count === 0 ? 0 : this.#at(this.#count - 1, atColumn) - this.#at(0, atColumn);
  }

  /** Whether that is so much, s. */
  lasts(time: number): boolean {
    return this.#count > 0 && this.#at(this.#count - 1, atColumn) - this.#at(0, atColumn) >= time;
  }

  /** Edges that the summary of the frames so far would rest on. */
  get edges(): number {
    const all = this.#allEdges();
    return this.#usesRevolutions(all) ? this.#wholeEdges : all;
  }

  /** Whether the flow of its halves can be told (RUN-67): edges for two parts, and a frame of its own at the end of each part. */
  get tellsHalves(): boolean {
    const [from, to] = this.#ends();
    return this.#partRates(from, to).length > 0;
  }

  summarise(): WindowSummary | WindowFailure {
    const whole = this.#whole();
    if ('failure' in whole) return whole;
    const [from, to] = this.#ends();
    if (from < 0 || to < 0 || this.#at(to, lastEdgeAtColumn) <= this.#at(from, lastEdgeAtColumn)) {
      return { failure: 'no-flow', text: 'The meter gave fewer than two edges inside the window, so there is no flow to measure.' };
    }
    return withFlow(whole, {
      edges: this.#at(to, edgesColumn) - this.#at(from, edgesColumn),
      firstEdgeAt: seconds(this.#at(from, lastEdgeAtColumn)),
      lastEdgeAt: seconds(this.#at(to, lastEdgeAtColumn)),
      partRates: this.#partRates(from, to),
    });
  }

  /**
   * The window of a zero point (RUN-103): edges counted between the first and the last frame, of which there may be none, and
   * the times of the first and the last of them (both the beginning of the window where there are none). `partRates`: edges
   * counted in the two halves over the time of each, Hz.
   */
  summariseZero(): WindowSummary | WindowFailure {
    const whole = this.#whole();
    if ('failure' in whole) return whole;
    const last = this.#count - 1;
    let middle = 0;
    while (middle < last && this.#at(middle, atColumn) - whole.from < (whole.to - whole.from) / 2) middle += 1;
    const rate = (from: number, to: number): number => {
      const time = this.#at(to, atColumn) - this.#at(from, atColumn);
      return time > 0 ? (this.#at(to, edgesColumn) - this.#at(from, edgesColumn)) / time : 0;
    };
    const edges = this.#at(last, edgesColumn) - this.#at(0, edgesColumn);
    return withFlow(whole, {
      edges,
      firstEdgeAt: edges > 0 && this.#firstWithEdge >= 0 ? seconds(this.#at(this.#firstWithEdge, lastEdgeAtColumn)) : whole.from,
      lastEdgeAt: edges > 0 ? seconds(this.#at(last, lastEdgeAtColumn)) : whole.from,
      partRates: [rate(0, middle), rate(middle, last)],
    });
  }

  /** What every window has, if its frames belong together. */
  #whole(): Whole | WindowFailure {
    const first = this.#first;
    const n = this.#count;
    if (first === null || n < 2) return { failure: 'too-few-frames', text: `The window holds ${n} telemetry frames; at least two are needed.` };
    if (this.#apart !== null) return this.#apart;
    return {
      from: first.at,
      to: seconds(this.#at(n - 1, atColumn)),
      frames: n,
      missingFrames: this.#lastNumber - first.number + 1 - n,
      pulses: this.#lastPulses - first.burst.done,
      readings: this.#spreads(),
    };
  }

  /** Two passes over the columns, so that a small scatter on a large mean is not lost. RUN-130, RUN-190 */
  #spreads(): Spreads {
    const n = this.#count;
    const rows = this.#rows.subarray(0, n * rowLength);
    const means = sumsOfReadings(rows).map((sum) => sum / n);
    const squares = squaresAround(rows, means);
    const spread = (column: number) => ({ mean: means[column] as number, sd: deviation(squares[column] as number, n) });
    // By name, as in `readInto`, in the order of `windowSignals`.
    const spreads = { pressure: spread(2), supply: spread(0), current: spread(1), railTemperature: spread(3), meterTemperature: spread(4) };
    for (const { id, values } of this.#further) {
      const of = spreadOfValues(values);
      if (of !== null) (spreads as Record<string, Spread>)[id] = of;
    }
    return spreads as Spreads;
  }

  #allEdges(): number {
    return this.#firstWithEdge < 0 ? 0 : this.#at(this.#lastWithEdge, edgesColumn) - this.#at(this.#firstWithEdge, edgesColumn);
  }

  /** The frames between which the flow is taken, -1 where there is none: whole revolutions apart unless that gives away too much (RUN-50). */
  #ends(): readonly [from: number, to: number] {
    return this.#usesRevolutions(this.#allEdges()) ? [this.#wholeFrom, this.#wholeTo] : [this.#firstWithEdge, this.#lastWithEdge];
  }

  #usesRevolutions(all: number): boolean {
    return this.#wholeEdges > 0 && 2 * this.#wholeEdges >= all;
  }

  /** Rates of parts that are equal to within one revolution (or edge), between the frames `from` and `to` (RUN-51). */
  #partRates(from: number, to: number): readonly number[] {
    const first = this.#at(from, edgesColumn);
    const edges = this.#at(to, edgesColumn) - first;
    const revolutions = edges / this.#edgesPerRevolution;
    const byRevolutions = Number.isInteger(revolutions) && revolutions >= minRevolutions;
    const unit = byRevolutions ? this.#edgesPerRevolution : 1;
    const units = edges / unit;
    const parts = Math.min(maxParts, byRevolutions ? units : Math.floor(units / edgesOfAPart));
    if (parts < 2) return [];
    const rates: number[] = [];
    const endOf = (part: number): number => first + Math.round((part * units) / parts) * unit;
    let start = from;
    let end = endOf(1);
    for (let index = from + 1; index <= to && rates.length < parts; index += 1) {
      if (this.#at(index, edgesColumn) < end) continue;
      const time = this.#at(index, lastEdgeAtColumn) - this.#at(start, lastEdgeAtColumn);
      if (time <= 0) return [];
      rates.push((this.#at(index, edgesColumn) - this.#at(start, edgesColumn)) / time);
      start = index;
      end = endOf(rates.length + 1);
    }
    return rates.length === parts ? rates : [];
  }
}

/*
 * The sums of the five readings side by side: one after the other, each addition would wait for the one before it. The order of the
 * frames within each sum is theirs, and with it every digit of what is stored.
 */
function sumsOfReadings(rows: Float64Array): readonly number[] {
  let [a, b, c, d, e] = [0, 0, 0, 0, 0];
  for (let at = readingsColumn; at < rows.length; at += rowLength) {
    a += rows[at] as number;
    b += rows[at + 1] as number;
    c += rows[at + 2] as number;
    d += rows[at + 3] as number;
    e += rows[at + 4] as number;
  }
  return [a, b, c, d, e];
}

function squaresAround(rows: Float64Array, means: readonly number[]): readonly number[] {
  const [p, q, r, s, t] = means as readonly [number, number, number, number, number];
  let [a, b, c, d, e] = [0, 0, 0, 0, 0];
  for (let at = readingsColumn; at < rows.length; at += rowLength) {
    a += ((rows[at] as number) - p) ** 2;
    b += ((rows[at + 1] as number) - q) ** 2;
    c += ((rows[at + 2] as number) - r) ** 2;
    d += ((rows[at + 3] as number) - s) ** 2;
    e += ((rows[at + 4] as number) - t) ** 2;
  }
  return [a, b, c, d, e];
}

function apart(frame: BenchFrame, first: BenchFrame): WindowFailure {
  return frame.bootId !== first.bootId
    ? { failure: 'controller-reset', text: 'The controller was reset inside the window, so its counts do not belong together.' }
    : { failure: 'other-burst', text: 'Another pulse train began inside the window, so its counts do not belong together.' };
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
type Whole = Pick<WindowSummary, 'from' | 'to' | 'frames' | 'missingFrames' | 'pulses'> & { readonly readings: Spreads };

/** In the order of the archive. By name: to copy whatever there is costs as much as ten frames. */
function withFlow({ from, to, frames, missingFrames, pulses, readings }: Whole, { edges, firstEdgeAt, lastEdgeAt, partRates }: Flow): WindowSummary {
  const { pressure, supply, current, railTemperature, meterTemperature } = readings as Required<Spreads>;
  const window: WindowSummary = { from, to, frames, missingFrames, edges, firstEdgeAt, lastEdgeAt, partRates, pulses, pressure, supply, current, railTemperature, meterTemperature };
  for (const { id } of furtherSignals) {
    const of = spreadOf(readings, id);
    if (of !== undefined) (window as unknown as Record<string, Spread>)[id] = of;
  }
  return window;
}

const deviation = (sumOfSquares: number, n: number): number => (n > 1 ? Math.sqrt(sumOfSquares / (n - 1)) : 0);

/** Of the frames that have it; null: none has. */
function spreadOfValues(values: readonly number[]): Spread | null {
  if (values.length === 0) return null;
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  return { mean, sd: deviation(values.reduce((sum, value) => sum + (value - mean) ** 2, 0), values.length) };
}
