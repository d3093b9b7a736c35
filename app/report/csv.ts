/** The tables of a report as CSV (RFC 4180): one line for each cell, values in the unit that the report shows. */
import type { ReportDocument, ReportTable } from './document.ts';

/** A spreadsheet computes a text that begins so; with an apostrophe before it, it stays what it is. Numbers are never meant. */
const startsAFormula = /^[=+\-@\t\r]/;

const field = (text: string): string => {
  const safe = startsAFormula.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
};

/** Twelve digits, as in every file of an export. */
const numeral = (value: number): string => (Number.isFinite(value) ? String(Number(value.toPrecision(12))) : '');

export function tablesOfReport({ items, conformity, recorded = [], results, budgets, traceability, windows }: ReportDocument): readonly ReportTable[] {
  return [items, ...recorded, ...(conformity === null ? [] : [conformity.table ?? conformity.exceptions]), ...results, ...budgets, traceability.table, ...windows];
}

export function reportCsv(document: ReportDocument): string {
  const name = document.issue?.number ?? 'draft';
  const rows = tablesOfReport(document).flatMap((table) =>
    table.rows.flatMap((row) =>
      row.cells.map((cell, i): readonly string[] => {
        const column = table.columns[i];
        const unit = (cell.kind === 'value' ? cell.unit : undefined) ?? column?.unit ?? null;
        const place = [name, table.id, table.title, row.title, column?.title ?? '', unit?.shown ?? ''].map(field);
        switch (cell.kind) {
          case 'value':
            return [...place, numeral(cell.value * (unit?.factor ?? 1)), cell.expanded === null ? '' : numeral(cell.expanded * (unit?.factor ?? 1)), cell.coverageFactor === null ? '' : numeral(cell.coverageFactor), '', ''];
          case 'text':
            return [...place, '', '', '', field(cell.text), ''];
          case 'verdict':
            return [...place, '', '', '', cell.decided, ''];
          case 'missing':
            return [...place, '', '', '', '', field(cell.text)];
        }
      }),
    ),
  );
  return [['report', 'table', 'title', 'row', 'column', 'unit', 'value', 'U95', 'coverage_factor', 'text', 'missing_because'], ...rows].map((r) => `${r.join(',')}\r\n`).join('');
}
