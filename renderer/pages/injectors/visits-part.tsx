import { useEffect, useState } from 'react';
import { correctedBy, visitStages, type KeptPhoto } from '../../../app/visit/visit.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Dialog } from '../../components/dialog.tsx';
import { Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { Notice, Status } from '../../components/status.tsx';
import { useTyped } from '../../typed/typed.ts';
import { FigureTable } from '../results/figure-table.tsx';
import type { Life } from './life-view.ts';
import { keptPhoto, photoSource } from './photos.ts';
import { coilWords, correctionOf, insulationWords, leakWords, newVisit, type VisitDraft } from './visit-view.ts';
import { VisitForm } from './visit-form.tsx';

type Kept = Life['records'][number];

/** For a name of what is typed: signs beyond those that a name may have by their number. */
const named = (text: string): string => Array.from(text, (sign) => (/[\w-]/u.test(sign) && sign.charCodeAt(0) < 128 ? sign : `:${sign.codePointAt(0)?.toString(16) ?? ''}`)).join('').slice(0, 100);

/** The day by the clock of this machine, in its zone. */
const today = (): string => new Date(Date.now() - new Date().getTimezoneOffset() * 60_000).toISOString().slice(0, 10);

/** What was found of an injector at each visit, and one record more. WIN-80 */
export function VisitsPart({ serialNumber, life: { records, visits }, onKept }: { readonly serialNumber: string; readonly life: Life; readonly onKept: () => void }) {
  const [draft, setDraft] = useTyped<VisitDraft | null>(`injectors/visit.1/${named(serialNumber)}`, null, { title: `Visit of ${serialNumber}`, work: true });
  const [said, setSaid] = useState('');
  const latest = visits.at(-1);
  const corrections = correctedBy(records);
  const begin = (next: VisitDraft): void => {
    setSaid('');
    setDraft(next);
  };
  return (
    <>
      {draft !== null && (
        <VisitForm
          draft={draft}
          about={{ serialNumber, type: records.at(-1)?.record.type ?? latest?.type ?? '' }}
          onChange={setDraft}
          onLeave={() => setDraft(null)}
          onKept={(no) => {
            setDraft(null);
            setSaid(`Record ${no} is kept.`);
            onKept();
          }}
        />
      )}
      <Section title="Examinations" wide aside={draft === null && <Button kind={records.length === 0 ? 'primary' : 'plain'} onPress={() => begin(newVisit(records.at(-1)?.record.order ?? latest?.order ?? '', today()))}>Record an examination</Button>}>
        <p role="status" className="small">{said}</p>
        {records.length === 0 ? (
          <Notice tone="off">Nothing was recorded yet: how it was found, after cleaning, and how it left.</Notice>
        ) : (
          <FigureTable
            caption="How it was found, cleaned and left, the latest first. Records are never changed; a correction is a record of its own. Coil at 20 °C by the coefficient of copper, 0.00393 per kelvin (IEC 60028); ± is the expanded uncertainty (95 %)."
            columns={['Done on', 'Stage', 'Coil at 20 °C, Ω', 'Insulation', 'Leak, shut', 'Findings', 'Photos', 'By', 'Record']}
            words={[0, 2, 3, 4, 5, 6, 7]}
            rows={records.toReversed().map((kept) => ({ key: String(kept.no), head: kept.record.doneOn, cells: cellsOf(kept, corrections.get(kept.no) ?? null, draft === null ? () => begin(correctionOf(kept.no, kept.record)) : null) }))}
          />
        )}
      </Section>
    </>
  );
}

function cellsOf({ no, savedAt, record }: Kept, corrected: number | null, onCorrect: (() => void) | null) {
  const coil = coilWords(record);
  const found = [['Visual', record.visual], ['Spray', record.spray], [record.corrects === null ? 'Remark' : 'Corrected because', record.remark]] as const;
  return [
    <div key="stage">
      {visitStages[record.stage]}
      {record.order !== '' && <div className="small quiet">Job {record.order}</div>}
    </div>,
    coil === null ? '–' : (
      <div key="coil">
        {coil.at20}
        <div className="small quiet">{coil.read}</div>
      </div>
    ),
    insulationWords(record), leakWords(record),
    <div key="found" className="visit-found">
      {found.filter(([, text]) => text !== '').map(([what, text]) => (
        <div key={what}>
          <span className="quiet">{what}:</span> {text}
        </div>
      ))}
    </div>,
    record.photos.length === 0 ? '–' : <div key="photos" className="visit-photos">{record.photos.map((photo) => <Photo key={photo.sha256} photo={photo} />)}</div>,
    <div key="by">
      {record.by}
      <div className="small quiet">kept {dateTimeText(savedAt)}</div>
    </div>,
    <div key="record" className="visit-record">
      <span>
        No. {no}
        {record.corrects !== null && `, corrects ${record.corrects}`}
      </span>
      {corrected !== null ? <Status tone="note">corrected by {corrected}</Status> : onCorrect !== null && <Button kind="quiet" label={`Correct record ${no}`} onPress={onCorrect}>Correct</Button>}
    </div>,
  ];
}

/** Small in its place; pressed, as large as the window has room for. */
function Photo({ photo: { sha256, media, width, height, bytes, shows } }: { readonly photo: KeptPhoto }) {
  const [found, setFound] = useState({ base64: '', problem: '' });
  const [open, setOpen] = useState(false);
  useEffect(() => {
    let there = true;
    keptPhoto(sha256).then(
      (base64) => there && setFound({ base64, problem: '' }),
      (error: unknown) => there && setFound({ base64: '', problem: (error as Error).message }),
    );
    return () => {
      there = false;
    };
  }, [sha256]);
  const words = shows === '' ? 'Photo' : shows;
  if (found.problem !== '') return <Notice tone="bad">{found.problem}</Notice>;
  if (found.base64 === '') return <span className="quiet small">being read</span>;
  const image = <img src={photoSource(media, found.base64)} alt={words} width={width} height={height} onError={() => setFound({ base64: '', problem: `${words}: this window cannot draw it.` })} />;
  return (
    <>
      <button type="button" className="visit-photo" aria-label={`Photo, larger: ${words}`} onClick={() => setOpen(true)}>
        {image}
      </button>
      <Dialog title={words} open={open} onClose={() => setOpen(false)} wide>
        <div className="visit-large">{image}</div>
        <p className="small quiet visit-hash">
          {width} × {height} pixels, {Math.ceil(bytes / 1024)} kB, SHA-256 {sha256}
        </p>
        <div className="button-row">
          <Button onPress={() => saveFile(`${sha256.slice(0, 12)}.${media === 'image/png' ? 'png' : 'jpg'}`, [Uint8Array.from(atob(found.base64), (sign) => sign.charCodeAt(0))])}>Save the photo</Button>
        </div>
      </Dialog>
    </>
  );
}
