import { useState } from 'react';
import { instrumentNames } from '../../../app/equipment/certificate.ts';
import type { InstrumentName } from '../../../app/equipment/certificate.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { plain } from '../../../app/quantities/figures.ts';
import { Button } from '../../components/button.tsx';
import { Choice, TextInput } from '../../components/field.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Notice } from '../../components/status.tsx';
import { giveFile } from '../../host/give-file.ts';
import { ask, readEquipment, useHost } from '../../host/host.ts';
import { quantityText } from '../../settings/quantities.ts';

const largestCertificate = 20_000_000;

const instrumentWords: Readonly<Record<InstrumentName, string>> = { meter: 'Flow meter', pressure: 'Pressure transducer', temperature: 'Thermometers', supply: 'Supply voltmeter' };

/** What was read, and of which record; it is taken over by a press, and not before. */
interface ReadRecord {
  readonly before: Equipment;
  readonly document: Equipment;
  readonly instrument: InstrumentName;
  readonly said: readonly string[];
}

type Said = { readonly tone: 'good' | 'bad'; readonly text: string } | null;

/** Reads an instrument's digital calibration certificate into the record that is in force, and shows first what would change. TAB-55 */
// eslint-disable-next-line max-lines-per-function -- half of it is markup, in the order in which the page shows it
export function CertificatePart({ equipment, against }: { readonly equipment: Equipment; readonly against: string }) {
  const { line } = useHost();
  const [instrument, setInstrument] = useState<InstrumentName>('meter');
  const [file, setFile] = useState<File | null>(null);
  const [validUntil, setValidUntil] = useState('');
  const [replaces, setReplaces] = useState(false);
  const [busy, setBusy] = useState(false);
  const [read, setRead] = useState<ReadRecord | null>(null);
  const [wants, setWants] = useState<'end' | 'replacement' | null>(null);
  const [said, setSaid] = useState<Said>(null);
  const end = validUntil.trim();
  const wrongEnd = end === '' || isDay(end) ? '' : 'Write a day like 2027-03-31.';
  const forget = (): void => {
    setRead(null);
    setSaid(null);
    setWants(null);
  };
  const readIt = async (chosen: File): Promise<void> => {
    setBusy(true);
    setFile(chosen);
    // What is asked for stays in its place while the answer to it is read.
    setRead(null);
    setSaid(null);
    const upload = `certificate-${crypto.randomUUID()}`;
    const lost = chosen.size > largestCertificate ? `${chosen.name} is larger than any certificate.` : await giveFile(upload, await chosen.text());
    const reply = lost === null ? await ask('equipment.read-certificate', { upload, instrument, validUntil: end === '' ? null : end, replaces }) : null;
    setBusy(false);
    const failed = (text: string): void => setSaid({ tone: 'bad', text: `${chosen.name}: ${text} Nothing was changed.` });
    if (reply === null) failed(lost ?? '');
    else if (!reply.ok) failed(reply.failure.text);
    else if (reply.value.ok) {
      setRead({ before: equipment, document: reply.value.document, instrument, said: reply.value.said });
      setWants(null);
    }
    else {
      failed(reply.value.text);
      setWants(reply.value.wants);
    }
  };
  const takeOver = async ({ before, document, instrument: of }: ReadRecord): Promise<void> => {
    if (before !== equipment) {
      setRead(null);
      setSaid({ tone: 'bad', text: 'The equipment record has changed since the certificate was read. Nothing was changed. Read the certificate again.' });
      return;
    }
    setBusy(true);
    const reply = await ask('equipment.save', { document });
    setBusy(false);
    if (!reply.ok) setSaid({ tone: 'bad', text: `${reply.failure.text} Nothing was changed.` });
    else if (reply.value.problems.length > 0) setSaid({ tone: 'bad', text: `${reply.value.problems.map(({ path, text }) => `${path}: ${text}`).join(' ')} Nothing was changed.` });
    else {
      setRead(null);
      setFile(null);
      setSaid({ tone: 'good', text: `Certificate ${document[of].certificate.number} was taken over. It holds for runs that are opened from now on.` });
      await readEquipment();
    }
  };
  return (
    <div className="certificate-part" role="group" aria-label="Certificate of an instrument">
      <div className="field-row">
        <Choice
          label="Certificate of"
          value={instrument}
          options={instrumentNames.map((value) => ({ value, text: `${instrumentWords[value]} ${equipment[value].serialNumber}` }))}
          onChange={(chosen) => {
            setInstrument(chosen);
            forget();
          }}
        />
        {wants === 'end' && <TextInput label="Holds until" hint="A day like 2027-03-31, by the interval of your laboratory." problem={wrongEnd} value={validUntil} onChange={setValidUntil} />}
      </div>
      {wants === 'replacement' && (
        <label className="certificate-replaces">
          <input type="checkbox" checked={replaces} onChange={(event) => setReplaces(event.target.checked)} /> The instrument was replaced by the one of this certificate.
        </label>
      )}
      <div className="button-row">
        <FileButton fileLabel="Digital calibration certificate of an instrument" accept=".xml,application/xml,text/xml" against={line.state === 'up' ? wrongEnd : 'The host cannot be reached.'} onFile={(chosen) => void readIt(chosen)}>
          {busy ? 'Being read …' : 'Read a certificate (DCC) …'}
        </FileButton>
        {wants !== null && file !== null && (
          <Button against={wrongEnd} onPress={() => void readIt(file)}>
            Read {file.name} again
          </Button>
        )}
      </div>
      {said !== null && <Notice tone={said.tone}>{said.text}</Notice>}
      {read !== null && (
        <>
          <ReadCertificate read={read} />
          <div className="button-row">
            <Button against={against} busy={busy} onPress={() => void takeOver(read)}>
              Take it over
            </Button>
            <Button onPress={forget}>Leave it</Button>
          </div>
        </>
      )}
    </div>
  );
}

