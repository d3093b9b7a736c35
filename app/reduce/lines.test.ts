/** Cells, scatter model, lines and shared slopes from masses made by hand, against general least squares and against what defines each. */
import { describe, expect, it } from 'vitest';
import { fAbove, fQuantile } from '../distributions/distributions.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { kilopascals, milliseconds, seconds, volts } from '../quantities/quantity.ts';
import { capOf } from '../statistics/robust.ts';
import type { FittedCell } from './cell.ts';
import { cellsOf, fitCells } from './cells.ts';
import { effectsOf } from './effects.ts';
import { covarianceOf, solveLeastSquares } from './least-squares.ts';
import { fitCellLine } from './line.ts';
import type { LineObservation } from './line.ts';
import { SharedTerms } from './mass.ts';
import { crossing, fitLine } from './regression.ts';
import { shareSlopes } from './shared-slope.ts';
import { normalFrom, syntheticPlan } from './synthetic.test-helper.ts';
import { degreesOf, dofOfWindow, fitVarianceModel, partsAt, varianceAt, varianceOfWindow } from './variance-model.ts';
import type { ScatterGroup } from './variance-model.ts';

describe('RED-6, RED-80 the scatter model', () => {
  const masses = [2e-6, 4e-6, 8e-6, 1.6e-5, 3e-5];
  const groupsOf = (variance: (m: number) => number, dof = 2): ScatterGroup[] => masses.map((mass) => ({ mass, variance: variance(mass), dof }));

  it('gives constant and relative part back, but for what the cap takes from good groups', () => {
    for (const dof of [1, 2, 7]) {
      const { mean, efficiency } = capOf(dof);
      for (const [constant, relative] of [[4e-18, 1e-6], [0, 1e-6], [4e-18, 0]] as const) {
        const found = fitVarianceModel(groupsOf((m) => constant + relative * m * m, dof), 'replicates');
        expect(found.constant * 1e18).toBeCloseTo((constant / mean) * 1e18, 5);
        expect(found.relative * 1e6).toBeCloseTo((relative / mean) * 1e6, 5);
        expect(found.dof).toBeCloseTo(5 * dof * efficiency, 9);
        expect(varianceAt(found, 1e-5) / ((constant + relative * 1e-10) / mean)).toBeCloseTo(1, 4);
      }
    }
  });

  it('RED-171 is known as well as it repeats: about as well as its groups among masses like theirs, far worse where they do not reach', () => {
    const normal = normalFrom(5);
    const near = [3e-6, 4e-6, 6e-6, 8e-6];
    const draw = () => fitVarianceModel(near.flatMap((mass) => Array.from({ length: 60 }, () => ({ mass, variance: ((4e-18 + 1e-6 * mass * mass) * (normal() ** 2 + normal() ** 2)) / 2, dof: 2 }))), 'replicates');
    const models = Array.from({ length: 200 }, draw);
    for (const mass of [5e-6, 4e-5]) {
      const variances = models.map((m) => varianceAt(m, mass));
      const mean = variances.reduce((a, b) => a + b, 0) / variances.length;
      const found = (2 * mean * mean) / (variances.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (variances.length - 1));
      const told = models.map((m) => degreesOf([[m, partsAt(mass)]])).sort((a, b) => a - b)[100] ?? Number.NaN;
      expect(found / told).toBeGreaterThan(0.6);
      expect(found / told).toBeLessThan(1.6);
      // By nearly all groups at the one place, by a small part of them at the other.
      const share = told / (models[0]?.dof ?? Number.NaN);
      if (mass === 5e-6) expect(share).toBeGreaterThan(0.6);
      else expect(share).toBeLessThan(0.35);
    }
  });

  it('RED-171 of a part that is left out because it would be negative nobody knows that it is nought', () => {
    const falling = fitVarianceModel(groupsOf((m) => 1e-15 / m ** 0.1, 10), 'replicates');
    expect(falling.relative).toBe(0);
    const [here, far] = [2e-6, 3e-4].map((mass) => degreesOf([[falling, partsAt(mass)]]));
    expect(here).toBeGreaterThan(10);
    expect(far).toBeLessThan(0.1);
    // Three parts likewise.
    const three = fitVarianceModel(masses.flatMap((mass, i) => [0, 1].map((k) => ({ mass, variance: 4e-18 + 1e-6 * mass * mass, dof: 10, partTurn: ((i + k) % 3) / 3 }))), 'replicates');
    expect(three.turn).toBeCloseTo(0, 9);
    expect(degreesOf([[three, partsAt(1e-5, 0)]])).toBeGreaterThan(5 * degreesOf([[three, partsAt(1e-5, 20)]]));
  });

  it('RED-171 sums of variances are known as the model is, and the better the more of them is no estimate', () => {
    const model = fitVarianceModel(groupsOf((m) => 4e-18 + 1e-6 * m * m, 10), 'replicates');
    const at = partsAt(1e-5);
    const alone = degreesOf([[model, at]]);
    // Ten windows have one scatter: their mean is known no better than one.
    expect(degreesOf([[model, [at[0] / 10, at[1] / 10, at[2] / 10]]]) / alone).toBeCloseTo(1, 9);
    expect(degreesOf([[model, at], [{ ...model }, at]]) / alone).toBeCloseTo(2, 9);
    expect(degreesOf([[model, at]], varianceAt(model, 1e-5)) / alone).toBeCloseTo(4, 9);
    expect(degreesOf([], 1)).toBe(Number.POSITIVE_INFINITY);
    // Without a covariance it is as good everywhere.
    const plain = { constant: model.constant, relative: model.relative, dof: model.dof, from: model.from };
    expect(degreesOf([[plain, at]])).toBeCloseTo(model.dof, 9);
    expect(degreesOf([[plain, partsAt(1e-3)]])).toBeCloseTo(model.dof, 9);
    // Timing alone is known.
    expect(dofOfWindow(model, { partTurn: 0, uTiming: 1 }, 1e-5)).toBe(Number.POSITIVE_INFINITY);
    expect(dofOfWindow(model, { partTurn: 0, uTiming: 0 }, 1e-5)).toBeCloseTo(alone, 9);
  });

  it('has no negative part: what falls with mass is constant, what grows faster than its square is in proportion', () => {
    expect(fitVarianceModel(groupsOf((m) => 1e-15 / m ** 0.5), 'windows')).toMatchObject({ relative: 0, from: 'windows' });
    expect(fitVarianceModel(groupsOf((m) => m ** 3), 'replicates').constant).toBe(0);
  });

  it('solves the equations of weighted least squares with capped variances: sum w (v - model) = sum w m^2 (v - model) = 0', () => {
    const spoilt = masses.flatMap((mass, i): ScatterGroup[] => [1, 0.4, 2.1, i === 2 ? 80 : 1.2].map((factor, j) => ({ mass, variance: factor * (4e-18 + 1e-6 * mass * mass), dof: 1 + ((i + j) % 3) })));
    const found = fitVarianceModel(spoilt, 'replicates');
    expect(found.constant).toBeGreaterThan(0);
    expect(found.relative).toBeGreaterThan(0);
    let [plain, bySquare, size, sizeBySquare] = [0, 0, 0, 0];
    for (const { mass, variance, dof } of spoilt) {
      const model = varianceAt(found, mass);
      const { limit, mean } = capOf(dof);
      const off = (dof / model ** 2) * (Math.min(variance, limit * model) / mean - model);
      plain += off;
      bySquare += off * mass ** 2;
      size += Math.abs(off);
      sizeBySquare += Math.abs(off) * mass ** 2;
    }
    expect(Math.abs(plain) / size).toBeLessThan(1e-3);
    expect(Math.abs(bySquare) / sizeBySquare).toBeLessThan(1e-3);
  });

  it('RED-95: windows that end within a turn of the meter tell a third part, by what is left of the turn', () => {
    const ofTurns = (constant: number, relative: number, turn: number): ScatterGroup[] =>
      masses.map((mass, i) => ({ mass, partTurn: [0.25, 0.25, 0.1, 0, 0][i] ?? 0, variance: constant + (relative + turn * ([0.25, 0.25, 0.1, 0, 0][i] ?? 0)) * mass * mass, dof: 2 }));
    const { mean } = capOf(2);
    for (const [constant, relative, turn] of [[4e-18, 1e-6, 5e-5], [0, 1e-6, 5e-5], [4e-18, 1e-6, 0]] as const) {
      const found = fitVarianceModel(ofTurns(constant, relative, turn), 'replicates');
      expect(found.constant * 1e18).toBeCloseTo((constant / mean) * 1e18, 4);
      expect(found.relative * 1e6).toBeCloseTo((relative / mean) * 1e6, 4);
      expect((found.turn ?? 0) * 1e5).toBeCloseTo((turn / mean) * 1e5, 4);
      expect(varianceAt(found, 1e-5, 0.2) / ((constant + (relative + 0.2 * turn) * 1e-10) / mean)).toBeCloseTo(1, 4);
      expect(varianceOfWindow(found, { partTurn: 0.2, uTiming: 0 }, 1e-5)).toBe(varianceAt(found, 1e-5, 0.2));
      expect(varianceOfWindow(found, { partTurn: 0.2, uTiming: 1 }, 1e-5, 1e-6) / 1e-10).toBeCloseTo(1, 12);
    }
    // None is negative.
    const falls = fitVarianceModel(ofTurns(0, 1e-6, -3e-6), 'replicates');
    expect(falls.turn).toBe(0);
    expect(falls.relative).toBeGreaterThan(0);
  });

  it('says nothing of nothing, and none of none', () => {
    expect(fitVarianceModel([], 'replicates')).toEqual({ constant: 0, relative: 0, dof: 0, from: 'replicates' });
    expect(fitVarianceModel(groupsOf(() => 0), 'replicates')).toMatchObject({ constant: 0, relative: 0, dof: expect.closeTo(10 * capOf(2).efficiency, 9) as number });
    // Groups of one mass cannot tell a constant from a relative part.
    const one = fitVarianceModel([1, 2, 3].map(() => ({ mass: 1e-5, variance: 1e-16, dof: 2 })), 'replicates');
    expect(one.constant).toBe(0);
    expect(varianceAt(one, 1e-5) / (1e-16 / capOf(2).mean)).toBeCloseTo(1, 4);
  });
});

