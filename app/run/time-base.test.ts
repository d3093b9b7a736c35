import { describe, expect, test } from 'vitest';
import { comparisonText, isBeyond, TimeBase } from './time-base.ts';

/** Numbers between 0 and 1 that repeat for ever. */
function chance(seed: number): () => number {
  let x = seed;
  return () => {
    x = (Math.imul(x, 1_664_525) + 1_013_904_223) >>> 0;
    return x / 2 ** 32;
  };
}

/** Frames of a controller whose second is `rate` of the host's, `hertz` a second, late by what `late` says. */
function listen(seconds: number, rate: number, late: (s: number) => number, hertz = 20): TimeBase {
  const base = new TimeBase();
  for (let i = 0; i < seconds * hertz; i += 1) {
    const at = Math.floor((i / hertz) * 1e6) / 1e6 + 12_345;
    base.add(77_000 + at * rate + 0.004 + late(i / hertz), at);
  }
  return base;
}

describe('RUN-114 the two clocks', () => {
  test('are told apart to a few millionths in a quarter of an hour, through jitter of milliseconds and hold-ups of a tenth of a second', () => {
    for (const [i, ppm] of [-5000, -120, 0, 40, 5000].entries()) {
      const random = chance(i + 1);
      const found = listen(900, 1 + ppm * 1e-6, () => 2e-3 * random() - 1e-3 * Math.log(random()) + (random() < 0.02 ? 0.1 * random() : 0)).comparison;
      expect(Math.abs((found?.difference ?? NaN) - ppm * 1e-6)).toBeLessThan(2.5 * (found?.u ?? NaN));
      expect(found?.u).toBeLessThan(3e-6);
    }
  });

  test('agree within what is stated when the computer gets busy for good in the middle', () => {
    // Twenty milliseconds more from half time on: a difference that is none.
    const random = chance(9);
    const found = listen(600, 1, (s) => 2e-3 * random() + (s > 300 ? 0.02 : 0)).comparison;
    if (found === null) throw new Error('nothing was told');
    expect(Math.abs(found.difference)).toBeGreaterThan(20e-6);
    expect(isBeyond(found, 30e-6)).toBe(false);
  });

  test('nothing is told before it can be, and a resonator half a percent off is seen in a quarter of a minute', () => {
    expect(listen(10, 1.005, () => 0).comparison).toBeNull();
    const random = chance(3);
    const found = listen(16, 1.005, () => 3e-3 * random()).comparison;
    if (found === null) throw new Error('nothing was told');
    expect(isBeyond(found, 4500e-6)).toBe(true);
    expect(isBeyond(found, 5500e-6)).toBe(false);
  });

  test('the stated uncertainty holds: few of 300 comparisons are off by more than two of it', () => {
    let outside = 0;
    for (let seed = 1; seed <= 300; seed += 1) {
      const random = chance(seed * 7919);
      const found = listen(120, 1 + 30e-6, () => 4e-3 * random()).comparison;
      if (found !== null && Math.abs(found.difference - 30e-6) > 2 * found.u) outside += 1;
    }
    expect(outside).toBeLessThan(15);
  });

  test('a day of frames takes no more memory than a minute, and a comparison may begin anew', () => {
    const base = listen(86_400, 1 + 25e-6, () => 0, 1);
    expect(base.comparison?.difference).toBeCloseTo(25e-6, 9);
    expect(base.comparison?.u).toBeLessThan(1e-7);
    base.forget();
    expect(base.comparison).toBeNull();
    base.add(1, 0);
    expect(base.comparison).toBeNull();
  });

  test('is said in words with its uncertainty', () => {
    expect(comparisonText({ difference: -123.4e-6, u: 2e-6, duration: 600 })).toBe("A second of the controller's clock is 123 ± 4.0 millionths shorter than one of this computer's (k = 2, over 10 min).");
  });

  test('RUN-117 a computer that was suspended begins a new comparison, and is not taken for a wrong clock', () => {
    const base = new TimeBase();
    let anew = 0;
    for (let i = 1; i <= 8000; i += 1) {
      const at = i * 0.05;
      // Suspended for 9 s of which the port kept half a second of frames.
      const stood = at < 100 ? 0 : Math.min(9, at < 100.5 ? at - 100 : 9);
      if (at >= 100.5 && at < 109) continue;
      if (base.add(1000 + at - stood, at)) anew += 1;
    }
    expect(anew).toBeGreaterThan(0);
    expect(Math.abs(base.comparison?.difference ?? 1)).toBeLessThan(1e-6);
  });

  test('RUN-173 a standstill of half a second is noticed within a block of frames and at the beginning of one; one of 0.2 s is none', () => {
    const noticed = (afterS: number, stoodS: number): number => {
      const base = new TimeBase();
      let anew = 0;
      for (let i = 1; i * 0.05 <= afterS + 3; i += 1) {
        const at = i * 0.05;
        if (base.add(1000 + at - (at > afterS ? stoodS : 0), at)) anew += 1;
      }
      return anew;
    };
    for (const afterS of [0.1, 0.99, 1.99, 2.04, 9.99, 10.04, 11.02]) {
      expect(noticed(afterS, 0.5)).toBe(1);
      expect(noticed(afterS, 0.2)).toBe(0);
    }
  });
});
