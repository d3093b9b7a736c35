/**
 * What somebody stated of injectors, to be held against what somebody else did: a run of this archive, the tables or the certificate of this program, a certificate
 * of another, or a plain CSV of a partner. CMP-6.
 */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import { statedQuantities } from '../results/agreement.ts';
import type { StatedNumber, StatedSet } from '../results/agreement.ts';
import { carriedIn } from '../results/across-runs.ts';
import type { RunOfErrors } from '../results/across-runs.ts';
import type { CertifiedDimension, CertifiedQuantity, ReadCertificate } from '../equipment/certificate.ts';
import { carried, combine, stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ControllerDocument, ControllerTable } from './document.ts';
import { carriedFrom } from './travel.ts';
import type { UuidOfName } from './travel.ts';

/** What is not taken over and why, sentences. */
export interface StatedRead extends StatedSet {
  readonly said: readonly string[];
}

/** Of errors under the names that documents have (TAB-24). */
function named(of: Carried, uuidOf: UuidOfName): Carried {
  return carried(of.value, [...of.parts.values()].map((part) => ({ ...part, source: { ...part.source, key: uuidOf(part.source.key) }, scale: part.scale === '' ? '' : uuidOf(`scale ${part.scale}`) })));
}

export function statedOfRun(name: string, run: RunOfErrors & { readonly reduction: Pick<Reduction, 'cells' | 'staticFlows'> }, uuidOf: UuidOfName): StatedSet {
  const number = (place: Pick<StatedNumber, 'of' | 'quantity' | 'voltage' | 'pressure' | 'period'>, of: Carried): StatedNumber => {
    const { value, expanded, coverageFactor: k, effectiveDof: dof } = stateCarried(of);
    return { ...place, value, expanded, k, dof, carried: named(carriedIn(run, of), uuidOf) };
  };
  return {
    name,
    numbers: [
      ...run.reduction.cells.flatMap((cell) => {
        if (cell.kind === 'no-line') return [];
        const { serialNumber: of, voltage, pressure, period } = cell;
        return [number({ of, quantity: 'dead-time', voltage, pressure, period }, deadTimeCarried(cell)), number({ of, quantity: 'slope', voltage, pressure, period }, slopeCarried(cell))];
      }),
      ...run.reduction.staticFlows.flatMap((flow) => (flow.kind === 'static-flow' ? [number({ of: flow.serialNumber, quantity: 'static-flow', voltage: flow.voltage, pressure: flow.pressure, period: null }, staticCarried(flow))] : [])),
    ],
  };
}

/** What one of a unit is in the SI; volumes by the density beside them. null: no unit of these quantities. */
function siOf(unit: string, densityKgPerM3: number | null): number | null {
  const known: Readonly<Record<string, number>> = { us: 1e-6, 'µs': 1e-6, ms: 1e-3, s: 1, 'mg/ms': 1e-3, 'g/s': 1e-3, 'kg/s': 1, 'g/min': 1e-3 / 60, 'lb/h': 0.45359237 / 3600 };
  return unit === 'cc/min' ? (densityKgPerM3 === null ? null : (densityKgPerM3 * 1e-6) / 60) : (known[unit] ?? null);
}

const isStated = (quantity: string): quantity is StatedNumber['quantity'] => statedQuantities.includes(quantity as StatedNumber['quantity']);

/** Of tables.json: what was measured, with its errors. */
export function statedOfDocument(name: string, document: ControllerDocument): StatedRead {
  const said = new Set<string>();
  const numbers = document.tables.flatMap((table): readonly StatedNumber[] => {
    if (!isStated(table.quantity) || table.of === 'Set mean' || table.fluid.basis === 'estimated') return [];
    if (table.axes.some((a) => a.name === 'battery voltage') || table.conditions.some((c) => c.name === 'battery voltage')) {
      said.add(`Tables of ${name} over battery voltage are left out: what was lost in the wiring is the customer's.`);
      return [];
    }
    return numbersOfTable({ ...table, quantity: table.quantity }, document.errorSources);
  });
  return { name, numbers, said: [...said] };
}

