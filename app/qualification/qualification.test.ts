import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import { edgesPerMlOf, evaluateQualification, parseQualification, usualLimits, type Qualification } from './qualification.ts';
import { SpanReading } from './span-reading.ts';
import { qualificationStanding } from './standing.ts';
import { minuteUtc, unixOf } from './utc.ts';

const equipment = syntheticEquipment;

const document = {
  qualificationVersion: 1, controller: { model: 'bench', serialNumber: 'B-7' }, doneAt: '2026-05-01T07:30:00.000Z', by: 'A. Tester', validHours: 24, edgesPerMl: 48,
  limits: { zeroMlMin: 0.05, ventedKpa: 2, supplyMv: 20, clockPpm: 200, leakMlMin: 0.05 },
  zero: { edges: 0, seconds: 60, source: 'bench' },
  vented: { kpa: -0.4, source: 'bench' },
  supply: [9, 12, 14].map((setV) => ({ setV, readV: setV + 0.004, meterV: setV + 0.01, source: 'bench' })),
  clock: { ppm: 31, uncertaintyPpm: 20, source: 'bench' },
  leak: { edges: 1, seconds: 90, kpa: 400, source: 'bench' },
  reference: { serialNumber: 'REF-1', inside: true, text: 'no signal', source: 'bench' },
};

function sheet(change: object = {}): Qualification {
  const parsed = parseQualification({ ...document, ...change });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.qualification;
}

const verdicts = (change: object = {}): Readonly<Record<string, string>> => Object.fromEntries(evaluateQualification(sheet(change)).lines.map(({ name, verdict }) => [name, verdict]));
const line = (name: string, change: object = {}) => evaluateQualification(sheet(change)).lines.find((one) => one.name === name);

describe('EQ-18 EQ-21 a sheet', () => {
  test('of a good bench qualifies it for its hours', () => {
    const { qualified, until, text, lines } = evaluateQualification(sheet());
    expect(lines.map(({ verdict }) => verdict)).toEqual(Array.from({ length: 6 }, () => 'pass'));
    expect([qualified, until, text]).toEqual([true, Date.UTC(2026, 4, 2, 7, 30), 'Qualified until 2026-05-02 07:30 UTC.']);
  });

  test.each<[string, object]>([
    ['zero', { zero: undefined }], ['vented', { vented: undefined }], ['supply', { supply: [] }], ['clock', { clock: undefined }], ['leak', { leak: undefined }], ['reference', { reference: undefined }],
  ])('without its line %s qualifies nothing, and says what is to be done', (name, change) => {
    const outcome = evaluateQualification(sheet(change));
    expect([outcome.qualified, outcome.until, verdicts(change)[name]]).toEqual([false, null, 'missing']);
    expect(outcome.text).toMatch(/^Not qualified yet: .* to be done\.$/u);
  });

  test.each<[string, object, string]>([
    ['vented', { vented: { kpa: 2.01, source: 'by-hand' } }, 'fail'],
    ['vented', { vented: { kpa: -2, source: 'by-hand' } }, 'pass'],
    ['supply', { supply: [...document.supply.slice(1), { setV: 9, readV: 9.05, meterV: 9.02, source: 'bench' }] }, 'fail'],
    ['supply', { supply: document.supply.slice(1) }, 'undecided'],
    ['supply', { supply: [14, 14, 14].map((setV) => ({ setV, readV: setV, source: 'bench' })) }, 'undecided'],
    ['supply', { supply: document.supply.map(({ setV }) => ({ setV, readV: setV + 0.021, source: 'bench' })) }, 'fail'],
    ['reference', { reference: { ...document.reference, inside: false } }, 'fail'],
    ['clock', { clock: { ppm: 170, uncertaintyPpm: 20, source: 'bench' } }, 'undecided'],
    ['clock', { clock: { ppm: -160, uncertaintyPpm: 20, source: 'bench' } }, 'pass'],
    ['clock', { clock: { ppm: 241, uncertaintyPpm: 20, source: 'bench' } }, 'fail'],
  ])('%s of %j: %s', (name, change, verdict) => {
    expect(verdicts(change)[name]).toBe(verdict);
    const outcome = evaluateQualification(sheet(change));
    expect(outcome.qualified).toBe(verdict === 'pass');
    if (verdict === 'fail') expect(outcome.text).toMatch(/^Not qualified: .* outside its limit\.$/u);
  });

  test.each<[object, string]>([
    [{ validHours: 0 }, 'validHours'], [{ by: ' ' }, 'by'], [{ doneAt: 'today' }, 'doneAt'], [{ zero: { edges: 0.5, seconds: 60, source: 'bench' } }, 'zero.edges'], [{ zeal: 1 }, 'zeal'],
    [{ limits: { ...document.limits, leakMlMin: 0 } }, 'limits.leakMlMin'], [{ vented: { kpa: 1, source: 'guess' } }, 'vented.source'],
  ])('is refused for %j', (change, path) => {
    const parsed = parseQualification({ ...document, ...change });
    expect(parsed.ok ? [] : parsed.problems.map((p) => p.path)).toEqual([path]);
  });

  test('begins with the clock limit and the K-factor of the record', () => {
    // A record of version 1 states nothing of the clock.
    expect(usualLimits(equipment).clockPpm).toBe(200);
    const timeBase = { kind: 'crystal', refuseAbovePpm: 350, uncertaintyPpm: 50 } as const;
    expect(usualLimits({ ...equipment, equipmentVersion: 2, timeBase } as unknown as typeof equipment).clockPpm).toBe(350);
    expect(edgesPerMlOf(equipment)).toBeCloseTo((equipment.meter.kFactor[0]?.edgesPerLitre ?? 0) / 1e3, 9);
  });
});

