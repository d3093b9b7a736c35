/** Every format is read back by something that did not write it, and must hold the very numbers of the reduction. */
import { createHash } from 'node:crypto';
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { XMLParser } from 'fast-xml-parser';
import { strFromU8, unzipSync } from 'fflate';
import { parquetMetadataAsync, parquetReadObjects } from 'hyparquet';
import { describe, expect, it } from 'vitest';
import { validateXML } from 'xmllint-wasm';
import { controllerDocument, controllerTables } from '../../app/handover/build.ts';
import { rowsOfTable, valueIn } from '../../app/handover/document.ts';
import type { ControllerDocument, ControllerTable } from '../../app/handover/document.ts';
import { parseLayout, plainLayout } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import { parseParties } from '../../app/handover/parties.ts';
import { shownThroughout } from '../../app/boundary/text.ts';
import { madeRun, syntheticPlan } from '../../app/results/synthetic-run.test-helper.ts';
import { cdfFile } from './cdf.ts';
import { gridFiles, longFile } from './csv-tables.ts';
import { dataPackage } from './data-package.ts';
import { dccFile } from './dcc.ts';
import { parquetFile } from './parquet.ts';
import { uuidOfName } from './uuid.ts';
import { xlsxFile } from './xlsx.ts';

/** What people are called who mean no good: formulas, markup, quotes, line breaks, escape sequences of a terminal, ends of sections. */
const hostile = ['=cmd|\' /C calc\'!A0', '<script>alert("&amp;")</script>', '+1\r\n-2', '@SUM(A1)\u001b[2J', ']]><!--', '"; \\'];

const plan = syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 400] }, hostile.length);
const named = { ...plan, injectors: plan.injectors.map((injector, i) => ({ ...injector, serialNumber: hostile[i] ?? '' })) };
const run = madeRun({ plan: named });

function documentWith(layout: ControllerLayout): ControllerDocument {
  const built = controllerTables({ plan: named, equipment: run.equipment, reduction: { ...run.reduction, windows: [] }, layout, travel: { runId: 'run-1', uuidOf: uuidOfName } });
  if (!built.ok) throw new Error(built.text);
  const about = { id: 'run-1', order: hostile[2] ?? '', beganUtc: '2026-01-02T03:04:05.000Z', archiveId: 'a-1', archiveHead: '7:ab' };
  return shownThroughout(controllerDocument({ software: 'railhouse 0.1.0', run: about, notTraceable: ['Certificate <7> has "ended".'], layout, tables: built.tables, errorSources: [...built.errorSources] }));
}

function layoutOf(input: object): ControllerLayout {
  const parsed = parseLayout({ layoutVersion: 1, name: 'Example controller', ...input });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.layout;
}

const measured = documentWith(plainLayout);
const stepped = layoutOf({
  axes: { voltagesV: [9.5, 11, 12.7, 14.4], pressuresKpa: [300, 350, 400], widthsMs: [3, 4, 6] }, deadTime: { unit: 'us', resolution: 0.4 }, flow: { unit: 'cc/min', densityKgPerM3: 745 },
  wiringDrop: { volts: 0.3, expandedVolts: 0.1 }, csv: { separator: 'semicolon', down: 'second' },
});
/** What was measured alone, and what was interpolated, shifted and rounded; with a place that has no value. */
const documents: readonly (readonly [string, ControllerLayout, ControllerDocument])[] = [
  ['as measured', plainLayout, measured],
  ['on a layout', stepped, documentWith(stepped)],
  ['with empty places', layoutOf({ axes: { voltagesV: [2.5, 12, 14] } }), documentWith(layoutOf({ axes: { voltagesV: [2.5, 12, 14] } }))],
];

type ReadBack = ReadonlyMap<string, readonly (number | null)[]>;

const expected = ({ tables }: ControllerDocument): ReadBack => new Map(tables.map((t) => [t.id, t.cells.map(valueIn)]));

/** RFC 4180, by hand. */
function csvRows(text: string, separator: string): string[][] {
  const rows: string[][] = [[]];
  let field = '';
  let quoted = false;
  for (let i = 0; i < text.length; i += 1) {
    const c = text[i] ?? '';
    if (quoted) {
      if (c !== '"') field += c;
      else if (text[i + 1] === '"') field += text[(i += 1)] ?? '';
      else quoted = false;
    } else if (c === '"') quoted = true;
    else if (c === separator) { rows.at(-1)?.push(field); field = ''; }
    else if (c === '\r') { rows.at(-1)?.push(field); field = ''; rows.push([]); i += 1; }
    else field += c;
  }
  if (rows.at(-1)?.length === 0) rows.pop();
  return rows;
}

