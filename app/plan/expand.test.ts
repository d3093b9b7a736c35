import fc from 'fast-check';
import { mersenne } from 'pure-rand/generator/mersenne';
import { describe, expect, test } from 'vitest';
import { checksOf, countPoints, expandPlan, expectedPoints } from './expand.ts';
import { blindShifts } from './invariance.ts';
import { parsePlan } from './parse.ts';
import { planSchema } from './plan.ts';
import type { Plan } from './plan.ts';
import type { Point } from './points.ts';
import { asStored } from './stored.ts';
import { zeroWindow } from './zero.ts';

interface Shape {
  readonly injectors: number;
  readonly voltages: number;
  readonly pressures: number;
  readonly widths: number;
  readonly periods: number;
  readonly replicates: number;
  readonly kind: 'nested' | 'alternating' | 'shuffled' | 'randomised';
  readonly seed: number;
  readonly everyPoints: number | null;
}

const upTo = (n: number, value: (i: number) => number) => Array.from({ length: n }, (_, i) => value(i));

function planOf(shape: Partial<Shape>): Plan {
  const s: Shape = {
    injectors: 2, voltages: 2, pressures: 1, widths: 3, periods: 1, replicates: 2, kind: 'nested', seed: 1, everyPoints: null, ...shape,
  };
  return planSchema.parse({
    planVersion: 1,
    zero: { windowS: 0 },
    pair: { windows: 0 },
    invariance: { percent: 0 },
    blind: { percent: 0 },
    look: { windowS: 0 },
    name: 'test',
    injectors: upTo(s.injectors, (i) => i).map((i) => ({ serialNumber: `S${i}`, type: 'T', channel: i + 11 })),
    axes: {
      voltageV: upTo(s.voltages, (i) => 9 + i),
      pressureKpa: upTo(s.pressures, (i) => 300 + 100 * i),
      widthMs: upTo(s.widths, (i) => 2 + i),
      periodMs: upTo(s.periods, (i) => 20 + 5 * i),
      replicates: s.replicates,
    },
    sequence: { kind: s.kind, seed: s.seed },
    ...(s.everyPoints === null
      ? {}
      : { reference: { injector: 'S0', voltageV: 13.5, pressureKpa: 350, widthMs: 4.5, periodMs: 20, everyPoints: s.everyPoints } }),
  });
}

const shapes = fc.record({
  injectors: fc.integer({ min: 1, max: 4 }),
  voltages: fc.integer({ min: 1, max: 3 }),
  pressures: fc.integer({ min: 1, max: 3 }),
  widths: fc.integer({ min: 1, max: 5 }),
  periods: fc.integer({ min: 1, max: 3 }),
  replicates: fc.integer({ min: 1, max: 4 }),
  kind: fc.constantFrom('nested', 'alternating', 'shuffled', 'randomised'),
  seed: fc.integer({ min: 0, max: 0xffffffff }),
  everyPoints: fc.option(fc.integer({ min: 1, max: 40 })),
}) satisfies fc.Arbitrary<Shape>;

const measured = (points: readonly Point[]) => points.filter((p) => p.role === 'measure');
const cell = (p: Point) => [p.injector, p.channel, p.voltage, p.pressure, p.width, p.period].join(' ');
const ms = (points: readonly Point[]) => points.map((p) => Math.round(p.width * 1e6) / 1e3);

