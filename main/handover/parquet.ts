/** Attempts, windows and telemetry of a run as Parquet, under the names and in the units of the CSV of an export. TAB-18. */
import { ByteWriter, ParquetWriter, type ColumnSource } from 'hyparquet-writer';
import { shown } from '../../app/boundary/text.ts';
import { signals, readingOf, toShown } from '../../app/bench/readings.ts';
import type { BenchFrame } from '../../app/bench/port.ts';
import type { CsvFieldValue } from '../export/csv-field.ts';
import type { FileToWrite } from '../export/files.ts';

type ParquetType = 'DOUBLE' | 'STRING' | 'BOOLEAN';

/** Rows that are held at a time. */
const rowsPerGroup = 20_000;

interface ParquetColumn<T> {
  readonly name: string;
  readonly type: ParquetType;
  readonly of: (row: T) => number | string | boolean | null;
}

/** Hands out what was written since it was last asked, and goes on counting. */
class DrainedWriter extends ByteWriter {
  take(): Uint8Array {
    const bytes = this.getBytes().slice();
    this.index = 0;
    return bytes;
  }
}

async function* parquetPieces<T>(columns: readonly ParquetColumn<T>[], rows: Iterable<T> | AsyncIterable<T>, about: Readonly<Record<string, string>>): AsyncGenerator<Uint8Array> {
  const writer = new DrainedWriter();
  const file = new ParquetWriter({
    writer,
    schema: [
      { name: 'root', num_children: columns.length },
      ...columns.map(({ name, type }) =>
        type === 'STRING' ? ({ name, type: 'BYTE_ARRAY', converted_type: 'UTF8', repetition_type: 'OPTIONAL' } as const) : ({ name, type, repetition_type: 'OPTIONAL' } as const),
      ),
    ],
    kvMetadata: Object.entries(about).map(([key, value]) => ({ key, value })),
    createdBy: about['software'] ?? '',
  });
  let group: T[] = [];
  const flush = async (): Promise<Uint8Array> => {
    const columnData = columns.map(({ name, of }): ColumnSource => ({ name, data: group.map(of) }));
    await file.write({ columnData, rowGroupSize: rowsPerGroup });
    group = [];
    return writer.take();
  };
  for await (const row of rows) {
    group.push(row);
    if (group.length >= rowsPerGroup) yield await flush();
  }
  if (group.length > 0) yield await flush();
  await file.finish();
  yield writer.take();
}

/** As Parquet keeps a field: text is shown as it may be, and a number that is none is missing. */
const kept = (value: CsvFieldValue): number | string | boolean | null => (typeof value === 'string' ? shown(value) : typeof value === 'number' && !Number.isFinite(value) ? null : (value ?? null));

/**
 * A file from columns of the CSV. Their types are those of the values that they hold, so all rows are read once before: of a column that is empty
 * throughout, a number.
 */
export async function parquetFile<T>(name: string, columns: Readonly<Record<string, (row: T) => CsvFieldValue>>, rows: () => Iterable<T> | AsyncIterable<T>, about: Readonly<Record<string, string>>): Promise<FileToWrite<Uint8Array>> {
  const types = new Map<string, ParquetType>();
  for await (const row of rows()) {
    for (const [column, of] of Object.entries(columns)) {
      const value = kept(of(row));
      if (value === null || types.get(column) === 'STRING') continue;
      const type = typeof value === 'number' ? 'DOUBLE' : typeof value === 'boolean' ? 'BOOLEAN' : 'STRING';
      types.set(column, types.has(column) && types.get(column) !== type ? 'STRING' : type);
    }
  }
  const typed = Object.entries(columns).map(([column, of]): ParquetColumn<T> => {
    const type = types.get(column) ?? 'DOUBLE';
    return { name: column, type, of: (row) => { const value = kept(of(row)); return value !== null && type === 'STRING' ? String(value) : value; } };
  });
  return { name, pieces: parquetPieces(typed, rows(), about) };
}

const telemetryColumns: readonly ParquetColumn<BenchFrame>[] = [
  { name: 'controller_start', type: 'STRING', of: (f) => shown(f.bootId) },
  { name: 'frame', type: 'DOUBLE', of: (f) => f.number },
  { name: 'controller_clock_s', type: 'DOUBLE', of: (f) => f.at },
  ...signals.map((signal): ParquetColumn<BenchFrame> => ({
    name: `${signal.column}_${signal.columnUnit}`,
    type: 'DOUBLE',
    of: (f) => { const value = readingOf(f, signal.id); return value === undefined || !Number.isFinite(value) ? null : toShown(signal, value); },
  })),
  { name: 'meter_edges', type: 'DOUBLE', of: (f) => f.edges },
  { name: 'last_edge_s', type: 'DOUBLE', of: (f) => f.lastEdgeAt },
  { name: 'armed', type: 'BOOLEAN', of: (f) => f.armed },
  { name: 'interlocks', type: 'DOUBLE', of: (f) => f.interlocks },
  { name: 'fault', type: 'STRING', of: (f) => (f.fault === null ? null : shown(f.fault.code)) },
];

export const telemetryFile = (frames: Iterable<BenchFrame>, about: Readonly<Record<string, string>>): FileToWrite<Uint8Array> => ({ name: 'telemetry.parquet', pieces: parquetPieces(telemetryColumns, frames, about) });
