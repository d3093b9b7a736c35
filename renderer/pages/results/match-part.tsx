import { SerialLink } from '../../components/serial-link.tsx';
import { useEffect, useMemo, useState } from 'react';
import type { Params } from '../../../app/contract/contract.ts';
import { plusMinusShown as plusMinus } from '../../components/figures.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Choice, NumberInput } from '../../components/field.tsx';
import { NotTraceable } from '../../components/not-traceable.tsx';
import { Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { Notice } from '../../components/status.tsx';
import { ask } from '../../host/host.ts';
import { FigureTable } from './figure-table.tsx';
import { proofWords, quantityWords, setsCsv, wantedWords, withQuantity } from './match-view.ts';
import type { AskedPoint, Matched } from './match-view.ts';
import type { Series } from './series.ts';
import { XyChart } from './xy-chart.tsx';
import { quantityText } from '../../settings/quantities.ts';

interface MatchPartProps {
  /** Ids; keep it stable between renders. */
  readonly runs: readonly string[];
}

type Objective = 'greatest' | 'total';

interface Choosing {
  /** `asked`: what it is the answer to. null: nothing yet, or of other runs. */
  readonly told: { readonly answer: Matched; readonly wanted: string; readonly asked: string } | null;
  readonly busy: boolean;
  readonly problem: string;
  readonly choose: (wanted: Params<'sets.match'>) => Promise<void>;
}

function useChoice(runs: readonly string[]): Choosing {
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState('');
  const [told, setTold] = useState<Choosing['told']>(null);
  const choose = async (wanted: Params<'sets.match'>): Promise<void> => {
    setBusy(true);
    setProblem('');
    const reply = await ask('sets.match', wanted);
    setBusy(false);
    if (reply.ok) setTold({ answer: reply.value, wanted: wantedWords(wanted.sets, wanted.of), asked: JSON.stringify(wanted) });
    else setProblem(reply.failure.text);
  };
  // What was found belongs to other runs.
  useEffect(() => setTold(null), [runs]);
  return { told, busy, problem, choose };
}

/** Sets of alike injectors out of these runs: what is asked for, the choice, what it costs, and what is proved of it. WIN-63 */
export function MatchPart({ runs }: MatchPartProps) {
  const [sets, setSets] = useState(1);
  const [of, setOf] = useState(4);
  const [objective, setObjective] = useState<Objective>('greatest');
  const [points, setPoints] = useState<readonly AskedPoint[] | null>(null);
  const [without, setWithout] = useState<readonly string[]>([]);
  const readable = Number.isInteger(sets) && sets >= 1 && Number.isInteger(of) && of >= 2;
  const wanted = { runs: [...runs], sets, of, objective, without: [...without], ...(points === null ? {} : { points: [...points] }) };
  const { told, busy, problem, choose } = useChoice(runs);
  const answer = told?.answer ?? null;
  return (
    <>
      <Section title="What is wanted" wide>
        <div className="field-row match-wanted">
          <NumberInput label="Sets" unit="" value={sets} onChange={setSets} min={1} max={100} decimals={0} />
          <NumberInput label="Injectors in a set" unit="" value={of} onChange={setOf} min={2} max={16} decimals={0} />
          <Choice
            label="As small as possible"
            value={objective}
            options={[
              { value: 'greatest', text: 'The spread of the worst set' },
              { value: 'total', text: 'The spreads of all sets together' },
            ]}
            onChange={setObjective}
          />
        </div>
        <Places answer={answer} wished={points} onPoints={setPoints} />
        <div className="button-row">
          <Button kind="primary" busy={busy} against={runs.length === 0 ? 'Choose runs first.' : readable ? '' : 'Whole numbers are wanted: one set or more, of two injectors or more.'} onPress={() => void choose(wanted)}>
            {busy ? 'The runs are being reduced and compared …' : 'Choose sets'}
          </Button>
          {told !== null && told.answer.sets.length > 0 && (
            <Button onPress={() => saveFile('matched-sets.csv', [setsCsv(told.answer)])}>Save as CSV</Button>
          )}
        </div>
      </Section>
      {problem !== '' && <Notice tone="bad">No choice was made. {problem}</Notice>}
      {told !== null && told.asked !== JSON.stringify(wanted) && <Notice tone="note">What is wanted has changed since: the sets below are those of the choice before.</Notice>}
      {told !== null && <Chosen answer={told.answer} wanted={told.wanted} />}
      {answer !== null && answer.candidates.length > 0 && <Members answer={answer} without={without} onWithout={setWithout} />}
    </>
  );
}

/** Where they are compared: as it is usual until a first choice tells what was measured. */
function Places({ answer, wished, onPoints }: { readonly answer: Matched | null; readonly wished: readonly AskedPoint[] | null; readonly onPoints: (points: readonly AskedPoint[]) => void }) {
  if (answer !== null) return <PointsEditor points={wished ?? answer.points.map((point) => point.asked)} places={answer.places} onPoints={onPoints} />;
  return <p className="small quiet">Compared by slope, and by mass at the shortest pulse width that every line goes through, at the voltage nearest to 14 V. Other places can be chosen once a first choice is there.</p>;
}

function Chosen({ answer, wanted }: { readonly answer: Matched; readonly wanted: string }) {
  const { sets, proof, text, cautions, leftOut, inNoSet, greatest, total, untraceable } = answer;
  return (
    <>
      <NotTraceable reasons={[...new Set(untraceable.flatMap((one) => one.reasons))]} />
      {cautions.map((caution) => (
        <Notice key={caution} tone="note">{caution}</Notice>
      ))}
      {proof === 'none' ? (
        <Notice tone="bad">{text}</Notice>
      ) : (
        <>
          <Notice tone={proof === 'best' ? 'good' : 'note'}>
            <strong>{wanted}.</strong> {text}
          </Notice>
          <dl className="headline">
            <div>
              <dt>Greatest cost of a set</dt>
              <dd>{greatest?.toFixed(3)}</dd>
            </div>
            <div>
              <dt>Total of all sets</dt>
              <dd>{total?.toFixed(3)}</dd>
            </div>
            <div>
              <dt>Choice</dt>
              <dd>{proofWords[proof]}</dd>
            </div>
            <div>
              <dt>In no set</dt>
              <dd>{inNoSet.length}</dd>
              {inNoSet.length > 0 && <dd className="small quiet">{inNoSet.join(', ')}</dd>}
            </div>
          </dl>
          <p className="small quiet">The cost of a set is its spread at its worst place, times the weight: percent of the mean, or µs for dead times. Best means by the measured values; the spread of the best choice comes out a little too small on average, because choosing picks lucky errors too.</p>
          <SetsChart answer={answer} />
          {sets.map((set, s) => (
            <SetTable key={s} answer={answer} set={set} place={s + 1} />
          ))}
        </>
      )}
      {leftOut.length > 0 && (
        <Section title="Not compared" wide>
          <ul className="small">
            {leftOut.map((one) => (
              <li key={one.serialNumber}>
                {one.serialNumber}: {one.text}
              </li>
            ))}
          </ul>
        </Section>
      )}
    </>
  );
}

function SetsChart({ answer: { sets, points } }: { readonly answer: Matched }) {
  const [place, setPlace] = useState(0);
  const at = points[place] === undefined ? 0 : place;
  const { names, series } = useMemo(() => {
    const all = sets.flatMap((set, s) => set.members.map((member) => ({ s, member })));
    const of = (s: number): Series => ({
      id: String(s), title: `Set ${s + 1}`, look: s,
      points: all.flatMap(({ s: own, member }, x) => {
        const deviation = member.deviations[at];
        return own !== s || deviation === undefined ? [] : [{ x, y: deviation.value, low: deviation.value - deviation.expanded, high: deviation.value + deviation.expanded }];
      }),
    });
    return { names: all.map(({ member }) => member.serialNumber), series: sets.map((_, s) => of(s)) };
  }, [sets, at]);
  const point = points[at];
  if (point === undefined) return null;
  return (
    <Section title={`Deviation from the mean of the own set: ${point.text}`} wide>
      {points.length > 1 && <Choice label="Shown place" value={String(at)} options={points.map((one, p) => ({ value: String(p), text: one.text }))} onChange={(value) => setPlace(Number(value))} />}
      <XyChart label={`deviation of each injector from the mean of its set, ${point.text}`} xTitle="Injector" yTitle={`Deviation, ${point.unit}`} series={series} xNames={names.length > 24 ? names.map((_, i) => String(i + 1)) : names} zero />
    </Section>
  );
}

function SetTable({ answer: { points }, set, place }: { readonly answer: Matched; readonly set: Matched['sets'][number]; readonly place: number }) {
  return (
    <Section title={`Set ${place}, cost ${set.cost.toFixed(3)}`} wide>
      <FigureTable
        caption={`Set ${place}: deviation from the mean of the set; ± is the expanded uncertainty (95 %) of that difference`}
        columns={['Injector', ...points.map((point) => `${point.text}, ${point.unit}`), 'Measured']}
        words={[points.length]}
        rows={[
          ...set.members.map((member) => ({
            key: member.serialNumber,
            head: <SerialLink of={member.serialNumber} />,
            cells: [...points.map((_, p) => plusMinus(member.deviations[p]?.value ?? null, member.deviations[p]?.expanded ?? null, true)), dateTimeText(member.at)],
          })),
          { key: 'spread', head: 'Spread', cells: [...points.map((_, p) => plusMinus(set.spread[p]?.value ?? null, set.spread[p]?.expanded ?? null)), ''] },
        ]}
      />
    </Section>
  );
}

function Members({ answer, without, onWithout }: { readonly answer: Matched; readonly without: readonly string[]; readonly onWithout: (without: readonly string[]) => void }) {
  return (
    <Section title="Injectors to choose from" wide>
      <fieldset className="match-members">
        <legend className="small quiet">{answer.candidates.length} have a value at every place. Untick one that is not to be used, and choose again.</legend>
        {answer.candidates.map(({ serialNumber, at }) => (
          <label key={serialNumber} title={`Measured ${dateTimeText(at)}`}>
            <input type="checkbox" checked={!without.includes(serialNumber)} onChange={(event) => onWithout(event.target.checked ? without.filter((one) => one !== serialNumber) : [...without, serialNumber])} /> {serialNumber}
          </label>
        ))}
      </fieldset>
    </Section>
  );
}

interface PointsEditorProps {
  readonly points: readonly AskedPoint[];
  readonly places: Matched['places'];
  readonly onPoints: (points: readonly AskedPoint[]) => void;
}

/** Where they are compared: one row for each place, at most eight. */
function PointsEditor({ points, places, onPoints }: PointsEditorProps) {
  const change = (index: number, point: AskedPoint): void => onPoints(points.map((one, i) => (i === index ? point : one)));
  const [first] = points;
  const options = (values: readonly number[], own: number, unit: string, factor: number) => [...new Set([...values, own])].sort((a, b) => a - b).map((value) => ({ value: String(value), text: quantityText(value * factor, unit) }));
  return (
    <div className="match-points">
      {points.map((point, i) => (
        <div key={i} className="field-row" role="group" aria-label={`Place ${i + 1}`}>
          <Choice
            label="Compared by"
            value={point.quantity}
            options={Object.entries(quantityWords).flatMap(([value, text]) => (withQuantity(point, value as AskedPoint['quantity'], places) === null && value !== point.quantity ? [] : [{ value: value as AskedPoint['quantity'], text }]))}
            onChange={(quantity) => change(i, withQuantity(point, quantity, places) ?? point)}
          />
          {point.quantity !== 'static-flow' && <Choice label="Voltage" value={String(point.voltage)} options={options(places.voltages, point.voltage, 'V', 1)} onChange={(value) => change(i, { ...point, voltage: Number(value) })} />}
          <Choice label="Pressure" value={String(point.pressure)} options={options(point.quantity === 'static-flow' ? places.staticPressures : places.pressures, point.pressure, 'kPa', 1e-3)} onChange={(value) => change(i, { ...point, pressure: Number(value) })} />
          {point.quantity === 'mass' && <Choice label="Pulse width" value={String(point.width)} options={options(places.widths, point.width, 'ms', 1e3)} onChange={(value) => change(i, { ...point, width: Number(value) })} />}
          <NumberInput label="Weight" unit="" value={point.weight} min={0.001} max={1000} onChange={(weight) => change(i, { ...point, weight: weight > 0 ? weight : 1 })} />
          {points.length > 1 && <Button kind="quiet" label={`Remove place ${i + 1}`} onPress={() => onPoints(points.filter((_, j) => j !== i))}>Remove</Button>}
        </div>
      ))}
      {points.length < 8 && first !== undefined && (
        <div className="button-row">
          <Button kind="quiet" onPress={() => onPoints([...points, { ...(points.at(-1) ?? first) }])}>Add a place</Button>
        </div>
      )}
    </div>
  );
}
