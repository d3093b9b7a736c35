/** What decisions make of chance: lines that their widths miss, calls of the self-check, slopes that differ, bends that are none. */
import { describe, expect, it } from 'vitest';
import { reduceRun } from '../reduce/reduce.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import type { SyntheticInjector } from '../reduce/synthetic.test-helper.ts';
import { errorSource } from '../uncertainty/source.ts';
import { blockOf } from './cells.ts';
import { bendSeen } from './known.ts';
import { planOf, play, straight } from './play.test-helper.ts';
import { refinementOf } from './refine.ts';
import type { Refining } from './refine.ts';

const plan = planOf({ deadTimeUs: 4 });
const refining: Refining = { slopeWanted: null, most: 60, besides: 1.2, minS: 2 };

/** A run that has its replicates, and no more. */
function begun(seed = 4) {
  const { decisions } = play(plan, straight, { seed });
  const until = decisions.findIndex((d) => d.additions.some((a) => a.rule === 'SCH-7' || a.rule === 'SCH-40')) + 1;
  const { points, attempts } = play(plan, straight, { seed, until });
  const soFar = { plan, equipment: syntheticEquipment, points: points.slice(0, points.length), attempts, out: new Set<number>() };
  return { soFar, reduction: reduceRun(soFar) };
}

const wishesOf = (of: ReturnType<typeof begun>, reduction: Reduction, by = refining) => refinementOf(blockOf({ ...of.soFar, points: of.soFar.points.slice(0, Math.max(...of.soFar.attempts.map((a) => a.point)) + 1) }, reduction, 400, 20), by);
const withLines = (reduction: Reduction, change: (line: LineCell) => LineCell): Reduction => ({ ...reduction, cells: reduction.cells.map((c) => (c.kind === 'line' ? change(c) : c)) });