const textOfFile = (file: { readonly pieces: unknown }): string => [...(file.pieces as Iterable<string>)].join('');
const numberIn = (field: string | undefined): number | null => (field === undefined || field === '' ? null : Number(field));

function fromGrids(document: ControllerDocument, layout: ControllerLayout): ReadBack {
  return new Map(gridFiles(document, layout).map((file) => {
    const id = file.name.slice('grid-'.length, -'.csv'.length);
    const table = tableOf(document, id);
    const separator = { comma: ',', semicolon: ';', tab: '\t' }[layout.csv.separator];
    const values = csvRows(textOfFile(file), separator).slice(layout.csv.headings || table.axes.length < 2 ? (layout.csv.headings ? 1 : 0) : 1).map((row) => row.slice(table.axes.length > 0 ? 1 : 0).map(numberIn));
    const turned = table.axes.length === 2 && layout.csv.down === 'second';
    return [id, turned ? (values[0] ?? []).flatMap((_, j) => values.map((row) => row[j] ?? null)) : values.flat()];
  }));
}

function tableOf({ tables }: ControllerDocument, id: string): ControllerTable {
  const table = tables.find((t) => t.id === id);
  if (table === undefined) throw new Error(`no table ${id}`);
  return table;
}

function fromLong(document: ControllerDocument): ReadBack {
  const [header = [], ...rows] = csvRows(textOfFile(longFile(document)), ',');
  const [id, value] = [header.indexOf('table'), header.indexOf('value')];
  const found = new Map<string, (number | null)[]>();
  for (const row of rows) found.set(row[id] ?? '', [...(found.get(row[id] ?? '') ?? []), numberIn(row[value])]);
  return found;
}

const list = <T>(value: T | readonly T[] | undefined): readonly T[] => (value === undefined ? [] : Array.isArray(value) ? (value as readonly T[]) : [value as T]);

/** A workbook read as what it is: a zip of XML (ECMA-376). Formulas are told apart. */
function sheetsOf(bytes: Uint8Array): { readonly rows: ReadonlyMap<string, readonly (readonly (string | number | null)[])[]>; readonly formulas: number } {
  const files = unzipSync(bytes);
  const xml = new XMLParser({ ignoreAttributes: false, parseTagValue: false, trimValues: false, isArray: (name) => ['row', 'c', 'sheet', 'si'].includes(name) });
  const part = (name: string) => xml.parse(strFromU8(files[name] ?? new Uint8Array())) as Record<string, Record<string, never>>;
  interface Cell { readonly '@_r': string; readonly '@_t'?: string; readonly v?: string; readonly f?: string; readonly is?: { readonly t: string | { readonly '#text': string } } }
  type Text = string | { readonly '#text'?: string } | undefined;
  const plain = (t: Text): string => (typeof t === 'object' ? (t['#text'] ?? '') : (t ?? ''));
  const strings = 'xl/sharedStrings.xml' in files ? list((part('xl/sharedStrings.xml')['sst'] as unknown as { si: readonly { t: Text }[] }).si).map((si) => plain(si.t)) : [];
  const names = (part('xl/workbook.xml')['workbook'] as unknown as { sheets: { sheet: readonly { '@_name': string }[] } }).sheets.sheet.map((s) => s['@_name']);
  let formulas = 0;
  const rows = new Map(names.map((name, i) => {
    const sheet = (part(`xl/worksheets/sheet${i + 1}.xml`)['worksheet'] as unknown as { sheetData: { row?: readonly { readonly c?: readonly Cell[] }[] } }).sheetData;
    return [name, list(sheet.row).map((row) => {
      const cells: (string | number | null)[] = [];
      for (const cell of list(row.c)) {
        if (cell.f !== undefined) formulas += 1;
        const column = Array.from(/^[A-Z]+/.exec(cell['@_r'])?.[0] ?? 'A').reduce((n, letter) => n * 26 + letter.charCodeAt(0) - 64, 0) - 1;
        while (cells.length < column) cells.push(null);
        cells.push(cell['@_t'] === 's' ? (strings[Number(cell.v)] ?? '') : cell['@_t'] === 'inlineStr' ? plain(cell.is?.t) : cell.v === undefined ? null : Number(cell.v));
      }
      return cells;
    })] as const;
  }));
  return { rows, formulas };
}