describe('RED-12, RED-13 the variance of a line', () => {
  const widths = [2e-3, 4e-3, 6e-3, 8e-3];
  /** Each width `bend` off the line, its three windows spread by `spread`. */
  const observed = (bend: number, spread: number, weight = 1): LineObservation[] =>
    widths.flatMap((width, i) => [-1, 0.2, 0.8].map((z, j) => ({ width, mass: 4e-3 * (width - 1e-3) + bend * (i === 0 || i === 3 ? 1 : -1) + spread * z, variance: 1e-17 * (1 + i), weight: j === 2 ? weight : 1 })));
  /** The two mean squares by general least squares: one mean for each width, and the line. */
  const meanSquares = (list: readonly LineObservation[]): { readonly pure: number; readonly all: number } => {
    const weights = list.map((o) => o.weight / o.variance);
    const pure = solveLeastSquares(list.map((o) => widths.map((w) => (w === o.width ? 1 : 0))), list.map((o) => o.mass), weights)?.squares ?? Number.NaN;
    const all = solveLeastSquares(list.map((o) => [1, o.width * 1e3]), list.map((o) => o.mass), weights)?.squares ?? Number.NaN;
    return { pure, all };
  };

  it('is pooled over replicates and widths while the F test at 5 % says nothing, and that of the widths alone beyond', () => {
    const critical = fQuantile(0.95, 2, 8);
    for (const [times, significant] of [[0.98, false], [1.02, true]] as const) {
      // The bend at which F is `times` its critical value.
      const { pure } = meanSquares(observed(0, 1e-8));
      const of = meanSquares(observed(1e-9, 0));
      const bend = 1e-9 * Math.sqrt((times * critical * (pure / 8) * 2) / of.all);
      const list = observed(bend, 1e-8);
      const line = fitCellLine(list);
      const { all } = meanSquares(list);
      const lack = (all - pure) / 2;
      expect(line.lackOfFit).toMatchObject({ significant, ofWidthsDof: 2, ofReplicatesDof: 8 });
      expect(line.lackOfFit.ofReplicates / (pure / 8)).toBeCloseTo(1, 6);
      expect(line.lackOfFit.ofWidths / lack).toBeCloseTo(1, 6);
      expect(line.dof).toBe(significant ? 2 : 10);
      const scale = significant ? lack : all / 10;
      const covariance = covarianceOf(list.map((o) => [1, o.width]), list.map((o) => o.weight / o.variance));
      expect(line.uSlope / Math.sqrt(scale * (covariance?.[1]?.[1] ?? 0))).toBeCloseTo(1, 6);
      expect(line).toMatchObject({ slope: line.fit.slope, deadTime: crossing(line.fit).value, uDeadTime: crossing(line.fit).u, covariance: crossing(line.fit).covarianceWithSlope, slopeFrom: { from: 'own', own: 1, weight: 1 } });
    }
  });

  it('RED-81: a window that counts in part brings that part of a degree of freedom, and one that counts for nothing none', () => {
    for (const weight of [0.25, 0]) {
      const list = observed(1e-9, 1e-8, weight);
      const { pure, all } = meanSquares(list);
      const line = fitCellLine(list);
      expect(line.lackOfFit.ofReplicatesDof).toBeCloseTo(4 * (1 + weight), 9);
      expect(line.lackOfFit.ofWidthsDof).toBe(2);
      expect(line.lackOfFit.ofReplicates / (pure / (4 + 4 * weight))).toBeCloseTo(1, 6);
      expect(line.fit.scale / (all / (6 + 4 * weight))).toBeCloseTo(1, 6);
      expect(line.dof).toBeCloseTo(6 + 4 * weight, 9);
    }
    // A whole width that counts for nothing is none.
    const without = observed(1e-9, 1e-8).map((o) => (o.width === 8e-3 ? { ...o, weight: 0 } : o));
    expect(fitCellLine(without).lackOfFit).toMatchObject({ ofWidthsDof: 1, ofReplicatesDof: 6 });
    expect(fitCellLine(without).slope).toBeCloseTo(fitCellLine(without.filter((o) => o.weight > 0)).slope, 12);
  });

  it('without replicates is that of the widths', () => {
    const list = observed(1e-9, 0).filter((_, i) => i % 3 === 0);
    const line = fitCellLine(list);
    expect(line.lackOfFit).toMatchObject({ significant: false, ofReplicates: 0, ofReplicatesDof: 0, ofWidthsDof: 2 });
    expect(line.dof).toBe(2);
  });
});

