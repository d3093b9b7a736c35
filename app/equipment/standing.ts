/**
 * What a record is good for: which controller it belongs to (EQ-1), and whether what is measured with it can be traced on a
 * given day (EQ-5).
 */
import type { BenchIdentity } from '../bench/port.ts';
import type { Equipment } from './equipment.ts';

type Named = Pick<BenchIdentity, 'model' | 'serialNumber'>;

/** Whether the record names this controller. A record of version 1 names none. */
export function belongsTo(equipment: Equipment, { model, serialNumber }: Named): boolean {
  return equipment.equipmentVersion === 2 && equipment.controller.model === model && equipment.controller.serialNumber === serialNumber;
}

/** Why the record cannot serve this controller, and what to do; null: it can. EQ-1, EQ-6. */
export function notOfController(equipment: Equipment, { model, serialNumber }: Named): string | null {
  if (belongsTo(equipment, { model, serialNumber })) return null;
  const remedy = 'Give the record of this bench, with the certificates of its own instruments.';
  if (equipment.equipmentVersion === 2) {
    return `The equipment record "${equipment.name}" belongs to the controller ${equipment.controller.model} ${equipment.controller.serialNumber}, and ${model} ${serialNumber} is connected. ${remedy}`;
  }
  return (
    `The equipment record "${equipment.name}" is of version 1 and names no controller, so nothing says that its certificates are those of ${model} ${serialNumber}. ` +
    `Make it a record of version 2: "equipmentVersion": 2, "controller": {"model": "${model}", "serialNumber": "${serialNumber}"}, ` +
    '"wiring" (sensedAt, harnessOhm, harnessUncertaintyOhm), "driver" (type, clampV, clampUncertaintyV) and "timeBase" (kind, uncertaintyPpm, refuseAbovePpm). app/equipment/README.md says what each of them is.'
  );
}

/** What is out of calibration on a day. */
interface Stale {
  readonly stale: readonly string[];
  readonly ending: readonly string[];
}

const noticeDays = 30;

/** Certificates that do not cover `today` (ISO 8601 date), and those that end within 30 days. */
export function certificatesOn({ meter, pressure, temperature, supply }: Equipment, today: string): Stale {
  const stale: string[] = [];
  const ending: string[] = [];
  const named = { 'flow meter': meter, 'pressure transducer': pressure, thermometer: temperature, 'supply voltmeter': supply };
  for (const [name, { certificate, serialNumber }] of Object.entries(named)) {
    const what = `the ${name} ${serialNumber} (certificate ${certificate.number}`;
    if (today < certificate.date) stale.push(`${what}, valid only from ${certificate.date})`);
    else if (today > certificate.validUntil) stale.push(`${what}, ended on ${certificate.validUntil})`);
    else if (daysBetween(today, certificate.validUntil) < noticeDays) ending.push(`${what}, ends on ${certificate.validUntil})`);
  }
  return { stale, ending };
}

/** Days since the fluid's lot was opened; negative: it is yet to be. */
export function lotAgeDays({ fluid }: Equipment, today: string): number {
  return daysBetween(fluid.openedOn, today);
}

/**
 * Where a record states nothing of the supply inside a pulse, so much resistance may lie behind its read-back at most, ohm. An estimate, common practice and no source: leads of a metre
 * and a half there and back, 1 mm2 of copper at 17 mohm a metre, and four contacts of two to three. RED-176
 */
export const allowedOhm = 0.06;
/** The same in words. */
const sagAllowance = `a sag by up to ${1e3 * allowedOhm} mohm of leads and contacts (an estimate; ${Math.round((1e3 * allowedOhm * 14) / 12)} mV at 14 V with a coil of 12 ohm)`;

/**
 * What is taken for granted because the record does not state it: sentences, for the sheet before a run and beside its results. `supplyRead`: the supply was read inside
 * pulses, which takes the place of what the record would state. EQ-11.
 */
export function takenForGranted({ equipmentVersion, pressure, supply, rail, fluid }: Equipment, supplyRead = false): Readonly<Record<'pressure' | 'supply' | 'fluid', string | null>> {
  return {
    pressure:
      pressure.whileOpenKpa === undefined && rail === undefined
        ? 'The pressure while an injector is open is taken for the mean that the transducer tells. A rail that dips by 1 kPa while it is open moves dead times by some microseconds. State pressure.whileOpenKpa, or the compliance of the rail, in the equipment record.'
        : null,
    supply:
      supply.insidePulseMv === undefined && !supplyRead
        ? `The supply voltage inside the pulse is taken for the mean of the read-back${equipmentVersion === 1 ? '' : `; ${sagAllowance} is allowed for in the uncertainty, and nothing is taken off`}. 100 mV of sag while a coil draws its current moves dead times at low voltages by tens of microseconds. State supply.insidePulseMv in the equipment record (0 where it was looked for and nothing sags), or let a controller that can read the supply inside pulses.`
        : null,
    fluid:
      fluid.measuredDensity === undefined && fluid.purityPercent === undefined
        ? `The density of lot ${fluid.lot} was not measured and its purity is not stated, so it is taken for that of pure ${fluid.name}. Technical grades differ by up to 1 %, and slopes and static flows with them. Measure the density of the lot, or state fluid.purityPercent.`
        : null,
  };
}

/** The same as a list: nothing where nothing is taken for granted. */
export function grantedSentences(equipment: Equipment, supplyRead = false): readonly string[] {
  return Object.values(takenForGranted(equipment, supplyRead)).filter((sentence) => sentence !== null);
}

/** Whole days from one ISO date to another; negative: the other is earlier. */
export const daysBetween = (from: string, to: string): number => dayNumber(to) - dayNumber(from);

/** Days since 1970-01-01 of an ISO date in the Gregorian calendar. */
function dayNumber(date: string): number {
  const [year = NaN, month = NaN, day = NaN] = date.split('-').map(Number);
  // Counted from March, the leap day comes last and the months follow one formula.
  const y = month > 2 ? year : year - 1;
  const m = (month + 9) % 12;
  const leapDays = Math.floor(y / 4) - Math.floor(y / 100) + Math.floor(y / 400);
  return y * 365 + leapDays + Math.floor((m * 306 + 5) / 10) + day - 719_469;
}