describe('EQ-19', () => {
  test('whatever n and T: it passes only if n + 1 edges keep the limit, fails only if n - 1 do not, and the time that an undecided line asks for decides it', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 500 }), fc.double({ min: 1, max: 600, noNaN: true }), fc.double({ min: 0.01, max: 5, noNaN: true }), (edges, seconds, zeroMlMin) => {
        const change = { zero: { edges, seconds, source: 'bench' }, limits: { ...document.limits, zeroMlMin } };
        const perMinute = (n: number): number => (n / 48 / seconds) * 60;
        const found = line('zero', change);
        expect(found?.verdict).toBe(perMinute(edges + 1) <= zeroMlMin ? 'pass' : perMinute(Math.max(0, edges - 1)) > zeroMlMin ? 'fail' : 'undecided');
        const asked = /Count for (\d+) s/u.exec(found?.value ?? '')?.[1];
        if (found?.verdict === 'undecided') expect(verdicts({ ...change, zero: { edges, seconds: Number(asked), source: 'bench' } })['zero']).toBe('pass');
      }),
    );
  });
});

describe('EQ-22 EQ-23 a qualification holds', () => {
  const at = Date.UTC(2026, 4, 1, 7, 30);
  test.each<[string, unknown, number, boolean, string]>([
    ['from when it was done', document, at, true, 'qualified until 2026-05-02 07:30 UTC'],
    ['to its end', document, at + 24 * 3_600_000, true, 'qualified until'],
    ['not after it', document, at + 24 * 3_600_000 + 1, false, 'ended at 2026-05-02 07:30 UTC'],
    ['not before it was done', document, at - 61_000, false, 'dated after now'],
    ['not where a line fails', { ...document, vented: { kpa: 9, source: 'bench' } }, at, false, 'Not qualified: pressure, vented'],
    ['not without a sheet', null, at, false, 'holds no qualification of bench B-7'],
    ['not by what cannot be read', { nonsense: true }, at, false, 'cannot be read'],
  ])('%s', (_what, latest, now, holds, words) => {
    const standing = qualificationStanding(latest, 'bench B-7', now);
    expect(standing.holds).toBe(holds);
    expect(standing.text).toContain(words);
  });

  test('instants go to ISO 8601 and back as the calendar has them', () => {
    fc.assert(
      fc.property(fc.date({ min: new Date('1970-01-01'), max: new Date('9999-12-31'), noInvalidDate: true }), (date) => {
        expect(unixOf(date.toISOString())).toBe(date.getTime());
        expect(minuteUtc(date.getTime())).toBe(`${date.toISOString().slice(0, 16).replace('T', ' ')} UTC`);
      }),
      { numRuns: 2000 },
    );
    expect(unixOf('2026-05-01')).toBeNaN();
  });
});

describe('EQ-20 what a bench reads over a span', () => {
  const frame = (at: number, more: Partial<BenchFrame> = {}): BenchFrame =>
    ({ at, number: Math.round(at * 20), bootId: 'one', edges: Math.floor(at * 3), pressure: 400_000 + (Math.round(at * 20) % 2 === 0 ? 500 : -500), supply: 14, burst: { active: false }, ...more }) as unknown as BenchFrame;

  test('edges from first to last, means, and the clocks apart', () => {
    const reading = new SpanReading();
    expect(reading.read).toBeNull();
    for (let i = 0; i <= 1200; i += 1) reading.add(100 + (i / 20) * (1 + 50e-6), frame(10 + i / 20));
    const read = reading.read;
    expect(read).toMatchObject({ seconds: 60, frames: 1201, edges: 180, driven: false });
    expect(read?.pressureKpa).toBeCloseTo(400, 2);
    expect(read?.supplyV).toBeCloseTo(14, 9);
    expect(read?.clock?.difference).toBeCloseTo(50e-6, 6);
    expect(read?.clock?.u ?? 1).toBeLessThan(50e-6);
  });

  test('a controller that starts anew begins it anew, and a driven injector is told', () => {
    const reading = new SpanReading();
    for (let i = 0; i < 20; i += 1) reading.add(i, frame(10 + i, { burst: { active: true } as BenchFrame['burst'] }));
    expect(reading.read).toMatchObject({ driven: true, seconds: 19 });
    // Whatever its clock says: here later than that of the one before.
    for (let i = 0; i < 5; i += 1) reading.add(30 + i, frame(50 + i, { bootId: 'two' }));
    expect(reading.read).toMatchObject({ driven: false, seconds: 4, frames: 5, edges: 12 });
  });
});
