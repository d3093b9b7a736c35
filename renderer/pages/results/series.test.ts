import { describe, expect, it } from 'vitest';
import { colourOf, dashOf, drawn, markerPath, mostPoints } from './series.ts';
import type { Series } from './series.ts';

const series = (look: number, points: number): Series => ({ id: `s${look}`, title: `S ${look}`, look, points: Array.from({ length: points }, (_, x) => ({ x, y: 0, low: null, high: null })) });

describe('series', () => {
  it('differ in the shape of their marker as well as in colour, and in dash once colours come again', () => {
    const first = Array.from({ length: 8 }, (_, i) => i);
    expect(new Set(first.map((i) => markerPath(i, 4))).size).toBe(8);
    expect(new Set(first.map(colourOf)).size).toBe(8);
    expect(new Set(Array.from({ length: 24 }, (_, i) => `${colourOf(i)} ${String(dashOf(i))}`)).size).toBe(24);
  });
  it('are drawn as far as the chart can take them; switching some off lets others in', () => {
    const all = [series(0, 120), series(1, 120), series(2, 120)];
    expect(drawn(all, new Set()).map((s) => s.id)).toEqual(['s0', 's1']);
    expect(drawn(all, new Set(['s0'])).map((s) => s.id)).toEqual(['s1', 's2']);
  });
  it('are thinned with their ends kept where one alone is too long', () => {
    const [one] = drawn([series(0, 1001)], new Set());
    expect(one?.points).toHaveLength(mostPoints);
    expect([one?.points[0]?.x, one?.points.at(-1)?.x]).toEqual([0, 1000]);
  });
});
