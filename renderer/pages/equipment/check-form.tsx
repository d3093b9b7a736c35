import { useMemo, useState } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import type { MeterCheckRow } from '../../../app/contract/meter-check-row.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { ConfirmBar, ConfirmButton } from '../../components/dialog.tsx';
import { Choice, Field, TextInput } from '../../components/field.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { UnitInput, useConverted } from '../../components/unit-input.tsx';
import { ask, useCondensedRun, useWhenUp } from '../../host/host.ts';
import { CheckDetails } from './check-details.tsx';
import { checkGroups, checkIn, fewestEdges, linesFromRun, runColumnsText, runLines, type CheckDraft } from './check-fields.ts';

interface CheckFormProps {
  readonly draft: CheckDraft;
  readonly equipment: Equipment;
  readonly against: string;
  readonly onChange: (draft: CheckDraft) => void;
  readonly onLeave: () => void;
  readonly onKept: (check: MeterCheckRow) => void;
}

type Tried = { readonly document: unknown; readonly check: MeterCheckRow | null; readonly problem: string };

/** A new check: typed in, with edges and times of a run, or from a file. It is worked out before it is kept. */
// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
export function CheckForm({ draft, equipment, against, onChange, onLeave, onKept }: CheckFormProps) {
  const [file, setFile] = useState<{ readonly name: string; readonly document: unknown } | null>(null);
  const [tried, setTried] = useState<Tried | null>(null);
  const [asking, setAsking] = useState(false);
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState('');
  const read = useMemo(() => checkIn(draft, equipment), [draft, equipment]);
  const document = file === null ? read.document : file.document;
  const wrong = file === null ? read.problems.size : 0;
  const missing = wrong === 0 ? '' : `${wrong === 1 ? 'One field needs' : `${wrong} fields need`} to be filled in or put right.`;
  const stands = tried !== null && tried.document === document && tried.check !== null ? tried.check : null;
  const change = (next: Partial<CheckDraft>): void => {
    setTried(null);
    setAsking(false);
    onChange({ ...draft, ...next });
  };
  const runs = useConverted(runLines, draft.runs, (lines) => change({ runs: lines }));
  const work = async (name: 'meter-check.try' | 'meter-check.add'): Promise<void> => {
    setAsking(false);
    setBusy(true);
    const reply = await ask(name, { document });
    setBusy(false);
    if (!reply.ok) setTried({ document, check: null, problem: reply.failure.text });
    else if (reply.value.check === null) setTried({ document, check: null, problem: reply.value.problems.map(({ path, text }) => (path === '' ? text : `${path}: ${text}`)).join(' ') });
    else if (name === 'meter-check.add') onKept(reply.value.check);
    else setTried({ document, check: reply.value.check, problem: '' });
  };
  const choose = async (given: File): Promise<void> => {
    setTried(null);
    try {
      if (given.size > 2 ** 20) throw new Error('It is larger than any check.');
      setFile({ name: given.name, document: JSON.parse(await given.text()) as unknown });
      setProblem('');
    } catch (error) {
      setProblem(`${given.name} was not taken: it is not a JSON file of a check (${(error as Error).message}). Nothing was changed.`);
    }
  };
  return (
    <Section
      title="New check of the meter"
      wide
      aside={
        <div className="button-row">
          <FileButton fileLabel="File of a meter check" onFile={(given) => void choose(given)}>
            From a file …
          </FileButton>
          <ConfirmButton question="What was typed of this check is gone then." confirm="Drop the check" onConfirm={onLeave}>
            Drop it
          </ConfirmButton>
        </div>
      }
    >
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {file !== null ? (
        <p>
          The check of {file.name}. <Button onPress={() => setFile(null)}>Type it in instead</Button>
        </p>
      ) : (
        <div className="check-form">
          <div className="sections record-groups">
            {checkGroups.map(({ title, fields }) => (
              <div key={title} role="group" aria-label={title} className="check-group">
                <h3>{title}</h3>
                {fields.map(({ path, label, unit, difference, hint, optional }) => (
                  <UnitInput
                    key={path}
                    label={label}
                    unit={unit}
                    difference={difference}
                    hint={hint ?? (optional === undefined ? undefined : 'May be left empty; a caution then asks for it.')}
                    problem={(draft.values[path] ?? '') === '' ? '' : (read.problems.get(path) ?? '')}
                    value={draft.values[path] ?? ''}
                    onChange={(text) => change({ values: { ...draft.values, [path]: text } })}
                  />
                ))}
              </div>
            ))}
          </div>
          <div className="field-row">
            <Choice
              label="Purpose"
              value={draft.purpose}
              options={[
                { value: 'verification', text: 'Verification: does the meter still agree?' },
                { value: 'calibration', text: 'Calibration: its K-factor may come into force' },
              ]}
              onChange={(purpose) => change({ purpose })}
            />
            {draft.purpose === 'calibration' && <TextInput label="Drift accepted, because" hint="Only where a K-factor beyond the limit is to come into force; your name stands with it." value={draft.acceptedWhy} onChange={(acceptedWhy) => change({ acceptedWhy })} />}
            <FromRun onLines={(lines) => change({ runs: lines })} />
          </div>
          <Field label={`Runs, one a line: ${runColumnsText()}`} hint={`Runs of one rate have the same rate number. Fluid: lot ${equipment.fluid.lot} of the record.`} problem={draft.runs === '' ? '' : shownText(read.problems.get('runs') ?? '')}>
            <textarea className="field-frame" spellCheck={false} value={runs.text} onChange={(event) => runs.onText(event.target.value)} />
          </Field>
        </div>
      )}
      <div className="button-row">
        <Button against={missing} busy={busy} onPress={() => void work('meter-check.try')}>
          Work it out
        </Button>
        <Button kind="primary" against={against !== '' ? against : stands === null ? 'Work it out first, and look at it.' : ''} busy={busy} onPress={() => setAsking(true)}>
          Keep it …
        </Button>
      </div>
      {asking && stands !== null && (
        <ConfirmBar
          question={`Check ${stands.certificate} is kept for good: it cannot be changed or taken out.${stands.effect === 'suspended' ? ' It suspends the meter: nothing that is measured from then on can be traced until a calibration comes into force.' : ''}`}
          confirm="Keep it"
          onConfirm={() => void work('meter-check.add')}
          onLeave={() => setAsking(false)}
        />
      )}
      {tried !== null && tried.problem !== '' && <Notice tone="bad">{tried.problem} Nothing was kept.</Notice>}
      {stands !== null && (
        <div role="status">
          <h3>What it comes to; nothing is kept yet</h3>
          <CheckDetails check={stands} />
        </div>
      )}
    </Section>
  );
}

/** Edges, times, temperatures and pressures of a run whose liquid was caught. */
function FromRun({ onLines }: { readonly onLines: (lines: string) => void }) {
  const [runs, setRuns] = useState<readonly RunRow[]>([]);
  const [id, setId] = useState('');
  const { state, phase } = useCondensedRun(id === '' ? null : id);
  useWhenUp(() => void ask('runs.list', { limit: 50 }).then((reply) => setRuns(reply.ok ? reply.value : [])));
  const lines = state === null ? '' : linesFromRun(state);
  const against = id === '' ? 'Choose the run whose liquid was weighed.' : phase === 'loading' ? 'The run is being read.' : lines === '' ? `It has no valid window of ${fewestEdges} edges or more.` : '';
  return (
    <>
      <Choice label="Edges and times of a run" value={id} options={[{ value: '', text: 'none' }, ...runs.map((run) => ({ value: run.id, text: `${dateTimeText(run.createdAt)} · ${run.planName}` }))]} onChange={setId} />
      <div className="record-save-buttons">
        <Button against={against} onPress={() => onLines(lines)}>
          Take its windows
        </Button>
      </div>
    </>
  );
}
