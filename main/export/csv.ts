/**
 * A run and its reduction as CSV (RFC 4180; UTF-8, decimal point, units in the header, one header line). Empty fields are
 * missing values; where a value is missing for a reason, a column names it.
 */
import { shownPoint } from '../../app/plan/points.ts';
import { stringify } from 'csv-stringify/sync';
import { differenceShown, spreadOf, toShown, windowSignals } from '../../app/bench/readings.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { densityOfRun } from '../../app/fluid/density-of-run.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { celsius, kilopascals } from '../../app/quantities/quantity.ts';
import type { KilogramsPerSecond } from '../../app/quantities/quantity.ts';
import type { BudgetTerm } from '../../app/uncertainty/budget.ts';
import { budgetTable } from '../../app/reduce/budget-table.ts';
import type { BudgetRow } from '../../app/reduce/budget-table.ts';
import { isOfLeak } from '../../app/reduce/leak-limits.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import type { ErrorQuantity } from '../../app/uncertainty/source.ts';
import type { LeakBlock } from '../../app/reduce/leak-block.ts';
import type { LineCell, NoLineCell, ReducedWindow, Reduction, StaticFlow } from '../../app/reduce/reduction.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import { gridTables, measuredAxes } from '../../app/tables/all.ts';
import type { GridAxes, GridCell, GridTable } from '../../app/tables/grid.ts';
import { deadTimeCurves } from '../../app/tables/map.ts';
import type { DeadTimeCurve } from '../../app/tables/map.ts';
import type { Table } from '../../app/tables/table.ts';
import { cubicCentimetresPerMinute, gramsPerMinute, poundsPerHour } from '../../app/tables/units.ts';
import type { StoredAttempt } from '../archive/read.ts';
import { csvField, type CsvFieldValue } from './csv-field.ts';
import type { FileToWrite } from './files.ts';
import { whenBegan, type Provenance } from './provenance.ts';
import { isoTime } from '../clock/dating.ts';

/** What the export needs of an attempt in the archive. */
export type ExportedAttempt = Pick<StoredAttempt, 'point' | 'attempt' | 'at' | 'verdict' | 'counts'> & {
  readonly body: Pick<StoredAttempt['body'], 'window' | 'criteria' | 'text'>;
};

export interface CsvExport {
  readonly provenance: Provenance;
  /** Why nothing of this run can be traced; empty: it can, as far as the record tells. */
  readonly notTraceable: readonly string[];
  readonly plan: Plan;
  /** The record that the run was reduced with. */
  readonly equipment: Equipment;
  /** The whole expansion of the plan. */
  readonly points: readonly Point[];
  /** Every attempt of the run, rejected and cut ones too. */
  readonly attempts: Iterable<ExportedAttempt> | AsyncIterable<ExportedAttempt>;
  readonly reduction: Reduction;
  /** Axes of maps.csv; absent: those that were measured. */
  readonly axes?: GridAxes;
}

/**
 * attempts.csv, masses.csv, budgets.csv, lines.csv, leak.csv (what leaked, block by block), static-flow.csv, tables.csv (what was measured),
 * maps.csv (on the user's axes) and curves.csv (dead time over voltage as the coil form, with residuals and leave-one-out).
 * The last columns of each name run, order, when the run began and the head of the archive (ARC-17), and the very last says why nothing in it can be traced; it is empty where it can.
 */
export function csvFiles(data: CsvExport): FileToWrite[] {
  const { notTraceable, plan, equipment, points, attempts, reduction, axes = measuredAxes } = data;
  const { provenance } = data;
  const ofRun = {
    run: () => provenance.runId, order: () => provenance.order, run_began_utc: () => whenBegan(provenance), archive_head: () => provenance.head,
  };
  const rows = <T>(columns: Columns<T>, of: Iterable<T> | AsyncIterable<T>) => csvRows({ ...columns, ...ofRun, not_traceable: () => notTraceable.join(' ') }, of);
  return [
    { name: 'attempts.csv', pieces: rows(attemptColumns(plan, points), attempts) },
    { name: 'masses.csv', pieces: rows(massColumns(plan), reduction.windows) },
    { name: 'budgets.csv', pieces: rows(budgetColumns, budgetRows(reduction, equipment)) },
    { name: 'lines.csv', pieces: rows(lineColumns, reduction.cells) },
    { name: 'leak.csv', pieces: rows(leakColumns, reduction.leak.kind === 'leak' ? reduction.leak.blocks : []) },
    { name: 'static-flow.csv', pieces: rows(staticColumns(equipment), reduction.staticFlows) },
    { name: 'tables.csv', pieces: rows(tableColumns, tableRows([...deadTimeTables(reduction), ...slopeTables(reduction)])) },
    { name: 'maps.csv', pieces: rows(mapColumns, mapRows(gridTables(reduction, axes))) },
    { name: 'curves.csv', pieces: rows(curveColumns, curveRows(reduction)) },
  ];
}

