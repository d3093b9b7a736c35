import { expect, it } from 'vitest';
import type { PreflightLine } from '../../app/plan/preflight-line.ts';
import { sheetLinesOf } from './preflight.ts';

it('WIN-205 every line of the sheet has one place, and what waits for a bench is nothing to look at yet', () => {
  const line = (rule: string, result: PreflightLine['result'], more: Partial<PreflightLine> = {}): PreflightLine => ({ rule, result, text: 'What was found.', ...more });
  const lines = [line('PRE-1', 'pass'), line('PRE-2', 'warn'), line('PRE-4', 'warn', { awaitsBench: true }), line('PRE-8', 'refuse'), line('PRE-9', 'pass'), line('PRE-40', 'warn', { awaitsBench: true })];
  const rules = Object.fromEntries(Object.entries(sheetLinesOf({ lines })).map(([place, of]: [string, readonly PreflightLine[]]) => [place, of.map(({ rule }) => rule)]));
  expect(rules).toEqual({ refused: ['PRE-8'], warned: ['PRE-2'], awaiting: ['PRE-4', 'PRE-40'], passed: ['PRE-1', 'PRE-9'] });
});
