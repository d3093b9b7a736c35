/** A draft as the files that it is handed out as. REP-29. */
import { reportCsv } from '../../app/report/csv.ts';
import { documentText, type ReportDocument } from '../../app/report/document.ts';
import { reportBody, reportTail } from '../../app/report/html.ts';

export const draftFiles = (document: ReportDocument): readonly { readonly name: string; readonly text: string }[] => [
  { name: 'report.html', text: reportBody(document) + reportTail(null) },
  { name: 'report.json', text: documentText(document) },
  { name: 'report.csv', text: reportCsv(document) },
];
