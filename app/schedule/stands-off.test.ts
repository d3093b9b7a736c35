import { describe, expect, it } from 'vitest';
import { typicalDeadTime } from '../plan/typical.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { LineCell } from '../reduce/reduction.ts';
import { normalFrom, syntheticEquipment, syntheticInjector } from '../reduce/synthetic.test-helper.ts';
import type { SyntheticInjector } from '../reduce/synthetic.test-helper.ts';
import type { KnownType, WantedCell } from './cells.ts';
import { planOf, play } from './play.test-helper.ts';
import { standingOff } from './stands-off.ts';

const voltages = [9, 10.5, 12, 14, 16];

/** Lines of injectors whose dead times are so many times those of a usual one. */
const cellsOf = (times: readonly number[], at: readonly number[] = voltages): readonly WantedCell[] =>
  times.flatMap((of, injector) => at.map((voltage) => ({ injector, voltage, found: { kind: 'line', deadTime: { value: of * typicalDeadTime(voltage) } } }) as unknown as WantedCell));
const offOf = (times: readonly number[]): readonly number[] => [...standingOff(cellsOf(times))];

describe('SCH-47 an injector whose dead times lie off those of its type', () => {
  const usual = [0.97, 0.99, 1, 1.01, 1.02, 1.03, 0.98];

  it('by more than they differ among each other is called, longer or shorter', () => {
    expect(offOf([...usual, 1.2])).toEqual([7]);
    expect(offOf([0.8, ...usual])).toEqual([0]);
    expect(offOf([...usual, 1.05])).toEqual([]);
    // Others that differ as much say nothing of it, and fewer than four do not tell how much they differ.
    expect(offOf([0.8, 0.9, 0.95, 1, 1.05, 1.1, 1.15, 1.2])).toEqual([]);
    expect(offOf([1, 1, 1.001, 2])).toEqual([]);
    expect(offOf([1, 1, 1.001, 0.999, 2])).toEqual([4]);
    expect([...standingOff([])]).toEqual([]);
  });

  it('is looked at where it has lines at all voltages that others have', () => {
    expect([...standingOff([...cellsOf(usual), ...cellsOf([1, 1, 1, 1, 1, 1, 1, 1.2], [9]).filter((c) => c.injector === 7)])]).toEqual([]);
  });

  it('is called by chance in no more than one of twenty runs of injectors of one type', () => {
    const normal = normalFrom(5);
    const runs = 2000;
    let called = 0;
    for (let run = 0; run < runs; run += 1) if (offOf(Array.from({ length: 8 }, () => 1 + 0.03 * normal())).length > 0) called += 1;
    // Five percent, three standard errors to either side.
    expect(called / runs).toBeLessThan(0.065);
    expect(called / runs).toBeGreaterThan(0.03);
  });
});

describe('a known type with an injector of another make', () => {
  const known: KnownType = {
    type: planOf({}).injectors[0]?.type ?? '', pressureKpa: 400, from: 'runs 1 to 3', linearFromOpenMs: 1.4, scatterPercent: 0.1, scatterUs: 1,
    deadTimes: voltages.map((voltageV) => ({ voltageV, deadTimeMs: 1e3 * syntheticInjector(4).deadTime(voltageV as never, 4e5 as never) })),
  };
  /** Bends of an injector that is half as slow again end at half as much again, and its dead times are longer; what lies there is the more the shorter. */
  const another = (index: number, voltage: number): SyntheticInjector => {
    const of = syntheticInjector(index);
    const slower = index === 1;
    const deadTime: SyntheticInjector['deadTime'] = (...at) => syntheticInjector(4).deadTime(...at) * (slower ? 1.3 : 1 + 0.005 * (index - 4));
    return { ...of, deadTime, bend: (width) => 1.2e-8 * Math.max(0, (slower ? 2 : 1.2) * 1e-3 - (width - deadTime(voltage as never, 4e5 as never))) / 1e-4 };
  };

  it('SCH-48: looks below the end of its type for its own, at the two lowest voltages, says why, and no line of it holds what bends', () => {
    const plan = planOf({ known: [known], deadTimeUs: 20 }, {}, 8);
    const reasons: string[] = [];
    for (const seed of [21, 22, 23, 24]) {
      const { points, attempts, decisions } = play(plan, another, { seed });
      const searched = decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-48');
      const of1 = searched.filter((a) => a.points.some((p) => p.injector === 1));
      expect([...new Set(of1.flatMap((a) => a.points.map((p) => p.voltage as number)))].sort((a, b) => a - b)).toEqual([9, 10.5]);
      expect(of1[0]?.why).toMatch(/ it differs from its type: where its own bends end is looked for$/);
      reasons.push(...decisions.flatMap((d) => d.additions).flatMap((a) => (a.rule === 'SCH-13' && a.points.some((p) => p.injector === 1) ? [a.why] : [])));
      const lines = reduceRun({ plan, equipment: syntheticEquipment, points, attempts }).cells.filter((c): c is LineCell => c.kind === 'line' && c.injector === 1);
      expect(lines).toHaveLength(5);
      for (const { region, deadTime } of lines) expect(region.from - deadTime.value).toBeGreaterThan(1.9e-3);
      expect(decisions.at(-1)?.additions).toEqual([]);
    }
    // Now and then chance speaks against the whole type first.
    expect(reasons.some((why) => why.endsWith('its dead times lie off those of the others of its type by more than these differ from each other: it is measured as one that is not known'))).toBe(true);
  });

  it('SCH-49: a line that cannot do without what bends gets the width above', () => {
    const plan = planOf({ deadTimeUs: 20 }, {}, 8);
    const asked: string[] = [];
    for (const seed of [21, 22, 23]) {
      const { points, attempts, decisions } = play(plan, another, { seed });
      asked.push(...decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-49').map((a) => a.why));
      for (const cell of reduceRun({ plan, equipment: syntheticEquipment, points, attempts }).cells) if (cell.kind === 'line') expect(cell.region.stop.kind).not.toBe('bent-within');
    }
    expect(asked[0]).toMatch(/its bends go on above [\d.]+ ms, and its line has no width to spare$/);
  });
});
