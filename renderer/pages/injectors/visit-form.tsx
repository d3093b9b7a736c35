import { useMemo, useState } from 'react';
import { mostPhotoBytes, mostPhotos } from '../../../app/visit/photo.ts';
import { visitStages, type VisitStage } from '../../../app/visit/visit.ts';
import { Button } from '../../components/button.tsx';
import { ConfirmButton } from '../../components/dialog.tsx';
import { Choice, DayInput, NumberInput, TextInput } from '../../components/field.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { problemShown } from '../../components/problem-shown.ts';
import { useInChosenUnit } from '../../components/unit-input.tsx';
import { useSaveKey } from '../../components/save-key.ts';
import { Notice } from '../../components/status.tsx';
import { ask, useHost } from '../../host/host.ts';
import { unitShown } from '../../settings/quantities.ts';
import { numberIn } from '../../settings/read-number.ts';
import { settings } from '../../settings/settings.ts';
import { choosePhoto, givePhotos, photoSource, type ChosenPhoto } from './photos.ts';
import { visitIn, type VisitDraft, type VisitField } from './visit-view.ts';

interface VisitFormProps {
  readonly draft: VisitDraft;
  readonly about: { readonly serialNumber: string; readonly type: string };
  readonly onChange: (draft: VisitDraft) => void;
  readonly onLeave: () => void;
  readonly onKept: (no: number) => void;
}

interface NumberOf {
  readonly field: keyof VisitDraft['numbers'];
  readonly label: string;
  readonly unit: string;
  readonly hint?: string;
}

const groups: readonly { readonly title: string; readonly fields: readonly NumberOf[] }[] = [
  {
    title: 'Coil',
    fields: [
      { field: 'ohm', label: 'Resistance as read', unit: 'Ω' }, { field: 'expandedOhm', label: 'U of the resistance', unit: 'Ω', hint: '95 %; may be left empty' },
      { field: 'celsius', label: 'Temperature of the coil', unit: '°C' }, { field: 'expandedKelvin', label: 'U of the temperature', unit: 'K', hint: '95 %; may be left empty' },
    ],
  },
  { title: 'Insulation', fields: [{ field: 'megohm', label: 'Insulation resistance', unit: 'MΩ' }, { field: 'volts', label: 'Measured with', unit: 'V' }] },
  { title: 'Leak, held shut', fields: [{ field: 'mlPerMinute', label: 'Leak', unit: 'mL/min', hint: '0: none seen' }, { field: 'kilopascals', label: 'At a pressure of', unit: 'kPa' }] },
];

interface VisitNumberProps {
  readonly label: string;
  readonly unit: string;
  readonly hint: string | undefined;
  readonly problem: string;
  readonly value: string;
  readonly onChange: (text: string) => void;
}

/** A number of the record, typed in the chosen unit (WIN-130). */
function VisitNumber({ label, unit, hint, problem, value, onChange }: VisitNumberProps) {
  const { text, onText } = useInChosenUnit(unit, value, onChange);
  return <NumberInput label={label} unit={unitShown(unit)} hint={hint} problem={problemShown(problem, unit)} value={numberIn(text)} typed={text} onTyped={onText} onChange={() => undefined} />;
}

/** What the host says of a part of the record, at the field that has it. */
const fieldOfPath = (path: string): VisitField => (path.split('.').at(-1) ?? '') as VisitField;

