import { createHash } from 'node:crypto';
import { inflateSync } from 'node:zlib';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { amperes, celsius, kelvins, microseconds, pascals, seconds, volts } from '../../app/quantities/quantity.ts';
import { decodeFrames, encodeFrames, maxFramesPerChunk } from './telemetry-chunk.ts';

const anyNumber = fc.oneof(fc.double(), fc.integer(), fc.maxSafeInteger(), fc.constantFrom(0, -0, Number.NaN, Infinity, 2 ** 50, 2 ** 53, -(2 ** 60)));
const plain = { noNullPrototype: true } as const;
const anyFault = fc.option(fc.record({ code: fc.string(), text: fc.string({ unit: 'binary' }) }, plain), { nil: null });

/** Nothing assumed but the types: a codec that rounds or reorders anything fails here. */
const anyFrame = (bootId: string): fc.Arbitrary<BenchFrame> =>
  fc.record(
    {
      at: anyNumber.map(seconds),
      number: anyNumber,
      bootId: fc.constant(bootId),
      supply: anyNumber.map(volts),
      current: anyNumber.map(amperes),
      pressure: anyNumber.map(pascals),
      railTemperature: anyNumber.map(kelvins),
      meterTemperature: anyNumber.map(kelvins),
      edges: anyNumber,
      lastEdgeAt: anyNumber.map(seconds),
      burst: fc.record({ number: anyNumber, active: fc.boolean(), commanded: anyNumber, done: anyNumber }, plain),
      armed: fc.boolean(),
      fault: anyFault,
      interlocks: anyNumber,
    },
    plain,
  );

/** Whole numbers in the units of the line, brought to SI in each way that a driver might. */
const wireFrame: fc.Arbitrary<BenchFrame> = fc
  .record({
    us: fc.nat(2 ** 40),
    number: fc.nat(),
    mv: fc.nat(20_000),
    ma: fc.integer({ min: -50, max: 30_000 }),
    pa: fc.integer({ min: -5000, max: 1_000_000 }),
    milliC: fc.integer({ min: -20_000, max: 90_000 }),
    edges: fc.nat(),
    divide: fc.boolean(),
  })
  .map((w) => ({
    at: w.divide ? seconds(w.us / 1e6) : microseconds(w.us),
    number: w.number,
    bootId: 'b',
    supply: w.divide ? volts(w.mv / 1e3) : volts(w.mv * 1e-3),
    current: w.divide ? amperes(w.ma / 1e3) : amperes(w.ma * 1e-3),
    pressure: pascals(w.pa),
    railTemperature: celsius(w.divide ? w.milliC / 1e3 : w.milliC * 1e-3),
    meterTemperature: celsius(w.divide ? w.milliC / 1e3 : w.milliC * 1e-3),
    edges: w.edges,
    lastEdgeAt: w.divide ? seconds(w.us / 1e6) : microseconds(w.us),
    burst: { number: 3, active: true, commanded: 1000, done: 7 },
    armed: true,
    fault: null,
    interlocks: 7,
  }));

const steadyFrames = (count: number): BenchFrame[] =>
  Array.from({ length: count }, (_, i) => ({
    at: seconds((i * 50_000) / 1e6),
    number: i,
    bootId: 'b',
    supply: volts(12_003 / 1e3),
    current: amperes(950 / 1e3),
    pressure: pascals(400_000 + (i % 7)),
    railTemperature: celsius(20.5),
    meterTemperature: celsius(20.4),
    edges: 12 * i,
    lastEdgeAt: seconds((i * 50_000 - 123) / 1e6),
    burst: { number: 3, active: true, commanded: 100_000, done: 2 * i },
    armed: true,
    fault: null,
    interlocks: 7,
  }));

describe('a chunk of telemetry', () => {
  it('gives back exactly the frames that went in, whatever they hold', () => {
    const frames = fc.string().chain((bootId) => fc.array(anyFrame(bootId), { minLength: 1, maxLength: 30 }));
    fc.assert(
      fc.property(frames, (given) => {
        expect(decodeFrames(encodeFrames(given))).toStrictEqual(given);
      }),
      { numRuns: 300 },
    );
  });

  it('gives back exactly what a controller can measure', () => {
    fc.assert(
      fc.property(fc.array(wireFrame, { minLength: 1, maxLength: 60 }), (given) => {
        expect(decodeFrames(encodeFrames(given))).toStrictEqual(given);
      }),
      { numRuns: 300 },
    );
  });

  it('holds as many frames as it may', () => {
    const frames = steadyFrames(maxFramesPerChunk);
    expect(decodeFrames(encodeFrames(frames))).toStrictEqual(frames);
  });

  it('RUN-192 is byte for byte what it was before there were further signals', () => {
    // Of what is deflated, so that another version of the library that deflates changes nothing; made by the program before.
    const inflated = inflateSync(encodeFrames(steadyFrames(40)));
    expect(createHash('sha256').update(inflated).digest('hex')).toBe('ab659f54e5513724d447f04750311271f69ceabee3435064acf4e3435cfb7717');
  });

  it('is small for steady measurements: a tenth of the same in JSON', () => {
    const frames = steadyFrames(40);
    expect(encodeFrames(frames).length).toBeLessThan(JSON.stringify(frames).length / 10);
  });

  it('is refused when it would be empty, too long or of two controller starts', () => {
    const [frame] = steadyFrames(1);
    if (frame === undefined) throw new Error('no frame');
    expect(() => encodeFrames([])).toThrow(RangeError);
    expect(() => encodeFrames(steadyFrames(maxFramesPerChunk + 1))).toThrow(RangeError);
    expect(() => encodeFrames([frame, { ...frame, bootId: 'c' }])).toThrow(RangeError);
  });

  it('is not read when any bit of it was turned', () => {
    const frames = steadyFrames(30);
    const block = encodeFrames(frames);
    fc.assert(
      fc.property(fc.nat(block.length * 8 - 1), (bit) => {
        const turned = Buffer.from(block);
        turned[bit >> 3] = (turned[bit >> 3] ?? 0) ^ (1 << (bit & 7));
        let read: BenchFrame[];
        try {
          read = decodeFrames(turned);
        } catch {
          return;
        }
        // A few bits of the container carry no meaning; then nothing may have changed.
        expect(read).toStrictEqual(frames);
      }),
      { numRuns: 500 },
    );
  });

  it('is not read when its end is missing', () => {
    const block = encodeFrames(steadyFrames(30));
    for (let length = 0; length < block.length; length += 1) {
      expect(() => decodeFrames(block.subarray(0, length))).toThrow();
    }
  });
});