describe('doubts of a schedule', () => {
  it('SCH-40: a width that its line misses by more than windows scatter is measured again, and nothing else for its sake until it is believed', () => {
    const of = begun();
    const off = 5e-3;
    const doubted = withLines(of.reduction, (line) =>
      line.voltage !== 12 ? line : {
        ...line,
        deadTime: { ...line.deadTime, expanded: 9e-6, uRandom: 4e-6 },
        lackOfFit: { ...line.lackOfFit, significant: true },
        widths: line.widths.map((w) => ({ ...w, deviationPercent: w.width === off ? 1 : 0.01 })),
      });
    const wishes = wishesOf(of, doubted).filter((w) => w.cell.voltage === 12);
    expect(wishes.map((w) => [w.rule, [...w.widths]])).toEqual([0, 1, 2].map(() => ['SCH-40', [off]]));
    expect(wishes[0]?.why).toMatch(/^S-\d at 12 V, 5 ms: its widths scatter about the line by more than its windows do; whether by chance, a further window tells$/u);
    // Six windows are enough to believe it, and a line that is at its target has no need of them.
    const often = blockOf({ ...of.soFar, points: of.soFar.points.flatMap((p) => (p.role === 'measure' && p.width === off ? new Array<typeof p>(6).fill(p) : [p])) }, doubted, 400, 20);
    expect(refinementOf(often, refining).some((w) => w.rule === 'SCH-40' && w.widths.includes(off as never))).toBe(false);
    const there = withLines(doubted, (line) => ({ ...line, deadTime: { ...line.deadTime, expanded: 1e-6 } }));
    expect(wishesOf(of, there)).toEqual([]);
  });

  it('SCH-40: a line that one window put in doubt comes to its target with a few more', () => {
    const hit = (): ((index: number, voltage: number) => SyntheticInjector) => {
      let left = 1;
      return (index, voltage) => ({ ...straight(index), bend: (width) => (index === 0 && voltage === 14 && Math.abs(width - 4e-3) < 1e-9 && left-- > 0 ? 4.5e-8 : 0) });
    };
    const played = [1, 2, 3, 4, 5, 6].map((seed) => play(plan, hit(), { seed }));
    expect(played.flatMap((p) => p.decisions.flatMap((d) => d.additions)).some((a) => a.rule === 'SCH-40')).toBe(true);
    for (const { decisions, points } of played) {
      expect(decisions.at(-1)?.text).not.toContain('has had');
      expect(points.filter((p) => p.role === 'measure' && p.injector === 0 && p.voltage === 14).length).toBeLessThan(40);
    }
  });

  it('SCH-63: windows that lie far off, of which nothing says that they are wrong, keep no line and no map from its target', () => {
    const axes = { ...planOf({}).axes, widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] };
    const cells = planOf({ deadTimeUs: 30 }, { axes: { ...axes, voltageV: [14] } }, 2);
    const map = planOf({ deadTimeUs: undefined, map: { voltageV: [12, 13, 14], pressureKpa: [400], deadTimeUs: 40 } }, { axes: { ...axes, voltageV: [12, 14] } }, 2);
    // The first window of the run and another one pass 1.3 % more: the rail still filled, and once more after the host had died.
    for (const [wanting, seed, other] of [[cells, 31, 9], [cells, 71, 9], [cells, 113, 7], [map, 27, 13], [map, 31, 9]] as const) {
      let measured = 0;
      const hit = (index: number): SyntheticInjector => {
        const me = measured++;
        return { ...straight(index), bend: (width) => (me === 0 || me === other ? 5.2e-5 * width : 0) };
      };
      const { points, attempts, decisions } = play(wanting, hit, { seed });
      expect(decisions.at(-1)?.text).toMatch(/^All \d cells are known as well as was wanted\.$/u);
      const asked = decisions.flatMap((d) => d.additions).filter((a) => a.rule === 'SCH-63');
      expect(asked[0]?.why).toMatch(/^S-\d at 1[24] V, \d+ ms: a window lies far off, and the others of its width do not outvote it; a further one tells which is wrong$/u);
      // Two more at most for each, and these windows still count for nothing at the end.
      expect(asked.flatMap((a) => a.points).length).toBeLessThanOrEqual(8);
      expect(points.length).toBeLessThan(70);
      const light = reduceRun({ plan: wanting, equipment: syntheticEquipment, points, attempts }).lightWindows;
      expect(light.map((w) => w.point)).toContain(0);
    }
    // A bench whose windows fit is asked for none.
    expect(play(cells, straight).decisions.flatMap((d) => d.additions).some((a) => a.rule === 'SCH-63')).toBe(false);
  });

  it('SCH-41: what the order of windows may call by chance is not what instruments leave: windows go on as they would without it', () => {
    const of = begun();
    const without = wishesOf(of, of.reduction);
    expect(without.length).toBeGreaterThan(0);
    const called = (place: string): Reduction =>
      withLines(of.reduction, (line) => {
        const uShared = Math.hypot(line.deadTime.uShared, 5e-6);
        return { ...line, shared: [...line.shared, { source: errorSource('invariance', place), onDeadTime: 5e-6, onSlope: 0 }], deadTime: { ...line.deadTime, uShared, expanded: Math.max(line.deadTime.expanded, 1.96 * uShared * 1.01) } };
      });
    const all = (wishes: typeof without): number => wishes.reduce((sum, w) => sum + w.widths.length, 0);
    expect(all(wishesOf(of, called('direction')))).toBeGreaterThanOrEqual(all(without));
    // Other members are not asked anew by ordinary windows.
    expect(wishesOf(of, called('time'))).toEqual([]);
  });

  it('SCH-42: where the lines of an injector are not parallel, the windows for a cell are its own', () => {
    const of = begun();
    const only = withLines(of.reduction, (line) => (line.voltage === 9 ? { ...line, deadTime: { ...line.deadTime, expanded: 9e-6, uRandom: 4e-6 } } : { ...line, deadTime: { ...line.deadTime, expanded: 1e-6 } }));
    const spread = (own: number, common: number): Reduction => ({ ...only, slopeModels: only.slopeModels.map((m) => ({ ...m, spread: own, commonSpread: common })) });
    const places = (own: number, common: number): readonly string[] => wishesOf(of, spread(own, common), { ...refining, atOnce: 8 }).flatMap((w) => w.widths.map((width) => `${w.cell.voltage} ${width === 12e-3 ? 'long' : 'short'}`));
    const longs = (own: number, common: number): number => places(own, common).filter((place) => place === '9 long').length;
    for (const place of places(1e-2, 0)) expect(place).toMatch(/^9 /u);
    expect(longs(1e-2, 0)).toBeGreaterThan(longs(0, 0) + 2);
    expect(longs(0, 1e-2)).toBeGreaterThan(longs(0, 0));
  });
});