async function fromWorkbook(document: ControllerDocument, layout: ControllerLayout): Promise<ReadBack> {
  const { rows } = sheetsOf(await xlsxFile(document, layout));
  const found = new Map<string, readonly (number | null)[]>();
  for (const sheet of ['Dead time', 'Slope', 'Static flow', 'Short pulses'].flatMap((name) => rows.get(name) ?? []).entries()) {
    const [at, row] = sheet;
    const table = document.tables.find((t) => t.id === row[0]);
    if (table === undefined) continue;
    const all = ['Dead time', 'Slope', 'Static flow', 'Short pulses'].flatMap((name) => rows.get(name) ?? []);
    const turned = table.axes.length === 2 && layout.csv.down === 'second';
    const shape = rowsOfTable(table);
    const [down, across] = table.axes.length === 0 ? [1, 1] : table.axes.length === 1 ? [table.cells.length, 1] : turned ? [shape[0]?.length ?? 0, shape.length] : [shape.length, shape[0]?.length ?? 0];
    const lead = table.axes.length > 0 ? 1 : 0;
    const values = Array.from({ length: down }, (_, i) => Array.from({ length: across }, (__, j) => { const v = all[at + 2 + i]?.[lead + j]; return typeof v === 'number' ? v : null; }));
    found.set(table.id, turned ? (values[0] ?? []).flatMap((_, j) => values.map((r) => r[j] ?? null)) : values.flat());
  }
  return found;
}

interface Instance { 'SHORT-NAME': string; 'LONG-NAME': string; CATEGORY: string; 'SW-VALUE-CONT': { 'UNIT-DISPLAY-NAME': string; 'SW-VALUES-PHYS': { V?: string | string[]; VG?: { LABEL: string; V: string | string[] } | { LABEL: string; V: string | string[] }[] } }; 'SW-AXIS-CONTS'?: { 'SW-AXIS-CONT': unknown } }
function instancesOf(xml: string): readonly Instance[] {
  const read = new XMLParser({ parseTagValue: false, ignoreDeclaration: true }).parse(xml) as { MSRSW: { CATEGORY: string; 'SW-SYSTEMS': { 'SW-SYSTEM': { 'SW-INSTANCE-SPEC': { 'SW-INSTANCE-TREE': { 'SW-INSTANCE': Instance | Instance[] } } } } } };
  expect(read.MSRSW.CATEGORY).toBe('CDF20');
  return list(read.MSRSW['SW-SYSTEMS']['SW-SYSTEM']['SW-INSTANCE-SPEC']['SW-INSTANCE-TREE']['SW-INSTANCE']);
}

const physical = ({ 'SW-VALUE-CONT': { 'SW-VALUES-PHYS': phys } }: Instance): number[] => (phys.VG === undefined ? list(phys.V) : list(phys.VG).flatMap((g) => list(g.V))).map(Number);

describe.each(documents)('TAB-3: the numbers of tables %s are the same', (_, layout, document) => {
  it('in the grids and in the file of all numbers', () => {
    expect(fromGrids(document, layout)).toEqual(expected(document));
    const bare = { ...layout, csv: { ...layout.csv, headings: false } };
    expect(fromGrids(document, bare)).toEqual(expected(document));
    expect(fromLong(document)).toEqual(expected(document));
  });

  it('TAB-50: in grids with a decimal comma, which no other format has', () => {
    const point = { ...stepped, csv: { ...stepped.csv, decimal: 'point' as const } };
    const comma = { ...stepped, csv: { ...stepped.csv, decimal: 'comma' as const } };
    const document = documentWith(comma);
    const [first, second] = [gridFiles(document, point), gridFiles(document, comma)];
    expect(second.map((file) => textOfFile(file).replaceAll(/(?<=\d),(?=\d)/g, '.'))).toEqual(first.map(textOfFile));
    expect(second.map(textOfFile).join('')).toMatch(/;\d+,\d/);
    expect(second.map(textOfFile).join('')).not.toMatch(/\d\.\d+(?:;|\r)/);
    expect(textOfFile(longFile(document))).toBe(textOfFile(longFile(documentWith(point))));
    const fields = (layout: ControllerLayout) => (JSON.parse(textOfFile(dataPackage(document, layout))) as { resources: { schema: { fields: { decimalChar?: string }[] } }[] }).resources.map((r) => r.schema.fields.map((f) => f.decimalChar));
    expect(new Set(fields(comma).slice(0, -1).flat())).toEqual(new Set([',']));
    expect(new Set([...fields(point).flat(), ...(fields(comma).at(-1) ?? [])])).toEqual(new Set([undefined]));
    expect(parseLayout({ layoutVersion: 1, name: 'x', csv: { decimal: 'comma' } })).toMatchObject({ ok: false, problems: [{ path: 'csv.separator' }] });
  });

  it('in the workbook', async () => {
    expect(await fromWorkbook(document, layout)).toEqual(expected(document));
  });

  it('TAB-16: in the calibration data, but for tables with empty places, which are named', () => {
    const { xml, leftOut } = cdfFile(document);
    const instances = instancesOf(xml);
    const whole = document.tables.filter((t) => t.cells.every((c) => 'value' in c));
    expect(new Map(instances.filter((i) => !i['SHORT-NAME'].endsWith('_U95')).map((i) => [i['SHORT-NAME'], physical(i)]))).toEqual(new Map(whole.map((t) => [t.id, t.cells.map(valueIn)])));
    expect(instances).toHaveLength(2 * whole.length);
    expect(leftOut).toHaveLength(document.tables.length - whole.length);
    for (const table of document.tables.filter((t) => !whole.includes(t))) expect(leftOut.join('\n')).toContain(table.id);
  });
});

