/** What a person says for a report: its length, and its details out of a file. */
import type { StoredDetails } from '../../app/contract/report-requests.ts';
import { keptDetails, parseDetails, type ReportDetails } from '../../app/report/details.ts';
import type { ReportLength } from '../../app/report/document.ts';

export const lengthWords: Readonly<Record<ReportLength, string>> = { 'one-page': 'One page', full: 'Full', raw: 'Full, with raw data' };

export interface GivenDetails {
  /** Of the file, or what they are kept under. */
  readonly name: string;
  readonly details: ReportDetails;
}

/** What was chosen: those that are kept under a name, as they are now, or those of a file. */
export type ChosenDetails = { readonly kept: string } | { readonly file: GivenDetails };

/** Details that are kept, by their names. */
export const keptGiven = (rows: readonly StoredDetails[]): readonly GivenDetails[] =>
  rows.flatMap(({ name, document }): readonly GivenDetails[] => {
    const details = keptDetails(document);
    return details === null ? [] : [{ name, details }];
  });

/** The details that a choice comes to; null: none. */
export function detailsOf(chosen: ChosenDetails | null, rows: readonly StoredDetails[] | null): GivenDetails | null {
  if (chosen === null) return null;
  return 'file' in chosen ? chosen.file : (keptGiven(rows ?? []).find(({ name }) => name === chosen.kept) ?? null);
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
