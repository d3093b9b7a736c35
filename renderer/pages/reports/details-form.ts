/** Details of reports as a person fills them in, and the document that a filled-in form stands for (WIN-160). */
import { parseDetails, type ReportDetails, type ReportLimit } from '../../../app/report/details.ts';
import { readNumber } from '../../settings/read-number.ts';

interface DetailsField {
  readonly path: string;
  readonly label: string;
  /** lines: several, each in a line of its own. */
  readonly kind: 'text' | 'lines' | 'date' | 'number';
  readonly unit?: string;
  readonly hint?: string;
}

interface DetailsGroup {
  readonly title: string;
  readonly fields: readonly DetailsField[];
}

export const detailsGroups: readonly DetailsGroup[] = [
  {
    title: 'Laboratory',
    fields: [
      { path: 'laboratory.name', label: 'Name of the laboratory', kind: 'text' },
      { path: 'laboratory.address', label: 'Address of the laboratory', kind: 'lines' },
      { path: 'laboratory.contact', label: 'Contact at the laboratory', kind: 'text' },
      { path: 'laboratory.place', label: 'Measured at', kind: 'text', hint: 'Empty: at that address.' },
    ],
  },
  {
    title: 'Customer',
    fields: [
      { path: 'customer.name', label: 'Name of the customer', kind: 'text' },
      { path: 'customer.address', label: 'Address of the customer', kind: 'lines' },
      { path: 'customer.contact', label: 'Contact at the customer', kind: 'text' },
      { path: 'customer.reference', label: 'Reference of the customer', kind: 'text' },
    ],
  },
  {
    title: 'Items and conditions',
    fields: [
      { path: 'receivedOn', label: 'Items received on', kind: 'date' },
      { path: 'condition', label: 'Condition as received, of all', kind: 'text' },
      { path: 'conditions', label: 'Condition of single injectors', kind: 'lines', hint: 'A line for each: serial number, colon, condition.' },
      { path: 'environment', label: 'Room', kind: 'text', hint: 'Temperature and humidity, as far as they may have influenced results.' },
      { path: 'adjustment', label: 'Adjusted or repaired before', kind: 'text', hint: 'What, and where the results from before stand.' },
    ],
  },
  {
    title: 'Heading, method and remarks',
    fields: [
      { path: 'title', label: 'Title', kind: 'text', hint: 'Empty: that of the program.' },
      { path: 'method', label: 'Method', kind: 'text', hint: 'Procedure of the laboratory, where it has one.' },
      { path: 'deviations', label: 'Deviations from the method', kind: 'lines' },
      { path: 'external', label: 'Results of others', kind: 'lines', hint: 'What was provided, and by whom.' },
      { path: 'opinions', label: 'Opinions and interpretations', kind: 'lines' },
    ],
  },
  {
    title: 'Uncertainty that was agreed',
    fields: [
      { path: 'targets.deadTimeUs', label: 'U95 of dead times, at most', kind: 'number', unit: 'µs' },
      { path: 'targets.slopePercent', label: 'U95 of slopes, at most', kind: 'number', unit: '%' },
      { path: 'targets.staticFlowPercent', label: 'U95 of static flows, at most', kind: 'number', unit: '%' },
    ],
  },
];

const fields = detailsGroups.flatMap((group) => group.fields);
export const nameOfDetail = (path: string): string => fields.find((field) => field.path === path)?.label ?? path;

export const limitKinds = [
  { value: 'slope', text: 'Slope, mg/ms' },
  { value: 'static-flow', text: 'Static flow, g/min' },
  { value: 'dead-time', text: 'Dead time, ms' },
  { value: 'match-slope', text: 'Slope against the set, %' },
  { value: 'match-static-flow', text: 'Static flow against the set, %' },
  { value: 'match-dead-time', text: 'Dead time against the set, µs' },
  { value: 'leak', text: 'Leak of the rail, mL/min' },
  { value: 'coil-resistance', text: 'Coil resistance, ohm' },
] as const;
export type LimitKind = (typeof limitKinds)[number]['value'];

