import { useState } from 'react';
import { reportLengths, type ReportLength } from '../../../app/report/document.ts';
import { Button } from '../../components/button.tsx';
import { Dialog } from '../../components/dialog.tsx';
import { Choice } from '../../components/field.tsx';
import { DetailsChoice } from '../../components/details-choice.tsx';
import { detailsOf, lengthWords, type ChosenDetails } from '../../components/report-details.ts';
import { saveFile } from '../../components/save-file.ts';
import { Notice } from '../../components/status.tsx';
import { ask, useHost } from '../../host/host.ts';
import { useKeptDetails } from '../../host/report-details.ts';
import { readFile } from '../../host/read-file.ts';
import { useTyped } from '../../typed/typed.ts';

/** The report of a run as a draft, to be looked at, printed or handed on (REP-29). */
export function ReportDraft({ id }: { readonly id: string }) {
  const { line } = useHost();
  const [open, setOpen] = useState(false);
  const [length, setLength] = useTyped<ReportLength>('results/report-length', 'full', { title: 'Length of the draft of a report' });
  const [chosen, setChosen] = useTyped<ChosenDetails | null>('results/report-details', null, { title: 'Details of the draft of a report' });
  const kept = useKeptDetails();
  const given = detailsOf(chosen, kept.rows);
  const [busy, setBusy] = useState(false);
  const [said, setSaid] = useState<{ readonly tone: 'good' | 'bad'; readonly text: string } | null>(null);
  const gone = line.state === 'up' ? '' : 'The host cannot be reached.';
  const make = async (): Promise<void> => {
    setBusy(true);
    setSaid(null);
    const made = await ask('run.report', { id, length, ...(given === null ? {} : { details: given.details }) });
    const read = made.ok ? await readFile(made.value.export, 'report.html') : null;
    setBusy(false);
    if (!made.ok) setSaid({ tone: 'bad', text: `No report was made. ${made.failure.text}` });
    else if (read?.ok !== true) setSaid({ tone: 'bad', text: `The report was not saved. ${read?.text ?? ''}` });
    else {
      saveFile('report.html', read.pieces);
      setSaid({ tone: 'good', text: 'report.html was saved as a draft. Open it in a browser; it prints on A4 and Letter, and holds its numbers as JSON and CSV.' });
    }
  };
  return (
    <>
      <Button onPress={() => setOpen(true)}>Report …</Button>
      <Dialog title="Report of this run" open={open} onClose={() => setOpen(false)}>
        <p>A draft for the customer: results with their uncertainty, conditions, traceability, and what was left out. A report with a number and a seal is issued on the page <a href="#/reports">Reports</a>.</p>
        <Choice label="Length" value={length} options={reportLengths.map((one) => ({ value: one, text: lengthWords[one] }))} onChange={setLength} />
        <DetailsChoice rows={kept.rows} fileLabel="File with the details of the report" chosen={chosen} onChosen={setChosen} onProblem={(text) => setSaid(text === '' ? null : { tone: 'bad', text })} />
        <div className="button-row">
          <Button kind="primary" against={gone} busy={busy} onPress={() => void make()}>
            {busy ? 'Being made …' : 'Save the draft'}
          </Button>
        </div>
        {said !== null && <Notice tone={said.tone}>{said.text}</Notice>}
      </Dialog>
    </>
  );
}
