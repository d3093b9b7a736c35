import { describe, expect, it } from 'vitest';
import { runTrials, trialSentences } from '../results/line-trials.ts';
import { syntheticPlan } from '../results/synthetic-run.test-helper.ts';
import { reportOf } from './build.ts';
import { reportDetailsSchema } from './details.ts';
import { reportInput } from './made-report.test-helper.ts';

describe('TAB-27: a Monte Carlo in a report', () => {
  const input = reportInput({ plan: syntheticPlan({ voltageV: [12] }, 1) });
  const details = reportDetailsSchema.parse({ reportDetailsVersion: 1, monteCarlo: true });
  const statement = (more: Partial<typeof input>) => reportOf({ ...input, ...more }).statements.find((s) => s.title === 'Monte Carlo');

  it('stands in full ones whose details ask for it, the same each time', () => {
    const sentences = statement({ details })?.sentences;
    expect(sentences?.[0]).toMatch(/\(JCGM 101:2008, 1\d{5} trials or more, adaptive by 7\.9\.4\)\. 2 of 2 intervals of 95 % agree/);
    expect(statement({ details })?.sentences).toEqual(sentences);
    expect(statement({})).toBeUndefined();
    expect(statement({ details, length: 'one-page' })).toBeUndefined();
  });

  it('states both intervals of each number where they differ', () => {
    const rows = [...runTrials(input.results.reduction, 'run-7')].map((row, i) => (i === 0 ? { ...row, trials: { ...row.trials, high: row.stated.value + 2 * row.stated.expanded, verdict: 'differs' as const } } : row));
    const [first, second, ...more] = trialSentences(rows);
    expect(first).toContain('1 of 2 intervals');
    expect(second).toMatch(/^S-1, 12 V, 400 kPa, period 20 ms: dead time: stated [\d.]+ to [\d.]+ ms; by Monte Carlo [\d.]+ to [\d.]+ ms\.$/);
    expect(more).toEqual([]);
  });
});