describe('TAB-15: the workbook', () => {
  it('has units, numbers in a format of the controller or of the uncertainty, and U beside them; no formula', async () => {
    const document = documentWith(stepped);
    const bytes = await xlsxFile(document, stepped);
    const { rows, formulas } = sheetsOf(bytes);
    expect(formulas).toBe(0);
    expect([...rows.keys()]).toEqual(['Overview', 'Dead time', 'Slope', 'Short pulses', 'All numbers']);
    const all = rows.get('All numbers') ?? [];
    const texts = new Set([...rows.values()].flat(2).filter((v) => typeof v === 'string'));
    for (const name of hostile) expect(texts.has(shownThroughout(name).replaceAll('\ufffd', '\u25a1')), name).toBe(true);
    const [u95, id] = [all[0]?.indexOf('U95') ?? -1, all[0]?.indexOf('table') ?? -1];
    for (const table of document.tables) expect(all.filter((r) => r[id] === table.id).map((r) => r[u95])).toEqual(table.cells.map((c) => ('U95' in c ? c.U95 : undefined)));
    // Steps of 0.4 us are shown with one digit after the point.
    expect(strFromU8(unzipSync(bytes)['xl/styles.xml'] ?? new Uint8Array())).toContain('formatCode="0.0"');
    expect(rows.get('Dead time')?.[0]?.[2]).toBe('us');
  });

  it.skipIf(spawnSync('python3', ['-c', 'import openpyxl']).status !== 0)('is opened by another program that reads spreadsheets, openpyxl (where python3 has it)', async () => {
    const document = documentWith(stepped);
    const script = 'import sys, json, io, openpyxl; book = openpyxl.load_workbook(io.BytesIO(sys.stdin.buffer.read())); print(json.dumps({s.title: [[[c.value, c.data_type, c.number_format] for c in row] for row in s.iter_rows()] for s in book}))';
    const read = JSON.parse(execFileSync('python3', ['-c', script], { input: await xlsxFile(document, stepped), encoding: 'utf8', maxBuffer: 1 << 28 })) as Record<string, [unknown, string, string][][]>;
    expect(Object.keys(read)).toEqual(['Overview', 'Dead time', 'Slope', 'Short pulses', 'All numbers']);
    const [header = [], ...rows] = read['All numbers'] ?? [];
    const column = (name: string): number => header.findIndex(([value]) => value === name);
    for (const table of document.tables) {
      const own = rows.filter((row) => row[column('table')]?.[0] === table.id);
      expect(own.map((row) => row[column('value')]?.[0] ?? null)).toEqual(table.cells.map(valueIn));
      expect(own.map((row) => row[column('U95')]?.[0] ?? null)).toEqual(table.cells.map((c) => ('U95' in c ? c.U95 : null)));
    }
    // No formula, in whatever somebody is called; units and number formats as written.
    expect(Object.values(read).flat(2).some(([, type]) => type === 'f')).toBe(false);
    expect(read['Dead time']?.[0]?.[2]?.[0]).toBe('us');
    expect((read['Dead time'] ?? []).flat().filter(([, type, format]) => type === 'n' && format === '0.0').length).toBeGreaterThan(5);
  });

  it('of one document is always the same bytes', async () => {
    expect(Buffer.compare(await xlsxFile(measured, plainLayout), await xlsxFile(measured, plainLayout))).toBe(0);
  });
});

