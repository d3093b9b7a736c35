/** Fluid that does not go through the injector under test: rules RED-40 to RED-48. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, kilopascals, seconds, volts } from '../quantities/quantity.ts';
import { deadTimeTables } from '../tables/dead-time.ts';
import { mapTables } from '../tables/map.ts';
import { budgetTable } from './budget-table.ts';
import { combine, stateCarried } from '../uncertainty/carried.ts';
import { errorSource, labelOf } from '../uncertainty/source.ts';
import { deadTimeCarried } from './carried-line.ts';
import { leakOf } from './leak.ts';
import { leakSentences } from './leak-words.ts';
import { levelsOf } from './local-level.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, Leak, LineCell, PeriodPair, Reduction } from './reduction.ts';
import { drawErrors, noErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow, syntheticZero } from './synthetic.test-helper.ts';

const mlPerMin = 1e-6 / 60;
const zero: Plan['zero'] = { windowS: 60, settleS: 3, decayS: 0, deadTimeUs: 1 };
const planOf = (axes: Partial<Plan['axes']> = {}, more: { readonly injectors?: number; readonly windowS?: number; readonly pairs?: number; readonly held?: number; readonly reduction?: Partial<Plan['reduction']> } = {}): Plan =>
  syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], widthMs: [3, 4, 5, 6, 8, 10, 12], ...axes }, more.injectors ?? 2, more.reduction ?? {}, {
    zero: { ...zero, windowS: more.windowS ?? 60 },
    pair: { windows: more.pairs ?? 0 },
    static: { replicates: more.held ?? 0, voltageV: 14, periodMs: 20 },
  });

interface Made {
  /** m3/s at a part of the run (0 to 1) and a pressure. */
  readonly leak?: (time: number, point: Point) => number;
  readonly seed?: number;
  readonly quiet?: boolean;
  readonly errors?: boolean;
  /** Idle time before each driven attempt, s. */
  readonly idle?: number;
  readonly silentMeter?: boolean;
}

function attemptsOf(plan: Plan, { leak = () => 0, seed = 1, quiet = false, errors = false, idle = 0, silentMeter = false }: Made): CountingAttempt[] {
  const normal = normalFrom(seed);
  const uniform = normalFrom(seed + 1e6);
  const place = (): number => Math.abs(uniform() * 7.13) % 1;
  const points = expandPlan(plan);
  const wrong = errors ? drawErrors(syntheticEquipment, normal) : noErrors;
  const scatter = quiet ? { relative: 1e-6, width: 0, voltage: 0, pressure: 0, warmer: 0 } : { relative: 3e-4, width: 5e-7, voltage: 0.01, pressure: 500, warmer: 0 };
  return points.map((point, i) => {
    const flow = leak(i / (points.length - 1), point);
    const atRest = silentMeter ? 0 : flow;
    const window =
      point.role === 'zero'
        ? syntheticZero(point, syntheticEquipment, atRest, zero.windowS ?? 60, place())
        : syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, wrong, scatter, normal, flow);
    return { point: point.index, attempt: 1, window: idle > 0 && point.role !== 'zero' ? { ...window, idle: { edges: Math.floor(place() + atRest * 47_800e3 * idle), time: idle } } : window };
  });
}

const reduced = (plan: Plan, made: Made): Reduction => reduceRun({ plan, equipment: syntheticEquipment, points: expandPlan(plan), attempts: attemptsOf(plan, made) });
const found = (leak: Leak): Extract<Leak, { kind: 'leak' }> => {
  if (leak.kind !== 'leak') throw new Error(leak.text);
  return leak;
};
const paired = (pair: PeriodPair): Extract<PeriodPair, { kind: 'period-pair' }> => {
  if (pair.kind !== 'period-pair') throw new Error(pair.text);
  return pair;
};
const linesOf = ({ cells }: Reduction): readonly LineCell[] => cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
const truth = ({ injector, voltage, pressure }: LineCell): number => syntheticInjector(injector).deadTime(voltage, pressure);
const worst = (reduction: Reduction): number => Math.max(...linesOf(reduction).map((c) => Math.abs(c.deadTime.value - truth(c)) / c.deadTime.expanded));

