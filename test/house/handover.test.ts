/** Tables for a controller, from a run on the simulated bench to the files that a customer gets. */
import { spawnSync } from 'node:child_process';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { parquetReadObjects } from 'hyparquet';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { ControllerDocument } from '../../app/handover/document.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { scratchFolder, smallPlan } from '../builders/in-process.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
let folder = '';
let archive = '';
let parties = '';

function cli(...args: readonly string[]): { readonly code: number | null; readonly out: string; readonly err: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...args], { encoding: 'utf8' });
  return { code: status, out: stdout, err: stderr };
}

/** What people are called who mean no good. */
const hostile = ['=1+1', '+SUM(A1)', '-2', '@x', '<b onclick="x">&amp;</b>', "'; DROP TABLE runs; --", '../../etc/x'];

const made = (name: string, layout?: object, as = 'all') => {
  const file = join(folder, `${name}.json`);
  if (layout !== undefined) writeFileSync(file, JSON.stringify({ layoutVersion: 1, name, ...layout }));
  const to = join(folder, name);
  const done = cli('tables', '--archive', archive, '--to', to, '--as', as, '--parties', parties, ...(layout === undefined ? [] : ['--layout', file]));
  return { ...done, to, text: (of: string) => readFileSync(join(to, of), 'utf8') };
};

/** The one run of the archive. */
const archiveRun = (): string => (JSON.parse(cli('runs', '--archive', archive, '--json').out.split('\n')[0] ?? '') as { id: string }).id;

const documentIn = (text: string) => JSON.parse(text) as ControllerDocument;