function numbersOfTable(table: ControllerTable & { readonly quantity: StatedNumber['quantity'] }, sources: ControllerDocument['errorSources']): readonly StatedNumber[] {
  const fixed = (of: string): number | null => table.conditions.find((c) => c.name === of)?.value ?? null;
  const factor = siOf(table.unit, fixed('density that turns mass into volume'));
  if (factor === null) return [];
  const across = table.axes.at(-1)?.values.length ?? 1;
  const at = (i: number, of: string): number | null => {
    const axis = table.axes.findIndex((a) => a.name === of);
    return axis < 0 ? fixed(of) : (table.axes[axis]?.values[table.axes.length === 2 && axis === 0 ? Math.floor(i / across) : i % across] ?? null);
  };
  const scaled = (value: number | null, by: number): number | null => (value === null ? null : value * by);
  return table.cells.flatMap((cell, i): readonly StatedNumber[] => {
    if (!('value' in cell) || cell.basis !== 'measured') return [];
    const own = carriedFrom(cell.unrounded, cell.parts, sources);
    return [{
      of: table.of, quantity: table.quantity, voltage: at(i, 'supply voltage at the injector'), pressure: scaled(at(i, 'differential pressure'), 1e3), period: scaled(at(i, 'period'), 1e-3),
      value: cell.unrounded * factor, expanded: cell.U95 * factor, k: cell.k, dof: cell.dof ?? Number.POSITIVE_INFINITY,
      carried: own === null ? null : combine(own.value * factor, [{ of: own, sensitivity: factor }]),
    }];
  });
}

/** What a certificate says of the errors of one result (TAB-24): an effect for each value, SI. */
export interface CertifiedEffects {
  readonly effects: readonly { readonly uuid: string; readonly name: string; readonly rectangular: boolean; readonly scale: string | null; readonly dof: number | null; readonly values: readonly number[] }[];
}

/** Which of our quantities a result is, by its dimension and its name. */
const namesOf: readonly { readonly quantity: StatedNumber['quantity']; readonly dimension: CertifiedDimension; readonly name: RegExp }[] = [
  { quantity: 'dead-time', dimension: 'time', name: /dead.?time|time.?offset|\boffset\b|latency/iu },
  { quantity: 'slope', dimension: 'mass flow', name: /slope/iu },
  { quantity: 'static-flow', dimension: 'mass flow', name: /static/iu },
];

/** Of a digital calibration certificate, ours or another's. */
export function statedOfCertificate(name: string, { items, results }: ReadCertificate, errors: readonly (CertifiedEffects | null)[]): StatedRead {
  const said = new Set<string>();
  const numbers = results.flatMap((result, r): readonly StatedNumber[] =>
    result.lists.flatMap((list) => {
      const of = items.find((i) => i.reference === result.item)?.identifications[0] ?? (items.length === 1 ? items[0]?.identifications[0] : undefined);
      const measured = list.findLast((q) => q.expanded !== null);
      const kind = namesOf.find((k) => measured?.dimension === k.dimension && k.name.test(`${measured.name} ${result.name}`));
      if (of === undefined || measured === undefined || kind === undefined) {
        if (of === undefined) said.add(`A result of ${name} ("${result.name}") names no item, so it is left out.`);
        return [];
      }
      return numbersOfList({ of, quantity: kind.quantity }, measured, [...list.filter((q) => q !== measured), ...result.conditions], errors[r] ?? null);
    }),
  );
  return { name, numbers, said: [...said] };
}

function numbersOfList(what: Pick<StatedNumber, 'of' | 'quantity'>, measured: CertifiedQuantity, beside: readonly CertifiedQuantity[], errors: CertifiedEffects | null): readonly StatedNumber[] {
  const at = (i: number, dimension: CertifiedDimension, name: RegExp): number | null => {
    const found = beside.find((q) => q.dimension === dimension && name.test(q.name));
    return found === undefined ? null : (found.values.length === 1 ? found.values[0] : found.values[i]) ?? null;
  };
  return measured.values.map((value, i): StatedNumber => {
    const parts = errors?.effects.flatMap(({ uuid, name, rectangular, scale, dof, values }) => {
      const effect = values[i] ?? 0;
      if (effect === 0) return [];
      const source = { ...errorSource(rectangular ? 'stated-bound' : 'stated-elsewhere', name), key: uuid };
      return [{ source, effect, kind: scale === null ? ('shared' as const) : ('random' as const), dof: dof ?? Number.POSITIVE_INFINITY, scale: scale ?? '' }];
    });
    return {
      ...what, voltage: at(i, 'voltage', /./u), pressure: at(i, 'pressure', /./u), period: at(i, 'time', /period/iu), value,
      expanded: measured.expanded?.[i] ?? Number.NaN, k: measured.coverageFactors?.[i] ?? 2, dof: Number.POSITIVE_INFINITY, carried: parts === undefined ? null : carried(value, parts),
    };
  });
}

