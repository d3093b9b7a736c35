/** A Frictionless data package around the CSVs of a hand-over: what each file is, its columns with their types, its size and hash. TAB-19. */
import { createHash } from 'node:crypto';
import type { ControllerDocument } from '../../app/handover/document.ts';
import { gridRows } from '../../app/handover/grid-rows.ts';
import { separatorOf } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import type { FileToWrite } from '../export/files.ts';
import { gridFileOf, gridFiles, longColumns, longFile } from './csv-tables.ts';

interface DescribedField {
  readonly name: string;
  readonly type: 'string' | 'number';
  readonly decimalChar?: ',';
}

/** Files of text that are there already, in pieces that can be read again. */
function described(file: FileToWrite, name: string, title: string, description: string, fields: readonly DescribedField[], dialect: { readonly delimiter: string; readonly header: boolean }): object {
  const bytes = Buffer.from([...(file.pieces as Iterable<string>)].join(''), 'utf8');
  return {
    name, type: 'table', path: file.name, title, description, format: 'csv', mediatype: 'text/csv', encoding: 'utf-8',
    bytes: bytes.length, hash: `sha256:${createHash('sha256').update(bytes).digest('hex')}`,
    dialect: { delimiter: dialect.delimiter, header: dialect.header, lineTerminator: '\r\n', quoteChar: '"', doubleQuote: true },
    schema: { fields, missingValues: [''] },
  };
}

/** The same columns twice would be told apart by nobody. */
const unique = (fields: readonly DescribedField[]): DescribedField[] => fields.map((f, i) => (fields.findIndex((g) => g.name === f.name) === i ? f : { ...f, name: `${f.name} (${i + 1})` }));

export function dataPackage(document: ControllerDocument, layout: ControllerLayout): FileToWrite {
  const grids = gridFiles(document, layout);
  const resources = document.tables.map((table) => {
    const file = grids.find((g) => g.name === gridFileOf(table));
    if (file === undefined) throw new Error(`no grid of ${table.id}`);
    const { headings, rows } = gridRows(table, layout);
    const names = headings ?? (rows[0] ?? []).map((_, i) => `column ${i + 1}`);
    const about = `${table.of}, in ${table.unit}: ${[...table.conditions.map((c) => `${c.name} ${c.value} ${c.unit}`), `fluid ${table.fluid.name} (${table.fluid.basis})`].join('; ')}`;
    return described(file, table.id.toLowerCase().replaceAll('_', '-'), table.title, about, unique(names.map((name) => ({ name, type: 'number', ...(layout.csv.decimal === 'comma' ? { decimalChar: ',' } : {}) }))), { delimiter: separatorOf(layout), header: headings !== null });
  });
  const long = described(
    longFile(document), 'all-numbers', 'Every number with what is known of it', document.use.join(' '),
    Object.entries(longColumns).map(([name, { type }]) => ({ name, type })), { delimiter: ',', header: true },
  );
  const whole = {
    $schema: 'https://datapackage.org/profiles/2.0/datapackage.json',
    name: 'controller-tables',
    id: document.run.id,
    title: `Tables for an engine controller: ${document.layout}`,
    description: [`Run ${document.run.id}, begun ${document.run.beganUtc}, archive head ${document.run.archiveHead}.`, ...document.notTraceable].join(' '),
    resources: [...resources, long],
  };
  return { name: 'datapackage.json', pieces: [`${JSON.stringify(whole, null, 1)}\n`] };
}
