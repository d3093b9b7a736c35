import { useState } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { Button } from '../../components/button.tsx';
import { RunFiles } from '../results/run-files.tsx';
import { NotTraceable } from '../../components/not-traceable.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { goTo } from '../../address/route.ts';
import { ask, useHost, useCondensedRun } from '../../host/host.ts';
import { dateTimeText } from '../../components/dates.ts';
import { readFile } from '../../host/read-file.ts';
import { saveFile } from '../../components/save-file.ts';
import { sizeText } from './words.ts';

interface ChosenRunProps {
  readonly run: RunRow;
  readonly ending: string;
  /** The run that was kept for a comparison. */
  readonly kept: RunRow | null;
  readonly onKeep: (run: RunRow | null) => void;
}

type Exported = AnswerTo<'run.export'>;

/** What can be done with the run that was chosen in the list. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function ChosenRun({ run, ending, kept, onKeep }: ChosenRunProps) {
  const { line, control, openRun, bench } = useHost();
  const journal = useCondensedRun(run.id);
  const [busy, setBusy] = useState<'none' | 'opening' | 'exporting' | 'saving'>('none');
  const [problem, setProblem] = useState('');
  const [exported, setExported] = useState<Exported | null>(null);
  const gone = line.state === 'up' ? '' : 'The host cannot be reached.';
  const isOpen = openRun === run.id;
  const against = gone !== '' ? gone : isOpen ? '' : !control.mine ? 'This window only watches. Take control first; the button stands at the top.' : bench.state !== 'connected' ? 'Connect a bench first, on the Bench page.' : '';
  const open = async (): Promise<void> => {
    if (!isOpen) {
      setBusy('opening');
      setProblem('');
      const reply = await ask('run.continue', { id: run.id });
      setBusy('none');
      if (!reply.ok) {
        setProblem(`The run was not opened. ${reply.failure.text}`);
        return;
      }
    }
    goTo('run');
  };
  const exportIt = async (): Promise<void> => {
    setBusy('exporting');
    setProblem('');
    const reply = await ask('run.export', { id: run.id });
    setBusy('none');
    if (reply.ok) setExported(reply.value);
    else setProblem(`Nothing was exported. ${reply.failure.text}`);
  };
  const save = async (from: string, names: readonly string[]): Promise<void> => {
    setBusy('saving');
    setProblem('');
    for (const name of names) {
      const read = await readFile(from, name);
      if (read.ok) saveFile(name, read.pieces);
      else setProblem(`${name} was not saved. ${read.text}`);
      if (!read.ok) break;
    }
    setBusy('none');
  };
  return (
    <Section title={`${dateTimeText(run.createdAt)}: ${run.planName}`}>
      <NotTraceable reasons={journal.state?.notTraceable ?? []} />
      <dl className="facts">
        <div>
          <dt>Job</dt>
          <dd>{run.order === '' ? '–' : run.order}</dd>
        </div>
        <div>
          <dt>Operator</dt>
          <dd>{run.operator === '' ? '–' : run.operator}</dd>
        </div>
        {run.simulated === true && (
          <div>
            <dt>Bench</dt>
            <dd>simulated</dd>
          </div>
        )}
        <div>
          <dt>State</dt>
          <dd>{ending}</dd>
        </div>
        <div>
          <dt>Valid points</dt>
          <dd>
            {run.counting} of {run.points}
          </dd>
        </div>
        <div>
          <dt>Attempts</dt>
          <dd>{run.attempts}</dd>
        </div>
        <div>
          <dt>Last entry</dt>
          <dd>{run.lastAt === null ? '–' : dateTimeText(run.lastAt)}</dd>
        </div>
        <div>
          <dt>Measured with</dt>
          <dd>{run.software}</dd>
        </div>
        <div>
          <dt>Run</dt>
          <dd className="small">{run.id}</dd>
        </div>
      </dl>
      <div className="button-row">
        <Button kind="primary" onPress={() => goTo('results', run.id)}>
          Results
        </Button>
        <Button against={against} busy={busy === 'opening'} onPress={() => void open()}>
          {isOpen ? 'Go to the run' : 'Continue or measure again'}
        </Button>
        {kept === null || kept.id === run.id ? (
          <Button onPress={() => onKeep(kept === null ? run : null)}>{kept === null ? 'Mark for comparison' : 'Remove the mark'}</Button>
        ) : (
          <Button onPress={() => goTo('results', run.id, 'compare', kept.id)}>Compare with the kept run</Button>
        )}
        <Button onPress={() => goTo('journal', run.id)}>Journal</Button>
        <RunFiles run={run} journal={journal} against={gone} />
        <Button against={gone} busy={busy === 'exporting'} onPress={() => void exportIt()}>
          {busy === 'exporting' ? 'Exporting …' : 'Export'}
        </Button>
      </div>
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {exported !== null && (
        <div>
          <h3>Files of this run</h3>
          <ul className="files">
            {exported.files.map(({ name, bytes }) => (
              <li key={name}>
                <Button against={gone} onPress={() => void save(exported.export, [name])} label={`Save ${name}`}>
                  Save
                </Button>
                <span>
                  {name} <span className="quiet small">{sizeText(bytes)}</span>
                </span>
              </li>
            ))}
          </ul>
          {exported.files.length > 1 && (
            <Button against={gone} busy={busy === 'saving'} onPress={() => void save(exported.export, exported.files.map((file) => file.name))}>
              Save all {exported.files.length}
            </Button>
          )}
        </div>
      )}
    </Section>
  );
}
