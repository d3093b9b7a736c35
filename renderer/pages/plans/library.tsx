import { useState } from 'react';
import type { PlanRow } from '../../../app/contract/library-requests.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Notice } from '../../components/status.tsx';
import { ask } from '../../host/host.ts';

interface LibraryProps {
  /** Latest version of each plan; null: not read yet. */
  readonly plans: readonly PlanRow[] | null;
  readonly problem: string;
  /** What is open in the editor. */
  readonly openRow: PlanRow | null;
  readonly onOpen: (row: PlanRow) => void;
}

/** The plans of the house, each with its versions. */
export function PlanLibrary({ plans, problem, openRow, onOpen }: LibraryProps) {
  const [filter, setFilter] = useState('');
  if (problem !== '') return <Notice tone="bad">{problem}</Notice>;
  if (plans === null) return <p className="quiet">The plans are being read.</p>;
  if (plans.length === 0) return <p className="quiet">No plan is saved yet. Begin with a new sweep: it comes filled in, and every value can be changed.</p>;
  const wanted = filter.trim().toLowerCase();
  const shown = plans.filter(({ name, savedBy }) => `${name} ${savedBy}`.toLowerCase().includes(wanted)).toSorted((a, b) => b.savedAt - a.savedAt);
  return (
    <>
      {plans.length > 6 && (
        <label className="field">
          <span className="field-label">Find by name or person</span>
          <span className="field-frame">
            <input className="plan-text" type="search" value={filter} onChange={(event) => setFilter(event.target.value)} />
          </span>
        </label>
      )}
      <ul className="plan-library">
        {shown.map((row) => (
          <Entry key={row.id} row={row} openRow={openRow} onOpen={onOpen} />
        ))}
      </ul>
      {shown.length === 0 && <p className="quiet">No plan matches. Clear the field to see all {plans.length}.</p>}
    </>
  );
}

function Entry({ row, openRow, onOpen }: { readonly row: PlanRow; readonly openRow: PlanRow | null; readonly onOpen: (row: PlanRow) => void }) {
  const [versions, setVersions] = useState<readonly PlanRow[] | null>(null);
  const [problem, setProblem] = useState('');
  const isOpen = openRow?.id === row.id;
  const toggle = async (): Promise<void> => {
    if (versions !== null) {
      setVersions(null);
      return;
    }
    const reply = await ask('plans.versions', { id: row.id });
    if (reply.ok) setVersions(reply.value.toSorted((a, b) => b.version - a.version));
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  return (
    <li className={isOpen ? 'plan-entry plan-entry-open' : 'plan-entry'}>
      <button type="button" className="plan-entry-name" aria-current={isOpen} onClick={() => onOpen(row)}>
        {row.name}
        {isOpen && <span className="quiet small"> – open</span>}
      </button>
      <span className="small quiet">
        version {row.version}, {dateTimeText(row.savedAt)}, {row.savedBy}
      </span>
      {row.version > 1 && (
        <Button kind="quiet" onPress={() => void toggle()} label={`${versions === null ? 'Versions' : 'Hide versions'} of ${row.name}`}>
          {versions === null ? 'Versions' : 'Hide versions'}
        </Button>
      )}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {versions !== null && (
        <ul className="plan-versions">
          {versions.map((version) => (
            <li key={version.version}>
              <button type="button" className="plan-entry-name" aria-current={isOpen && openRow.version === version.version} onClick={() => onOpen(version)}>
                Version {version.version}
                {version.name === row.name ? '' : `: ${version.name}`}
              </button>
              <span className="small quiet">
                {dateTimeText(version.savedAt)}, {version.savedBy}
              </span>
            </li>
          ))}
        </ul>
      )}
    </li>
  );
}
