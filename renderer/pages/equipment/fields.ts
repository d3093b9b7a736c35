/** The fields of an equipment record as a person fills them in, in the order of the page, and the record that a filled-in form stands for. */
import type { Problem } from '../../../app/boundary/problems.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { parseEquipment } from '../../../app/equipment/parse.ts';
import { allowedOhm } from '../../../app/equipment/standing.ts';
import { allShown, typedFromStored, unitShown } from '../../settings/quantities.ts';
import { readNumber } from '../../settings/read-number.ts';

export interface RecordField {
  /** As the record names it. */
  readonly path: string;
  readonly label: string;
  /** Of the record; pages show and take the chosen one (WIN-130). */
  readonly unit?: string;
  /** An uncertainty or a tolerance: of a temperature it has no zero. */
  readonly difference?: true;
  readonly kind: 'text' | 'number' | 'day' | 'curve';
  /** Left empty: the record does not state it, and what is then taken for granted. */
  readonly absent?: string;
  readonly hint?: string;
}

export interface RecordGroup {
  readonly title: string;
  readonly fields: readonly RecordField[];
}

const identityOf = (instrument: string): readonly RecordField[] => [
  { path: `${instrument}.serialNumber`, label: 'Serial number', kind: 'text' },
  { path: `${instrument}.certificate.number`, label: 'Certificate', kind: 'text' },
  { path: `${instrument}.certificate.date`, label: 'Issued on', kind: 'day' },
  { path: `${instrument}.certificate.validUntil`, label: 'Valid until', kind: 'day' },
];

const k1 = 'Standard uncertainty (k = 1): half of an expanded one with k = 2.';

export const recordGroups: readonly RecordGroup[] = [
  {
    title: 'Bench',
    fields: [
      { path: 'name', label: 'Name of the record', kind: 'text' },
      { path: 'controller.model', label: 'Controller, model', kind: 'text', hint: 'As the controller names itself; the page Bench shows it.' },
      { path: 'controller.serialNumber', label: 'Controller, serial number', kind: 'text' },
      { path: 'ambientKpa', label: 'Pressure of the room, absolute', unit: 'kPa', kind: 'number' },
    ],
  },
  {
    title: 'Flow meter',
    fields: [
      { path: 'meter.kind', label: 'Kind', kind: 'text' },
      ...identityOf('meter'),
      { path: 'meter.relativeUncertaintyPercent', label: 'Uncertainty of the K-factor', unit: '%', kind: 'number', hint: k1 },
      { path: 'meter.edgesPerRevolution', label: 'Edges in a revolution', kind: 'number' },
      { path: 'meter.leastHertz', label: 'Stands still below', unit: 'Hz', kind: 'number', absent: 'it is taken to see every flow' },
      { path: 'meter.kFactor', label: 'K-factor', kind: 'curve', hint: 'One point a line: frequency in Hz, edges per litre, and where it has one its own standard uncertainty in %. Paste from a sheet.' },
    ],
  },
  {
    title: 'Pressure transducer',
    fields: [
      ...identityOf('pressure'),
      { path: 'pressure.uncertaintyKpa', label: 'Uncertainty', unit: 'kPa', kind: 'number', hint: k1 },
      { path: 'pressure.whileOpenKpa', label: 'Below the mean while an injector is open, at most', unit: 'kPa', kind: 'number', absent: 'bounded by the rail, or taken for the mean' },
    ],
  },
  {
    title: 'Thermometer',
    fields: [
      ...identityOf('temperature'),
      { path: 'temperature.uncertaintyC', label: 'Uncertainty', unit: '°C', difference: true, kind: 'number', hint: k1 },
      { path: 'temperature.coilOverRailC', label: 'Coil at rest against the rail', unit: '°C', difference: true, kind: 'number', absent: 'taken for 0.2 °C, an estimate' },
    ],
  },
  {
    title: 'Supply voltmeter',
    fields: [
      ...identityOf('supply'),
      { path: 'supply.uncertaintyMv', label: 'Uncertainty', unit: 'mV', kind: 'number', hint: k1 },
      { path: 'supply.insidePulseMv', label: 'Sag inside a pulse, at most', unit: 'mV', kind: 'number', absent: `up to ${allowedOhm} ohm of leads allowed for, an estimate` },
      { path: 'supply.currentUncertaintyPercent', label: 'Uncertainty of the current', unit: '%', kind: 'number', absent: 'taken for 5 %, an estimate' },
    ],
  },
  {
    title: 'Driver, clamp and wiring',
    fields: [
      { path: 'driver.type', label: 'Driver', kind: 'text' },
      { path: 'driver.clampV', label: 'Clamp, to ground', unit: 'V', kind: 'number', hint: 'Switched terminal (drain) to ground while the current decays.' },
      { path: 'driver.clampUncertaintyV', label: 'Uncertainty, all channels in common', unit: 'V', kind: 'number' },
      { path: 'driver.channelUncertaintyV', label: 'Uncertainty of each channel', unit: 'V', kind: 'number', absent: 'none' },
      { path: 'wiring.sensedAt', label: 'The supply is sensed at', kind: 'text' },
      { path: 'wiring.harnessOhm', label: 'From there to the coil and back', unit: 'ohm', kind: 'number' },
      { path: 'wiring.harnessUncertaintyOhm', label: 'Uncertainty of it', unit: 'ohm', kind: 'number' },
    ],
  },
  {
    title: 'Fluid lot',
    fields: [
      { path: 'fluid.lot', label: 'Lot', kind: 'text', hint: 'n-heptane.' },
      { path: 'fluid.openedOn', label: 'Opened on', kind: 'day' },
      { path: 'fluid.useWithinDays', label: 'May be used for', unit: 'days', kind: 'number', absent: 'no limit' },
      { path: 'fluid.purityPercent', label: 'Purity, by the certificate of analysis', unit: '%', kind: 'number', absent: 'not known' },
      { path: 'fluid.measuredDensity.kgPerM3', label: 'Density, measured', unit: 'kg/m³', kind: 'number', absent: 'from the equation of state' },
      { path: 'fluid.measuredDensity.atC', label: 'Measured at', unit: '°C', kind: 'number', absent: '–' },
      { path: 'fluid.measuredDensity.on', label: 'Measured on', kind: 'day', absent: '–' },
      { path: 'fluid.densityUncertaintyPercent', label: 'Uncertainty of the density', unit: '%', kind: 'number', hint: k1 },
    ],
  },
  {
    title: 'Time base and rail',
    fields: [
      { path: 'timeBase.kind', label: 'Time base', kind: 'text' },
      { path: 'timeBase.uncertaintyPpm', label: 'Uncertainty of its rate', unit: 'ppm', kind: 'number', hint: k1 },
      { path: 'timeBase.refuseAbovePpm', label: 'Refuse a run beyond', unit: 'ppm', kind: 'number', hint: 'Of the computer\'s clock.' },
      { path: 'rail.complianceMlPerMpa', label: 'Compliance of the rail', unit: 'mL/MPa', kind: 'number', absent: 'not known' },
      { path: 'rail.complianceUncertaintyPercent', label: 'Uncertainty of it', unit: '%', kind: 'number', absent: '–' },
      { path: 'rail.volumeMl', label: 'Volume of the rail', unit: 'mL', kind: 'number', absent: '–' },
    ],
  },
];

