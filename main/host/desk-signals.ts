/**
 * What a run's bench read, over the time of day, as the least and the most of each of some hundred equal parts of a stretch (HOST-93): a strip of a run of any length
 * is drawn from as few numbers. The frames of a run are gone through once; what they come to by the second is kept, and what came since is added.
 */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { RunEvent } from '../../app/journal/events.ts';
import { seconds } from '../../app/quantities/quantity.ts';
import { kFactorAt } from '../../app/reduce/mass.ts';
import type { Archive } from '../archive/archive.ts';
import { openingOf } from '../archive/opening.ts';

const signals = ['pressure', 'temperature', 'supply', 'flow'] as const;
type Signal = (typeof signals)[number];

/** Least and most in a part; NaN: nothing was read. */
interface Extent {
  low: number;
  high: number;
}

/** A second of the controller's clock. */
interface Part {
  /** Controller clock, s. */
  readonly at: number;
  readonly extents: Readonly<Record<Signal, Extent>>;
}

/** A stretch of one controller's clock, which only goes forward inside it. */
interface Stretch {
  readonly bootId: string;
  readonly parts: Part[];
  lastAt: number;
  /** Controller clock, s, and time of day, ms: by events that came with a reading. Rises in both. */
  readonly marks: { readonly clock: number; readonly day: number }[];
}

interface Gathered {
  frames: number;
  events: number;
  readonly stretches: Stretch[];
  readonly meter: MeterFlow;
  equipment: Equipment | null;
  /** Frames a second, as the plan asks for them. */
  hertz: number;
}

/** The flow, from whole edges and the controller's time of them. */
class MeterFlow {
  #edges = 0;
  #edgeAt = Number.NaN;
  #flow = Number.NaN;

