/** The record of a type as a person fills it in, and the document that a filled-in form stands for. */
import { parseTypeRecord, type TypeRecord } from '../../../app/type-record/type-record.ts';
import { readNumber } from '../../settings/read-number.ts';

interface TypeField {
  readonly path: Exclude<keyof TypeRecord, 'typeRecordVersion' | 'template' | 'changed'>;
  readonly label: string;
  readonly unit?: string;
  readonly kind: 'text' | 'number' | 'drive';
  readonly hint?: string;
}

interface TypeGroup {
  readonly title: string;
  readonly fields: readonly TypeField[];
}

export const typeGroups: readonly TypeGroup[] = [
  {
    title: 'Type and static flow',
    fields: [
      { path: 'type', label: 'Type', kind: 'text', hint: 'As injectors of it are booked in.' },
      { path: 'staticFlowGPerMin', label: 'Nominal static flow', unit: 'g/min', kind: 'number', hint: 'Held open. Empty: 240 g/min is assumed for estimates.' },
      { path: 'flowPressureKpa', label: 'At a pressure of', unit: 'kPa', kind: 'number', hint: 'Empty: 400 kPa.' },
      { path: 'flowFluid', label: 'In the fluid', kind: 'text', hint: 'Its name. Empty: n-heptane.' },
      { path: 'flowDensityKgPerM3', label: 'Density of that fluid', unit: 'kg/m³', kind: 'number', hint: 'Empty: that of n-heptane. The flow goes by the root of density and pressure.' },
    ],
  },
  {
    title: 'Coil and drive',
    fields: [
      { path: 'drive', label: 'Drive', kind: 'drive' },
      { path: 'resistanceOhm', label: 'Coil at 20 °C', unit: 'ohm', kind: 'number' },
      { path: 'uncertaintyOhm', label: 'Standard uncertainty of one of them', unit: 'ohm', kind: 'number' },
      { path: 'kelvinPerWatt', label: 'Warmer for one watt, in fuel', unit: 'K/W', kind: 'number', hint: 'All four, or none.' },
      { path: 'uncertaintyKelvinPerWatt', label: 'Its standard uncertainty', unit: 'K/W', kind: 'number' },
      { path: 'timeConstantS', label: 'Time constant', unit: 's', kind: 'number' },
      { path: 'uncertaintyTimeConstantS', label: 'Its standard uncertainty', unit: 's', kind: 'number' },
    ],
  },
  {
    title: 'Limits',
    fields: [
      { path: 'minVoltageV', label: 'Supply from', unit: 'V', kind: 'number' },
      { path: 'maxVoltageV', label: 'Supply to', unit: 'V', kind: 'number' },
      { path: 'minPressureKpa', label: 'Pressure from', unit: 'kPa', kind: 'number' },
      { path: 'maxPressureKpa', label: 'Pressure to', unit: 'kPa', kind: 'number' },
      { path: 'minWidthMs', label: 'Pulse width from', unit: 'ms', kind: 'number' },
      { path: 'maxWidthMs', label: 'Pulse width to', unit: 'ms', kind: 'number' },
      { path: 'maxDutyPercent', label: 'Duty, at most', unit: '%', kind: 'number', hint: 'Held open is 100 %.' },
    ],
  },
];

const allFields = typeGroups.flatMap((group) => group.fields);
export const nameOfField = (path: string): string => allFields.find((field) => field.path === path)?.label ?? path;

export interface TypeDraft {
  readonly values: Readonly<Record<string, string>>;
  /** Parts of a plan; null: none. */
  readonly template: Readonly<Record<string, unknown>> | null;
}

/** A record, or what was begun of one, as the form shows it. */
export function typeDraft(document: unknown): TypeDraft {
  const root = (document ?? {}) as Readonly<Record<string, unknown>>;
  const text = (value: unknown): string => (typeof value === 'string' || typeof value === 'number' ? String(value) : '');
  const { template } = root;
  return {
    values: Object.fromEntries([...allFields.map(({ path }) => path), 'notes'].map((path) => [path, text(root[path])])),
    template: typeof template === 'object' && template !== null ? (template as Record<string, unknown>) : null,
  };
}

export interface TypeRead {
  /** As far as it can be read; saved only where nothing stands against it. */
  readonly document: unknown;
  /** By path of a field; what has no field under ''. */
  readonly problems: ReadonlyMap<string, string>;
}

export function typeIn({ values, template }: TypeDraft): TypeRead {
  const problems = new Map<string, string>();
  const document: Record<string, unknown> = { typeRecordVersion: 1 };
  for (const { path, kind } of [...allFields, { path: 'notes', kind: 'text' } as const]) {
    const typed = (values[path] ?? '').trim();
    if (typed === '') continue;
    const read = kind === 'number' ? readNumber(typed) : null;
    if (read?.kind === 'unreadable') problems.set(path, read.why);
    else document[path] = read?.kind === 'number' ? read.value : typed;
  }
  if (template !== null) document['template'] = template;
  if ((document['type'] ?? '') === '') problems.set('type', 'This has to be stated.');
  const isWhole = problems.size === 0;
  const parsed = parseTypeRecord(document);
  if (!parsed.ok) {
    for (const { path, text } of parsed.problems) {
      const at = allFields.some((field) => field.path === path) ? path : '';
      // What is only not stated yet is told at its own field.
      if (!isWhole && (at === '' || problems.has(at))) continue;
      problems.set(at, at === '' ? [problems.get('') ?? '', `${path}: ${text}`].join(' ').trim() : text);
    }
  }
  return { document, problems };
}

/** A template in one line. */
export function templateText(template: Readonly<Record<string, unknown>> | null): string {
  if (template === null) return 'None: a new sweep begins with the usual axes.';
  const axes = (template['axes'] ?? {}) as Readonly<Record<string, unknown>>;
  const count = (axis: string): number => (Array.isArray(axes[axis]) ? (axes[axis] as readonly unknown[]).length : 0);
  const of = (n: number, one: string): string => `${n} ${one}${n === 1 ? '' : 's'}`;
  const targets = template['targets'] === undefined ? '' : ', measured until its targets are reached';
  return `${of(count('voltageV'), 'voltage')}, ${of(count('pressureKpa'), 'pressure')}, ${of(count('widthMs'), 'width')}, ${of(count('periodMs'), 'period')}${targets}`;
}