const parsedParties = parseParties({
  partiesVersion: 1, certificate: 'EX-0001', laboratory: { name: 'Example laboratory <&>', city: 'Exampleton', countryCode: 'DE' }, responsible: 'P. Example', customer: { name: '=Customer', city: 'Elsewhere' },
});
if (!parsedParties.ok) throw new Error('parties');
const certificate = dccFile({ document: measured, parties: parsedParties.parties, began: '2026-01-02', ended: '2026-01-03' });

describe('XML', () => {
  it('TAB-13: is well-formed, whatever somebody is called', async () => {
    for (const xml of [certificate, ...documents.map(([, , document]) => cdfFile(document).xml)]) {
      const read = await validateXML({ xml: [{ fileName: 'x.xml', contents: xml }], normalization: 'c14n' });
      expect(read.errors).toEqual([]);
      expect(read.normalized).toContain('&lt;script&gt;alert("&amp;amp;")&lt;/script&gt;');
    }
    expect((await validateXML({ xml: [{ fileName: 'x.xml', contents: certificate.replace('</dcc:customer>', '') }], normalization: 'c14n' })).errors).not.toEqual([]);
  });
});

describe('TAB-16: calibration data', () => {
  it('are values, curves and maps with units, axes and labels as the structure of CDF 2.0 has them', () => {
    const layout = layoutOf({ axes: { voltagesV: [12], pressuresKpa: [400] } });
    const of = (l: ControllerLayout, name: RegExp) => { const found = instancesOf(cdfFile(documentWith(l)).xml).find((i) => name.test(i['SHORT-NAME'])); if (found === undefined) throw new Error('no instance'); return found; };
    const value = of(layout, /^dead_time_1_/);
    expect([value.CATEGORY, value['SW-AXIS-CONTS'], value['SW-VALUE-CONT']['UNIT-DISPLAY-NAME']]).toEqual(['VALUE', undefined, 'ms']);
    expect(value['SHORT-NAME']).toMatch(/^[A-Za-z][A-Za-z0-9_]*$/);
    const curve = of(layoutOf({ axes: { voltagesV: [10, 12], pressuresKpa: [400] } }), /^dead_time_1_/);
    expect(curve.CATEGORY).toBe('CURVE');
    expect(curve['SW-AXIS-CONTS']).toEqual({ 'SW-AXIS-CONT': { CATEGORY: 'STD_AXIS', 'UNIT-DISPLAY-NAME': 'V', 'SW-VALUES-PHYS': { V: ['10', '12'] } } });
    expect(curve['LONG-NAME']).toContain(hostile[0]);
    expect(of(plainLayout, /^dead_time_2_/)['LONG-NAME']).toContain(hostile[1]);
    const map = of(layoutOf({ axes: { voltagesV: [10, 12, 14], pressuresKpa: [300, 400] } }), /^dead_time_1_/);
    expect(map.CATEGORY).toBe('MAP');
    expect(list(map['SW-VALUE-CONT']['SW-VALUES-PHYS'].VG).map((g) => g.LABEL)).toEqual(['10', '12', '14']);
    const xml = cdfFile(measured).xml;
    expect(xml).toMatch(/^<\?xml version="1\.0" encoding="UTF-8"\?>\n<!DOCTYPE MSRSW PUBLIC "-\/\/ASAM\/\/DTD CALIBRATION DATA FORMAT:V2\.0\.0:LAI:IAI:XML:CDF200\.XSD\/\/EN" "cdf_v2\.0\.0\.sl\.dtd">/);
  });

  it('keep the order of elements of the document type (ASAM CDF 2.0: SW-INSTANCE, SW-VALUE-CONT, SW-AXIS-CONT, VG)', () => {
    type Ordered = Readonly<Record<string, unknown>>;
    const nameOf = (node: Ordered): string => Object.keys(node).find((key) => key !== ':@') ?? '';
    const inner = (node: Ordered): readonly Ordered[] => (Array.isArray(node[nameOf(node)]) ? (node[nameOf(node)] as readonly Ordered[]) : []);
    const order: Readonly<Record<string, RegExp>> = {
      MSRSW: /^SHORT-NAME CATEGORY SW-SYSTEMS$/, 'SW-SYSTEM': /^SHORT-NAME SW-INSTANCE-SPEC$/, 'SW-INSTANCE-SPEC': /^SW-INSTANCE-TREE$/, 'SW-INSTANCE-TREE': /^SHORT-NAME CATEGORY( SW-INSTANCE)*$/,
      'SW-INSTANCE': /^SHORT-NAME LONG-NAME CATEGORY SW-VALUE-CONT( SW-AXIS-CONTS)?$/, 'SW-VALUE-CONT': /^UNIT-DISPLAY-NAME SW-VALUES-PHYS$/, 'SW-VALUES-PHYS': /^(V|VG)( V| VG)*$/, VG: /^LABEL( V)+$/,
      'SW-AXIS-CONTS': /^SW-AXIS-CONT( SW-AXIS-CONT)?$/, 'SW-AXIS-CONT': /^CATEGORY UNIT-DISPLAY-NAME SW-VALUES-PHYS$/,
    };
    const met = new Set<string>();
    const walk = (node: Ordered): void => {
      const rule = order[nameOf(node)];
      if (rule !== undefined) {
        met.add(nameOf(node));
        expect(inner(node).map(nameOf).join(' ')).toMatch(rule);
      }
      inner(node).forEach(walk);
    };
    (new XMLParser({ preserveOrder: true, ignoreDeclaration: true }).parse(cdfFile(measured).xml) as readonly Ordered[]).forEach(walk);
    expect([...met].sort()).toEqual(Object.keys(order).sort());
  });

  it('are valid by those structure rules for libxml2 too, and torn ones are not', async () => {
    const type = (name: string, inside: string): string => `<xs:element name="${name}"><xs:complexType><xs:sequence>${inside}</xs:sequence></xs:complexType></xs:element>`;
    const text = (name: string, ...values: readonly string[]): string => `<xs:element name="${name}"><xs:simpleType><xs:restriction base="xs:string">${values.map((v) => `<xs:enumeration value="${v}"/>`).join('')}<xs:minLength value="1"/></xs:restriction></xs:simpleType></xs:element>`;
    const short = '<xs:element name="SHORT-NAME"><xs:simpleType><xs:restriction base="xs:string"><xs:pattern value="[A-Za-z_][A-Za-z0-9_]{0,127}"/></xs:restriction></xs:simpleType></xs:element>';
    const values = type('SW-VALUES-PHYS', `<xs:choice><xs:element name="V" type="xs:double" maxOccurs="unbounded"/>${type('VG', `${text('LABEL')}<xs:element name="V" type="xs:double" maxOccurs="unbounded"/>`).replace('<xs:element name="VG"', '<xs:element name="VG" maxOccurs="unbounded"')}</xs:choice>`);
    const axis = type('SW-AXIS-CONT', `${text('CATEGORY', 'STD_AXIS', 'COM_AXIS', 'FIX_AXIS')}${text('UNIT-DISPLAY-NAME')}${values}`).replace('<xs:element', '<xs:element maxOccurs="2"');
    const instance = type('SW-INSTANCE', `${short}${text('LONG-NAME')}${text('CATEGORY', 'VALUE', 'CURVE', 'MAP')}${type('SW-VALUE-CONT', `${text('UNIT-DISPLAY-NAME')}${values}`)}${type('SW-AXIS-CONTS', axis).replace('<xs:element', '<xs:element minOccurs="0"')}`).replace('<xs:element', '<xs:element maxOccurs="unbounded"');
    const tree = type('SW-INSTANCE-TREE', `${short}${text('CATEGORY', 'VCD', 'NO_VCD')}${instance}`);
    const schema = `<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">${type('MSRSW', `${short}${text('CATEGORY', 'CDF20')}${type('SW-SYSTEMS', type('SW-SYSTEM', `${short}${type('SW-INSTANCE-SPEC', tree)}`))}`)}</xs:schema>`;
    const errors = async (xml: string) => (await validateXML({ xml: [{ fileName: 'x.xml', contents: xml }], schema: [{ fileName: 'x.xsd', contents: schema }] })).errors;
    for (const [, , document] of documents) expect(await errors(cdfFile(document).xml)).toEqual([]);
    const { xml } = cdfFile(measured);
    expect(await errors(xml.replace('<CATEGORY>MAP</CATEGORY>', '<CATEGORY>PLAN</CATEGORY>'))).not.toEqual([]);
    expect(await errors(xml.replace(/<V>[^<]*<\/V>/, '<V>high</V>'))).not.toEqual([]);
    expect(await errors(xml.replace(/<SW-VALUE-CONT>[\s\S]*?<\/SW-VALUE-CONT>/, ''))).not.toEqual([]);
  });

  it('carry the uncertainty of each beside it', () => {
    const instances = instancesOf(cdfFile(measured).xml);
    for (const table of measured.tables) {
      const unsure = instances.find((i) => i['SHORT-NAME'] === `${table.id}_U95`);
      expect(unsure === undefined ? null : physical(unsure)).toEqual(table.cells.map((c) => ('U95' in c ? c.U95 : null)));
    }
  });
});

