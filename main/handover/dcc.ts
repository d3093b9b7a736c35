/**
 * What was measured of each injector as a digital calibration certificate (DCC 3.2.1 of the PTB, values as D-SI 2.1.0). It holds the places that were measured, in
 * units of the SI, whatever the customer's controller takes; a set mean is no item and is not in it. TAB-17.
 */
import { create } from 'xmlbuilder2';
import type { ControllerCell, ControllerDocument, ControllerTable } from '../../app/handover/document.ts';
import type { Parties } from '../../app/handover/parties.ts';
import { xmlText } from './xml-text.ts';

type Node = ReturnType<ReturnType<typeof create>['root']>;
type Valued = Extract<ControllerCell, { value: number }>;

/** D-SI. Volumes and pounds are not of the SI; a certificate is never made in them. */
const unitNames: Readonly<Record<string, string>> = {
  V: '\\volt', kPa: '\\kilo\\pascal', ms: '\\milli\\second', us: '\\micro\\second', mg: '\\milli\\gram',
  'mg/ms': '\\milli\\gram\\per\\milli\\second', 'g/s': '\\gram\\per\\second', 'kg/m3': '\\kilogram\\metre\\tothe{-3}', degC: '\\degreecelsius',
};

function unitName(unit: string): string {
  const name = unitNames[unit];
  if (name === undefined) throw new Error(`${unit} is no unit of a certificate`);
  return name;
}

/** Of this program: the schema leaves it to whoever writes one. */
export const effectsRefType = 'railhouse_errorEffects';
export const effectRefType = 'railhouse_errorEffect';
export const degreesRefType = 'railhouse_degreesOfFreedom';

type ErrorSources = NonNullable<ControllerDocument['errorSources']>;

export interface CertificateParts {
  /** Tables of the places that were measured. */
  readonly document: ControllerDocument;
  readonly parties: Parties;
  /** Dates, YYYY-MM-DD. */
  readonly began: string;
  readonly ended: string;
}

export function dccFile({ document, parties, began, ended }: CertificateParts): string {
  const xml = create({ version: '1.0', encoding: 'UTF-8' });
  const root = xml.ele('https://ptb.de/dcc', 'dcc:digitalCalibrationCertificate', {
    'xmlns:dcc': 'https://ptb.de/dcc', 'xmlns:si': 'https://ptb.de/si', 'xmlns:xsi': 'http://www.w3.org/2001/XMLSchema-instance',
    'xsi:schemaLocation': 'https://ptb.de/dcc https://ptb.de/dcc/v3.2.1/dcc.xsd', schemaVersion: '3.2.1',
  });
  const tables = document.tables.filter((t) => t.of !== 'Set mean' && t.cells.some((c) => 'value' in c));
  const injectors = [...new Set(tables.map((t) => t.of))];
  administrative(root, { document, parties, began, ended }, injectors);
  const results = root.ele('dcc:measurementResults');
  for (const table of tables) result(results, table, injectors.indexOf(table.of), document.errorSources ?? []);
  return `${xml.end({ prettyPrint: true })}\n`;
}

const content = (node: Node, name: string, text: string): Node => node.ele(name).ele('dcc:content', { lang: 'en' }).txt(xmlText(text)).up();

function place(node: Node, city: string, countryCode?: string): void {
  const location = node.ele('dcc:location');
  location.ele('dcc:city').txt(xmlText(city));
  if (countryCode !== undefined) location.ele('dcc:countryCode').txt(countryCode);
}

function administrative(root: Node, { document, parties, began, ended }: CertificateParts, injectors: readonly string[]): void {
  const data = root.ele('dcc:administrativeData');
  const software = data.ele('dcc:dccSoftware').ele('dcc:software');
  const [name = 'railhouse', release = '0'] = document.software.split(' ');
  content(software, 'dcc:name', name);
  software.ele('dcc:release').txt(xmlText(release));
  const core = data.ele('dcc:coreData');
  core.ele('dcc:countryCodeISO3166_1').txt(parties.laboratory.countryCode);
  core.ele('dcc:usedLangCodeISO639_1').txt('en').up().ele('dcc:mandatoryLangCodeISO639_1').txt('en').up().ele('dcc:uniqueIdentifier').txt(xmlText(parties.certificate));
  const own = core.ele('dcc:identifications');
  for (const [value, what] of [[document.run.id, 'run'], [document.run.archiveHead, 'head of the archive']] as const) {
    const one = own.ele('dcc:identification').ele('dcc:issuer').txt('calibrationLaboratory').up().ele('dcc:value').txt(xmlText(value)).up();
    content(one, 'dcc:name', what);
  }
  core.ele('dcc:beginPerformanceDate').txt(began).up().ele('dcc:endPerformanceDate').txt(ended).up().ele('dcc:performanceLocation').txt('laboratory');
  const items = data.ele('dcc:items');
  injectors.forEach((serial, i) => {
    const item = items.ele('dcc:item', { id: `item-${i + 1}` });
    content(item, 'dcc:name', 'Fuel injector');
    item.ele('dcc:identifications').ele('dcc:identification').ele('dcc:issuer').txt('manufacturer').up().ele('dcc:value').txt(xmlText(serial));
  });
  const laboratory = data.ele('dcc:calibrationLaboratory').ele('dcc:contact');
  content(laboratory, 'dcc:name', parties.laboratory.name);
  place(laboratory, parties.laboratory.city, parties.laboratory.countryCode);
  content(data.ele('dcc:respPersons').ele('dcc:respPerson').ele('dcc:person'), 'dcc:name', parties.responsible);
  const customer = data.ele('dcc:customer');
  content(customer, 'dcc:name', parties.customer.name);
  place(customer, parties.customer.city);
  const statements = [...document.use.map((text) => ({ text, traceable: null })), ...document.notTraceable.map((text) => ({ text, traceable: false }))];
  const list = data.ele('dcc:statements');
  for (const { text, traceable } of statements) {
    const statement = list.ele('dcc:statement');
    if (traceable !== null) statement.ele('dcc:traceable').txt(String(traceable));
    content(statement, 'dcc:declaration', text);
  }
}

