import { describe, expect, it } from 'vitest';
import type { Plan } from '../plan/plan.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { syntheticEquipment } from '../reduce/synthetic.test-helper.ts';
import type { SyntheticInjector } from '../reduce/synthetic.test-helper.ts';
import { mapTables } from '../tables/map.ts';
import { planOf, play, rulesOf, straight } from './play.test-helper.ts';
import { howFar, progressOf } from './progress.ts';
import { decideNext } from './schedule.ts';

type WantedMap = NonNullable<NonNullable<Plan['targets']>['map']>;

/** Wants a table of eight voltages and three pressures from five and two of them, and nothing of measured cells. */
const table: WantedMap = { voltageV: [9, 10, 11, 12, 13, 14, 15, 16], pressureKpa: [300, 350, 400], deadTimeUs: 4 };
const wanting = (map: Partial<WantedMap> = {}, { voltageV = [9, 10.5, 12, 14, 16], more = {}, hours = 24 }: { readonly voltageV?: readonly number[]; readonly more?: Partial<Plan>; readonly hours?: number } = {}): Plan =>
  planOf({ deadTimeUs: undefined, map: { ...table, ...map }, hours }, { axes: { ...planOf({}).axes, voltageV: [...voltageV], pressureKpa: [300, 400] }, ...more }, 2);

const foundOf = (plan: Plan, { points, attempts }: ReturnType<typeof play>) => {
  const soFar = { plan, equipment: syntheticEquipment, points, attempts };
  const reduction = reduceRun(soFar);
  return { reduction, progress: progressOf({ ...soFar, out: new Set() }, reduction) };
};