/** One record more; kept for good with who and when. WIN-80 */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function VisitForm({ draft, about, onChange, onLeave, onKept }: VisitFormProps) {
  const { line } = useHost();
  const by = settings().operator || 'Operator';
  const [photos, setPhotos] = useState<readonly ChosenPhoto[]>([]);
  const [told, setTold] = useState<ReadonlyMap<VisitField, string>>(new Map());
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const { document, problems } = useMemo(() => visitIn(draft, { ...about, by }), [draft, about.serialNumber, about.type, by]);
  const wrong = (field: VisitField): string => problems.get(field) ?? told.get(field) ?? '';
  const change = (next: Partial<VisitDraft>): void => {
    setTold(new Map());
    onChange({ ...draft, ...next });
  };
  const against = line.state !== 'up' ? 'The host cannot be reached.' : problems.size > 0 ? `${problems.size === 1 ? 'One field is' : `${problems.size} fields are`} to be put right.` : '';
  const keep = async (): Promise<void> => {
    if (against !== '' || busy) return;
    setBusy(true);
    setProblem('');
    const given = await givePhotos(photos);
    const reply = given.ok ? await ask('visits.add', { visit: document, photos: given.given }) : null;
    setBusy(false);
    if (!given.ok) setProblem(given.text);
    else if (reply?.ok === false) setProblem(reply.failure.text);
    else if (reply?.ok === true && reply.value.no !== null) onKept(reply.value.no);
    else {
      const said = reply?.ok === true ? reply.value.problems : [];
      setTold(new Map(said.map(({ path, text }) => [fieldOfPath(path), text])));
      setProblem(said.filter(({ path }) => path === '' || path.startsWith('photos')).map(({ text }) => text).join(' '));
    }
  };
  useSaveKey(() => void keep());
  const choose = async (file: File): Promise<void> => {
    const chosen = await choosePhoto(file);
    setProblem(typeof chosen === 'string' ? chosen : '');
    if (typeof chosen !== 'string') setPhotos((now) => [...now, chosen].slice(0, mostPhotos));
  };
  const changePhoto = (index: number, shows: string): void => setPhotos(photos.map((photo, i) => (i === index ? { ...photo, shows } : photo)));
  return (
    <Section
      title={draft.corrects === null ? 'New examination' : `Correction of record ${draft.corrects}`}
      wide
      aside={
        <ConfirmButton question="What was typed here is gone then." confirm="Throw it away" onConfirm={onLeave}>
          Drop it
        </ConfirmButton>
      }
    >
      <div className="field-row">
        <Choice label="Stage" value={draft.stage} options={Object.entries(visitStages).map(([value, text]) => ({ value: value as VisitStage, text }))} onChange={(stage) => change({ stage })} />
        <DayInput label="Done on" value={draft.doneOn} problem={wrong('doneOn')} onChange={(doneOn) => change({ doneOn })} />
        <TextInput label="Job" value={draft.order} problem={wrong('order')} onChange={(order) => change({ order })} />
      </div>
      <div className="field-row visit-texts">
        <TextInput label="Visual" hint="Nozzle, body, connector, seals, filter" value={draft.visual} problem={wrong('visual')} onChange={(visual) => change({ visual })} />
        <TextInput label="Spray picture" value={draft.spray} problem={wrong('spray')} onChange={(spray) => change({ spray })} />
      </div>
      <div className="visit-groups">
        {groups.map(({ title, fields }) => (
          <div key={title} role="group" aria-label={title} className="visit-group">
            <h3>{title}</h3>
            <div className="field-row">
              {fields.map(({ field, label, unit, hint }) => (
                <VisitNumber key={field} label={label} unit={unit} hint={hint} problem={wrong(field)} value={draft.numbers[field]} onChange={(text) => change({ numbers: { ...draft.numbers, [field]: text } })} />
              ))}
            </div>
            {title === 'Insulation' && (
              <label className="parts-tick">
                <input type="checkbox" checked={draft.least} onChange={(event) => change({ least: event.target.checked })} />
                More than the meter can read
              </label>
            )}
          </div>
        ))}
      </div>
      <div role="group" aria-label="Photos" className="visit-group">
        <h3>Photos</h3>
        {photos.map((photo, i) => (
          <div key={`${photo.name} ${i}`} className="visit-chosen">
            <img src={photoSource(photo.media, photo.base64)} alt={photo.name} />
            <TextInput label={`What ${photo.name} shows`} hint={photo.smaller ? `It was larger than ${mostPhotoBytes / 2 ** 20} MiB: a smaller copy is kept. Keep the file itself, if you need it.` : undefined} value={photo.shows} onChange={(shows) => changePhoto(i, shows)} />
            <Button label={`Remove ${photo.name}`} onPress={() => setPhotos(photos.filter((_, other) => other !== i))}>Remove</Button>
          </div>
        ))}
        <div className="button-row">
          <FileButton fileLabel="Photo file" accept="image/jpeg,image/png,.jpg,.jpeg,.png" against={photos.length >= mostPhotos ? `A record has ${mostPhotos} photos at most.` : ''} onFile={(file) => void choose(file)}>
            Add a photo …
          </FileButton>
          <span className="small quiet">JPEG or PNG, {mostPhotos} at most. A photo that was added is lost if this page is left before the record is kept.</span>
        </div>
      </div>
      <TextInput label={draft.corrects === null ? 'Remark' : 'Why the earlier record is wrong'} value={draft.remark} problem={wrong('remark')} onChange={(remark) => change({ remark })} />
      {problem !== '' && <Notice tone="bad">Nothing was kept. {problem}</Notice>}
      <div className="button-row">
        <Button kind="primary" busy={busy} against={against} onPress={() => void keep()}>
          Keep the record
        </Button>
        <span className="small quiet">Kept for good under {by}. It cannot be changed afterwards, only corrected by another record.</span>
      </div>
    </Section>
  );
}
