import { describe, expect, it } from 'vitest';
import { compareRuns, comparisonSentence, enOf, significanceWords } from './comparison.ts';
import { drawErrors, lineAt, madeRun, normalFrom, syntheticEquipment, syntheticInjector } from './synthetic-run.test-helper.ts';

const first = madeRun({ seed: 3 });

describe('two runs', () => {
  it('of the same injectors differ in few places, and it is said that chance gives as many', () => {
    const { rows, left } = compareRuns(first, madeRun({ seed: 4 }));
    expect(rows).toHaveLength(12);
    expect(left).toEqual([]);
    expect(rows.filter((r) => r.deadTime.significant).length).toBeLessThanOrEqual(2);
    expect(comparisonSentence(rows, 'deadTime')).not.toContain('The runs differ.');
  });
  it('differ where an injector opens later now', () => {
    const later = madeRun({ seed: 4, injector: (i) => ({ ...syntheticInjector(i), deadTime: (v, p, w) => syntheticInjector(i).deadTime(v, p, w) + (i === 1 ? 3e-5 : 0) }) });
    const { rows } = compareRuns(first, later);
    const changed = rows.filter((r) => r.serialNumber === 'S-2');
    for (const r of changed) {
      expect(r.deadTime.significant).toBe(true);
      expect(r.deadTime.value).toBeCloseTo(3e-5, 5);
      expect(significanceWords(r.deadTime, 'later', 'earlier')).toBe('later');
    }
    expect(comparisonSentence(rows, 'deadTime')).toContain('The runs differ.');
  });
  it('RED-69: the same instruments cancel; under another certificate their uncertainties count in full', () => {
    const second = madeRun({ seed: 4 });
    const meter = { ...second.equipment.meter, certificate: { ...second.equipment.meter.certificate, number: 'C-9' } };
    const same = compareRuns(first, second);
    const other = compareRuns(first, { ...second, equipment: { ...second.equipment, meter } });
    const slope = (of: typeof same): number => of.rows[0]?.slope.u95 ?? 0;
    // Two K-factors at 0.1 % each come in, 95 %.
    const kFactors = 1.96e-3 * Math.SQRT2 * lineAt(first, 0, 9).slope.value;
    expect(slope(other) / Math.hypot(slope(same), kFactors)).toBeCloseTo(1, 1);
    expect(slope(same)).toBeLessThan(kFactors);
    expect(same.instruments).toContain('mostly cancel: meter');
    expect(other.instruments).toContain('count in full: meter.');
  });
  it('intervals hold the true difference of none in about 95 % of cases, with the same instrument errors in both', () => {
    let inside = 0;
    let all = 0;
    for (let seed = 1; seed <= 12; seed += 1) {
      const errors = { ...drawErrors(syntheticEquipment, normalFrom(500 + seed)), coilK: 0 };
      const { rows } = compareRuns(madeRun({ seed, errors }), madeRun({ seed: seed + 100, errors }));
      for (const r of rows) {
        all += 2;
        inside += (r.deadTime.significant ? 0 : 1) + (r.slope.significant ? 0 : 1);
      }
    }
    expect(inside / all).toBeGreaterThan(0.9);
  });
  it('what cannot be compared is counted and said', () => {
    const { rows, left } = compareRuns(madeRun({ keep: (p) => p.injector !== 0 }), first);
    expect(rows).toHaveLength(9);
    expect(left).toEqual(['3 places (injector, voltage, pressure and period) have no line in one of the runs.']);
    const others = { ...first, reduction: { ...first.reduction, cells: first.reduction.cells.map((c) => ({ ...c, serialNumber: `X${c.serialNumber}` })) } };
    const none = compareRuns(first, others);
    expect(none.rows).toEqual([]);
    expect(none.left).toHaveLength(3);
  });

  it('CMP-11: En is beyond 1 exactly where a difference is significant', () => {
    const rows = compareRuns(madeRun({ seed: 7 }), madeRun({ seed: 8, injector: (i) => ({ ...syntheticInjector(i), slope: (p) => 1.01 * syntheticInjector(i).slope(p) }) })).rows;
    const all = rows.flatMap((row) => [row.deadTime, row.slope]);
    for (const difference of all) expect(Math.abs(enOf(difference)) > 1).toBe(difference.significant);
    expect(new Set(all.map((d) => d.significant)).size).toBe(2);
    expect(enOf({ first: 1, second: 1, value: 0, u95: 0, significant: false })).toBe(0);
  });
});