describe('a schedule that wants the cells of a map', () => {
  it('SCH-14 SCH-15: brings every cell of the table to its target, as the table states it, a pressure after the other, and no more', () => {
    const plan = wanting({ deadTimeUs: 3.2 });
    const played = play(plan, straight, { seed: 2 });
    const { reduction, progress } = foundOf(plan, played);
    const tables = mapTables(reduction, 'dead-time', { voltages: table.voltageV, pressures: table.pressureKpa.map((p) => p * 1e3) }).filter(({ of }) => of !== 'Set mean');
    expect(tables.flatMap((t) => t.cells.flat())).toHaveLength(48);
    for (const cell of tables.flatMap((t) => t.cells.flat())) expect(cell.kind === 'value' && cell.result.expanded).toBeLessThanOrEqual(3.2e-6);
    expect(progress.map(({ state, of }) => `${of} ${state}`)).toEqual(new Array(48).fill('map-dead-time reached'));
    expect(played.decisions.at(-1)?.text).toBe('All 48 cells are known as well as was wanted.');
    const additions = played.decisions.flatMap((d) => d.additions);
    expect(additions.filter((a) => a.rule === 'SCH-15').length).toBeGreaterThan(5);
    expect(additions.find((a) => a.rule === 'SCH-15')?.why).toMatch(/^(short|long) end of S-\d at [\d.]+ V and 300 kPa; map of dead times at [\d.]+ V and 300 kPa: U95 \d.* now, 3\.2 us wanted$/u);
    // Its own cells bring a pressure as far as it must: it is left once.
    const pressures = played.points.filter((p) => p.role === 'measure').map((p) => p.pressure);
    expect(pressures.filter((p, i) => i > 0 && p !== pressures[i - 1])).toHaveLength(1);
    // A looser map takes less.
    expect(play(wanting({ deadTimeUs: 9 }), straight, { seed: 2 }).points.length).toBeLessThan(played.points.length);
    expect(play(plan, straight, { seed: 2 }).decisions).toEqual(played.decisions);
  });

  it('SCH-14: a slope of the map is wanted too, and voltages of it have targets of their own', () => {
    const tight = wanting({ deadTimeUs: 30, slopePercent: 0.4 });
    const scattered = { relative: 4e-3 };
    const played = play(tight, straight, scattered);
    expect(played.decisions.flatMap((d) => d.additions).some((a) => a.why.includes('map of slopes'))).toBe(true);
    const { progress } = foundOf(tight, played);
    expect(progress.filter((c) => c.of === 'map-slope').every((c) => c.state === 'reached' && (c.expanded ?? 1) <= 0.004)).toBe(true);
    expect(played.points.length).toBeGreaterThan(play(wanting({ deadTimeUs: 30 }), straight, scattered).points.length);
    const own = wanting({ deadTimeUs: 30, atVoltage: [{ voltageV: 11, deadTimeUs: 3.2 }] });
    const first = foundOf(own, play(own, straight)).progress.filter((c) => c.voltage === 11);
    expect(first.map((c) => c.wanted)).toEqual(new Array(6).fill(3.2e-6));
    expect(first.every((c) => c.state === 'reached')).toBe(true);
  });

  it('SCH-15: comes back to a pressure that was left, where the cells between rest on it, changes seldom, and ends each visit with a reference and a zero point', () => {
    const plan = wanting({ pressureKpa: [350], deadTimeUs: 2.6 }, { more: { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 300, widthMs: 5, periodMs: 20, everyPoints: 1000 } } });
    const { points, decisions } = play(plan, straight);
    const measured = points.filter((p) => p.role === 'measure').map((p) => p.pressure);
    const changes = measured.filter((p, i) => i > 0 && p !== measured[i - 1]).length;
    expect(changes).toBeGreaterThanOrEqual(2);
    expect(changes).toBeLessThanOrEqual(6);
    expect(decisions.filter((d) => rulesOf(d).includes('SCH-15')).length).toBeGreaterThan(changes);
    // Whatever was measured at a pressure is followed by a zero point there before another is set.
    let [last, closed] = [points[0], true];
    for (const point of points) {
      if (point.role === 'measure') {
        if (point.pressure !== last?.pressure) expect(closed).toBe(true);
        [last, closed] = [point, false];
      } else if (point.role === 'zero' && point.pressure === last?.pressure) closed = true;
    }
    expect(closed).toBe(true);
    expect(points.slice(-2).map((p) => p.role).sort()).toEqual(['reference', 'zero']);
    const of = points.filter((p) => p.role === 'zero').map((p) => p.replicate);
    expect(of.every((r, i) => i === 0 || r > (of[i - 1] ?? 0))).toBe(true);
  });

  it('SCH-10 SCH-15: a pressure that was come back to is ended with a reference and a zero point before windows at another follow', () => {
    const more = { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 300, widthMs: 5, periodMs: 20, everyPoints: 1000 } };
    const { points, attempts } = play(wanting({ deadTimeUs: 9 }, { more }), straight);
    const before = points.findLast((p) => p.role === 'measure' && p.pressure === 300e3);
    const counted = attempts.find((a) => a.point === before?.index);
    if (before === undefined || counted === undefined) throw new Error('Nothing was measured at 300 kPa.');
    // Somebody wants to know better, and a window at the first pressure was the last.
    const back = { plan: wanting({ deadTimeUs: 3.2 }, { more }), equipment: syntheticEquipment, out: new Set<number>() };
    const next = (then: typeof points): readonly string[] => {
      const { additions } = decideNext({ ...back, points: then, attempts: [...attempts, { ...counted, point: points.length }] });
      return additions.flatMap((a) => a.points).map((p) => `${p.role} ${p.pressure / 1e3}`);
    };
    const returned = [...points, { ...before, index: points.length, replicate: before.replicate + 1 }];
    expect(next(returned).slice(0, 3)).toEqual(['reference 300', 'zero 300', 'measure 400']);
    // Once it was ended nothing ends it again.
    const ends = points.filter((p) => p.pressure === 300e3 && (p.role === 'reference' || p.role === 'zero')).slice(-2);
    expect(ends).toHaveLength(2);
    expect(next([...returned, ...ends.map((p, i) => ({ ...p, index: returned.length + i, replicate: p.replicate + 1 }))])).not.toContain('zero 300');
  });

  it('SCH-16: a cell that the curve between measured places keeps from its target is said to be beyond, with what to measure as well, and the run ends; measured so, it is reached', () => {
    const plan = wanting({}, { voltageV: [9, 16] });
    const played = play(plan, straight);
    const { progress } = foundOf(plan, played);
    const between = progress.filter((c) => c.voltage === 12);
    expect(between.map((c) => c.state)).toEqual(new Array(6).fill('beyond'));
    expect(between.every((c) => c.advice === 'Measure 12 V as well.' && (c.least ?? 0) > 4e-6 && c.largest?.key === 'interpolation voltage')).toBe(true);
    expect(progress.filter((c) => c.voltage === 9 || c.voltage === 16).every((c) => c.state === 'reached' && c.advice === '')).toBe(true);
    expect(played.decisions.at(-1)?.text).toMatch(/^\d+ of 48 cells are known as well as was wanted\. S-\d in the map at \d+ V and \d+ kPa \(the worst of \d+\): U95 of the dead time is .*, 4\.0 us was wanted\. No sensible number of windows reaches it: instruments and the curve between measured places leave .*, most of it interpolation over voltage\. Measure \d+ V as well\.$/u);
    expect(played.points.length).toBeLessThan(400);
    const more = wanting();
    expect(foundOf(more, play(more, straight)).progress.filter((c) => c.voltage === 12).every((c) => c.state === 'reached')).toBe(true);
  });

  it('SCH-16: what the tables tell nothing of says why, and lines that have had their windows are said to', () => {
    const far = wanting({ voltageV: [9, 40] });
    const { progress } = foundOf(far, play(far, straight));
    expect(progress.filter((c) => c.voltage === 40).every((c) => c.state === 'no-line' && c.advice.includes('too far outside'))).toBe(true);
    expect(howFar(progress)).toContain('too far outside the measured range');
    const few = planOf({ ...wanting({ deadTimeUs: 3 }).targets, attemptsPerCell: 12 }, { axes: { ...planOf({}).axes, pressureKpa: [300, 400] } }, 2);
    const ended = foundOf(few, play(few, straight)).progress;
    expect(ended.some((c) => c.state === 'used-up')).toBe(true);
    expect(howFar(ended)).toContain('windows that targets.attemptsPerCell allows');
  });

  it('SCH-40: lines that one window put in doubt keep no cell of the map from its target, of dead times nor of slopes', () => {
    const hit = (): ((index: number) => SyntheticInjector) => {
      let left = 1;
      return (index) => ({ ...straight(index), bend: (width) => (index === 0 && Math.abs(width - 12e-3) < 1e-9 && left-- > 0 ? 5e-7 : 0) });
    };
    const axes = { ...planOf({}).axes, voltageV: [12, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] };
    const wanted = { voltageV: [12, 13, 14], pressureKpa: [400] };
    for (const map of [{ ...wanted, deadTimeUs: 6 }, { ...wanted, deadTimeUs: 900, slopePercent: 0.4 }]) {
      const plan = planOf({ deadTimeUs: undefined, map }, { axes }, 2);
      for (const seed of [1, 4, 5, 6]) {
        const played = play(plan, hit(), { seed });
        expect(foundOf(plan, played).progress.filter((c) => c.state !== 'reached')).toEqual([]);
        expect(played.decisions.flatMap((d) => d.additions).some((a) => a.rule === 'SCH-40')).toBe(true);
        expect(played.points.filter((p) => p.role === 'measure').length).toBeLessThan(60);
      }
    }
  });

  it('SCH-8 SCH-14: nothing is added for a map beyond the ceiling of hours, and injectors that are out want nothing', () => {
    const short = play(wanting({ deadTimeUs: 2.6 }, { hours: 0.3 }), straight);
    expect(short.points.length).toBeLessThan(play(wanting({ deadTimeUs: 2.6 }), straight).points.length);
    const plan = wanting();
    const one = play(plan, straight, { out: [1] });
    expect(one.points.some((p) => p.role === 'measure' && p.injector === 1)).toBe(false);
    expect(one.decisions.at(-1)?.text).toBe('All 24 cells are known as well as was wanted.');
  });
});
