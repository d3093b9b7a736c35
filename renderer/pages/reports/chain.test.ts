import { expect, it } from 'vitest';
import type { IssuedReportRow } from '../../../app/contract/report-requests.ts';
import { chainOf } from './chain.ts';

const row = (number: string, amends: string | null, amendedBy: string | null): IssuedReportRow => ({ number, at: '', runId: '', by: null, amends, amendedBy, stamp: 'none' });
const reports = [row('R-3', 'R-1', 'R-4'), row('R-4', 'R-3', null), row('R-2', null, null), row('R-1', null, 'R-3')];
const numbers = (of: string): readonly string[] => chainOf(reports, of).map((r) => r.number);

it('REP-40 a chain of amendments is the same from each of its reports', () => {
  for (const of of ['R-1', 'R-3', 'R-4']) expect(numbers(of)).toEqual(['R-1', 'R-3', 'R-4']);
  expect(numbers('R-2')).toEqual(['R-2']);
});

it('REP-40 a chain whose begin is not in the list, or that goes round, ends', () => {
  expect(chainOf(reports.slice(0, 2), 'R-4').map((r) => r.number)).toEqual(['R-3', 'R-4']);
  expect(chainOf([row('R-1', 'R-2', 'R-2'), row('R-2', 'R-1', 'R-1')], 'R-1').map((r) => r.number)).toEqual(['R-2', 'R-1']);
  expect(numbers('R-9')).toEqual([]);
});
