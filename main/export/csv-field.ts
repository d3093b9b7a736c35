/** One field of a CSV file. */
export type CsvFieldValue = string | number | boolean | null | undefined;

/**
 * A spreadsheet computes a text that begins so (OWASP, CSV injection); with an apostrophe before it, it stays what it is. Numbers
 * are never meant.
 */
const startsAFormula = /^[=+\-@\t\r]/;

/** Twelve digits: more than any measurement here has, fewer than show the rounding of binary numbers. Missing: empty. */
export function csvField(field: CsvFieldValue): string {
  if (field === null || field === undefined) return '';
  if (typeof field === 'number') return Number.isFinite(field) ? String(Number(field.toPrecision(12))) : '';
  const text = String(field);
  return startsAFormula.test(text) ? `'${text}` : text;
}
