import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { belongsTo } from '../../../app/equipment/standing.ts';
import { Page } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { goTo, pathTo, useRoute } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { useSettings } from '../../settings/settings.ts';
import { ChecksPart } from './checks-part.tsx';
import { Button } from '../../components/button.tsx';
import { keepChange, useBegunChange } from './draft.ts';
import { draftOf } from './fields.ts';
import { HistoryPart } from './history-part.tsx';
import { ChangeForm, RecordPart } from './record-part.tsx';
import { useQualificationSheet } from './qualification-draft.ts';
import { QualificationPart } from './qualification-part.tsx';
import { useBegunType } from './type-draft.ts';
import { TypeRecordsPart } from './type-records-part.tsx';
import '../results/results.css';
import '../results/one-line.css';
import './equipment.css';

const views = [
  { path: '', title: 'Record' },
  { path: 'history', title: 'History' },
  { path: 'meter-checks', title: 'Meter checks' },
  { path: 'qualification', title: 'Qualification' },
  { path: 'types', title: 'Injector types' },
] as const;

/** The instruments of the bench: the record that holds, its history, and the checks of the flow meter. */
// eslint-disable-next-line complexity -- what stands on the page is chosen part by part
export default function EquipmentPage() {
  const { rest } = useRoute();
  const { line, control, bench, equipment } = useHost();
  const { change } = useBegunChange();
  const { begun } = useBegunType();
  const { draft: sheet } = useQualificationSheet();
  const [history, setHistory] = useState<AnswerTo<'equipment.history'> | null>(null);
  const [problem, setProblem] = useState('');
  const [said, setSaid] = useState('');
  const view = views.find((one) => one.path === rest[0])?.path ?? '';
  const operator = useSettings((chosen) => chosen.operator);
  const against = line.state !== 'up' ? 'The host cannot be reached.' : !control.mine ? 'Take control first.' : operator === '' ? 'Say who you are first, at the top.' : '';
  const load = async (): Promise<void> => {
    const reply = await ask('equipment.history', {});
    if (reply.ok) setHistory(reply.value);
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  useWhenUp(() => void load());
  const begin = (document: unknown): void => {
    setSaid('');
    keepChange({ basedOn: history?.latest ?? 0, before: document, values: draftOf(document), reason: '' });
  };
  return (
    <Page title="Equipment" lead="What is known of the instruments of this bench. Results are worked out with it, and every run keeps a copy of the record that it was opened with.">
      <Views view={view} unsaved={[...(change === null ? [] : ['']), ...(begun === null ? [] : ['types']), ...(sheet === null ? [] : ['qualification'])]} />
      {problem !== '' && <Notice tone="bad">The equipment records could not be read. {problem}</Notice>}
      {said !== '' && <Notice tone="good">{said}</Notice>}
      {bench.state === 'connected' && !bench.simulated && history !== null && change === null && !(equipment !== null && belongsTo(equipment, bench.identity)) && (
        <Notice
          tone="note"
          action={
            <Button against={against} onPress={() => begin({ name: '', controller: { model: bench.identity.model, serialNumber: bench.identity.serialNumber } })}>
              Write the record of this bench
            </Button>
          }
        >
          There is no record of the connected bench, {bench.identity.model} {bench.identity.serialNumber}: a run on it is refused until there is.
        </Notice>
      )}
      {history !== null && view === '' && change !== null && (
        <ChangeForm
          history={history}
          against={against}
          onSaved={(text) => {
            setSaid(text);
            void load();
          }}
        />
      )}
      {equipment !== null && history !== null && view === '' && change === null && (
        <>
          <p>
            <strong>{equipment.name}</strong>
            {equipment.equipmentVersion === 2 ? `, of the controller ${equipment.controller.model} ${equipment.controller.serialNumber}` : ', a record of version 1, which names no controller and serves no bench on a port'}.
            {equipment.changed === undefined ? '' : ` Last changed by ${equipment.changed.by}: ${equipment.changed.reason}`}
          </p>
          <RecordPart equipment={equipment} history={history} against={against} />
        </>
      )}
      {history !== null && view === 'history' && <HistoryPart history={history} against={change === null ? against : 'A change was begun and is not saved yet: save or drop it first.'} onBegin={() => goTo('equipment')} />}
      {view === 'meter-checks' && <ChecksPart key={equipment?.meter.certificate.number ?? ''} against={against} equipment={equipment} onRecord={() => goTo('equipment')} latest={history?.latest ?? 0} />}
      {view === 'qualification' && equipment !== null && <QualificationPart key={bench.state === 'connected' ? bench.bootId : ''} equipment={equipment} against={against} />}
      {view === 'types' && <TypeRecordsPart against={against} />}
      {equipment === null && history === null && problem === '' && <p role="status">The record is being read.</p>}
    </Page>
  );
}

/** `unsaved`: views in which something was begun. */
function Views({ view, unsaved }: { readonly view: string; readonly unsaved: readonly string[] }) {
  return (
    <nav className="views" aria-label="Views of the equipment">
      {views.map(({ path, title }) => (
        <a key={path} href={path === '' ? pathTo('equipment') : pathTo('equipment', path)} aria-current={path === view ? 'page' : undefined}>
          {title}
          {unsaved.includes(path) ? ' (not saved)' : ''}
        </a>
      ))}
    </nav>
  );
}
