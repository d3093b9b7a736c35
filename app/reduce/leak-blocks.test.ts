/** The leak of a run block by block, from counts made by hand: what each count weighs, where it stands, and what of it a block is told. RED-40 to RED-42, RED-49. */
import { describe, expect, it } from 'vitest';
import type { Point } from '../plan/points.ts';
import { celsius, kelvins, kilopascals, milliseconds, pascals, seconds, volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import type { LeakBlock } from './leak-block.ts';
import { leakDuring, leakOf } from './leak.ts';
import { levelsOf } from './local-level.ts';
import type { Stage } from './local-level.ts';
import { leakOfDecay } from './pressure-decay.ts';
import type { CountingAttempt, Leak } from './reduction.ts';
import { syntheticEquipment } from './synthetic.test-helper.ts';

/** One K-factor throughout, 48 edges/mL, from far below every leak. */
const K = 48e6;
const flat = { ...syntheticEquipment, meter: { ...syntheticEquipment.meter, kFactor: [{ hertz: 1e-9, edgesPerLitre: 48_000 }] } };

interface One {
  readonly role: Point['role'];
  readonly voltage?: number;
  readonly kPa?: number;
  readonly window?: Partial<WindowSummary>;
  readonly order?: number;
}
const plainWindow: WindowSummary = {
  from: seconds(0), to: seconds(60), frames: 1200, missingFrames: 0, edges: 0, firstEdgeAt: seconds(0), lastEdgeAt: seconds(0), partRates: [], pulses: 0,
  pressure: { mean: kilopascals(400), sd: 0 }, supply: { mean: volts(14), sd: 0 }, railTemperature: { mean: celsius(20), sd: 0 }, meterTemperature: { mean: celsius(20), sd: 0 },
};
const zero = (edges: number, more: Partial<WindowSummary> = {}, kPa = 400): One => ({ role: 'zero', kPa, window: { edges, ...more } });
const measure = (voltage = 14, more: Partial<WindowSummary> = {}, kPa = 400): One => ({ role: 'measure', voltage, kPa, window: more });
const idle = (edges: number, time: number): Partial<WindowSummary> => ({ idle: { edges, time } });
const four = (voltage = 14): readonly One[] => Array.from({ length: 4 }, () => measure(voltage));

function told(run: readonly One[], equipment: typeof flat = flat): Leak {
  const points = run.map(({ role, voltage = 14, kPa = 400 }, index): Point => ({
    index, role, injector: 0, channel: 1, voltage: volts(voltage), pressure: kilopascals(kPa), width: milliseconds(5), period: milliseconds(20), replicate: 0,
  }));
  const attempts = run.map(({ window, order }, point): CountingAttempt => ({ point, attempt: 1, window: { ...plainWindow, ...window }, ...(order === undefined ? {} : { order }) }));
  return leakOf(points, attempts, equipment);
}
function blocksOf(run: readonly One[], equipment: typeof flat = flat): readonly LeakBlock[] {
  const leak = told(run, equipment);
  if (leak.kind !== 'leak') throw new Error(leak.text);
  return leak.blocks;
}

const reading = (at: number, value: number, variance: number, jump = 0): Stage => ({ at, jump, reading: { value, variance } });
const unread = (at: number): Stage => ({ at, jump: 0, reading: null });

/** RED-42 of one block at the pressure of reference: `own` stages lie in it, `start` and `end` are the zero points beside it or its own first and last. */
function expected(stages: readonly Stage[], own: readonly number[], start: number, end: number, shift: number, stretch = 1): { readonly flow: number; readonly uFlow: number; readonly change: number; readonly uChange: number } {
  const [inside, ends, change] = levelsOf(stages, [
    own.map((stage) => ({ stage, weight: 1 / own.length })),
    [{ stage: start, weight: 0.5 }, { stage: end, weight: 0.5 }],
    [{ stage: end, weight: stretch }, { stage: start, weight: -stretch }],
  ]);
  if (inside === undefined || ends === undefined || change === undefined) throw new Error('three contrasts');
  const rectangular = ends.variance + (change.mean ** 2 + change.variance) / 12;
  const mean = inside.variance < rectangular ? inside : { mean: ends.mean, variance: rectangular };
  return { flow: Math.max(0, mean.mean + shift) / K, uFlow: Math.sqrt(mean.variance) / K, change: change.mean / K, uChange: Math.sqrt(change.variance) / K };
}
function same(block: LeakBlock | undefined, of: ReturnType<typeof expected>, scale = 1): void {
  for (const key of ['flow', 'uFlow', 'change', 'uChange'] as const) expect((block?.[key] ?? Number.NaN) * 1e12, key).toBeCloseTo(of[key] * scale * 1e12, 6);
}

describe('RED-41 what a count weighs', () => {
  it('few edges: a quarter of an edge squared for each span, and the whole run tells half an edge more', () => {
    // 3 edges in 120 s and half an edge; each zero point expects 1.75.
    const variance = 0.25 / 60 ** 2;
    const stages = [reading(0, 2 / 60, variance), unread(0.5), unread(0.5), reading(1, 1 / 60, variance)];
    const shift = 0.5 / (2 / variance) / (3.5 / 120);
    const leak = told([zero(2), ...four(), zero(1)]);
    expect(leak).toMatchObject({ kind: 'leak', edges: 3, time: 120, decays: 0 });
    // Six attempts in one block: its four lie between 0 and 4/6 of the axis.
    const axis = stages.map((s) => ({ ...s, at: (s.at * 4) / 6 }));
    same(blocksOf([zero(2), ...four(), zero(1)])[0], expected(axis, [1, 2], 0, 3, shift));
  });

  it('hardly any: as a Poisson count, less what one edge already says', () => {
    const x = (0.5 / 120) * 60;
    const variance = (x * (1 - x)) / 60 ** 2;
    const stages = [reading(0, 0, variance), unread(1 / 3), unread(1 / 3), reading(2 / 3, 0, variance)];
    same(blocksOf([zero(0), ...four(), zero(0)])[0], expected(stages, [1, 2], 0, 3, 0.5 / (2 / variance) / (0.5 / 120)));
  });

  it('from three on by their own times, each placed to a tenth of an edge', () => {
    const times = { firstEdgeAt: seconds(5), lastEdgeAt: seconds(55) };
    // Ten edges apart in 50 s are twelve in 60 s.
    const variance = 2 * (0.1 * (12 / 11)) ** 2 / 60 ** 2;
    const precise = reading(0, 0.2, variance);
    const three = reading(2 / 3, 2 / 50, (2 * (0.1 * (2.4 / 1.4)) ** 2) / 60 ** 2);
    const shift = 0.5 / (1 / variance + 1 / (three.reading?.variance ?? 1)) / (14.9 / 120);
    same(blocksOf([zero(11, times), ...four(), zero(3, times)])[0], expected([precise, unread(1 / 3), unread(1 / 3), three], [1, 2], 0, 3, shift));
    // Without a time between them, or with two, only their number.
    const counted = (edges: number, more: Partial<WindowSummary>): readonly LeakBlock[] => blocksOf([zero(edges, more), ...four(), zero(edges, more)]);
    const byNumber = (edges: number): ReturnType<typeof expected> => {
      const one = (at: number): Stage => reading(at, edges / 60, 0.25 / 60 ** 2);
      return expected([one(0), unread(1 / 3), unread(1 / 3), one(2 / 3)], [1, 2], 0, 3, (0.5 * 0.25) / 60 ** 2 / 2 / ((2 * edges + 0.5) / 120));
    };
    same(counted(2, times)[0], byNumber(2));
    same(counted(3, { firstEdgeAt: seconds(5), lastEdgeAt: seconds(5) })[0], byNumber(3));
  });

  it('counts in which nothing can have been counted are none: no time, no number', () => {
    const one = told([zero(2, { to: seconds(0) }), zero(Number.NaN), zero(0), measure()]);
    expect(one).toMatchObject({ kind: 'leak', edges: 0, time: 60 });
  });

  it('RED-46: says that nobody looked where no time was counted, and where one edge in it would be more than 0.05 mL/min', () => {
    // At 48 edges/mL 0.05 mL/min give one edge in 25 s.
    const of = (to: number): Leak => told([zero(0, { to: seconds(to) }), ...four()]);
    expect(of(25.1).kind).toBe('leak');
    expect(of(24.9)).toMatchObject({ kind: 'not-looked-at', text: expect.stringMatching(/^The meter was watched for 24\.9 s without pulses.* Nobody looked/) as string });
    expect(told(four())).toMatchObject({ kind: 'not-looked-at', text: expect.stringMatching(/^Nobody looked/) as string });
  });
});

describe('RED-42 idle time', () => {
  it('counts for either half of a block, in as many spans as attempts, and says it better than the zero points beside it', () => {
    const run = [zero(1), measure(14, idle(3, 40)), measure(14, idle(0, 0)), measure(14, idle(2, 30)), measure(14), measure(14, idle(4, 50)), zero(2)];
    const [edges, time] = [12, 240];
    const hertz = (edges + 0.5) / time;
    const count = (at: number, n: number, over: number, spans: number): Stage => {
      const each = (hertz * over) / spans;
      return reading(at / 7, n / over, (each < 0.5 ? each * spans * (1 - each) : spans / 4) / over ** 2);
    };
    const stages = [count(0, 1, 60, 1), count(1.25, 5, 70, 2), count(3.75, 4, 50, 1), count(5, 2, 60, 1)];
    const precision = stages.reduce((sum, s) => sum + 1 / (s.reading?.variance ?? 1), 0);
    const [block] = blocksOf(run);
    same(block, expected(stages, [1, 2], 0, 3, 0.5 / precision / hertz));
    expect(block?.idle).toEqual({ edges: 9, time: 120 });
  });

  it('small counts in many spans are Poisson counts in each', () => {
    const run = [measure(14, idle(0, 10)), measure(14, idle(1, 10)), measure(14, idle(0, 10)), measure(14, idle(0, 10)), measure(14, idle(0, 10))];
    const hertz = 1.5 / 50;
    const variance = (over: number, spans: number): number => (hertz * over * (1 - (hertz * over) / spans)) / over ** 2;
    const stages = [reading(0.25, 1 / 30, variance(30, 3)), reading(0.75, 0, variance(20, 2))];
    const precision = 1 / variance(30, 3) + 1 / variance(20, 2);
    // No zero points: the change over the half between the two is stretched to the whole block.
    same(blocksOf(run)[0], expected(stages, [0, 1], 0, 1, 0.5 / precision / hertz, 2));
  });

  it('of a block of one attempt is one count, from whose middle no change can be told', () => {
    const [block] = blocksOf([measure(14, idle(6, 60))]);
    expect((block?.flow ?? 0) * K).toBeCloseTo(6 / 60 + (0.5 * 0.25) / 60 ** 2 / (6.5 / 60), 9);
    expect((block?.uFlow ?? 0) * K).toBeCloseTo(0.5 / 60, 6);
    expect([block?.change, block?.uChange]).toEqual([0, 0]);
  });
});

describe('RED-40 blocks', () => {
  it('lie between zero points; without them they end where measured voltage or any pressure changes', () => {
    const i = idle(2, 30);
    const reference: One = { role: 'reference', voltage: 9, window: i };
    const held: One = { role: 'static', voltage: 13, window: i };
    const shape = (run: readonly One[]): readonly unknown[] => blocksOf(run).map((b) => [b.block, b.voltage, b.pressure / 1e3, b.sources.map((s) => s.point), b.zeroPoints.map((z) => z.point)]);
    expect(shape([reference, measure(10, i), reference, measure(10, i), measure(12, i), held, measure(12, i), measure(12, i, 300), { role: 'reference', kPa: 400, window: i }])).toEqual([
      [0, 10, 400, [0, 1, 2, 3], []],
      [1, 12, 400, [4, 5, 6], []],
      [2, 12, 300, [7], []],
      [3, 14, 400, [8], []],
    ]);
    expect(shape([zero(1), measure(10, i), zero(1), zero(0), measure(10, i), measure(10, i)])).toEqual([
      [0, 10, 400, [1], [0, 2]],
      [1, 10, 400, [4, 5], [3]],
    ]);
    expect(shape([held])).toEqual([[0, 13, 400, [0], []]]);
  });

  it('between zero points go on over changes of voltage until they have 24 attempts, so that one leak is one error', () => {
    const stretch = (voltage: number, count: number): readonly One[] => Array.from({ length: count }, () => measure(voltage, idle(2, 30)));
    const counts = (run: readonly One[]): readonly (readonly [number, number])[] => blocksOf(run).map((b) => [b.voltage, b.sources.length]);
    const voltages = [9, 12, 14, 16, 9, 12];
    expect(counts([zero(1), ...voltages.flatMap((v) => stretch(v, 5)), zero(1), ...stretch(14, 2)])).toEqual([[9, 25], [12, 5], [14, 2]]);
    expect(counts([zero(1), ...stretch(9, 30), ...stretch(12, 30), zero(1)])).toEqual([[9, 30], [12, 30]]);
    expect(counts([zero(1), ...stretch(9, 3), ...stretch(12, 3).map((m) => ({ ...m, kPa: 300 })), zero(1, {}, 300)])).toEqual([[9, 3], [12, 3]]);
    expect(counts(voltages.flatMap((v) => stretch(v, 5)))).toEqual(voltages.map((v) => [v, 5]));
  });

  it('are in the order in which attempts were made, and an attempt of a point that nobody knows is in none', () => {
    const order = [3, 1, 2, 4].map((n) => ({ ...measure(n === 2 ? 12 : 14, idle(1, 30)), order: n }));
    expect(blocksOf(order).map((b) => b.sources.map((s) => s.point))).toEqual([[1], [2], [0, 3]]);
    const leak = leakOf([], [{ point: 5, attempt: 1, window: plainWindow }], flat);
    expect(leak.kind).toBe('not-looked-at');
  });

  it('tell what leaked during an attempt', () => {
    const leak = told([measure(10, idle(1, 30)), measure(12, idle(1, 30))]);
    expect(leakDuring(leak, 1, 1)?.voltage).toBe(12);
    expect(leakDuring(leak, 0, 1)?.voltage).toBe(10);
    expect(leakDuring(leak, 1, 2)).toBeNull();
    expect(leakDuring(leak, 2, 1)).toBeNull();
    expect(leakDuring({ kind: 'not-looked-at', text: '' }, 1, 1)).toBeNull();
  });

  it('RED-42: stand on one axis whose unit is the mean number of attempts in a block', () => {
    // Blocks of 2 and 4: nine attempts in all, 4.5 to a block.
    const run = [zero(3, { lastEdgeAt: seconds(50) }), measure(), measure(), zero(2), ...four(), zero(9, { firstEdgeAt: seconds(2), lastEdgeAt: seconds(58) })];
    const [e0, e2] = [(2 * 60) / 50, (8 * 60) / 56];
    const hertz = (e0 + 2 + e2 + 0.5) / 180;
    const byTimes = (at: number, e: number): Stage => reading(at / 4.5, e / 60, (2 * (0.1 * (e / (e - 1))) ** 2) / 60 ** 2);
    const stages = [byTimes(0, e0), unread(1 / 4.5), unread(1 / 4.5), reading(2 / 4.5, 2 / 60, 0.25 / 60 ** 2), unread(4 / 4.5), unread(4 / 4.5), byTimes(6, e2)];
    const precision = stages.reduce((sum, s) => sum + (s.reading === null ? 0 : 1 / s.reading.variance), 0);
    const [first, second] = blocksOf(run);
    same(first, expected(stages, [1, 2], 0, 3, 0.5 / precision / hertz));
    same(second, expected(stages, [4, 5], 3, 6, 0.5 / precision / hertz));
  });

  it('RED-42: are told at their own pressure, by the power 3/4 of it, known from the root to the proportion', () => {
    const run = [zero(6), measure(), zero(6), zero(4, {}, 200), measure(14, {}, 200), zero(4, {}, 200)];
    const scale = 0.5 ** 0.75;
    const hertz = 20.5 / 240;
    // All by number: their times say nothing, because the first edge is at 0 and so is the last.
    const one = (at: number, n: number, s: number, jump = 0): Stage => reading(at, n / 60 / s, 0.25 / (60 * s) ** 2, jump);
    const jump = (hertz * (0.25 / Math.sqrt(3)) * Math.log(0.5)) ** 2;
    // Six attempts in two blocks.
    const stages = [one(0, 6, 1), unread(0.5 / 3), one(1 / 3, 6, 1), one(1 / 3, 4, scale, jump), unread(1.5 / 3), one(2 / 3, 4, scale)];
    const precision = stages.reduce((sum, s) => sum + (s.reading === null ? 0 : 1 / s.reading.variance), 0);
    const [high, low] = blocksOf(run);
    same(high, expected(stages, [1], 0, 2, 0.5 / precision / hertz));
    same(low, expected(stages, [4], 3, 5, 0.5 / precision / hertz), scale);
  });
});

describe('RED-41 the meter at the flow of a leak', () => {
  const curve = { ...flat, meter: { ...flat.meter, kFactor: [{ hertz: 2, edgesPerLitre: 47_000, ownUncertaintyPercent: 0.2 }, { hertz: 5, edgesPerLitre: 48_000, ownUncertaintyPercent: 0.4 }, { hertz: 20, edgesPerLitre: 48_500 }] } };
  const relative = (edges: number): number => {
    const spread = { firstEdgeAt: seconds(0), lastEdgeAt: seconds(60) };
    const [block] = blocksOf([zero(edges, spread), ...four(), zero(edges, spread)], curve);
    return (block?.uMeter ?? 0) / (block?.flow ?? 1);
  };

  it('is off by a hundredth below its certificate, and by the own uncertainty of the nearest point above', () => {
    expect(relative(115)).toBeCloseTo(0.01, 12);
    expect(relative(130)).toBeCloseTo(0.002, 12);
    expect(relative(260)).toBeCloseTo(0.004, 12);
    expect(relative(600)).toBeCloseTo(0.004, 12);
    expect(relative(1100)).toBe(0);
  });

  it('RED-3: counts by the K-factor of that flow', () => {
    const spread = { firstEdgeAt: seconds(0), lastEdgeAt: seconds(60) };
    const [block] = blocksOf([zero(211, spread), ...four(), zero(211, spread)], curve);
    expect((block?.flow ?? 0) / (3.5 / 47_500e3)).toBeCloseTo(1, 5);
  });
});

describe('RED-49 a meter that stands still', () => {
  const still = { ...flat, meter: { ...flat.meter, leastHertz: 0.1 } };

  it('says of no edges that the leak is anywhere up to its least flow, and of a leak above it what it counted', () => {
    const [silent] = blocksOf([zero(0), ...four(), zero(0)], still);
    const below = 0.1 / K;
    expect(silent?.below).toBeCloseTo(below, 18);
    expect(silent?.flow).toBeCloseTo(below / 2, 18);
    expect(silent?.uMeter).toBeCloseTo(below / Math.sqrt(12), 18);
    const seen = { firstEdgeAt: seconds(1), lastEdgeAt: seconds(59) };
    expect(blocksOf([zero(13, seen), ...four(), zero(13, seen)], still)[0]).toMatchObject({ below: null, uMeter: 0 });
  });

  it('is told by the fall of pressure where the rail was shut off, and by its counts where those are enough', () => {
    const equipment = { ...still, rail: { complianceMlPerMpa: 80, complianceUncertaintyPercent: 3, volumeMl: 50 } };
    const decay = (slope: number): Partial<WindowSummary> => ({ decay: { from: seconds(60), to: seconds(80), frames: 400, pressure: pascals(4e5), railTemperature: kelvins(293.15), slope, uSlope: 2, warming: 0, uWarming: 0 } });
    const of = (slope: number): { readonly leak: number; readonly u: number } => leakOfDecay({ ...(decay(slope).decay as NonNullable<WindowSummary['decay']>) }, equipment) ?? { leak: 0, u: 0 };
    const fall = (at: number, slope: number): Stage => reading(at, of(slope).leak * K, (of(slope).u * K) ** 2);
    // 80 mL/MPa and 13 Pa/s: 1.04e-9 m3/s, half the least flow of 2.08e-9. The second falls at a tenth more.
    const stages = [fall(0, -13), unread(1 / 3), unread(1 / 3), fall(2 / 3, -14)];
    const run = [zero(0, decay(-13)), ...four(), zero(1, decay(-14))];
    const leak = told(run, equipment);
    expect(leak).toMatchObject({ decays: 2, edges: 1, time: 120 });
    const [block] = blocksOf(run, equipment);
    same(block, expected(stages, [1, 2], 0, 3, 0));
    expect(block?.below).toBeNull();
    expect((block?.uMeter ?? 0) / (block?.flow ?? 1)).toBeCloseTo(0.03, 12);
    // Idle counts of a meter that may stand still say nothing beside it; a zero point that it saw is a count.
    const [beside] = blocksOf([zero(0, decay(-13)), measure(14, idle(0, 1000)), ...four().slice(1), zero(1, decay(-14))], equipment);
    expect(beside?.flow).toBeCloseTo(block?.flow ?? 0, 15);
    const seen = { firstEdgeAt: seconds(1), lastEdgeAt: seconds(59) };
    const [counted] = blocksOf([zero(13, { ...seen, ...decay(-13) }), ...four(), zero(13, { ...seen, ...decay(-13) })], equipment);
    expect((counted?.flow ?? 0) * K).toBeCloseTo(12 / 58, 6);
    expect(counted?.uMeter).toBe(0);
    // A decay that says nothing of its own uncertainty is none.
    expect(told([zero(0, decay(0)), ...four()], { ...equipment, rail: { ...equipment.rail, complianceUncertaintyPercent: 0 } }).kind).toBe('leak');
    const mute = { decay: { ...(decay(0).decay as NonNullable<WindowSummary['decay']>), uSlope: 0 } };
    expect(told([zero(0, mute), ...four(), zero(0)], equipment)).toMatchObject({ decays: 0 });
    expect(told([zero(0, { ...decay(-13), to: seconds(1) }), ...four()], equipment)).toMatchObject({ kind: 'leak', decays: 1 });
  });
});