export const limitColumns = [
  { key: 'type', label: 'Type' },
  { key: 'pressureKpa', label: 'Pressure', unit: 'kPa' },
  { key: 'voltageV', label: 'Supply', unit: 'V' },
  { key: 'low', label: 'From' },
  { key: 'high', label: 'To' },
  { key: 'standardUncertaintyOhm', label: 'u of the reading', unit: 'ohm' },
] as const;
export type LimitColumn = (typeof limitColumns)[number]['key'];

/** What can be said of a limit; of a match `high` is how far an injector may lie off. */
export function columnsOf(kind: LimitKind): readonly LimitColumn[] {
  switch (kind) {
    case 'slope':
    case 'dead-time':
      return ['type', 'pressureKpa', 'voltageV', 'low', 'high'];
    case 'static-flow':
      return ['type', 'pressureKpa', 'low', 'high'];
    case 'match-slope':
    case 'match-static-flow':
    case 'match-dead-time':
      return ['type', 'pressureKpa', 'voltageV', 'high'];
    case 'leak':
      return ['high'];
    case 'coil-resistance':
      return ['type', 'low', 'high', 'standardUncertaintyOhm'];
  }
}

export interface LimitDraft extends Readonly<Partial<Record<LimitColumn, string>>> {
  readonly kind: LimitKind;
}

export interface DetailsDraft {
  /** What they are kept under. */
  readonly name: string;
  /** By path, as they are typed. */
  readonly values: Readonly<Record<string, string>>;
  readonly limits: readonly LimitDraft[];
  readonly rule: ReportDetails['rule']['kind'];
  /** Times U95 of a guard band, or the stated risk in percent. */
  readonly ruleNumber: string;
  readonly monteCarlo: AsUsual;
  readonly notes: AsUsual;
}

/** Something that a full report has unless nobody wants it. */
type AsUsual = 'usual' | 'yes' | 'no';
const asUsual = (stated: boolean | undefined): AsUsual => (stated === undefined ? 'usual' : stated ? 'yes' : 'no');

function kindOf(limit: ReportLimit): LimitKind {
  return limit.of === 'match' ? `match-${limit.quantity}` : limit.of;
}

function limitDraft(limit: ReportLimit): LimitDraft {
  const stated = limit as unknown as Readonly<Record<string, unknown>>;
  const text = (value: unknown): string => (typeof value === 'string' || typeof value === 'number' ? String(value) : '');
  return { kind: kindOf(limit), ...Object.fromEntries(limitColumns.map(({ key }) => [key, text(key === 'high' && limit.of === 'match' ? limit.within : stated[key])])) };
}

const percentOf = (risk: number): string => String(Number((100 * risk).toPrecision(12)));

/** The form of details; of none: an empty one. Examinations are none of it: a report takes them as they stand when it is written (REP-50). */
export function detailsDraft(name: string, details: ReportDetails | null): DetailsDraft {
  const at = (path: string): unknown => path.split('.').reduce<unknown>((of, key) => (of as Readonly<Record<string, unknown>> | undefined)?.[key], details ?? undefined);
  const shown = (path: string): string => {
    const value = at(path);
    if (path === 'conditions') return (details?.conditions ?? []).map((c) => `${c.serialNumber}: ${c.condition}`).join('\n');
    return Array.isArray(value) ? value.join('\n') : typeof value === 'string' || typeof value === 'number' ? String(value) : '';
  };
  const rule = details?.rule ?? { kind: 'guard-band', times: 1 };
  return {
    name,
    values: Object.fromEntries(fields.map(({ path }) => [path, shown(path)])),
    limits: (details?.limits ?? []).map(limitDraft),
    rule: rule.kind,
    ruleNumber: rule.kind === 'guard-band' ? String(rule.times) : rule.kind === 'stated-risk' ? percentOf(rule.risk) : '',
    monteCarlo: asUsual(details?.monteCarlo),
    notes: asUsual(details?.notes),
  };
}

export interface DetailsRead {
  /** As far as it can be read; saved only where nothing stands against it. */
  readonly document: Readonly<Record<string, unknown>>;
  /** By path of a field, `limits[n].column` of a limit; what has no field under ''. */
  readonly problems: ReadonlyMap<string, string>;
}