describe('TAB-17: the digital calibration certificate', () => {
  interface Quantity { readonly '@_refType': string; readonly 'si:realListXMLList': { readonly 'si:valueXMLList': string; readonly 'si:unitXMLList': string; readonly 'si:expandedUncXMLList'?: { readonly 'si:uncertaintyXMLList': string; readonly 'si:coverageFactorXMLList': string } } }
  interface Measurement { readonly '@_id': string; readonly '@_refId': string; readonly 'dcc:results': { readonly 'dcc:result': { readonly 'dcc:data': { readonly 'dcc:list': readonly { readonly 'dcc:quantity': readonly Quantity[] }[] } } } }
  const read = () => {
    const parsed = new XMLParser({ ignoreAttributes: false, parseTagValue: false, isArray: (name) => ['dcc:quantity', 'dcc:list', 'dcc:item', 'dcc:measurementResult'].includes(name) }).parse(certificate) as { 'dcc:digitalCalibrationCertificate': { 'dcc:administrativeData': { 'dcc:items': { 'dcc:item': { '@_id': string; 'dcc:identifications': { 'dcc:identification': { 'dcc:value': string } } }[] } }; 'dcc:measurementResults': { 'dcc:measurementResult': Measurement[] } } };
    return parsed['dcc:digitalCalibrationCertificate'];
  };

  it('holds the numbers of the reduction with U and k, each for its injector', () => {
    const root = read();
    const items = new Map(root['dcc:administrativeData']['dcc:items']['dcc:item'].map((i) => [i['@_id'], i['dcc:identifications']['dcc:identification']['dcc:value']]));
    const results = root['dcc:measurementResults']['dcc:measurementResult'];
    const own = measured.tables.filter((t) => t.of !== 'Set mean');
    expect(results.map((r) => r['@_id'])).toEqual(own.map((t) => t.id));
    results.forEach((r, i) => {
      const table = own[i];
      if (table === undefined) throw new Error('no table');
      expect(items.get(r['@_refId'])).toBe(table.of);
      const last = r['dcc:results']['dcc:result']['dcc:data']['dcc:list'][0]?.['dcc:quantity'].at(-1)?.['si:realListXMLList'];
      const numbers = (text: string | undefined) => (text ?? '').split(' ').map(Number);
      expect(numbers(last?.['si:valueXMLList'])).toEqual(table.cells.flatMap((c) => ('value' in c ? [c.value] : [])));
      expect(numbers(last?.['si:expandedUncXMLList']?.['si:uncertaintyXMLList'])).toEqual(table.cells.flatMap((c) => ('value' in c ? [c.U95] : [])));
      expect(numbers(last?.['si:expandedUncXMLList']?.['si:coverageFactorXMLList'])).toEqual(table.cells.flatMap((c) => ('value' in c ? [c.k] : [])));
    });
  });

  it('says that it cannot be traced where it cannot', () => {
    expect(certificate).toContain('<dcc:traceable>false</dcc:traceable>');
    expect(certificate).toContain('Certificate &lt;7&gt; has "ended".');
  });

  it('is refused without those it must name', () => {
    expect(parseParties({ partiesVersion: 1, certificate: '', laboratory: { name: 'x', city: 'y', countryCode: 'de' } })).toMatchObject({ ok: false });
  });

  const schemas = process.env['RAILHOUSE_DCC_SCHEMAS'] ?? '';
  it.skipIf(!existsSync(join(schemas, 'dcc.xsd')))('is valid by the schema of version 3.2.1, and one without a customer is not (where RAILHOUSE_DCC_SCHEMAS names the folder of dcc.xsd)', async () => {
    const file = (name: string) => ({ fileName: name, contents: readFileSync(join(schemas, name), 'utf8') });
    const validate = (xml: string) => validateXML({ xml: [{ fileName: 'certificate.xml', contents: xml }], schema: [file('dcc.xsd')], preload: [file('SI_Format.xsd'), file('xmldsig-core-schema.xsd')], maxMemoryPages: 4096 });
    const result = await validate(certificate);
    expect(result.errors).toEqual([]);
    expect(result.valid).toBe(true);
    expect((await validate(certificate.replace(/<dcc:customer>[\s\S]*<\/dcc:customer>/, ''))).valid).toBe(false);
  });
});

