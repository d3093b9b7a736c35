import { describe, expect, it } from 'vitest';
import type { Plan } from '../plan/plan.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { LineCell } from '../reduce/reduction.ts';
import { syntheticEquipment, syntheticInjector } from '../reduce/synthetic.test-helper.ts';
import type { SyntheticInjector } from '../reduce/synthetic.test-helper.ts';
import type { KnownType } from './cells.ts';
import { knownDeadTime, knownOf } from './known.ts';
import { bentBelow, planOf, play, rulesOf, straight } from './play.test-helper.ts';

/** Pulses shorter than `reach`, s, of open time pass more than their line says, the more the shorter. */
const fading = (reach: number, strength = 4e-7) => (index: number, voltage: number): SyntheticInjector => {
  const of = syntheticInjector(index);
  const deadTime = of.deadTime(voltage as never, 4e5 as never);
  return { ...of, bend: (width) => strength * Math.max(0, reach - (width - deadTime)) / 1e-3 };
};

const type = planOf({}).injectors[0]?.type ?? '';
const earlier = (plan: Plan, injector: (index: number, voltage: number) => SyntheticInjector, seed: number) => {
  const { points, attempts } = play(plan, injector, { seed });
  return { plan, reduction: reduceRun({ plan, equipment: syntheticEquipment, points, attempts }) };
};
const told = (reach: number): KnownType => {
  const known = knownOf([1, 2, 3].map((seed) => earlier(planOf({}), fading(reach), seed)), type, 400, 'runs 1 to 3');
  if (known === null) throw new Error('nothing was told');
  return known;
};
const widthsAt = (points: readonly { readonly role: string; readonly voltage: number; readonly width: number }[], voltage: number): readonly number[] =>
  [...new Set(points.filter((p) => p.role === 'measure' && p.voltage === voltage).map((p) => Number((p.width * 1e3).toFixed(3))))].sort((a, b) => b - a);
const linesIn = (plan: Plan, { points, attempts }: ReturnType<typeof play>): readonly LineCell[] => reduceRun({ plan, equipment: syntheticEquipment, points, attempts }).cells.filter((c) => c.kind === 'line');

describe('what earlier runs tell of a type', () => {
  it('SCH-12: where its lines begin, its dead times, and how its windows scatter', () => {
    const known = told(1.6e-3);
    // It is seen where it comes to half a microsecond, and a margin lies above.
    expect(known.linearFromOpenMs).toBeGreaterThan(1.35);
    expect(known.linearFromOpenMs).toBeLessThan(1.9);
    expect(known.deadTimes.map((d) => d.voltageV)).toEqual([9, 10.5, 12, 14, 16]);
    for (const { voltageV, deadTimeMs } of known.deadTimes) expect(Math.abs(deadTimeMs / 1e3 - syntheticInjector(1).deadTime(voltageV as never, 4e5 as never))).toBeLessThan(60e-6);
    expect(known.scatterPercent).toBeGreaterThan(0.07);
    expect(known.scatterPercent).toBeLessThan(0.13);
    expect(known.scatterUs).toBeLessThan(2);
    expect(known).toMatchObject({ type, pressureKpa: 400, from: 'runs 1 to 3' });
  });

  it('SCH-12: nothing of another type, of another pressure, or where nothing bends', () => {
    const run = earlier(planOf({}), fading(1.6e-3), 1);
    expect(knownOf([run], 'another', 400, 'x')).toBeNull();
    expect(knownOf([run], type, 300, 'x')).toBeNull();
    expect(knownOf([earlier(planOf({}), straight, 1)], type, 400, 'x')).toBeNull();
    expect(knownOf([], type, 400, 'x')).toBeNull();
  });

  it('SCH-12: a dead time lies between those of the voltages beside it, and beyond them nothing is known', () => {
    const deadTimes = [{ voltageV: 16, deadTimeMs: 0.5 }, { voltageV: 10, deadTimeMs: 1.1 }, { voltageV: 12, deadTimeMs: 0.9 }];
    expect(knownDeadTime({ deadTimes }, 12)).toBeCloseTo(0.9e-3, 12);
    // Dead times fall the faster the lower the voltage.
    expect(knownDeadTime({ deadTimes }, 11)).toBeLessThan(1e-3);
    expect(knownDeadTime({ deadTimes }, 11)).toBeGreaterThan(0.97e-3);
    expect(knownDeadTime({ deadTimes }, 9)).toBeNull();
    expect(knownDeadTime({ deadTimes }, 16.5)).toBeNull();
  });
});

