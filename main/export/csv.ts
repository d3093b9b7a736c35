/**
 * A run and its reduction as CSV (RFC 4180; UTF-8, decimal point, units in the header, one header line). Empty fields are
 * missing values; where a value is missing for a reason, a column names it.
 */
import { stringify } from 'csv-stringify/sync';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { toCelsius, toKilopascals } from '../../app/quantities/quantity.ts';
import type { LineCell, NoLineCell, ReducedWindow, Reduction } from '../../app/reduce/reduction.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { Table } from '../../app/tables/table.ts';
import type { AttemptRecord } from '../archive/read.ts';
import { writeFiles } from './files.ts';
import type { ExportDisk, WriteResult } from './files.ts';

/** What the export needs of an attempt in the archive. */
export type ExportedAttempt = Pick<AttemptRecord, 'point' | 'attempt' | 'at' | 'verdict' | 'counts'> & {
  readonly body: Pick<AttemptRecord['body'], 'window' | 'criteria' | 'text'>;
};

export interface CsvExport {
  readonly plan: Plan;
  /** The whole expansion of the plan. */
  readonly points: readonly Point[];
  /** Every attempt of the run, rejected and cut ones too. */
  readonly attempts: Iterable<ExportedAttempt> | AsyncIterable<ExportedAttempt>;
  readonly reduction: Reduction;
}

/** Writes attempts.csv, masses.csv, lines.csv and tables.csv into `directory`. */
export function exportCsv(directory: string, data: CsvExport, disk?: ExportDisk): Promise<WriteResult> {
  const { plan, points, attempts, reduction } = data;
  const files = [
    { name: 'attempts.csv', pieces: rows(attemptColumns(plan, points), attempts) },
    { name: 'masses.csv', pieces: rows(massColumns(plan), reduction.windows) },
    { name: 'lines.csv', pieces: rows(lineColumns, reduction.cells) },
    { name: 'tables.csv', pieces: rows(tableColumns, tableRows([...deadTimeTables(reduction), ...slopeTables(reduction)])) },
  ];
  return writeFiles(directory, files, disk);
}

type Field = string | number | boolean | null | undefined;
type Columns<T> = Readonly<Record<string, (row: T) => Field>>;

async function* rows<T>(columns: Columns<T>, data: Iterable<T> | AsyncIterable<T>): AsyncGenerator<string> {
  yield stringify([Object.keys(columns)], { record_delimiter: 'windows' });
  const read = Object.values(columns);
  let batch: string[][] = [];
  for await (const row of data) {
    batch.push(read.map((column) => textOf(column(row))));
    if (batch.length < 500) continue;
    yield stringify(batch, { record_delimiter: 'windows' });
    batch = [];
  }
  if (batch.length > 0) yield stringify(batch, { record_delimiter: 'windows' });
}

/** Twelve digits: more than any measurement here has, fewer than show the rounding of binary numbers. */
function textOf(field: Field): string {
  if (field === null || field === undefined) return '';
  if (typeof field === 'number') return Number.isFinite(field) ? String(Number(field.toPrecision(12))) : '';
  return String(field);
}

const scaled = (value: number | null | undefined, factor: number): number | null => (value === null || value === undefined ? null : value * factor);

function placeColumns<T>(plan: Plan, pointOf: (row: T) => Point | undefined): Columns<T> {
  return {
    role: (r) => pointOf(r)?.role,
    injector_serial: (r) => plan.injectors[pointOf(r)?.injector ?? -1]?.serialNumber,
    injector_type: (r) => plan.injectors[pointOf(r)?.injector ?? -1]?.type,
    channel: (r) => pointOf(r)?.channel,
    supply_V: (r) => pointOf(r)?.voltage,
    pressure_kPa: (r) => scaled(pointOf(r)?.pressure, 1e-3),
    PW_ms: (r) => scaled(pointOf(r)?.width, 1e3),
    P_ms: (r) => scaled(pointOf(r)?.period, 1e3),
    replicate: (r) => pointOf(r)?.replicate,
  };
}