describe('what a leak does when nobody looks', () => {
  it('RED-46: moves every dead time by rho L P / k, far outside its interval; and the result says that nobody looked', () => {
    const plan = planOf({}, { windowS: 0 });
    for (const [size, least] of [[0.05, 1], [1, 15]] as const) {
      const reduction = reduced(plan, { leak: () => size * mlPerMin });
      const moved = linesOf(reduction).map((c) => c.deadTime.value - truth(c));
      for (const m of moved) expect(m / (-57.6e-6 * size)).toBeGreaterThan(0.5);
      expect(worst(reduction)).toBeGreaterThan(least);
      expect(reduction.leak.kind).toBe('not-looked-at');
      expect(linesOf(reduction).every((c) => c.leak === null)).toBe(true);
      expect(leakSentences(reduction.leak, reduction.periodPair, reduction.cells)[0]).toContain('Nobody looked');
    }
  });
});

describe('the leak of a run', () => {
  it('RED-40: has one block between two zero points, and a point measured again later belongs to the block of that time', () => {
    const plan = planOf({ pressureKpa: [300, 450] });
    const points = expandPlan(plan);
    const attempts = attemptsOf(plan, {});
    const { blocks } = found(leakOf(points, attempts, syntheticEquipment));
    expect(blocks.map((b) => [b.pressure, b.voltage])).toEqual([300e3, 450e3].flatMap((p, i) => (i === 0 ? [9, 10.5, 12, 14, 16] : [16, 14, 12, 10.5, 9]).map((v) => [p, v])));
    for (const b of blocks) expect(b.zeroPoints.map((z) => points[z.point]?.pressure)).toEqual([b.pressure, b.pressure]);
    const again = attempts.find((a) => points[a.point]?.role === 'measure');
    if (again === undefined) throw new Error('no point');
    const later = attempts.map((a) => ({ ...a, attempt: a === again ? 2 : 1, order: a === again ? 1e6 : a.point }));
    const moved = found(leakOf(points, later, syntheticEquipment)).blocks;
    expect(moved).toHaveLength(blocks.length + 1);
    expect(moved.at(-1)?.sources).toEqual([{ point: again.point, attempt: 2 }]);
    expect(moved[0]?.sources.some((s) => s.point === again.point)).toBe(false);
  });

  it('RED-40: is told by voltage and pressure where there are no zero points but idle time', () => {
    const plan = planOf({}, { windowS: 0 });
    const { blocks } = found(leakOf(expandPlan(plan), attemptsOf(plan, { idle: 2, leak: () => 0.5 * mlPerMin }), syntheticEquipment));
    expect(blocks.map((b) => b.voltage)).toEqual([9, 10.5, 12, 14, 16]);
    for (const b of blocks) expect(Math.abs(b.flow - 0.5 * mlPerMin)).toBeLessThan(4 * b.uFlow);
    expect(blocks[0]?.uFlow).toBeLessThan(0.06 * mlPerMin);
  });

  it('RED-41: no edge does not mean no leak, and says how small one can be seen', () => {
    const plan = planOf();
    const { blocks, edges, time } = found(leakOf(expandPlan(plan), attemptsOf(plan, {}), syntheticEquipment));
    expect([edges, time]).toEqual([0, 360]);
    // Half an edge in 360 s at 47.8 edges/mL, and root of a half.
    for (const b of blocks) {
      expect(b.flow / mlPerMin / ((0.5 / 360 / 47.8) * 60)).toBeGreaterThan(0.85);
      expect(b.flow / mlPerMin / ((0.5 / 360 / 47.8) * 60)).toBeLessThan(1.15);
      expect(b.uFlow / mlPerMin).toBeGreaterThan(0.0012);
      expect(b.uFlow / mlPerMin).toBeLessThan(0.004);
    }
  });

  it('RED-41: counts hold the leak wherever the meter stood: 95 % of cases, from 0.005 to 10 mL/min', () => {
    const plan = planOf({ voltageV: [12] });
    const points = expandPlan(plan);
    for (const size of [0.005, 0.02, 0.05, 0.3, 2, 10]) {
      let inside = 0;
      const draws = 300;
      for (let seed = 1; seed <= draws; seed += 1) {
        const zeros = attemptsOf({ ...plan }, { seed, quiet: true, leak: () => size * mlPerMin });
        const [block] = found(leakOf(points, zeros, syntheticEquipment)).blocks;
        if (block === undefined) throw new Error('no block');
        if (Math.abs(block.flow - size * mlPerMin) <= 2 * Math.hypot(block.uFlow, block.uMeter)) inside += 1;
      }
      expect(inside / draws, `${size} mL/min`).toBeGreaterThan(0.92);
    }
  });

  it('RED-41: states a leak of many edges by their times to a hundredth of what their number says', () => {
    const plan = planOf({ voltageV: [12] });
    const [block] = found(leakOf(expandPlan(plan), attemptsOf(plan, { leak: () => 5 * mlPerMin }), syntheticEquipment)).blocks;
    expect(Math.abs((block?.flow ?? 0) / mlPerMin / 5 - 1)).toBeLessThan(1e-3);
    expect((block?.uFlow ?? 1) / (block?.flow ?? 1)).toBeLessThan(2e-3);
  });

  it('RED-41: does not trust the K-factor below the certificate to better than 1 %', () => {
    const plan = planOf({ voltageV: [12] });
    const [small] = found(leakOf(expandPlan(plan), attemptsOf(plan, { leak: () => 0.5 * mlPerMin }), syntheticEquipment)).blocks;
    const [large] = found(leakOf(expandPlan(plan), attemptsOf(plan, { leak: () => 10 * mlPerMin }), syntheticEquipment)).blocks;
    expect((small?.uMeter ?? 0) / (small?.flow ?? 1)).toBeCloseTo(0.01, 9);
    expect(large?.uMeter).toBe(0);
  });

  it('RED-42: is known from the whole run where it is steady, and from beside the block where it changes', () => {
    const plan = planOf();
    const points = expandPlan(plan);
    const steady = found(leakOf(points, attemptsOf(plan, { leak: () => 0.2 * mlPerMin }), syntheticEquipment)).blocks;
    for (const b of steady) expect(Math.abs(b.flow / mlPerMin - 0.2)).toBeLessThan(0.006);
    const begins = found(leakOf(points, attemptsOf(plan, { leak: (t) => (t < 0.5 ? 0 : mlPerMin) }), syntheticEquipment)).blocks;
    expect(begins[0]?.flow).toBeLessThan(0.02 * mlPerMin);
    expect(begins[1]?.flow).toBeLessThan(0.02 * mlPerMin);
    expect(Math.abs((begins[2]?.change ?? 0) / mlPerMin - 1)).toBeLessThan(0.05);
    expect(begins[3]?.flow).toBeGreaterThan(0.98 * mlPerMin);
    expect(begins[4]?.flow).toBeGreaterThan(0.98 * mlPerMin);
    const grows = found(leakOf(points, attemptsOf(plan, { leak: (t) => t * mlPerMin }), syntheticEquipment)).blocks;
    grows.forEach((b, i) => {
      expect(Math.abs(b.flow / mlPerMin - (0.1 + 0.2 * i))).toBeLessThan(0.03);
      expect(Math.abs(b.change / mlPerMin - 0.2)).toBeLessThan(0.06);
    });
  });

  it('RED-42: the smoother gives what least squares over all readings gives, where the level is steady', () => {
    const values = [1.1, 0.9, 1.05, 0.98, 1.02, 1.01];
    const variances = [0.01, 0.02, 0.005, 0.01, 0.03, 0.01];
    const stages = values.map((value, i) => ({ at: i, jump: 0, reading: { value, variance: variances[i] ?? 1 } }));
    const weights = variances.reduce((sum, v) => sum + 1 / v, 0);
    const mean = values.reduce((sum, v, i) => sum + v / (variances[i] ?? 1), 0) / weights;
    const [told, change] = levelsOf(stages, [[{ stage: 2, weight: 1 }], [{ stage: 5, weight: 1 }, { stage: 0, weight: -1 }]]);
    expect(told?.mean).toBeCloseTo(mean, 2);
    expect(told?.variance).toBeGreaterThan(1 / weights);
    expect(told?.variance).toBeLessThan(2.2 / weights);
    expect(Math.abs(change?.mean ?? 1)).toBeLessThan(0.03);
    // A jump of many standard deviations is followed, and the readings behind it do not pull on those before.
    const jump = levelsOf(stages.map((s, i) => ({ ...s, reading: { value: i < 3 ? 0 : 10, variance: 0.01 } })), [[{ stage: 1, weight: 1 }], [{ stage: 3, weight: 1 }, { stage: 2, weight: -1 }]]);
    expect(Math.abs(jump[0]?.mean ?? 1)).toBeLessThan(0.01);
    expect(Math.abs((jump[1]?.mean ?? 0) - 10)).toBeLessThan(0.05);
    expect(() => levelsOf([{ at: 0, jump: 0, reading: null }], [])).toThrow('no stage has a reading');
  });

  it('RED-42: a leak through a hole and one through a gap are told at each pressure, whichever it is', () => {
    const plan = planOf({ pressureKpa: [200, 400], voltageV: [10, 12, 14] });
    for (const power of [0.5, 1]) {
      const { blocks } = found(leakOf(expandPlan(plan), attemptsOf(plan, { leak: (_, p) => 2 * mlPerMin * (p.pressure / 4e5) ** power }), syntheticEquipment));
      for (const b of blocks) expect(Math.abs(b.flow / (2 * mlPerMin * (b.pressure / 4e5) ** power) - 1), `power ${power}`).toBeLessThan(0.02);
    }
  });
});

