import { describe, expect, it } from 'vitest';
import { RandomSource } from './random.ts';
import { EDGES_PER_REVOLUTION, nominalKFactor } from './k-factor.ts';
import { Meter } from './meter.ts';

/** Lets a steady flow, m3/s, through for some time; calls `seen` after each millisecond. */
function run(meter: Meter, flow: number, seconds: number, seen: (us: number) => void = () => undefined): void {
  for (let ms = 0; ms < seconds * 1e3; ms += 1) {
    meter.pass(ms * 1e3, 1e-3, (t) => t * flow);
    if (ms % 20 === 19) meter.tick(0.02);
    seen((ms + 1) * 1e3);
  }
}

describe('flow meter', () => {
  it('gives K edges for each volume, K at its own speed, and its instrument error on top', () => {
    for (const error of [0, 0.01]) {
      const meter = new Meter(null, error);
      run(meter, 1e-6, 5);
      const before = { edges: meter.edges, at: meter.lastEdgeUs };
      // Time starts over in the second run, so edges are counted over whole runs of the same clock.
      const second = new Meter(null, error);
      run(second, 1e-6, 40);
      const hertz = (second.edges - before.edges) / ((second.lastEdgeUs - before.at) / 1e6);
      expect(hertz / (nominalKFactor(hertz) * 1e-3 * (1 + error))).toBeCloseTo(1, 4);
    }
  });

  it('stamps each edge with the time at which the angle is reached', () => {
    const meter = new Meter(null, 0);
    const stamps: number[] = [];
    run(meter, 2e-6, 10, () => {
      if (stamps.at(-1) !== meter.lastEdgeUs) stamps.push(meter.lastEdgeUs);
    });
    const spacings = stamps.slice(400).map((s, i) => s - (stamps[399 + i] ?? NaN));
    const expected = 1e6 / (nominalKFactor(95.5) * 1e3 * 2e-6);
    for (const spacing of spacings) expect(Math.abs(spacing - expected)).toBeLessThan(2);
  });

  it('has an in-rotation error that is gone over a whole revolution, and jitter', () => {
    const meter = new Meter(RandomSource.named(4, 'meter'), 0);
    const stamps: number[] = [];
    run(meter, 1e-6, 60, () => {
      if (stamps.at(-1) !== meter.lastEdgeUs) stamps.push(meter.lastEdgeUs);
    });
    const settled = stamps.slice(100);
    const span = (n: number) => settled.slice(n).map((s, i) => (s - (settled[i] ?? NaN)) / n);
    const spread = (xs: number[]) => {
      const mean = xs.reduce((a, b) => a + b, 0) / xs.length;
      return Math.sqrt(xs.reduce((a, x) => a + (x - mean) ** 2, 0) / xs.length) / mean;
    };
    const half = spread(span(EDGES_PER_REVOLUTION / 2));
    const whole = spread(span(EDGES_PER_REVOLUTION));
    // Amplitude 0.3 % of speed: over half a revolution 2/pi of it, as a standard deviation over sqrt 2.
    expect(half).toBeGreaterThan(0.5 * (0.003 * 2) / Math.PI / Math.SQRT2);
    expect(half).toBeLessThan(2 * (0.003 * 2) / Math.PI / Math.SQRT2);
    expect(whole).toBeLessThan(half / 4);
    expect(whole).toBeGreaterThan(0);
  });

  it('gives nothing while silent, and goes on counting from where it was', () => {
    const meter = new Meter(null, 0);
    run(meter, 1e-6, 2);
    const edges = meter.edges;
    meter.silent = true;
    run(meter, 1e-6, 2);
    expect(meter.edges).toBe(edges);
    meter.silent = false;
    run(meter, 1e-6, 2);
    expect(Math.abs(meter.edges - 2 * edges)).toBeLessThanOrEqual(2);
  });
});
