/**
 * Reads a digital calibration certificate (DCC 3.2 of the PTB, values as D-SI 2.1): of an instrument of the bench, or of another laboratory that measured the same
 * injectors. Nothing is fetched, no entity is expanded, and what is not understood is refused with words. TAB-28.
 */
import { XMLParser } from 'fast-xml-parser';
import type { CertifiedDimension, CertifiedQuantity, ReadCertificate } from '../../app/equipment/certificate.ts';
import type { CertifiedEffects } from '../../app/handover/stated.ts';
import { degreesRefType, effectRefType, effectsRefType } from './dcc.ts';

/** No certificate of a bench is larger. */
const mostBytes = 20_000_000;

/** Elements by local name, each a list; attributes begin with @. */
type Element = Readonly<Record<string, unknown>>;

class NotRead extends Error {}

const isElement = (value: unknown): value is Element => typeof value === 'object' && value !== null && !Array.isArray(value);
/** Children of this name, those with text alone as elements too. */
const all = (of: Element | undefined, name: string): readonly Element[] => {
  const found = of?.[name];
  return (Array.isArray(found) ? found : found === undefined ? [] : [found]).map((one: unknown) => (isElement(one) ? one : { '#text': String(one) }));
};
const one = (of: Element | undefined, ...path: readonly string[]): Element | undefined => path.reduce<Element | undefined>((at, name) => all(at, name)[0], of);
const textAt = (of: Element | undefined, ...path: readonly string[]): string => {
  const found = one(of, ...path)?.['#text'];
  return typeof found === 'string' ? found.trim() : '';
};
const attribute = (of: Element, name: string): string => (typeof of[`@${name}`] === 'string' ? (of[`@${name}`] as string) : '');
const nameOf = (of: Element): string => textAt(of, 'name', 'content');

/** D-SI units that occur here: dimension, and what one of them is in the SI. */
const units: Readonly<Record<string, readonly [CertifiedDimension, number]>> = {
  '\\hertz': ['frequency', 1], '\\kilo\\hertz': ['frequency', 1e3], '\\second\\tothe{-1}': ['frequency', 1],
  '\\litre\\tothe{-1}': ['per volume', 1e3], '\\one\\litre\\tothe{-1}': ['per volume', 1e3], '\\per\\litre': ['per volume', 1e3], '\\one\\per\\litre': ['per volume', 1e3],
  '\\metre\\tothe{-3}': ['per volume', 1], '\\one\\metre\\tothe{-3}': ['per volume', 1],
  '\\litre\\per\\minute': ['volume flow', 1e-3 / 60], '\\litre\\minute\\tothe{-1}': ['volume flow', 1e-3 / 60], '\\milli\\litre\\per\\minute': ['volume flow', 1e-6 / 60], '\\milli\\litre\\minute\\tothe{-1}': ['volume flow', 1e-6 / 60],
  '\\litre\\per\\hour': ['volume flow', 1e-3 / 3600], '\\litre\\hour\\tothe{-1}': ['volume flow', 1e-3 / 3600], '\\metre\\tothe{3}\\second\\tothe{-1}': ['volume flow', 1], '\\metre\\tothe{3}\\hour\\tothe{-1}': ['volume flow', 1 / 3600],
  '\\pascal': ['pressure', 1], '\\kilo\\pascal': ['pressure', 1e3], '\\mega\\pascal': ['pressure', 1e6], '\\bar': ['pressure', 1e5],
  '\\degreecelsius': ['temperature', 1], '\\kelvin': ['temperature', 1], '\\milli\\kelvin': ['temperature', 1e-3],
  '\\volt': ['voltage', 1], '\\milli\\volt': ['voltage', 1e-3],
  '\\second': ['time', 1], '\\milli\\second': ['time', 1e-3], '\\micro\\second': ['time', 1e-6],
  '\\milli\\gram': ['mass', 1e-6], '\\milli\\gram\\per\\milli\\second': ['mass flow', 1e-3], '\\gram\\per\\second': ['mass flow', 1e-3], '\\gram\\second\\tothe{-1}': ['mass flow', 1e-3],
  '\\kilogram\\metre\\tothe{-3}': ['density', 1], '\\one': ['number', 1], '\\percent': ['number', 1e-2],
};

