import { describe, expect, it } from 'vitest';
import { coverageFactor } from '../uncertainty/budget.ts';
import { ErrorDraws, monteCarlo } from '../uncertainty/monte-carlo.ts';
import { crossingModel, runTrials } from './line-trials.ts';
import { lineAt, madeRun, syntheticPlan } from './synthetic-run.test-helper.ts';

describe('TAB-25: Monte Carlo of a run', () => {
  const run = madeRun({ plan: syntheticPlan({ voltageV: [9, 14] }, 2) });

  it('agrees with what is stated of usual lines, by the tolerance of its own', () => {
    const rows = [...runTrials(run.reduction, run.id)];
    expect(rows.map((r) => r.quantity).filter((q) => q !== 'static-flow')).toHaveLength(8);
    for (const { trials, stated } of rows) {
      expect(trials.verdict).toBe('agrees');
      expect(trials.trials).toBeGreaterThanOrEqual(100_000);
      expect(Math.abs(trials.u / stated.u - 1)).toBeLessThan(0.1);
    }
    expect([...runTrials(run.reduction, run.id)][0]).toEqual(rows[0]);
  });

  it("of a slope that is known badly has Fieller's limits, which a symmetric U has not (RED-15)", () => {
    const line = lineAt(run, 0, 9);
    const [source] = line.scatter.slopeParts;
    if (source === undefined) throw new Error('no slope');
    const [uSlope, dof] = [0.12 * line.slope.value, 20];
    const bad = { ...line, shared: [], scatter: { ...line.scatter, uSlope, slopeParts: [{ source: source.source, u: uSlope }], uMean: 0.01 * line.slope.value * line.scatter.distance, dof } };
    const u = line.scatter.distance * Math.hypot(0.12, 0.01);
    const found = monteCarlo(crossingModel(bad), { value: line.deadTime.value, u, expanded: coverageFactor(dof) * u }, new ErrorDraws('x'));
    // Where height less slope times distance is t of its standard uncertainties (E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175).
    const limit = (sign: number): number => {
      const t = coverageFactor(dof);
      const { distance } = line.scatter;
      const [h, k, uh] = [line.slope.value * distance, line.slope.value, bad.scatter.uMean];
      const a = k * k - t * t * uSlope * uSlope;
      const b = -h * k;
      const c = h * h - t * t * uh * uh;
      return line.deadTime.value + distance - (-b + sign * Math.sqrt(b * b - a * c)) / a;
    };
    expect(Math.abs(found.low - limit(1))).toBeLessThan(0.03 * u);
    expect(Math.abs(found.high - limit(-1))).toBeLessThan(0.03 * u);
    expect(found.verdict).toBe('differs');
  });
});