  /** mL/min at the meter; NaN: not known yet. A meter that tells no edge for two seconds stands. */
  take(frame: BenchFrame, fresh: boolean, equipment: Equipment | null): number {
    if (fresh) [this.#edges, this.#edgeAt, this.#flow] = [frame.edges, frame.lastEdgeAt, Number.NaN];
    else if (frame.edges > this.#edges && frame.lastEdgeAt - this.#edgeAt >= 0.5) {
      const rate = (frame.edges - this.#edges) / (frame.lastEdgeAt - this.#edgeAt);
      // An edge before the first one has no time.
      if (this.#edges > 0 && equipment !== null) this.#flow = (6e7 * rate) / kFactorAt(equipment.meter, rate);
      [this.#edges, this.#edgeAt] = [frame.edges, frame.lastEdgeAt];
    } else if (frame.at - frame.lastEdgeAt > 2) this.#flow = 0;
    return this.#flow;
  }
}

const emptyExtents = (): Record<Signal, Extent> => ({
  pressure: { low: Number.NaN, high: Number.NaN }, temperature: { low: Number.NaN, high: Number.NaN }, supply: { low: Number.NaN, high: Number.NaN }, flow: { low: Number.NaN, high: Number.NaN },
});

function widen(extent: Extent, low: number, high = low): void {
  if (Number.isNaN(low)) return;
  if (!(extent.low <= low)) extent.low = low;
  if (!(extent.high >= high)) extent.high = high;
}

const RUNS_KEPT = 3;
/** Frames are read again where a part would be shorter than what is kept. */
const PART_S = 1;
/** Of a stretch that is read frame by frame: about ten minutes of twenty a second. */
const MOST_FRAMES_AGAIN = 20_000;

export class RunSignals {
  readonly #gathered = new Map<string, Gathered>();

  read(archive: Archive, { id, from, to, parts }: ParsedParams<'run.signals'>): AnswerTo<'run.signals'> {
    const gathered = this.#upToDate(archive, id);
    const stretches = gathered.stretches.filter((s) => s.parts.length > 0);
    const [first, last] = [stretches[0], stretches.at(-1)];
    const whole = first === undefined || last === undefined ? null : { from: dayOf(first, first.parts[0]?.at ?? 0), to: dayOf(last, last.lastAt) };
    if (whole === null) return { whole, from: 0, to: 0, parts: [] };
    const begin = Math.max(from ?? whole.from, whole.from);
    const end = Math.max(Math.min(to ?? whole.to, whole.to), begin);
    const width = Math.max((end - begin) / parts, 1);
    const into = new Map<number, Record<Signal, Extent>>();
    const take = (day: number, extents: Readonly<Record<Signal, Extent>>): void => {
      if (day < begin || day > end) return;
      const index = Math.min(parts - 1, Math.floor((day - begin) / width));
      let there = into.get(index);
      if (there === undefined) into.set(index, (there = emptyExtents()));
      for (const signal of signals) widen(there[signal], extents[signal].low, extents[signal].high);
    };
    if (width >= PART_S * 1000 || !this.#again(archive, id, gathered, begin, end, take)) {
      for (const stretch of stretches) for (const part of stretch.parts) take(dayOf(stretch, part.at), part.extents);
    }
    const shown = [...into].toSorted(([a], [b]) => a - b);
    const pair = ({ low, high }: Extent): [number, number] | null => (Number.isNaN(low) ? null : [short(low), short(high)]);
    return { whole, from: begin, to: end, parts: shown.map(([index, e]) => ({ at: Math.round(begin + (index + 0.5) * width), pressure: pair(e.pressure), temperature: pair(e.temperature), supply: pair(e.supply), flow: pair(e.flow) })) };
  }

  /** Frame by frame; false: there are too many. */
  #again(archive: Archive, id: string, { stretches, equipment, hertz }: Gathered, begin: number, end: number, take: (day: number, extents: Readonly<Record<Signal, Extent>>) => void): boolean {
    // A little before, so that the flow is known where the stretch begins.
    const inside = stretches.filter((s) => dayOf(s, s.lastAt) >= begin && dayOf(s, s.parts[0]?.at ?? 0) <= end);
    const ranges = inside.map((s) => ({ stretch: s, from: clockOf(s, begin) - 5, to: clockOf(s, end) }));
    if (ranges.reduce((sum, { from, to }) => sum + Math.max(0, to - from) * hertz, 0) > MOST_FRAMES_AGAIN) return false;
    for (const { stretch, from, to } of ranges) {
      const meter = new MeterFlow();
      archive.telemetry(id, seconds(from), seconds(to), stretch.bootId).forEach((frame, i) => {
        const extents = emptyExtents();
        readingsInto(extents, frame, meter.take(frame, i === 0, equipment));
        take(dayOf(stretch, frame.at), extents);
      });
    }
    return true;
  }

  #upToDate(archive: Archive, id: string): Gathered {
    const known = this.#gathered.get(id) ?? { frames: 0, events: 0, stretches: [], meter: new MeterFlow(), equipment: null, hertz: Number.NaN };
    this.#gathered.delete(id);
    this.#gathered.set(id, known);
    for (const oldest of this.#gathered.keys()) {
      if (this.#gathered.size <= RUNS_KEPT) break;
      this.#gathered.delete(oldest);
    }
    if (known.equipment === null) {
      const opening = openingOf(archive, id);
      if (opening !== null) [known.equipment, known.hertz] = [opening.equipment, opening.plan.link.telemetryHz];
    }
    for (const { first, frames } of archive.telemetryChunks(id, (from, count) => from + count > known.frames)) {
      for (const frame of frames.slice(Math.max(0, known.frames - first))) gather(known, frame);
    }
    for (const event of archive.events(id, known.events)) {
      known.events = event.seq + 1;
      mark(known, event);
    }
    return known;
  }
}

const short = (value: number): number => Number(value.toPrecision(6));

function readingsInto(extents: Readonly<Record<Signal, Extent>>, frame: BenchFrame, flow: number): void {
  widen(extents.pressure, frame.pressure / 1e3);
  widen(extents.temperature, frame.railTemperature - 273.15);
  widen(extents.supply, frame.supply);
  widen(extents.flow, flow);
}

function gather(known: Gathered, frame: BenchFrame): void {
  let stretch = known.stretches.at(-1);
  const fresh = stretch?.bootId !== frame.bootId || frame.at < stretch.lastAt;
  if (stretch === undefined || fresh) {
    stretch = { bootId: frame.bootId, parts: [], lastAt: frame.at, marks: [] };
    known.stretches.push(stretch);
  }
  const at = Math.floor(frame.at / PART_S) * PART_S;
  let part = stretch.parts.at(-1);
  if (part?.at !== at) {
    part = { at, extents: emptyExtents() };
    stretch.parts.push(part);
  }
  readingsInto(part.extents, frame, known.meter.take(frame, fresh, known.equipment));
  stretch.lastAt = frame.at;
  known.frames += 1;
}

/** Events that came with a reading of the controller say which time of day its clock was at. */
function mark(known: Gathered, { at, body }: RunEvent): void {
  if (body.kind === 'attempt-ended' && body.window !== null) {
    const { from, to } = body.window;
    // An attempt is ended by a frame of the present stretch; a window of the one before ended with it.
    const stretch = known.stretches.findLast((s) => s.parts.length > 0 && (s.parts[0]?.at ?? 0) <= from && s.lastAt >= to && !(s.marks.at(-1) !== undefined && (s.marks.at(-1)?.clock ?? 0) >= to));
    stretch?.marks.push({ clock: to, day: at });
  } else if (body.kind === 'bench-connected' || body.kind === 'link-restored') {
    const stretch = known.stretches.find((s) => s.bootId === body.bootId && s.marks.length === 0);
    stretch?.marks.push({ clock: stretch.parts[0]?.at ?? 0, day: at });
  }
}

/** Time of day, ms, of an instant of a controller's clock: straight between marks, by the clock itself beyond them. */
const dayOf = (stretch: Stretch, clock: number): number => between(stretch, 'clock', 'day', clock, 1000);

/** The other way about. */
const clockOf = (stretch: Stretch, day: number): number => between(stretch, 'day', 'clock', day, 1 / 1000);

/** `perUnit`: how much of `to` passes beyond the marks while one of `from` does. */
function between({ marks, parts }: Stretch, from: 'clock' | 'day', to: 'clock' | 'day', at: number, perUnit: number): number {
  const after = marks.findIndex((m) => m[from] >= at);
  const [a, b] = after === -1 ? [marks.at(-1), undefined] : [marks[after - 1], marks[after]];
  if (a !== undefined && b !== undefined && b[from] > a[from]) return a[to] + ((at - a[from]) / (b[from] - a[from])) * (b[to] - a[to]);
  // Without a mark the first frame stands at the beginning of all time.
  const near = a ?? b ?? { clock: parts[0]?.at ?? 0, day: 0 };
  return near[to] + (at - near[from]) * perUnit;
}