type Columns<T> = Readonly<Record<string, (row: T) => CsvFieldValue>>;

async function* csvRows<T>(columns: Columns<T>, data: Iterable<T> | AsyncIterable<T>): AsyncGenerator<string> {
  yield stringify([Object.keys(columns)], { record_delimiter: 'windows' });
  const read = Object.values(columns);
  let batch: string[][] = [];
  for await (const row of data) {
    batch.push(read.map((column) => csvField(column(row))));
    if (batch.length < 500) continue;
    yield stringify(batch, { record_delimiter: 'windows' });
    batch = [];
  }
  if (batch.length > 0) yield stringify(batch, { record_delimiter: 'windows' });
}

const scaled = (value: number | null | undefined, factor: number): number | null => (value === null || value === undefined ? null : value * factor);

const converted = (value: number | undefined, to: (value: number) => number): number | undefined => (value === undefined ? undefined : to(value));

const countedFrom1 = (place: number | undefined): number | undefined => (place === undefined ? undefined : place + 1);

function placeColumns<T>(plan: Plan, pointOf: (row: T) => Point | undefined): Columns<T> {
  /** undefined: nothing was driven, so the point belongs to no injector. */
  const driven = (row: T): Point | undefined => {
    const point = pointOf(row);
    return point?.role === 'zero' ? undefined : point;
  };
  const injectorOf = (row: T) => plan.injectors[driven(row)?.injector ?? -1];
  return {
    role: (r) => pointOf(r)?.role,
    injector_serial: (r) => injectorOf(r)?.serialNumber,
    injector_type: (r) => injectorOf(r)?.type,
    channel: (r) => driven(r)?.channel,
    supply_V: (r) => pointOf(r)?.voltage,
    pressure_kPa: (r) => scaled(pointOf(r)?.pressure, 1e-3),
    PW_ms: (r) => scaled(driven(r)?.width, 1e3),
    P_ms: (r) => scaled(driven(r)?.period, 1e3),
    replicate: (r) => countedFrom1(pointOf(r)?.replicate),
  };
}

/** Columns of attempts.csv. */
export function attemptColumns(plan: Plan, points: readonly Point[]): Columns<ExportedAttempt> {
  return {
    point: (a) => shownPoint(a.point),
    attempt: (a) => a.attempt,
    ended_at_utc: (a) => isoTime(a.at),
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
    idle_before_s: (a) => a.body.window?.idle?.time,
    idle_before_edges: (a) => a.body.window?.idle?.edges,
    ...signalColumns,
    failed_criteria: (a) => a.body.criteria.filter((c) => !c.passed).map((c) => `${c.rule}: ${c.text}`).join('; '),
    text: (a) => a.body.text,
  };
}

/** Mean and standard deviation of each signal over the window (RUN-190). */
const signalColumns: Columns<ExportedAttempt> = Object.fromEntries(
  windowSignals.flatMap((signal) => {
    const { id, column, columnUnit, difference } = signal;
    const of = (a: ExportedAttempt) => (a.body.window === null ? undefined : spreadOf(a.body.window, id));
    return [
      [`${column}_mean_${columnUnit}`, (a: ExportedAttempt) => converted(of(a)?.mean, (mean) => toShown(signal, mean))],
      [`${column}_sd_${difference}`, (a: ExportedAttempt) => converted(of(a)?.sd, (sd) => differenceShown(signal, sd))],
    ];
  }),
);

