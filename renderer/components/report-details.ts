/** What a person says for a report: its length, and the file with its details. */
import { problemsOf } from '../../app/boundary/problems.ts';
import { reportDetailsSchema, type ReportDetails } from '../../app/report/details.ts';
import type { ReportLength } from '../../app/report/document.ts';

export const lengthWords: Readonly<Record<ReportLength, string>> = { 'one-page': 'One page', full: 'Full', raw: 'Full, with raw data' };

export interface GivenDetails {
  readonly name: string;
  readonly details: ReportDetails;
}

/** Details out of a file, or what is wrong with it. */
export async function detailsIn(file: File): Promise<GivenDetails | string> {
  let document: unknown;
  try {
    document = JSON.parse((await file.text()).replace(/^\uFEFF/u, ''));
  } catch {
    return `${file.name} is not JSON. Correct it and choose it again.`;
  }
  const parsed = reportDetailsSchema.safeParse(document);
  return parsed.success ? { name: file.name, details: parsed.data } : `${file.name} cannot be used: ${problemsOf(parsed.error, document).map((p) => `${p.path === '' ? 'the document' : p.path}: ${p.text}`).join(' ')}`;
}
