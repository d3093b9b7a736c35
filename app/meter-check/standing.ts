/** What the checks of a meter say of a run that is about to be measured with it: PRE-63. */
import type { Equipment } from '../equipment/equipment.ts';
import type { MeterStanding } from '../plan/preflight-line.ts';
import { meterHistory, type NumberedCheck } from './in-force.ts';

/** `checks`: all that the archive holds; `today`: ISO 8601. Tells of the meter of this record only. */
export function meterStanding(checks: readonly NumberedCheck[], equipment: Equipment, today: string): MeterStanding {
  const { meter } = equipment;
  const { entries, inForce } = meterHistory(checks, equipment, today);
  const counting = entries.filter((e) => !e.superseded);
  const refersTo = counting.find((e) => e.check.certificate.number === meter.certificate.number && e.effect === 'came-into-force');
  const hertz = refersTo === undefined || refersTo.outcome.evaluated === null ? null : refersTo.outcome.evaluated.rates.map((r) => r.hertz);
  const checkedHertz = hertz === null ? null : { lowest: Math.min(...hertz), highest: Math.max(...hertz) };
  if (counting.length === 0) {
    return { result: 'pass', checkedHertz, text: `The archive holds no catch-and-weigh check of meter ${meter.serialNumber} since its certificate ${meter.certificate.number} of ${meter.certificate.date}.` };
  }
  if (inForce.kind === 'in-force') {
    const { number, validUntil } = inForce.check.certificate;
    return number === meter.certificate.number
      ? { result: 'pass', checkedHertz, text: `The equipment record refers to check ${inForce.no} of its meter (${number}), which is in force until ${validUntil}.` }
      : { result: 'warn', checkedHertz, text: `Check ${inForce.no} (${number}) of meter ${meter.serialNumber} is in force and the equipment record refers to ${meter.certificate.number}. Give the record that "meter-check in-force" prints.` };
  }
  switch (inForce.reason) {
    case 'suspended':
      return { result: 'untraceable', checkedHertz, text: inForce.text };
    case 'ended':
      return { result: 'warn', checkedHertz, text: inForce.text };
    case 'never-checked':
      return { result: 'warn', checkedHertz, text: `Meter ${meter.serialNumber} was checked ${counting.length === 1 ? 'once' : `${counting.length} times`} and no check came into force. ${inForce.text}` };
  }
}