/** By path, what was typed. */
export type RecordDraft = Readonly<Record<string, string>>;

const allFields = recordGroups.flatMap((group) => group.fields);
const withGroup = new Map(recordGroups.flatMap(({ title, fields }) => fields.map((f) => [f.path, { title, ...f }] as const)));

/** What a field is called where its group does not stand above it; undefined: there is no such field. */
export function fieldLabel(path: string): string | undefined {
  const field = withGroup.get(path);
  return field === undefined ? undefined : `${field.title}: ${field.label}${field.unit === undefined ? '' : ` (${unitShown(field.unit)})`}`;
}

/** A value as it is read on the page, with its unit; empty: not stated. */
export function readText({ path, unit = '', difference }: RecordField, document: unknown): string {
  const text = fieldText(document, path);
  return text === '' || unit === '' ? text : `${typedFromStored(unit, text, difference)} ${unitShown(unit)}`;
}

/** What is taken where a field is left empty; undefined: it has to be stated, or nothing is taken. */
export function absentText({ absent, unit = '', difference }: RecordField): string | undefined {
  return absent === undefined || absent === '–' ? undefined : unit === '' ? absent : allShown(unit, absent, difference);
}

function valueIn(document: unknown, path: string): unknown {
  return path.split('.').reduce<unknown>((value, step) => (typeof value === 'object' && value !== null ? (value as Readonly<Record<string, unknown>>)[step] : undefined), document);
}

/** A value as a field shows it; empty: the record does not state it. */
export function fieldText(document: unknown, path: string): string {
  const value = valueIn(document, path);
  if (path === 'meter.kFactor') return Array.isArray(value) ? (value as Equipment['meter']['kFactor']).map((p) => [p.hertz, p.edgesPerLitre, ...(p.ownUncertaintyPercent === undefined ? [] : [p.ownUncertaintyPercent])].join('\t')).join('\n') : '';
  return typeof value === 'string' || typeof value === 'number' ? String(value) : '';
}

