/**
 * Telemetry in chunks: frames of one controller start, column by column, as differences, deflated with a checksum
 * (RFC 1950). What is read back equals what was written, bit for bit, because a window must come out the same when it is
 * computed again.
 *
 * Inside the deflated block: version, number of frames, length and UTF-8 of a JSON head (boot id, distinct faults),
 * then the columns: those of every frame at, number, the signals of LINE-41, `plainColumns` and the fault, then the further signals that the head names (format 2; a
 * chunk without any has format 1 and names none). A column starts with the index of its scale. Measured values are whole
 * numbers on the wire (millivolts, microseconds), so nearly every column is whole numbers times a scale; a scale is
 * used only where it gives back every value of the column exactly, and otherwise the column holds the doubles.
 */
import { constants, deflateSync, inflateSync } from 'node:zlib';
import type { BenchFault, BenchFrame } from '../../app/bench/port.ts';
import { frameSignals, furtherSignals, readingOf, readingsAt } from '../../app/bench/readings.ts';
import type { SignalId } from '../../app/bench/readings.ts';
import { seconds } from '../../app/quantities/quantity.ts';

/** Without and with further signals. */
const formatVersion = 1;
const furtherVersion = 2;

/** Frames in one chunk at most; bounds the memory that reading one takes. */
export const maxFramesPerChunk = 4096;
const maxInflatedBytes = 4 << 20;

/** Whole numbers beyond this are stored as doubles: differences and their zigzag must stay exact. */
const maxWhole = 2 ** 50;

/** whole = (value - zero) * perUnit, and back by division or, which rounds otherwise, by multiplication. */
interface Scale {
  readonly perUnit: number;
  readonly zero: number;
  readonly back: 'divide' | 'multiply';
}

/** The index is part of the format: add at the end, never change. One formula for all: a column is tried with one after the other, value by value. */
const scales: readonly Scale[] = [
  { perUnit: 1, zero: 0, back: 'multiply' },
  { perUnit: 1e3, zero: 0, back: 'multiply' },
  { perUnit: 1e3, zero: 0, back: 'divide' },
  { perUnit: 1e6, zero: 0, back: 'multiply' },
  { perUnit: 1e6, zero: 0, back: 'divide' },
  { perUnit: 1e3, zero: 273.15, back: 'divide' },
  { perUnit: 1e3, zero: 273.15, back: 'multiply' },
];

/** Values of a column from whole numbers of a scale. */
function scaled(wholes: Float64Array, { perUnit, zero, back }: Scale): number[] {
  const values: number[] = [];
  const unit = 1 / perUnit;
  for (const whole of wholes) values.push((back === 'divide' ? whole / perUnit : whole * unit) + zero);
  return values;
}

const asDoubles = 255;

const plain = {
  edges: (f) => f.edges,
  lastEdgeAt: (f) => f.lastEdgeAt,
  interlocks: (f) => f.interlocks,
  burstNumber: (f) => f.burst.number,
  commanded: (f) => f.burst.commanded,
  done: (f) => f.burst.done,
  flags: (f) => (f.burst.active ? 1 : 0) + (f.armed ? 2 : 0),
} satisfies Record<string, (frame: BenchFrame) => number>;
type PlainColumn = keyof typeof plain;
const plainColumns = Object.keys(plain) as readonly PlainColumn[];

class ByteWriter {
  #bytes = Buffer.allocUnsafe(4096);
  #length = 0;

