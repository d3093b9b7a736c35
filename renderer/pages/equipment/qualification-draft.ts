/** A sheet of a qualification that was begun: what was read and typed, and the document that it stands for (WIN-28, WIN-73). */
import { create } from 'zustand';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { parseQualification, type Qualification, type QualificationLimits, type QualificationLineName } from '../../../app/qualification/qualification.ts';
import { readNumber } from '../../settings/read-number.ts';
import { keepStore } from '../../typed/typed.ts';

/** Points of the supply of a sheet. */
export const supplyPoints = [0, 1, 2] as const;
const supplyFields = supplyPoints.flatMap((i) => [`supply.${i}.setV`, `supply.${i}.readV`, `supply.${i}.meterV`]);
export const limitNames: Readonly<Record<keyof QualificationLimits, { readonly label: string; readonly unit: string }>> = {
  zeroMlMin: { label: 'Zero of the meter', unit: 'mL/min' }, ventedKpa: { label: 'Pressure, vented', unit: 'kPa' }, supplyMv: { label: 'Supply', unit: 'mV' },
  clockPpm: { label: 'Clock', unit: 'ppm' }, leakMlMin: { label: 'Leak', unit: 'mL/min' },
};

type Source = 'bench' | 'by-hand';

export interface SheetDraft {
  readonly values: Readonly<Record<string, string>>;
  /** Who read a line; a line that is not here was typed. */
  readonly sources: Readonly<Record<string, Source>>;
  readonly reference: Qualification['reference'] | null;
}

export const useQualificationSheet = create<{ readonly draft: SheetDraft | null }>()(() => ({ draft: null }));

export function keepSheet(draft: SheetDraft | null): void {
  useQualificationSheet.setState({ draft });
}

/** A new sheet: with the limits and supply points of the one before, or the usual ones. */
export function beginSheet(limits: QualificationLimits, before: Qualification | null): SheetDraft {
  const usual = ['9', '12', '14'];
  return {
    values: {
      ...Object.fromEntries(Object.entries(before?.limits ?? limits).map(([name, value]) => [`limits.${name}`, String(value)])),
      ...Object.fromEntries(supplyPoints.map((i) => [`supply.${i}.setV`, before?.supply[i] === undefined ? (usual[i] ?? '') : String(before.supply[i].setV)])),
      validHours: String(before?.validHours ?? 24),
      'leak.kpa': String(before?.leak?.kpa ?? 400),
    },
    sources: {},
    reference: null,
  };
}

/** With what a person typed: its line was read by hand then. */
export const typedInto = (draft: SheetDraft, path: string, text: string): SheetDraft => ({
  ...draft, values: { ...draft.values, [path]: text }, sources: /setV$|meterV$|^limits|^valid|^notes/u.test(path) ? draft.sources : { ...draft.sources, [lineOf(path)]: 'by-hand' },
});

/** `supply.1.readV`: the second point of the supply is a line of its own here. */
const lineOf = (path: string): string => (path.startsWith('supply') ? path.split('.').slice(0, 2).join('.') : (path.split('.')[0] ?? ''));

type Read = AnswerTo<'qualification.read'>;
const digits = (value: number, after: number): string => String(Number(value.toFixed(after)));

/** With what the bench read for a line (`supply.1` for its second point). What was long enough tells the clock as well, where nobody has told it. */
export function withReading(draft: SheetDraft, line: string, read: Read): SheetDraft {
  const of: Readonly<Record<string, string>> =
    line === 'zero' ? { 'zero.edges': String(read.edges), 'zero.seconds': digits(read.seconds, 1) }
    : line === 'vented' ? { 'vented.kpa': digits(read.pressureKpa, 2) }
    : line === 'leak' ? { 'leak.edges': String(read.edges), 'leak.seconds': digits(read.seconds, 1), 'leak.kpa': digits(read.pressureKpa, 1) }
    : line.startsWith('supply') ? { [`${line}.readV`]: digits(read.supplyV, 4) }
    : {};
  const clock: Readonly<Record<string, string>> =
    read.clock !== null && (line === 'clock' || (draft.values['clock.ppm'] ?? '') === '') ? { 'clock.ppm': digits(read.clock.ppm, 1), 'clock.uncertaintyPpm': digits(read.clock.uncertaintyPpm, 1) } : {};
  return {
    ...draft,
    values: { ...draft.values, ...of, ...clock },
    sources: { ...draft.sources, ...(line === 'clock' ? {} : { [line]: 'bench' as const }), ...(Object.keys(clock).length === 0 ? {} : { clock: 'bench' as const }) },
  };
}

