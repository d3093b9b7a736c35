/** How the reports of a book follow each other. */
import type { IssuedReportRow } from '../../../app/contract/report-requests.ts';

/** The report that was first, those that took its place one after the other, and the one that stands: with `number` among them. */
export function chainOf(reports: readonly IssuedReportRow[], number: string): readonly IssuedReportRow[] {
  const byNumber = new Map(reports.map((report) => [report.number, report]));
  const chain: IssuedReportRow[] = [];
  const add = (next: string | null, of: 'amends' | 'amendedBy'): void => {
    for (let one = next; one !== null; ) {
      const report = byNumber.get(one);
      // A list that is cut off, or goes round, ends there.
      if (report === undefined || chain.includes(report)) return;
      if (of === 'amends') chain.unshift(report);
      else chain.push(report);
      one = report[of];
    }
  };
  add(number, 'amends');
  add(byNumber.get(number)?.amendedBy ?? null, 'amendedBy');
  return chain;
}
