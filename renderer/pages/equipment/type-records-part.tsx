import { useEffect, useMemo, useState } from 'react';
import type { Part, PlanRow } from '../../../app/contract/library-requests.ts';
import type { StoredType } from '../../../app/contract/record-requests.ts';
import { templateOf } from '../../../app/type-record/type-record.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { decimals } from '../../components/decimals.ts';
import { Choice, TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { VersionBar } from '../../components/version-bar.tsx';
import { UnitInput } from '../../components/unit-input.tsx';
import { useTypeRecords } from '../../host/type-records.ts';
import { ask, useWhenUp } from '../../host/host.ts';
import { quantityText } from '../../settings/quantities.ts';
import { settings } from '../../settings/settings.ts';
import { keepType, useBegunType } from './type-draft.ts';
import { nameOfField, templateText, typeDraft, typeGroups, typeIn, type TypeDraft } from './type-fields.ts';

/** What stands in a row of the list. */
const told = (row: StoredType): Readonly<Record<string, string>> => typeDraft(row.document).values;
const range = (low: string, high: string, unit: string): string => (low === '' && high === '' ? '–' : low === '' ? decimals(`to ${high} ${unit}`) : decimals(high === '' ? `from ${low} ${unit}` : `${low} to ${high} ${unit}`));

const columns: readonly Column<StoredType>[] = [
  { key: 'type', title: 'Type', width: 'minmax(8rem, 1.2fr)', cell: (row) => row.type, sortBy: (row) => row.type },
  {
    key: 'flow', title: 'Static flow', width: 'minmax(11rem, 1.5fr)',
    cell: (row) => {
      const { staticFlowGPerMin: flow = '', flowPressureKpa = '', flowFluid = '' } = told(row);
      return flow === '' ? '–' : `${decimals(`${flow} g/min at ${quantityText(flowPressureKpa === '' ? 400 : Number(flowPressureKpa), 'kPa')}`)}${flowFluid === '' ? '' : `, ${flowFluid}`}`;
    },
    sortBy: (row) => Number(told(row)['staticFlowGPerMin'] ?? 0),
  },
  { key: 'coil', title: 'Coil', width: '6rem', cell: (row) => ((told(row)['resistanceOhm'] ?? '') === '' ? '–' : `${told(row)['resistanceOhm'] ?? ''} ohm`) },
  { key: 'supply', title: 'Supply', width: '8rem', cell: (row) => range(told(row)['minVoltageV'] ?? '', told(row)['maxVoltageV'] ?? '', 'V') },
  { key: 'width', title: 'Pulse width', width: '8rem', cell: (row) => range(told(row)['minWidthMs'] ?? '', told(row)['maxWidthMs'] ?? '', 'ms') },
  { key: 'template', title: 'Template', width: '6rem', cell: (row) => (typeDraft(row.document).template === null ? '–' : 'yes') },
  { key: 'version', title: 'Version', width: '5rem', numeric: true, cell: (row) => row.version },
  { key: 'saved', title: 'Saved', width: 'minmax(12rem, 1.2fr)', cell: (row) => <span className="one-line">{`${dateTimeText(row.savedAt)}, ${row.savedBy}`}</span>, sortBy: (row) => row.savedAt },
];

/** What the lab knows of its types of injectors: a list, and the record that is being changed. WIN-70, WIN-71 */
export function TypeRecordsPart({ against }: { readonly against: string }) {
  const { rows, problem, reload } = useTypeRecords();
  const { begun } = useBegunType();
  const [said, setSaid] = useState('');
  const unrecorded = useUnrecorded(rows);
  const open = (basedOn: number, document: unknown): void => {
    setSaid('');
    const draft = typeDraft(document);
    keepType({ basedOn, before: draft, draft, reason: '' });
  };
  return (
    <>
      {problem !== '' && <Notice tone="bad">The records of types could not be read. {problem}</Notice>}
      {said !== '' && <Notice tone="good">{said}</Notice>}
      {begun !== null && (
        <TypeForm
          against={against}
          onSaved={(text) => {
            setSaid(text);
            void reload();
          }}
        />
      )}
      <Section
        title="Types of injectors"
        wide
        aside={
          <Button kind={begun === null ? 'primary' : 'plain'} against={begun === null ? against : 'A record was begun and is not saved yet: save or drop it first.'} onPress={() => open(0, {})}>
            New type
          </Button>
        }
      >
        <p className="small quiet">A new sweep takes expected flow, limits, coil and drive of its injectors&apos; types, and their template where they have one. A plan keeps what it took: a change here changes no plan and no run.</p>
        <DataTable
          label="Records of types"
          columns={columns}
          rows={rows ?? []}
          rowKey={(row) => row.type}
          empty={rows === null ? 'The records are being read.' : shownText('No type has a record yet: 240 g/min at 400 kPa is expected of every injector.')}
          {...(begun === null ? { onOpen: (row: StoredType) => open(row.version, row.document) } : {})}
          selected={begun?.draft.values['type'] ?? null}
          maxHeight="18rem"
        />
        {unrecorded.length > 0 && begun === null && (
          <p className="small">
            Booked in, without a record:{' '}
            {unrecorded.map((type) => (
              <Button key={type} kind="quiet" against={against} onPress={() => open(0, { type })}>
                {type}
              </Button>
            ))}
          </p>
        )}
      </Section>
      {begun !== null && begun.basedOn > 0 && <Versions type={begun.before.values['type'] ?? ''} />}
    </>
  );
}

/** Types of injectors that were booked in, which have no record: at most eight. */
function useUnrecorded(rows: readonly StoredType[] | null): readonly string[] {
  const [parts, setParts] = useState<readonly Part[]>([]);
  useWhenUp(() => {
    void ask('parts.list', {}).then((reply) => {
      if (reply.ok) setParts(reply.value);
    });
  });
  return useMemo(() => (rows === null ? [] : [...new Set(parts.map(({ type }) => type))].filter((type) => rows.every((row) => row.type !== type)).toSorted().slice(0, 8)), [parts, rows]);
}

function TypeForm({ against, onSaved }: { readonly against: string; readonly onSaved: (text: string) => void }) {
  const { begun } = useBegunType();
  const [busy, setBusy] = useState(false);
  const [refused, setRefused] = useState('');
  const read = useMemo(() => (begun === null ? null : typeIn(begun.draft)), [begun]);
  if (begun === null || read === null) return null;
  const { basedOn, before, draft, reason } = begun;
  const changed = JSON.stringify(draft) !== JSON.stringify(before);
  // A form that nobody wrote into yet blames nobody for what is missing.
  const problems: ReadonlyMap<string, string> = changed || basedOn > 0 ? read.problems : new Map();
  const wrong = [...problems.keys()];
  const missing =
    against !== '' ? against
    : !changed && basedOn === 0 && read.problems.size > 0 ? 'Nothing was typed yet.'
    : wrong.length > 0 ? `${wrong.length === 1 ? 'One field needs' : `${wrong.length} fields need`} to be put right.`
    : !changed && basedOn > 0 ? 'Nothing was changed yet.'
    : basedOn > 0 && reason.trim() === '' ? 'Say why it is changed.'
    : '';
  const keep = (next: Partial<TypeDraft>): void => keepType({ ...begun, draft: { ...draft, ...next } });
  const set = (path: string, text: string): void => keep({ values: { ...draft.values, [path]: text } });
  const save = async (): Promise<void> => {
    setBusy(true);
    const reply = await ask('types.save', { document: read.document, by: settings().operator, reason: reason.trim(), basedOn });
    setBusy(false);
    if (!reply.ok) setRefused(reply.failure.text);
    else if (reply.value.version === null) setRefused(reply.value.problems.map(({ path, text }) => `${path}: ${text}`).join(' '));
    else {
      keepType(null);
      onSaved(`Version ${reply.value.version} of ${draft.values['type'] ?? ''} was saved. New sweeps take it; plans and runs keep what they took before.`);
    }
  };
  return (
    <>
      <VersionBar
        label="The type record that is not saved yet"
        basedOn={basedOn}
        changed={changed}
        against={missing}
        busy={busy}
        refused={refused}
        whole={problems.get('') ?? ''}
        toPutRight={wrong.filter((path) => path !== '').map(nameOfField)}
        reason={reason}
        reasonLabel={basedOn === 0 ? 'Where it comes from' : 'Why it is changed'}
        onReason={(text) => keepType({ ...begun, reason: text })}
        onSave={() => void save()}
        onDrop={() => keepType(null)}
      />
      <div className="sections record-groups">
        {typeGroups.map(({ title, fields }) => (
          <Section key={title} title={title}>
            {fields.map(({ path, label, unit, kind, hint }) =>
              kind === 'drive' ? (
                <Choice key={path} label={label} value={draft.values[path] ?? ''} options={drives} onChange={(value) => set(path, value)} />
              ) : (
                <UnitInput key={path} label={label} unit={unit} hint={hint === undefined ? undefined : shownText(hint)} problem={problems.get(path) ?? ''} disabled={path === 'type' && basedOn > 0} value={draft.values[path] ?? ''} onChange={(text) => set(path, text)} />
              ),
            )}
          </Section>
        ))}
        <Section title="Plan to begin with">
          <TemplatePart draft={draft} onChange={(template) => keep({ template })} />
          <TextInput label="Notes" value={draft.values['notes'] ?? ''} onChange={(text) => set('notes', text)} />
        </Section>
      </div>
    </>
  );
}

const drives = [{ value: '', text: 'Not stated' }, { value: 'saturated', text: 'Saturated switch' }, { value: 'peak-and-hold', text: 'Peak and hold' }] as const;

/** The parts of a saved plan, without its injectors, as what new sweeps of the type begin with. */
function TemplatePart({ draft: { template }, onChange }: { readonly draft: TypeDraft; readonly onChange: (template: TypeDraft['template']) => void }) {
  const [plans, setPlans] = useState<readonly PlanRow[]>([]);
  const [chosen, setChosen] = useState('');
  const [problem, setProblem] = useState('');
  useWhenUp(() => {
    void ask('plans.list', {}).then((reply) => {
      if (reply.ok) setPlans(reply.value);
    });
  });
  const take = async (row: PlanRow): Promise<void> => {
    const reply = await ask('plans.read', { id: row.id, version: row.version });
    setProblem(reply.ok ? '' : reply.failure.text);
    if (reply.ok) onChange(templateOf(reply.value.document as Readonly<Record<string, unknown>>));
  };
  return (
    <>
      <p className="small">{templateText(template)}</p>
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      <Choice
        label="Take a saved plan as the template"
        hint="Without its name, job, injectors and reference point."
        value={chosen}
        options={[{ value: '', text: plans.length === 0 ? 'No plan is saved' : 'Choose a plan' }, ...plans.map(({ id, name, version }) => ({ value: id, text: `${name}, version ${version}` }))]}
        onChange={(id) => {
          setChosen(id);
          const row = plans.find((plan) => plan.id === id);
          if (row !== undefined) void take(row);
        }}
      />
      {template !== null && (
        <div className="button-row">
          <Button
            onPress={() => {
              setChosen('');
              onChange(null);
            }}
          >
            Without a template
          </Button>
        </div>
      )}
    </>
  );
}

const versionColumns: readonly Column<StoredType>[] = [
  { key: 'version', title: 'Version', width: '6rem', numeric: true, cell: (row) => row.version },
  { key: 'at', title: 'Saved', width: '11rem', cell: (row) => dateTimeText(row.savedAt) },
  { key: 'by', title: 'By', width: 'minmax(8rem, 1fr)', cell: (row) => row.savedBy },
  { key: 'why', title: 'Why', width: 'minmax(12rem, 3fr)', cell: (row) => <span className="one-line">{(row.document as { changed?: { reason?: string } } | null)?.changed?.reason ?? '–'}</span> },
  { key: 'flow', title: 'Static flow, g/min', width: '10rem', numeric: true, cell: (row) => told(row)['staticFlowGPerMin'] ?? '–' },
];

function Versions({ type }: { readonly type: string }) {
  const [versions, setVersions] = useState<readonly StoredType[]>([]);
  useEffect(() => {
    let wanted = true;
    void ask('types.versions', { type }).then((reply) => {
      if (wanted && reply.ok) setVersions(reply.value.versions);
    });
    return () => {
      wanted = false;
    };
  }, [type]);
  const use = (row: StoredType): void => {
    const { begun } = useBegunType.getState();
    if (begun !== null) keepType({ ...begun, draft: typeDraft(row.document) });
  };
  return (
    <Section title={`Versions of ${type}`} wide aside={<span className="small quiet">Enter takes the values of a version into the form</span>}>
      <DataTable label={`Versions of ${type}`} columns={versionColumns} rows={versions} rowKey={(row) => String(row.version)} empty="–" onOpen={use} maxHeight="12rem" />
    </Section>
  );
}
