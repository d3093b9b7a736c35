import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import { kilograms, unixMillis } from '../quantities/quantity.ts';
import { syntheticEquipment, syntheticPlan } from '../reduce/synthetic.test-helper.ts';
import { normals } from '../statistics/normals.ts';
import { chanceOfSignal } from './chance.ts';
import { newestOf } from './newest.ts';
import { individualsChart, type IndividualsChart } from './individuals-chart.ts';
import { referenceHistories, type RunWithReference } from './reference-history.ts';
import type { RuleSet } from './rules.ts';

/** A baseline with centre 0, no pattern of any rule, and a mean moving range that makes one standard deviation 1. */
const quiet = Array.from({ length: 5 }, () => [1, -0.5, -1, 0.5]).flat();
// Steps of 1.5 and 0.5 in turn: ten of the one and nine of the other.
const baseline = quiet.map((v) => (v * (2 / Math.sqrt(Math.PI)) * 19) / 19.5);

function chartOf(later: readonly number[], rules: RuleSet = 'western-electric'): IndividualsChart {
  const chart = individualsChart([...baseline, ...later], { rules, baseline: baseline.length });
  if (chart.kind !== 'chart') throw new Error(chart.text);
  return chart;
}

/** Rules that signal at the last of these points after the baseline. */
const atLast = (later: readonly number[], rules: RuleSet = 'western-electric') => {
  const chart = chartOf(later, rules);
  return chart.signals.filter((s) => s.chart === 'individuals' && s.index === chart.values.length - 1).map((s) => s.rule);
};

describe('limits', () => {
  it('CH-2: centre from the mean, limits from the mean moving range of the baseline', () => {
    const chart = chartOf([]);
    expect(chart.individuals.centre).toBeCloseTo(0, 12);
    expect(chart.sigma).toBeCloseTo(1, 8);
    expect(chart.individuals.upper).toBeCloseTo(3, 7);
    expect(chart.individuals.lower).toBeCloseTo(-3, 7);
    expect(chart.movingRange.centre).toBeCloseTo(1.1284, 4);
    expect(chart.movingRange.upper).toBeCloseTo(3.2665 * 1.1284, 3);
    expect(chart.movingRange.lower).toBe(0);
    expect(chart.movingRanges[0]).toBeNull();
  });

  it('CH-3: later points never move them', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: -1e6, max: 1e6, noNaN: true }), { maxLength: 30 }), (later) => {
        const [plain, more] = [chartOf([]), chartOf(later)];
        expect(more.individuals).toEqual(plain.individuals);
        expect(more.movingRange).toEqual(plain.movingRange);
        expect(more.signals.filter((s) => s.index < baseline.length)).toEqual(plain.signals);
      }),
    );
  });

  it('CH-3: shift and scale of the values move the limits with them and change no signal', () => {
    const later = [0.2, 3.4, -0.1, 2.3, 0.4, 2.5, -4];
    const plain = chartOf(later);
    const moved = individualsChart([...baseline, ...later].map((v) => 7 + 0.001 * v), { rules: 'western-electric', baseline: baseline.length });
    if (moved.kind !== 'chart') throw new Error(moved.text);
    expect(moved.signals.map((s) => [s.rule, s.chart, s.index])).toEqual(plain.signals.map((s) => [s.rule, s.chart, s.index]));
    expect(moved.individuals.upper).toBeCloseTo(7.003, 8);
  });
});

