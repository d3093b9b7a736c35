/** RED-47, RED-49: windows made by hand, of injectors that are a formula, and what the pair must say of them. */
import { describe, expect, it } from 'vitest';
import type { Point } from '../plan/points.ts';
import { celsius, kelvins, kilograms, kilopascals, milliseconds, pascals, seconds, volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { term } from '../uncertainty/budget.ts';
import { errorSource } from '../uncertainty/source.ts';
import { attemptNumber } from './leak-block.ts';
import type { LeakBlock } from './leak-block.ts';
import type { MassPerPulse } from './mass.ts';
import { usualCoil } from './coil-thermal.ts';
import { leakByPair, periodPairOf } from './period-pair.ts';
import type { CountingAttempt, Leak, LineCell, NoLineCell, PeriodPair, ScatterModel } from './reduction.ts';
import { syntheticPlan } from './synthetic.test-helper.ts';

const mlPerMin = 1e-6 / 60;
const made = syntheticPlan({}, 3);
/** The second coil is known, of the others the usual 14 ohm is taken. */
const plan = { ...made, injectors: made.injectors.map((one, i) => (i === 1 ? { ...one, coilResistanceOhm: 12 } : one)) };
const k = 4e-3;
const deadTime = 1e-3;
const width = 5e-3;
const density = 690;
const sensitivity = { byVoltage: -1.3e-4, byPressure: 2e-10, byTemperature: 2.5e-6 };
const place = { role: 'measure', channel: 1, voltage: volts(14), pressure: kilopascals(400), width: seconds(width), period: milliseconds(20), index: 0, replicate: 0 } as const;

type Question = Parameters<typeof periodPairOf>[0];
type Windows = Question['windows'];
interface Made {
  readonly leak?: number;
  readonly pair?: boolean;
  readonly edges?: number;
  readonly uTiming?: number;
  readonly at?: Partial<Point>;
  /** How far the bench stood from the plan: V, Pa, K. */
  readonly off?: readonly [number, number, number];
  readonly factors?: readonly [number, number];
  /** Error of the meter's point, relative, for one standard uncertainty. */
  readonly ofMeter?: number;
  readonly extra?: number;
  readonly ohm?: number;
  readonly point?: number;
}

/** Heat of one pulse, J: the supply's, without the time in which the current rises. */
const heat = (ohm: number): number => (14 * 14 * (width - 1.5 * deadTime)) / ohm;

/** A window of an injector whose coil stands 0.75 K above the fuel for each watt, and whose line is k (w - t0). */
function windowOf(injector: number, { leak = 0, pair = false, edges = 100, uTiming = 0, at = {}, off = [0, 0, 0], factors = [1, 1], ofMeter = 0, extra = 0, ohm = 14, point = 0 }: Made = {}): Windows[number] {
  const period = pair ? 0.04 : 0.02;
  const shift = sensitivity.byVoltage * off[0] + sensitivity.byPressure * off[1] + sensitivity.byTemperature * (off[2] + (0.75 * heat(ohm)) / period);
  const mass = k * (width - deadTime - shift) + density * leak * period * factors[0] * factors[1] + extra;
  const outcome = {
    kind: 'mass', mass: kilograms(mass), meterDensity: density, pressureFactor: factors[0], temperatureFactor: factors[1], uTiming,
    budget: [term(errorSource('k-factor'), 1, '', 1, 1, 'shared'), ...(ofMeter === 0 ? [] : [term(errorSource('k-factor-point', '10'), 1, '', -1, ofMeter, 'shared')])],
  } as unknown as MassPerPulse;
  const window = {
    edges, supply: { mean: volts(14 + off[0]), sd: 0 }, pressure: { mean: pascals(4e5 + off[1]), sd: 0 }, railTemperature: { mean: kelvins(celsius(plan.reduction.referenceC) + off[2]), sd: 0 },
  } as unknown as WindowSummary;
  return { reduced: { point, attempt: 1, at: { ...place, injector, ...(pair ? { role: 'pair' as const, period: milliseconds(40) } : {}), ...at }, outcome }, window };
}

const cellOf = (injector: number): LineCell =>
  ({
    kind: 'line', injector, voltage: place.voltage, pressure: place.pressure, period: place.period, slope: { value: k }, deadTime: { value: deadTime },
    byVoltage: { value: sensitivity.byVoltage }, byPressure: { value: sensitivity.byPressure }, byTemperature: { value: sensitivity.byTemperature },
  }) as unknown as LineCell;
const scatter: readonly ScatterModel[] = [{ pressure: place.pressure, period: place.period, constant: 1e-18, relative: 1e-8, dof: 20, from: 'replicates' }];
const ask = (windows: Windows, more: Partial<Question> = {}): PeriodPair => periodPairOf({ plan, windows, cells: plan.injectors.map((_, i) => cellOf(i)), scatter, blocks: new Map(), coilOf: () => usualCoil, delayOf: () => 0, ...more });
const found = (windows: Windows, more: Partial<Question> = {}): Extract<PeriodPair, { kind: 'period-pair' }> => {
  const pair = ask(windows, more);
  if (pair.kind !== 'period-pair') throw new Error(pair.text);
  return pair;
};
const perFlow = density * 0.02;

describe('RED-47 what a pair tells', () => {
  it('is the leak, whatever the warmth of the coil and wherever the bench stood', () => {
    for (const injector of [0, 1]) {
      const ohm = injector === 1 ? 12 : 14;
      for (const leak of [0, 0.4 * mlPerMin]) {
        const pair = found([
          windowOf(injector, { leak, ohm, off: [0.05, 0, 0], factors: [1.01, 1] }),
          windowOf(injector, { leak, ohm, off: [0, 800, 0], factors: [1.01, 1] }),
          windowOf(injector, { leak, ohm, pair: true, off: [0, 0, 2], factors: [1.01, 1] }),
          windowOf(injector, { leak, ohm, pair: true, off: [-0.02, -300, -1], factors: [1.01, 1] }),
        ]);
        expect(pair.flow / mlPerMin).toBeCloseTo(leak / mlPerMin, 9);
        expect(pair.injectors).toMatchObject([{ injector, serialNumber: `S-${injector + 1}` }]);
      }
    }
  });

  it('takes nothing off for the warmth of a coil whose current never rises', () => {
    const late = { ...cellOf(0), deadTime: { value: 4e-3 } } as unknown as LineCell;
    const plain = (pair: boolean): Windows[number] => windowOf(0, { pair, ohm: Number.POSITIVE_INFINITY });
    expect(found([plain(false), plain(true)], { cells: [late] }).flow / mlPerMin).toBeCloseTo(0, 12);
  });

  it('refers the leak to what the windows at the period itself would pass more', () => {
    const factors = [1.02, 0.97] as const;
    const pair = found([windowOf(0, { factors }), windowOf(0, { pair: true, factors, extra: 1e-9 })]);
    expect(pair.flow / (1e-9 / (perFlow * 1.02 * 0.97))).toBeCloseTo(1, 6);
  });

  it('is as uncertain as the windows repeat: one of fewer edges worse in proportion, none better than its timing', () => {
    const variance = (m: number): number => 1e-18 + 1e-8 * m * m;
    const u = (windows: Windows): number => found(windows).uRandom * perFlow;
    const [m, warm] = [windowOf(0), windowOf(0, { pair: true })].map(({ reduced: { outcome } }) => (outcome.kind === 'mass' ? outcome.mass : 0)) as [number, number];
    expect(u([windowOf(0), windowOf(0, { pair: true })]) / Math.sqrt(variance(m) + variance(warm))).toBeCloseTo(1, 9);
    expect(u([windowOf(0), windowOf(0), windowOf(0), windowOf(0), windowOf(0, { pair: true }), windowOf(0, { pair: true })]) / Math.sqrt(variance(m) / 4 + variance(warm) / 2)).toBeCloseTo(1, 9);
    expect(u([windowOf(0), windowOf(0, { pair: true, edges: 50 })]) / Math.sqrt(variance(m) + 4 * variance(warm))).toBeCloseTo(1, 9);
    expect(u([windowOf(0), windowOf(0, { pair: true, edges: 400 })]) / Math.sqrt(variance(m) + variance(warm))).toBeCloseTo(1, 9);
    expect(u([windowOf(0, { edges: 50 }), windowOf(0, { edges: 150 }), windowOf(0, { pair: true, edges: 100 })]) / Math.sqrt((variance(m) * 4 + variance(m)) / 4 + variance(warm))).toBeCloseTo(1, 9);
    expect(u([windowOf(0), windowOf(0, { pair: true, uTiming: 3e-4 })]) / Math.sqrt(variance(m) + (3e-4 * warm) ** 2)).toBeCloseTo(1, 9);
  });

  it('is as uncertain in common as the warmth, rectangular from none to twice what is taken off, and as the points of the K-curve', () => {
    const watts = heat(14) / 0.02 - heat(14) / 0.04;
    const warmth = (k * sensitivity.byTemperature * 0.75 * watts) / Math.sqrt(3) / perFlow;
    expect(found([windowOf(0), windowOf(0, { pair: true })]).uShared / warmth).toBeCloseTo(1, 9);
    const [m, warm] = [windowOf(0), windowOf(0, { pair: true })].map(({ reduced: { outcome } }) => (outcome.kind === 'mass' ? outcome.mass : 0)) as [number, number];
    const curve = (3e-4 * warm - 1e-4 * m) / perFlow;
    const pair = found([windowOf(0, { ofMeter: 1e-4 }), windowOf(0, { ofMeter: 1e-4 }), windowOf(0, { pair: true, ofMeter: 3e-4 })]);
    expect(pair.uShared / Math.hypot(warmth, curve)).toBeCloseTo(1, 9);
    // Two injectors have it in common: averaging does not help. One of the two without it halves it.
    const two = (second: number): number =>
      found([0, 1].flatMap((i) => [windowOf(i, { ofMeter: i === 0 ? 1e-4 : second }), windowOf(i, { pair: true, ofMeter: i === 0 ? 3e-4 : 3 * second })]), { plan: made }).uShared;
    expect(two(1e-4) / Math.hypot(warmth, curve)).toBeCloseTo(1, 6);
    expect(two(0) / Math.hypot(warmth, curve / 2)).toBeCloseTo(1, 6);
  });

  it('is the mean weighted by the inverse of the variances; injectors that differ by more make it as uncertain as they differ (Birge)', () => {
    const of = (extras: readonly number[], edges: readonly number[]) =>
      found(extras.flatMap((extra, i) => [windowOf(i, { ohm: 14 }), windowOf(i, { pair: true, extra, edges: edges[i] ?? 100, ohm: 14 })]), { plan: made });
    const two = of([0, 2e-8], [100, 50]);
    const weights = two.injectors.map((f) => 1 / f.uRandom ** 2);
    const [w0 = 0, w1 = 0] = weights;
    const [f0, f1] = two.injectors.map((f) => f.flow);
    expect(w0 / w1).toBeGreaterThan(2);
    expect(two.flow / ((w0 * (f0 ?? 0) + w1 * (f1 ?? 0)) / (w0 + w1))).toBeCloseTo(1, 9);
    // Of two nobody knows which is off: their own scatter is stated.
    expect(two.uRandom / Math.sqrt(1 / (w0 + w1))).toBeCloseTo(1, 9);
    const three = of([0, 0, 3e-8], [100, 100, 100]);
    const [u = 1] = three.injectors.map((f) => f.uRandom);
    const mean = three.injectors.reduce((sum, f) => sum + f.flow, 0) / 3;
    const spread = Math.sqrt(three.injectors.reduce((sum, f) => sum + (f.flow - mean) ** 2, 0) / 2 / 3);
    expect(spread / (u / Math.sqrt(3))).toBeGreaterThan(2);
    expect(three.uRandom / spread).toBeCloseTo(1, 2);
    const alike = of([0, 0, 0], [100, 100, 100]);
    expect(alike.uRandom / ((alike.injectors[0]?.uRandom ?? 0) / Math.sqrt(3))).toBeCloseTo(1, 9);
  });

  it('agrees with what was taken off within four standard uncertainties of all that is not known', () => {
    const block: LeakBlock = { block: 0, pressure: 4e5, voltage: 14, flow: 3e-9, uFlow: 2e-10, change: 3e-10, uChange: 4e-10, uMeter: 1e-10, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [] };
    const later = { ...block, flow: 5e-9, uFlow: 0, change: 0, uChange: 0, uMeter: 3e-10 };
    const blocks = new Map([[attemptNumber({ point: 1, attempt: 1 }), block], [attemptNumber({ point: 2, attempt: 1 }), later]]);
    const pair = (extra: number) => found([windowOf(0, { point: 1 }), windowOf(0, { point: 2, pair: true, extra })], { blocks });
    const { takenOff, uTakenOff, uRandom, uShared, beside } = pair(0);
    expect(beside).toBe(true);
    expect(takenOff).toBeCloseTo(4e-9, 18);
    expect(uTakenOff * 1e9).toBeCloseTo((Math.hypot(0.2, 0.1, 0.5 / Math.sqrt(12)) + 0.3) / 2, 9);
    const all = Math.hypot(uRandom, uShared, uTakenOff);
    for (const [times, agrees] of [[3.98, true], [4.02, false], [-3.98, true], [-4.02, false]] as const) {
      const made4 = pair(times * all * perFlow);
      expect(made4.z).toBeCloseTo(times, 1);
      expect(made4.agrees).toBe(agrees);
    }
    const blind = found([windowOf(0), windowOf(0, { pair: true })]);
    expect(blind).toMatchObject({ beside: false, takenOff: 0, uTakenOff: 0 });
  });

  it('uses windows of the same injector, width, voltage and pressure, and the line and scatter at half the period, and no others', () => {
    const good = [windowOf(0), windowOf(0, { pair: true, extra: 1e-9 })];
    const wrong: readonly Partial<Point>[] = [{ injector: 1 }, { voltage: volts(12) }, { pressure: kilopascals(300) }, { width: milliseconds(6) }, { period: milliseconds(10) }, { role: 'reference' }];
    const strays = wrong.map((at) => windowOf(0, { at, extra: 1 }));
    const base = found(good);
    expect(found([...good, ...strays])).toEqual(base);
    for (const at of wrong.slice(1, 4)) expect(found([...good, windowOf(0, { pair: true, at, extra: 1 })])).toEqual(base);
    expect(found([...good, windowOf(0, { pair: true, at: { period: milliseconds(60) }, extra: 1 })])).toEqual(base);
    const refused = { reduced: { ...windowOf(0).reduced, outcome: { kind: 'no-mass', reason: 'no-pressure', text: '' } }, window: windowOf(0).window } as Windows[number];
    expect(found([...good, refused])).toEqual(base);
    const elsewhere = (change: object): LineCell => ({ ...cellOf(0), slope: { value: 1 }, ...change }) as unknown as LineCell;
    const cells = [elsewhere({ injector: 1 }), elsewhere({ voltage: 12 }), elsewhere({ pressure: 3e5 }), elsewhere({ period: 0.04 }), cellOf(0)];
    const models = [{ pressure: 3e5 }, { period: 0.04 }].map((change) => ({ ...scatter[0], relative: 1, ...change }) as ScatterModel);
    expect(found(good, { cells, scatter: [...models, ...scatter] })).toEqual(base);
  });

  it('says what is missing: no pair, no partner, no line, no scatter', () => {
    const none = (windows: Windows, more: Partial<Question> = {}): string => {
      const pair = ask(windows, more);
      return pair.kind === 'no-period-pair' ? pair.text : '';
    };
    const good = [windowOf(0), windowOf(0, { pair: true })];
    expect(none([windowOf(0)])).toContain('No window at twice the period was measured');
    const useless = 'have no line and no windows of the same width';
    expect(none([windowOf(0, { pair: true })])).toContain(useless);
    expect(none(good, { cells: [] })).toContain(useless);
    expect(none(good, { cells: [{ ...cellOf(0), kind: 'no-line' } as unknown as NoLineCell] })).toContain(useless);
    expect(none(good, { scatter: [] })).toContain(useless);
    // Another injector that has all of it still speaks.
    expect(found([windowOf(1, { pair: true }), ...good]).injectors.map((f) => f.injector)).toEqual([0]);
  });
});

describe('what a pair makes of the leak of a run', () => {
  const pair = (more: Partial<Extract<PeriodPair, { kind: 'period-pair' }>> = {}): PeriodPair => ({
    kind: 'period-pair', injectors: [], flow: 6e-9, uRandom: 3e-10, uShared: 4e-10, beside: true, takenOff: 0, uTakenOff: 0, z: 1, agrees: true, ...more,
  });
  const block: LeakBlock = { block: 0, pressure: 4e5, voltage: 14, flow: 2e-9, uFlow: 1e-10, change: 0, uChange: 0, uMeter: 1.2e-9, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [] };
  const looked = (blocks: readonly LeakBlock[]): Leak => ({ kind: 'leak', edges: 3, time: 60, decays: 0, blocks });
  const notLooked: Leak = { kind: 'not-looked-at', text: '' };
  const points = (['zero', 'measure', 'pair', 'static'] as const).map((role, index): Point => ({ ...place, role, index, injector: 0, voltage: volts(10 + index) }));
  const attempts = [0, 1, 2, 3, 9].map((point): CountingAttempt => ({ point, attempt: 2, window: windowOf(0).window }));
  const by = (leak: Leak, one: PeriodPair) => leakByPair(leak, one, points, attempts);

  it('nothing without a pair, and nothing where it agrees with zero points that see', () => {
    expect(by(looked([block]), { kind: 'no-period-pair', text: '' })).toBeNull();
    expect(by(looked([block]), pair())).toBeNull();
  });

  it('RED-47: where it contradicts them, the difference joins what the meter is not trusted at rest, rectangular, and decides', () => {
    const found2 = by(looked([block]), pair({ agrees: false, flow: -6e-9 }));
    expect(found2?.contradiction).toBe(6e-9);
    expect(found2?.leak).toMatchObject({ kind: 'leak', edges: 3, blocks: [{ flow: 2e-9, uMeter: expect.closeTo(Math.hypot(1.2e-9, 6e-9 / Math.sqrt(3)), 18) as number }] });
  });

  it('RED-49: where the meter stands still, both by the inverse of their variances, and not below nothing', () => {
    const still = { ...block, below: 4e-9 };
    const found3 = by(looked([still, block]), pair());
    if (found3?.leak.kind !== 'leak') throw new Error('no leak');
    const [joined, other] = found3.leak.blocks;
    const [wMeter, wPair] = [1 / 1.2e-9 ** 2, 1 / 5e-10 ** 2];
    expect((joined?.flow ?? 0) / ((wMeter * 2e-9 + wPair * 8e-9) / (wMeter + wPair))).toBeCloseTo(1, 9);
    expect((joined?.uMeter ?? 0) * Math.sqrt(wMeter + wPair)).toBeCloseTo(1, 9);
    expect(other).toEqual(block);
    expect(found3.contradiction).toBeNull();
    const below = by(looked([still]), pair({ flow: -9e-9, agrees: false }));
    expect(below?.contradiction).toBe(9e-9);
    expect(below?.leak).toMatchObject({ blocks: [{ flow: 0 }] });
  });

  it('RED-47: where nobody looked, all of it over the whole run, which may have been anything up to twice that', () => {
    const found4 = by(notLooked, pair());
    expect(found4).toEqual({
      contradiction: null,
      leak: {
        kind: 'leak', edges: 0, time: 0, decays: 0,
        blocks: [{ block: 0, pressure: 4e5, voltage: 11, flow: 6e-9, uFlow: expect.closeTo(5e-10, 18) as number, change: 0, uChange: 6e-9, uMeter: 0, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [1, 2, 3].map((point) => ({ point, attempt: 2 })) }],
      },
    });
    expect(by(notLooked, pair({ flow: -1e-9 }))?.leak).toMatchObject({ blocks: [{ flow: 0, uChange: 0 }] });
    expect(leakByPair(notLooked, pair(), points, attempts.slice(0, 1))).toBeNull();
  });
});