describe('expansion of a plan', () => {
  test('PLAN-1 every combination is measured exactly once', () => {
    fc.assert(
      fc.property(shapes, (s) => {
        const found = measured(expandPlan(planOf(s))).map((p) => `${cell(p)} #${p.replicate}`);
        expect(new Set(found).size).toBe(found.length);
        expect(found.length).toBe(s.injectors * s.voltages * s.pressures * s.widths * s.periods * s.replicates);
        for (const p of measured(expandPlan(planOf(s)))) expect(p.channel).toBe(p.injector + 11);
      }),
    );
  });

  test('PLAN-1 set points are in SI', () => {
    const [first] = expandPlan(planOf({ pressures: 1, voltages: 1 }));
    expect(first?.voltage).toBe(9);
    expect(first?.pressure).toBe(300_000);
    expect(first?.width).toBeCloseTo(0.002, 12);
    expect(first?.period).toBeCloseTo(0.02, 12);
  });

  test('PLAN-2 the index is the place, and the same plan gives the same list', () => {
    fc.assert(
      fc.property(shapes, (s) => {
        const points = expandPlan(planOf(s));
        points.forEach((p, i) => expect(p.index).toBe(i));
        expect(expandPlan(planOf(s))).toEqual(points);
        const { measure, reference } = countPoints(planOf(s));
        expect(measured(points).length).toBe(measure);
        expect(points.length).toBe(measure + reference);
      }),
    );
  });

  test('PLAN-3 replicates of a combination count up in the order of measuring', () => {
    fc.assert(
      fc.property(shapes, (s) => {
        const next = new Map<string, number>();
        for (const p of measured(expandPlan(planOf(s)))) {
          expect(p.replicate).toBe(next.get(cell(p)) ?? 0);
          next.set(cell(p), p.replicate + 1);
        }
      }),
    );
  });

  test('PLAN-4 nested runs every loop in the order of the plan', () => {
    const points = expandPlan(planOf({ kind: 'nested', replicates: 2 }));
    expect(points.slice(0, 7).map((p) => [p.injector, p.width * 1e3, p.replicate])).toEqual([
      [0, 2, 0], [0, 2, 1], [0, 3, 0], [0, 3, 1], [0, 4, 0], [0, 4, 1], [1, 2, 0],
    ]);
    fc.assert(
      fc.property(shapes, (s) => {
        const order = measured(expandPlan(planOf({ ...s, kind: 'nested' }))).map((p) => [p.pressure, p.voltage, p.injector, p.width, p.period, p.replicate]);
        for (let i = 1; i < order.length; i += 1) {
          const [before, after] = [order[i - 1] ?? [], order[i] ?? []];
          const first = after.findIndex((v, k) => v !== before[k]);
          expect(after[first]).toBeGreaterThan(before[first] ?? NaN);
        }
      }),
    );
  });

  test('PLAN-5 alternating goes up and down and never jumps inside a pressure', () => {
    const points = expandPlan(planOf({ kind: 'alternating', replicates: 3, injectors: 2, voltages: 1 }));
    expect(ms(points)).toEqual([2, 3, 4, 4, 3, 2, 2, 3, 4, 4, 3, 2, 2, 3, 4, 4, 3, 2]);
    fc.assert(
      fc.property(shapes, (s) => {
        const plan = planOf({ ...s, kind: 'alternating', everyPoints: null });
        const points = expandPlan(plan);
        for (let i = 1; i < points.length; i += 1) {
          const [a, b] = [points[i - 1], points[i]];
          if (a === undefined || b === undefined || a.pressure !== b.pressure) continue;
          const steps = [b.voltage - a.voltage, b.injector - a.injector, (b.width - a.width) * 1e3, (b.period - a.period) * 200];
          // From one point to the next at most one axis moves, and by one place; none where only the replicate moves.
          expect(steps.reduce((sum, step) => sum + Math.abs(step), 0)).toBeLessThanOrEqual(1 + 1e-9);
        }
      }),
    );
  });

  test('PLAN-5 a slow drift does not bend the mean over replicates when they are even in number', () => {
    // With as many passes up as down, the mean time of every width is the same.
    const points = expandPlan(planOf({ kind: 'alternating', replicates: 4, injectors: 1, voltages: 1, widths: 5 }));
    const means = new Map<number, number>();
    for (const p of points) means.set(p.width, (means.get(p.width) ?? 0) + p.index / 4);
    expect(new Set(means.values()).size).toBe(1);
  });

  test('PLAN-6 randomised stays inside its block of pressure, voltage and replicate', () => {
    fc.assert(
      fc.property(shapes, (s) => {
        const points = measured(expandPlan(planOf({ ...s, kind: 'randomised' })));
        const size = s.injectors * s.widths * s.periods;
        for (let start = 0; start < points.length; start += size) {
          const block = points.slice(start, start + size);
          expect(new Set(block.map((p) => `${p.pressure} ${p.voltage} ${p.replicate}`)).size).toBe(1);
          expect(new Set(block.map(cell)).size).toBe(size);
        }
      }),
    );
  });

  test('PLAN-7 PLAN-8 the stated shuffle of the stated generator gives this order', () => {
    // Computed by a second, independent implementation of the two rules (Python, its own MT19937), seed 2026.
    const plan = planOf({ kind: 'randomised', seed: 2026, injectors: 2, voltages: 1, widths: 3, replicates: 2 });
    expect(expandPlan(plan).map((p) => [p.injector, Math.round(p.width * 1e3)])).toEqual([
      [1, 4], [0, 3], [0, 2], [0, 4], [1, 3], [1, 2], [1, 3], [0, 3], [1, 2], [0, 2], [0, 4], [1, 4],
    ]);
  });

  test('PLAN-81 shuffled gives each replicate of an injector an order of its widths and periods of its own', () => {
    // Computed by a second, independent implementation of the rules (Python, its own MT19937), seed 2026: voltage, injector, width, period.
    const plan = planOf({ kind: 'shuffled', seed: 2026, injectors: 2, voltages: 2, widths: 2, periods: 2, replicates: 2 });
    expect(expandPlan(plan).slice(0, 16).map((p) => [p.voltage, p.injector, Math.round(p.width * 1e3), Math.round(p.period * 1e3)])).toEqual([
      [9, 0, 3, 25], [9, 0, 3, 20], [9, 0, 2, 20], [9, 0, 2, 25], [9, 0, 3, 20], [9, 0, 2, 25], [9, 0, 3, 25], [9, 0, 2, 20], [9, 1, 3, 20], [9, 1, 2, 20], [9, 1, 3, 25], [9, 1, 2, 25], [9, 1, 2, 20], [9, 1, 3, 20], [9, 1, 2, 25], [9, 1, 3, 25],
    ]);
    fc.assert(
      fc.property(shapes, (s) => {
        const points = measured(expandPlan(planOf({ ...s, kind: 'shuffled' })));
        const to = measured(expandPlan(planOf({ ...s, kind: 'alternating' })));
        const size = s.widths * s.periods;
        // Everything but the order inside of a replicate is that of an alternating plan.
        for (let start = 0; start < points.length; start += size) {
          const name = (p: Point) => `${cell(p)} #${p.replicate}`;
          expect(points.slice(start, start + size).map(name).toSorted()).toEqual(to.slice(start, start + size).map(name).toSorted());
        }
      }),
    );
  });

  test('PLAN-82 a stored plan that names no order alternates, one of today is shuffled', () => {
    const document = { planVersion: 1, name: 'old', injectors: [{ serialNumber: 'A', type: 'T', channel: 1 }], axes: { voltageV: [9], pressureKpa: [400], widthMs: [2, 3, 4, 5, 6], periodMs: [20], replicates: 2 } };
    const orderOf = (input: unknown) => {
      const parsed = parsePlan(input);
      if (!parsed.ok) throw new Error('the plan cannot be read');
      return ms(measured(expandPlan(parsed.plan)));
    };
    expect(orderOf(asStored(document))).toEqual([2, 3, 4, 5, 6, 6, 5, 4, 3, 2]);
    expect(orderOf(asStored({ ...document, sequence: { seed: 7 } }))).toEqual([2, 3, 4, 5, 6, 6, 5, 4, 3, 2]);
    expect(orderOf(document)).toEqual(orderOf({ ...document, sequence: { kind: 'shuffled', seed: 1 } }));
    expect(orderOf(document)).not.toEqual([2, 3, 4, 5, 6, 6, 5, 4, 3, 2]);
    expect(orderOf(asStored({ ...document, sequence: { kind: 'shuffled', seed: 1 } }))).toEqual(orderOf(document));
  });

  test('PLAN-8 the generator is MT19937', () => {
    // ISO/IEC 14882 (C++), [rand.predef]: the 10000th output of a default-constructed mt19937 (seed 5489) is 4123659995.
    const random = mersenne(5489);
    let output = 0;
    for (let i = 0; i < 10_000; i += 1) output = random.next() >>> 0;
    expect(output).toBe(4123659995);
  });

  test('PLAN-7 every place of a block is as likely as any other', () => {
    // 2000 seeds, 6 items: each of 36 counts is binomial with mean 333.3, sd 16.7; chi-square of 25 degrees of freedom
    // is below 52.6 in 99.9 % of cases.
    const counts = new Map<string, number>();
    for (let seed = 0; seed < 2000; seed += 1) {
      const points = expandPlan(planOf({ kind: 'randomised', seed, injectors: 1, voltages: 1, widths: 6, replicates: 1 }));
      for (const p of points) counts.set(`${p.width} ${p.index}`, (counts.get(`${p.width} ${p.index}`) ?? 0) + 1);
    }
    expect(counts.size).toBe(36);
    const chiSquare = [...counts.values()].reduce((sum, n) => sum + (n - 2000 / 6) ** 2 / (2000 / 6), 0);
    expect(chiSquare).toBeLessThan(52.6);
  });

  test('PLAN-9 PLAN-10 reference points come first, after every n points, and last', () => {
    const roles = (s: Partial<Shape>) => expandPlan(planOf(s)).map((p) => (p.role === 'reference' ? 'R' : 'm')).join('');
    const one = { injectors: 1, voltages: 1, replicates: 1 };
    expect(roles({ ...one, widths: 5, everyPoints: 2 })).toBe('RmmRmmRmR');
    expect(roles({ ...one, widths: 4, everyPoints: 2 })).toBe('RmmRmmR');
    expect(roles({ ...one, widths: 3, everyPoints: 40 })).toBe('RmmmR');
    fc.assert(
      fc.property(shapes, (s) => {
        const points = expandPlan(planOf(s));
        const references = points.filter((p) => p.role === 'reference');
        references.forEach((p, i) => {
          expect(p).toMatchObject({ replicate: i, injector: 0, channel: 11, voltage: 13.5, pressure: 350_000 });
        });
        if (s.everyPoints === null) expect(references.length).toBe(0);
        else {
          expect(points[0]?.role).toBe('reference');
          expect(points.at(-1)?.role).toBe('reference');
          const gaps = references.slice(1).map((p, i) => p.index - (references[i]?.index ?? 0) - 1);
          gaps.slice(0, -1).forEach((gap) => expect(gap).toBe(s.everyPoints));
          expect(gaps.at(-1)).toBeGreaterThan(0);
          expect(gaps.at(-1)).toBeLessThanOrEqual(s.everyPoints);
        }
      }),
    );
  });

  test('PLAN-11 the seed changes nothing but the order of a shuffled or randomised plan', () => {
    fc.assert(
      fc.property(shapes, fc.integer({ min: 0, max: 0xffffffff }), (s, seed) => {
        const name = (p: Point) => `${cell(p)} #${p.replicate}`;
        const [a, b] = [expandPlan(planOf(s)).map(name), expandPlan(planOf({ ...s, seed })).map(name)];
        if (s.kind === 'shuffled' || s.kind === 'randomised') expect(b.toSorted()).toEqual(a.toSorted());
        else expect(b).toEqual(a);
      }),
    );
    const order = (seed: number) => expandPlan(planOf({ kind: 'randomised', widths: 5, seed })).map(cell);
    expect(order(1)).not.toEqual(order(2));
  });

  test('PLAN-12 static points end each pressure, held open, and change nothing else', () => {
    fc.assert(
      fc.property(shapes, fc.integer({ min: 1, max: 3 }), (s, replicates) => {
        const plan = planOf(s);
        const points = expandPlan({ ...plan, static: { replicates, voltageV: 13, periodMs: 25 } });
        const held = points.filter((p) => p.role === 'static');
        expect(held.length).toBe(countPoints({ ...plan, static: { replicates, voltageV: 13, periodMs: 25 } }).held);
        for (const p of held) expect(p).toMatchObject({ voltage: 13, width: 0.025, period: 0.025 });
        const rest = (p: Point) => ({ ...p, index: 0 });
        expect(points.filter((p) => p.role !== 'static').map(rest)).toEqual(expandPlan(plan).map(rest));
        points.forEach((p, i) => {
          if (p.role === 'static') expect(points.slice(i).some((q) => q.role === 'measure' && q.pressure === p.pressure)).toBe(false);
        });
      }),
    );
  });

  test('PLAN-50 PLAN-51 the first look comes before all else: each injector held open, then at two widths; the rest is as without it', () => {
    fc.assert(
      fc.property(shapes, (s) => {
        const plan = planOf(s);
        const looked = { ...plan, look: { ...plan.look, windowS: 2 } };
        const points = expandPlan(looked);
        const looks = points.slice(0, 3 * s.injectors);
        expect(countPoints(looked).look).toBe(looks.length);
        looks.forEach((p, i) => {
          expect(p).toMatchObject({
            role: 'look', injector: Math.floor(i / 3), channel: 11 + Math.floor(i / 3), replicate: i % 3,
            voltage: Math.max(...plan.axes.voltageV), pressure: 300e3, period: 0.02, width: [20, 4, 9].map((ms) => ms * 1e-3)[i % 3],
          });
        });
        const rest = (p: Point) => ({ ...p, index: 0 });
        expect(points.slice(looks.length).map(rest)).toEqual(expandPlan(plan).map(rest));
      }),
    );
  });

  test('PLAN-51 the widths of the first look keep the duty limit, and a plan may give its own', () => {
    const widths = (look: Partial<Plan['look']>, dutyPercent = 85) => {
      const plan = planOf({});
      return expandPlan({ ...plan, look: { ...plan.look, windowS: 1, ...look }, limits: { dutyPercent } }).slice(1, 3).map((p) => Math.round(p.width * 1e6));
    };
    expect(widths({})).toEqual([4000, 9000]);
    expect(widths({}, 20)).toEqual([1600, 3600]);
    expect(widths({ shortMs: 3, longMs: 7, voltageV: 12 })).toEqual([3000, 7000]);
  });

  const leakChecked = (plan: Plan, windows = 1): Plan => ({ ...plan, zero: { ...plan.zero, windowS: 20 }, pair: { windows } });

  test('PLAN-40 PLAN-41 PLAN-42 zero points come first, last, and where voltage or pressure change, and change nothing else', () => {
    const roles = (s: Partial<Shape>) =>
      expandPlan(leakChecked(planOf(s), 0)).map((p) => ({ zero: `Z${p.pressure / 1e3}/${p.voltage} `, reference: 'R', measure: 'm', static: 's', pair: 'p', invariance: 'i', blind: 'b', look: 'l' })[p.role]).join('');
    expect(roles({ injectors: 1, voltages: 2, pressures: 2, widths: 2, replicates: 1 })).toBe('Z300/9 mmZ300/10 mmZ300/10 Z400/9 mmZ400/10 mmZ400/10 ');
    expect(roles({ injectors: 1, voltages: 1, widths: 2, replicates: 1, everyPoints: 2 })).toBe('Z300/9 RmmRZ300/9 ');
    fc.assert(
      fc.property(shapes, (s) => {
        const plan = planOf(s);
        const points = expandPlan(leakChecked(plan, 0));
        const zeros = points.filter((p) => p.role === 'zero');
        expect(zeros.length).toBe(countPoints(leakChecked(plan)).zero);
        zeros.forEach((p, i) => {
          expect(p).toMatchObject({ replicate: i, injector: 0, channel: 0, width: 0, period: 0 });
        });
        expect([points[0]?.role, points.at(-1)?.role]).toEqual(['zero', 'zero']);
        const rest = (p: Point) => ({ ...p, index: 0 });
        expect(points.filter((p) => p.role !== 'zero').map(rest)).toEqual(expandPlan(plan).map(rest));
        // Between two measure points of different voltage or pressure there is a zero point at the set point of each that needs one.
        const seen = points.filter((p) => p.role === 'measure' || p.role === 'zero');
        seen.forEach((p, i) => {
          const before = seen[i - 1];
          if (p.role === 'measure' && (before?.voltage !== p.voltage || before.pressure !== p.pressure)) throw new Error('a block begins without a zero point');
          const after = seen[i + 1];
          if (p.role === 'measure' && after?.pressure !== p.pressure) throw new Error('a pressure ends without a zero point');
        });
      }),
    );
  });

  test('PLAN-43 PLAN-44 each injector has its period pairs after one block, at twice the period, and they change nothing else', () => {
    const [pair, ...more] = expandPlan(leakChecked(planOf({ injectors: 1, voltages: 3, widths: 4, periods: 2, replicates: 1 }))).filter((p) => p.role === 'pair');
    // Voltages 9, 10, 11: the nearest to 14 V; widths 2, 3, 4, 5: the second, over 2.5 dead times at 11 V; periods 20 and 25.
    expect(pair).toMatchObject({ injector: 0, channel: 11, voltage: 11, pressure: 300_000, width: 0.003, period: 0.04, replicate: 0 });
    expect(more).toEqual([]);
    const limited = leakChecked(planOf({ widths: 4 }));
    const at14 = (widthMs: number[]) => expandPlan({ ...limited, axes: { ...limited.axes, voltageV: [14], widthMs } }).find((p) => p.role === 'pair')?.width;
    expect([at14([5, 1.7, 1.8]), at14([1.5, 3]), at14([1, 1.5])].map((width) => Number(((width ?? 0) * 1e3).toFixed(6)))).toEqual([1.8, 3, 1.5]);
    fc.assert(
      fc.property(shapes, fc.integer({ min: 1, max: 3 }), (s, windows) => {
        const plan = planOf(s);
        const points = expandPlan({ ...plan, pair: { windows } });
        const pairs = points.filter((p) => p.role === 'pair');
        expect(pairs.length).toBe(countPoints({ ...plan, pair: { windows } }).pair);
        const rest = (p: Point) => ({ ...p, index: 0 });
        expect(points.filter((p) => p.role !== 'pair').map(rest)).toEqual(expandPlan(plan).map(rest));
        for (const p of pairs) {
          const measuredAlike = points.filter((q) => q.role === 'measure' && q.injector === p.injector && q.voltage === p.voltage && q.pressure === p.pressure && q.width === p.width && 2 * q.period === p.period);
          expect(measuredAlike.length).toBe(s.replicates);
          // The same warmth and the same leak: nothing else was measured since the block but other pairs.
          expect(Math.max(...measuredAlike.map((q) => q.index))).toBeLessThan(p.index);
        }
      }),
    );
  });

  test('PLAN-45 the length of a zero point follows from the plan, within limits', () => {
    const auto = (s: Partial<Shape>) => {
      const plan = planOf(s);
      return zeroWindow({ ...plan, zero: { settleS: 3, decayS: 20, deadTimeUs: 2 } });
    };
    expect(auto({ injectors: 1, voltages: 1, widths: 4, replicates: 1 })).toBe(10);
    expect(auto({ injectors: 8, voltages: 5, widths: 24, replicates: 20 })).toBe(60);
    const middle = auto({ injectors: 8, voltages: 5, widths: 12, replicates: 3 });
    expect(middle).toBeGreaterThan(20);
    expect(middle).toBeLessThan(60);
    const plan = planOf({});
    expect(zeroWindow({ ...plan, zero: { ...plan.zero, windowS: 7.5 } })).toBe(7.5);
    // PLAN-110: without the purges there is less time to take a share of.
    const large = planOf({ injectors: 8, voltages: 5, widths: 12, replicates: 3 });
    const seldom = { ...large, zero: { settleS: 3, decayS: 20, deadTimeUs: 2 }, purge: { ...large.purge, pulses: 50, periodMs: 20, when: 'injector-changes' as const } };
    expect(zeroWindow(seldom)).toBe(zeroWindow({ ...seldom, purge: { ...seldom.purge, pulses: 0 } }));
    expect(zeroWindow(seldom)).toBeLessThan(middle);
  });

  test('PLAN-46 PLAN-52 a plan of an old journal has neither zero points nor period pairs nor a first look; a document of today has them', () => {
    const document = { planVersion: 1, name: 'old', injectors: [{ serialNumber: 'A', type: 'T', channel: 1 }], axes: { voltageV: [9, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 1 } };
    const rolesOf = (input: unknown) => {
      const parsed = parsePlan(input);
      if (!parsed.ok) throw new Error('the plan cannot be read');
      return expandPlan(parsed.plan).map((p) => p.role[0]).join('');
    };
    expect(rolesOf(document)).toBe('lllzmmzmmpz');
    expect(rolesOf(asStored(document))).toBe('mmmm');
    // What a run of today stores stays as it is.
    const parsed = parsePlan(document);
    expect(parsed.ok && asStored(parsed.plan) === parsed.plan).toBe(true);
    expect(asStored(null)).toBeNull();
  });

  test('a reference injector that is not mounted is a programming error', () => {
    const plan = planOf({ everyPoints: 2 });
    expect(() => expandPlan({ ...plan, injectors: plan.injectors.slice(1) })).toThrow(RangeError);
  });

  const withoutThem = (plan: Plan): Record<string, unknown> => Object.fromEntries(Object.entries(plan).filter(([part]) => part !== 'invariance' && part !== 'blind'));

  /** A plan of the size that people write, with the defaults of the invariance set. */
  const whole = (change: Record<string, unknown> = {}, shape: Partial<Shape> = {}): Plan => {
    const rest = withoutThem(planOf({ injectors: 4, voltages: 3, widths: 12, replicates: 3, kind: 'alternating', ...shape }));
    return planSchema.parse({ ...rest, ...change });
  };
  const inSet = (plan: Plan) => expandPlan(plan).filter((p) => p.role === 'invariance');

  test('PLAN-71 PLAN-72 the set stays within its share, is the same for all injectors, and a plan too short for it has none', () => {
    expect(inSet(planOf({ widths: 5 }))).toEqual([]);
    expect(inSet(whole({ invariance: { percent: 0 } }))).toEqual([]);
    expect(inSet(whole({}, { injectors: 1, voltages: 1, widths: 4, replicates: 3 }))).toEqual([]);
    fc.assert(
      fc.property(shapes, fc.integer({ min: 0, max: 20 }), fc.constantFrom(0, 2), (s, percent, pressurePercent) => {
        const plan = { ...planOf(s), invariance: { percent, pressurePercent } };
        const points = expandPlan(plan);
        const set = points.filter((p) => p.role === 'invariance');
        expect(set.length).toBe(countPoints(plan).invariance);
        expect(set.length).toBeLessThanOrEqual((percent / 100) * measured(points).length);
        for (let i = 1; i < s.injectors; i += 1) {
          expect(set.filter((p) => p.injector === i).map((p) => p.changed)).toEqual(set.filter((p) => p.injector === 0).map((p) => p.changed));
        }
        const rest = (p: Point) => ({ ...p, index: 0 });
        expect(points.filter((p) => p.role !== 'invariance').map(rest)).toEqual(expandPlan(planOf(s)).map(rest));
      }),
    );
    // 108 measure points of an injector: 5.4 windows.
    expect(inSet(whole()).filter((p) => p.injector === 2).map((p) => p.changed)).toEqual(['period', 'long-period', 'time']);
    expect(inSet(whole({ invariance: { percent: 20 } })).filter((p) => p.injector === 2).map((p) => p.changed)).toEqual([
      'period', 'period', 'period', 'period', 'long-period', 'long-period', 'pressure-up', 'pressure-down', 'time', 'time',
    ]);
  });

  test('PLAN-73 each nuisance stands where it can be told: period and pressure beside their cell, time after all blocks', () => {
    const plan = whole({ invariance: { percent: 20 } });
    const points = expandPlan(plan);
    const of = (changed: Point['changed']) => points.filter((p) => p.changed === changed);
    // Voltages 9, 10, 11: the nearest to 14 V is 11; widths 2 to 13.
    for (const p of of('period')) expect(p).toMatchObject({ voltage: 11, pressure: 3e5, width: 0.003, period: 0.04 });
    const long = (p: Point) => Math.round(p.width * 1e6);
    for (const p of of('long-period')) expect([p.voltage, long(p), p.period]).toEqual([11, 13_000, 0.04]);
    for (const p of of('pressure-up')) expect(p).toMatchObject({ voltage: 11, pressure: 306e3, width: 0.008, period: 0.02 });
    for (const p of of('pressure-down')) expect(p).toMatchObject({ voltage: 11, pressure: 294e3, width: 0.008, period: 0.02 });
    for (const p of of('time')) expect([p.voltage, p.pressure, long(p), p.period]).toEqual([9, 3e5, 13_000, 0.02]);
    const last = Math.max(...measured(points).map((p) => p.index));
    expect(Math.min(...of('time').map((p) => p.index))).toBeGreaterThan(last);
    for (const p of inSet(plan)) {
      const base = measured(points).filter((q) => q.injector === p.injector && q.voltage === p.voltage && q.width === p.width);
      expect(base.length).toBe(3);
      expect(Math.max(...base.map((q) => q.index))).toBeLessThan(p.index);
    }
  });

  test('PLAN-74 no pressure is changed that a guard of the plan would stop at', () => {
    const guard = (low: number, high: number) => ({ invariance: { percent: 20 }, guards: [{ id: 'p', signal: 'pressure-kpa', low, high, level: 'trip' }] });
    const changes = (plan: Plan) => inSet(plan).some((p) => p.changed === 'pressure-up');
    expect(changes(whole(guard(290, 310)))).toBe(true);
    expect(changes(whole(guard(290, 305)))).toBe(false);
    expect(changes(whole(guard(295, 310)))).toBe(false);
  });

  test('PLAN-75 blind windows are spread over the cells, beside what they are held against, and change nothing else', () => {
    fc.assert(
      fc.property(shapes, fc.integer({ min: 0, max: 20 }), (s, percent) => {
        const plan = { ...planOf(s), blind: { percent, mostUs: 20 } };
        const points = expandPlan(plan);
        const blind = points.filter((p) => p.role === 'blind');
        expect(blind.length).toBe(countPoints(plan).blind);
        expect(blind.length).toBe(Math.floor((percent / 100) * measured(points).length));
        expect(blind.map((p) => p.replicate)).toEqual(blind.map((_, i) => i));
        const rest = (p: Point) => ({ ...p, index: 0 });
        expect(points.filter((p) => p.role !== 'blind').map(rest)).toEqual(expandPlan(planOf(s)).map(rest));
        for (const p of blind) {
          const base = measured(points).filter((q) => cell(q) === cell(p));
          expect(base.length).toBe(s.replicates);
          const after = points.slice(Math.max(...base.map((q) => q.index)) + 1, p.index);
          // Nothing of another injector comes between, where the order has the injectors one after the other.
          if (s.kind !== 'randomised') expect(after.every((q) => q.injector === p.injector || q.role === 'reference')).toBe(true);
          expect(after.every((q) => q.voltage === p.voltage || q.role === 'reference')).toBe(true);
        }
      }),
    );
    const plan = whole();
    const blind = expandPlan(plan).filter((p) => p.role === 'blind');
    expect(blind.length).toBe(10);
    expect(new Set(blind.map((p) => `${p.injector}/${p.voltage}`)).size).toBe(10);
    expect(Math.min(...blind.map((p) => p.width))).toBeGreaterThan(7e-3);
  });

  test('PLAN-76 a shift stays inside the widths of the plan, its duty limit and its greatest', () => {
    const plan = planOf({ widths: 5 });
    const of = (width: number, change: Partial<Plan> = {}) => {
      const { low, high } = blindShifts({ ...plan, ...change }, { width, period: 0.02 });
      return [low, high].map((s) => Math.round(s * 1e7) / 10);
    };
    expect(of(4e-3)).toEqual([-20, 20]);
    expect(of(6e-3)).toEqual([-20, 0]);
    expect(of(2.01e-3)).toEqual([-10, 20]);
    expect(of(3.99e-3, { limits: { dutyPercent: 20 } })).toEqual([-20, 10]);
    expect(of(5e-3, { limits: { dutyPercent: 20 } })).toEqual([-20, 0]);
    expect(of(4e-3, { blind: { percent: 5, mostUs: 7.5 } })).toEqual([-7.5, 7.5]);
  });

  test('PLAN-71 PLAN-75 a plan of an old journal has neither, whatever its size', () => {
    const document = withoutThem(whole());
    const parsed = parsePlan(asStored(document));
    expect(parsed.ok && expandPlan(parsed.plan).some((p) => p.role === 'invariance' || p.role === 'blind')).toBe(false);
    const today = parsePlan(document);
    expect(today.ok && countPoints(today.plan)).toMatchObject({ invariance: 12, blind: 10 });
  });
});

describe('a plan with targets', () => {
  const wanting = (plan: Plan): Plan => ({ ...plan, targets: { deadTimeUs: 5, atVoltage: [], hours: 24, attemptsPerCell: 60, known: [] } });
  const whole = (kind: Shape['kind']): Plan => ({ ...planOf({ kind, widths: 6, pressures: 2, everyPoints: 7 }), look: { ...planOf({}).look, windowS: 2 }, zero: { settleS: 3, decayS: 20, deadTimeUs: 2 }, pair: { windows: 1 }, invariance: { percent: 20, pressurePercent: 2 }, blind: { percent: 10, mostUs: 20 }, static: { replicates: 2, voltageV: 13, periodMs: 25 } });

  test('PLAN-90: its points are what comes before the first measure point of its grid; without targets nothing changes', () => {
    for (const kind of ['nested', 'alternating', 'shuffled', 'randomised'] as const) {
      const grid = whole(kind);
      const points = expandPlan(wanting(grid));
      expect(points).toEqual(expandPlan(grid).slice(0, points.length));
      expect(points.map((p) => p.role)).toEqual([...Array.from({ length: 6 }, () => 'look'), 'zero', 'reference']);
      const { measure, reference, zero, look, ...none } = countPoints(wanting(grid));
      expect([measure, reference, zero, look]).toEqual([0, 1, 1, 6]);
      expect(Object.values(none).every((count) => count === 0)).toBe(true);
      expect(planSchema.parse({ ...grid }).targets).toBeUndefined();
    }
  });

  test('PLAN-93: before a run it is looked at by its grid with one replicate', () => {
    const grid = whole('shuffled');
    expect(expectedPoints(grid)).toEqual(expandPlan(grid));
    expect(expectedPoints(wanting(grid))).toEqual(expandPlan({ ...grid, axes: { ...grid.axes, replicates: 1 } }));
  });

  test('PLAN-91: what ends a pressure are the checks of its grid with one replicate, and its zero points are long', () => {
    const grid = whole('shuffled');
    const single = expandPlan({ ...grid, axes: { ...grid.axes, replicates: 1 } });
    const ends = [300, 400].map((kpa) => checksOf(wanting(grid), kpa));
    for (const role of ['static', 'blind', 'pair', 'invariance'] as const) expect(ends.flat().filter((p) => p.role === role).length).toBe(single.filter((p) => p.role === role).length);
    expect(ends.map((list) => list.slice(-2).map((p) => [p.role, p.role === 'zero' ? p.pressure : 0]))).toEqual([[['reference', 0], ['zero', 3e5]], [['reference', 0], ['zero', 4e5]]]);
    expect(ends[1]?.some((p) => p.role === 'pair')).toBe(false);
    expect(zeroWindow(wanting(grid))).toBe(60);
    expect(zeroWindow({ ...wanting(grid), zero: { ...grid.zero, windowS: 17 } })).toBe(17);
  });
});
