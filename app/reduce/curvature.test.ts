import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { seconds } from '../quantities/quantity.ts';
import { curvatureSentences, isBent } from './curvature.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, Curvature, LineCell, Reduction } from './reduction.ts';
import { noErrors, normalFrom, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const widthMs = [2, 2.5, 3, 4, 5, 6, 8, 10, 12];

/** `bend`: mass = slope (w - t0 + bend w^2), 1/s. `from`: the line is defined for widths from there on, ms. */
function reduced(bend: number, seed = 1, from?: number): Reduction {
  const plan = syntheticPlan({ voltageV: [9, 12, 14], widthMs }, 4, from === undefined ? {} : { linearFromMs: from });
  const normal = normalFrom(seed);
  const attempts = expandPlan(plan).map((point): CountingAttempt => {
    const injector = syntheticInjector(point.injector);
    // As if each pulse were longer by what bends.
    const longer = { ...point, width: seconds(point.width + bend * point.width ** 2) };
    return { point: point.index, attempt: 1, window: syntheticWindow(longer, injector, plan, syntheticEquipment, noErrors, { ...noScatter, relative: 5e-4, width: 5e-7 }, normal) };
  });
  return reduceRun({ plan, equipment: syntheticEquipment, points: expandPlan(plan), attempts });
}

const curvatureOf = ({ curvatures }: Reduction): Curvature => {
  const [curvature] = curvatures;
  if (curvature === undefined) throw new Error('no curvature');
  return curvature;
};
const lines = ({ cells }: Reduction): readonly LineCell[] => cells.filter((c): c is LineCell => c.kind === 'line');
const definition = (cell: LineCell) => cell.shared.find((s) => s.source.quantity === 'line-definition');

describe('lines that bend over their whole length', () => {
  it.each([0.4, 0.2])('RED-85 are found over all cells, and what another choice of widths would give is in the uncertainty: %f / s', (bend) => {
    const free = reduced(bend, 3);
    const curvature = curvatureOf(free);
    expect(isBent(curvature)).toBe(true);
    expect(Math.abs(curvature.relative - bend)).toBeLessThan(Math.max(4 * curvature.u, 0.1 * Math.abs(bend)));
    expect(curvatureSentences(free.curvatures).join()).toContain('bends over the whole line');
    // The same windows, with a line of the four longest widths, and with one of all: each lies in what the part allows from the free one.
    for (const longest of [6, 3]) {
      const other = lines(reduced(bend, 3, longest));
      for (const cell of lines(free)) {
        const same = other.find((o) => o.injector === cell.injector && o.voltage === cell.voltage);
        const part = definition(cell);
        if (same === undefined || part === undefined) throw new Error('a line has no part');
        const apart = Math.abs(same.deadTime.value - cell.deadTime.value);
        expect(apart).toBeLessThan(Math.sqrt(3) * Math.abs(part.onDeadTime) * 1.1 + 4 * Math.hypot(cell.deadTime.uRandom, same.deadTime.uRandom));
      }
    }
    expect(Math.max(...lines(free).map((cell) => Math.abs(definition(cell)?.onDeadTime ?? 0)))).toBeGreaterThan(2e-6);
  });

  it.each([0.2, -0.2])('RED-85 where the plan says which line is meant, they are found and said, and are in no uncertainty: %f / s', (bend) => {
    const told = reduced(bend, 3, 4);
    const { relative, u } = curvatureOf(told);
    expect(Math.abs(relative - bend)).toBeLessThan(4 * u);
    expect(isBent({ relative, u })).toBe(true);
    expect(lines(told).filter((cell) => definition(cell) !== undefined)).toEqual([]);
    expect(curvatureSentences(told.curvatures).join()).toContain('that of widths from 4 ms on');
  });

  it('RED-85 regions that have shrunk to four widths tell nothing of it', () => {
    expect(reduced(-0.4, 3).curvatures).toEqual([]);
    expect(curvatureSentences([])).toEqual([]);
  });

  it('RED-85 are not made up: straight lines carry hardly anything, and are called bent once in some hundred runs', () => {
    const runs = Array.from({ length: 30 }, (_, i) => reduced(0, 101 + i));
    expect(runs.filter((run) => isBent(curvatureOf(run))).length).toBeLessThanOrEqual(2);
    const z = runs.map((run) => curvatureOf(run)).map(({ relative, u }) => relative / u);
    const rms = Math.sqrt(z.reduce((sum, one) => sum + one * one, 0) / z.length);
    expect(rms).toBeGreaterThan(0.7);
    expect(rms).toBeLessThan(1.4);
    const wider = runs.flatMap((run) => lines(run).map((cell) => cell.deadTime.u / Math.sqrt(cell.deadTime.u ** 2 - (definition(cell)?.onDeadTime ?? 0) ** 2)));
    expect(wider.reduce((sum, one) => sum + one, 0) / wider.length).toBeLessThan(1.1);
  });
});