/** Windows of chosen masses; of a window only what a line reads. */
interface Mass {
  readonly at: Partial<Point>;
  readonly mass: number;
  readonly uRandom?: number;
  readonly uTiming?: number;
  readonly parts?: number;
}
const place: Point = { index: 0, role: 'measure', injector: 0, channel: 1, voltage: volts(14), pressure: kilopascals(400), width: milliseconds(5), period: milliseconds(20), replicate: 0 };
function fitted(plan: Plan, masses: readonly Mass[]): ReturnType<typeof fitCells> {
  const points = masses.map(({ at }, index): Point => ({ ...place, ...at, index }));
  const windows = masses.map(({ mass, uRandom = 1e-3, uTiming = 0, parts = 10 }, point) => ({
    reduced: { point, attempt: 1, at: points[point] as Point, outcome: { kind: 'mass', mass, uRandom, uTiming } },
    window: { partRates: Array.from({ length: parts }, () => 1) },
  }));
  return fitCells(cellsOf(points, windows as unknown as Parameters<typeof cellsOf>[1]), plan);
}
const given = (from = 1): Plan => syntheticPlan({}, 3, { linearFromMs: from });
const widthsMs = [3, 4, 5, 6, 8];
/** `replicates` windows of each of five widths; the first of them short, the second long by `z` 1e-3. */
const cellMasses = (at: Partial<Point>, replicates: number, slope = 4e-3, normal = normalFrom(4)): Mass[] =>
  widthsMs.flatMap((ms) => Array.from({ length: replicates }, () => ({ at: { ...at, width: seconds(ms / 1e3) }, mass: slope * (ms / 1e3 - 1e-3) * (1 + 1e-3 * normal()) })));

