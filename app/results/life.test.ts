import { describe, expect, it } from 'vitest';
import { compareRuns } from './comparison.ts';
import { lifeOf } from './life.ts';
import { madeRun, syntheticInjector } from './synthetic-run.test-helper.ts';

const first = madeRun({ seed: 3 });
const later = madeRun({ seed: 4, injector: (i) => ({ ...syntheticInjector(i), deadTime: (v, p, w) => syntheticInjector(i).deadTime(v, p, w) + (i === 1 ? 3e-5 : 0) }) });

describe('WIN-64: the life of an injector', () => {
  it('says of two runs what their comparison says, with errors in common taken out', () => {
    const places = lifeOf([first, later], 'S-2');
    const rows = compareRuns(first, later).rows.filter((row) => row.serialNumber === 'S-2');
    expect(rows).toHaveLength(3);
    for (const row of rows) {
      const place = places.find((p) => p.quantity === 'dead-time' && p.voltage === row.voltage);
      expect(place?.results.map((r) => r.run)).toEqual(['run-3', 'run-4']);
      const [old, now] = place?.results ?? [];
      expect(old?.change).toBeNull();
      expect(now?.change?.value).toBeCloseTo(row.deadTime.value, 12);
      expect(now?.change?.expanded).toBeCloseTo(row.deadTime.u95, 12);
      expect(now?.change?.value).toBeCloseTo(3e-5, 5);
    }
    const slope = places.find((p) => p.quantity === 'slope')?.results[1];
    // The meter is the same: its error is in both values and in no change.
    expect(slope?.change?.expanded ?? 1).toBeLessThan(slope?.result.expanded ?? 0);
  });

  it('has every run since as a change from the first, and passes over runs without the injector', () => {
    const third = madeRun({ seed: 5 });
    const without = { ...madeRun({ seed: 6 }), reduction: { ...first.reduction, cells: first.reduction.cells.filter((c) => c.serialNumber !== 'S-2'), staticFlows: [] } };
    const [place] = lifeOf([first, without, later, third], 'S-2');
    expect(place?.results.map((r) => r.run)).toEqual(['run-3', 'run-4', 'run-5']);
    const [one, two, three] = place?.results ?? [];
    expect(three?.change?.value).toBeCloseTo((three?.result.value ?? 0) - (one?.result.value ?? 0), 12);
    expect(two?.change?.value).not.toBeCloseTo(three?.change?.value ?? 0, 6);
    expect(lifeOf([first], 'no such')).toEqual([]);
  });
});