export type DccRead = { readonly ok: true; readonly certificate: ReadCertificate; /** One for each result, in order; null: it says nothing of its errors. */ readonly errors: readonly (CertifiedEffects | null)[] } | { readonly ok: false; readonly text: string };

export function readDcc(xml: string): DccRead {
  try {
    return { ok: true, ...read(xml) };
  } catch (error) {
    if (error instanceof NotRead) return { ok: false, text: error.message };
    throw error;
  }
}

function read(xml: string): Omit<Extract<DccRead, { ok: true }>, 'ok'> {
  const not = (text: string): never => {
    throw new NotRead(text);
  };
  if (xml.length > mostBytes) not(`The file has more than ${mostBytes / 1e6} MB, which no certificate of an instrument has.`);
  if (/<!DOCTYPE/iu.test(xml)) not('The file has a document type, which a digital calibration certificate has not. It is not read.');
  const parsed = parsedXml(xml);
  const root = one(parsed, 'digitalCalibrationCertificate');
  if (root === undefined || !xml.includes('https://ptb.de/dcc')) return not('The file is no digital calibration certificate (DCC of the PTB): its root is another.');
  const version = attribute(root, 'schemaVersion');
  if (!/^3\.2\./u.test(version)) not(`The certificate is a DCC of version ${version || '(none)'}; this program reads 3.2. Ask the laboratory for one, or type the record by hand.`);
  const data = one(root, 'administrativeData');
  const core = one(data, 'coreData');
  const number = textAt(core, 'uniqueIdentifier');
  const performedUntil = textAt(core, 'endPerformanceDate').slice(0, 10);
  if (number === '' || !/^\d{4}-\d{2}-\d{2}$/u.test(performedUntil)) not('The certificate has no unique identifier or no date of its measurements.');
  const statements = all(one(data, 'statements'), 'statement');
  const results = all(one(root, 'measurementResults'), 'measurementResult').flatMap((result) =>
    all(one(result, 'results'), 'result').map((within) => resultOf(result, within)),
  );
  return {
    certificate: {
      number, performedUntil,
      issuedOn: textAt(core, 'issueDate').slice(0, 10) || null,
      validUntil: endOf(statements, performedUntil),
      items: all(one(data, 'items'), 'item').map((item) => ({ reference: attribute(item, 'id'), identifications: all(one(item, 'identifications'), 'identification').map((i) => textAt(i, 'value')).filter((v) => v !== '') })),
      results: results.map((r) => r.result),
      notTraceable: statements.some((s) => textAt(s, 'traceable') === 'false' || textAt(s, 'traceable') === '0'),
    },
    errors: results.map((r) => r.errors),
  };
}

function parsedXml(xml: string): Element {
  const parser = new XMLParser({ ignoreAttributes: false, attributeNamePrefix: '@', alwaysCreateTextNode: true, parseTagValue: false, removeNSPrefix: true, ignoreDeclaration: true, ignorePiTags: true });
  try {
    // eslint-disable-next-line @typescript-eslint/no-deprecated -- what takes its place is one more package for the same check, and without it a torn file is read as far as it goes
    return parser.parse(xml, true) as Element;
  } catch (error) {
    throw new NotRead(`The file is no well-formed XML: ${(error as Error).message}`);
  }
}

/** The day that a statement on validity or the next calibration names, or its period after the measurements (years, months, days). */
function endOf(statements: readonly Element[], performedUntil: string): string | null {
  for (const statement of statements) {
    const about = `${attribute(statement, 'refType')} ${nameOf(statement)} ${textAt(statement, 'declaration', 'content')}`;
    if (!/valid until|validity|expir|recalibrat|next ?calibration/iu.test(about)) continue;
    const day = textAt(statement, 'date').slice(0, 10);
    if (day !== '') return day;
    const [, years = '0', months = '0', days = '0'] = /^P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)D)?$/u.exec(textAt(statement, 'period')) ?? [];
    if (years === '0' && months === '0' && days === '0') continue;
    const [y = 0, m = 1, d = 1] = performedUntil.split('-').map(Number);
    // The last day of a shorter month, and not the first of the next.
    const month = m - 1 + Number(months);
    const lastDay = new Date(Date.UTC(y + Number(years), month + 1, 0)).getUTCDate();
    return new Date(Date.UTC(y + Number(years), month, Math.min(d, lastDay) + Number(days))).toISOString().slice(0, 10);
  }
  return null;
}