describe('results with a leak', () => {
  it('RED-43: hold the truth of dead time, slope and static flow; without a leak U95 hardly grows', () => {
    const plan = planOf({}, { held: 3 });
    for (const size of [0, 0.05, 0.1]) {
      let inside = 0;
      let of = 0;
      for (let seed = 1; seed <= 12; seed += 1) {
        const reduction = reduced(plan, { seed, errors: true, leak: () => size * mlPerMin });
        for (const c of linesOf(reduction)) {
          of += 1;
          if (Math.abs(c.deadTime.value - truth(c)) <= c.deadTime.expanded) inside += 1;
        }
      }
      expect(of, `${size} mL/min`).toBe(120);
      expect(inside / of, `${size} mL/min`).toBeGreaterThan(0.85);
    }
    const [looked, blind] = [plan, planOf({}, { windowS: 0, held: 3 })].map((p) => linesOf(reduced(p, {})));
    (looked ?? []).forEach((c, i) => expect(c.deadTime.expanded / (blind?.[i]?.deadTime.expanded ?? 0)).toBeLessThan(1.05));
  });

  it('RED-43: the budget of a mass has the leak and its change as lines of their own, and still adds up', () => {
    const plan = planOf();
    const reduction = reduced(plan, { leak: (t) => 0.1 * (1 + t) * mlPerMin });
    const window = reduction.windows.find((w) => w.at.role === 'measure');
    if (window?.outcome.kind !== 'mass') throw new Error('no mass');
    const { outcome } = window;
    const table = budgetTable(outcome, syntheticEquipment);
    const names = table.rows.map((r) => labelOf(r.source)).filter((n) => n.includes('leak'));
    expect(names).toEqual(['leak in block 1', 'leak change in block 1, injector 1', 'slip of the meter at the flow of the leak', 'leak path of injector 1']);
    expect(Math.hypot(...table.rows.map((r) => r.contribution))).toBeCloseTo(table.mass.u, 15);
    expect(table.rows.find((r) => labelOf(r.source) === 'leak in block 1')?.evidence).toMatchObject({ kind: 'statement' });
    expect((outcome.measured - outcome.leaked) * outcome.pressureFactor * outcome.temperatureFactor).toBeCloseTo(outcome.mass, 18);
    // 0.1 mL/min for 20 ms of 0.68 mg/uL.
    expect(outcome.leaked * 1e6).toBeCloseTo(0.11 * 1e3 / 60 * 0.02 * 0.68, 2);
  });

  it('RED-43: what is not known of the mean moves all cells of a block alike, and so goes out of their differences and not out of their mean', () => {
    const cells = linesOf(reduced(planOf(), { leak: () => 0.05 * mlPerMin })).filter((c) => c.voltage === 16);
    const [a, b] = cells;
    if (a === undefined || b === undefined) throw new Error('two injectors');
    const mean = (c: LineCell): number => c.shared.find((s) => labelOf(s.source) === 'leak in block 5')?.onDeadTime ?? Number.NaN;
    expect(mean(a)).toBeGreaterThan(1e-7);
    expect(mean(b) / mean(a)).toBeCloseTo(1 / 1.01, 2);
    const joined = combine(0, [{ of: deadTimeCarried(a), sensitivity: 1 }, { of: deadTimeCarried(b), sensitivity: -1 }]);
    expect(Math.abs(joined.parts.get(errorSource('leak', '5').key)?.effect ?? 1)).toBeLessThan(0.03 * mean(a));
    expect(stateCarried(joined).u).toBeGreaterThan(0);
    const change = a.shared.filter((s) => s.source.quantity === 'leak-change').map((s) => labelOf(s.source));
    expect(change).toContain('leak change in block 5, injector 1');
    expect(change.every((name) => name.endsWith('injector 1'))).toBe(true);
  });

  it('RED-44: a leak through the own seat stays inside the intervals of slope and static flow, turns no dead time, and Qs / m does not feel it', () => {
    const plan = planOf({ voltageV: [12] }, { held: 3, injectors: 1 });
    const size = 0.2 * mlPerMin;
    const seat = reduced(plan, { quiet: true, leak: (_, p) => (p.role === 'zero' ? size : size * (1 - Math.min(1, Math.max(0, p.width - syntheticInjector(0).deadTime(volts(12), kilopascals(400))) / p.period) * (p.role === 'static' ? p.period / (p.period - syntheticInjector(0).deadTime(volts(12), kilopascals(400))) : 1))) });
    const [cell] = linesOf(seat);
    if (cell === undefined) throw new Error('no line');
    const missing = (680 * size) / cell.slope.value;
    const slope = syntheticInjector(0).slope(kilopascals(400));
    expect(cell.slope.value / slope - 1).toBeLessThan(-0.5 * missing);
    expect(Math.abs(cell.slope.value - slope)).toBeLessThan(cell.slope.expanded);
    expect(Math.abs(cell.deadTime.value - truth(cell))).toBeLessThan(cell.deadTime.expanded);
    const path = cell.shared.find((s) => labelOf(s.source) === 'leak path of injector 1');
    expect(path?.onDeadTime).toBe(0);
    expect(Math.abs((path?.onSlope ?? 0) / cell.slope.value)).toBeCloseTo(missing / Math.sqrt(3), 5);
    const [flow] = seat.staticFlows;
    if (flow?.kind !== 'static-flow' || cell.staticToSlope === null) throw new Error('no static flow');
    const ofFlow = flow.shared.find((s) => labelOf(s.source) === 'leak path of injector 1')?.effect ?? 0;
    expect(ofFlow / flow.flow.value / ((path?.onSlope ?? 1) / cell.slope.value)).toBeCloseTo(1, 1);
  });
});

