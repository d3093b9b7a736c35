import { describe, expect, it } from 'vitest';
import { deadTimeCarried } from '../reduce/carried-line.ts';
import { deviationsFromMean } from '../uncertainty/set.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import { lineAt } from '../results/synthetic-run.test-helper.ts';
import { probabilityText, reportOf } from './build.ts';
import { reportDetailsSchema } from './details.ts';
import { reportBody } from './html.ts';
import { heldLimits } from './limits.ts';
import { reportInput } from './made-report.test-helper.ts';

const input = reportInput();
const { results } = input;
const run = { plan: results.plan, reduction: results.reduction };
const details = (...limits: readonly unknown[]) => reportDetailsSchema.parse({ reportDetailsVersion: 1, limits });
const held = (...limits: readonly unknown[]) => heldLimits(details(...limits).limits, { kind: 'guard-band', times: 1 }, run);

describe('REP-14: limits', () => {
  it('speak of the type, pressure and voltage that they name, in the unit of the trade', () => {
    expect(held({ of: 'slope', low: 1 }).length).toBe(12);
    const rows = held({ of: 'dead-time', type: 'T', voltageV: 14, pressureKpa: 400, low: 0.1, high: 0.2 });
    expect(rows.map((r) => r.item)).toEqual(['S-1', 'S-2', 'S-3', 'S-4']);
    expect(rows[0]).toMatchObject({ at: '14 V, 400 kPa', tolerance: { low: 0.1e-3, high: 0.2e-3 } });
    expect(rows[0]?.of).toEqual(lineAt(results, 0, 14).deadTime);
    expect(rows[0]?.verdict?.decided).toBe('fail');
  });

  it('of static flow, leak and coil resistance', () => {
    const flow = results.reduction.staticFlows[0];
    if (flow?.kind !== 'static-flow') throw new Error('it was measured');
    const grams = flow.flow.value * 6e4;
    expect(held({ of: 'static-flow', low: grams - 1, high: grams + 1 })[0]?.verdict?.decided).toBe('pass');
    expect(held({ of: 'leak', high: 0.1 })[0]).toMatchObject({ item: 'rail', of: null });
    const plan = { ...run.plan, injectors: run.plan.injectors.map((i, n) => (n === 0 ? { ...i, coilResistanceOhm: 14.5 } : i)) };
    const [known, unknown] = heldLimits(details({ of: 'coil-resistance', low: 14, high: 15, standardUncertaintyOhm: 0.1 }).limits, { kind: 'guard-band', times: 1 }, { ...run, plan });
    expect(known).toMatchObject({ verdict: { decided: 'pass' }, of: { u: 0.1 } });
    expect(unknown).toMatchObject({ of: null, verdict: null });
  });

  it('that speak of nothing say so', () => {
    const [row, ...others] = held({ of: 'slope', type: 'another', low: 1 });
    expect(others).toEqual([]);
    expect(row).toMatchObject({ item: 'another', of: null, verdict: null });
    expect(row?.why).toContain('Nothing was measured');
  });

  it('without a value or with low above high are refused', () => {
    for (const limit of [{ of: 'slope' }, { of: 'dead-time', low: 2, high: 1 }, { of: 'leak' }, { of: 'slope', low: 1, unit: 'g' }]) expect(reportDetailsSchema.safeParse({ reportDetailsVersion: 1, limits: [limit] }).success).toBe(false);
  });
});

describe('REP-15: a match', () => {
  it('is against the mean of the set, and what they have in common cancels', () => {
    const rows = held({ of: 'match', quantity: 'dead-time', voltageV: 14, within: 5 });
    const deviations = deviationsFromMean([0, 1, 2, 3].map((i) => deadTimeCarried(lineAt(results, i, 14)))).map(stateCarried);
    expect(rows.map((r) => r.of?.value)).toEqual(deviations.map((d) => d.value));
    expect(rows.map((r) => r.of?.u)).toEqual(deviations.map((d) => d.u));
    expect(rows[0]?.tolerance).toEqual({ low: -5e-6, high: 5e-6 });
    const slopes = held({ of: 'match', quantity: 'slope', voltageV: 14, within: 1 });
    const values = [0, 1, 2, 3].map((i) => lineAt(results, i, 14).slope.value);
    const mean = values.reduce((a, b) => a + b) / 4;
    slopes.forEach((row, i) => expect(row.of?.value).toBeCloseTo((values[i] ?? 0) / mean - 1, 12));
    // Meter and density scale all alike.
    expect((slopes[0]?.of?.u ?? 1)).toBeLessThan(lineAt(results, 0, 14).slope.u / mean);
    expect(held({ of: 'match', quantity: 'static-flow', within: 1 }).length).toBe(4);
  });

  it('REP-16 of one that has no value is none, and of fewer than two neither', () => {
    const cells = results.reduction.cells.map((c, i) => (c.kind === 'line' && i % 4 !== 0 ? { ...c, kind: 'no-line' as const, reason: 'not-measured' as const, text: 'Not there.' } : c));
    const rows = heldLimits(details({ of: 'match', quantity: 'slope', within: 1 }).limits, { kind: 'simple' }, { ...run, reduction: { ...run.reduction, cells } });
    expect(rows.filter((r) => r.verdict !== null).every((r) => r.of !== null)).toBe(true);
    expect(rows.some((r) => r.verdict === null && r.why === 'Not there.')).toBe(true);
  });
});

describe('REP-12: the statement', () => {
  it('names rule, limits, probability and decision, and puts first what does not pass', () => {
    const document = reportOf({ ...input, details: details({ of: 'dead-time', voltageV: 14, low: 0.1, high: 0.2 }, { of: 'slope', voltageV: 14, low: 0.1 }) });
    expect(document.conformity?.summary).toBe('Of 8 results with a limit 4 pass, 4 fail, 0 are decided neither way.');
    expect(document.conformity?.exceptions.rows.length).toBe(4);
    expect(document.conformity?.table?.rows.length).toBe(8);
    const html = reportBody(document);
    expect(html).toContain('Guard band w = U');
    expect(html).toContain('0.1 to 0.2 ms');
    expect(html).toContain('✗ FAIL');
    expect(html.indexOf('Not passed')).toBeLessThan(html.indexOf('<h2>Results</h2>'));
  });

  it('rounds no probability to a certainty', () => {
    expect([0, 0.0004, 0.3333, 0.9994, 0.9996, 1].map(probabilityText)).toEqual(['< 0.1 %', '< 0.1 %', '33.3 %', '99.9 %', '> 99.9 %', '> 99.9 %']);
  });
});