/** Columns of masses.csv. */
export function massColumns(plan: Plan): Columns<ReducedWindow> {
  const mass = ({ outcome }: ReducedWindow) => (outcome.kind === 'mass' ? outcome : null);
  // Worked out once for the columns of a row.
  let latest: { readonly of: ReducedWindow; readonly budget: readonly BudgetTerm[] } | null = null;
  const budgetOf = (row: ReducedWindow): readonly BudgetTerm[] => {
    if (latest?.of !== row) latest = { of: row, budget: mass(row)?.budget ?? [] };
    return latest.budget;
  };
  const contribution = (row: ReducedWindow, quantity: ErrorQuantity): number | null =>
    scaled(budgetOf(row).find((t) => t.source.quantity === quantity)?.contribution, 100);
  const kCurve = (row: ReducedWindow): number | null => {
    const terms = budgetOf(row).filter((t) => t.source.quantity === 'k-factor-point');
    return mass(row) === null ? null : 100 * Math.hypot(...terms.map((t) => t.contribution));
  };
  return {
    point: (w) => shownPoint(w.point),
    attempt: (w) => w.attempt,
    ...placeColumns<ReducedWindow>(plan, (w) => w.at),
    Qd_mg: (w) => scaled(mass(w)?.mass, 1e6),
    Qd_as_measured_mg: (w) => scaled(mass(w)?.measured, 1e6),
    leak_taken_off_mg: (w) => scaled(mass(w)?.leaked, 1e6),
    factor_to_plan_pressure: (w) => mass(w)?.pressureFactor,
    factor_to_reference_temperature: (w) => mass(w)?.temperatureFactor,
    meter_Hz: (w) => mass(w)?.meterHertz,
    K_factor_per_L: (w) => scaled(mass(w)?.kFactorPerCubicMetre, 1e-3),
    density_at_meter_kg_per_m3: (w) => mass(w)?.meterDensity,
    u_random_percent: (w) => scaled(mass(w)?.uRandom, 100),
    u_shared_percent: (w) => scaled(mass(w)?.uShared, 100),
    u_edge_timing_percent: (w) => contribution(w, 'edge-timing'),
    u_steadiness_percent: (w) => contribution(w, 'steadiness'),
    u_K_factor_percent: (w) => contribution(w, 'k-factor'),
    u_K_curve_percent: (w) => kCurve(w),
    u_density_percent: (w) => contribution(w, 'fluid-density'),
    u_pressure_percent: (w) => contribution(w, 'rail-pressure'),
    u_meter_temperature_percent: (w) => contribution(w, 'meter-temperature'),
    u_rail_temperature_percent: (w) => contribution(w, 'rail-temperature'),
    u_leak_percent: (w) => {
      const terms = budgetOf(w).filter((t) => isOfLeak(t.source));
      return terms.length === 0 ? null : 100 * Math.hypot(...terms.map((t) => t.contribution));
    },
    missing_because: (w) => (w.outcome.kind === 'no-mass' ? w.outcome.reason : null),
  };
}

const toMillilitresPerMinute = 6e7;

const leakColumns: Columns<LeakBlock> = {
  block: (b) => b.block + 1,
  supply_V: (b) => b.voltage,
  pressure_kPa: (b) => scaled(b.pressure, 1e-3),
  leak_ml_per_min: (b) => b.flow * toMillilitresPerMinute,
  u_mean_ml_per_min: (b) => b.uFlow * toMillilitresPerMinute,
  u_meter_ml_per_min: (b) => b.uMeter * toMillilitresPerMinute,
  change_ml_per_min: (b) => b.change * toMillilitresPerMinute,
  u_change_ml_per_min: (b) => b.uChange * toMillilitresPerMinute,
  zero_points_point_attempt: (b) => sourcesText(b.zeroPoints),
  idle_s: (b) => b.idle.time,
  idle_edges: (b) => b.idle.edges,
  attempts: (b) => b.sources.length,
};

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
  m_from: (c) => line(c)?.slopeFrom,
  Qs_over_m: (c) => line(c)?.staticToSlope?.value,
  Qs_over_m_U95: (c) => line(c)?.staticToSlope?.expanded,
  LFR: (c) => line(c)?.flowRange?.ratio,
  LFR_limit_percent: (c) => line(c)?.flowRange?.limitPercent,
  LFR_from_PW_ms: (c) => scaled(line(c)?.flowRange?.from, 1e3),
  LFR_reenters_at_PW_ms: (c) => line(c)?.flowRange?.reenters.map((w) => csvField(w * 1e3)).join(' '),
  repeatable_from_PW_ms: (c) => repeatableFrom(c),
  X_leak_taken_off_ms: (c) => scaled(line(c)?.leak?.shift, 1e3),
  X_leak_u_ms: (c) => scaled(line(c)?.leak?.u, 1e3),
  measure_again_because: (c) => line(c)?.leak?.again,
  linear_from_PW_ms: (c) => scaled(line(c)?.region.from, 1e3),
  linear_to_PW_ms: (c) => scaled(line(c)?.region.to, 1e3),
  linear_ends_because: (c) => line(c)?.region.stop.kind,
  lack_of_fit: (c) => line(c)?.lackOfFit.significant,
  windows: (c) => c.sources.length,
  sources_point_attempt: (c) => sourcesText(c.sources),
  missing_because: (c) => (c.kind === 'no-line' ? c.reason : null),
};

