import { useMemo, useState } from 'react';
import { Choice } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice, Status } from '../../components/status.tsx';
import { useUnits } from '../../settings/units.ts';
import { amountsFor } from './amounts.ts';
import { compareRuns, comparisonSentence, enOf, significanceWords } from '../../../app/results/comparison.ts';
import type { ComparedRow } from '../../../app/results/comparison.ts';
import { FigureTable } from './figure-table.tsx';
import { FileCompare } from './file-compare.tsx';
import { figureShown as figure, plainShown as plain, plusMinusShown as plusMinus, minusShown as trueMinus } from '../../components/figures.ts';
import { conditionKey } from '../../../app/results/run-results.ts';
import { referenceDensity } from './results.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import { shortRunText } from './run-text.ts';
import type { Selection } from './selection.ts';
import type { Series } from './series.ts';
import { useResults } from './use-results.ts';
import { XyChart } from './xy-chart.tsx';

interface ComparePanelProps {
  readonly id: string;
  readonly results: RunResults;
  readonly selection: Selection;
  readonly name: string;
  /** The run that it is compared with; null: not chosen yet. */
  readonly other: string | null;
  readonly runs: readonly { readonly id: string; readonly text: string }[];
  readonly onOther: (id: string) => void;
}

type Of = 'deadTime' | 'slope';
const notChosen = '';

/** This run against another: what differs, by how much, and whether that is more than both are uncertain. */
export function ComparePanel({ id, results, selection, name, other, runs, onOther }: ComparePanelProps) {
  const [of, setOf] = useState<Of>('deadTime');
  const theirs = useResults(other);
  const options = useMemo(() => {
    const listed = runs.map(({ id, text }) => ({ value: id, text }));
    if (other === null) return [{ value: notChosen, text: 'Choose a run' }, ...listed];
    if (listed.some(({ value }) => value === other)) return listed;
    const { state, events } = theirs.journal;
    return [{ value: other, text: state === null ? other : shortRunText(state.plan.name, state.plan.order, events[0]?.at ?? null) }, ...listed];
  }, [runs, other, theirs.journal]);
  return (
    <>
      <div className="field-row">
        <Choice
          label="Compare with"
          value={other ?? notChosen}
          options={options}
          onChange={(value) => {
            if (value !== notChosen) onOther(value);
          }}
        />
        <Choice
          label="Compared in"
          value={of}
          options={[
            { value: 'deadTime', text: 'Dead time' },
            { value: 'slope', text: 'Slope' },
          ]}
          onChange={setOf}
        />
      </div>
      {other === null ? (
        <Notice tone="off">Choose the run to compare with; the Archive page finds older ones.</Notice>
      ) : theirs.results === null ? (
        <Notice tone={theirs.journal.phase === 'failed' || theirs.problem !== '' ? 'bad' : 'busy'}>
          {theirs.journal.phase === 'failed' ? `The other run cannot be read: ${theirs.journal.problem}` : theirs.problem !== '' ? `The other run cannot be reduced: ${theirs.problem}` : 'The other run is being read and reduced.'}
        </Notice>
      ) : (
        <Compared first={theirs.results} second={results} selection={selection} of={of} names={[options.find(({ value }) => value === other)?.text ?? theirs.results.plan.name, name]} />
      )}
      <FileCompare id={id} />
    </>
  );
}

/** The older or other run is the first: differences say what this run has more. */
function Compared({ first, second, selection, of, names }: { readonly first: RunResults; readonly second: RunResults; readonly selection: Selection; readonly of: Of; readonly names: readonly [string, string] }) {
  const comparison = useMemo(() => compareRuns(first, second), [first, second]);
  const units = useUnits(referenceDensity(second, selection.condition.pressure));
  const amounts = amountsFor(units, selection.condition.period);
  const here = comparison.rows.filter((row) => conditionKey(row) === selection.condition.key);
  const unit = of === 'deadTime' ? 'µs' : amounts.slopeUnit;
  const convert = (value: number): number => (of === 'deadTime' ? value * 1e6 : amounts.slope(value));
  const series = seriesOf(here, of, convert);
  const title = of === 'deadTime' ? 'Dead time' : 'Slope';
  const [more, less] = of === 'deadTime' ? (['opens later in this run', 'opens earlier in this run'] as const) : (['steeper in this run', 'flatter in this run'] as const);
  return (
    <>
      <p>
        <strong>This run:</strong> {names[1]}. <strong>Compared with:</strong> {names[0]}. Differences are this run less the other.
      </p>
      <p>
        {shownText(`${comparisonSentence(here, of)} ${comparison.instruments}`)}
      </p>
      {comparison.left.map((text) => (
        <Notice key={text} tone="note">
          {text}
        </Notice>
      ))}
      {here.length > 0 && (
        <>
          <Section title={`Difference of ${title.toLowerCase()}`} wide>
            <XyChart label={`difference of ${title.toLowerCase()} between the two runs against supply voltage`} xTitle="Supply voltage, V" yTitle={`Difference, ${unit}`} series={series} joined zero tall />
          </Section>
          <Section title="Numbers" wide>
            <FigureTable
              caption={`${title} in ${unit} in both runs at ${selection.condition.label}; ± is the expanded uncertainty (95 %) of the difference, En the difference over that`}
              columns={['Injector, voltage', `Other run, ${unit}`, `This run, ${unit}`, `Difference, ${unit}`, 'En', 'Verdict']}
              words={[4]}
              rows={here.map((row) => ({
                key: row.key,
                head: `${row.serialNumber}, ${plain(row.voltage)} V`,
                cells: [
                  figure(convert(row[of].first), convert(row[of].u95)),
                  figure(convert(row[of].second), convert(row[of].u95)),
                  plusMinus(convert(row[of].value), convert(row[of].u95), true),
                  trueMinus(enOf(row[of]).toFixed(2)),
                  <Status key="words" tone={row[of].significant ? 'note' : 'off'}>
                    {significanceWords(row[of], more, less)}
                  </Status>,
                ],
              }))}
            />
          </Section>
        </>
      )}
    </>
  );
}

function seriesOf(rows: readonly ComparedRow[], of: Of, convert: (value: number) => number): readonly Series[] {
  const serials = [...new Set(rows.map((r) => r.serialNumber))];
  return serials.map((serial, look) => ({
    id: serial,
    title: serial,
    look,
    points: rows
      .filter((r) => r.serialNumber === serial)
      .map((r) => ({ x: r.voltage, y: convert(r[of].value), low: convert(r[of].value - r[of].u95), high: convert(r[of].value + r[of].u95) })),
  }));
}
