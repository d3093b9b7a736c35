/**
 * The plan as the form holds it: every field as the text that was typed, so that no digit changes under the hand. The
 * way to the document and back loses nothing that the schema allows.
 */
import type { Problem } from '../../../app/boundary/problems.ts';
import { readNumber } from '../../settings/read-number.ts';
import { axisNames, fieldAt, guardColumns, injectorColumns, listNames, listPaths, mapLists, numberText, schemaLeaves, singlePaths, typeColumns } from './fields.ts';
import type { AxisName, FieldPath, GuardColumn, InjectorColumn, ListName, TypeColumn } from './fields.ts';

/** One row of a table. `key` holds its place in the window while rows come and go; it is not part of the plan. */
export type InjectorRow = Readonly<Record<InjectorColumn, string>> & { readonly key: number };
export type TypeRow = Readonly<Record<TypeColumn, string>> & { readonly key: number };
export type GuardRow = Readonly<Record<GuardColumn, string>> & { readonly key: number };

export interface PlanForm {
  /** Texts of the fields that stand alone, by path; what is absent or empty is left out of the document. */
  readonly texts: Readonly<Partial<Record<FieldPath, string>>>;
  /** The axes of the plan, and those of a wanted map. */
  readonly axes: Readonly<Record<AxisName, readonly string[]>> & Readonly<Partial<Record<ListName, readonly string[]>>>;
  readonly injectors: readonly InjectorRow[];
  readonly types: readonly TypeRow[];
  readonly hasReference: boolean;
  /** Targets of single voltages, also of a map, and what is known of types, as they came; the form has no field for them. */
  readonly targetsAt?: readonly unknown[];
  readonly targetsMapAt?: readonly unknown[];
  readonly targetsKnown?: readonly unknown[];
  readonly guards: readonly GuardRow[];
}

const isNumber = (path: FieldPath): boolean => fieldAt(path).kind === 'number' || fieldAt(path).kind === 'whole';

/** A text that is no number stays a text, which no plan takes; `unreadIn` says what is wrong with it. */
function valueOf(path: FieldPath, text: string): unknown {
  if (fieldAt(path).kind === 'text') return text;
  const trimmed = text.trim();
  if (trimmed === '') return undefined;
  const read = isNumber(path) ? readNumber(trimmed) : null;
  return read?.kind === 'number' ? read.value : trimmed;
}

/** Fields for a number in which something else stands, in the words of the one reader (WIN-1). */
export function unreadIn(form: PlanForm): readonly Problem[] {
  const unread: Problem[] = [];
  const look = (field: FieldPath, path: string, text: string) => {
    if (!isNumber(field)) return;
    const read = readNumber(text);
    if (read.kind === 'unreadable') unread.push({ path, text: read.why });
  };
  for (const path of singlePaths) if (form.hasReference || !path.startsWith('reference.')) look(path, path, form.texts[path] ?? '');
  for (const list of listNames) form.axes[list]?.forEach((text, index) => look(listPaths[list], `${listPaths[list]}[${index}]`, text));
  form.injectors.forEach((row, index) => {
    for (const column of injectorColumns) look(`injectors[].${column}`, `injectors[${index}].${column}`, row[column]);
  });
  form.types.forEach((row, index) => {
    for (const column of typeColumns) look(`types[].${column}`, `types[${index}].${column}`, row[column]);
  });
  form.guards.forEach((row, index) => {
    for (const column of guardColumns) look(`guards[].${column}`, `guards[${index}].${column}`, row[column]);
  });
  return unread;
}

function withoutUndefined(entries: readonly (readonly [string, unknown])[]): Record<string, unknown> {
  return Object.fromEntries(entries.filter(([, value]) => value !== undefined));
}

