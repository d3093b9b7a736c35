import { useCallback, useEffect, useMemo, useState } from 'react';
import { endingWords } from '../../../app/run/ending.ts';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { PlanRow } from '../../../app/contract/library-requests.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Choice, TextInput } from '../../components/field.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { endingTone, knownEnding } from '../../components/endings.ts';
import { Page, Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { goTo, pathTo } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { changeSettings, useSettings } from '../../settings/settings.ts';
import { useChosen } from '../../typed/chosen.ts';
import { PreflightPassed, PreflightRemarks } from './preflight-sheet.tsx';
import type { QualificationStanding } from '../../../app/plan/preflight-line.ts';
import { benchName } from '../../../app/qualification/qualification.ts';
import { qualificationStanding } from '../../../app/qualification/standing.ts';
import { shownText } from '../../components/shown-text.ts';

/** No run is open: begin one from a saved plan, or go on with an earlier one. */
export function Opening() {
  return (
    <Page title="Run" lead="No run is open on the bench. Begin a sweep from a saved plan, or go on with an earlier run.">
      <div className="run-opening">
        <BeginSection />
        <EarlierSection />
      </div>
    </Page>
  );
}

interface Checked {
  readonly document: unknown;
  readonly check: AnswerTo<'plan.check'>;
}

// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
function BeginSection() {
  const { bench, control } = useHost();
  const { operator, operators } = useSettings();
  const [plans, setPlans] = useState<readonly PlanRow[] | null>(null);
  const [checked, setChecked] = useState<Checked | null>(null);
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState('');
  const [typed, setName] = useState<string | null>(null);
  const name = typed ?? operator;
  const [accepted, setAccepted] = useState(false);

  useWhenUp(() => {
    void ask('plans.list', {}).then((reply) => {
      if (!reply.ok) {
        setProblem(reply.failure.text);
        return;
      }
      setPlans(reply.value);
    });
  });

  const [wanted, setChosen] = useChosen('run/plan', plans?.map(keyOf) ?? [], 'Plan of the next run');
  const row = plans?.find((plan) => keyOf(plan) === wanted) ?? plans?.[0];
  const chosen = row === undefined ? '' : keyOf(row);
  const connected = bench.state === 'connected';
  useEffect(() => {
    if (row === undefined) return undefined;
    let over = false;
    setChecked(null);
    setAccepted(false);
    setProblem('');
    void checkOf(row).then((result) => {
      if (over) return;
      if (typeof result === 'string') setProblem(result);
      else setChecked(result);
    });
    return () => {
      over = true;
    };
    // Another bench has other limits: the sheet is made anew.
  }, [chosen, plans, connected]);

  const open = useCallback(
    async (start: boolean): Promise<void> => {
      if (checked === null) return;
      setBusy('The run is being opened on the bench.');
      setProblem('');
      changeSettings({ operator: name });
      const opened = await ask('run.open', { document: checked.document, operator: name.trim() });
      if (!opened.ok) {
        setBusy('');
        setProblem(`The run was not opened. ${opened.failure.text}`);
        return;
      }
      if (start) {
        const { id } = opened.value;
        for (const kind of accepted ? (['accept-untraceable', 'start'] as const) : (['start'] as const)) {
          const reply = await ask('run.command', { id, command: { kind }, by: name.trim(), commandId: crypto.randomUUID() });
          // The run's own page says what stands against the start; the words here would be gone with this page.
          if (!reply.ok) setProblem(reply.failure.text);
        }
      }
      goTo('run');
      setBusy('');
    },
    [checked, name, accepted],
  );

  const against = !control.mine
    ? 'This window only watches. Take control first.'
    : !connected
      ? 'No bench is connected.'
      : name.trim() === ''
        ? 'Say who is responsible for the run.'
        : row === undefined
          ? 'Choose a plan.'
          : checked === null
            ? 'The plan is being checked.'
            : checked.check.problems.length > 0
              ? 'The plan has problems.'
              : checked.check.sheet?.lines.some((line) => line.result === 'refuse' && !(accepted && line.untraceable !== undefined)) === true
                ? 'The pre-flight sheet refuses the start.'
                : '';
  return (
    <Section title="Begin a sweep">
      {bench.state === 'absent' && <NoBench />}
      {bench.state === 'connected' && <Qualified bench={benchName(bench.identity)} />}
      {bench.state === 'connecting' && <Notice tone="busy">Connecting to {bench.to}.</Notice>}
      {plans !== null && plans.length === 0 && (
        <Notice tone="note">
          There is no saved plan yet. <a href={pathTo('plans')}>Make one on the page Plans</a>, then come back.
        </Notice>
      )}
      {plans !== null && plans.length > 0 && (
        <>
          <div className="run-begin">
            <Choice label="Plan" value={chosen} options={plans.map((plan) => ({ value: keyOf(plan), text: `${plan.name} (version ${plan.version}, ${dateTimeText(plan.savedAt)})` }))} onChange={setChosen} />
            <TextInput label="Operator" hint="Recorded in the journal and in the report." value={name} onChange={setName} />
            {operators.length > 1 && <Choice label="Or one who has worked here" value={operators.includes(name) ? name : ''} options={[{ value: '', text: 'choose …' }, ...operators.map((one) => ({ value: one, text: one }))]} onChange={setName} />}
          </div>
          {checked !== null && <PreflightRemarks check={checked.check} bench={connected} />}
          {checked?.check.sheet?.lines.some((line) => line.untraceable !== undefined) === true && (
            <label className="run-accept">
              <input type="checkbox" checked={accepted} onChange={(event) => setAccepted(event.target.checked)} /> Measure although instruments or fluid are out of date. Every table, file and page of this run will say that it is not
              traceable, and the journal that I chose so.
            </label>
          )}
          <div className="button-row">
            <Button kind="primary" against={against} busy={busy !== ''} onPress={() => void open(true)}>
              Open the run and start
            </Button>
            {against === '' && (
              <Button busy={busy !== ''} onPress={() => void open(false)}>
                Open only
              </Button>
            )}
          </div>
        </>
      )}
      {busy !== '' && <p role="status">{busy}</p>}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      <p className="small quiet">Before the first point the watchdog of the controller is proved; nothing is measured without that proof. Until you start, nothing is driven.</p>
      {checked !== null && <PreflightPassed check={checked.check} />}
    </Section>
  );
}

/** Whether the bench is qualified, and until when: by the latest sheet and the clock that a run would have (EQ-22, WIN-135). */
function Qualified({ bench }: { readonly bench: string }) {
  const [standing, setStanding] = useState<QualificationStanding | null>(null);
  useWhenUp(() => {
    void ask('qualifications.list', { bench }).then((reply) => {
      if (reply.ok) setStanding(qualificationStanding(reply.value.sheets[0]?.document ?? null, bench, reply.value.now));
    });
  });
  if (standing === null) return null;
  const { until, text } = standing;
  return (
    <p className="small">
      {until === undefined ? <Status tone="off">Not qualified.</Status> : <Status tone="good">Qualified until {dateTimeText(until)}.</Status>} {until === undefined ? shownText(text) : ''} <a href={pathTo('equipment', 'qualification')}>Qualification</a>
    </p>
  );
}

function NoBench() {
  const { control } = useHost();
  const [problem, setProblem] = useState('');
  const connect = async (): Promise<void> => {
    const reply = await ask('bench.connect', { bench: { kind: 'simulated' } });
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  return (
    <Notice
      tone="note"
      action={
        <Button against={control.mine ? '' : 'Take control first.'} onPress={() => void connect()}>
          Connect the simulated bench
        </Button>
      }
    >
      No bench is connected. <a href={pathTo('bench')}>Connect one on the page Bench</a>, or try things out on the simulated one. {problem}
    </Notice>
  );
}

const keyOf = (plan: PlanRow): string => `${plan.id} ${plan.version}`;

async function checkOf(row: PlanRow): Promise<Checked | string> {
  const plan = await ask('plans.read', { id: row.id, version: row.version });
  if (!plan.ok) return plan.failure.text;
  const { document } = plan.value;
  const check = await ask('plan.check', { document });
  return check.ok ? { document, check: check.value } : check.failure.text;
}

const columns: readonly Column<RunRow>[] = [
  { key: 'ending', title: 'How it stands', cell: (row) => <Status tone={endingTone(knownEnding(row.ending))}>{endingWords(knownEnding(row.ending))}</Status>, width: '12rem' },
  { key: 'counting', title: 'Accepted', cell: (row) => `${row.counting} of ${row.points}`, numeric: true, width: '7rem' },
  { key: 'at', title: 'Opened', cell: (row) => dateTimeText(row.createdAt), width: '11rem' },
  { key: 'plan', title: 'Plan', cell: (row) => row.planName, width: 'minmax(10rem, 2fr)' },
];

function EarlierSection() {
  const [rows, setRows] = useState<readonly RunRow[] | null>(null);
  const [problem, setProblem] = useState('');
  useWhenUp(() => {
    void ask('runs.list', { limit: 50 }).then((reply) => {
      if (reply.ok) setRows(reply.value);
      else setProblem(reply.failure.text);
    });
  });
  const worth = useMemo(
    () => (rows ?? []).filter((row) => row.ending === null || row.counting < row.points).toSorted((a, b) => Number(a.ending !== null) - Number(b.ending !== null) || b.createdAt - a.createdAt),
    [rows],
  );
  return (
    <Section title="Go on with an earlier run">
      <p className="small quiet">Unfinished runs first, then those with points that have no result. Opening one here only shows it; nothing is driven.</p>
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {worth.length === 0 ? (
        <p>{rows === null ? 'The list is being read.' : 'There is no run to go on with. Complete runs are on the page Archive.'}</p>
      ) : (
        <DataTable label="Earlier runs that can be continued" columns={columns} rows={worth} rowKey={(row) => row.id} empty="" onOpen={(row) => goTo('run', row.id)} />
      )}
    </Section>
  );
}