describe('rules', () => {
  it('CH-4: Western Electric, each at the point that completes it and not a point sooner', () => {
    expect(atLast([3.01])).toEqual(['WE-1']);
    expect(atLast([-3.01])).toEqual(['WE-1']);
    expect(atLast([2.99])).toEqual([]);
    expect(atLast([2.1, 0, 2.1])).toEqual(['WE-2']);
    expect(atLast([2.1, 2.1])).toEqual(['WE-2']);
    expect(atLast([2.1, 0, -2.1])).toEqual([]);
    expect(atLast([2.1, 0, 0, 2.1])).toEqual([]);
    expect(atLast([-0.1, 1.1, 1.1, 1.1, 1.1])).toEqual(['WE-3']);
    expect(atLast([-0.1, 1.1, 1.1, 0.9, 1.1])).toEqual([]);
    expect(atLast([-0.1, ...Array.from({ length: 8 }, () => 0.1)])).toEqual(['WE-4']);
    expect(atLast([-0.1, ...Array.from({ length: 7 }, () => 0.1)])).toEqual([]);
  });

  it('CH-4: Nelson, each at the point that completes it and not a point sooner', () => {
    const nelson = (later: readonly number[]) => atLast(later, 'nelson');
    expect(nelson([-3.01])).toEqual(['N-1']);
    expect(nelson([-0.1, ...Array.from({ length: 9 }, () => 0.1)])).toEqual(['N-2']);
    expect(nelson([-0.1, ...Array.from({ length: 8 }, () => 0.1)])).toEqual([]);
    expect(nelson([0.5, -0.4, -0.2, 0, 0.2, 0.4, 0.6])).toEqual(['N-3']);
    expect(nelson([0.5, -0.4, -0.2, 0, 0.2, 0.4, 0.4])).toEqual([]);
    const swinging = Array.from({ length: 14 }, (_, i) => (i % 2 === 0 ? 1.2 : -0.4));
    expect(nelson([-1.5, -0.2, ...swinging])).toContain('N-4');
    expect(nelson([-1.5, ...swinging.slice(0, 8), 0, 0, ...swinging.slice(0, 4)])).not.toContain('N-4');
    expect(nelson([2.1, 0, 2.1])).toEqual(['N-5']);
    expect(nelson([-0.1, -1.1, -1.1, -1.1, -1.1])).toEqual(['N-6']);
    const near = [0.3, -0.2, -0.4, 0.1, 0.2, -0.1, -0.3, 0.4, 0.1, -0.2, -0.1, 0.5, 0.2, -0.3, -0.1];
    expect(nelson(near)).toEqual(['N-7']);
    expect(nelson([1.3, ...near.slice(1)])).toEqual([]);
    expect(nelson([0, 1.2, 1.3, -1.2, -1.4, 1.2, 1.6, -1.1, -1.2])).toEqual(['N-8']);
  });

  it('CH-4: k of n is asked as soon as k points are there', () => {
    const first = [2.4, 2.3, ...baseline.slice(2)];
    const chart = individualsChart(first, { rules: 'western-electric', baseline: first.length });
    const sigma = chart.kind === 'chart' ? chart.sigma : 0;
    const high = individualsChart([2.4 * sigma, 2.4 * sigma, ...baseline], { rules: 'western-electric', baseline: 20 });
    expect(high.kind === 'chart' && high.signals.filter((s) => s.rule === 'WE-2').map((s) => [s.from, s.index])).toContainEqual([0, 1]);
    const only = chartOf([2.1, 2.1], 'limits');
    expect(only.signals).toEqual([]);
    expect(chartOf([3.1], 'limits').signals.map((s) => s.rule)).toContain('WE-1');
  });

  it('CH-5: a signal names the points of its pattern and says the rule in words', () => {
    const signal = chartOf([2.1, 0, 2.1]).signals.find((s) => s.rule === 'WE-2');
    expect(signal).toMatchObject({ index: 22, from: 20, text: 'Point 23 is a signal, because two of three points in a row lie more than two standard deviations to one side (WE-2).' });
  });

  it('CH-5: the moving range signals a jump between two points that are both inside', () => {
    const chart = chartOf([1.9, -1.9]);
    expect(chart.signals.filter((s) => s.chart === 'moving-range').map((s) => s.index)).toEqual([21]);
    expect(atLast([1.9, -1.9])).toEqual([]);
  });

  it('CH-4: mirrored values give the same signals', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: -4, max: 4, noNaN: true }), { maxLength: 25 }), fc.constantFrom<RuleSet>('western-electric', 'nelson'), (later, rules) => {
        const mirror = individualsChart([...baseline, ...later].map((v) => -v), { rules, baseline: baseline.length });
        const plain = chartOf(later, rules);
        expect(mirror.kind === 'chart' && mirror.signals).toEqual(plain.signals);
      }),
    );
  });
});

