import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { I32, LONGEST_TO_CONTROLLER, LONGEST_TO_HOST, sealLine, U16, U32, U48 } from './codec.ts';
import { crc16 } from './crc16.ts';
import {
  decodeFromController, decodeFromHost, encodeRefusal, encodeReply, encodeRequest, encodeTelemetry, INPUTS, type Refusal, type Reply,
  type Request, type Telemetry,
} from './messages.ts';

const seq = fc.nat(U16);
const u16 = fc.nat(U16);
const u32 = fc.nat(U32);
const u48 = fc.maxSafeNat().map((n) => n % (U48 + 1));
const i32 = fc.integer({ min: -I32, max: I32 });
const letters = 'abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.-_';
const name = (longest: number) => fc.string({ unit: fc.constantFrom(...letters.split('')), minLength: 1, maxLength: longest });
const plainName = (longest: number) => name(longest).filter((n) => n !== 'none');
const text = fc
  .string({ unit: fc.integer({ min: 32, max: 126 }).map((c) => String.fromCharCode(c)), minLength: 1, maxLength: 120 })
  .filter((t) => t.trim() === t);

const request: fc.Arbitrary<Request> = fc.oneof(
  fc.record({ word: fc.constant('hello'), token: name(16) }),
  fc.record({ word: fc.constant('describe'), topic: fc.constantFrom('timing', 'supply', 'pressure', 'safety', 'extensions', 'rail', 'watch', 'health', 'calibration') }),
  fc.record({ word: fc.constantFrom('alive', 'arm', 'safe', 'halt', 'clear', 'rail', 'keep-pressure', 'echo') }),
  fc.record({ word: fc.constant('signals'), names: fc.array(plainName(8), { maxLength: 9 }) }),
  fc.record({ word: fc.constant('calibrate'), input: fc.constantFrom(...INPUTS), zero: i32, full: i32 }),
  fc.record({ word: fc.constant('pump'), on: fc.boolean() }),
  fc.record({ word: fc.constant('shut-off'), shut: fc.boolean() }),
  fc.record({ word: fc.constant('deadman'), ms: u32 }),
  fc.record({ word: fc.constant('telemetry'), hz: u32 }),
  fc.record({ word: fc.constant('supply'), mv: u32 }),
  fc.record({ word: fc.constant('pressure'), pa: u32 }),
  fc.record({ word: fc.constant('burst'), channel: u32, widthNs: u32, periodUs: u32, count: u32 }),
);

const one = fc.integer({ min: 1, max: U32 });
const scale = fc.record({ zero: i32, full: i32 });
const oneTo16 = fc.integer({ min: 1, max: U16 });
const reply: fc.Arbitrary<Reply> = fc.oneof(
  fc.record({
    word: fc.constant('hello'), token: name(16), protocol: u16, model: name(24), serial: name(24), firmware: name(24), boot: name(8),
    channels: oneTo16,
  }),
  fc.record({
    word: fc.constant('describe'), topic: fc.constant('timing'), tickNs: one, minWidthNs: u32, maxWidthNs: u32, minPeriodUs: u32,
    maxPeriodUs: u32, maxCount: u32,
  }),
  fc.record({ word: fc.constant('describe'), topic: fc.constant('supply'), minMv: u32, maxMv: u32, safeMv: u32 }),
  fc.record({ word: fc.constant('describe'), topic: fc.constant('pressure'), commandable: fc.boolean(), minPa: u32, maxPa: u32 }),
  fc.record({
    word: fc.constant('describe'), topic: fc.constant('safety'), deadmanMinMs: u32, deadmanMaxMs: u32, telemetryMaxHz: oneTo16,
    tripMa: u32, tripPa: u32, tripMilliC: u32, interlocks: fc.array(plainName(23), { maxLength: 5 }),
  }),
  fc.record({ word: fc.constant('describe'), topic: fc.constant('extensions'), extensions: fc.array(plainName(23), { maxLength: 5 }) }),
  fc.record({ word: fc.constant('describe'), topic: fc.constant('rail'), pump: fc.boolean(), relief: fc.boolean(), shutOff: fc.boolean() }),
  fc.record({ word: fc.constant('rail'), pumping: fc.boolean(), relieved: fc.boolean(), shut: fc.boolean(), keeping: fc.boolean() }),
  fc.record({
    word: fc.constant('describe'), topic: fc.constant('watch'), idleMa: u32, idleEdges: u32, idleMs: u32, frozenMs: u32, sensorLowPermille: fc.nat(1_000),
    sensorHighPermille: fc.nat(1_000), meterMaxHz: one,
  }),
  fc.record({ word: fc.constant('describe'), topic: fc.constant('health'), badLines: u32, byteErrors: u32, starts: u32, cause: name(24), stackFree: u32 }),
  fc.record({
    word: fc.constant('describe'), topic: fc.constant('calibration'), stored: fc.boolean(),
    scales: fc.record({ supply: scale, current: scale, pressure: scale, rail: scale, meter: scale }),
  }),
  fc.record({ word: fc.constant('echo'), number: u32, channel: u32, widthNs: u32, periodUs: u32, count: u32 }),
  fc.record({ word: fc.constant('burst'), number: one, widthNs: u32 }),
  fc.record({ word: fc.constant('signals'), names: fc.array(plainName(8), { maxLength: 9 }) }),
  fc.record({
    word: fc.constantFrom('alive', 'deadman', 'telemetry', 'arm', 'safe', 'supply', 'pressure', 'halt', 'clear', 'pump', 'shut-off', 'keep-pressure', 'calibrate'),
  }),
);