function repeatableFrom(cell: AnyCell): number | null {
  const lowest = line(cell)?.lowestRepeatable;
  return lowest?.kind === 'width' ? lowest.width * 1e3 : null;
}

const sourcesText = (sources: readonly { readonly point: number; readonly attempt: number }[]): string =>
  sources.map((s) => `${shownPoint(s.point)}:${s.attempt}`).join(' ');

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

interface BudgetLine {
  readonly point: number;
  readonly attempt: number;
  readonly row: BudgetRow;
}

function* budgetRows(reduction: Reduction, equipment: Equipment): Generator<BudgetLine> {
  for (const { point, attempt, outcome } of reduction.windows) {
    if (outcome.kind !== 'mass') continue;
    for (const row of budgetTable(outcome, equipment).rows) yield { point, attempt, row };
  }
}

const budgetColumns: Columns<BudgetLine> = {
  point: (l) => shownPoint(l.point),
  attempt: (l) => l.attempt,
  input: (l) => labelOf(l.row.source),
  value: (l) => l.row.value,
  unit: (l) => l.row.unit,
  u: (l) => l.row.standardUncertainty,
  sensitivity_mg_per_unit: (l) => l.row.sensitivity * 1e6,
  contribution_mg: (l) => l.row.contribution * 1e6,
  contribution_percent: (l) => l.row.relativeContribution * 100,
  share_of_variance_percent: (l) => l.row.shareOfVariance * 100,
  random_or_shared: (l) => l.row.kind,
  type: (l) => l.row.type,
  dof: (l) => l.row.dof,
  from: (l) => evidenceText(l.row.evidence),
  certificate: (l) => (l.row.evidence.kind === 'certificate' ? l.row.evidence.number : null),
  certificate_date: (l) => (l.row.evidence.kind === 'certificate' ? l.row.evidence.date : null),
  certificate_valid_until: (l) => (l.row.evidence.kind === 'certificate' ? l.row.evidence.validUntil : null),
};

/** Where a standard uncertainty was taken from, in words. */
export function evidenceText(evidence: BudgetRow['evidence']): string {
  switch (evidence.kind) {
    case 'certificate':
      return `${evidence.instrument} ${evidence.serialNumber}, certificate ${evidence.number} of ${evidence.date}`;
    case 'fluid':
      return `lot ${evidence.lot}: ${evidence.text}`;
    case 'statement':
      return evidence.text;
  }
}

/** Static flow also in the units of the trade; the density that turns it into a volume stands beside it. */
function staticColumns(equipment: Equipment): Columns<StaticFlow> {
  const density = densityOfRun(equipment, celsius(20), kilopascals(equipment.ambientKpa))?.density ?? null;
  const flow = (s: StaticFlow) => (s.kind === 'static-flow' ? s.flow : null);
  const inUnit = (s: StaticFlow, convert: (of: KilogramsPerSecond) => number): number | null => {
    const value = flow(s)?.value;
    return value === undefined ? null : convert(value as KilogramsPerSecond);
  };
  return {
    injector_serial: (s) => s.serialNumber,
    pressure_kPa: (s) => s.pressure * 1e-3,
    supply_V: (s) => (s.kind === 'static-flow' ? s.voltage : null),
    Qs_g_per_s: (s) => scaled(flow(s)?.value, 1e3),
    Qs_U95_g_per_s: (s) => scaled(flow(s)?.expanded, 1e3),
    coverage_factor: (s) => flow(s)?.coverageFactor,
    u_random_g_per_s: (s) => scaled(flow(s)?.uRandom, 1e3),
    u_shared_g_per_s: (s) => scaled(flow(s)?.uShared, 1e3),
    Qs_g_per_min: (s) => inUnit(s, gramsPerMinute),
    Qs_lb_per_h: (s) => inUnit(s, poundsPerHour),
    Qs_cc_per_min: (s) => (density === null ? null : inUnit(s, (of) => cubicCentimetresPerMinute(of, density))),
    density_of_cc_kg_per_m3: (s) => (flow(s) === null ? null : density),
    sources_point_attempt: (s) => (s.kind === 'static-flow' ? sourcesText(s.sources) : null),
    missing_because: (s) => (s.kind === 'no-static-flow' ? s.reason : null),
  };
}