function attemptColumns(plan: Plan, points: readonly Point[]): Columns<ExportedAttempt> {
  return {
    point: (a) => a.point,
    attempt: (a) => a.attempt,
    ended_at_utc: (a) => new Date(a.at).toISOString(),
    verdict: (a) => a.verdict,
    counts: (a) => a.counts,
    ...placeColumns<ExportedAttempt>(plan, (a) => points[a.point]),
    window_from_s: (a) => a.body.window?.from,
    window_to_s: (a) => a.body.window?.to,
    frames: (a) => a.body.window?.frames,
    missing_frames: (a) => a.body.window?.missingFrames,
    pulses: (a) => a.body.window?.pulses,
    meter_edges: (a) => a.body.window?.edges,
    first_edge_s: (a) => a.body.window?.firstEdgeAt,
    last_edge_s: (a) => a.body.window?.lastEdgeAt,
    pressure_mean_kPa: (a) => (a.body.window ? toKilopascals(a.body.window.pressure.mean) : null),
    pressure_sd_kPa: (a) => scaled(a.body.window?.pressure.sd, 1e-3),
    supply_mean_V: (a) => a.body.window?.supply.mean,
    supply_sd_V: (a) => a.body.window?.supply.sd,
    rail_temperature_mean_C: (a) => (a.body.window ? toCelsius(a.body.window.railTemperature.mean) : null),
    rail_temperature_sd_K: (a) => a.body.window?.railTemperature.sd,
    meter_temperature_mean_C: (a) => (a.body.window ? toCelsius(a.body.window.meterTemperature.mean) : null),
    meter_temperature_sd_K: (a) => a.body.window?.meterTemperature.sd,
    failed_criteria: (a) => a.body.criteria.filter((c) => !c.passed).map((c) => `${c.rule}: ${c.text}`).join('; '),
    text: (a) => a.body.text,
  };
}

function massColumns(plan: Plan): Columns<ReducedWindow> {
  const mass = ({ outcome }: ReducedWindow) => (outcome.kind === 'mass' ? outcome : null);
  const contribution = (row: ReducedWindow, name: string): number | null =>
    scaled(mass(row)?.budget.find((t) => t.name === name)?.contribution, 100);
  return {
    point: (w) => w.point,
    attempt: (w) => w.attempt,
    ...placeColumns<ReducedWindow>(plan, (w) => w.at),
    Qd_mg: (w) => scaled(mass(w)?.mass, 1e6),
    Qd_as_measured_mg: (w) => scaled(mass(w)?.measured, 1e6),
    factor_to_plan_pressure: (w) => mass(w)?.pressureFactor,
    factor_to_reference_temperature: (w) => mass(w)?.temperatureFactor,
    meter_Hz: (w) => mass(w)?.meterHertz,
    K_factor_per_L: (w) => scaled(mass(w)?.kFactorPerCubicMetre, 1e-3),
    density_at_meter_kg_per_m3: (w) => mass(w)?.meterDensity,
    u_random_percent: (w) => scaled(mass(w)?.uRandom, 100),
    u_shared_percent: (w) => scaled(mass(w)?.uShared, 100),
    u_edge_timing_percent: (w) => contribution(w, 'edge timing'),
    u_steadiness_percent: (w) => contribution(w, 'steadiness and meter in-rotation'),
    u_K_factor_percent: (w) => contribution(w, 'meter K-factor'),
    u_density_percent: (w) => contribution(w, 'fluid density'),
    u_pressure_percent: (w) => contribution(w, 'rail pressure'),
    u_meter_temperature_percent: (w) => contribution(w, 'meter temperature'),
    u_rail_temperature_percent: (w) => contribution(w, 'rail temperature'),
    missing_because: (w) => (w.outcome.kind === 'no-mass' ? w.outcome.reason : null),
  };
}

type AnyCell = LineCell | NoLineCell;

const line = (cell: AnyCell): LineCell | null => (cell.kind === 'line' ? cell : null);