describe('TAB-18: Parquet', () => {
  const columns = {
    number: (r: { n: number; t: string }) => r.n, text: (r: { n: number; t: string }) => r.t, odd: (r: { n: number; t: string }) => r.n % 2 === 1,
    sometimes: (r: { n: number; t: string }) => (r.n === 1 ? 2.5 : null), nothing: () => undefined, infinite: () => Number.POSITIVE_INFINITY, mixed: (r: { n: number; t: string }) => (r.n === 1 ? 'one' : r.n),
  };
  const rows = Array.from({ length: 45_000 }, (_, n) => ({ n, t: hostile[n % hostile.length] ?? '' }));

  it('holds each value as what it is, over several groups of rows, with what it belongs to', async () => {
    const file = await parquetFile('x.parquet', columns, () => rows, { run: 'run-1', software: 'railhouse' });
    const pieces: Uint8Array[] = [];
    for await (const piece of file.pieces) pieces.push(piece);
    expect(pieces.length).toBe(4);
    const whole = Uint8Array.from(Buffer.concat(pieces)).buffer;
    const metadata = await parquetMetadataAsync(whole);
    expect(metadata.row_groups).toHaveLength(3);
    expect(metadata.key_value_metadata).toEqual([{ key: 'run', value: 'run-1' }, { key: 'software', value: 'railhouse' }]);
    const read = await parquetReadObjects({ file: whole });
    expect(read).toHaveLength(rows.length);
    for (const i of [0, 1, 2, 19_999, 20_000, 44_999]) {
      expect(read[i]).toEqual({ number: i, text: shownThroughout(hostile[i % hostile.length]), odd: i % 2 === 1, sometimes: i === 1 ? 2.5 : null, nothing: null, infinite: null, mixed: i === 1 ? 'one' : String(i) });
    }
  });

  it('of no rows is a file too', async () => {
    const file = await parquetFile('x.parquet', columns, () => [], {});
    const pieces: Uint8Array[] = [];
    for await (const piece of file.pieces) pieces.push(piece);
    expect(await parquetReadObjects({ file: Uint8Array.from(Buffer.concat(pieces)).buffer })).toEqual([]);
  });
});

