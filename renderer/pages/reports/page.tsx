import { useMemo, useState } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { IssuedReportRow } from '../../../app/contract/report-requests.ts';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Page, Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { useRoute } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { useKeptDetails } from '../../host/report-details.ts';
import { DetailsPart } from './details-part.tsx';
import { IssuePart } from './issue-part.tsx';
import { dayAndTime, IssuedPart, stampWords } from './issued-part.tsx';
import { ProvePart } from './prove-part.tsx';
import type { ReportSaid } from './said.tsx';
import '../archive/archive.css';
import '../equipment/equipment.css';
import '../results/one-line.css';
import './reports.css';

const recent = 100;

const columns: readonly Column<IssuedReportRow>[] = [
  { key: 'number', title: 'Number', width: '8rem', cell: (r) => r.number, sortBy: (r) => r.number },
  { key: 'at', title: 'Issued', width: '10rem', cell: (r) => dayAndTime(r.at), sortBy: (r) => r.at },
  { key: 'by', title: 'Released by', width: 'minmax(8rem, 2fr)', cell: (r) => <span className="one-line">{r.by ?? '–'}</span>, sortBy: (r) => r.by ?? '' },
  { key: 'amends', title: 'Amends', width: '8rem', cell: (r) => r.amends ?? '–' },
  { key: 'amended', title: 'Amended by', width: '8rem', cell: (r) => r.amendedBy ?? '–' },
  { key: 'stamp', title: 'Time stamp', width: '7rem', cell: (r) => stampWords[r.stamp] },
];

/** The book of reports: issuing, amending, time-stamping and proving (REP-40 to REP-43). */
export default function ReportsPage() {
  const { line } = useHost();
  const [list, setList] = useState<AnswerTo<'reports.list'> | null>(null);
  const [runs, setRuns] = useState<readonly RunRow[]>([]);
  const [problem, setProblem] = useState('');
  const { rest } = useRoute();
  const [chosen, setChosen] = useState<string | null>(rest[0] ?? null);
  const [asked, setAsked] = useState(rest[0]);
  if (asked !== rest[0]) {
    setAsked(rest[0]);
    setChosen(rest[0] ?? null);
  }
  const [said, setSaid] = useState<ReportSaid | null>(null);
  const kept = useKeptDetails();
  const [amended, setAmended] = useState<IssuedReportRow | null>(null);
  const against = line.state === 'up' ? '' : 'The host cannot be reached.';
  const load = async (): Promise<void> => {
    const [listed, found] = await Promise.all([ask('reports.list', {}), ask('runs.list', { limit: recent })]);
    if (listed.ok) setList(listed.value);
    if (found.ok) setRuns(found.value);
    setProblem(listed.ok ? '' : listed.failure.text);
  };
  useWhenUp(() => void load());
  const reports = useMemo(() => list?.reports ?? [], [list]);
  const report = reports.find((one) => one.number === chosen);
  const onIssued = (number: string): void => {
    if (number !== '') setChosen(number);
    void load();
  };
  return (
    <Page title="Reports" lead="What was released to customers. An issued report is never changed; another one takes its place.">
      {problem !== '' && <Notice tone="bad">The book of reports could not be read. {problem}</Notice>}
      {list !== null && list.problem !== '' && <Notice tone="note">{list.problem}</Notice>}
      <Section
        title="Issued reports"
        aside={
          <span className="small quiet" role="status">
            {list === null ? 'The list is being read.' : reports.length === 1 ? 'One report' : `${reports.length} reports`}
          </span>
        }
      >
        <DataTable label="Issued reports" columns={columns} rows={reports} rowKey={(r) => r.number} empty={list === null ? 'The list is being read.' : 'No report was issued yet.'} onOpen={(r) => setChosen(r.number)} selected={chosen} maxHeight="20rem" />
        {list?.publicKey != null && (
          <p className="small">
            The public key of this laboratory, which customers compare: <code>{list.publicKey}</code>
          </p>
        )}
        {list !== null && <p className="small quiet">The book: {list.book}. Back it up with the archive.</p>}
      </Section>
      <div className="sections">
        {report !== undefined && <IssuedPart key={report.number} report={report} reports={reports} against={against} onAmend={setAmended} onChange={() => void load()} />}
        <IssuePart key={`issue-${amended?.number ?? ''}`} runs={runs} details={kept.rows} amends={amended} onLeaveAmendment={() => setAmended(null)} against={against} said={said} onSaid={setSaid} onIssued={onIssued} />
        <ProvePart against={against} />
      </div>
      <div className="sections record-groups">
        <DetailsPart rows={kept.rows} problem={kept.problem} against={against} onSaved={() => void kept.reload()} />
      </div>
    </Page>
  );
}