const numbersIn = (text: string): number[] => text.split(/\s+/u).filter((t) => t !== '').map(Number);

/** One uncertainty may stand for all values. */
const spread = (list: readonly number[], n: number): readonly number[] => (list.length === 1 ? Array.from({ length: n }, () => list[0] ?? Number.NaN) : list);

function quantityOf(quantity: Element): CertifiedQuantity {
  const name = nameOf(quantity);
  const refType = attribute(quantity, 'refType');
  const single = one(quantity, 'real');
  const list = one(quantity, 'realListXMLList');
  const from = list ?? single;
  if (from === undefined) return { name, refType, dimension: null, unit: 'no number', values: [], expanded: null, coverageFactors: null };
  const ending = list === undefined ? '' : 'XMLList';
  const values = numbersIn(textAt(from, `value${ending}`));
  const unit = textAt(from, `unit${ending}`);
  if (values.length === 0 || !values.every(Number.isFinite)) throw new NotRead(`"${name}" has values that are no numbers.`);
  if (/\s/u.test(unit) && new Set(unit.split(/\s+/u)).size > 1) throw new NotRead(`"${name}" has a unit of its own for each value, which this program does not read.`);
  const [known] = unit.split(/\s+/u).map((u) => units[u]);
  const factor = known?.[1] ?? 1;
  const stated = { name, refType, dimension: known?.[0] ?? null, unit, values: values.map((v) => v * factor) };
  const unsure = one(from, `expandedUnc${ending}`);
  if (unsure === undefined) return { ...stated, expanded: null, coverageFactors: null };
  const expanded = spread(numbersIn(textAt(unsure, `uncertainty${ending}`)), values.length);
  const coverageFactors = spread(numbersIn(textAt(unsure, `coverageFactor${ending}`)), values.length);
  if (expanded.length !== values.length || coverageFactors.length !== values.length) throw new NotRead(`"${name}" has ${values.length} values, ${expanded.length} uncertainties and ${coverageFactors.length} coverage factors.`);
  return { ...stated, expanded: expanded.map((v) => v * factor), coverageFactors };
}

function resultOf(measurement: Element, within: Element): { readonly result: ReadCertificate['results'][number]; readonly errors: CertifiedEffects | null } {
  const data = one(within, 'data');
  const lists = all(data, 'list');
  const travelling = lists.find((l) => attribute(l, 'refType') === effectsRefType);
  const read = lists.filter((l) => l !== travelling).map((l) => all(l, 'quantity').map(quantityOf));
  for (const list of read) {
    const lengths = new Set(list.map((q) => q.values.length));
    if (lengths.size > 1) throw new NotRead(`In "${nameOf(within)}" values stand side by side that are not equally many.`);
  }
  return {
    result: { item: attribute(measurement, 'refId'), name: nameOf(within), conditions: all(data, 'quantity').map(quantityOf), lists: read },
    errors: travelling === undefined ? null : { effects: all(travelling, 'quantity').filter((q) => attribute(q, 'refType') === effectRefType).map(effectOf) },
  };
}

function effectOf(quantity: Element): CertifiedEffects['effects'][number] {
  const about = one(quantity, 'measurementMetaData', 'metaData');
  const [uuid = '', scale = null] = all(about, 'reference').map((r) => String(r['#text']).trim().replace(/^urn:uuid:/u, ''));
  const degrees = all(one(about, 'data'), 'quantity').find((q) => attribute(q, 'refType') === degreesRefType);
  const { name, values } = quantityOf(quantity);
  if (uuid === '') throw new NotRead(`The error source "${name}" has no name that would hold in another document.`);
  return { uuid, name, rectangular: textAt(about, 'convention') === 'rectangular', scale, dof: degrees === undefined ? null : (quantityOf(degrees).values[0] ?? null), values };
}