export function draftOf(document: unknown): RecordDraft {
  return Object.fromEntries(allFields.map(({ path }) => [path, fieldText(document, path)]));
}

interface FormRead {
  /** null while something stands against it. */
  readonly document: Equipment | null;
  /** By path of a field; '' where it belongs to none. */
  readonly problems: ReadonlyMap<string, string>;
}

/** What a filled-in form comes to. `before`: the record that it was begun on, for what has no field. */
export function recordIn(draft: RecordDraft, before: unknown): FormRead {
  const problems = new Map<string, string>();
  const document: Record<string, unknown> = { ...(structuredClone(before) as object), equipmentVersion: 2 };
  const fluid = { name: 'n-heptane', ...(document['fluid'] as object | undefined) };
  document['fluid'] = fluid;
  for (const { path, kind, absent } of allFields) {
    const text = (draft[path] ?? '').trim();
    if (text === '') {
      put(document, path, undefined);
      if (absent === undefined) problems.set(path, 'This has to be stated.');
      continue;
    }
    const read = kind === 'number' ? numberOf(text) : kind === 'curve' ? curveOf(text) : text;
    if (typeof read === 'object' && 'why' in read) problems.set(path, read.why);
    else put(document, path, read);
  }
  for (const group of ['rail', 'fluid.measuredDensity']) {
    const value = valueIn(document, group);
    if (typeof value === 'object' && value !== null && Object.values(value).every((one) => one === undefined)) put(document, group, undefined);
  }
  const parsed = parseEquipment(document);
  if (parsed.ok) return { document: problems.size === 0 ? parsed.equipment : null, problems };
  for (const problem of parsed.problems) {
    const path = pathOfField(problem);
    if (!problems.has(path)) problems.set(path, path === '' ? `${problem.path}: ${problem.text}` : problem.text);
  }
  return { document: null, problems };
}

const numberOf = (text: string): number | { readonly why: string } => {
  const read = readNumber(text);
  return read.kind === 'number' ? read.value : { why: read.kind === 'unreadable' ? read.why : 'This has to be a number.' };
};

/** Lines of numbers, separated by blanks, tabs or semicolons (WIN-3: a comma is decimal here). */
function curveOf(text: string): Equipment['meter']['kFactor'] | { readonly why: string } {
  const points: Equipment['meter']['kFactor'] = [];
  for (const [index, line] of text.split('\n').entries()) {
    const parts = line.trim().split(/[;\s]+/u).filter((part) => part !== '');
    if (parts.length === 0) continue;
    const numbers = parts.map(numberOf);
    const wrong = numbers.find((n) => typeof n === 'object');
    if (wrong !== undefined) return { why: `Line ${index + 1}: ${wrong.why}` };
    const [hertz, edgesPerLitre, ownUncertaintyPercent, ...more] = numbers as number[];
    if (hertz === undefined || edgesPerLitre === undefined || more.length > 0) return { why: `Line ${index + 1} has ${parts.length} numbers. Write frequency, edges per litre, and where it has one its own uncertainty.` };
    points.push({ hertz, edgesPerLitre, ...(ownUncertaintyPercent === undefined ? {} : { ownUncertaintyPercent }) });
  }
  return points;
}

/** The field that a problem of the record is shown at; '': none. */
function pathOfField({ path }: Problem): string {
  if (path.startsWith('meter.kFactor')) return 'meter.kFactor';
  return withGroup.has(path) ? path : '';
}

function put(document: Record<string, unknown>, path: string, value: unknown): void {
  const steps = path.split('.');
  const last = steps.pop() ?? '';
  let at = document;
  for (const step of steps) {
    const inner = at[step];
    if (typeof inner !== 'object' || inner === null) {
      if (value === undefined) return;
      at[step] = {};
    }
    at = at[step] as Record<string, unknown>;
  }
  // What is undefined is not there in JSON, which is what is saved.
  at[last] = value;
}

export interface RecordChange {
  readonly label: string;
  /** Empty: it was, or is, not stated. */
  readonly before: string;
  readonly after: string;
}

const curveText = (text: string): string => {
  const lines = text.split('\n').filter((line) => line !== '');
  return text === '' ? '' : `${lines.length} points: ${lines.map((line) => line.replaceAll('\t', ' ')).join('; ')}`;
};

/** What differs between two records, in the order of the page. */
export function changesBetween(before: unknown, after: unknown): readonly RecordChange[] {
  return allFields.flatMap(({ path, kind, unit = '', difference }) => {
    const [old, now] = [fieldText(before, path), fieldText(after, path)];
    if (old === now) return [];
    const shown = kind === 'curve' ? curveText : (text: string) => typedFromStored(unit, text, difference);
    return [{ label: fieldLabel(path) ?? path, before: shown(old), after: shown(now) }];
  });
}