describe('a schedule of a type that is known', () => {
  const known = told(1.6e-3);

  it('SCH-12: begins where its lines are said to end, without a search, says so, and takes less time', () => {
    const plan = planOf({ known: [known] });
    const first = play(plan, fading(1.6e-3), { until: 1 });
    expect(rulesOf(first.decisions[0])).toEqual(['SCH-12']);
    for (const voltage of [9, 10.5, 12, 14, 16]) {
      const widths = widthsAt(first.points.concat(first.decisions[0]?.additions.flatMap((a) => a.points.map((p, i) => ({ ...p, index: i }))) ?? []), voltage);
      expect(widths[0]).toBe(12);
      expect(widths).toHaveLength(4);
      const deadTime = known.deadTimes.find((d) => d.voltageV === voltage)?.deadTimeMs ?? Number.NaN;
      expect(Math.min(...widths) - deadTime).toBeGreaterThan(known.linearFromOpenMs);
    }
    expect(first.decisions[0]?.additions[0]?.why).toContain(`straight from ${known.linearFromOpenMs} ms of open time as far as is known (runs 1 to 3)`);
    const seeds = [11, 12, 13, 14, 15, 16];
    const runs = seeds.map((seed) => play(plan, fading(1.6e-3), { seed }));
    for (const run of runs) expect(run.decisions.at(-1)?.text).toBe('All 15 cells are known as well as was wanted.');
    // Now and then chance speaks against what is known.
    expect(runs.filter((run) => run.decisions.flatMap(rulesOf).every((rule) => ['SCH-12', 'SCH-7', 'SCH-9', 'SCH-40'].includes(rule))).length).toBeGreaterThanOrEqual(4);
    const points = (played: readonly ReturnType<typeof play>[]): number => played.reduce((sum, p) => sum + p.points.length, 0);
    expect(points(runs)).toBeLessThan(0.9 * points(seeds.map((seed) => play(planOf({}), fading(1.6e-3), { seed }))));
  });

  it('SCH-12: the numbers are made from the windows alone', () => {
    const plan = planOf({ known: [known] });
    const { points, attempts } = play(plan, fading(1.6e-3));
    const reduced = (known_: readonly KnownType[]) => reduceRun({ plan: planOf({ known: [...known_] }), equipment: syntheticEquipment, points, attempts });
    expect(reduced([])).toEqual(reduced([{ ...known, linearFromOpenMs: 9, scatterPercent: 50, scatterUs: 90, deadTimes: [{ voltageV: 9, deadTimeMs: 7 }] }]));
  });

  it('SCH-13: is measured as one that is not known where its lines bend above that, and says what it saw', () => {
    const plan = planOf({ known: [{ ...known, linearFromOpenMs: known.linearFromOpenMs - 0.5 }] });
    const played = play(plan, fading(1.6e-3));
    const again = played.decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-13');
    expect(again.length).toBeGreaterThan(0);
    expect(again[0]?.why).toMatch(/its windows lie off a line that is straight as far as is known \(runs 1 to 3\): it is measured as one that is not known$/);
    // The first windows of a search are there then.
    for (const voltage of [12, 14, 16]) expect(widthsAt(played.points, voltage)).toEqual(expect.arrayContaining([12, 5, 4, 3.2]));
    for (const { region, deadTime } of linesIn(plan, played)) expect(region.from - deadTime.value).toBeGreaterThan(1.15e-3);
  });

  it('SCH-13: an injector that bends where its type does not is measured as one that is not known', () => {
    const plan = planOf({ known: [{ ...known, linearFromOpenMs: 1.25 }], deadTimeUs: 20 }, {}, 8);
    const lines: LineCell[] = [];
    for (const seed of [4, 5, 6, 7]) {
      const played = play(plan, (index, voltage) => (index === 1 ? fading(2.8e-3, 1.5e-7) : fading(1.1e-3, 6e-8))(index, voltage), { seed });
      expect(played.decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-13').some((a) => a.points.some((p) => p.injector === 1))).toBe(true);
      // Its width in the middle lies above the bend, so that its lines end there in place of taking three bent widths for straight.
      lines.push(...linesIn(plan, played).filter((line) => line.injector === 1));
    }
    const outside = lines.filter(({ deadTime, voltage }) => Math.abs(deadTime.value - syntheticInjector(1).deadTime(voltage, 4e5 as never)) > deadTime.expanded);
    expect(lines).toHaveLength(20);
    expect(outside.length).toBeLessThanOrEqual(2);
  });

  it('SCH-12: says nothing of another type, another pressure, or a voltage beyond what is known: these are searched', () => {
    const first = (known_: KnownType) => rulesOf(play(planOf({ known: [known_] }), bentBelow(1.2e-3), { until: 1 }).decisions[0]);
    expect(first({ ...known, type: 'another' })).toEqual(['SCH-3']);
    expect(first({ ...known, pressureKpa: 300 })).toEqual(['SCH-3']);
    expect(first({ ...known, deadTimes: known.deadTimes.slice(1) })).toEqual(['SCH-3']);
    // Nor where too few widths lie above.
    expect(first({ ...known, linearFromOpenMs: 6 })).toEqual(['SCH-3']);
    expect(first(known)).toEqual(['SCH-12']);
  });
});
