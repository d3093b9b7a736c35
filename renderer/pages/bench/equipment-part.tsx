import { useState } from 'react';
import { belongsTo } from '../../../app/equipment/standing.ts';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { CertificatePart } from './certificate-part.tsx';
import { ask, readEquipment, useHost } from '../../host/host.ts';
import { settings } from '../../settings/settings.ts';

const largestFile = 2 ** 20;

/** Whose certificates results are computed with, and where a record of the lab is loaded. */
export function EquipmentPart() {
  const { bench, control, equipment, line } = useHost();
  const [said, setSaid] = useState<{ readonly well: boolean; readonly text: string } | null>(null);
  const against = line.state !== 'up' ? 'The host cannot be reached.' : !control.mine ? 'Take control first.' : '';

  const load = async (chosen: File): Promise<void> => {
    const failed = (text: string): void => setSaid({ well: false, text: `${chosen.name} was not taken. ${text} Nothing was changed.` });
    if (chosen.size > largestFile) {
      failed('It is larger than any equipment record.');
      return;
    }
    let document: unknown;
    try {
      document = JSON.parse(await chosen.text());
    } catch {
      failed('It is not a JSON file.');
      return;
    }
    const reply = await ask('equipment.save', { document, ...(settings().operator === '' ? {} : { by: settings().operator }), reason: `Loaded from ${chosen.name}`.slice(0, 500) });
    if (!reply.ok) failed(reply.failure.text);
    else if (reply.value.problems.length > 0) failed(reply.value.problems.map(({ path, text }) => `${path}: ${text}`).join(' '));
    else {
      setSaid({ well: true, text: `${chosen.name} was taken. It holds for runs that are opened from now on.` });
      await readEquipment();
    }
  };

  const needed = bench.state === 'connected' && !bench.simulated;
  return (
    <Section title="Equipment record">
      {equipment === null ? (
        <p>{needed ? 'No record has been loaded. Manual control may go on; a run cannot, because nothing is known of the instruments of this bench.' : 'The record has not been read.'}</p>
      ) : (
        <p>
          <strong>{equipment.name}</strong>
          {equipment.equipmentVersion === 2 ? `, of the controller ${equipment.controller.model} ${equipment.controller.serialNumber}` : ', a record of version 1, which names no controller'}.{' '}
          {needed && (belongsTo(equipment, bench.identity) ? 'That is the connected one.' : 'That is not the connected one: a run is refused until its own record is loaded.')}
        </p>
      )}
      <div className="button-row">
        <FileButton fileLabel="Equipment record file" against={against} onFile={(chosen) => void load(chosen)}>
          Load a record
        </FileButton>
      </div>
      {equipment !== null && <CertificatePart equipment={equipment} against={against} />}
      {said !== null && <Notice tone={said.well ? 'good' : 'bad'}>{said.text}</Notice>}
    </Section>
  );
}