describe('TAB-19: the data package', () => {
  it.each(documents)('describes every CSV of tables %s: path, size, hash, columns and their types', (_, layout, document) => {
    interface Resource { readonly name: string; readonly path: string; readonly bytes: number; readonly hash: string; readonly dialect: { readonly delimiter: string; readonly header: boolean; readonly quoteChar: string; readonly doubleQuote: boolean; readonly lineTerminator: string }; readonly schema: { readonly fields: readonly { readonly name: string; readonly type: string }[] } }
    const whole = JSON.parse(textOfFile(dataPackage(document, layout))) as { readonly $schema: string; readonly name: string; readonly resources: readonly Resource[] };
    expect(whole.$schema).toBe('https://datapackage.org/profiles/2.0/datapackage.json');
    const files = new Map([...gridFiles(document, layout), longFile(document)].map((f) => [f.name, textOfFile(f)]));
    expect(whole.resources.map((r) => r.path).sort()).toEqual([...files.keys()].sort());
    // Data Package 2.0: names are unique, of lower case letters, digits, "-", "_", "."; paths are relative and lead nowhere else.
    expect(new Set(whole.resources.map((r) => r.name)).size).toBe(whole.resources.length);
    for (const { name, path, bytes, hash, dialect, schema } of whole.resources) {
      expect(name).toMatch(/^[a-z0-9._-]+$/);
      expect(path).toMatch(/^[\w.-]+$/);
      const text = files.get(path) ?? '';
      expect(bytes).toBe(Buffer.byteLength(text));
      expect(hash).toBe(`sha256:${createHash('sha256').update(text).digest('hex')}`);
      // As RFC 4180 has it, which is how the files are written and read here.
      expect(dialect).toMatchObject({ quoteChar: '"', doubleQuote: true, lineTerminator: '\r\n' });
      const rows = csvRows(text, dialect.delimiter);
      const names = schema.fields.map((f) => f.name);
      expect(new Set(names).size).toBe(names.length);
      if (dialect.header) expect(rows[0]).toEqual(names.map((n) => n.replace(/ \(\d+\)$/, '')));
      for (const row of rows.slice(dialect.header ? 1 : 0)) {
        expect(row).toHaveLength(names.length);
        row.forEach((field, i) => { if (schema.fields[i]?.type === 'number' && field !== '') expect(Number.isFinite(Number(field)), field).toBe(true); });
      }
    }
  });
});