describe('RED-6, RED-82 what tells the scatter', () => {
  it('ten degrees of freedom of replicates do, of all cells of a pressure and period together; fewer do not', () => {
    const of = (masses: readonly Mass[]): string | undefined => fitted(given(), masses).scatter[0]?.from;
    expect(of(cellMasses({}, 3))).toBe('replicates');
    expect(of(cellMasses({}, 3).slice(1))).toBe('windows');
    expect(of([...cellMasses({}, 2), ...cellMasses({ injector: 1 }, 2)])).toBe('replicates');
    expect(of([...cellMasses({}, 2), ...cellMasses({ injector: 1, period: milliseconds(40) }, 2)])).toBe('windows');
    expect(fitted(given(), [...cellMasses({}, 2), ...cellMasses({ pressure: kilopascals(300) }, 2)]).scatter).toMatchObject([{ pressure: 4e5, period: 0.02, from: 'windows' }, { pressure: 3e5, from: 'windows' }]);
  });

  it('replicates by their variance about their mean', () => {
    const masses = cellMasses({}, 3);
    const groups = widthsMs.map((_, i) => {
      const three = masses.slice(3 * i, 3 * i + 3).map((m) => m.mass);
      const mean = three.reduce((a, b) => a + b, 0) / 3;
      return { mass: mean, variance: three.reduce((sum, m) => sum + (m - mean) ** 2, 0) / 2, dof: 2 };
    });
    const expected = fitVarianceModel(groups, 'replicates');
    const [model] = fitted(given(), masses).scatter;
    expect(varianceAt(model ?? expected, 1e-5) / varianceAt(expected, 1e-5)).toBeCloseTo(1, 9);
    expect(model?.dof).toBeCloseTo(expected.dof, 9);
  });

  it('else the parts of the windows, by their own degrees of freedom; a window of one part tells nothing', () => {
    const masses = cellMasses({}, 1).map((m, i) => ({ ...m, parts: [1, 2, 5, 10, 4][i] ?? 1, uRandom: [9, 1e-3, 2e-3, 1e-3, 3e-3][i] ?? 0 }));
    const expected = fitVarianceModel(masses.slice(1).map(({ mass, uRandom, parts }) => ({ mass, variance: (uRandom * mass) ** 2, dof: parts - 1 })), 'windows');
    const [model] = fitted(given(), masses).scatter;
    expect(model).toMatchObject({ from: 'windows', dof: expect.closeTo(expected.dof, 9) as number });
    expect(varianceAt(model ?? expected, 1e-5) / varianceAt(expected, 1e-5)).toBeCloseTo(1, 9);
  });

  it('RED-82: windows that stand alone also by what they miss the line through their neighbours by; the larger counts', () => {
    const normal = normalFrom(12);
    /** Ten cells of seven widths, one window each; the parts of a window say `uRandom`. */
    const places = [0, 1].flatMap((injector) => [9, 10, 12, 14, 16].map((v) => ({ injector, voltage: volts(v) })));
    const ms = [3, 4, 5, 6, 7, 9, 12];
    const cells = places.map((where) => ms.map((one): Mass => ({ at: { ...where, width: seconds(one / 1e3) }, mass: 4e-3 * (one / 1e3 - 1e-3) * (1 + 1e-3 * normal()) })));
    // Of seven the five longest lie where a line does not bend yet: three of them between two others.
    const groups = cells.flatMap((cell) =>
      [1, 2, 3].map((i) => {
        const longest = [...cell].reverse();
        const [a, b, c] = [longest[i - 1], longest[i], longest[i + 1]] as [Mass, Mass, Mass];
        const [wa, wb, wc] = [a, b, c].map((m) => m.at.width ?? Number.NaN) as [number, number, number];
        // Height at b of the line through a and c, by two points.
        const expected = a.mass + ((c.mass - a.mass) / (wc - wa)) * (wb - wa);
        const [onA, onC] = [(wb - wc) / (wa - wc), (wa - wb) / (wa - wc)];
        return { mass: b.mass, variance: ((b.mass - expected) * b.mass) ** 2 / (b.mass ** 2 + (onA * a.mass) ** 2 + (onC * c.mass) ** 2), dof: 1 };
      }),
    );
    const beside = fitVarianceModel(groups, 'neighbours');
    const told = (uRandom: number, parts = 10, list = cells.flat()) => fitted(given(), list.map((m) => ({ ...m, uRandom, parts }))).scatter[0];
    for (const found of [told(1e-4), told(1, 1)]) {
      expect(found?.from).toBe('neighbours');
      expect(found?.dof).toBeCloseTo(0.5 * beside.dof, 9);
      expect(varianceAt(found ?? beside, 2e-5) / varianceAt(beside, 2e-5)).toBeCloseTo(1, 9);
      // RED-171: half as well at every mass.
      for (const mass of [2e-5, 1e-3]) expect(degreesOf([[found ?? beside, partsAt(mass)]]) / degreesOf([[beside, partsAt(mass)]])).toBeCloseTo(0.5, 6);
    }
    expect(told(5e-3)).toMatchObject({ from: 'windows' });
    // Fewer than ten degrees of freedom of neighbours say too little, unless there is nothing else.
    const few = cells.slice(0, 4).flat();
    expect(told(1e-4, 10, few)).toMatchObject({ from: 'windows' });
    expect(told(1e-4, 1, few)).toMatchObject({ from: 'neighbours' });
  });

  it('a line weighs every window by that model at the middle of its repeats, and never better than its timing', () => {
    const masses = cellMasses({}, 3).map((m, i) => ({ ...m, uTiming: i < 3 ? 4e-3 : 0 }));
    const { fitted: [cell], scatter: [model] } = fitted(given(), masses);
    if (cell?.kind !== 'line' || model === undefined) throw new Error('no line');
    for (const o of cell.observations) {
      const repeats = masses.filter((m) => m.at.width === o.width).map((m) => m.mass).sort((a, b) => a - b);
      expect(o.variance / (o.width === 3e-3 ? (4e-3 * o.mass) ** 2 : varianceAt(model, repeats[1] ?? 0))).toBeCloseTo(1, 9);
    }
  });
});

