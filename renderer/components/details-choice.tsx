/** Which details a report takes: none, those that are kept under a name, or those of a file (WIN-161). */
import { useMemo, useState } from 'react';
import type { StoredDetails } from '../../app/contract/report-requests.ts';
import { keptDetails } from '../../app/report/details.ts';
import { Choice } from './field.tsx';
import { FileButton } from './file-button.tsx';
import { detailsInFile, type GivenDetails } from './report-details.ts';

interface DetailsChoiceProps {
  /** null: not read yet. */
  readonly rows: readonly StoredDetails[] | null;
  readonly fileLabel: string;
  readonly given: GivenDetails | null;
  readonly onGiven: (given: GivenDetails | null) => void;
  /** A sentence about a file that cannot be used. */
  readonly onProblem: (text: string) => void;
}

export function DetailsChoice({ rows, fileLabel, given, onGiven, onProblem }: DetailsChoiceProps) {
  const [file, setFile] = useState<GivenDetails | null>(null);
  const kept = useMemo(() => (rows ?? []).flatMap(({ name, document }): readonly GivenDetails[] => {
    const details = keptDetails(document);
    return details === null ? [] : [{ name, details }];
  }), [rows]);
  const ofFile = (one: GivenDetails): boolean => one === file;
  const value = given === null ? '' : ofFile(given) ? 'file' : `kept:${given.name}`;
  const options = [
    { value: '', text: 'None: the report says that they are not stated' },
    ...kept.map(({ name }) => ({ value: `kept:${name}`, text: name })),
    ...(file === null ? [] : [{ value: 'file', text: `File ${file.name}` }]),
  ];
  const take = async (chosen: File): Promise<void> => {
    const read = await detailsInFile(chosen);
    onProblem(typeof read === 'string' ? read : '');
    if (typeof read === 'string') return;
    setFile(read);
    onGiven(read);
  };
  return (
    <>
      <Choice
        label="Details: laboratory, customer, limits"
        hint={rows !== null && rows.length === 0 ? 'None are kept yet: they are written on the page Reports.' : undefined}
        value={value}
        options={options}
        onChange={(next) => onGiven(next === '' ? null : next === 'file' ? file : (kept.find(({ name }) => `kept:${name}` === next) ?? null))}
      />
      <div className="button-row">
        <FileButton fileLabel={fileLabel} onFile={(chosen) => void take(chosen)}>
          Details from a file …
        </FileButton>
      </div>
    </>
  );
}
