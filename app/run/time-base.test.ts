import { describe, expect, test } from 'vitest';
import { clocksText, comparisonText, isBeyond, TimeBase, worthTelling } from './time-base.ts';

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

/** A straight line by the sums of the textbook, and what is stated of it. */
function line(points: readonly (readonly [x: number, y: number])[]): { readonly slope: number; readonly u: number } {
  const n = points.length;
  const sum = (of: (x: number, y: number) => number): number => points.reduce((all, [x, y]) => all + of(x, y), 0);
  const [sx, sy, sxx, sxy] = [sum((x) => x), sum((_, y) => y), sum((x) => x * x), sum((x, y) => x * y)];
  const slope = (n * sxy - sx * sy) / (n * sxx - sx * sx);
  const scatter = Math.sqrt(sum((x, y) => (y - (sy - slope * sx) / n - slope * x) ** 2) / (n - 2));
  const duration = (points.at(-1)?.[0] ?? 0) - (points[0]?.[0] ?? 0);
  return { slope, u: Math.hypot(scatter / Math.sqrt(sxx - (sx * sx) / n), ((2 * Math.max(1e-3, scatter)) / Math.sqrt(3)) / duration) };
}

describe('RUN-114 the line through the least lags', () => {
  /** Frames two seconds apart, each a block of its own, with these lags; the last only closes the one before it. */
  const blocks = (lags: readonly number[]): TimeBase => {
    const base = new TimeBase();
    for (const [i, lag] of [...lags, 0.5].entries()) base.add(2 * i + lag, 2 * i);
    return base;
  };
  const points = (lags: readonly number[], from = 0) => lags.map((lag, i) => [2 * (from + i), lag] as const);

  test('has slope and uncertainty of least squares, its scatter as a drift, and half of what its halves differ by', () => {
    const random = chance(17);
    for (const n of [6, 7, 8, 11, 20]) {
      for (const scale of [1e-4, 5e-3, 0.05]) {
        const lags = Array.from({ length: n }, (_, i) => scale * random() + (i > n / 2 ? 3 * scale : 0));
        const whole = line(points(lags));
        const half = Math.ceil(n / 2);
        const apart = Math.max(Math.abs(line(points(lags.slice(0, half))).slope - whole.slope), Math.abs(line(points(lags.slice(-half), n - half)).slope - whole.slope));
        const found = blocks(lags).comparison;
        expect(found?.difference).toBeCloseTo(whole.slope, 12);
        expect(found?.u).toBeCloseTo(Math.max(whole.u, apart / 2), 12);
        expect(found?.duration).toBe(2 * (n - 1));
      }
    }
  });

  test('takes six blocks', () => {
    expect(blocks([0, 0, 0, 0, 0]).comparison).toBeNull();
    // Nothing scatters, but a port may: a millisecond from end to end, rectangular.
    expect(blocks([0, 0, 0, 0, 0, 0]).comparison).toEqual({ difference: 0, u: 2e-3 / Math.sqrt(3) / 10, duration: 10 });
  });

  test('goes through the frame of each block that was under way for the shortest', () => {
    const base = new TimeBase();
    for (let i = 0; i <= 24; i += 1) base.add(0.5 * i + (i % 4 === 3 ? 0 : 0.1), 0.5 * i);
    // Those at 1.5, 3.5 ... 11.5 s.
    expect(base.comparison).toEqual({ difference: 0, u: 2e-3 / Math.sqrt(3) / 10, duration: 10 });
  });

  test('has blocks of 2 s, of twice the length whenever there are more than 64', () => {
    const base = new TimeBase();
    const durations = new Set<number>();
    for (let at = 0; at <= 600; at += 1) {
      base.add(at, at);
      if (base.comparison !== null) durations.add(base.comparison.duration);
    }
    const steps = (from: number, to: number, by: number) => Array.from({ length: (to - from) / by + 1 }, (_, i) => from + i * by);
    // 65 blocks of 2 s become 33, which 32 of 4 s make 65 again.
    expect([...durations]).toEqual([...steps(10, 128, 2), ...steps(130, 254, 4), ...steps(258, 506, 8), 514, 530, 546, 562, 578]);
  });

  test.each([['first', 0, 128], ['second', 1, 126]] as const)('of two blocks that become one keeps the less, be it the %s', (_, low, duration) => {
    const base = new TimeBase();
    for (let i = 0; i <= 65; i += 1) base.add(2 * i + (i % 2 === low || i === 64 ? 0 : 0.1), 2 * i);
    expect(base.comparison).toEqual({ difference: 0, u: 2e-3 / Math.sqrt(3) / duration, duration });
  });

  test('passes over a frame whose time does not go on', () => {
    const base = blocks([0, 0, 0, 0, 0, 0]);
    const { comparison } = base;
    expect(base.add(0, 12)).toBe(false);
    expect(base.add(-100, 3)).toBe(false);
    expect(base.add(0, Number.NaN)).toBe(false);
    expect(base.comparison).toBe(comparison);
  });
});

