import { useState } from 'react';
import type { ReactNode } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { benchName, edgesPerMlOf, evaluateQualification, parseQualification, qualificationTitles, usualLimits, type LineVerdict, type Qualification, type QualificationLine, type QualificationLineName } from '../../../app/qualification/qualification.ts';
import { qualificationStanding } from '../../../app/qualification/standing.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { ConfirmButton } from '../../components/dialog.tsx';
import { TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice, Status } from '../../components/status.tsx';
import { UnitInput } from '../../components/unit-input.tsx';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { settings } from '../../settings/settings.ts';
import { beginSheet, keepSheet, limitNames, withReading, sheetIn, supplyPoints, typedInto, useQualificationSheet, type SheetDraft } from './qualification-draft.ts';

type Controller = Qualification['controller'];
type Stored = AnswerTo<'qualifications.list'>['sheets'][number];

const verdictWords: Readonly<Record<LineVerdict, { readonly tone: 'good' | 'bad' | 'note' | 'off'; readonly text: string }>> = {
  pass: { tone: 'good', text: 'passes' }, fail: { tone: 'bad', text: 'fails' }, undecided: { tone: 'note', text: 'not decided' }, missing: { tone: 'off', text: 'not done' },
};

const outcomeOf = ({ document }: Stored) => {
  const parsed = parseQualification(document);
  return parsed.ok ? { sheet: parsed.qualification, ...evaluateQualification(parsed.qualification) } : null;
};

const columns: readonly Column<Stored>[] = [
  { key: 'no', title: 'Sheet', width: '5rem', numeric: true, cell: (row) => row.version },
  { key: 'at', title: 'Done', width: '11rem', cell: (row) => dateTimeText(row.savedAt) },
  { key: 'by', title: 'By', width: 'minmax(8rem, 1fr)', cell: (row) => outcomeOf(row)?.sheet.by ?? '–' },
  { key: 'result', title: 'Result', width: 'minmax(14rem, 3fr)', cell: (row) => <Result row={row} /> },
];

function Result({ row }: { readonly row: Stored }) {
  const outcome = outcomeOf(row);
  if (outcome === null) return <Status tone="unknown">cannot be read</Status>;
  return <Status tone={outcome.qualified ? 'good' : 'bad'}>{outcome.until === null ? outcome.text : `Qualified until ${dateTimeText(outcome.until)}`}</Status>;
}

interface PartProps {
  readonly equipment: Equipment;
  readonly against: string;
}

/** The daily sheet of the bench, and those that were kept. WIN-73 to WIN-75 */
export function QualificationPart({ equipment, against }: PartProps) {
  const { bench } = useHost();
  const controller = bench.state === 'connected' ? { model: bench.identity.model, serialNumber: bench.identity.serialNumber } : equipment.equipmentVersion === 2 ? equipment.controller : null;
  return controller === null ? <Notice tone="off">The record names no controller. Connect the bench that is to be qualified.</Notice> : <OfBench key={benchName(controller)} equipment={equipment} against={against} controller={controller} />;
}

