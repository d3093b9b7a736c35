/** Which details a report takes: none, those that are kept under a name, or those of a file (WIN-161). */
import { useMemo, useState } from 'react';
import type { StoredDetails } from '../../app/contract/report-requests.ts';
import { Choice } from './field.tsx';
import { FileButton } from './file-button.tsx';
import { detailsInFile, keptGiven, type ChosenDetails } from './report-details.ts';

interface DetailsChoiceProps {
  /** null: not read yet. */
  readonly rows: readonly StoredDetails[] | null;
  readonly fileLabel: string;
  readonly chosen: ChosenDetails | null;
  readonly onChosen: (chosen: ChosenDetails | null) => void;
  /** A sentence about a file that cannot be used. */
  readonly onProblem: (text: string) => void;
}

export function DetailsChoice({ rows, fileLabel, chosen, onChosen, onProblem }: DetailsChoiceProps) {
  // Kept while something else is looked at.
  const [last, setLast] = useState<Extract<ChosenDetails, { file: object }> | null>(null);
  const file = chosen !== null && 'file' in chosen ? chosen : last;
  const kept = useMemo(() => keptGiven(rows ?? []), [rows]);
  const value = chosen === null ? '' : 'file' in chosen ? 'file' : `kept:${chosen.kept}`;
  const options = [
    { value: '', text: 'None: the report says that they are not stated' },
    ...kept.map(({ name }) => ({ value: `kept:${name}`, text: name })),
    ...(file === null ? [] : [{ value: 'file', text: `File ${file.file.name}` }]),
  ];
  const take = async (one: File): Promise<void> => {
    const read = await detailsInFile(one);
    onProblem(typeof read === 'string' ? read : '');
    if (typeof read === 'string') return;
    setLast({ file: read });
    onChosen({ file: read });
  };
  return (
    <>
      <Choice
        label="Details: laboratory, customer, limits"
        hint={rows !== null && rows.length === 0 ? 'None are kept yet: they are written under "Details for reports" on the page Reports.' : undefined}
        value={value}
        options={options}
        onChange={(next) => onChosen(next === '' ? null : next === 'file' ? file : { kept: next.slice('kept:'.length) })}
      />
      <div className="button-row">
        <FileButton fileLabel={fileLabel} onFile={(one) => void take(one)}>
          Details from a file …
        </FileButton>
      </div>
    </>
  );
}
