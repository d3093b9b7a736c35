import { useState } from 'react';
import type { StoredDetails } from '../../../app/contract/report-requests.ts';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { reportLengths, type ReportLength } from '../../../app/report/document.ts';
import { samePerson } from '../../../app/report/same-person.ts';
import { papers, type Paper } from '../../../app/report/style.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { ConfirmBar } from '../../components/dialog.tsx';
import { Choice, TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { DetailsChoice } from '../../components/details-choice.tsx';
import { detailsOf, lengthWords, type ChosenDetails } from '../../components/report-details.ts';
import { useChosen } from '../../typed/chosen.ts';
import { useTyped } from '../../typed/typed.ts';
import { ask } from '../../host/host.ts';
import { SaidNotice, type ReportSaid } from './said.tsx';

const paperChoices = (Object.keys(papers) as Paper[]).map((value) => ({ value, text: value === 'a4' ? 'A4' : 'Letter' }));

interface IssuePartProps {
  readonly runs: readonly RunRow[];
  /** Those that are kept; null: not read yet. */
  readonly details: readonly StoredDetails[] | null;
  /** The report that is to be amended; null: none. */
  readonly amends: { readonly number: string; readonly runId: string } | null;
  readonly onLeaveAmendment: () => void;
  /** Why nothing can be issued now; empty: it can. */
  readonly against: string;
  readonly said: ReportSaid | null;
  readonly onSaid: (said: ReportSaid | null) => void;
  /** The list has to be read again. */
  readonly onIssued: (number: string) => void;
}

/** Numbers, signs and enters a report of a run, or one that takes another's place. */
// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
export function IssuePart({ runs, details, amends, onLeaveAmendment, against, said, onSaid: setSaid, onIssued }: IssuePartProps) {
  const [chosen, setChosen] = useChosen(`reports/run/${amends?.number ?? 'new'}`, runs.map((one) => one.id), 'Run of the report');
  const [length, setLength] = useTyped<ReportLength>('reports/length', 'full', { title: 'Length of the report' });
  const [paper, setPaper] = useTyped<Paper>('reports/paper', 'a4', { title: 'Paper of the report' });
  const [by, setBy] = useTyped('reports/by', '', { title: 'Who releases the report' });
  const [measuredToo, setMeasuredToo] = useState(false);
  const [reason, setReason] = useTyped(`reports/amend/${amends?.number ?? 'none'}`, '', { title: `Reason for amending ${amends?.number ?? 'a report'}`, work: true });
  const [chosenDetails, setDetails] = useTyped<ChosenDetails | null>('reports/details', null, { title: 'Details of the report' });
  const given = detailsOf(chosenDetails, details);
  const [asking, setAsking] = useState(false);
  const [busy, setBusy] = useState(false);
  const choices = runs.map((one) => ({ value: one.id, text: [one.order, one.planName, dateTimeText(one.createdAt)].filter((part) => part !== '').join(' · ') }));
  // An old run may not be in the list.
  if (amends !== null && !runs.some((one) => one.id === amends.runId)) choices.unshift({ value: amends.runId, text: amends.runId });
  const id = chosen !== null && choices.some((one) => one.value === chosen) ? chosen : (amends?.runId ?? runs[0]?.id ?? '');
  const run = runs.find((one) => one.id === id);
  const same = run !== undefined && by.trim() !== '' && samePerson(by, run.operator);
  const missing =
    against !== '' ? against
    : id === '' ? 'There is no run yet that a report could be of.'
    : by.trim() === '' ? 'Say who releases the report.'
    : same && !measuredToo ? 'The same person measured: say so, or let somebody else release it.'
    : amends !== null && reason.trim() === '' ? 'Say why the report takes the place of the other one.'
    : '';
  const issue = async (): Promise<void> => {
    setAsking(false);
    setBusy(true);
    setSaid(null);
    const made = await ask('report.issue', {
      id, length, paper, by: by.trim(), measuredToo: same && measuredToo, ...(given === null ? {} : { details: given.details }), amends: amends === null ? null : { number: amends.number, reason: reason.trim() },
    });
    setBusy(false);
    if (!made.ok) {
      setSaid({ tone: 'bad', sentences: [made.failure.text] });
      // An earlier one may have been entered by it (REP-35).
      onIssued('');
      return;
    }
    const { number, folder, publicKey, said: more } = made.value;
    setSaid({ tone: 'good', sentences: [`Report ${number} was issued. Its files lie in ${folder}.`, `It is signed with the public key ${publicKey}: give it to your customers by another way than with the report.`, ...more] });
    setReason('');
    setBy('');
    onLeaveAmendment();
    onIssued(number);
  };
  return (
    <Section title={amends === null ? 'Issue a report' : `Amend report ${amends.number}`}>
      <p>
        {amends === null
          ? 'A report gets a number, is signed and entered in the book of reports, and is never changed again. Who releases it answers for it.'
          : `A new report that names ${amends.number} and says why it takes its place. The old one stays as it is.`}
      </p>
      <Choice label="Run" value={id} options={choices} onChange={setChosen} />
      <div className="field-row">
        <Choice label="Length" value={length} options={reportLengths.map((one) => ({ value: one, text: lengthWords[one] }))} onChange={setLength} />
        <Choice label="Paper of the PDF" value={paper} options={paperChoices} onChange={setPaper} />
      </div>
      {amends !== null && <TextInput label="Reason of the amendment" value={reason} onChange={setReason} onEnter={() => missing === '' && setAsking(true)} />}
      <TextInput label="Released by" hint={run === undefined ? undefined : `Measured by ${run.operator === '' ? 'nobody who is named' : run.operator}.`} value={by} onChange={setBy} />
      {same && (
        <label className="report-same">
          <input type="checkbox" checked={measuredToo} onChange={(event) => setMeasuredToo(event.target.checked)} /> {by.trim()} measured this run too. The report says that it is the same person.
        </label>
      )}
      <DetailsChoice rows={details} fileLabel="File with the details of the report that is issued" chosen={chosenDetails} onChosen={setDetails} onProblem={(text) => setSaid(text === '' ? null : { tone: 'bad', sentences: [text] })} />
      <div className="button-row">
        <Button kind="primary" against={missing} busy={busy} onPress={() => setAsking(true)}>
          {busy ? 'Being issued …' : amends === null ? 'Issue the report …' : 'Issue the amendment …'}
        </Button>
        {amends !== null && <Button onPress={onLeaveAmendment}>Amend nothing</Button>}
      </div>
      {asking && missing === '' && (
        <ConfirmBar
          question={`${by.trim()} releases a report of this run${amends === null ? '' : ` in the place of ${amends.number}`}. It gets a number and cannot be taken back, only amended.`}
          confirm="Issue it"
          onConfirm={() => void issue()}
          onLeave={() => setAsking(false)}
        />
      )}
      <SaidNotice said={said} />
    </Section>
  );
}
