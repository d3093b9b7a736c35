import { useEffect, useState } from 'react';
import { create } from 'zustand';
import type { RunRow } from '../../app/contract/archive-requests.ts';
import type { Part, PlanRow } from '../../app/contract/library-requests.ts';
import { goTo } from '../address/route.ts';
import { Button } from '../components/button.tsx';
import { Notice } from '../components/status.tsx';
import { ask, useHost } from '../host/host.ts';
import { settings, useSettings } from '../settings/settings.ts';
import { exampleParts, guidePlan, guidePlanName, nextStep, steps, stepWords, type GuideFacts, type GuideStep } from './guide-steps.ts';

const key = 'railhouse.guide';
type Taken = 'offered' | 'on' | 'left';
const stored = (): Taken => {
  const found = typeof localStorage === 'undefined' ? null : localStorage.getItem(key);
  return found === 'on' || found === 'left' ? found : 'offered';
};
const useGuide = create<{ readonly taken: Taken }>()(() => ({ taken: stored() }));

/** Begins the guide, takes it up again, or leaves it. */
export function takeGuide(taken: 'on' | 'left'): void {
  localStorage.setItem(key, taken);
  useGuide.setState({ taken });
}

interface Kept {
  readonly parts: readonly Part[];
  readonly plans: readonly PlanRow[];
  readonly run: RunRow | null;
  readonly empty: boolean;
}

/** What there is in the archive, where the guide goes by it; read again when the host is back, after every step and when a run is opened or ends. */
function useKept(wanted: boolean): { readonly kept: Kept | null; readonly look: () => Promise<void> } {
  const { line, openRun, status } = useHost();
  const [kept, setKept] = useState<Kept | null>(null);
  const look = async (): Promise<void> => {
    const [parts, plans, runs] = await Promise.all([ask('parts.list', {}), ask('plans.list', {}), ask('runs.list', { limit: 5 })]);
    if (parts.ok && plans.ok && runs.ok) setKept({ parts: parts.value, plans: plans.value, run: runs.value.find(({ planName }) => planName === guidePlanName) ?? null, empty: runs.value.length === 0 });
  };
  const asks = wanted && line.state === 'up';
  const mode = status?.status.mode ?? '';
  useEffect(() => {
    if (asks) void look();
  }, [asks, openRun, mode]);
  return { kept, look };
}

function factsOf(kept: Kept, connected: boolean, openRun: string | null, mode: string | null): GuideFacts {
  const { run } = kept;
  const state = run === null ? 'none' : run.ending !== null ? 'ended' : run.id !== openRun ? 'rests' : mode === 'ended' ? 'ended' : mode === 'measuring' || mode === 'proving' || mode === 'making-safe' ? 'going-on' : 'rests';
  return { connected, mounted: kept.parts.filter(({ channel }) => channel !== null).length, planSaved: kept.plans.some(({ name }) => name === guidePlanName), run: state };
}

/** Offered on an archive without a run; once it is taken it is there on every page until it is left or done (WIN-53). */
export function Guide() {
  const { taken } = useGuide();
  const { line, control, bench, openRun, status } = useHost();
  const operator = useSettings((chosen) => chosen.operator);
  const { kept, look } = useKept(taken !== 'left');
  if (kept === null || line.state !== 'up' || operator === '' || taken === 'left') return null;
  if (taken === 'offered') return kept.empty && openRun === null ? <Offer /> : null;
  const facts = factsOf(kept, bench.state === 'connected', openRun, status?.status.mode ?? null);
  return <StepNotice key={nextStep(facts)} step={nextStep(facts)} facts={facts} kept={kept} against={control.mine ? '' : 'This window watches. Take control first.'} look={look} />;
}

function Offer() {
  return (
    <Notice
      tone="note"
      action={
        <div className="button-row">
          <Button onPress={() => takeGuide('on')}>Begin the guide</Button>
          <Button kind="quiet" onPress={() => takeGuide('left')}>
            Not now
          </Button>
        </div>
      }
    >
      <strong>There is no run in this archive yet. </strong>A guide of five steps leads to a first finished sweep on the simulated bench, in some minutes. It can be left at any time and taken up again from Help.
    </Notice>
  );
}

interface StepNoticeProps {
  readonly step: GuideStep;
  readonly facts: GuideFacts;
  readonly kept: Kept;
  readonly against: string;
  readonly look: () => Promise<void>;
}

function StepNotice({ step, facts, kept, against, look }: StepNoticeProps) {
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const { title, text, button, page } = stepWords[step];
  const go = async (): Promise<void> => {
    setBusy(true);
    const why = await doStep(step, kept);
    setBusy(false);
    setProblem(why);
    if (why === '') await look();
  };
  const waits = step === 'start' && facts.run === 'going-on' ? 'The run is going on. The next step comes when it has ended.' : step === 'start' && facts.run === 'rests' ? 'The run waits for you: see its page.' : '';
  return (
    <Notice
      tone={problem === '' ? 'note' : 'bad'}
      action={
        <div className="button-row">
          {waits === '' && (
            <Button onPress={() => void go()} busy={busy} against={against}>
              {button}
            </Button>
          )}
          {waits !== '' && <Button onPress={() => goTo(page)}>To the page</Button>}
          <Button kind="quiet" onPress={() => takeGuide('left')}>
            Leave the guide
          </Button>
        </div>
      }
    >
      <strong>
        First sweep, step {steps.indexOf(step) + 1} of {steps.length}: {title}.{' '}
      </strong>
      {waits === '' ? text : waits}
      {problem !== '' && ` ${problem}`}
    </Notice>
  );
}

/** Does the step as its page would, and goes where it is seen. Why not; empty: it is done. */
async function doStep(step: GuideStep, kept: Kept): Promise<string> {
  const { page } = stepWords[step];
  switch (step) {
    case 'connect': {
      const reply = await ask('bench.connect', { bench: { kind: 'simulated', speed: 20 } });
      if (!reply.ok) return reply.failure.text;
      break;
    }
    case 'injectors': {
      const taken = new Set(kept.parts.map(({ channel }) => channel));
      const reply = await ask('parts.save', { parts: exampleParts.filter(({ channel }) => !taken.has(channel)) });
      if (!reply.ok) return reply.failure.text;
      break;
    }
    case 'plan': {
      const reply = await ask('plans.save', { id: null, document: guidePlan(kept.parts), by: settings().operator });
      if (!reply.ok) return reply.failure.text;
      if (reply.value.row === null) return reply.value.problems.map(({ text }) => text).join(' ');
      goTo(page, reply.value.row.id);
      return '';
    }
    case 'start': {
      const started = await startRun(kept);
      if (started !== '') return started;
      break;
    }
    case 'result':
      takeGuide('left');
      goTo(page, ...(kept.run === null ? [] : [kept.run.id]));
      return '';
  }
  goTo(page);
  return '';
}

async function startRun({ plans }: Kept): Promise<string> {
  const row = plans.find(({ name }) => name === guidePlanName);
  if (row === undefined) return 'The plan is not there any more.';
  const by = settings().operator;
  const read = await ask('plans.read', { id: row.id, version: row.version });
  if (!read.ok) return read.failure.text;
  const opened = await ask('run.open', { document: read.value.document, operator: by });
  if (!opened.ok) return opened.failure.text;
  const started = await ask('run.command', { id: opened.value.id, command: { kind: 'start' }, by, commandId: crypto.randomUUID() });
  if (!started.ok) return started.failure.text;
  return started.value.accepted ? '' : started.value.reason;
}
