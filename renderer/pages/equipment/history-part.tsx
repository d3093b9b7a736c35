import { useMemo, useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { parseEquipment } from '../../../app/equipment/parse.ts';
import { dateTimeText } from '../../components/dates.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { ChangeList } from './change-list.tsx';
import { keepChange } from './draft.ts';
import { changesBetween, draftOf, fieldText, type RecordChange } from './fields.ts';

interface Version {
  readonly version: number;
  readonly savedAt: number;
  readonly by: string;
  readonly reason: string;
  readonly bench: string;
  readonly runs: number;
  readonly document: unknown;
  /** Against the version before of the same bench; null: there is none, or it is not in the list. */
  readonly changes: readonly RecordChange[] | null;
}

const benchOf = (document: unknown): string => [fieldText(document, 'controller.model'), fieldText(document, 'controller.serialNumber')].filter((part) => part !== '').join(' ') || 'names no controller';

function versionsOf({ versions }: AnswerTo<'equipment.history'>): readonly Version[] {
  return versions.map(({ version, savedAt, document, runs }, index): Version => {
    const bench = benchOf(document);
    const before = versions.slice(index + 1).find((other) => benchOf(other.document) === bench);
    return {
      version, bench, runs, document,
      savedAt,
      by: fieldText(document, 'changed.by'), reason: fieldText(document, 'changed.reason'),
      changes: before === undefined ? null : changesBetween(before.document, document),
    };
  });
}

const columns: readonly Column<Version>[] = [
  { key: 'version', title: 'Version', width: '6rem', numeric: true, cell: (v) => v.version, sortBy: (v) => v.version },
  { key: 'at', title: 'Saved', width: '10rem', cell: (v) => dateTimeText(v.savedAt), sortBy: (v) => v.savedAt },
  { key: 'by', title: 'By', width: 'minmax(8rem, 1fr)', cell: (v) => (v.by === '' ? '–' : v.by), sortBy: (v) => v.by },
  { key: 'bench', title: 'Bench', width: 'minmax(10rem, 1fr)', cell: (v) => v.bench, sortBy: (v) => v.bench },
  { key: 'reason', title: 'Why', width: 'minmax(12rem, 2fr)', cell: (v) => <span className="one-line">{v.reason === '' ? '–' : v.reason}</span> },
  { key: 'changes', title: 'Fields changed', width: '8rem', numeric: true, cell: (v) => (v.changes === null ? '–' : v.changes.length) },
  { key: 'runs', title: 'Runs with it', width: '7rem', numeric: true, cell: (v) => v.runs, sortBy: (v) => v.runs },
];

/** Every version that was saved: who, when, why, and what it changed. WIN-41 */
export function HistoryPart({ history, against, onBegin }: { readonly history: AnswerTo<'equipment.history'>; readonly against: string; readonly onBegin: () => void }) {
  const versions = useMemo(() => versionsOf(history), [history]);
  const [chosen, setChosen] = useState<number | null>(null);
  const version = versions.find((v) => v.version === chosen) ?? versions[0];
  const usable = version !== undefined && parseEquipment(version.document).ok;
  return (
    <>
      <Section title="Versions of the record" wide aside={<span className="small quiet">{history.cut ? `The latest ${versions.length} of ${history.latest}` : ''}</span>}>
        <DataTable
          label="Versions of the equipment record"
          columns={columns}
          rows={versions}
          rowKey={(v) => String(v.version)}
          empty="No record was saved in this archive yet: the sample record of the simulated bench serves that bench, and no other."
          onOpen={(v) => setChosen(v.version)}
          selected={version === undefined ? null : String(version.version)}
          maxHeight="20rem"
        />
      </Section>
      {version !== undefined && (
        <Section
          title={`Version ${version.version}`}
          wide
          aside={
            <div className="button-row">
              <Button onPress={() => saveFile(`equipment-version-${version.version}.json`, [JSON.stringify(version.document, null, 2), '\n'])}>Save as a file</Button>
              <Button
                against={usable ? against : 'This program cannot read it as a record.'}
                onPress={() => {
                  keepChange({ basedOn: history.latest, before: versions.find((other) => other.bench === version.bench)?.document ?? {}, values: draftOf(version.document), reason: '' });
                  onBegin();
                }}
              >
                Begin a change with these values
              </Button>
            </div>
          }
        >
          <p className="small">
            Saved on {dateTimeText(version.savedAt)}{version.by === '' ? '; nobody said who did' : ` by ${version.by}`}. {version.reason === '' ? '' : `Why: ${version.reason}`}
          </p>
          {version.changes === null ? (
            <p className="quiet">The first record of {version.bench} in this list.</p>
          ) : version.changes.length === 0 ? (
            <p className="quiet">No field of it differs from the version before.</p>
          ) : (
            <ChangeList changes={version.changes} />
          )}
        </Section>
      )}
    </>
  );
}
