import { useState } from 'react';
import type { Result, RunRow } from '../../../app/contract/contract.ts';
import { Button } from '../../components/button.tsx';
import { NotTraceable } from '../../components/not-traceable.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { goTo } from '../../frame/route.ts';
import { ask, useHost, useRun } from '../../host/host.ts';
import { dateTimeText } from '../../components/dates.ts';
import { saveFile } from './save-file.ts';
import { bytesOf, sizeText } from './words.ts';

interface ChosenRunProps {
  readonly run: RunRow;
  readonly ending: string;
  /** The run that was kept for a comparison. */
  readonly kept: RunRow | null;
  readonly onKeep: (run: RunRow | null) => void;
}

type Files = Result<'run.export'>['files'];

/** What can be done with the run that was chosen in the list. */
export function ChosenRun({ run, ending, kept, onKeep }: ChosenRunProps) {
  const { line, control, openRun, bench } = useHost();
  const journal = useRun(run.id);
  const [busy, setBusy] = useState<'none' | 'opening' | 'exporting'>('none');
  const [problem, setProblem] = useState('');
  const [files, setFiles] = useState<Files | null>(null);
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
    if (reply.ok) setFiles(reply.value.files);
    else setProblem(`Nothing was exported. ${reply.failure.text}`);
  };
  return (
    <Section title={`${dateTimeText(run.createdAt)}: ${run.planName}`}>
      <NotTraceable reasons={journal.state?.notTraceable ?? []} />
      <dl className="facts">
        <div>
          <dt>Order</dt>
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
          <dt>Points that count</dt>
          <dd>
            {run.counting} of {run.points}
          </dd>
        </div>
        <div>
          <dt>Attempts</dt>
          <dd>{run.attempts}</dd>
        </div>
        <div>
          <dt>Written last</dt>
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
          <Button onPress={() => onKeep(kept === null ? run : null)}>{kept === null ? 'Keep for a comparison' : 'Do not keep it any more'}</Button>
        ) : (
          <Button onPress={() => goTo('results', run.id, 'compare', kept.id)}>Compare with the kept run</Button>
        )}
        <Button against={gone} busy={busy === 'exporting'} onPress={() => void exportIt()}>
          {busy === 'exporting' ? 'Exporting …' : 'Export'}
        </Button>
      </div>
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      {files !== null && (
        <div>
          <h3>Files of this run</h3>
          <ul className="files">
            {files.map((file) => (
              <li key={file.name}>
                <Button onPress={() => saveFile(file.name, file.text)} label={`Save ${file.name}`}>
                  Save
                </Button>
                <span>
                  {file.name} <span className="quiet small">{sizeText(bytesOf(file.text))}</span>
                </span>
              </li>
            ))}
          </ul>
          {files.length > 1 && (
            <Button
              onPress={() => {
                for (const file of files) saveFile(file.name, file.text);
              }}
            >
              Save all {files.length}
            </Button>
          )}
        </div>
      )}
    </Section>
  );
}
