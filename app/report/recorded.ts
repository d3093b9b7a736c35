/** What people wrote down beside the measuring: examinations of the items, and notes of the run. REP-50 to REP-52 */
import { shownPoint } from '../plan/points.ts';
import type { Plan } from '../plan/plan.ts';
import type { Note } from '../journal/note.ts';
import { plain } from '../quantities/figures.ts';
import { minuteUtc } from '../qualification/utc.ts';
import { coilAt20, visitStages, type VisitRecord } from '../visit/visit.ts';
import type { ReportDetails } from './details.ts';
import type { ReportCell, ReportTable } from './document.ts';
import { missingCell, textCell } from './results-tables.ts';
import { reportUnits } from './units.ts';

type ReportedVisit = NonNullable<ReportDetails['visits']>[number];

/** A record as a report keeps it: whatever is recorded later, the report has what stood then. */
export function visitForReport(no: number, { serialNumber, stage, doneOn, by, visual, spray, remark, coil, insulation, leak, photos }: VisitRecord): ReportedVisit {
  const at20 = coil === null ? null : coilAt20(coil);
  const words = [
    visual, spray === '' ? '' : `Spray: ${spray}`, remark,
    insulation === null ? '' : `Insulation ${insulation.least ? 'above ' : ''}${plain(insulation.megohm)} Mohm at ${plain(insulation.volts)} V`,
    leak === null ? '' : `Leak, shut: ${leak.mlPerMinute === 0 ? 'none seen' : `${plain(leak.mlPerMinute)} mL/min`} at ${plain(leak.kilopascals)} kPa`,
    photos.length === 0 ? '' : `${photos.length} ${photos.length === 1 ? 'photo' : 'photos'} in the archive`,
  ].filter((part) => part !== '').map((part) => part.replace(/\.$/u, ''));
  return { no, serialNumber, stage, doneOn, by, coilOhmAt20C: at20?.ohm ?? null, coilOhmExpanded: at20?.expanded ?? null, found: words.length === 0 ? '' : `${words.join('. ')}.` };
}

/** The tables of a report; none where nothing was recorded, or nobody asked for it. */
export function recordedTables(details: ReportDetails, notes: readonly Note[], plan: Plan): readonly ReportTable[] {
  return [...visitTables(details.visits ?? []), ...(details.notes === true ? noteTables(notes, plan) : [])];
}

function visitTables(visits: readonly ReportedVisit[]): readonly ReportTable[] {
  if (visits.length === 0) return [];
  return [
    {
      id: 'examinations', title: 'Examinations of the items', corner: 'Serial number',
      columns: [{ title: 'Stage', unit: null }, { title: 'Done on', unit: null }, { title: 'Coil at 20 °C', unit: reportUnits.resistance }, { title: 'Found', unit: null }, { title: 'By', unit: null }],
      rows: visits.map(({ serialNumber, stage, doneOn, by, coilOhmAt20C, coilOhmExpanded, found }) => ({
        title: serialNumber, cells: [textCell(visitStages[stage]), textCell(doneOn), coilCell(coilOhmAt20C, coilOhmExpanded), textCell(found), textCell(by)],
      })),
      notes: ['Recorded by hand. The resistance is referred to 20 degC by 0.00393 per kelvin (IEC 60028); ± is 95 %, where uncertainties were stated.'],
    },
  ];
}

const coilCell = (ohm: number | null, expanded: number | null): ReportCell => (ohm === null ? missingCell('Not measured.') : { kind: 'value', value: ohm, expanded, coverageFactor: null, dof: null });

function noteTables(notes: readonly Note[], { injectors }: Plan): readonly ReportTable[] {
  if (notes.length === 0) return [];
  const about = ({ point, attempt, injector }: Note): string =>
    injector !== null ? (injectors[injector]?.serialNumber ?? `Injector ${injector + 1}`) : point === null ? 'The run' : `Point ${shownPoint(point)}${attempt === null ? '' : `, attempt ${attempt}`}`;
  return [
    {
      id: 'notes', title: 'Notes', corner: 'About',
      columns: ['Note', 'State', 'By', 'Written'].map((title) => ({ title, unit: null })),
      rows: notes.map((note) => ({
        title: about(note), cells: [textCell(note.text), textCell(note.mark === 'settled' ? 'settles what was to be looked at' : note.mark === 'look' ? (note.open ? 'to be looked at' : 'looked at') : ''), textCell(note.by), textCell(minuteUtc(note.at))],
      })),
      notes: ['As people wrote them into the journal of the run. They change nothing that is reported.'],
    },
  ];
}
