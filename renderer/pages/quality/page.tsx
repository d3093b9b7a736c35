import { quantityText } from '../../settings/quantities.ts';
import { useMemo, useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { ruleSets, type RuleSet } from '../../../app/charts/rules.ts';
import { pathTo } from '../../address/route.ts';
import { dateTimeText } from '../../components/dates.ts';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Choice } from '../../components/field.tsx';
import { Page, Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { ask, useWhenUp } from '../../host/host.ts';
import { XyChart } from '../results/xy-chart.tsx';
import type { Series } from '../results/series.ts';
import '../results/results.css';

type History = AnswerTo<'reference.history'>['histories'][number];

const ruleWords: Readonly<Record<RuleSet, string>> = { limits: 'Three standard deviations alone', 'western-electric': 'Western Electric', nelson: 'Nelson' };

interface Row {
  readonly place: number;
  readonly run: string;
  readonly at: string;
  readonly mass: number;
  readonly expanded: number;
  /** Standard deviations from the centre; null: no limits. */
  readonly z: number | null;
  readonly certificate: string;
  /** Another than at the run before. */
  readonly changed: boolean;
  readonly rules: string;
}

const digitsOf = (expanded: number): number => Math.min(6, Math.max(2, 2 - Math.floor(Math.log10(Math.max(expanded * 1e6, 1e-6)))));

const columns: readonly Column<Row>[] = [
  { key: 'place', title: 'No.', width: '4rem', numeric: true, cell: (r) => r.place, sortBy: (r) => r.place },
  { key: 'at', title: 'Run of', width: '11rem', cell: (r) => <a href={pathTo('results', r.run)}>{r.at}</a>, sortBy: (r) => r.place },
  { key: 'mass', title: 'Qd, mg', width: '12rem', numeric: true, cell: (r) => `${(r.mass * 1e6).toFixed(digitsOf(r.expanded))} ± ${(r.expanded * 1e6).toFixed(digitsOf(r.expanded))}`, sortBy: (r) => r.mass },
  { key: 'z', title: 'From the centre, σ', width: '9rem', numeric: true, cell: (r) => (r.z === null ? '–' : r.z.toFixed(2)), sortBy: (r) => r.z ?? 0 },
  { key: 'certificate', title: 'Flow meter', width: 'minmax(10rem, 1fr)', cell: (r) => (r.changed ? <Status tone="note">{r.certificate}, new</Status> : r.certificate) },
  { key: 'rules', title: 'Signal', width: 'minmax(8rem, 1fr)', cell: (r) => (r.rules === '' ? '–' : <Status tone="bad">{r.rules}</Status>), sortBy: (r) => r.rules },
];

function rowsOf({ runs, limits }: History): readonly Row[] {
  return runs.map(({ run, at, mass, expanded, meterCertificate, rules }, i) => ({
    place: i + 1, run, at: dateTimeText(at), mass, expanded, certificate: meterCertificate, rules: rules.join(', '),
    z: limits === null ? null : (mass - limits.centre) / limits.sigma, changed: i > 0 && runs[i - 1]?.meterCertificate !== meterCertificate,
  }));
}

const nameOf = (h: History): string => `${h.serialNumber} at ${h.voltage} V, ${quantityText(h.pressure / 1e3, 'kPa')}, ${Number((h.width * 1e3).toFixed(3))} ms of ${Number((h.period * 1e3).toFixed(3))} ms, at ${h.referenceC} °C`;

/** Whether the bench still measures as it did: the reference injectors over the runs of the archive. WIN-48 */
export default function QualityPage() {
  const [rules, setRules] = useState<RuleSet>('limits');
  const [told, setTold] = useState<AnswerTo<'reference.history'> | null>(null);
  const [problem, setProblem] = useState('');
  const [chosen, setChosen] = useState(0);
  const load = async (by: RuleSet): Promise<void> => {
    const reply = await ask('reference.history', { rules: by });
    if (reply.ok) setTold(reply.value);
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  useWhenUp(() => void load(rules));
  const history = told?.histories[chosen] ?? told?.histories[0];
  return (
    <Page
      title="Quality"
      lead="Whether the bench still measures as it did: a reference injector that is measured in every run."
      actions={
        <>
          {told !== null && told.histories.length > 1 && <Choice label="Reference injector" value={String(chosen)} options={told.histories.map((one, i) => ({ value: String(i), text: nameOf(one) }))} onChange={(next) => setChosen(Number(next))} />}
          <Choice
            label="Signals by"
            value={rules}
            options={ruleSets.map((value) => ({ value, text: ruleWords[value] }))}
            onChange={(next) => {
              setRules(next);
              void load(next);
            }}
          />
        </>
      }
    >
      {problem !== '' && <Notice tone="bad">The history could not be worked out. {problem}</Notice>}
      {told === null && problem === '' && <Notice tone="busy">The reference points of every run are being reduced. That takes a while for an archive of many runs.</Notice>}
      {told !== null && told.unread.length > 0 && <Notice tone="note">Left out, because they cannot be read: {told.unread.join(', ')}. The page Archive checks the archive.</Notice>}
      {told !== null && history === undefined && <Notice tone="off">No run of this archive has an accepted reference point. Give a plan a reference on the page Plans: an injector of your own that is measured in every run.</Notice>}
      {history !== undefined && <HistoryOf history={history} />}
    </Page>
  );
}

function HistoryOf({ history }: { readonly history: History }) {
  const rows = useMemo(() => rowsOf(history), [history]);
  const series = useMemo((): readonly Series[] => {
    const point = (row: Row) => ({ x: row.place, y: row.mass * 1e6, low: (row.mass - row.expanded) * 1e6, high: (row.mass + row.expanded) * 1e6 });
    const [sound, signals] = [rows.filter((r) => r.rules === ''), rows.filter((r) => r.rules !== '')];
    return [{ id: 'runs', title: 'Runs', look: 0, points: sound.map(point) }, ...(signals.length === 0 ? [] : [{ id: 'signals', title: 'Runs with a signal', look: 1, points: signals.map(point) }])];
  }, [rows]);
  const { limits, newest, signals, cautions } = history;
  const mg = (kg: number): string => (kg * 1e6).toFixed(4);
  return (
    <>
      <Section title={`Reference injector ${nameOf(history)}`} wide>
        {signals.length > 0 ? (
          <Notice tone="bad">
            {signals.length === 1 ? 'One signal. ' : `${signals.length} signals. `}
            {signals.join(' ')} Look for what changed before the bench is trusted: meter, fluid, transducers, the injector itself.
          </Notice>
        ) : limits === null ? (
          <Notice tone="off">No limits yet: {history.noLimits}</Notice>
        ) : (
          <Notice tone="good">No signals by these rules.</Notice>
        )}
        <p className="small">
          {limits !== null && `Limits from the first ${limits.baseline} runs: ${mg(limits.lower)} to ${mg(limits.upper)} mg about ${mg(limits.centre)} mg; from run to run up to ${mg(limits.movingRange)} mg. `}
          {history.chance}{' '}
          {!history.enough &&
            (newest === null
              ? 'Three runs before the newest at least are needed to judge it by them.'
              : `The newest run lies ${newest.outside ? 'outside' : 'inside'} ${mg(newest.low)} to ${mg(newest.high)} mg, where 99 of 100 lie by those before it if nothing changed.`)}
        </p>
        {newest?.outside === true && <Notice tone="bad">The newest run is not like those before it. Measure the reference once more, and look for what changed.</Notice>}
        {cautions.length > 0 && (
          <ul className="small">
            {cautions.map((caution) => (
              <li key={caution}>{caution}</li>
            ))}
          </ul>
        )}
        <XyChart
          label={`mass per pulse of the reference injector ${history.serialNumber} over the runs`}
          xTitle="Run"
          yTitle="Qd, mg"
          series={series}
          lines={limits === null ? [] : [{ title: 'Centre', from: { x: 1, y: limits.centre * 1e6 }, to: { x: Math.max(2, rows.length), y: limits.centre * 1e6 } }]}
          limit={limits === null ? undefined : { title: 'Limits: three standard deviations', low: limits.lower * 1e6, high: limits.upper * 1e6 }}
        />
      </Section>
      <Section title="Runs" wide>
        <DataTable label="Runs of the reference injector" columns={columns} rows={rows} rowKey={(r) => r.run} empty="No run." maxHeight="20rem" />
      </Section>
    </>
  );
}
