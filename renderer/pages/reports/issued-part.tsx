import { useState } from 'react';
import type { IssuedReportRow } from '../../../app/contract/report-requests.ts';
import { dateTimeText } from '../../components/dates.ts';
import { Button } from '../../components/button.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { ask } from '../../host/host.ts';
import { giveFile } from '../../host/give-file.ts';
import { readFile } from '../../host/read-file.ts';
import { chainOf } from './chain.ts';
import { fromBase64, toBase64 } from './files.ts';
import { SaidNotice, type ReportSaid } from './said.tsx';

interface IssuedPartProps {
  readonly report: IssuedReportRow;
  readonly reports: readonly IssuedReportRow[];
  readonly against: string;
  readonly onAmend: (report: IssuedReportRow) => void;
  /** Something of it has changed. */
  readonly onChange: () => void;
}

/** Of a time in UTC, ISO 8601. */
export const dayAndTime = (iso: string): string => dateTimeText(Date.parse(iso));

/** One issued report: its amendments, its file, its proof and its time stamp. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function IssuedPart({ report, reports, against, onAmend, onChange }: IssuedPartProps) {
  const { number } = report;
  const [busy, setBusy] = useState<'none' | 'reading' | 'proving' | 'stamping'>('none');
  const [said, setSaid] = useState<ReportSaid | null>(null);
  const bad = (...sentences: readonly string[]): void => setSaid({ tone: 'bad', sentences });
  const begin = (what: typeof busy): void => {
    setBusy(what);
    setSaid(null);
  };
  /** The text of its file, in pieces. */
  const pieces = async (): Promise<readonly string[] | null> => {
    const made = await ask('report.read', { number });
    const read = made.ok ? await readFile(made.value.export, 'report.html') : null;
    if (!made.ok) bad(made.failure.text);
    else if (read?.ok === false) bad(read.text);
    return read?.ok === true ? read.pieces : null;
  };
  const save = async (): Promise<void> => {
    begin('reading');
    const text = await pieces();
    if (text !== null) saveFile(`${number}.html`, text);
    setBusy('none');
  };
  const prove = async (): Promise<void> => {
    begin('proving');
    const text = await pieces();
    const upload = `proof-${number}`;
    const lost = text === null ? '' : await giveFile(upload, text.join(''));
    if (text !== null && lost === null) {
      const proved = await ask('report.prove', { upload, against: true });
      if (proved.ok) setSaid({ tone: proved.value.holds ? 'good' : 'bad', sentences: proved.value.said });
      else bad(proved.failure.text);
    } else if (lost !== null && lost !== '') bad(lost);
    setBusy('none');
  };
  const stamp = async (answer: string | null): Promise<void> => {
    begin('stamping');
    const reply = await ask('report.stamp', { number, answer });
    setBusy('none');
    if (!reply.ok) {
      bad(reply.failure.text);
      return;
    }
    if (reply.value.request !== null) saveFile(`${number}.tsq`, [fromBase64(reply.value.request)]);
    setSaid({ tone: 'good', sentences: reply.value.said });
    onChange();
  };
  const takeAnswer = async (file: File): Promise<void> => {
    const answer = await toBase64(file);
    if (answer === null) bad(`${file.name} is larger than any answer of a time-stamp authority. It was not taken.`);
    else await stamp(answer);
  };
  const chain = chainOf(reports, number);
  return (
    <Section title={`Report ${number}`}>
      <dl className="facts">
        <div>
          <dt>Issued (UTC)</dt>
          <dd>{dayAndTime(report.at)}</dd>
        </div>
        <div>
          <dt>Released by</dt>
          <dd>{report.by ?? '–'}</dd>
        </div>
        <div>
          <dt>Time stamp</dt>
          <dd>{stampWords[report.stamp]}</dd>
        </div>
        <div>
          <dt>Run</dt>
          <dd className="small">{report.runId}</dd>
        </div>
      </dl>
      <h3>Amendments</h3>
      {chain.length < 2 ? (
        <p>It takes no other’s place, and no other took its place.</p>
      ) : (
        <ol className="report-chain">
          {chain.map((one) => (
            <li key={one.number} aria-current={one.number === number ? 'true' : undefined}>
              {one.number}, {dayAndTime(one.at)}{one.by === null ? '' : `, ${one.by}`}
              {one.amendedBy === null ? ': this one stands' : `: ${one.amendedBy} took its place`}
            </li>
          ))}
        </ol>
      )}
      <div className="button-row">
        <Button against={against} busy={busy === 'reading'} onPress={() => void save()} label={`Save report ${number}`}>
          Save
        </Button>
        <Button against={against} busy={busy === 'proving'} onPress={() => void prove()} label={`Prove report ${number}`}>
          {busy === 'proving' ? 'Prove …' : 'Prove'}
        </Button>
        <Button against={against !== '' ? against : report.amendedBy === null ? '' : `${report.amendedBy} took its place: amend that one.`} onPress={() => onAmend(report)} label={`Amend report ${number}`}>
          Amend
        </Button>
      </div>
      {report.stamp !== 'kept' && (
        <>
          <p className="small quiet">A time-stamp authority (RFC 3161) confirms that the file existed at a time. The request is a small file that somebody carries to it; its answer is checked and kept with the report.</p>
          <div className="button-row">
            <Button against={against} busy={busy === 'stamping'} onPress={() => void stamp(null)} label={`Save the request for a time stamp of ${number}`}>
              Save the request
            </Button>
            <FileButton fileLabel={`Answer of the time-stamp authority for ${number}`} accept=".tsr,.tst,application/timestamp-reply" against={against} onFile={(file) => void takeAnswer(file)}>
              Take the answer …
            </FileButton>
          </div>
        </>
      )}
      <SaidNotice said={said} />
    </Section>
  );
}

export const stampWords = { none: 'none', asked: 'asked for', kept: 'kept' } as const;