/** The document that the form stands for, whether it is right or not. */
export function documentOf(form: PlanForm): Record<string, unknown> {
  const document: Record<string, unknown> = { planVersion: 1 };
  const groups = new Map<string, Record<string, unknown>>();
  for (const path of singlePaths) {
    const [first = '', second, third] = path.split('.');
    if (first === 'reference' && !form.hasReference) continue;
    const value = valueOf(path, form.texts[path] ?? '');
    if (value === undefined && first !== 'reference') continue;
    if (second === undefined) {
      document[first] = value;
      continue;
    }
    const group = groups.get(first) ?? {};
    groups.set(first, group);
    if (value !== undefined) group[second] = third === undefined ? value : { ...recordOf(group[second]), [third]: value };
    document[first] = group;
  }
  const { targetsAt, targetsKnown } = form;
  const map = mapOf(form, recordOf(recordOf(document['targets'])?.['map']));
  if (document['targets'] !== undefined || map !== undefined) document['targets'] = { ...recordOf(document['targets']), ...withoutUndefined([['map', map], ['atVoltage', targetsAt], ['known', targetsKnown]]) };
  return {
    ...document,
    injectors: form.injectors.map((row) => withoutUndefined(injectorColumns.map((column) => [column, valueOf(`injectors[].${column}`, row[column])]))),
    ...(form.types.length === 0 ? {} : { types: form.types.map((row) => withoutUndefined(typeColumns.map((column) => [column, valueOf(`types[].${column}`, row[column])]))) }),
    axes: {
      ...(document['axes'] as object | undefined),
      ...Object.fromEntries(axisNames.map((axis) => [axis, form.axes[axis].map((text) => valueOf(`axes.${axis}`, text) ?? text)])),
    },
    guards: form.guards.map((row) => withoutUndefined(guardColumns.map((column) => [column, valueOf(`guards[].${column}`, row[column])]))),
  };
}

/** The map that the form wants: what its single fields say, with its axes; undefined: none of it was given. */
function mapOf(form: PlanForm, single: Readonly<Record<string, unknown>> | null): Readonly<Record<string, unknown>> | undefined {
  const lists = mapLists.map((list) => [list === 'mapVoltageV' ? 'voltageV' : 'pressureKpa', (form.axes[list] ?? []).map((text) => valueOf(listPaths[list], text) ?? text)] as const);
  if (single === null && lists.every(([, values]) => values.length === 0)) return undefined;
  return { ...single, ...Object.fromEntries(lists), ...withoutUndefined([['atVoltage', form.targetsMapAt]]) };
}

export interface FormRead {
  readonly form: PlanForm;
  /** What the form has no field for: not taken over. */
  readonly leftOut: readonly Problem[];
}

/** What of a document is no field that stands alone. */
const notSingle: readonly string[] = ['planVersion', 'injectors', 'types', 'guards'];

/**
 * A form from any document: every value that has a field is taken over, right or wrong, so that a person can correct it;
 * everything else is listed. A plan that passed `parsePlan` leaves nothing out.
 */
export function formOf(document: unknown): FormRead {
  const leftOut: Problem[] = [];
  const notTaken = (path: string) => void leftOut.push({ path, text: 'There is no field for this, so it was not taken over.' });
  const textOf = (value: unknown, path: string): string => {
    if (typeof value === 'number') return numberText(value);
    if (typeof value === 'string') return value;
    if (value !== undefined) notTaken(path);
    return '';
  };
  const root = recordOf(document);
  if (root === null) return { form: emptyForm, leftOut: [{ path: '', text: 'A plan is an object with named fields; this is something else.' }] };

  const texts: Partial<Record<FieldPath, string>> = {};
  for (const path of singlePaths) {
    const value = path.split('.').reduce((at: unknown, name) => recordOf(at)?.[name], root);
    const text = textOf(value, path);
    if (text !== '') texts[path] = text;
  }

  const rows = <Column extends string>(name: string, columns: readonly Column[]): (Record<Column, string> & { key: number })[] =>
    listOf(root[name], name, notTaken).map((item, index) => {
      const entry = recordOf(item);
      if (entry === null) notTaken(`${name}[${index}]`);
      const cells = Object.fromEntries(columns.map((column) => [column, textOf(entry?.[column], `${name}[${index}].${column}`)])) as Record<Column, string>;
      unknownKeys(entry, columns, `${name}[${index}]`, notTaken);
      return { ...cells, key: index };
    });
  const axes = recordOf(root['axes']);
  const valuesOf = (list: ListName, of: Readonly<Record<string, unknown>> | null) =>
    listOf(of?.[listPaths[list].replace(/^.*\./u, '')], listPaths[list], notTaken).map((value, index) => textOf(value, `${listPaths[list]}[${index}]`));
  const map = recordOf(recordOf(root['targets'])?.['map']);
  const form: PlanForm = {
    ...handedOn(root, notTaken),
    texts,
    axes: { voltageV: valuesOf('voltageV', axes), pressureKpa: valuesOf('pressureKpa', axes), widthMs: valuesOf('widthMs', axes), periodMs: valuesOf('periodMs', axes), mapVoltageV: valuesOf('mapVoltageV', map), mapPressureKpa: valuesOf('mapPressureKpa', map) },
    injectors: rows('injectors', injectorColumns),
    types: rows('types', typeColumns),
    hasReference: root['reference'] !== undefined,
    guards: rows('guards', guardColumns),
  };

  lookInto(root, notTaken);
  return { form, leftOut };
}