describe('cautions and nonsense', () => {
  it('CH-6: a short, a signalling and a wandering baseline are pointed out', () => {
    expect(chartOf([]).cautions).toEqual([]);
    const short = individualsChart([1, 2, 1, 3, 2, 1, 2, 1], { rules: 'western-electric', baseline: 8 });
    expect(short.kind === 'chart' && short.cautions.join(' ')).toMatch(/rest on 8 points only/);
    const drifting = individualsChart(baseline.map((v, i) => 0.3 * v + i * 0.5), { rules: 'western-electric', baseline: 20 });
    expect(drifting.kind === 'chart' && drifting.cautions.join(' ')).toMatch(/it wandered or stepped.*baseline itself has signals/);
  });

  it('CH-8: says why there is no chart', () => {
    const settings = { rules: 'nelson', baseline: 8 } as const;
    expect(individualsChart([1, 2], settings)).toMatchObject({ kind: 'no-chart', reason: 'too-few' });
    expect(individualsChart([], settings)).toMatchObject({ kind: 'no-chart', reason: 'too-few' });
    expect(individualsChart([1, 1, 1, 1, 1, 1, 1, 1], settings)).toMatchObject({ kind: 'no-chart', reason: 'no-scatter' });
    expect(individualsChart([1, 2, 3, Number.NaN, 1, 2, 1, 2], settings)).toMatchObject({ kind: 'no-chart', reason: 'not-a-number' });
    for (const wrong of [0, 2, 7, 8.5, -1, Number.NaN]) {
      expect(individualsChart([1, 2, 3, 4, 5, 6], { ...settings, baseline: wrong })).toMatchObject({ kind: 'no-chart', reason: 'bad-baseline' });
    }
  });
});

describe('few runs, and chance', () => {
  it('CH-9: the newest run is judged by those before it, and one in a hundred is called by chance', () => {
    const normal = normals(41);
    const histories = 4000;
    for (const n of [4, 7, 12]) {
      let outside = 0;
      for (let i = 0; i < histories; i += 1) if (newestOf(Array.from({ length: n }, normal))?.outside === true) outside += 1;
      expect(Math.abs(outside / histories - 0.01), `${n} runs`).toBeLessThan(4 * Math.sqrt((0.01 * 0.99) / histories));
    }
    expect(newestOf([1, 1.01, 0.99, 1, 1.02, 9])?.outside).toBe(true);
    for (const none of [[1, 2, 3], [1, 1, 1, 2], [1, 2, Number.NaN, 3], []]) expect(newestOf(none)).toBeNull();
  });

  it('CH-9: of seven runs not even an inner one that is infinitely far off could signal, so there is no chart; of eight it does', () => {
    const off = (n: number) => Array.from({ length: n }, (_, i) => (i === 3 ? 1e6 : (i % 2) * 1e-3));
    expect(individualsChart(off(7), { rules: 'nelson', baseline: 7 })).toMatchObject({ kind: 'no-chart' });
    const chart = individualsChart(off(8), { rules: 'limits', baseline: 8 });
    expect(chart.kind === 'chart' && chart.signals.filter((s) => s.chart === 'individuals').map((s) => s.index)).toEqual([3]);
  });

  it('CH-10: says how often chance signals, as drawn anew with other numbers', () => {
    const settings = { rules: 'western-electric', baseline: 20 } as const;
    const normal = normals(77);
    const histories = 1000;
    for (const correlation of [0, 0.5]) {
      let signalling = 0;
      for (let i = 0; i < histories; i += 1) {
        let last = normal();
        const chart = individualsChart(Array.from({ length: 40 }, () => (last = correlation * last + Math.sqrt(1 - correlation ** 2) * normal())), settings);
        if (chart.kind === 'chart' && chart.signals.length > 0) signalling += 1;
      }
      const said = chanceOfSignal(settings, 40, correlation);
      expect(Math.abs(said - signalling / histories)).toBeLessThan(4 * Math.sqrt(0.5 / histories));
      // With the moving range, half of them and nearly all.
      expect(said).toBeGreaterThan(correlation === 0 ? 0.4 : 0.85);
    }
    expect(chanceOfSignal({ rules: 'limits', baseline: 20 }, 40, 0)).toBeLessThan(0.5);
  });
});