function result(results: Node, table: ControllerTable, item: number, sources: ErrorSources): void {
  const one = results.ele('dcc:measurementResult', { id: table.id, refId: `item-${item + 1}` });
  content(one, 'dcc:name', `${table.title} of ${table.of}`);
  content(one, 'dcc:description', `Fluid: ${table.fluid.text}.`);
  content(one.ele('dcc:usedMethods').ele('dcc:usedMethod'), 'dcc:name', table.method);
  const within = one.ele('dcc:results').ele('dcc:result');
  content(within, 'dcc:name', table.title);
  const data = within.ele('dcc:data');
  for (const { name, value, unit } of table.conditions) {
    const quantity = data.ele('dcc:quantity', { refType: 'basic_nominalValue' });
    content(quantity, 'dcc:name', name);
    quantity.ele('si:real').ele('si:value').txt(String(value)).up().ele('si:unit').txt(unitName(unit));
  }
  const across = table.axes.at(-1)?.values.length ?? 1;
  const known = table.cells.flatMap((cell, i) => ('value' in cell ? [{ cell, i }] : []));
  const list = data.ele('dcc:list');
  table.axes.forEach((axis, a) => {
    const index = (i: number): number => (table.axes.length === 2 && a === 0 ? Math.floor(i / across) : i % across);
    numbers(list, axis.name, 'basic_nominalValue', axis.unit, known.map(({ i }) => axis.values[index(i)] ?? Number.NaN), null);
  });
  numbers(list, table.title, 'basic_measuredValue', table.unit, known.map(({ cell }) => cell.value), known.map(({ cell }) => cell));
  errorEffects(data, table, known.map(({ cell }) => cell), sources);
}

/**
 * What each error does to each value, a list of the length of the values for every source, zero where it does nothing. Its name is a UUID in
 * `reference` (of a random one a second: the estimate behind it, with its degrees of freedom), so that two certificates of one bench can be computed
 * with (TAB-24).
 */
function errorEffects(data: Node, { unit }: ControllerTable, cells: readonly Valued[], sources: ErrorSources): void {
  const effects = new Map<string, { readonly source: number; readonly dof: number | null; readonly scale: string | null; readonly values: number[] }>();
  cells.forEach(({ parts = [] }, i) => {
    for (const [source = 0, effect = 0, dof, scale] of parts) {
      const key = `${source} ${dof ?? ''} ${scale ?? ''}`;
      const known = effects.get(key) ?? { source, dof: dof ?? null, scale: scale ?? null, values: cells.map(() => 0) };
      effects.set(key, known);
      known.values[i] = effect;
    }
  });
  if (effects.size === 0) return;
  const list = data.ele('dcc:list', { refType: effectsRefType });
  content(list, 'dcc:name', 'What one standard uncertainty of each source of error does to the values');
  for (const { source, dof, scale, values } of effects.values()) {
    const of = sources[source];
    if (of === undefined) continue;
    const quantity = list.ele('dcc:quantity', { refType: effectRefType });
    content(quantity, 'dcc:name', of.name);
    quantity.ele('si:realListXMLList').ele('si:valueXMLList').txt(values.join(' ')).up().ele('si:unitXMLList').txt(unitName(unit));
    const about = quantity.ele('dcc:measurementMetaData').ele('dcc:metaData');
    about.ele('dcc:convention').txt(of.rectangular ? 'rectangular' : 'normal').up().ele('dcc:reference').txt(`urn:uuid:${of.uuid}`);
    if (scale !== null) about.ele('dcc:reference').txt(`urn:uuid:${scale}`);
    content(about, 'dcc:declaration', [`${of.kind}: ${of.of}`, ...(of.instrument === null ? [] : [`instrument ${of.instrument}`]), ...(of.certificate === null ? [] : [`certificate ${of.certificate}`])].join(', '));
    if (dof === null) continue;
    const degrees = about.ele('dcc:data').ele('dcc:quantity', { refType: degreesRefType });
    content(degrees, 'dcc:name', 'Degrees of freedom');
    degrees.ele('si:real').ele('si:value').txt(String(dof)).up().ele('si:unit').txt('\\one');
  }
}

function numbers(list: Node, name: string, refType: string, unit: string, values: readonly number[], stated: readonly Valued[] | null): void {
  const quantity = list.ele('dcc:quantity', { refType });
  content(quantity, 'dcc:name', name);
  const real = quantity.ele('si:realListXMLList');
  real.ele('si:valueXMLList').txt(values.join(' ')).up().ele('si:unitXMLList').txt(unitName(unit));
  if (stated === null) return;
  const unsure = real.ele('si:expandedUncXMLList');
  unsure.ele('si:uncertaintyXMLList').txt(stated.map((c) => c.U95).join(' ')).up().ele('si:coverageFactorXMLList').txt(stated.map((c) => c.k).join(' ')).up().ele('si:coverageProbabilityXMLList').txt('0.95');
}