const refusal: fc.Arbitrary<Refusal> = fc.record({
  word: fc.constantFrom('hello', 'burst', 'supply', 'unknown', 'clear'),
  code: name(24),
  text,
});

const telemetry: fc.Arbitrary<Telemetry> = fc.record({
  atUs: u48, frame: u48, boot: name(8), supplyMv: i32, currentMa: i32, pressurePa: i32, railMilliC: i32, meterMilliC: i32, edges: u48,
  lastEdgeUs: u48, burst: u32, active: fc.boolean(), commanded: u32, done: u32, armed: fc.boolean(),
  fault: fc.oneof(fc.constant(''), plainName(24)), interlocks: u16,
});

/** Takes the LF off, after making sure that it is there and nothing else is outside printable ASCII. */
function bare(line: string): string {
  expect(line).toMatch(/^[ -~]+\n$/);
  return line.slice(0, -1);
}

/** The same body with a checksum that fits. */
function resealed(line: string, change: (body: string) => string): string {
  return bare(sealLine(change(line.slice(0, -7))));
}

describe('messages', () => {
  it('LINE-20 LINE-3 every request comes out as it went in, in 120 bytes', () => {
    fc.assert(
      fc.property(seq, request, (n, r) => {
        const line = encodeRequest(n, r);
        expect(line.length).toBeLessThanOrEqual(LONGEST_TO_CONTROLLER);
        expect(decodeFromHost(bare(line))).toEqual({ kind: 'request', seq: n, request: r });
      }),
    );
  });

  it('LINE-20 LINE-3 every reply comes out as it went in, in 360 bytes', () => {
    fc.assert(
      fc.property(seq, reply, (n, r) => {
        const line = encodeReply(n, r);
        expect(line.length).toBeLessThanOrEqual(LONGEST_TO_HOST);
        expect(decodeFromController(bare(line))).toEqual({ kind: 'reply', seq: n, reply: r });
      }),
    );
  });

  it('LINE-22 LINE-8 every refusal comes out as it went in', () => {
    fc.assert(
      fc.property(seq, refusal, (n, r) => {
        const line = encodeRefusal(n, r);
        expect(line.length).toBeLessThanOrEqual(LONGEST_TO_HOST);
        expect(decodeFromController(bare(line))).toEqual({ kind: 'refusal', seq: n, refusal: r });
      }),
    );
  });

  it('LINE-40 LINE-41 every frame comes out as it went in', () => {
    fc.assert(
      fc.property(telemetry, (t) => {
        expect(decodeFromController(bare(encodeTelemetry(t)))).toEqual({ kind: 'telemetry', seq: t.frame % 65_536, telemetry: t });
      }),
    );
  });

  it('LINE-3 a frame with every field at its longest keeps the bound', () => {
    const longest: Telemetry = {
      atUs: U48, frame: U48, boot: 'ffffffff', supplyMv: -I32, currentMa: -I32, pressurePa: -I32, railMilliC: -I32, meterMilliC: -I32,
      edges: U48, lastEdgeUs: U48, burst: U32, active: true, commanded: U32, done: U32, armed: true, fault: 'f'.repeat(24), interlocks: U16,
    };
    expect(encodeTelemetry(longest).length).toBeLessThanOrEqual(LONGEST_TO_HOST);
    expect(() => encodeTelemetry({ ...longest, atUs: U48 + 1 })).toThrow(RangeError);
    expect(() => encodeTelemetry({ ...longest, supplyMv: Number.NaN })).toThrow(RangeError);
  });

  it('LINE-40 a sequence number that is not the frame number modulo 65536 makes the line bad', () => {
    fc.assert(
      fc.property(telemetry, seq, (t, n) => {
        fc.pre(t.frame % 65_536 !== n);
        const line = resealed(encodeTelemetry(t), (body) => body.replace(/^\. \d+/, `. ${n}`));
        expect(decodeFromController(line)).toEqual({ kind: 'bad', why: 'form' });
      }),
    );
  });

  it('LINE-10 fields missing, doubled, swapped or added are not taken', () => {
    fc.assert(
      fc.property(seq, fc.oneof(reply.map((r) => encodeReply(1, r)), telemetry.map(encodeTelemetry), request.map((r) => encodeRequest(1, r))), (n, line) => {
        const kind = (changed: string) => (line.startsWith('?') ? decodeFromHost(changed) : decodeFromController(changed)).kind;
        const fields = line.slice(0, -7).split(' ').slice(2);
        const pick = fields[n % fields.length] ?? '';
        const variants = [
          (b: string) => `${b} extra=1`,
          (b: string) => `${b} `,
          (b: string) => `${b} ${pick}`,
          (b: string) => b.replace(` ${pick}`, ''),
          (b: string) => b.replace(` ${pick}`, `  ${pick}`),
        ];
        for (const variant of variants) expect(['bad', 'unfit']).toContain(kind(resealed(line, variant)));
      }),
    );
  });

  it('LINE-20 a whole line with an unknown word or other fields is unfit, with its number and word', () => {
    const unfit = (body: string) => decodeFromHost(bare(sealLine(body)));
    expect(unfit('? 9 dance')).toEqual({ kind: 'unfit', seq: 9, word: 'unknown', code: 'unknown' });
    expect(unfit('? 9 ')).toEqual({ kind: 'unfit', seq: 9, word: 'unknown', code: 'unknown' });
    expect(unfit('? 9')).toEqual({ kind: 'unfit', seq: 9, word: 'unknown', code: 'unknown' });
    expect(unfit('? 9 deadman ms=01')).toEqual({ kind: 'unfit', seq: 9, word: 'deadman', code: 'form' });
    expect(unfit('? 9 describe topic=weather')).toEqual({ kind: 'unfit', seq: 9, word: 'describe', code: 'form' });
  });

  it('LINE-9 what has no request mark or no canonical number is bad', () => {
    for (const body of ['= 9 alive', '. 9 alive', '! 9 alive', 'alive', '? alive', '? 65536 alive', '? 09 alive', '? -1 alive', '?9 alive', '']) {
      expect(decodeFromHost(bare(sealLine(body))), body).toEqual({ kind: 'bad', why: 'form' });
    }
    expect(decodeFromController(bare(encodeRequest(1, { word: 'alive' })))).toEqual({ kind: 'bad', why: 'form' });
  });

  it('LINE-6 no damaged line is taken, unless the damage made another line with a right checksum', () => {
    const lines = fc.oneof(
      request.map((r) => encodeRequest(7, r)), reply.map((r) => encodeReply(7, r)), refusal.map((r) => encodeRefusal(7, r)), telemetry.map(encodeTelemetry),
    );
    const damage = fc.array(fc.tuple(fc.constantFrom('change', 'drop', 'add', 'cut'), fc.nat(400), fc.nat(255)), { minLength: 1, maxLength: 4 });
    fc.assert(
      fc.property(lines, damage, (line, steps) => {
        let text = line.slice(0, -1);
        for (const [kind, where, byte] of steps) {
          const at = where % (text.length + 1);
          const noise = String.fromCharCode(byte);
          if (kind === 'change') text = text.slice(0, at) + noise + text.slice(at + 1);
          else if (kind === 'drop') text = text.slice(0, at) + text.slice(at + 1);
          else if (kind === 'add') text = text.slice(0, at) + noise + text.slice(at);
          else text = text.slice(0, at);
        }
        for (const decoded of [decodeFromHost(text), decodeFromController(text)]) {
          if (decoded.kind === 'bad') continue;
          expect(text).toMatch(/ #[0-9A-F]{4}$/);
          expect(Number.parseInt(text.slice(-4), 16)).toBe(crc16(Buffer.from(text.slice(0, -4 - 1), 'latin1')));
        }
      }),
      { numRuns: 5_000 },
    );
  });

  it('anything at all is answered with a kind, never with an exception', () => {
    fc.assert(
      fc.property(fc.oneof(fc.string({ unit: 'binary', maxLength: 400 }), fc.string({ unit: 'grapheme-ascii', maxLength: 400 }).map((s) => sealLine(s).slice(0, -1))), (s) => {
        expect(['bad', 'unfit', 'request']).toContain(decodeFromHost(s).kind);
        expect(['bad', 'reply', 'refusal', 'telemetry']).toContain(decodeFromController(s).kind);
      }),
      { numRuns: 2_000 },
    );
  });
});