describe('RED-1, RED-8, RED-21 cells', () => {
  it('are one for each injector, voltage, pressure and period that is measured, with the longest width first', () => {
    const kinds: readonly Partial<Point>[] = [{}, { injector: 1 }, { voltage: volts(9) }, { pressure: kilopascals(300) }, { period: milliseconds(40) }];
    const cells = fitted(given(), kinds.flatMap((at) => cellMasses(at, 2))).fitted;
    expect(cells).toHaveLength(5);
    for (const cell of cells) expect(cell.cell.groups.map((g) => [g.width * 1e3, g.observed.length])).toEqual([8, 6, 5, 4, 3].map((ms) => [ms, 2]));
    const others = fitted(given(), (['reference', 'static', 'pair', 'look'] as const).flatMap((role) => cellMasses({ role }, 1))).fitted;
    expect(others).toEqual([]);
  });

  it('say why there is no line: not measured, why not, too few widths, or no slope', () => {
    const points = [place, { ...place, index: 1, injector: 1 }];
    const refused = { reduced: { point: 1, attempt: 1, at: points[1], outcome: { kind: 'no-mass', reason: 'no-pressure', text: 'No pressure.' } }, window: { partRates: [] } };
    const cells = fitCells(cellsOf(points, [refused] as unknown as Parameters<typeof cellsOf>[1]), given()).fitted;
    expect(cells).toMatchObject([{ kind: 'no-line', reason: 'not-measured', text: 'No accepted attempt counts for any width here.' }, { reason: 'not-measured', text: 'No pressure.' }]);
    expect(fitted(given(5.5), cellMasses({}, 3)).fitted).toMatchObject([{ reason: 'too-few-widths', text: 'A line needs 3 measured widths in its region and 2 are there.' }]);
    expect(fitted(given(5), cellMasses({}, 3)).fitted).toMatchObject([{ kind: 'line', count: 3, stop: { kind: 'given' } }]);
    expect(fitted(given(), cellMasses({}, 3, -4e-3).map((m) => ({ ...m, mass: m.mass + 1e-4 }))).fitted).toMatchObject([{ reason: 'no-slope' }]);
    const noise = normalFrom(8);
    expect(fitted(given(), cellMasses({}, 3, 0).map((m) => ({ ...m, mass: 1e-5 * (1 + 0.05 * noise()) }))).fitted).toMatchObject([{ reason: 'no-slope' }]);
  });
});