const linesOf = (typed: string): readonly string[] => typed.split('\n').map((line) => line.trim()).filter((line) => line !== '');

/** `serial: condition`, line by line; a line without a colon is named. */
function conditionsIn(typed: string): readonly { readonly serialNumber: string; readonly condition: string }[] | string {
  const found = linesOf(typed).map((line) => ({ line, at: line.includes(': ') ? line.indexOf(': ') : line.indexOf(':') }));
  const without = found.find(({ at, line }) => at < 1 || line.slice(at + 1).trim() === '');
  return without === undefined ? found.map(({ line, at }) => ({ serialNumber: line.slice(0, at).trim(), condition: line.slice(at + 1).trim() })) : `“${without.line}” needs a serial number, a colon and the condition.`;
}

interface Reading {
  readonly problems: Map<string, string>;
}

function numberAt({ problems }: Reading, path: string, typed: string): number | undefined {
  const read = readNumber(typed);
  if (read.kind === 'unreadable') problems.set(path, read.why);
  return read.kind === 'number' ? read.value : undefined;
}

function put(document: Record<string, unknown>, path: string, value: unknown): void {
  const [first = '', second] = path.split('.');
  if (second === undefined) document[first] = value;
  else document[first] = { ...(document[first] as object | undefined), [second]: value };
}

function limitIn(reading: Reading, limit: LimitDraft, index: number): Record<string, unknown> {
  const { kind } = limit;
  const match = kind.startsWith('match-');
  const made: Record<string, unknown> = match ? { of: 'match', quantity: kind.slice('match-'.length) } : { of: kind };
  for (const column of columnsOf(kind)) {
    const typed = (limit[column] ?? '').trim();
    if (typed === '') continue;
    const value = column === 'type' ? typed : numberAt(reading, `limits[${index}].${column}`, typed);
    if (value !== undefined) made[match && column === 'high' ? 'within' : column] = value;
  }
  return made;
}

function ruleIn(reading: Reading, { rule, ruleNumber }: DetailsDraft): Record<string, unknown> {
  if (rule === 'simple') return { kind: rule };
  const number = ruleNumber.trim() === '' ? undefined : numberAt(reading, 'rule', ruleNumber);
  if (number === undefined) return { kind: rule };
  return rule === 'guard-band' ? { kind: rule, times: number } : { kind: rule, risk: number / 100 };
}

export function detailsIn(draft: DetailsDraft): DetailsRead {
  const problems = new Map<string, string>();
  const reading = { problems };
  const document: Record<string, unknown> = { reportDetailsVersion: 1 };
  for (const { path, kind } of fields) {
    const typed = (draft.values[path] ?? '').trim();
    if (typed === '') continue;
    if (path === 'conditions') {
      const read = conditionsIn(typed);
      if (typeof read === 'string') problems.set(path, read);
      else document[path] = read;
    } else if (kind === 'number') {
      const value = numberAt(reading, path, typed);
      if (value !== undefined) put(document, path, value);
    } else put(document, path, kind === 'lines' ? linesOf(typed) : typed);
  }
  if (draft.limits.length > 0) document['limits'] = draft.limits.map((limit, index) => limitIn(reading, limit, index));
  document['rule'] = ruleIn(reading, draft);
  for (const part of ['monteCarlo', 'notes'] as const) if (draft[part] !== 'usual') document[part] = draft[part] === 'yes';
  if (draft.name.trim() === '') problems.set('name', 'Say what they are kept under.');
  if (problems.size > 0) return { document, problems };
  const parsed = parseDetails(document);
  if (!parsed.ok) for (const { path, text } of parsed.problems) problemAt(problems, path, text);
  return { document, problems };
}

/** To the field that it is about; `within` of a match stands in the column of the upper limit. */
function problemAt(problems: Map<string, string>, path: string, text: string): void {
  const field = fields.find(({ path: own }) => path === own || path.startsWith(`${own}[`))?.path;
  const at = field ?? (path.startsWith('rule') ? 'rule' : path.startsWith('limits[') ? path.replace(/\.within$/u, '.high') : '');
  problems.set(at, [problems.get(at) ?? '', at === '' ? `${path}: ${text}` : text].filter((part) => part !== '').join(' '));
}
