import { describe, expect, it, vi } from 'vitest';
import { effectsOfResistance } from './resistance-effect.ts';
import { deadTimeByClamp, deadTimeByResistance, deadTimeByVoltage } from './sensitivity.ts';

const clampV = 47;
const voltages = [9, 10.5, 12, 14, 16];

interface Coil {
  /** s */
  readonly movements: number;
  readonly tau: number;
  readonly decay: number;
  /** V */
  readonly pullIn: number;
  readonly stretch: number;
}
const coil: Coil = { movements: 0, tau: 1.6e-3, decay: 0.4e-3, pullIn: 5, stretch: 0.92 };

/** Dead time with a resistance so many times as large, s; none of its parts is on the grid of forms. */
const deadTimeOf = ({ movements, tau, decay, pullIn, stretch }: Coil, v: number, times = 1): number =>
  movements + (tau / times) * (-Math.log(1 - (pullIn * times) / v)) ** (1 / stretch) - (decay / times) * Math.log(clampV / (clampV - v + 2 * times));
/** With a needle that is as slow near where it does not open any more as usual ones are (RED-173). */
const exact = (of: Coil, v: number, needle = 0.3): number => ((1 + needle * (of.pullIn / v) ** 2) * (deadTimeOf(of, v, Math.exp(1e-4)) - deadTimeOf(of, v, Math.exp(-1e-4)))) / 2e-4;
const told = (of: Coil, at: readonly number[] = voltages, u = 1e-6, off: (i: number) => number = () => 0) => effectsOfResistance(clampV)(at.map((v, i) => ({ at: v, deadTime: deadTimeOf(of, v) + off(i), u })));

/** As RED-60 has it of one voltage and its neighbours, with the usual movements. */
const usual = (of: Coil, v: number) => {
  const known = voltages.map((at) => ({ at, deadTime: deadTimeOf(of, at) }));
  return deadTimeByResistance(deadTimeByVoltage(known, v, deadTimeOf(of, v)), v, deadTimeOf(of, v), { clampV, sensitivity: deadTimeByClamp(v, clampV) }, { ohm: 1, uRelative: 0, from: 'current' });
};

describe('RED-170 what a larger resistance does to the dead time', () => {
  it.each([-0.25e-3, -0.1e-3, 0.1e-3])('is told by the dead times at all voltages, with movements of %f s, better than without', (movements) => {
    const errors: number[] = [];
    for (const stretch of [0.84, 0.92, 1]) {
      for (const pullIn of [4, 5.5, 7]) {
        const of = { ...coil, movements, stretch, pullIn };
        told(of).forEach(({ value, u }, i) => {
          const v = voltages[i] ?? 0;
          errors.push(Math.abs(value - exact(of, v)) / u);
          if (v >= 14) expect(u).toBeLessThan(usual(of, v).u);
        });
      }
    }
    // Movements stand off what is believed of them by up to 1.4 standard uncertainties in all of them, and coils at the ends of what is usual by as much.
    expect(Math.max(...errors)).toBeLessThan(2.6);
    expect(Math.sqrt(errors.reduce((sum, z) => sum + z * z, 0) / errors.length)).toBeLessThan(1.4);
  });

  it('RED-173 by a needle that is the slower the nearer its injector is to not opening', () => {
    const weak = { ...coil, pullIn: 7 };
    // Pull-in at 7 of 9 V and of 16 V: a fifth more than by the circuit alone, and a sixteenth.
    expect(exact(weak, 9) / exact(weak, 9, 0)).toBeCloseTo(1.1815, 3);
    expect(exact(weak, 16) / exact(weak, 16, 0)).toBeCloseTo(1.0574, 3);
    const found = told(weak);
    const missed = (i: number, needle: number): number => Math.abs((found[i]?.value ?? Number.NaN) - exact(weak, voltages[i] ?? 0, needle));
    for (const i of [0, 1]) {
      expect(missed(i, 0.3)).toBeLessThan(missed(i, 0) / 2);
      expect(missed(i, 0.3)).toBeLessThan(missed(i, 0.6) / 2);
    }
    // One that is not so slow, or slower, by twice what that is known to, beside what the form misses.
    for (const needle of [0.14, 0.46]) expect(missed(0, needle)).toBeLessThan(2.3 * (found[0]?.u ?? 0));
  });

  it('with movements that are not the usual ones where the usual ones would be missed by all of the difference', () => {
    const of = { ...coil, movements: -0.1e-3 };
    const byAll = told(of)[2]?.value ?? Number.NaN;
    expect(Math.abs(byAll - exact(of, 12))).toBeLessThan(Math.abs(usual(of, 12).value - exact(of, 12)) / 3);
  });

  it('by two voltages already, and the worse the worse dead times are known', () => {
    for (const [i, { value, u }] of told(coil, [9, 16]).entries()) expect(Math.abs(value - exact(coil, [9, 16][i] ?? 0))).toBeLessThan(1.5 * u);
    const [well, badly, hardly] = [1e-6, 3e-5, 1e-3].map((u) => told(coil, voltages, u)[2]?.u ?? Number.NaN);
    expect(badly).toBeGreaterThan(1.2 * (well ?? Number.NaN));
    expect(hardly).toBeGreaterThan(3 * (well ?? Number.NaN));
  });

  it('in whatever order they come, and the same again', () => {
    const turned = effectsOfResistance(clampV)(voltages.map((v) => ({ at: v, deadTime: deadTimeOf(coil, v), u: 1e-6 })).toReversed()).toReversed();
    told(coil).forEach(({ value, u }, i) => {
      expect((turned[i]?.value ?? 0) / value).toBeCloseTo(1, 9);
      expect((turned[i]?.u ?? 0) / u).toBeCloseTo(1, 6);
    });
    const effects = effectsOfResistance(clampV);
    const known = voltages.map((v) => ({ at: v, deadTime: deadTimeOf(coil, v), u: 1e-6 }));
    expect(effects(known)).toEqual(effects(known));
  });

  it('RED-134: forms are worked out once for a clamp and voltages, whoever asks, and are those of no other', () => {
    const known = voltages.map((v) => ({ at: v, deadTime: deadTimeOf(coil, v), u: 1e-6 }));
    const asked = [known, known.filter(({ at }) => at === 9 || at === 16), known.slice(1), known.slice(0, 4)];
    const clamps = [clampV, clampV + 20];
    // As many others as push out whatever was kept.
    const forget = (): void => {
      for (let i = 0; i < 200; i += 1) effectsOfResistance(60)([{ at: 8 + i / 100, deadTime: 1e-3, u: 1e-6 }, { at: 14, deadTime: 7e-4, u: 1e-6 }]);
    };
    const byItself = clamps.map((clamp) => asked.map((of) => {
      forget();
      return effectsOfResistance(clamp)(of);
    }));
    expect(clamps.map((clamp) => asked.map((of) => effectsOfResistance(clamp)(of)))).toEqual(byItself);
    expect(byItself[0]).not.toEqual(byItself[1]);
    const worked = vi.spyOn(Math, 'log1p');
    expect(effectsOfResistance(clampV)(known)).toEqual(byItself[0]?.[0]);
    expect(worked).not.toHaveBeenCalled();
    forget();
    expect(worked).toHaveBeenCalled();
    worked.mockRestore();
  });

  it('of dead times that no form explains it says less', () => {
    const zigzag = told(coil, voltages, 1e-6, (i) => (i % 2 === 0 ? 1 : -1) * 6e-5);
    told(coil).forEach(({ u }, i) => expect(zigzag[i]?.u ?? 0).toBeGreaterThan(1.5 * u));
  });
});
