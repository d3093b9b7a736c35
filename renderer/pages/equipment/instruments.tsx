import { cellShown } from '../../components/decimals.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { daysBetween } from '../../../app/equipment/standing.ts';
import { Status, type Tone } from '../../components/status.tsx';
import { quantityText } from '../../settings/quantities.ts';

interface InstrumentRow {
  readonly name: string;
  readonly serial: string;
  readonly certificate: string;
  readonly from: string;
  readonly until: string | null;
  readonly uncertainty: string;
}

const soonDays = 30;

/** How a document stands on a day: in words, with the days that are left. */
function standingOn(today: string, from: string, until: string | null): { readonly tone: Tone; readonly text: string } {
  const days = (n: number): string => (n === 1 ? '1 day' : `${n} days`);
  if (today < from) return { tone: 'bad', text: `not yet valid: from ${from}` };
  if (until === null) return { tone: 'good', text: 'no limit is set' };
  const left = daysBetween(today, until);
  if (left < 0) return { tone: 'bad', text: `ended ${days(-left)} ago` };
  if (left < soonDays) return { tone: 'note', text: left === 0 ? 'ends today' : `ends in ${days(left)}` };
  return { tone: 'good', text: `valid, ${days(left)} left` };
}

const dayAfter = (day: string, days: number): string => new Date(Date.parse(`${day}T00:00:00Z`) + days * 86_400_000).toISOString().slice(0, 10);

function rowsOf({ meter, pressure, temperature, supply, fluid }: Equipment): readonly InstrumentRow[] {
  const by = (certificate: Equipment['meter']['certificate']) => ({ certificate: certificate.number, from: certificate.date, until: certificate.validUntil });
  return [
    { name: 'Flow meter', serial: meter.serialNumber, ...by(meter.certificate), uncertainty: `${meter.relativeUncertaintyPercent} % of K` },
    { name: 'Pressure transducer', serial: pressure.serialNumber, ...by(pressure.certificate), uncertainty: quantityText(pressure.uncertaintyKpa, 'kPa', true) },
    { name: 'Thermometer', serial: temperature.serialNumber, ...by(temperature.certificate), uncertainty: quantityText(temperature.uncertaintyC, '°C', true) },
    { name: 'Supply voltmeter', serial: supply.serialNumber, ...by(supply.certificate), uncertainty: `${supply.uncertaintyMv} mV` },
    {
      name: 'Fluid lot', serial: fluid.lot, certificate: fluid.name, from: fluid.openedOn, until: fluid.useWithinDays === undefined ? null : dayAfter(fluid.openedOn, fluid.useWithinDays),
      uncertainty: `${fluid.densityUncertaintyPercent} % of the density`,
    },
  ];
}

/** Every instrument with its certificate, and how it stands today. WIN-40 */
export function InstrumentTable({ equipment, today }: { readonly equipment: Equipment; readonly today: string }) {
  return (
    <div className="figure-table">
      <table className="plain">
        <caption className="unseen">Instruments of the bench, their certificates and how they stand on {today}</caption>
        <thead>
          <tr>
            <th>Instrument</th>
            <th>Serial number</th>
            <th>Certificate</th>
            <th>From</th>
            <th>Until</th>
            <th>On {today}</th>
            <th>Standard uncertainty</th>
          </tr>
        </thead>
        <tbody>
          {rowsOf(equipment).map((row) => {
            const { tone, text } = standingOn(today, row.from, row.until);
            return (
              <tr key={row.name}>
                <th scope="row">{row.name}</th>
                <td>{row.serial}</td>
                <td>{row.certificate}</td>
                <td>{row.from}</td>
                <td>{row.until ?? '–'}</td>
                <td>
                  <Status tone={tone}>{text}</Status>
                </td>
                <td>{cellShown(row.uncertainty)}</td>
              </tr>
            );
          })}
        </tbody>
      </table>
    </div>
  );
}