describe('limits of a leak', () => {
  it('RED-45: a leak that is too large, or that began inside the block, leaves no result there, in words, and spoils no other line', () => {
    const plan = planOf();
    const large = reduced(plan, { leak: () => 5 * mlPerMin });
    for (const c of large.cells) {
      expect(c).toMatchObject({ kind: 'no-line', reason: 'leak' });
      expect(c.kind === 'no-line' ? c.text : '').toMatch(/A leak of 5 mL\/min past the injector moves the dead time by .* times its U95; 10 is the limit.*measure this block again/);
    }
    const begun = reduced(plan, { leak: (t) => (t < 0.5 ? 0 : 0.15 * mlPerMin) });
    const refused = begun.cells.filter((c) => c.kind === 'no-line');
    expect(new Set(refused.map((c) => c.voltage))).toEqual(new Set([12]));
    expect(refused[0]?.kind === 'no-line' ? refused[0].text : '').toContain('changed while this was measured');
    // Of eight one may lie just beyond its 95 %.
    expect(worst(begun)).toBeLessThan(1.2);
    const [table] = deadTimeTables(begun);
    expect(table?.rows[2]?.cells[0]).toMatchObject({ kind: 'missing', reason: 'leak' });
    const limits = { leakTimesU95: 1e6, leakChangeTimesU95: 1e6 };
    expect(linesOf(reduced(planOf({}, { reduction: limits }), { leak: () => 5 * mlPerMin }))).toHaveLength(10);
  });

  it('RED-45: a place of a map that rests on a refused voltage is missing, others are told as before', () => {
    const begun = reduced(planOf(), { leak: (t) => (t > 0.85 ? 0.15 * mlPerMin : 0) });
    expect(begun.cells.filter((c) => c.kind === 'no-line').map((c) => c.voltage)).toEqual([16, 16]);
    const [map] = mapTables(begun, 'dead-time', { voltages: [9, 9.7, 11, 13, 15, 16], pressures: [4e5] });
    expect(map?.cells.map(([c]) => (c?.kind === 'missing' ? c.reason : c?.basis))).toEqual(['measured', 'interpolated', 'interpolated', 'leak', 'leak', 'leak']);
  });

  it('RED-45: what short zero points leave open is marked to be measured again, with the result standing', () => {
    const short = planOf({}, { windowS: 10, reduction: { leakUncertaintyTimesU95: 0.05 } });
    const reduction = reduced(short, { leak: () => 0.02 * mlPerMin });
    expect(linesOf(reduction)).toHaveLength(10);
    expect(linesOf(reduction).some((c) => c.leak?.again?.includes('Longer zero points') === true)).toBe(true);
    expect(leakSentences(reduction.leak, reduction.periodPair, reduction.cells).join(' ')).toContain('measure them again with longer zero points');
  });

  it('RED-45: a static flow that a leak spoils says so', () => {
    const plan = planOf({ voltageV: [12] }, { held: 2, reduction: { leakTimesU95: 0.01 } });
    expect(reduced(plan, { leak: () => 2 * mlPerMin }).staticFlows[0]).toMatchObject({ kind: 'no-static-flow', reason: 'leak' });
  });

  it('a mass of which nothing is left when the leak is subtracted is a typed refusal', () => {
    const plan = planOf({ voltageV: [12] });
    const attempts = attemptsOf(plan, { leak: (_, p) => (p.role === 'zero' ? 1000 * mlPerMin : 0) });
    const outcome = reduceRun({ plan, equipment: syntheticEquipment, points: expandPlan(plan), attempts }).windows.find((w) => w.at.role === 'measure')?.outcome;
    expect(outcome).toMatchObject({ kind: 'no-mass', reason: 'all-leak' });
  });
});