/** Names that the form knows, by the path of what they stand in. */
function knownNames(): ReadonlyMap<string, ReadonlySet<string>> {
  const known = new Map<string, Set<string>>();
  for (const { path } of schemaLeaves) {
    const names = path.split('.');
    for (let depth = 1; depth <= names.length; depth += 1) {
      const at = names.slice(0, depth).join('.');
      const inside = known.get(at) ?? new Set();
      known.set(at, inside);
      const next = names[depth];
      if (next !== undefined) inside.add(next);
    }
  }
  known.get('targets')?.add('atVoltage').add('known');
  known.get('targets.map')?.add('atVoltage');
  return known;
}

/** Tells each part of a document that the form has no place for. */
function lookInto(root: Readonly<Record<string, unknown>>, notTaken: (path: string) => void): void {
  const known = knownNames();
  for (const [name, value] of Object.entries(root)) {
    const inside = known.get(name);
    if (inside === undefined) {
      if (!notSingle.includes(name)) notTaken(name);
    } else if (inside.size > 0) {
      const group = recordOf(value);
      if (group === null) notTaken(name);
      unknownKeys(group, [...inside], name, notTaken);
      for (const [second, part] of Object.entries(group ?? {})) {
        const innermost = known.get(`${name}.${second}`);
        if (innermost === undefined || innermost.size === 0) continue;
        if (recordOf(part) === null) notTaken(`${name}.${second}`);
        unknownKeys(recordOf(part), [...innermost], `${name}.${second}`, notTaken);
      }
    }
  }
}

/** What has no field and goes back into the document as it came. */
function handedOn(root: Readonly<Record<string, unknown>>, notTaken: (path: string) => void): Pick<PlanForm, 'targetsAt' | 'targetsMapAt' | 'targetsKnown'> {
  const { atVoltage, known, map } = recordOf(root['targets']) ?? {};
  const ofMap = recordOf(map)?.['atVoltage'];
  return {
    ...(atVoltage === undefined ? {} : { targetsAt: listOf(atVoltage, 'targets.atVoltage', notTaken) }),
    ...(ofMap === undefined ? {} : { targetsMapAt: listOf(ofMap, 'targets.map.atVoltage', notTaken) }),
    ...(known === undefined ? {} : { targetsKnown: listOf(known, 'targets.known', notTaken) }),
  };
}

function unknownKeys(entry: Readonly<Record<string, unknown>> | null, known: readonly string[], path: string, notTaken: (path: string) => void): void {
  for (const key of Object.keys(entry ?? {})) {
    if (!known.includes(key)) notTaken(`${path}.${key}`);
  }
}

function recordOf(value: unknown): Readonly<Record<string, unknown>> | null {
  return typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as Record<string, unknown>) : null;
}

function listOf(value: unknown, path: string, notTaken: (path: string) => void): readonly unknown[] {
  if (Array.isArray(value)) return value as readonly unknown[];
  if (value !== undefined) notTaken(path);
  return [];
}

const emptyForm: PlanForm = {
  texts: {},
  axes: { voltageV: [], pressureKpa: [], widthMs: [], periodMs: [] },
  injectors: [],
  types: [],
  hasReference: false,
  guards: [],
};

/** A key that no row of the list has. */
export function freshKey(rows: readonly { readonly key: number }[]): number {
  return rows.reduce((most, { key }) => Math.max(most, key), -1) + 1;
}

/** Whether two forms stand for the same document. */
export function samePlan(a: PlanForm, b: PlanForm): boolean {
  return JSON.stringify(documentOf(a)) === JSON.stringify(documentOf(b));
}

/**
 * Paths of the fields at which a problem may be shown, the nearest first: `axes.widthMs[3]`, `axes.widthMs`, `axes`. The
 * form focuses the first of them that it has.
 */
export function placesOf(path: string): readonly string[] {
  const places = [path];
  for (let rest = path; rest !== ''; ) {
    const cut = Math.max(rest.lastIndexOf('.'), rest.lastIndexOf('['));
    rest = cut < 0 ? '' : rest.slice(0, cut);
    places.push(rest);
  }
  return places;
}

/** Problems by the field that shows them: its own and those of what lies inside it and is not shown by itself. */
export function problemsAt(problems: readonly Problem[], path: string): readonly string[] {
  return problems.filter((problem) => problem.path === path).map(({ text }) => text);
}