beforeAll(() => {
  folder = scratchFolder();
  archive = join(folder, 'archive.sqlite');
  parties = join(folder, 'parties.json');
  writeFileSync(parties, JSON.stringify({ partiesVersion: 1, certificate: 'EX-1', laboratory: { name: 'Example laboratory', city: 'Exampleton', countryCode: 'DE' }, responsible: 'A. Tester', customer: { name: '<customer>', city: 'Elsewhere' } }));
  const plan = join(folder, 'plan.json');
  const { small, first } = smallPlan();
  const wanted = {
    ...small,
    order: '=HYPERLINK("x")',
    injectors: hostile.map((serialNumber, i) => ({ ...first, serialNumber, channel: i + 1 })),
    axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2.5, 3, 5, 8], periodMs: [20], replicates: 1 },
    reduction: { ...small.reduction, linearFromMs: 3 },
  };
  writeFileSync(plan, JSON.stringify(wanted));
  const swept = cli('sweep', plan, '--archive', archive, '--operator', 'A. Tester');
  if (swept.code !== 0) throw new Error(swept.out + swept.err);
}, 240_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('railhouse tables', () => {
  it('TAB-12: writes a whole set that check-export proves, replaces an earlier one of other formats and tables, and leaves a foreign folder alone', () => {
    const first = made('set');
    expect(first.err).toBe('');
    expect(first.code).toBe(0);
    expect(readdirSync(first.to).filter((name) => !name.startsWith('grid-')).sort()).toEqual([
      'attempts.parquet', 'certificate.dcc.xml', 'datapackage.json', 'manifest.json', 'tables.cdfx', 'tables.csv', 'tables.json', 'tables.schema.json', 'tables.xlsx', 'telemetry.parquet', 'windows.parquet',
    ]);
    expect(cli('check-export', first.to)).toMatchObject({ code: 0 });
    const layout = { axes: { voltagesV: [11, 12, 13] }, deadTime: { unit: 'us', resolution: 1 } };
    expect(made('set', layout, 'json')).toMatchObject({ code: 0 });
    expect(readdirSync(first.to).sort()).toEqual(['manifest.json', 'tables.json', 'tables.schema.json']);
    expect(cli('check-export', first.to)).toMatchObject({ code: 0 });
    writeFileSync(join(first.to, 'mine.txt'), 'mine');
    const refused = made('set');
    expect(refused.code).toBe(2);
    expect(refused.err).toContain('mine.txt');
    expect(readdirSync(first.to)).toContain('tables.json');
  });

  it('TAB-1: says what is wrong with a layout, and prints its schema', () => {
    const wrong = made('wrong', { axes: { voltagesV: [12, 9] } });
    expect(wrong.code).toBe(2);
    expect(wrong.err).toContain('axes.voltagesV[1]: Breakpoints must rise');
    const validate = new Ajv2020({ strict: false }).compile(JSON.parse(cli('layout-schema').out) as object);
    expect(validate({ layoutVersion: 1, name: 'x', axes: { voltagesV: [9, 12] }, wiringDrop: { volts: 0.4 } })).toBe(true);
    expect(validate({ layoutVersion: 1, name: 'x', axes: { voltagesV: [9, 'x'] } })).toBe(false);
    expect(cli('tables', '--archive', archive, '--as', 'pdf').code).toBe(2);
  });

  it('TAB-14: the JSON keeps its schema, and a changed one does not', () => {
    const { text } = made('json', undefined, 'json');
    const validate = new Ajv2020({ strict: false }).compile(JSON.parse(text('tables.schema.json')) as object);
    const document = documentIn(text('tables.json'));
    expect(validate(document)).toBe(true);
    expect(document.tables.map((t) => t.of)).toEqual(expect.arrayContaining([...hostile, 'Set mean']));
    expect(document.run).toMatchObject({ order: '=HYPERLINK("x")' });
    expect(validate({ ...document, tables: document.tables.map((t) => ({ ...t, unit: 'furlong' })) })).toBe(false);
  });

  it('TAB-27: monte-carlo prints both intervals of every result', { timeout: 240_000 }, () => {
    const said = cli('monte-carlo', '--archive', archive, '--quiet');
    expect(said.code).toBe(0);
    expect(said.err).toBe('');
    expect(said.out).toMatch(/10 V, 400 kPa, period 20 ms: dead time .*\d to .*\d ms .*\d to .*\d ms .*(agree|DIFFER)/);
    expect(said.out).toMatch(/\d+ of 28 agree within half a unit/);
  });

  it('TAB-30: details-schema and parties-schema are kept by the samples, and not by what is wrong', () => {
    const sample = (name: string) => JSON.parse(readFileSync(join(command, '../../samples', name), 'utf8')) as Record<string, unknown>;
    const schemaOf = (name: string) => { const { code, out } = cli(name); expect(code).toBe(0); return new Ajv2020({ strict: false, formats: { date: /^\d{4}-\d{2}-\d{2}$/ } }).compile(JSON.parse(out) as object); };
    const [details, named] = [schemaOf('details-schema'), schemaOf('parties-schema')];
    expect(details(sample('report-details.json'))).toBe(true);
    expect(details({ ...sample('report-details.json'), monteCarlo: true })).toBe(true);
    expect(details({ ...sample('report-details.json'), rule: { kind: 'stated-risk', risk: 0.7 } })).toBe(false);
    expect(details({ ...sample('report-details.json'), receivedon: '2026-01-12' })).toBe(false);
    expect(named(sample('parties.json'))).toBe(true);
    expect(named({ ...sample('parties.json'), laboratory: { name: 'x', city: 'y', countryCode: 'de' } })).toBe(false);
  });

  it('CMP-1, CMP-6: compare holds a run, its tables and its certificate against each other, and says what it cannot read', () => {
    const { to } = made('compared', undefined, 'csv,json,dcc');
    const names = ['tables.json', 'certificate.dcc.xml', 'tables.csv'].map((name) => join(to, name));
    for (const second of names) {
      const { code, out, err } = cli('compare', archiveRun(), second, '--archive', archive);
      expect(`${code ?? ''} ${err}`).toBe('0 ');
      // The same run: nothing differs, and where errors are named nothing can.
      expect(out).toContain('They agree: no |En| of 28 is above 1.');
      expect(out).toContain(second.endsWith('csv') ? 'is not known' : 'are taken out by name');
      expect(out).toMatch(/dead time, 10 V, 400 kPa, 20 ms/);
    }
    expect(cli('compare', names[0] ?? '', names[1] ?? '').code).toBe(0);
    const broken = join(folder, 'broken.csv');
    writeFileSync(broken, 'injector,colour\nx,red\n');
    expect(cli('compare', names[0] ?? '', broken)).toMatchObject({ code: 2, err: expect.stringContaining('has no column quantity, unit, value, U95') as string });
    writeFileSync(broken, 'injector,quantity,unit,value,U95\nnobody,slope,g/s,4,0.1\n');
    expect(cli('compare', names[0] ?? '', broken)).toMatchObject({ code: 2, err: expect.stringContaining('can be compared') as string });
  });

  it('CMP-7: type-spread tells of the type over all runs, and says so where there is nothing to tell', () => {
    const { code, out } = cli('type-spread', '--archive', archive);
    expect(code).toBe(0);
    expect(out).toMatch(/of 7 injectors: mean [\d.]+ ± [\d.]+ µs/);
    expect(out).toMatch(/With 95 % confidence 95 % of all of the type lie between/);
    expect(cli('type-spread', 'no such type', '--archive', archive)).toMatchObject({ code: 2 });
  });

  it('TAB-28: read-certificate writes a record, or says why not and writes nothing', () => {
    const equipment = join(command, '../../samples/equipment.json');
    const to = join(folder, 'read.json');
    const { meter } = JSON.parse(readFileSync(equipment, 'utf8')) as { meter: { serialNumber: string; kFactor: unknown } };
    const { text } = made('own', undefined, 'dcc');
    // A certificate of injectors is none of a meter.
    expect(cli('read-certificate', join(folder, 'own', 'certificate.dcc.xml'), '--of', 'meter', '--equipment', equipment, '--to', to)).toMatchObject({ code: 2, err: expect.stringMatching(/the meter of this record is .* Nothing was written/s) as string });
    expect(readdirSync(folder)).not.toContain('read.json');
    const own = join(folder, 'meter.xml');
    const list = (name: string, unit: string, values: string, unsure: string) => `<dcc:quantity><dcc:name><dcc:content lang="en">${name}</dcc:content></dcc:name><si:realListXMLList><si:valueXMLList>${values}</si:valueXMLList><si:unitXMLList>${unit}</si:unitXMLList>${unsure}</si:realListXMLList></dcc:quantity>`;
    const unsure = '<si:expandedUncXMLList><si:uncertaintyXMLList>60</si:uncertaintyXMLList><si:coverageFactorXMLList>2</si:coverageFactorXMLList><si:coverageProbabilityXMLList>0.95</si:coverageProbabilityXMLList></si:expandedUncXMLList>';
    writeFileSync(own, text('certificate.dcc.xml')
      .replace(/<dcc:item id="item-1">[\s\S]*?<\/dcc:item>/, (item) => item.replace(/<dcc:value>.*<\/dcc:value>/, `<dcc:value>${meter.serialNumber}</dcc:value>`))
      .replace(/<dcc:list>[\s\S]*?<\/dcc:list>/, `<dcc:list>${list('frequency', '\\hertz', '10 200', '')}${list('K-factor', '\\litre\\tothe{-1}', '60100 60000', unsure)}</dcc:list>`)
      .replace('<dcc:statements>', '<dcc:statements><dcc:statement><dcc:name><dcc:content lang="en">Next calibration</dcc:content></dcc:name><dcc:date>2027-12-31</dcc:date></dcc:statement>'));
    const read = cli('read-certificate', own, '--of', 'meter', '--equipment', equipment, '--to', to);
    expect(`${read.code ?? ''} ${read.err}`).toMatch(/^0 K-factors of 2 points/);
    expect(read.out).toContain('by certificate EX-1');
    expect(JSON.parse(readFileSync(to, 'utf8'))).toMatchObject({ meter: { kFactor: [{ hertz: 10, edgesPerLitre: 60100 }, { hertz: 200, edgesPerLitre: 60000 }], certificate: { number: 'EX-1', validUntil: '2027-12-31' } } });
  });

  it('TAB-17: makes no certificate that names nobody, and says so', () => {
    const done = cli('tables', '--archive', archive, '--to', join(folder, 'nobody'), '--as', 'json,dcc');
    expect(done.code).toBe(0);
    expect(done.err).toContain('Name them with --parties FILE');
    expect(readdirSync(join(folder, 'nobody')).sort()).toEqual(['manifest.json', 'tables.json', 'tables.schema.json']);
    expect(cli('tables', '--archive', archive, '--to', join(folder, 'none'), '--as', 'dcc').code).toBe(2);
  });

  it('TAB-18: attempts, windows and telemetry are those of the archive', async () => {
    const { to } = made('parquet', undefined, 'parquet');
    expect(cli('export', '--archive', archive, '--to', join(folder, 'csv-of-run')).code).toBe(0);
    const read = async (name: string) => {
      const file = readFileSync(join(to, name));
      return parquetReadObjects({ file: file.buffer.slice(file.byteOffset, file.byteOffset + file.byteLength) });
    };
    for (const [parquet, csv] of [['attempts.parquet', 'attempts.csv'], ['windows.parquet', 'masses.csv']] as const) {
      const rows = await read(parquet);
      const lines = readFileSync(join(folder, 'csv-of-run', csv), 'utf8').trim().split('\r\n');
      expect(rows).toHaveLength(lines.length - 1);
      expect(Object.keys(rows[0] ?? {})).toEqual(lines[0]?.split(',').slice(0, -5));
      expect(rows.map((r) => [r['point'], r['attempt']].join())).toEqual(lines.slice(1).map((line) => line.split(',').slice(0, 2).join()));
      expect(new Set(rows.map((r): unknown => r['injector_serial']).filter((s) => s !== null))).toEqual(new Set(hostile));
    }
    const opened = openArchive(archive, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    const id = opened.archive.latestRun()?.id ?? '';
    const frames = await read('telemetry.parquet');
    expect(frames).toHaveLength(opened.archive.frameCount(id));
    const first = [...opened.archive.telemetryChunks(id)][0]?.frames[0];
    expect(frames[0]).toMatchObject({ controller_clock_s: first?.at, frame: first?.number, pressure_kPa: (first?.pressure ?? 0) / 1e3, meter_edges: first?.edges, armed: first?.armed });
    opened.archive.close();
  });

  it('TAB-11, TAB-13: no text of the CSV is computed by a spreadsheet, and no name leads out of the folder', () => {
    const { to, text } = made('csv', undefined, 'csv');
    const files = readdirSync(to);
    expect(files.every((name) => /^(grid-\w+\.csv|tables\.csv|datapackage\.json|manifest\.json)$/.test(name))).toBe(true);
    for (const name of files.filter((f) => f.endsWith('.csv'))) {
      // A field, or what is in its quotes, begins neither with what starts a formula nor, if it does, with anything but a number.
      for (const [, field = ''] of text(name).matchAll(/(?:^|,|\r\n)"?([^",\r\n]+)/g)) expect(field).toMatch(/^(?![=+@\t])(?!-\D)/);
    }
    const [header = ''] = text('tables.csv').split('\r\n');
    expect(header).toBe('table,quantity,of,unit,first_axis,first_unit,first_value,second_axis,second_unit,second_value,value,unrounded,U95,coverage_factor,effective_dof,basis,missing_because,conditions,fluid,fluid_basis,run,order,run_began_utc,archive_head,not_traceable');
    expect(text('tables.csv')).toContain("'=1+1");
  });
});