/** A day of the calendar, YYYY-MM-DD. */
function isDay(text: string): boolean {
  const at = Date.parse(`${text}T00:00:00Z`);
  return /^\d{4}-\d{2}-\d{2}$/u.test(text) && Number.isFinite(at) && new Date(at).toISOString().startsWith(text);
}

/** The figure of a record beside what it will be. */
function ReadCertificate({ read: { before, document, instrument, said } }: { readonly read: ReadRecord }) {
  const rows: readonly (readonly [string, string, string])[] = [
    ['Serial number', before[instrument].serialNumber, document[instrument].serialNumber],
    ['Certificate', before[instrument].certificate.number, document[instrument].certificate.number],
    ['Date', before[instrument].certificate.date, document[instrument].certificate.date],
    ['Holds until', before[instrument].certificate.validUntil, document[instrument].certificate.validUntil],
    ['Standard uncertainty', uncertaintyText(before, instrument), uncertaintyText(document, instrument)],
  ];
  return (
    <>
      <table className="plain certificate-change">
        <caption>{instrumentWords[instrument]}: the record now, and as the certificate has it</caption>
        <thead>
          <tr>
            <th scope="col">Entry</th>
            <th scope="col">Now</th>
            <th scope="col">By the certificate</th>
          </tr>
        </thead>
        <tbody>
          {rows.map(([name, now, then]) => (
            <tr key={name}>
              <th scope="row">{name}</th>
              <td>{now}</td>
              <td>{now === then ? now : <strong>{then}</strong>}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {instrument === 'meter' && <KCurve meter={document.meter} />}
      {said.map((text) => (
        <p key={text} className="small">
          {text}
        </p>
      ))}
      <p className="small quiet">All else of the record stays as it is.</p>
    </>
  );
}

function uncertaintyText({ meter, pressure, temperature, supply }: Equipment, instrument: InstrumentName): string {
  // The record keeps every digit of the certificate; three are enough to compare it with what it replaces.
  const shown = (value: number): string => plain(Number(value.toPrecision(3)));
  switch (instrument) {
    case 'meter':
      return `${shown(meter.relativeUncertaintyPercent)} % of the K-factor`;
    case 'pressure':
      return quantityText(Number(pressure.uncertaintyKpa.toPrecision(3)), 'kPa', true);
    case 'temperature':
      return quantityText(Number(temperature.uncertaintyC.toPrecision(3)), 'K');
    case 'supply':
      return `${shown(supply.uncertaintyMv)} mV`;
  }
}

function KCurve({ meter: { kFactor } }: { readonly meter: Equipment['meter'] }) {
  return (
    <div className="certificate-curve" role="region" aria-label="K-factors of the certificate" tabIndex={0}>
      <table className="plain">
        <caption>K-factors of the certificate</caption>
        <thead>
          <tr>
            <th scope="col" className="numeric">Edges a second</th>
            <th scope="col" className="numeric">Edges a litre</th>
            <th scope="col" className="numeric">Own uncertainty, %</th>
          </tr>
        </thead>
        <tbody>
          {kFactor.map((point) => (
            <tr key={point.hertz}>
              <td className="numeric">{plain(point.hertz)}</td>
              <td className="numeric">{plain(point.edgesPerLitre)}</td>
              <td className="numeric">{plain(point.ownUncertaintyPercent ?? 0)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