function OfBench({ equipment, against, controller }: PartProps & { readonly controller: Controller }) {
  const name = benchName(controller);
  const { draft } = useQualificationSheet();
  const [list, setList] = useState<AnswerTo<'qualifications.list'> | null>(null);
  const [problem, setProblem] = useState('');
  const [said, setSaid] = useState<{ readonly well: boolean; readonly text: string } | null>(null);
  const [shown, setShown] = useState<number | null>(null);
  const load = async (): Promise<void> => {
    const reply = await ask('qualifications.list', { bench: name });
    if (reply.ok) setList(reply.value);
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  useWhenUp(() => void load());
  const sheets = list?.sheets ?? [];
  const [latest] = sheets;
  const viewed = sheets.find(({ version }) => version === shown) ?? latest;
  return (
    <>
      {problem !== '' && <Notice tone="bad">The qualifications could not be read. {problem}</Notice>}
      {said !== null && <Notice tone={said.well ? 'good' : 'bad'}>{said.text}</Notice>}
      {list !== null && (
        <Standing
          list={list}
          name={name}
          begin={
            draft !== null ? null : (
              <Button
                kind="primary"
                against={against}
                onPress={() => {
                  setSaid(null);
                  keepSheet(beginSheet(usualLimits(equipment), latest === undefined ? null : (outcomeOf(latest)?.sheet ?? null)));
                }}
              >
                Begin today&apos;s sheet
              </Button>
            )
          }
        />
      )}
      {draft !== null && (
        <SheetForm
          draft={draft}
          controller={controller}
          edgesPerMl={edgesPerMlOf(equipment)}
          against={against}
          onKept={(kept) => {
            setSaid(kept);
            setShown(null);
            void load();
          }}
        />
      )}
      <Section title={`Sheets of ${name}`} wide>
        <DataTable label="Qualification sheets" columns={columns} rows={sheets} rowKey={(row) => String(row.version)} empty="No sheet was kept yet." onOpen={(row) => setShown(row.version)} selected={viewed === undefined ? null : String(viewed.version)} maxHeight="14rem" />
        {viewed !== undefined && draft === null && <LineTable lines={outcomeOf(viewed)?.lines ?? []} />}
      </Section>
    </>
  );
}

/** How the bench stands now, by the clock that a run would have. */
function Standing({ list, name, begin }: { readonly list: AnswerTo<'qualifications.list'>; readonly name: string; readonly begin: ReactNode }) {
  const { holds, text } = qualificationStanding(list.sheets[0]?.document ?? null, name, list.now);
  return (
    <Notice tone={holds ? 'good' : 'note'} action={begin}>
      {text} A plan may require that it holds; then a run is refused without.
    </Notice>
  );
}

function LineTable({ lines }: { readonly lines: readonly QualificationLine[] }) {
  return (
    <table className="plain">
      <caption className="unseen">Lines of the sheet</caption>
      <thead>
        <tr>
          <th scope="col">Line</th>
          <th scope="col">Value</th>
          <th scope="col">Limit</th>
          <th scope="col">Verdict</th>
          <th scope="col">Read</th>
        </tr>
      </thead>
      <tbody>
        {lines.map(({ name, title, value, limit, verdict, source }) => (
          <tr key={name}>
            <th scope="row">{title}</th>
            <td>{shownText(value)}</td>
            <td>{shownText(limit)}</td>
            <td>
              <Status tone={verdictWords[verdict].tone}>{verdictWords[verdict].text}</Status>
            </td>
            <td>{source === null ? '–' : source === 'bench' ? 'by the bench' : 'by hand'}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

interface SheetFormProps {
  readonly draft: SheetDraft;
  readonly controller: Controller;
  readonly edgesPerMl: number;
  readonly against: string;
  readonly onKept: (said: { readonly well: boolean; readonly text: string }) => void;
}

/** Bench time of a count of edges, and of a mean, s. */
const countS = 60;
const meanS = 3;
/** From the command until a supply or a pressure is steady, s. */
const settleS = 4;

// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order of the sheet
function SheetForm({ draft, controller, edgesPerMl, against, onKept }: SheetFormProps) {
  const { bench } = useHost();
  const [reading, setReading] = useState('');
  const [problem, setProblem] = useState('');
  const { sheet, problems } = sheetIn(draft, controller, edgesPerMl);
  const outcome = sheet === null ? null : evaluateQualification(sheet);
  const notNow = against !== '' ? against : bench.state !== 'connected' ? 'No bench is connected: type what was read.' : reading !== '' ? 'The bench is being read.' : '';
  const set = (path: string, text: string): void => keepSheet(typedInto(draft, path, text));

  const read = async (line: string, seconds: number, before?: { readonly name: 'manual.supply'; readonly volts: number } | { readonly name: 'manual.pressure'; readonly kpa: number }): Promise<void> => {
    setReading(line);
    setProblem('');
    const failed = (text: string): void => {
      setProblem(text);
      setReading('');
    };
    if (before !== undefined) {
      const reply = before.name === 'manual.supply' ? await ask('manual.supply', { volts: before.volts }) : await ask('manual.pressure', { kpa: before.kpa });
      if (!reply.ok || !reply.value.accepted) { failed(reply.ok ? reply.value.reason : reply.failure.text); return; }
      // Not part of what is read.
      const settled = await ask('qualification.read', { seconds: settleS });
      if (!settled.ok) { failed(settled.failure.text); return; }
    }
    const reply = await ask('qualification.read', { seconds });
    if (!reply.ok) { failed(reply.failure.text); return; }
    if (reply.value.driven && (line === 'zero' || line === 'leak')) { failed('An injector was driven meanwhile, so what was counted is no leak. Try again.'); return; }
    const { draft: now } = useQualificationSheet.getState();
    if (now !== null) keepSheet(withReading(now, line, reply.value));
    setReading('');
  };
  const readReference = async (): Promise<void> => {
    setReading('reference');
    setProblem('');
    const reply = await ask('reference.history', { rules: 'limits' });
    setReading('');
    if (!reply.ok) { setProblem(reply.failure.text); return; }
    const history = reply.value.histories.toSorted((a, b) => (b.runs.at(-1)?.at ?? 0) - (a.runs.at(-1)?.at ?? 0))[0];
    const last = history?.runs.at(-1);
    if (history === undefined || last === undefined) { setProblem('No run of this archive has a reference injector. Measure it, or say by hand how it stands.'); return; }
    if (history.limits === null && history.newest === null) { setProblem(`The chart of ${history.serialNumber} has no limits yet: ${history.noLimits} Say by hand how it stands.`); return; }
    const inside = last.rules.length === 0 && history.newest?.outside !== true;
    const { draft: now } = useQualificationSheet.getState();
    if (now !== null) keepSheet({ ...now, reference: { serialNumber: history.serialNumber, inside, text: `run of ${dateTimeText(last.at)}, ${inside ? 'no signal' : `signal: ${[...last.rules, ...(history.newest?.outside === true ? ['outside of the runs before'] : [])].join(', ')}`}`, source: 'bench' } });
  };
  const keep = async (): Promise<void> => {
    const reply = await ask('qualification.keep', { document: sheet, by: settings().operator });
    if (!reply.ok) { setProblem(reply.failure.text); return; }
    const { kept, problems: found } = reply.value;
    if (kept === null) { setProblem(found.map(({ path, text }) => `${path}: ${text}`).join(' ')); return; }
    keepSheet(null);
    onKept({ well: kept.qualified, text: `Sheet ${kept.version} was kept. ${kept.text}` });
  };
  const lineOf = (name: QualificationLineName): QualificationLine | undefined => outcome?.lines.find((line) => line.name === name);
  const field = (path: string, label: string, unit?: string): ReactNode => <UnitInput label={label} unit={unit} problem={problems.get(path) ?? ''} value={draft.values[path] ?? ''} onChange={(text) => set(path, text)} />;
  const button = (line: string, text: string, go: () => void): ReactNode => (
    <Button busy={reading === line} against={reading === line ? '' : notNow} onPress={go}>
      {reading === line ? 'Being read …' : text}
    </Button>
  );
  const row = (name: QualificationLineName, what: string, fields: ReactNode, action: ReactNode): ReactNode => <LineRow key={name} name={name} what={what} line={lineOf(name)} fields={fields} action={action} />;
  const number = (path: string): number => Number((draft.values[path] ?? '').replace(',', '.'));
  return (
    <Section
      title="Today's sheet"
      wide
      aside={
        <div className="button-row">
          <Button kind="primary" against={against !== '' ? against : sheet === null ? 'Something typed has to be put right.' : reading !== '' ? 'The bench is being read.' : ''} onPress={() => void keep()}>
            Keep the sheet
          </Button>
          <ConfirmButton question="What was read and typed here is gone then." confirm="Drop it" onConfirm={() => keepSheet(null)}>
            Drop the sheet
          </ConfirmButton>
        </div>
      }
    >
      {outcome !== null && (
        <p role="status">
          <Status tone={outcome.qualified ? 'good' : outcome.lines.some(({ verdict }) => verdict === 'fail') ? 'bad' : 'off'}>{outcome.qualified ? `Every line passes: qualified for ${draft.values['validHours'] ?? ''} h from when it is kept` : outcome.text}</Status>
        </p>
      )}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      <table className="plain qualification-lines">
        <caption className="unseen">Lines of the sheet</caption>
        <thead>
          <tr>
            <th scope="col">Line</th>
            <th scope="col">Reading</th>
            <th scope="col">Limit</th>
            <th scope="col">Verdict</th>
          </tr>
        </thead>
        <tbody>
          {row('zero', 'Pump off, nothing flows.', <>{field('zero.edges', 'Edges')}{field('zero.seconds', 'In, s')}</>, button('zero', `Count for ${countS} s`, () => void read('zero', countS)))}
          {row('vented', 'Vent the rail.', field('vented.kpa', 'Transducer', 'kPa'), button('vented', 'Read', () => void read('vented', meanS)))}
          {row(
            'supply', 'Read the voltmeter at the same time.',
            supplyPoints.map((i) => (
              <div className="sheet-point" key={i}>
                {field(`supply.${i}.setV`, `Set ${i + 1}, V`)}
                {field(`supply.${i}.readV`, 'Read-back, V')}
                {field(`supply.${i}.meterV`, 'Voltmeter, V')}
                {button(`supply.${i}`, 'Set and read', () => void read(`supply.${i}`, meanS, { name: 'manual.supply', volts: number(`supply.${i}.setV`) }))}
              </div>
            )),
            null,
          )}
          {row('clock', 'Every count tells it too.', <>{field('clock.ppm', 'Difference, ppm')}{field('clock.uncertaintyPpm', 'Standard uncertainty, ppm')}</>, button('clock', `Compare for ${countS} s`, () => void read('clock', countS)))}
          {row('leak', 'All injectors shut, under pressure.', <>{field('leak.kpa', 'Pressure', 'kPa')}{field('leak.edges', 'Edges')}{field('leak.seconds', 'In, s')}</>, (
            <>
              {button('leak', `Set and count for ${countS} s`, () => void read('leak', countS, { name: 'manual.pressure', kpa: number('leak.kpa') }))}
              <Button kind="quiet" against={bench.state === 'connected' ? against : 'No bench is connected.'} onPress={() => void ask('manual.safe', {})}>
                Make safe
              </Button>
            </>
          ))}
          {row('reference', 'The newest run of a reference injector.', <ReferenceFields draft={draft} onTyped={() => setProblem('')} />, (
            <Button busy={reading === 'reference'} against={reading !== '' && reading !== 'reference' ? 'The bench is being read.' : ''} onPress={() => void readReference()}>
              Look at the chart
            </Button>
          ))}
        </tbody>
      </table>
      <details>
        <summary>Limits, hours and notes</summary>
        <div className="field-row">
          {Object.entries(limitNames).map(([name, { label, unit }]) => (
            <UnitInput key={name} label={label} unit={unit} problem={problems.get(`limits.${name}`) ?? ''} value={draft.values[`limits.${name}`] ?? ''} onChange={(text) => set(`limits.${name}`, text)} />
          ))}
          {field('validHours', 'Holds for, h')}
          {field('notes', 'Notes')}
        </div>
      </details>
    </Section>
  );
}

interface LineRowProps {
  readonly name: QualificationLineName;
  readonly what: string;
  /** undefined: something typed cannot be read. */
  readonly line: QualificationLine | undefined;
  readonly fields: ReactNode;
  readonly action: ReactNode;
}

function LineRow({ name, what, line, fields, action }: LineRowProps) {
  return (
    <tr>
      <th scope="row">
        {qualificationTitles[name]}
        <span className="quiet small sheet-what">{what}</span>
      </th>
      <td>
        <div className="sheet-fields">
          {fields}
          {action}
        </div>
      </td>
      <td className="small">{shownText(line?.limit ?? '–')}</td>
      <td className="small">
        {line === undefined ? '–' : <Status tone={verdictWords[line.verdict].tone}>{verdictWords[line.verdict].text}</Status>}
        {line !== undefined && line.verdict !== 'missing' && <span className="sheet-what">{shownText(line.value)}{line.source === 'by-hand' ? ' (by hand)' : ''}</span>}
      </td>
    </tr>
  );
}

/** How the reference stands, by hand. */
function ReferenceFields({ draft, onTyped }: { readonly draft: SheetDraft; readonly onTyped: () => void }) {
  const { reference } = draft;
  const set = (change: Partial<NonNullable<SheetDraft['reference']>>): void => {
    const { serialNumber = reference?.serialNumber ?? '', inside = reference?.inside ?? true } = change;
    const next = { serialNumber, inside, text: inside ? 'inside its limits' : 'outside its limits', source: 'by-hand' as const };
    onTyped();
    keepSheet({ ...draft, reference: next.serialNumber.trim() === '' ? null : next });
  };
  return (
    <>
      <TextInput label="Serial number" value={reference?.serialNumber ?? ''} onChange={(serialNumber) => set({ serialNumber })} />
      <label className="plan-tick">
        <input type="checkbox" checked={reference?.inside ?? false} disabled={reference === null} onChange={(event) => set({ inside: event.target.checked })} /> inside its limits
      </label>
    </>
  );
}
