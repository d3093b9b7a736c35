import { useMemo, useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { MeterCheckRow } from '../../../app/contract/meter-check-row.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { pathTo } from '../../address/route.ts';
import { ask, useWhenUp } from '../../host/host.ts';
import { settings } from '../../settings/settings.ts';
import { useTyped } from '../../typed/typed.ts';
import { XyChart } from '../results/xy-chart.tsx';
import { CheckForm } from './check-form.tsx';
import { beginCheck, type CheckDraft } from './check-fields.ts';
import { CheckDetails, VerdictStatus } from './check-details.tsx';
import { creepSeries } from './creep.ts';
import { keepChange } from './draft.ts';
import { draftOf } from './fields.ts';

const effectWords: Readonly<Record<MeterCheckRow['effect'], string>> = { 'came-into-force': 'came into force', confirmed: 'confirmed', suspended: 'suspended the meter', none: 'changed nothing' };

const signed = (value: number): string => `${value < 0 ? '−' : '+'}${Math.abs(value).toFixed(3)}`;
const worst = (check: MeterCheckRow): number => check.rates.reduce((far, { percent }) => (Math.abs(percent) > Math.abs(far) ? percent : far), 0);

const columns: readonly Column<MeterCheckRow>[] = [
  { key: 'no', title: 'No.', width: '4rem', numeric: true, cell: (c) => c.no, sortBy: (c) => c.no },
  { key: 'date', title: 'Made on', width: '8rem', cell: (c) => c.date, sortBy: (c) => c.date },
  { key: 'certificate', title: 'Check', width: 'minmax(8rem, 1fr)', cell: (c) => c.certificate, sortBy: (c) => c.certificate },
  { key: 'purpose', title: 'Purpose', width: '7rem', cell: (c) => c.purpose },
  { key: 'operator', title: 'Made by', width: 'minmax(8rem, 1fr)', cell: (c) => c.operator, sortBy: (c) => c.operator },
  { key: 'worst', title: 'Largest change, %', width: '10.5rem', numeric: true, cell: (c) => (c.rates.length === 0 ? '–' : signed(worst(c))), sortBy: worst },
  { key: 'verdict', title: 'Verdict', width: '9rem', cell: (c) => <VerdictStatus check={c} /> },
  { key: 'effect', title: 'What it did', width: 'minmax(10rem, 1fr)', cell: (c) => effectWords[c.effect] },
];

interface ChecksPartProps {
  readonly equipment: Equipment | null;
  readonly against: string;
  /** Version of the record that was saved last. */
  readonly latest: number;
  readonly onRecord: () => void;
}

/** The checks of the meter, the calibration in force, its creep over the years, and a new check. WIN-43, WIN-44 */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function ChecksPart({ equipment, against, latest, onRecord }: ChecksPartProps) {
  const [list, setList] = useState<AnswerTo<'meter-checks.list'> | null>(null);
  const [problem, setProblem] = useState('');
  const [chosen, setChosen] = useState<number | null>(null);
  const [draft, setDraft] = useTyped<CheckDraft | null>('equipment/check.1', null, { title: 'New check of the meter', work: true });
  const [said, setSaid] = useState('');
  const load = async (): Promise<void> => {
    const reply = await ask('meter-checks.list', {});
    if (reply.ok) setList(reply.value);
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  useWhenUp(() => void load());
  const checks = useMemo(() => list?.checks ?? [], [list]);
  const creep = useMemo(() => creepSeries(checks), [checks]);
  if (problem !== '') return <Notice tone="bad">The checks of the flow meter could not be read. {problem}</Notice>;
  if (list === null || equipment === null) return <p role="status">The checks are being read.</p>;
  const check = checks.find((c) => c.no === chosen) ?? checks[0];
  const { standing, inForce } = list;
  const takeOver = (): void => {
    if (inForce === null) return;
    keepChange({ basedOn: latest, before: equipment, values: draftOf(inForce), reason: `K-factor by ${standing.check === null ? 'a check' : `check ${standing.check}`} of the meter.` });
    onRecord();
  };
  return (
    <>
      <Section
        title={`Flow meter ${list.meter}`}
        wide
        aside={
          draft === null && (
            <Button
              kind="primary"
              onPress={() => {
                setSaid('');
                setDraft(beginCheck(equipment, list.today, list.latest, settings().operator));
              }}
            >
              New check
            </Button>
          )
        }
      >
        <p className="check-text">
          <Status tone={standing.suspended ? 'bad' : standing.check === null ? 'off' : 'good'}>{standing.text}</Status>
        </p>
        {said !== '' && <Notice tone="good">{said}</Notice>}
        {inForce !== null && (
          <Notice tone="note" action={<Button against={against} onPress={takeOver}>Take it into the record …</Button>}>
            The equipment record refers to certificate {list.certificate}, and runs are reduced with that. The K-factor of the check in force goes into the record by a change that you look at and save.
          </Notice>
        )}
        {list.doubtful.length > 0 && (
          <details open>
            <summary>
              Measured since the meter was last known to be good, and in doubt: {list.doubtful.length === 1 ? 'one run' : `${list.doubtful.length} runs`}
            </summary>
            <ul className="small">
              {list.doubtful.map(({ id, day }) => (
                <li key={id}>
                  {day} <a href={pathTo('results', id)}>{id}</a>
                </li>
              ))}
            </ul>
          </details>
        )}
      </Section>
      {draft !== null && (
        <CheckForm
          draft={draft}
          equipment={equipment}
          against={against}
          onChange={setDraft}
          onLeave={() => setDraft(null)}
          onKept={(kept) => {
            setDraft(null);
            setChosen(kept.no);
            setSaid(`Check ${kept.no} was kept. ${kept.text}`);
            void load();
          }}
        />
      )}
      <Section title="Checks" wide aside={<span className="small quiet">{list.cut ? `The latest ${checks.length}` : ''}</span>}>
        <DataTable label="Checks of the flow meter" columns={columns} rows={checks} rowKey={(c) => String(c.no)} empty="This meter was not checked by catch and weigh yet." onOpen={(c) => setChosen(c.no)} selected={check === undefined ? null : String(check.no)} maxHeight="16rem" />
      </Section>
      {check !== undefined && (
        <div className="check-pair">
          <Section title={`Check ${check.no}`}>
            <CheckDetails check={check} />
          </Section>
          <Section title="Change from the certificate">
            <XyChart
              label="change of the K-factor from the certificate over the checks"
              xTitle="Check"
              yTitle="Change, %"
              series={creep.series}
              joined
              zero
              limit={{ title: `No creep up to ${check.creepPercent} %`, low: -check.creepPercent, high: check.creepPercent }}
              xNames={creep.names}
            />
            <div className="figure-table">
              <table className="plain">
                <caption>Change from the certificate, %, with the U95 of the change</caption>
                <thead>
                  <tr>
                    <th>Check</th>
                    {creep.series.map((one) => (
                      <th key={one.id} className="numeric">
                        {one.title}
                      </th>
                    ))}
                  </tr>
                </thead>
                <tbody>
                  {creep.names.map((name, x) => (
                    <tr key={name}>
                      <th scope="row">{name}</th>
                      {creep.series.map((one) => {
                        const point = one.points.find((p) => p.x === x);
                        return (
                          <td key={one.id} className="numeric">
                            {point === undefined ? '–' : `${signed(point.y)} ± ${((point.high ?? point.y) - point.y).toFixed(3)}`}
                          </td>
                        );
                      })}
                    </tr>
                  ))}
                </tbody>
              </table>
            </div>
          </Section>
        </div>
      )}
    </>
  );
}
