/** Dead time over voltage as the pull-in of a coil: RED-31. */
import { describe, expect, it } from 'vitest';
import { fitCoilForm } from './coil-form.ts';
import type { CoilForm } from './coil-form.ts';

const voltages = [8, 9, 10.5, 12, 14, 16];
const formAt = (v: number, a = 1e-4, tau = 1e-3, vp = 5.8): number => a + tau * Math.log(v / (v - vp));
const exact = (): number[] => voltages.map((v) => formAt(v));
const fit = (times: readonly number[], u: readonly number[] = voltages.map(() => 2e-6), at = voltages): CoilForm => {
  const found = fitCoilForm(at, times, u);
  if (found.kind !== 'coil-form') throw new Error(found.text);
  return found;
};
const parameters = ({ a, tau, pullInVoltage }: CoilForm): readonly number[] => [a, tau, pullInVoltage];

describe('RED-31 the form of a coil', () => {
  const u = [1e-6, 2e-6, 1e-6, 3e-6, 2e-6, 1e-6];
  /** Off the form by up to two standard uncertainties. */
  const off = [1, -2, 1.5, -1, 2, -1.2];
  const noisy = (): number[] => exact().map((t, i) => t + (u[i] ?? 0) * (off[i] ?? 0));

  it('is the least of the weighted squares: any step away from it is worse', () => {
    const found = fit(noisy(), u);
    const squares = (a: number, tau: number, vp: number): number => noisy().reduce((sum, t, i) => sum + ((t - formAt(voltages[i] ?? 0, a, tau, vp)) / (u[i] ?? 1)) ** 2, 0);
    const [a = 0, tau = 0, vp = 0] = parameters(found);
    const least = squares(a, tau, vp);
    expect(found.chiSquared / least).toBeCloseTo(1, 9);
    for (const [da, dtau, dvp] of [[1e-7, 0, 0], [0, 1e-7, 0], [0, 0, 1e-3]] as const) {
      for (const sign of [-1, 1]) expect(squares(a + sign * da, tau + sign * dtau, vp + sign * dvp)).toBeGreaterThan(least);
    }
    found.residuals.forEach((r, i) => expect(r * 1e6).toBeCloseTo(((noisy()[i] ?? 0) - formAt(voltages[i] ?? 0, a, tau, vp)) * 1e6, 9));
    expect(found.dof).toBe(3);
  });

  it('has the covariance that small changes of the dead times bring about, times chi-squared over its degrees of freedom where that is above 1', () => {
    const covarianceOf = (times: readonly number[]): number[][] => {
      const h = 1e-8;
      const columns = voltages.map((_, i) => {
        const [plus, minus] = [h, -h].map((d) => parameters(fit(times.map((t, j) => (j === i ? t + d : t)), u)));
        return (plus ?? []).map((p, k) => ((p - (minus?.[k] ?? 0)) / (2 * h)) * (u[i] ?? 0));
      });
      return [0, 1, 2].map((j) => [0, 1, 2].map((k) => columns.reduce((sum, c) => sum + (c[j] ?? 0) * (c[k] ?? 0), 0)));
    };
    const calm = fit(exact(), u);
    covarianceOf(exact()).forEach((row, j) => row.forEach((v, k) => expect((calm.covariance[j]?.[k] ?? 0) / v).toBeCloseTo(1, 2)));
    const found = fit(noisy(), u);
    expect(found.chiSquared / 3).toBeGreaterThan(1.5);
    covarianceOf(noisy()).forEach((row, j) => row.forEach((v, k) => expect((found.covariance[j]?.[k] ?? 0) / v / (found.chiSquared / 3)).toBeCloseTo(1, 1)));
  });

  it('finds every pull-in voltage from a twentieth of the lowest voltage to nearly all of it, and says where it lies beyond', () => {
    for (const vp of [0.6, 2, 4, 6, 7.6]) expect(fit(voltages.map((v) => formAt(v, 1e-4, 1e-3, vp))).pullInVoltage / vp).toBeCloseTo(1, 3);
    for (const vp of [0.3, 7.95]) expect(fitCoilForm(voltages, voltages.map((v) => formAt(v, 1e-4, 1e-3, vp)), voltages.map(() => 1e-9))).toMatchObject({ reason: 'other-shape' });
    // Dead times that rise with voltage have the form with a negative time constant: no coil does that.
    expect(fitCoilForm(voltages, voltages.map((v) => formAt(v, 2e-3, -1e-3)), voltages.map(() => 1e-6))).toMatchObject({ reason: 'other-shape' });
  });

  it('does not ask for an order of the voltages', () => {
    const turned = [...voltages].reverse();
    expect(fit(turned.map((v) => formAt(v)), turned.map(() => 1e-6), turned).pullInVoltage).toBeCloseTo(5.8, 5);
  });

  it('needs four voltages that differ, and numbers that are some', () => {
    const of = (at: readonly number[], times = at.map((v) => formAt(v)), us = at.map(() => 1e-6)) => fitCoilForm(at, times, us);
    expect(of([8, 10, 12, 14])).toMatchObject({ kind: 'coil-form', dof: 1 });
    const few = 'The form has three unknowns and needs 4 voltages with a dead time; ';
    expect(of([8, 10, 12, 12])).toMatchObject({ reason: 'too-few-voltages', text: `${few}3 are there.` });
    for (const bad of [of(voltages, [...exact().slice(1), Number.NaN]), of(voltages, exact(), voltages.map((_, i) => (i === 2 ? 0 : 1e-6))), of([0, ...voltages], [1e-3, ...exact()]), of(voltages, exact(), voltages.map((_, i) => (i === 2 ? Number.POSITIVE_INFINITY : 1e-6))), of([...voltages, Number.NaN], [...exact(), 1e-3])]) {
      expect(bad).toMatchObject({ reason: 'too-few-voltages', text: `${few}0 are there.` });
    }
  });
});
