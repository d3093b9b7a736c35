import { useEffect, useMemo, useRef, useState } from 'react';
import { parsePlan } from '../../../app/plan/parse.ts';
import { countPoints } from '../../../app/plan/expand.ts';
import type { Problem } from '../../../app/boundary/problems.ts';
import type { Part, PlanRow } from '../../../app/contract/library-requests.ts';
import { Button } from '../../components/button.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { ConfirmBar } from '../../components/dialog.tsx';
import { Page, Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { goTo, useRoute } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { useSettings } from '../../settings/settings.ts';
import { Editor, goToField, ProblemList } from './editor.tsx';
import { PlanLibrary } from './library.tsx';
import { roughDuration } from '../../components/durations.ts';
import { fluidText } from './plan-chart.ts';
import { listNames, listPaths } from './fields.ts';
import { draftSaved, isUnsaved, openDraft, undoChange, useDraft } from './plan-draft.ts';
import type { PlanDraft } from './plan-draft.ts';
import { documentOf, formOf, unreadIn } from './plan-form.ts';
import { planFileName } from './plan-file.ts';
import { useTypeRecords } from '../../host/type-records.ts';
import { useSaveKey } from '../../components/save-key.ts';
import { sheetLinesOf } from '../../components/preflight.ts';
import { cutText, startingPlan } from './starting-plan.ts';
import { expanded, useSettled, useSheet } from './use-check.ts';
import './plans.css';

const largestFile = 4 * 2 ** 20;

// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
export default function PlansPage() {
  const { control, equipment, line } = useHost();
  const operator = useSettings((settings) => settings.operator);
  const { draft, unread, steps } = useDraft();
  const [plans, setPlans] = useState<readonly PlanRow[] | null>(null);
  const [listProblem, setListProblem] = useState('');
  const [parts, setParts] = useState<readonly Part[] | null>(null);
  const [said, setSaid] = useState<{ readonly well: boolean; readonly text: string } | null>(null);
  const [saving, setSaving] = useState(false);
  const { records, problem: typesProblem } = useTypeRecords();
  /** What waits for an answer about unsaved changes. */
  const [pending, setPending] = useState<{ readonly what: string; readonly go: () => void } | null>(null);

  const readPlans = async (): Promise<void> => {
    const reply = await ask('plans.list', {});
    if (reply.ok) setPlans(reply.value);
    setListProblem(reply.ok ? '' : reply.failure.text);
  };
  useWhenUp(() => {
    void readPlans();
    void ask('parts.list', {}).then((reply) => {
      if (reply.ok) setParts(reply.value);
    });
  });

  const form = draft?.form ?? null;
  const parsed = useMemo(() => (form === null ? null : parsePlan(documentOf(form))), [form]);
  const plan = parsed?.ok === true ? parsed.plan : null;
  const problems = useMemo(() => {
    const unreadFields = form === null ? [] : unreadIn(form);
    const named = new Set(unreadFields.map(({ path }) => path));
    return [
      ...listNames.flatMap((list): readonly Problem[] => (unread[list] === undefined ? [] : [{ path: listPaths[list], text: unread[list].text }])),
      ...unreadFields,
      // What the reader of numbers has said already is not said again in the words of the schema.
      ...(parsed === null || parsed.ok ? [] : parsed.problems.filter(({ path }) => !named.has(path))),
    ];
  }, [form, parsed, unread]);
  const settled = useSettled(plan, 300);
  const expansion = useMemo(() => (settled === null ? null : expanded(settled, equipment)), [settled, equipment]);
  const checked = useSheet(settled);

  /** Does it at once, or asks first where it would drop something. */
  const leaving = (what: string, go: () => void): void => {
    const done = () => {
      setPending(null);
      setSaid(null);
      go();
    };
    if (draft !== null && isUnsaved(draft)) setPending({ what, go: done });
    else done();
  };
  const show = (next: PlanDraft): void => {
    openDraft(next);
    requestAnimationFrame(() => goToField('name'));
  };

  const beginSweep = (): void => {
    show({ form: startingPlan(parts ?? [], records ?? []), saved: null, leftOut: [] });
    const cuts = cutText(parts ?? [], records ?? []);
    setSaid(cuts === '' ? null : { well: true, text: cuts });
  };

  const open = async (row: PlanRow): Promise<void> => {
    const reply = await ask('plans.read', { id: row.id, version: row.version });
    if (!reply.ok) {
      setSaid({ well: false, text: reply.failure.text });
      return;
    }
    const read = formOf(filledIn(reply.value.document));
    show({ form: read.form, saved: { row: reply.value.row, form: read.form }, leftOut: read.leftOut });
  };

  // A link to a plan opens its latest version, once, and asks first where that would drop something.
  const { rest } = useRoute();
  const named = rest[0] === undefined ? undefined : plans?.find(({ id }) => id === rest[0]);
  const followed = useRef<string | null>(null);
  useEffect(() => {
    if (named === undefined || followed.current === named.id) return;
    followed.current = named.id;
    leaving(`Opening ${named.name}`, () => void open(named));
  });

  const importFile = async (chosen: File): Promise<void> => {
    if (chosen.size > largestFile) {
      setSaid({ well: false, text: `${chosen.name} is larger than any plan can be (${Math.round(chosen.size / 1e6)} MB). Nothing was changed.` });
      return;
    }
    let document: unknown;
    try {
      document = JSON.parse(await chosen.text());
    } catch {
      setSaid({ well: false, text: `${chosen.name} is not a JSON file, so no plan could be read from it. Nothing was changed.` });
      return;
    }
    const read = formOf(filledIn(document));
    const version = (document as { planVersion?: unknown } | null)?.planVersion;
    if (version !== 1) {
      setSaid({ well: false, text: `${chosen.name} is not a plan of version 1 (planVersion is ${version === undefined ? 'missing' : JSON.stringify(version)}). Nothing was changed.` });
      return;
    }
    show({ form: read.form, saved: null, leftOut: read.leftOut });
    setSaid({ well: true, text: `${chosen.name} was read. It is not saved yet.` });
  };

  const save = async (): Promise<void> => {
    if (draft === null || form === null || saving) return;
    if (operator === '') {
      setSaid({ well: false, text: 'The plan was not saved. Say first who works here: the field stands at the top.' });
      return;
    }
    if (problems.length > 0) {
      goToField(problems[0]?.path ?? '');
      return;
    }
    setSaving(true);
    const reply = await ask('plans.save', { id: draft.saved?.row.id ?? null, document: documentOf(form), by: operator });
    setSaving(false);
    if (!reply.ok) setSaid({ well: false, text: `The plan was not saved. ${reply.failure.text}` });
    else if (reply.value.row === null) {
      setSaid({ well: false, text: `The plan was not saved. ${reply.value.problems.map(({ path, text }) => `${path}: ${text}`).join(' ')}` });
    } else {
      const { row } = reply.value;
      // What was typed while the answer was under way stays, and counts as not saved.
      draftSaved({ row, form });
      setSaid({ well: true, text: `Saved as version ${row.version} of ${row.name}.` });
      void readPlans();
    }
  };
  useSaveKey(() => void save());

  const against =
    line.state !== 'up' ? 'The host cannot be reached.' : !control.mine ? 'Another window holds control.' : operator === '' ? 'Say first who works here: the field stands at the top.' : '';
  const unsaved = draft !== null && isUnsaved(draft);

  return (
    <Page
      title="Plans"
      lead="What is measured, in what order, and what makes a measurement good. Saving makes a new version; an earlier one never changes."
      actions={
        <>
          <Button against={parts === null || (records === null && typesProblem === '') ? 'Injectors and types are being read.' : ''} kind={draft === null ? 'primary' : 'plain'} onPress={() => leaving('Beginning a new sweep', beginSweep)}>
            New sweep
          </Button>
          <FileButton fileLabel="Plan file" onFile={(chosen) => leaving(`Importing ${chosen.name}`, () => void importFile(chosen))}>
            Import a file
          </FileButton>
        </>
      }
    >
      {pending !== null && (
        <ConfirmBar
          question={`${pending.what} drops the changes to ${form?.texts.name ?? 'the open plan'} that are not saved.`}
          confirm="Drop them"
          onConfirm={pending.go}
          onLeave={() => setPending(null)}
        />
      )}
      {said !== null && (
        <Notice tone={said.well ? 'good' : 'bad'} action={<Button onPress={() => setSaid(null)}>Dismiss</Button>}>
          {said.text}
        </Notice>
      )}
      <div className="plan-columns">
        <div className="plan-side">
          {draft !== null && (
            // The button first: what stands below it grows and shrinks while one types (WIN-112).
            <section className="plan-bar" aria-label="Totals and saving">
              <Button
                kind="primary"
                busy={saving}
                against={against !== '' ? against : problems.length > 0 ? `${problems.length} to correct first.` : !unsaved ? 'Nothing was changed.' : ''}
                onPress={() => void save()}
              >
                Save version {(draft.saved?.row.version ?? 0) + 1}
              </Button>
              <Totals plan={problems.length === 0 ? plan : null} expansion={settled === plan ? expansion : null} checked={checked} problems={problems.length} />
              {problems.length > 0 && <Button onPress={() => goToField(problems[0]?.path ?? '')}>Go to the first problem</Button>}
            </section>
          )}
          <Section title="Saved plans">
            <PlanLibrary plans={plans} problem={listProblem} openRow={draft?.saved?.row ?? null} onOpen={(row) => leaving(`Opening ${row.name}`, () => void open(row))} />
          </Section>
        </div>
        {draft !== null && form !== null && (
          <div className="plan-main">
            <div className="plan-title">
              <Status tone={unsaved ? 'note' : 'good'}>
                {draft.saved === null ? 'Not saved yet' : unsaved ? `Changed since version ${draft.saved.row.version}` : `Version ${draft.saved.row.version}, as saved`}
              </Status>
              <div className="button-row">
                {steps.length > 0 && <Button label={`Undo: ${steps.at(-1)?.what ?? ''}`} onPress={undoChange}>Undo: {steps.at(-1)?.what}</Button>}
                <Button
                  onPress={() =>
                    leaving('Duplicating', () => show({ form: { ...form, texts: { ...form.texts, name: `Copy of ${form.texts.name ?? ''}`.slice(0, 120) } }, saved: null, leftOut: [] }))
                  }
                >
                  Duplicate
                </Button>
                <Button against={problems.length > 0 ? 'It has problems.' : ''} onPress={() => download(planFileName(form.texts.name ?? ''), documentOf(form))}>
                  Export a file
                </Button>
                {draft.saved !== null && unsaved && (
                  <Button onPress={() => leaving('Going back to what is saved', () => openDraft({ ...draft, form: draft.saved?.form ?? form }))}>Undo all changes</Button>
                )}
                {draft.saved !== null && !unsaved && <Button onPress={() => goTo('run')}>To the run page</Button>}
              </div>
            </div>
            {draft.leftOut.length > 0 && (
              <Notice tone="note">
                Not taken over from the file, because there is no field for it: {draft.leftOut.slice(0, 12).map(({ path }) => path || 'the whole').join(', ')}
                {draft.leftOut.length > 12 ? ` and ${draft.leftOut.length - 12} more` : ''}.
              </Notice>
            )}
            <ProblemList form={form} problems={problems} />
            <Editor form={form} problems={problems} parts={parts} records={records} expansion={settled === null ? null : expansion} checked={checked} />
          </div>
        )}
      </div>
    </Page>
  );
}

interface TotalsProps {
  readonly plan: ReturnType<typeof expanded>['plan'] | null;
  readonly expansion: ReturnType<typeof expanded> | null;
  readonly checked: ReturnType<typeof useSheet>;
  readonly problems: number;
}

function Totals({ plan, expansion, checked, problems }: TotalsProps) {
  if (plan === null) {
    return (
      <p className="plan-totals" role="status">
        <Status tone="note">{problems === 1 ? '1 problem' : `${problems} problems`}</Status>
      </p>
    );
  }
  const { measure, reference, held, pair, invariance, blind, zero, look } = countPoints(plan);
  const also = Object.entries({ reference, static: held, 'period pair': pair, invariance, blind, 'zero flow': zero, 'first look': look }).flatMap(([name, count]) => (count > 0 ? [`${count} ${name}`] : []));
  const sheet = checked.state === 'done' ? checked.sheet : null;
  const totals = sheet?.totals ?? expansion?.totals ?? null;
  const lines = sheet === null ? null : sheetLinesOf(sheet);
  return (
    <dl className="plan-totals">
      <div>
        <dt>Points</dt>
        <dd>
          {measure + reference + held + pair + invariance + blind + zero + look} {also.length > 0 && <span className="quiet small">{[String(measure), ...also].join(' + ')}</span>}
        </dd>
      </div>
      <div>
        <dt>Duration</dt>
        <dd>{totals === null ? '…' : `about ${roughDuration(totals.durationS)}`}</dd>
      </div>
      <div>
        <dt>Fluid</dt>
        <dd>{totals === null ? '…' : `about ${fluidText(totals.fluidMl)}`}</dd>
      </div>
      {lines !== null && (
        <div>
          <dt>Pre-flight</dt>
          <dd>
            <button type="button" className="plan-entry-name" onClick={() => goToField('sheet')}>
              <Status tone={lines.refused.length > 0 ? 'bad' : lines.warned.length > 0 ? 'note' : lines.awaiting.length > 0 ? 'off' : 'good'}>
                {lines.refused.length > 0 ? `${lines.refused.length} refuse` : lines.warned.length > 0 ? `${lines.warned.length} to look at` : lines.awaiting.length > 0 ? 'nothing so far' : 'all pass'}
              </Status>
            </button>
            {lines.awaiting.length > 0 && <span className="quiet small"> {lines.awaiting.length} wait for a bench</span>}
          </dd>
        </div>
      )}
    </dl>
  );
}

/** A right plan with its defaults written out, so that the form shows what will be done; anything else as it is. */
function filledIn(document: unknown): unknown {
  const parsed = parsePlan(document);
  return parsed.ok ? parsed.plan : document;
}

function download(name: string, document: unknown): void {
  const address = URL.createObjectURL(new Blob([`${JSON.stringify(document, null, 2)}\n`], { type: 'application/json' }));
  const link = window.document.createElement('a');
  link.href = address;
  link.download = name;
  link.click();
  URL.revokeObjectURL(address);
}