describe('the choice of windows', () => {
  /** U95 of dead times by voltage, and what instruments leave of it, us; all else is known well. 4 us are wanted. */
  const lacking = (of: ReturnType<typeof begun>, u95: ReadonlyMap<number, { readonly all: number; readonly shared?: number }>): Reduction => ({
    ...withLines(of.reduction, (line) => {
      const { all, shared = 0 } = u95.get(line.voltage) ?? { all: 1 };
      const per = 1e-6 / line.deadTime.coverageFactor;
      return { ...line, deadTime: { ...line.deadTime, uRandom: per * Math.sqrt(all ** 2 - shared ** 2), uShared: per * shared, u: per * all, expanded: 1e-6 * all } };
    }),
    slopeModels: of.reduction.slopeModels.map((m) => ({ ...m, spread: 0, commonSpread: 0 })),
  });
  const chosen = (of: ReturnType<typeof begun>, u95: Parameters<typeof lacking>[1], atOnce: number) => wishesOf(of, lacking(of, u95), { ...refining, atOnce }).filter((w) => w.cell.injector === 0).flatMap((w) => w.widths.map((width) => ({ voltage: w.cell.voltage, width })));

  it('SCH-44: a long window tells the slope of all cells that lack something, a short one its own alone: the more lack, the more go to long ones', () => {
    const of = begun();
    const longs = (voltages: readonly number[]): number => chosen(of, new Map(voltages.map((v) => [v, { all: 6 }])), 8).filter(({ width }) => width === 12e-3).length;
    for (const one of plan.axes.voltageV) expect(longs(plan.axes.voltageV)).toBeGreaterThan(2 * longs([one]));
  });

  it('SCH-44: what is nearly there lacks little, however much a window would take off it', () => {
    const of = begun(3);
    expect(chosen(of, new Map([[14, { all: 4.2, shared: 3.5 }]]), 1)).toMatchObject([{ voltage: 14 }]);
    expect(chosen(of, new Map([[9, { all: 4.004 }]]), 1)).toMatchObject([{ voltage: 9 }]);
    expect(chosen(of, new Map([[14, { all: 4.2, shared: 3.5 }], [9, { all: 4.004 }]]), 1)).toMatchObject([{ voltage: 14 }]);
  });

  it('SCH-7: an injector gets two windows, or a sixteenth of those that it has had, before it is looked at again', () => {
    const { decisions, points } = play(planOf({ deadTimeUs: 2.6 }), straight, { seed: 4 });
    let had = new Map<number, number>();
    let most = 0;
    for (const { additions } of decisions) {
      const added = new Map<number, number>();
      for (const a of additions) if (a.rule === 'SCH-7') for (const p of a.points) if (p.role === 'measure') added.set(p.injector, (added.get(p.injector) ?? 0) + 1);
      for (const [injector, count] of added) expect(count).toBeLessThanOrEqual(Math.max(2, (had.get(injector) ?? 0) / 16));
      most = Math.max(most, ...added.values());
      had = new Map(had);
      for (const a of additions) for (const p of a.points) if (p.role === 'measure') had.set(p.injector, (had.get(p.injector) ?? 0) + 1);
    }
    expect(points.length).toBeGreaterThan(3 * 5 * 16);
    expect(most).toBeGreaterThan(2);
  });
});

/** Lines whose pulses of these open times, ms, lie off by so much, us; all windows scatter by a microsecond. */
const linesOff = (off: Readonly<Record<string, number>>, dof = 1000) => {
  const slope = 4e-3;
  const widths = Object.entries({ ...off, 12: 0 }).map(([ms, us]) => ({ width: Number(ms) / 1e3, windows: 4, mass: (slope * Number(ms)) / 1e3, deviationPercent: (100 * us) / 1e3 / Number(ms) }));
  const line = { widths: widths.sort((a, b) => b.width - a.width), deadTime: { value: 0 }, slope: { value: slope } } as unknown as LineCell;
  return [{ lines: new Array<LineCell>(8).fill(line), scatter: { constant: (1e-6 * slope) ** 2, relative: 0, dof, from: 'replicates' as const, pressure: 4e5 as never, period: 0.02 as never } }];
};

describe('a bend that earlier runs tell', () => {
  it('SCH-43: is asked by how well the scatter is known', () => {
    // 4 windows of 8 lines: 0.18 us; 4 standard uncertainties.
    expect(bendSeen(linesOff({ 1: 0.71, 2: 0, 3: 0 }))).toBeCloseTo(1e-3, 6);
    expect(bendSeen(linesOff({ 1: 0.71, 2: 0, 3: 0 }, 8))).toBeNull();
    expect(bendSeen(linesOff({ 1: 1.4, 2: 0, 3: 0 }, 8))).toBeCloseTo(1e-3, 6);
    expect(bendSeen(linesOff({ 1: 1.4 }, 0))).toBeNull();
  });
});