describe('period pair', () => {
  const plan = planOf({ voltageV: [12, 14] }, { injectors: 8, windowS: 0, pairs: 1 });

  it('RED-47: 0.05 mL/min shows, and on a sound bench nothing does', () => {
    const z = (size: number, seed: number): number => paired(reduced({ ...plan, pair: { windows: 1 } }, { seed, errors: true, leak: () => size * mlPerMin }).periodPair).z;
    const sound = [1, 2, 3, 4, 5, 6].map((seed) => z(0, seed));
    for (const one of sound) expect(Math.abs(one)).toBeLessThan(3.5);
    const leaking = [1, 2, 3, 4, 5, 6].map((seed) => z(0.2, seed));
    for (const one of leaking) expect(one).toBeGreaterThan(3);
  });

  it('RED-47: injectors that differ by more than their windows explain leave their mean as uncertain as their spread says', () => {
    const { injectors, uRandom, flow } = paired(reduced(plan, { leak: (_, p) => (p.role === 'pair' && p.injector % 2 === 0 ? 0.4 : 0) * mlPerMin }).periodPair);
    const squares = injectors.reduce((sum, one) => sum + (one.flow - flow) ** 2, 0);
    const ofSpread = Math.sqrt(squares / (injectors.length - 1) / injectors.length);
    expect(ofSpread / mlPerMin).toBeGreaterThan(0.1);
    expect(Math.abs(uRandom / ofSpread - 1)).toBeLessThan(0.1);
    const alike = paired(reduced(plan, { leak: (_, p) => (p.role === 'pair' ? 0.4 : 0) * mlPerMin }).periodPair);
    expect(alike.uRandom).toBeLessThan(uRandom / 5);
  });

  it('RED-47: where nobody looked at rest, it is the leak that is subtracted', () => {
    const reduction = reduced(plan, { leak: () => 0.1 * mlPerMin });
    const { blocks, time } = found(reduction.leak);
    expect(time).toBe(0);
    expect(blocks).toHaveLength(1);
    expect(Math.abs((blocks[0]?.flow ?? 0) / mlPerMin - 0.1)).toBeLessThan(3 * ((blocks[0]?.uFlow ?? 0) / mlPerMin));
    expect(worst(reduction)).toBeLessThan(1);
    expect(leakSentences(reduction.leak, reduction.periodPair, reduction.cells)[0]).toContain('windows at twice the period alone');
  });

  it('RED-47: a meter that stands still at rest is found out, and no result is stated', () => {
    const reduction = reduced(planOf({ voltageV: [12, 14] }, { injectors: 8, pairs: 1 }), { leak: () => 0.5 * mlPerMin, silentMeter: true });
    const pair = paired(reduction.periodPair);
    expect(Math.abs(pair.flow / mlPerMin - 0.5)).toBeLessThan(0.15);
    expect(pair.z).toBeGreaterThan(5);
    for (const c of reduction.cells) expect(c).toMatchObject({ kind: 'no-line', reason: 'leak' });
    expect(leakSentences(reduction.leak, reduction.periodPair, reduction.cells).join(' ')).toContain('contradict each other');
  });

  it('RED-49: where the record says below which flow the meter stands still, the leak is somewhere up to that, and pulses tell where', () => {
    const equipment = { ...syntheticEquipment, meter: { ...syntheticEquipment.meter, leastHertz: 0.4 } };
    const size = 0.35 * mlPerMin;
    const of = (pairs: number): Reduction => {
      const plan = planOf({ voltageV: [12, 14] }, { injectors: 8, pairs });
      return reduceRun({ plan, equipment, points: expandPlan(plan), attempts: attemptsOf(plan, { leak: () => size, silentMeter: true }) });
    };
    const alone = of(0);
    for (const b of found(alone.leak).blocks) {
      expect(b.below === null ? 0 : b.below / mlPerMin).toBeCloseTo((0.4 / 47.8) * 60, 3);
      expect(Math.abs(b.flow - size)).toBeLessThan(2 * b.uMeter);
    }
    // All but those whose windows leave them so uncertain that what is not known of the leak hardly adds to it.
    const lines = linesOf(alone);
    expect(lines.filter((c) => c.leak?.again != null).length).toBeGreaterThanOrEqual(0.75 * lines.length);
    expect(worst(alone)).toBeLessThan(1);
    expect(leakSentences(alone.leak, alone.periodPair, alone.cells)[0]).toContain('stands still below 0.5 mL/min');
    const withPairs = of(1);
    for (const [i, b] of found(withPairs.leak).blocks.entries()) {
      expect(b.uMeter).toBeLessThan(0.5 * (found(alone.leak).blocks[i]?.uMeter ?? 0));
      expect(Math.abs(b.flow - size)).toBeLessThan(2 * b.uMeter);
    }
    expect(worst(withPairs)).toBeLessThan(1);
  });

  it('RED-49: where the rail was shut off, its fall of pressure tells the leak that the meter does not see', () => {
    const equipment = { ...syntheticEquipment, meter: { ...syntheticEquipment.meter, leastHertz: 0.4 }, rail: { complianceMlPerMpa: 80, complianceUncertaintyPercent: 3, volumeMl: 50 } };
    const plan = planOf({ voltageV: [12, 14] });
    const points = expandPlan(plan);
    const size = 0.2 * mlPerMin;
    const normal = normalFrom(5);
    const attempts = attemptsOf(plan, { leak: () => size, silentMeter: true }).map((a): CountingAttempt => {
      if (points[a.point]?.role !== 'zero') return a;
      // 80 mL/MPa: 0.2 mL/min lower the pressure by 42 Pa/s.
      const slope = -size / 80e-12 + 2 * normal();
      return { ...a, window: { ...a.window, decay: { from: seconds(60), to: seconds(80), frames: 400, pressure: kilopascals(399.5), railTemperature: celsius(20), slope, uSlope: 2, warming: 0, uWarming: 1e-5 } } };
    });
    const reduction = reduceRun({ plan, equipment, points, attempts });
    const { blocks, decays } = found(reduction.leak);
    expect(decays).toBe(3);
    for (const b of blocks) {
      expect(b.below).toBeNull();
      expect(b.uMeter / b.flow).toBeCloseTo(0.03, 9);
      expect(Math.abs(b.flow - size)).toBeLessThan(3 * Math.hypot(b.uFlow, b.uMeter));
      expect(b.uFlow).toBeLessThan(0.02 * mlPerMin);
    }
    expect(worst(reduction)).toBeLessThan(1);
    expect(leakSentences(reduction.leak, reduction.periodPair, reduction.cells)[0]).toContain('3 pressure decays');
  });

  it('RED-47: agrees with zero points that saw the leak, and says so', () => {
    const reduction = reduced(planOf({ voltageV: [12, 14] }, { injectors: 8, pairs: 1 }), { leak: () => 0.1 * mlPerMin });
    expect(paired(reduction.periodPair)).toMatchObject({ agrees: true });
    expect(leakSentences(reduction.leak, reduction.periodPair, reduction.cells).join(' ')).toContain('zero points and pulses do not contradict each other');
    expect(reduction.periodPair.kind === 'period-pair' ? reduction.periodPair.injectors : []).toHaveLength(8);
  });
});

describe('what is said of a leak', () => {
  it('RED-48: names where it began', () => {
    const reduction = reduced(planOf(), { leak: (t) => (t < 0.5 ? 0 : 0.15 * mlPerMin) });
    const text = leakSentences(reduction.leak, reduction.periodPair, reduction.cells).join(' ');
    expect(text).toContain('The leak grew by');
    expect(text).toMatch(/to block 4 \(14 V\)/);
    const steady = reduced(planOf(), {});
    expect(leakSentences(steady.leak, steady.periodPair, steady.cells).join(' ')).not.toContain('grew');
    expect(leakSentences(steady.leak, steady.periodPair, steady.cells)[0]).toContain('No leak past the injectors is seen');
  });
});

