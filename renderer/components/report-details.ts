/** What a person says for a report: its length, and its details out of a file. */
import { parseDetails, type ReportDetails } from '../../app/report/details.ts';
import type { ReportLength } from '../../app/report/document.ts';

export const lengthWords: Readonly<Record<ReportLength, string>> = { 'one-page': 'One page', full: 'Full', raw: 'Full, with raw data' };

export interface GivenDetails {
  /** Of the file, or what they are kept under. */
  readonly name: string;
  readonly details: ReportDetails;
}

/** Details out of a file, or what is wrong with it. */
export async function detailsInFile(file: File): Promise<GivenDetails | string> {
  let document: unknown;
  try {
    document = JSON.parse((await file.text()).replace(/^\uFEFF/u, ''));
  } catch {
    return `${file.name} is not JSON. Correct it and choose it again.`;
  }
  const parsed = parseDetails(document);
  return parsed.ok ? { name: file.name, details: parsed.details } : `${file.name} cannot be used: ${parsed.problems.map((p) => `${p.path === '' ? 'the document' : p.path}: ${p.text}`).join(' ')}`;
}
