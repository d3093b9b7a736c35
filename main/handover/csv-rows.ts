/** Rows of somebody's CSV (RFC 4180), as `csv-parse` reads it; which of the usual separators it has is told by its first line. CMP-6 */
import { CsvError, parse } from 'csv-parse/sync';
import type { RowsOfCsv } from '../../app/handover/stated.ts';

/** A text: why it cannot be read. */
export function csvRows(name: string, text: string): RowsOfCsv | string {
  const [first = ''] = text.split(/\r?\n/u, 1);
  const separator = [';', '\t', ','].find((s) => first.includes(s)) ?? ',';
  try {
    // A row that is shorter or longer than the header is found where its number is looked for.
    return { rows: parse(text, { bom: true, delimiter: separator, relax_column_count: true, skip_empty_lines: true }), separator };
  } catch (error) {
    if (error instanceof CsvError) return `${name} is no CSV that can be read: ${error.message}.`;
    throw error;
  }
}