describe('history of a reference injector', () => {
  const plan = planSchema.parse({
    ...syntheticPlan({}),
    reference: { injector: 'S-2', voltageV: 14, pressureKpa: 400, widthMs: 4, periodMs: 20, everyPoints: 10 },
  });
  const run = (id: string, at: number, masses: readonly number[], over: Partial<RunWithReference> = {}): RunWithReference => ({
    id,
    at: unixMillis(at),
    plan,
    equipment: syntheticEquipment,
    windows: expandPlan(plan).flatMap((point) => {
      const mass = point.role === 'reference' ? masses[point.replicate] : 5e-6;
      if (mass === undefined) return [];
      return [{ point: point.index, attempt: 1, at: point, outcome: { kind: 'mass', mass: kilograms(mass), uRandom: 1e-3, uShared: 2e-3 } as never }];
    }),
    ...over,
  });

  it('CH-7: gives one value for each run, the oldest first, and leaves out what is no reference', () => {
    const [history, ...others] = referenceHistories([run('b', 2000, [12e-6, 14e-6]), run('a', 1000, [10e-6, 10e-6, 13e-6]), run('none', 1500, [])]);
    expect(others).toEqual([]);
    expect(history).toMatchObject({ serialNumber: 'S-2', voltage: 14, pressure: 400e3, width: 0.004, referenceC: 20 });
    expect(history?.runs.map((r) => [r.run, (r.mass.value * 1e6).toFixed(6)])).toEqual([['a', '11.000000'], ['b', '13.000000']]);
    expect(history?.runs[0]?.sources).toHaveLength(3);
    expect(history?.runs[0]?.meterCertificate).toBe('C-1');
    expect(history?.runs[0]?.mass.uShared).toBeCloseTo(2e-3 * 11e-6, 12);
  });

  it('CH-7: keeps conditions apart', () => {
    const warmer = { ...plan, reduction: { ...plan.reduction, referenceC: 25 } };
    expect(referenceHistories([run('a', 1, [1e-5]), run('b', 2, [1e-5], { plan: warmer })])).toHaveLength(2);
    expect(referenceHistories([])).toEqual([]);
  });

  it('CH-7: pools the scatter inside runs, which a run of two points could not tell', () => {
    const runs = Array.from({ length: 10 }, (_, i) => run(`r${i}`, i, [1e-5 * (1 + i), 1.1e-5 * (1 + i)].map((m) => m / (1 + i))));
    const [history] = referenceHistories(runs);
    // Each pair lies 1e-6 apart: a variance of 5e-13 with one degree of freedom.
    for (const { mass } of history?.runs ?? []) {
      expect(mass.uRandom).toBeCloseTo(Math.sqrt(5e-13 / 2), 12);
      expect(mass.dofRandom).toBe(10);
    }
  });

  it('CH-7: a run with one reference point has the uncertainty of its window', () => {
    const [history] = referenceHistories([run('a', 1, [1e-5])]);
    expect(history?.runs[0]?.mass.uRandom).toBeCloseTo(1e-8, 12);
  });
});
