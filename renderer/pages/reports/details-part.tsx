/** Details that the lab keeps for its reports: a list, and those that are being changed. WIN-160 */
import { useMemo, useState } from 'react';
import type { StoredDetails } from '../../../app/contract/report-requests.ts';
import { keptDetails } from '../../../app/report/details.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Choice, DayInput, Field, TextInput } from '../../components/field.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { detailsInFile } from '../../components/report-details.ts';
import { problemShown } from '../../components/problem-shown.ts';
import { saveFile } from '../../components/save-file.ts';
import { Notice } from '../../components/status.tsx';
import { VersionBar } from '../../components/version-bar.tsx';
import { ask } from '../../host/host.ts';
import { settings } from '../../settings/settings.ts';
import { keepDetails, useBegunDetails } from './details-draft.ts';
import { detailsDraft, detailsGroups, detailsIn, nameOfDetail, type DetailsDraft } from './details-form.ts';
import { LimitsPart } from './limits-part.tsx';

const columns: readonly Column<StoredDetails>[] = [
  { key: 'name', title: 'Kept under', width: 'minmax(9rem, 1.5fr)', cell: (row) => row.name, sortBy: (row) => row.name },
  { key: 'laboratory', title: 'Laboratory', width: 'minmax(8rem, 1fr)', cell: (row) => <span className="one-line">{keptDetails(row.document)?.laboratory?.name ?? '–'}</span> },
  { key: 'customer', title: 'Customer', width: 'minmax(8rem, 1fr)', cell: (row) => <span className="one-line">{keptDetails(row.document)?.customer?.name ?? '–'}</span> },
  { key: 'limits', title: 'Limits', width: '5rem', numeric: true, cell: (row) => keptDetails(row.document)?.limits.length ?? '–' },
  { key: 'version', title: 'Version', width: '5rem', numeric: true, cell: (row) => row.version },
  { key: 'saved', title: 'Saved', width: 'minmax(12rem, 1.2fr)', cell: (row) => <span className="one-line">{`${dateTimeText(row.savedAt)}, ${row.savedBy}`}</span>, sortBy: (row) => row.savedAt },
];

interface DetailsPartProps {
  readonly rows: readonly StoredDetails[] | null;
  readonly problem: string;
  readonly against: string;
  readonly onSaved: () => void;
}

export function DetailsPart({ rows, problem, against, onSaved }: DetailsPartProps) {
  const { begun } = useBegunDetails();
  const [said, setSaid] = useState('');
  const [wrongFile, setWrongFile] = useState('');
  /** Opened by a press, which leads into the form; what a reload brings back takes no focus. */
  const [pressed, setPressed] = useState(false);
  const open = (basedOn: number, before: DetailsDraft, draft = before): void => {
    setSaid('');
    setWrongFile('');
    setPressed(true);
    keepDetails({ basedOn, before, draft, reason: '' });
  };
  const take = async (file: File): Promise<void> => {
    const read = await detailsInFile(file);
    setWrongFile(typeof read === 'string' ? read : '');
    if (typeof read !== 'string') open(0, detailsDraft('', null), detailsDraft(read.name.replace(/\.json$/iu, ''), read.details));
  };
  const held = begun === null ? against : 'Details were begun and are not saved yet: save or drop them first.';
  return (
    <>
      {begun !== null && (
        <DetailsForm
          against={against}
          focused={pressed}
          onSaved={(text) => {
            setSaid(text);
            onSaved();
          }}
        />
      )}
      <Section
        title="Details for reports"
        wide
        aside={
          <div className="button-row">
            <FileButton fileLabel="File with details that are to be kept" against={held} onFile={(file) => void take(file)}>
              From a file …
            </FileButton>
            <Button against={held} onPress={() => open(0, detailsDraft('', null))}>
              New details
            </Button>
          </div>
        }
      >
        <p className="small quiet">Laboratory, customer, items, agreed limits and the rule by which they are decided: kept under a name, for each customer, type or job. A report holds those that it was made with; a change here changes no report.</p>
        {problem !== '' && <Notice tone="bad">The details could not be read. {problem}</Notice>}
        {wrongFile !== '' && <Notice tone="bad">{wrongFile}</Notice>}
        {said !== '' && <Notice tone="good">{said}</Notice>}
        <DataTable
          label="Details for reports"
          columns={columns}
          rows={rows ?? []}
          rowKey={(row) => row.name}
          empty={rows === null ? 'The details are being read.' : 'None are kept yet. Until then a report says that laboratory, customer and limits are not stated.'}
          {...(begun === null ? { onOpen: (row: StoredDetails) => open(row.version, detailsDraft(row.name, keptDetails(row.document))) } : {})}
          selected={begun?.before.name ?? null}
          maxHeight="14rem"
        />
      </Section>
    </>
  );
}

const rules = [
  { value: 'guard-band', text: 'Guard band' },
  { value: 'simple', text: 'Simple acceptance' },
  { value: 'stated-risk', text: 'Stated risk' },
] as const;
const wantedOrNot = [
  { value: 'usual', text: 'As usual: in full reports' },
  { value: 'yes', text: 'Yes' },
  { value: 'no', text: 'No' },
] as const;

// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
function DetailsForm({ against, focused, onSaved }: { readonly against: string; readonly focused: boolean; readonly onSaved: (text: string) => void }) {
  const { begun } = useBegunDetails();
  const [busy, setBusy] = useState(false);
  const [refused, setRefused] = useState('');
  const read = useMemo(() => (begun === null ? null : detailsIn(begun.draft)), [begun]);
  if (begun === null || read === null) return null;
  const { basedOn, before, draft, reason } = begun;
  const changed = JSON.stringify(draft) !== JSON.stringify(before);
  const wrong = [...read.problems.keys()];
  const missing =
    against !== '' ? against
    : !changed && basedOn === 0 ? 'Nothing was typed yet.'
    : wrong.length > 0 ? `${wrong.length === 1 ? 'One field needs' : `${wrong.length} fields need`} to be put right.`
    : !changed ? 'Nothing was changed yet.'
    : basedOn > 0 && reason.trim() === '' ? 'Say why they are changed.'
    : '';
  const keep = (next: Partial<DetailsDraft>): void => keepDetails({ ...begun, draft: { ...draft, ...next } });
  const set = (path: string, text: string): void => keep({ values: { ...draft.values, [path]: text } });
  const problemAt = (path: string): string => read.problems.get(path) ?? '';
  const save = async (): Promise<void> => {
    setBusy(true);
    const name = draft.name.trim();
    const reply = await ask('details.save', { name, document: read.document, by: settings().operator, reason: reason.trim(), basedOn });
    setBusy(false);
    if (!reply.ok) setRefused(reply.failure.text);
    else if (reply.value.version === null) setRefused(reply.value.problems.map(({ path, text }) => `${path}: ${text}`).join(' '));
    else {
      keepDetails(null);
      onSaved(`Version ${reply.value.version} of ${name} was saved. Reports can take it; those that were made before stay as they are.`);
    }
  };
  return (
    <>
      <VersionBar
        label="Details that are not saved yet"
        basedOn={basedOn}
        changed={changed}
        against={missing}
        busy={busy}
        refused={refused}
        whole={problemAt('')}
        toPutRight={wrong.map(nameOfDetail).filter((name, index) => name !== wrong[index])}
        reason={reason}
        reasonLabel={basedOn === 0 ? 'Where they come from' : 'Why they are changed'}
        reasonFocused={focused && basedOn > 0}
        onReason={(text) => keepDetails({ ...begun, reason: text })}
        onSave={() => void save()}
        onDrop={() => keepDetails(null)}
        first={<TextInput label="Kept under" hint="A customer, a type or a job." disabled={basedOn > 0} autoFocus={focused && basedOn === 0} problem={changed ? problemAt('name') : ''} value={draft.name} onChange={(name) => keep({ name })} />}
        more={
          <Button against={wrong.some((path) => path !== 'name') ? 'Put the fields right first.' : ''} showAgainst={false} onPress={() => saveFile(`${draft.name.trim() || 'details'}.json`, [`${JSON.stringify(read.document, null, 2)}\n`])}>
            As a file
          </Button>
        }
      />
      {detailsGroups.map(({ title, fields }) => (
        <Section key={title} title={title}>
          {fields.map(({ path, label, unit, kind, hint }) =>
            kind === 'lines' ? (
              <Field key={path} label={label} hint={hint ?? 'Each in a line of its own.'} problem={problemAt(path)}>
                <textarea className="field-frame" rows={3} value={draft.values[path] ?? ''} onChange={(event) => set(path, event.target.value)} />
              </Field>
            ) : kind === 'date' ? (
              <DayInput key={path} label={label} problem={problemAt(path)} value={draft.values[path] ?? ''} onChange={(text) => set(path, text)} />
            ) : (
              <TextInput key={path} label={unit === undefined ? label : `${label}, ${unit}`} hint={hint} problem={problemShown(problemAt(path), unit)} value={draft.values[path] ?? ''} onChange={(text) => set(path, text)} />
            ),
          )}
        </Section>
      ))}
      <Section title="Rule of decision">
        <Choice label="Against limits by" value={draft.rule} options={rules} onChange={(rule) => keep({ rule, ruleNumber: rule === 'guard-band' ? '1' : rule === 'stated-risk' ? '5' : '' })} />
        {draft.rule !== 'simple' && (
          <TextInput label={draft.rule === 'guard-band' ? 'Width of the guard band, times U95' : 'Risk of a wrong decision, %'} problem={problemAt('rule')} value={draft.ruleNumber} onChange={(ruleNumber) => keep({ ruleNumber })} />
        )}
        <Choice label="Monte Carlo beside each result" value={draft.monteCarlo} options={wantedOrNot} onChange={(monteCarlo) => keep({ monteCarlo })} />
        <Choice label="Notes of the run" value={draft.notes} options={wantedOrNot} onChange={(notes) => keep({ notes })} />
      </Section>
      <LimitsPart limits={draft.limits} problems={read.problems} onChange={(limits) => keep({ limits })} />
    </>
  );
}