describe('RED-23 one slope for all voltages', () => {
  type Line = Extract<FittedCell, { kind: 'line' }>;
  const at = [9, 10.5, 12, 14, 16];
  const plan = (choice: Plan['reduction']['slopeOverVoltage'], types: readonly string[] = ['T', 'T', 'T']): Plan => {
    const made = syntheticPlan({}, 3, { linearFromMs: 1, slopeOverVoltage: choice });
    return { ...made, injectors: made.injectors.map((one, i) => ({ ...one, type: types[i] ?? 'T' })) };
  };
  const masses = (injectors: number, tilt: (voltage: number, injector: number) => number = () => 0): Mass[] => {
    const normal = normalFrom(77);
    return Array.from({ length: injectors }, (_, injector) => at.flatMap((v) => cellMasses({ injector, voltage: volts(v) }, 3, 4e-3 * (1 + 0.01 * injector + tilt(v, injector)), normal))).flat();
  };
  const lines = (list: readonly FittedCell[], injector?: number): Line[] => list.filter((f): f is Line => f.kind === 'line' && (injector === undefined || f.cell.at.injector === injector));

  it('is that of general least squares with a height of each voltage and one slope, and so are its variance and degrees of freedom', () => {
    const own = fitted(plan('shared'), masses(2)).fitted;
    const { fitted: shared, models } = shareSlopes(own, plan('shared'));
    expect(models).toMatchObject([{ type: 'T', pressure: 4e5, period: 0.02, model: 'shared', decidedBy: 'plan' }]);
    let ratio = 0;
    let dofNumerator = 0;
    let dofDenominator = 0;
    for (const injector of [0, 1]) {
      const members = lines(own, injector);
      const rows = members.flatMap((m, i) => m.observations.map((o) => [...members.map((_, j) => (i === j ? 1 : 0)), (o.width - m.line.fit.meanX) * 1e3]));
      const y = members.flatMap((m) => m.observations.map((o) => o.mass * 1e6));
      const weights = members.flatMap((m) => m.observations.map((o) => o.weight / (o.variance * 1e12)));
      const solved = solveLeastSquares(rows, y, weights);
      const covariance = covarianceOf(rows, weights);
      const inLines = members.reduce((sum, m) => sum + m.line.dof * m.line.fit.scale, 0);
      const dof = members.reduce((sum, m) => sum + m.line.dof, 0);
      const all = dof + members.length - 1;
      const scale = (solved?.squares ?? Number.NaN) / all;
      for (const m of lines(shared, injector)) {
        expect(m.line.slopeFrom).toMatchObject({ from: 'shared', own: 0 });
        expect(m.line.slope / ((solved?.beta.at(-1) ?? 0) * 1e-3)).toBeCloseTo(1, 9);
        expect(m.line.dof).toBeCloseTo(all, 9);
        // The pooled scale is that of all residuals about parallel lines, where no line took the variance of its widths alone.
        if (members.every((one) => !one.line.lackOfFit.significant)) expect(m.line.fit.scale / scale).toBeCloseTo(1, 6);
        expect(m.line.uSlope / Math.sqrt(m.line.fit.scale * (covariance?.at(-1)?.at(-1) ?? 0) * 1e-6)).toBeCloseTo(1, 9);
        const weight = m.observations.reduce((sum, o) => sum + o.weight / o.variance, 0);
        expect(m.line.fit.varianceOfMean / (m.line.fit.scale / weight)).toBeCloseTo(1, 9);
        expect(m.line.deadTime).toBeCloseTo(m.line.fit.meanX - m.line.fit.meanY / m.line.slope, 12);
      }
      const spread = members.reduce((sum, m) => sum + m.observations.reduce((s, o) => s + (o.weight * (o.width - m.line.fit.meanX) ** 2) / o.variance, 0) * (m.line.slope - (solved?.beta.at(-1) ?? 0) * 1e-3) ** 2, 0);
      ratio += spread / (inLines / dof);
      dofNumerator += members.length - 1;
      dofDenominator += dof;
    }
    const [model] = models;
    expect(model?.test).toMatchObject({ dofNumerator: 8 });
    expect(model?.test?.dofDenominator).toBeCloseTo(dofDenominator, 6);
    expect((model?.test?.f ?? 0) / (ratio / dofNumerator)).toBeCloseTo(1, 6);
    expect(model?.test?.p).toBeCloseTo(fAbove(ratio / dofNumerator, dofNumerator, dofDenominator), 9);
  });

  it('asks for a common trend over 1 / V by the weighted line through the slopes of each injector, relative to its own', () => {
    const own = fitted(plan('tested'), masses(2, (v) => 0.004 * (12 / v - 1))).fitted;
    let product = 0;
    let squares = 0;
    let dof = 0;
    for (const injector of [0, 1]) {
      const members = lines(own, injector);
      const precision = members.map((m) => m.observations.reduce((s, o) => s + (o.weight * (o.width - m.line.fit.meanX) ** 2) / o.variance, 0));
      const scale = members.reduce((sum, m) => sum + m.line.dof * m.line.fit.scale, 0) / members.reduce((sum, m) => sum + m.line.dof, 0);
      const common = members.reduce((sum, m, i) => sum + (precision[i] ?? 0) * m.line.slope, 0) / precision.reduce((a, b) => a + b, 0);
      const fit = fitLine(members.map((m) => 1 / m.cell.at.voltage), members.map((m) => m.line.slope / common), precision.map((p) => (p * common ** 2) / scale), 'known');
      product += fit.slope / fit.varianceOfSlope;
      squares += 1 / fit.varianceOfSlope;
      dof += members.reduce((sum, m) => sum + m.line.dof, 0);
    }
    const { models: [model], fitted: after } = shareSlopes(own, plan('tested'));
    expect((model?.trend?.f ?? 0) / ((product * product) / squares)).toBeCloseTo(1, 6);
    expect(model?.trend).toMatchObject({ dofNumerator: 1, p: fAbove(model?.trend?.f ?? 0, 1, dof) });
    expect(model?.trend?.p).toBeLessThan(0.01);
    expect(model).toMatchObject({ model: 'weighted', decidedBy: 'spread' });
    // What both have in common is kept, and hardly leans on the mean.
    expect(model?.commonSpread).toBeGreaterThan(3e-4);
    for (const [i, m] of lines(after).entries()) expect(Math.abs(m.line.slope / (lines(own)[i]?.line.slope ?? Number.NaN) - 1)).toBeLessThan(1e-3);
  });

  it('is leant on as far as the slopes agree, and decided by the plan where that says so', () => {
    const models = (choice: Plan['reduction']['slopeOverVoltage'], tilt: (v: number, i: number) => number) => shareSlopes(fitted(plan(choice), masses(3, tilt)).fitted, plan(choice)).models[0];
    const zigzag = (v: number, i: number): number => (i % 2 === 0 ? 1 : -1) * 0.004 * (at.indexOf(v) % 2 === 0 ? 1 : -1);
    const scattered = models('tested', zigzag);
    expect(scattered?.model).toBe('weighted');
    expect(scattered?.spread).toBeGreaterThan(3e-3);
    expect(scattered?.test?.p).toBeLessThan(0.25);
    expect(models('own', () => 0)).toMatchObject({ model: 'own', decidedBy: 'plan' });
    expect(models('shared', zigzag)).toMatchObject({ model: 'shared', decidedBy: 'plan' });
    const calm = Array.from({ length: 6 }, (_, n) => n / 1e5).map((shift) => models('tested', () => shift));
    for (const m of calm) expect(m?.spread).toBeLessThan(1e-3);
  });

  it('keeps two spreads that solve the equation of Mandel and Paule: squares over variance and spread together are as many as the degrees of freedom', () => {
    const zigzag = (v: number, i: number): number => (i % 2 === 0 ? 1 : -1) * 0.004 * (at.indexOf(v) % 2 === 0 ? 1 : -1);
    const own = fitted(plan('tested'), masses(3, zigzag)).fitted;
    const { models: [model] } = shareSlopes(own, plan('tested'));
    /** Slopes relative to the weighted mean of their injector, with their variances by the scatter of its lines. */
    const slopes = [0, 1, 2].map((injector) => {
      const members = lines(own, injector);
      const precision = members.map((m) => m.observations.reduce((s, o) => s + (o.weight * (o.width - m.line.fit.meanX) ** 2) / o.variance, 0));
      const mean = members.reduce((sum, m, i) => sum + (precision[i] ?? 0) * m.line.slope, 0) / precision.reduce((a, b) => a + b, 0);
      const pooled = members.filter((m) => !m.line.lackOfFit.significant);
      const scale = pooled.reduce((sum, m) => sum + m.line.dof * m.line.fit.scale, 0) / pooled.reduce((sum, m) => sum + m.line.dof, 0);
      return members.map((m, i) => ({ value: m.line.slope / mean, variance: (m.line.lackOfFit.significant ? m.line.fit.scale : scale) / (precision[i] ?? 0) / mean ** 2 }));
    });
    const weighted = (values: readonly { readonly value: number; readonly variance: number }[], spread: number): { readonly mean: number; readonly squares: number; readonly variance: number } => {
      const weights = values.map((v) => 1 / (v.variance + spread ** 2));
      const all = weights.reduce((a, b) => a + b, 0);
      const mean = values.reduce((sum, v, i) => sum + (weights[i] ?? 0) * v.value, 0) / all;
      return { mean, squares: values.reduce((sum, v, i) => sum + (weights[i] ?? 0) * (v.value - mean) ** 2, 0), variance: 1 / all };
    };
    const common = at.map((_, v) => weighted(slopes.flatMap((one) => one.slice(v, v + 1)), 0)).map(({ mean, variance }) => ({ value: mean, variance }));
    expect(model?.commonSpread).toBeGreaterThan(0);
    expect(model?.spread).toBeGreaterThan(0);
    expect(weighted(common, model?.commonSpread ?? 0).squares / (at.length - 1)).toBeCloseTo(1, 6);
    // Fifteen slopes, less a mean of each of three injectors and four differences between five voltages.
    const left = slopes.map((one) => weighted(one.map((s, v) => ({ ...s, value: s.value - (common[v]?.value ?? Number.NaN) })), model?.spread ?? 0).squares);
    expect(left.reduce((a, b) => a + b, 0) / 8).toBeCloseTo(1, 6);
  });

  it('is asked of each type by itself, and of injectors that have lines at two voltages', () => {
    const two = plan('tested', ['T', 'U', 'T']);
    const all = masses(3).filter((m) => m.at.injector !== 2 || m.at.voltage === 14);
    const { models, fitted: after } = shareSlopes(fitted(two, all).fitted, two);
    expect(models.map((m) => [m.type, m.test?.dofNumerator])).toEqual([['T', 4], ['U', 4]]);
    expect(lines(after, 2).every((m) => m.line.slopeFrom.from === 'own')).toBe(true);
    const alone = masses(1).filter((m) => m.at.voltage === 14);
    expect(shareSlopes(fitted(two, alone).fitted, two).models).toEqual([{ type: 'T', pressure: 4e5, period: 0.02, model: 'own', decidedBy: 'one-voltage', test: null, trend: null }]);
  });

  it('a slope that leans has the error of what all have in common by the part that is not its own', () => {
    // The second injector has four times the windows, so that more of each of its slopes is its own.
    const normal = normalFrom(78);
    const slopeOf = (v: number, injector: number): number => 4e-3 * (1 + 0.004 * (12 / v - 1) + 0.0015 * Math.sin(9 * v + 4 * injector));
    const all = [0, 1].flatMap((injector) => at.flatMap((v) => cellMasses({ injector, voltage: volts(v) }, injector === 0 ? 2 : 8, slopeOf(v, injector), normal)));
    const { fitted: after, models: [model] } = shareSlopes(fitted(plan('tested'), all).fitted, plan('tested'));
    expect(model?.spread).toBeGreaterThan(0);
    expect(model?.commonSpread).toBeGreaterThan(0);
    for (const [i, one] of lines(after, 0).entries()) {
      const [a, b] = [one, lines(after, 1)[i]].map((line) => line?.line.slopeFrom);
      if (a === undefined || b === undefined) throw new Error('no line');
      expect(b.own - a.own).toBeGreaterThan(0.1);
      // The variance is that of all lines of the injector, but for one whose widths scatter more than its windows.
      expect([a.ownScale, b.ownScale]).toEqual([0, 1].map((injector) => lines(after, injector)[i]?.line.lackOfFit.significant));
      expect(a.parts.common / (1 - a.own) / (b.parts.common / (1 - b.own))).toBeCloseTo(1, 2);
      expect(a.parts.own ** 2 + a.parts.mean ** 2 + a.parts.common ** 2).toBeCloseTo(one.line.fit.varianceOfSlope, 18);
    }
  });

  it('has nothing to do with cells without a line', () => {
    const own = fitted(plan('shared'), [...masses(2), ...cellMasses({ injector: 1, voltage: volts(20) }, 3).slice(0, 6)]).fitted;
    expect(own.filter((f) => f.kind === 'no-line')).toHaveLength(1);
    const { fitted: after, models } = shareSlopes(own, plan('shared'));
    expect(models).toHaveLength(1);
    expect(after.filter((f) => f.kind === 'no-line')).toEqual(own.filter((f) => f.kind === 'no-line'));
    const empty = { kind: 'mass', budget: [], sharedTerms: () => new SharedTerms() };
    const withBudgets = after.map((f) => (f.kind === 'no-line' ? f : { ...f, used: f.used.map((o) => ({ ...o, outcome: { ...o.outcome, ...empty } })) })) as readonly FittedCell[];
    expect(effectsOf(withBudgets).size).toBe(10);
  });

  it('RED-81: a window that stands alone is held against the line, one with repeats against these', () => {
    const alone = cellMasses({}, 1).concat([7, 9, 10].map((ms) => ({ at: { width: milliseconds(ms) }, mass: 4e-3 * (ms / 1e3 - 1e-3) })));
    const bad = alone.map((m, i) => (i === 2 ? { ...m, mass: m.mass * 1.1 } : m));
    const weights = (list: readonly Mass[]): readonly number[] => {
      const [cell] = fitted(given(), list).fitted;
      if (cell?.kind !== 'line') throw new Error('no line');
      return cell.observations.map((o) => o.weight);
    };
    expect(weights(bad).filter((w) => w < 1)).toHaveLength(1);
    // A width that is off the line as a whole, and steady, keeps its weight: the line bends there.
    const whole = cellMasses({}, 3).concat(cellMasses({ injector: 1 }, 3)).map((m) => (m.at.width === 5e-3 && m.at.injector !== 1 ? { ...m, mass: m.mass * 1.02 } : m));
    expect(new Set(weights(whole))).toEqual(new Set([1]));
  });

  it('slopes that are equal to the last bit do not divide nothing by nothing', () => {
    const exact = [9, 14].flatMap((v) => widthsMs.flatMap((ms) => [0, 1, 2].map(() => ({ at: { voltage: volts(v), width: milliseconds(ms) }, mass: ms - 1, uTiming: 1e-3 }))));
    const { models: [model] } = shareSlopes(fitted(plan('tested'), exact).fitted, plan('tested'));
    expect(Number.isNaN(model?.test?.f ?? Number.NaN)).toBe(false);
    expect(Number.isNaN(model?.trend?.f ?? Number.NaN)).toBe(false);
  });
});