/** A CSV in rows, the header first; how it was read is the business of a library. `separator`: what stood between its fields, which says how decimals are written. */
export interface RowsOfCsv {
  readonly rows: readonly (readonly string[])[];
  readonly separator: string;
}

/**
 * Of a CSV with a header: `tables.csv` of this program, or columns injector, quantity (dead-time, slope, static-flow), unit, voltage_V, pressure_kPa, period_ms, value,
 * U95, and coverage_factor (without it 2) in any order. A text: why it is not read.
 */
export function statedOfCsv(name: string, { rows: [header = [], ...rows], separator }: RowsOfCsv): StatedRead | string {
  const columns = header.map((h) => h.trim());
  const missing = ['quantity', 'unit', 'value', 'U95'].filter((c) => !columns.includes(c));
  if (!columns.includes('injector') && !columns.includes('of')) missing.unshift('injector');
  if (missing.length > 0) return `${name} has no column ${missing.join(', ')}. A partner's file has the columns injector, quantity, unit, voltage_V, pressure_kPa, period_ms, value, U95, coverage_factor.`;
  const twice = columns.find((c, i) => c !== '' && columns.indexOf(c) !== i);
  if (twice !== undefined) return `${name} has the column ${twice} twice, so which of them holds cannot be told.`;
  const numbers: StatedNumber[] = [];
  for (const [i, row] of rows.entries()) {
    const read = csvNumber((column) => (row[columns.indexOf(column)] ?? '').trim(), separator);
    if (read === 'unread') return `${name}, row ${i + 2}: "${row.join(separator)}" has no value with its unit and its uncertainty that could be read.`;
    if (read !== null) numbers.push(read);
  }
  return { name, numbers, said: [] };
}

/** Measured with the fluid that was there, of one injector, at the injector's own voltage. */
const isTaken = (field: (column: string) => string): boolean =>
  field('fluid_basis') !== 'estimated' && ['', 'measured'].includes(field('basis')) && field('of') !== 'Set mean' && !`${field('first_axis')} ${field('conditions')}`.includes('battery voltage');

/** Where a row of `tables.csv` is of, by the name of an axis: on one of its axes or among its conditions (`name value unit; ...`). */
function placesOf(field: (column: string) => string, number: (raw: string) => number | null): ReadonlyMap<string, number | null> {
  const conditions = field('conditions').split('; ').flatMap((c): [string, number | null][] => {
    const [, what, value = ''] = /^(.*) (\S+) \S+$/u.exec(c) ?? [];
    return what === undefined ? [] : [[what, number(value)]];
  });
  return new Map([...conditions, [field('first_axis'), number(field('first_value'))], [field('second_axis'), number(field('second_value'))]]);
}

/** A row; null: one that is not of what is compared, or says why it has no value. */
function csvNumber(field: (column: string) => string, separator: string): StatedNumber | null | 'unread' {
  const quantity = field('quantity');
  if (!isStated(quantity) || !isTaken(field) || field('missing_because') !== '') return null;
  const number = (raw: string): number | null => (raw === '' ? null : Number(separator === ',' ? raw : raw.replace(',', '.')));
  const places = placesOf(field, number);
  const at = (column: string, axis: string, factor: number): number | null => {
    const value = number(field(column)) ?? places.get(axis) ?? null;
    return value === null || !Number.isFinite(value) ? null : value * factor;
  };
  const factor = siOf(field('unit'), places.get('density that turns mass into volume') ?? null);
  const [value, expanded, k] = [number(field('unrounded') || field('value')), number(field('U95')), number(field('coverage_factor')) ?? 2];
  if (factor === null || value === null || expanded === null || !Number.isFinite(value) || !(expanded > 0) || !(k > 0)) return 'unread';
  return {
    of: (field('injector') || field('of')).replace(/^'(?=[=+\-@])/u, ''), quantity,
    voltage: at('voltage_V', 'supply voltage at the injector', 1), pressure: at('pressure_kPa', 'differential pressure', 1e3), period: at('period_ms', 'period', 1e-3),
    value: value * factor, expanded: expanded * factor, k, dof: number(field('effective_dof')) ?? Number.POSITIVE_INFINITY, carried: null,
  };
}