interface MapRow {
  readonly table: GridTable;
  readonly row: number;
  readonly column: number;
  readonly cell: GridCell;
}

function* mapRows(tables: readonly GridTable[]): Generator<MapRow> {
  for (const table of tables) {
    for (const [i, cells] of table.cells.entries()) {
      for (const [j, cell] of cells.entries()) yield { table, row: table.rows.values[i] ?? Number.NaN, column: table.columns.values[j] ?? Number.NaN, cell };
    }
  }
}

const mapUnits = { s: ['ms', 1e3], 'kg/s': ['mg/ms', 1e3], kg: ['mg', 1e6] } as const;
const axisUnits = { V: ['V', 1], Pa: ['kPa', 1e-3], s: ['ms', 1e3] } as const;
const ofCell = ({ cell }: MapRow) => (cell.kind === 'value' ? cell : null);

const mapColumns: Columns<MapRow> = {
  quantity: (r) => r.table.title,
  unit: (r) => mapUnits[r.table.siUnit][0],
  of: (r) => r.table.of,
  at: (r) => r.table.at,
  P_ms: (r) => r.table.period * 1e3,
  supply_V: (r) => r.row * axisUnits[r.table.rows.siUnit][1],
  across: (r) => r.table.columns.name,
  across_unit: (r) => axisUnits[r.table.columns.siUnit][0],
  across_value: (r) => r.column * axisUnits[r.table.columns.siUnit][1],
  value: (r) => scaled(ofCell(r)?.result.value, mapUnits[r.table.siUnit][1]),
  U95: (r) => scaled(ofCell(r)?.result.expanded, mapUnits[r.table.siUnit][1]),
  coverage_factor: (r) => ofCell(r)?.result.coverageFactor,
  effective_dof: (r) => ofCell(r)?.result.effectiveDof,
  basis: (r) => ofCell(r)?.basis,
  missing_because: (r) => (r.cell.kind === 'missing' ? r.cell.reason : null),
};

interface CurveRow {
  readonly curve: DeadTimeCurve;
  readonly voltage: number;
  readonly residual: number | null;
}

function* curveRows(reduction: Reduction): Generator<CurveRow> {
  for (const curve of deadTimeCurves(reduction)) {
    for (const [i, voltage] of curve.voltages.entries()) {
      yield { curve, voltage, residual: curve.form.kind === 'coil-form' ? (curve.form.residuals[i] ?? null) : null };
    }
  }
}

const form = ({ curve }: CurveRow) => (curve.form.kind === 'coil-form' ? curve.form : null);
const leftOut = ({ curve, voltage }: CurveRow) => curve.leaveOneOut.find((l) => l.voltage === voltage);

/** X = a + tau ln(V / (V - Vp)). */
const curveColumns: Columns<CurveRow> = {
  injector_serial: (r) => r.curve.serialNumber,
  pressure_kPa: (r) => r.curve.pressure * 1e-3,
  P_ms: (r) => r.curve.period * 1e3,
  supply_V: (r) => r.voltage,
  a_ms: (r) => scaled(form(r)?.a, 1e3),
  tau_ms: (r) => scaled(form(r)?.tau, 1e3),
  Vp_V: (r) => form(r)?.pullInVoltage,
  a_u_ms: (r) => scaled(Math.sqrt(form(r)?.covariance[0]?.[0] ?? Number.NaN), 1e3),
  tau_u_ms: (r) => scaled(Math.sqrt(form(r)?.covariance[1]?.[1] ?? Number.NaN), 1e3),
  Vp_u_V: (r) => Math.sqrt(form(r)?.covariance[2]?.[2] ?? Number.NaN),
  residual_ms: (r) => scaled(r.residual, 1e3),
  left_out_predicted_ms: (r) => scaled(leftOut(r)?.predicted, 1e3),
  left_out_error_ms: (r) => (leftOut(r) === undefined ? null : scaled((leftOut(r)?.predicted ?? 0) - (leftOut(r)?.found ?? 0), 1e3)),
  left_out_u_ms: (r) => scaled(leftOut(r)?.uDifference, 1e3),
  missing_because: (r) => (r.curve.form.kind === 'no-coil-form' ? r.curve.form.reason : null),
};