interface SheetRead {
  /** null while something typed cannot be read. */
  readonly sheet: Qualification | null;
  readonly problems: ReadonlyMap<string, string>;
}

const numberPaths = [
  'zero.edges', 'zero.seconds', 'vented.kpa', 'clock.ppm', 'clock.uncertaintyPpm', 'leak.edges', 'leak.seconds', 'leak.kpa', 'validHours', ...supplyFields, ...Object.keys(limitNames).map((name) => `limits.${name}`),
];

/** What the sheet comes to as it stands; date and name are those of whoever keeps it. */
export function sheetIn({ values, sources, reference }: SheetDraft, bench: Qualification['controller'], edgesPerMl: number): SheetRead {
  const problems = new Map<string, string>();
  const numbers = new Map<string, number>();
  for (const path of numberPaths) {
    const read = readNumber(values[path] ?? '');
    if (read.kind === 'unreadable') problems.set(path, read.why);
    else if (read.kind === 'number') numbers.set(path, read.value);
  }
  if (problems.size > 0) return { sheet: null, problems };
  const line = (name: Exclude<QualificationLineName, 'supply' | 'reference'>, ...fields: readonly string[]): object => {
    const told = fields.map((field) => [field, numbers.get(`${name}.${field}`)] as const);
    // A line that was not done is left out; one that was begun says what is missing.
    return told.every(([field, value]) => value === undefined || (name === 'leak' && field === 'kpa')) ? {} : { [name]: { ...Object.fromEntries(told), source: sources[name] ?? 'by-hand' } };
  };
  const parsed = parseQualification({
    qualificationVersion: 1, controller: bench, doneAt: '1970-01-01T00:00:00.000Z', by: 'nobody', edgesPerMl, notes: (values['notes'] ?? '').trim(),
    validHours: numbers.get('validHours'), limits: Object.fromEntries(Object.keys(limitNames).map((name) => [name, numbers.get(`limits.${name}`)])),
    ...line('zero', 'edges', 'seconds'), ...line('vented', 'kpa'), ...line('clock', 'ppm', 'uncertaintyPpm'), ...line('leak', 'edges', 'seconds', 'kpa'),
    supply: supplyPoints.flatMap((i) => {
      const [setV, readV, meterV] = ['setV', 'readV', 'meterV'].map((field) => numbers.get(`supply.${i}.${field}`));
      return readV === undefined ? [] : [{ setV, readV, ...(meterV === undefined ? {} : { meterV }), source: sources[`supply.${i}`] ?? 'by-hand' }];
    }),
    ...(reference === null ? {} : { reference }),
  });
  if (parsed.ok) return { sheet: parsed.qualification, problems };
  for (const { path, text } of parsed.problems) problems.set(path.replace(/^supply\[(\d)\]/u, 'supply.$1'), text);
  return { sheet: null, problems };
}

const isDraft = (content: unknown): content is SheetDraft => {
  const { values, sources } = (content ?? {}) as Partial<Record<keyof SheetDraft, unknown>>;
  return typeof values === 'object' && values !== null && typeof sources === 'object' && sources !== null;
};

keepStore(
  'equipment/qualification.1',
  useQualificationSheet,
  ({ draft }) => (draft === null ? null : { content: draft, title: 'Qualification of the bench', work: true }),
  (content) => {
    if (isDraft(content)) useQualificationSheet.setState({ draft: content });
  },
);