const lineColumns: Columns<AnyCell> = {
  injector_serial: (c) => c.serialNumber,
  supply_V: (c) => c.voltage,
  pressure_kPa: (c) => scaled(c.pressure, 1e-3),
  P_ms: (c) => scaled(c.period, 1e3),
  X_ms: (c) => scaled(line(c)?.deadTime.value, 1e3),
  X_U95_ms: (c) => scaled(line(c)?.deadTime.expanded, 1e3),
  X_low95_ms: (c) => scaled(line(c)?.deadTimeInterval.low, 1e3),
  X_high95_ms: (c) => scaled(line(c)?.deadTimeInterval.high, 1e3),
  X_interval: (c) => line(c)?.deadTimeInterval.method,
  X_u_random_ms: (c) => scaled(line(c)?.deadTime.uRandom, 1e3),
  X_u_shared_ms: (c) => scaled(line(c)?.deadTime.uShared, 1e3),
  X_coverage_factor: (c) => line(c)?.deadTime.coverageFactor,
  X_effective_dof: (c) => line(c)?.deadTime.effectiveDof,
  m_mg_per_ms: (c) => scaled(line(c)?.slope.value, 1e3),
  m_U95_mg_per_ms: (c) => scaled(line(c)?.slope.expanded, 1e3),
  m_u_random_mg_per_ms: (c) => scaled(line(c)?.slope.uRandom, 1e3),
  m_u_shared_mg_per_ms: (c) => scaled(line(c)?.slope.uShared, 1e3),
  m_coverage_factor: (c) => line(c)?.slope.coverageFactor,
  m_effective_dof: (c) => line(c)?.slope.effectiveDof,
  covariance_random_mg: (c) => scaled(line(c)?.covarianceRandom, 1e6),
  covariance_shared_mg: (c) => scaled(line(c)?.covarianceShared, 1e6),
  linear_from_PW_ms: (c) => scaled(line(c)?.region.from, 1e3),
  linear_to_PW_ms: (c) => scaled(line(c)?.region.to, 1e3),
  linear_ends_because: (c) => line(c)?.region.stop.kind,
  lack_of_fit: (c) => line(c)?.lackOfFit.significant,
  windows: (c) => c.sources.length,
  sources_point_attempt: (c) => sourcesText(c.sources),
  missing_because: (c) => (c.kind === 'no-line' ? c.reason : null),
};

const sourcesText = (sources: readonly { readonly point: number; readonly attempt: number }[]): string =>
  sources.map((s) => `${s.point}:${s.attempt}`).join(' ');

interface TableCellRow {
  readonly table: Table;
  readonly voltage: number;
  readonly column: string;
  readonly cell: Table['rows'][number]['cells'][number];
}

function* tableRows(tables: readonly Table[]): Generator<TableCellRow> {
  for (const table of tables) {
    for (const { voltage, cells } of table.rows) {
      for (const [i, cell] of cells.entries()) yield { table, voltage, column: table.columns[i]?.title ?? '', cell };
    }
  }
}

/** Tables hold s and kg/s; the file speaks ms and mg/ms: a factor of 1000 for both. */
const toFileUnit = 1e3;

const value = ({ cell }: TableCellRow) => (cell.kind === 'value' ? cell : null);

const tableColumns: Columns<TableCellRow> = {
  quantity: (r) => r.table.title,
  unit: (r) => (r.table.siUnit === 's' ? 'ms' : 'mg/ms'),
  pressure_kPa: (r) => r.table.pressure * 1e-3,
  P_ms: (r) => r.table.period * 1e3,
  supply_V: (r) => r.voltage,
  column: (r) => r.column,
  value: (r) => scaled(value(r)?.result.value, toFileUnit),
  U95: (r) => scaled(value(r)?.result.expanded, toFileUnit),
  low95: (r) => scaled(value(r)?.interval.low, toFileUnit),
  high95: (r) => scaled(value(r)?.interval.high, toFileUnit),
  coverage_factor: (r) => value(r)?.result.coverageFactor,
  sources_point_attempt: (r) => sourcesText(value(r)?.sources ?? []),
  missing_because: (r) => (r.cell.kind === 'missing' ? r.cell.reason : null),
};