describe('RUN-117 a frame that is too early', () => {
  test.each([
    ['just', [[0, 0], [1, -0.349]], false],
    ['as far as it may be', [[0, 0], [0.625, -0.3125]], false],
    ['too far', [[0, 0], [1, -0.351]], true],
    // A clock that is a tenth faster may be so much ahead by then.
    ['just, later', [[0, 0], [1.5, -0.399]], false],
    // The block before counts as the one that is open does, whichever is higher.
    ['too far below the open block', [[0, 0], [2, 1], [2.5, 0.69]], true],
    ['just below the open block', [[0, 0], [2, 1], [2.5, 0.71]], false],
    ['too far below the block before', [[0, 0], [2, -0.3], [2.5, -0.51]], true],
    ['just below the block before', [[0, 0], [2, -0.3], [2.5, -0.49]], false],
  ] as const)('%s', (_, frames, anew) => {
    const base = new TimeBase();
    expect(frames.map(([at, lag]) => base.add(at + lag, at)).at(-1)).toBe(anew);
  });

  test('begins a new comparison with itself', () => {
    const base = new TimeBase();
    for (let at = 0; at <= 20; at += 2) base.add(at, at);
    expect(base.comparison).not.toBeNull();
    expect(base.add(15, 21)).toBe(true);
    expect(base.comparison).toBeNull();
    for (let at = 23; at <= 33; at += 2) base.add(at - 6, at);
    expect(base.comparison).toEqual({ difference: 0, u: 2e-3 / Math.sqrt(3) / 10, duration: 10 });
  });
});

describe('RUN-115 RUN-116 a comparison in words', () => {
  const of = (difference: number, u: number, duration: number) => ({ difference, u, duration });

  test('is beyond a limit when two standard uncertainties leave it so, whichever way', () => {
    expect(isBeyond(of(5, 1, 60), 3)).toBe(false);
    expect(isBeyond(of(5.001, 1, 60), 3)).toBe(true);
    expect(isBeyond(of(-5.001, 1, 60), 3)).toBe(true);
    expect(isBeyond(of(-5, 1, 60), 3)).toBe(false);
  });

  test('has two digits below ten millionths, seconds below ninety, and the way it is off', () => {
    expect(comparisonText(of(9.44e-6, 0.0616e-6, 89.4))).toContain("is 9.4 ± 0.12 millionths longer than one of this computer's (k = 2, over 89 s)");
    expect(comparisonText(of(-10.4e-6, 6e-6, 90))).toContain('is 10 ± 12 millionths shorter than one of this computer\'s (k = 2, over 2 min)');
    expect(comparisonText(of(0, 1e-6, 60))).toContain('is 0.0 ± 2.0 millionths longer');
  });

  test('says what to look at where it is worth telling', () => {
    expect(clocksText(of(worthTelling + 2.1e-6, 1e-6, 60))).toMatch(/look at the oscillator of the controller and at the clock of this computer\.$/);
    expect(clocksText(of(worthTelling + 1.9e-6, 1e-6, 60))).toMatch(/\(k = 2, over 60 s\)\.$/);
  });
});