  #room(more: number): void {
    if (this.#length + more <= this.#bytes.length) return;
    const grown = Buffer.allocUnsafe(2 * (this.#length + more));
    this.#bytes.copy(grown, 0, 0, this.#length);
    this.#bytes = grown;
  }

  byte(value: number): void {
    this.#room(1);
    this.#bytes[this.#length++] = value;
  }

  /** LEB128; `value` is whole, not negative and at most 2^53 - 1. */
  varint(value: number): void {
    this.#room(8);
    let rest = value;
    while (rest >= 0x80) {
      this.#bytes[this.#length++] = (rest % 0x80) | 0x80;
      rest = Math.floor(rest / 0x80);
    }
    this.#bytes[this.#length++] = rest;
  }

  bytes(block: Uint8Array): void {
    this.#room(block.length);
    this.#bytes.set(block, this.#length);
    this.#length += block.length;
  }

  /** What was written since the last `begin`; to be used before the next. */
  done(): Buffer {
    return this.#bytes.subarray(0, this.#length);
  }

  begin(): this {
    this.#length = 0;
    return this;
  }
}

/** A commit may have one chunk of few frames: these are taken up again for each. */
const columnsWriter = new ByteWriter();
const blockWriter = new ByteWriter();

class ByteReader {
  readonly #bytes: Buffer;
  #position = 0;

  constructor(bytes: Buffer) {
    this.#bytes = bytes;
  }

  byte(): number {
    const value = this.#bytes[this.#position++];
    if (value === undefined) throw new RangeError('the chunk ends too early');
    return value;
  }

  varint(): number {
    let value = 0;
    let weight = 1;
    for (;;) {
      const byte = this.byte();
      value += (byte & 0x7f) * weight;
      if (byte < 0x80) return value;
      weight *= 0x80;
      if (weight > 2 ** 49) throw new RangeError('a number in the chunk is too long');
    }
  }

  /** The whole numbers of a column, from their differences. */
  wholes(count: number): Float64Array {
    const found = new Float64Array(count);
    const bytes = this.#bytes;
    let whole = 0;
    for (let i = 0; i < count; i += 1) {
      const byte = bytes[this.#position] ?? 0x80;
      let step = byte;
      // Nearly every difference fits into one byte.
      if (byte < 0x80) this.#position += 1;
      else step = this.varint();
      whole += step % 2 === 0 ? step / 2 : -(step + 1) / 2;
      found[i] = whole;
    }
    return found;
  }

  bytes(length: number): Buffer {
    const end = this.#position + length;
    if (end > this.#bytes.length) throw new RangeError('the chunk ends too early');
    const block = this.#bytes.subarray(this.#position, end);
    this.#position = end;
    return block;
  }

  get atEnd(): boolean {
    return this.#position === this.#bytes.length;
  }
}

/** Of the column that is written: taken up again for each. */
const found = new Float64Array(maxFramesPerChunk);

/** Whether `scale` turns whole numbers back into exactly `values`; they are left in `found`. */
function fits(values: readonly number[], { perUnit, zero, back }: Scale): boolean {
  const unit = 1 / perUnit;
  for (let i = 0; i < values.length; i += 1) {
    const value = values[i] as number;
    // Adding zero makes a negative zero positive, so that a column with one is found out and stored as doubles.
    const whole = Math.round((value - zero) * perUnit) + 0;
    if (!(Math.abs(whole) <= maxWhole) || !Object.is((back === 'divide' ? whole / perUnit : whole * unit) + zero, value)) return false;
    found[i] = whole;
  }
  return true;
}

function writeColumn(out: ByteWriter, values: readonly number[]): void {
  for (const [index, scale] of scales.entries()) {
    if (!fits(values, scale)) continue;
    out.byte(index);
    let previous = 0;
    for (let i = 0; i < values.length; i += 1) {
      const whole = found[i] as number;
      const step = whole - previous;
      out.varint(step >= 0 ? 2 * step : -2 * step - 1);
      previous = whole;
    }
    return;
  }
  // Bytes of equal weight beside each other: the upper ones hardly change and deflate well.
  out.byte(asDoubles);
  const doubles = Buffer.from(Float64Array.from(values).buffer);
  for (let plane = 0; plane < 8; plane += 1) {
    for (let i = plane; i < doubles.length; i += 8) out.byte(doubles[i] ?? 0);
  }
}

function readColumn(from: ByteReader, count: number): number[] {
  const index = from.byte();
  if (index === asDoubles) {
    const planes = from.bytes(8 * count);
    const doubles = Buffer.alloc(8 * count);
    for (let i = 0; i < planes.length; i += 1) doubles[(i % count) * 8 + Math.floor(i / count)] = planes[i] ?? 0;
    return Array.from({ length: count }, (_, i) => doubles.readDoubleLE(8 * i));
  }
  const scale = scales[index];
  if (scale === undefined) throw new RangeError(`the chunk uses scale ${index}, which is not known`);
  return scaled(from.wholes(count), scale);
}

/**
 * Frames of one boot id as one block. Throws RangeError when there are none, more than `maxFramesPerChunk`, or frames of
 * several boots: the caller splits.
 */
export function encodeFrames(frames: readonly BenchFrame[]): Buffer {
  const bootId = frames[0]?.bootId;
  if (bootId === undefined || frames.length > maxFramesPerChunk || frames.some((f) => f.bootId !== bootId)) {
    throw new RangeError(`a chunk holds 1 to ${maxFramesPerChunk} frames of one boot`);
  }
  const faults: BenchFault[] = [];
  const faultNumbers = new Map<string, number>();
  const faultNumber = (fault: BenchFault | null): number => {
    if (fault === null) return 0;
    const key = JSON.stringify([fault.code, fault.text]);
    let number = faultNumbers.get(key);
    if (number === undefined) {
      faults.push({ code: fault.code, text: fault.text });
      number = faults.length;
      faultNumbers.set(key, number);
    }
    return number;
  };
  const body = columnsWriter.begin();
  writeColumn(body, frames.map((f) => f.at));
  writeColumn(body, frames.map((f) => f.number));
  for (const { id } of frameSignals) writeColumn(body, readingsOf(frames, id));
  for (const column of plainColumns) writeColumn(body, frames.map(plain[column]));
  writeColumn(body, frames.map((f) => faultNumber(f.fault)));
  const further = furtherSignals.filter(({ id }) => frames.some((f) => readingOf(f, id) !== undefined)).map(({ id }) => id);
  for (const id of further) writeColumn(body, readingsOf(frames, id));
  const head = Buffer.from(JSON.stringify({ bootId, faults, ...(further.length === 0 ? {} : { signals: further }) }), 'utf8');
  const out = blockWriter.begin();
  out.byte(further.length === 0 ? formatVersion : furtherVersion);
  out.varint(frames.length);
  out.varint(head.length);
  out.bytes(head);
  out.bytes(body.done());
  return deflateSync(out.done(), { level: constants.Z_BEST_SPEED, windowBits: 13, memLevel: 6 });
}

/** NaN where a frame has none. */
const readingsOf = (frames: readonly BenchFrame[], id: SignalId): number[] => frames.map((frame) => readingOf(frame, id) ?? Number.NaN);

/** The frames of a block made by `encodeFrames`. Throws when the block is damaged. */
// eslint-disable-next-line complexity -- reads one format from front to back; its fields follow each other
export function decodeFrames(block: Uint8Array): BenchFrame[] {
  const from = new ByteReader(inflateSync(block, { maxOutputLength: maxInflatedBytes }));
  const version = from.byte();
  if (version !== formatVersion && version !== furtherVersion) throw new RangeError(`the chunk has format ${version}, this program reads ${formatVersion} and ${furtherVersion}`);
  const count = from.varint();
  if (count === 0 || count > maxFramesPerChunk) throw new RangeError(`the chunk claims ${count} frames`);
  const head = JSON.parse(from.bytes(from.varint()).toString('utf8')) as { bootId: string; faults: BenchFault[]; signals?: string[] };
  const at = readColumn(from, count);
  const number = readColumn(from, count);
  const readings = frameSignals.map(() => readColumn(from, count));
  const read = {} as Record<PlainColumn, number[]>;
  for (const column of plainColumns) read[column] = readColumn(from, count);
  const faultNumbers = readColumn(from, count);
  // A signal that this version does not know is passed over.
  const further = (head.signals ?? []).map((id) => ({ id, column: readColumn(from, count) })).filter(({ id }) => furtherSignals.some((signal) => signal.id === id));
  if (!from.atEnd) throw new RangeError('the chunk has bytes left over');
  const { edges, lastEdgeAt, burstNumber, commanded, done, interlocks } = read;
  const frames: BenchFrame[] = [];
  for (let i = 0; i < count; i += 1) {
    const flags = read.flags[i] ?? Number.NaN;
    const frame: BenchFrame = {
      at: seconds(at[i] ?? Number.NaN),
      number: number[i] ?? Number.NaN,
      bootId: head.bootId,
      ...readingsAt(readings, i),
      edges: edges[i] ?? Number.NaN,
      lastEdgeAt: seconds(lastEdgeAt[i] ?? Number.NaN),
      burst: {
        number: burstNumber[i] ?? Number.NaN,
        active: flags % 2 === 1,
        commanded: commanded[i] ?? Number.NaN,
        done: done[i] ?? Number.NaN,
      },
      armed: flags >= 2,
      fault: head.faults[(faultNumbers[i] ?? Number.NaN) - 1] ?? null,
      interlocks: interlocks[i] ?? Number.NaN,
    };
    for (const { id, column } of further) {
      const reading = column[i] ?? Number.NaN;
      if (!Number.isNaN(reading)) (frame as unknown as Record<string, unknown>)[id] = reading;
    }
    frames.push(frame);
  }
  return frames;
}
