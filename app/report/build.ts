/** A report of a stored run, put together. Pure: the same run, details and issue give the same document. REP-1 to REP-9. */
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { RunState } from '../journal/state.ts';
import type { Note } from '../journal/note.ts';
import { shownPoint } from '../plan/points.ts';
import { celsius, pascals } from '../quantities/quantity.ts';
import type { KilogramsPerCubicMetre } from '../quantities/quantity.ts';
import { driftOf } from '../results/drift.ts';
import type { MeasuredAt } from '../results/drift.ts';
import { runTrials, trialSentences } from '../results/line-trials.ts';
import type { RunResults } from '../results/run-results.ts';
import { result } from '../uncertainty/budget.ts';
import { ruleSentence } from './conformity.ts';
import type { ReportDetails } from './details.ts';
import type { ReportBasis, ReportDocument, ReportFact, ReportIssue, ReportLength, ReportTable } from './document.ts';
import { figuresOf } from './figures-of-run.ts';
import { heldLimits } from './limits.ts';
import type { HeldLimit } from './limits.ts';
import { recordedTables } from './recorded.ts';
import { bareCell, correctionTables, lineTables, missingCell, rangeTables, spreadTable, staticFlowTable, summaryTables, textCell, valueCell } from './results-tables.ts';
import { statementsOf, warningsOf } from './statements.ts';
import type { ReportedRun } from './statements.ts';
import { budgetTables, traceabilityOf } from './traceability.ts';
import { reportUnits } from './units.ts';
import { samePerson } from './same-person.ts';

export interface ReportInput {
  readonly results: RunResults;
  readonly state: RunState;
  /** When the reference points were measured. */
  readonly times: readonly MeasuredAt[];
  readonly details: ReportDetails;
  readonly length: ReportLength;
  /** null: a draft. */
  readonly issue: ReportIssue | null;
  /** Of the run, as far as the report goes. */
  readonly notes?: readonly Note[];
  readonly basis: ReportBasis;
  readonly order: string;
  /** First and last attempt, ISO 8601, UTC. */
  readonly measured: { readonly from: string; readonly to: string };
  readonly simulated: boolean | null;
}

const notStated = 'not stated';
const day = (time: string): string => time.slice(0, 10);
const minute = (time: string): string => `${time.slice(0, 16).replace('T', ' ')} UTC`;

export function reportOf(input: ReportInput): ReportDocument {
  const { results: { reduction, masses, plan, points, equipment }, state, details, length, issue, measured, basis } = input;
  const run: ReportedRun = { state, reduction, drift: driftOf(masses, input.times), details, days: { first: day(measured.from), last: day(measured.to) }, simulated: input.simulated };
  const full = length !== 'one-page';
  const held = heldLimits(details.limits, details.rule, { plan, reduction });
  const spread = spreadTable(reduction);
  const flow = staticFlowTable(reduction, referenceDensity(equipment, plan.reduction.referenceC, points[0]?.pressure ?? 0));
  const conformity = held.length === 0 ? null : { rule: ruleSentence(details.rule), summary: summaryOf(held), exceptions: conformityTable('conformity', 'Not passed', held.filter((h) => h.verdict?.decided !== 'pass')), table: full ? conformityTable('conformity-all', 'Every result with a limit', held) : null };
  const statements = statementsOf(run);
  const recorded = full ? recordedTables(details, input.notes ?? [], plan) : [];
  return {
    reportVersion: 1,
    length,
    title: details.title ?? 'Report of measurement: flow of fuel injectors',
    issue,
    warnings: warningsOf(run),
    head: headOf(input),
    items: itemsTable(input),
    conformity,
    ...(recorded.length === 0 ? {} : { recorded }),
    results: full
      ? [...lineTables(reduction), ...(flow === null ? [] : [flow]), ...(spread.rows.length === 0 ? [] : [spread]), ...rangeTables(reduction), ...correctionTables(reduction)]
      : onePage(reduction, spread),
    figures: full ? figuresOf(reduction, run.drift) : [],
    statements: full ? [...statements, ...trialStatement(input)] : statements.filter(({ title }) => shortened.has(title)),
    budgets: full ? budgetTables(reduction) : [],
    traceability: traceabilityOf(equipment, state.notTraceable, state.qualification),
    windows: length === 'raw' ? [windowTable(input)] : [],
    basis,
    details,
  };
}

/** By the run's own id, so that a report can be worked out anew. */
function trialStatement({ results: { reduction }, details, basis }: ReportInput): ReportDocument['statements'] {
  const rows = details.monteCarlo === true ? [...runTrials(reduction, basis.runId)] : [];
  return rows.length === 0 ? [] : [{ title: 'Monte Carlo', sentences: trialSentences(rows) }];
}

/** Statements that no report may be without (7.8.2.1 l, n; 7.8.4.1 a to c). */
const shortened: ReadonlySet<string> = new Set(['Definitions', 'Conditions', 'Deviations from the method', 'Validity']);

/** More rows than this do not fit on one page beside everything else: then the set is told, and not each injector. */
const ON_ONE_PAGE = 26;

function onePage(reduction: RunResults['reduction'], spread: ReportTable): readonly ReportTable[] {
  const tables = summaryTables(reduction);
  const rows = tables.reduce((sum, table) => sum + table.rows.length + 3, 0);
  return rows <= ON_ONE_PAGE || spread.rows.length === 0 ? tables : [{ ...spread, notes: [...spread.notes, 'Results of each injector stand in the full report.'] }];
}

function referenceDensity(equipment: Equipment, referenceC: number, gauge: number): KilogramsPerCubicMetre | null {
  return densityOfRun(equipment, celsius(referenceC), pascals(gauge + equipment.ambientKpa * 1e3))?.density ?? null;
}

function headOf({ results: { plan }, state, details, issue, measured, order, basis, length }: ReportInput): readonly ReportFact[] {
  const { laboratory, customer } = details;
  const party = (of: { readonly name: string; readonly address: readonly string[]; readonly contact?: string | undefined } | undefined): string =>
    of === undefined ? notStated : [of.name, ...of.address, ...(of.contact === undefined ? [] : [of.contact])].join(', ');
  const measuredBy = state.operator === '' ? notStated : state.operator;
  return [
    { name: 'Laboratory', text: party(laboratory) },
    { name: 'Measured at', text: laboratory === undefined ? notStated : (laboratory.place ?? 'the address of the laboratory') },
    { name: 'Customer', text: party(customer) },
    { name: 'Customer\'s reference', text: customer?.reference ?? notStated },
    { name: 'Order', text: order === '' ? notStated : order },
    { name: 'Items received', text: details.receivedOn ?? notStated },
    { name: 'Measured', text: day(measured.from) === day(measured.to) ? `${minute(measured.from)} to ${minute(measured.to).slice(11)}` : `${minute(measured.from)} to ${minute(measured.to)}` },
    { name: 'Measured by', text: measuredBy },
    { name: 'Issued', text: issue === null ? 'not issued: this is a draft' : minute(issue.at) },
    { name: 'Released by', text: issue === null ? 'nobody: this is a draft' : `${issue.by}${samePerson(issue.by, measuredBy) ? ' (the same person who measured)' : ''}` },
    ...(issue?.amends == null ? [] : [{ name: 'Amends', text: `Report ${issue.amends.number}, whose place it takes. Reason: ${issue.amends.reason}` }]),
    // A short report names it where it says what it rests on.
    ...(length === 'one-page' ? [] : [{ name: 'Run', text: `${basis.runId}, plan "${plan.name}"` }]),
  ];
}


function itemsTable({ results: { plan }, details }: ReportInput): ReportTable {
  return {
    id: 'items',
    title: 'Items, as received',
    corner: 'Serial number',
    columns: [{ title: 'Type', unit: null }, { title: 'Channel', unit: null }, { title: 'Coil', unit: reportUnits.resistance }, { title: 'Condition as received', unit: null }],
    rows: plan.injectors.map(({ serialNumber, type, channel, coilResistanceOhm }) => {
      const condition = details.conditions.find((c) => c.serialNumber === serialNumber)?.condition ?? details.condition ?? notStated;
      return { title: serialNumber, cells: [textCell(type), textCell(String(channel)), coilResistanceOhm === undefined ? missingCell('Not measured.') : bareCell(coilResistanceOhm), textCell(condition)] };
    }),
    notes: [],
  };
}

function summaryOf(held: readonly HeldLimit[]): string {
  const count = (of: (h: HeldLimit) => boolean): number => held.filter(of).length;
  const none = count((h) => h.verdict === null);
  const of = (decided: string): number => count((h) => h.verdict?.decided === decided);
  return `Of ${held.length} results with a limit ${of('pass')} pass, ${of('fail')} fail, ${of('neither')} are decided neither way${none > 0 ? `, and of ${none} there is no result` : ''}.`;
}

function conformityTable(id: string, title: string, held: readonly HeldLimit[]): ReportTable {
  // One column each for limit and result in whatever unit the row has: the unit stands in the row.
  return {
    id,
    title,
    corner: 'Item',
    columns: ['Quantity', 'At', 'Limits', 'Result', 'Conforms with probability', 'Decision'].map((title) => ({ title, unit: null })),
    rows: held.map((h) => ({
      title: h.item,
      cells: [
        textCell(h.what),
        textCell(h.at),
        textCell(toleranceText(h)),
        ...(h.of === null || h.verdict === null
          ? [missingCell(h.why), missingCell(h.why), missingCell(h.why)]
          : ([
              { ...valueCell(h.of), unit: h.unit },
              textCell(probabilityText(h.verdict.probability)),
              { kind: 'verdict', decided: h.verdict.decided, probability: h.verdict.probability },
            ] as const)),
      ],
    })),
    notes: [],
  };
}

function toleranceText({ tolerance: { low, high }, unit }: HeldLimit): string {
  const shown = (value: number): string => `${Number((value * unit.factor).toPrecision(10))}`;
  const of = low === null ? `at most ${shown(high ?? Number.NaN)}` : high === null ? `at least ${shown(low)}` : -low === high ? `within ±${shown(high)}` : `${shown(low)} to ${shown(high)}`;
  return `${of} ${unit.shown}`;
}

/** A probability in percent, never rounded to a certainty that it is not. */
export function probabilityText(probability: number): string {
  const percent = 100 * probability;
  if (percent > 99.95) return '> 99.9 %';
  if (percent < 0.05) return '< 0.1 %';
  return `${percent.toFixed(1)} %`;
}

function windowTable({ results: { masses, plan } }: ReportInput): ReportTable {
  return {
    id: 'windows',
    title: 'Raw data: every window that counts',
    corner: 'Point',
    columns: [
      ...['Attempt', 'Role', 'Injector', 'Supply', 'Pressure', 'Pulse width', 'Period'].map((title) => ({ title, unit: null })),
      { title: 'Mass per pulse', unit: reportUnits.mass },
    ],
    rows: masses.map(({ point, attempt, at, mass, why, uRandom, dofRandom, uShared }) => {
      return {
        title: String(shownPoint(point)),
        cells: [
          ...[String(attempt), at.role, at.role === 'zero' ? '' : (plan.injectors[at.injector]?.serialNumber ?? ''), `${at.voltage} V`, `${at.pressure / 1e3} kPa`, at.role === 'zero' ? '' : `${Number((at.width * 1e3).toPrecision(7))} ms`, at.role === 'zero' ? '' : `${Number((at.period * 1e3).toPrecision(7))} ms`].map(textCell),
          // As one attempt is stated everywhere (RED-70).
          mass === null ? missingCell(why) : valueCell(result(mass, mass * uRandom, dofRandom, mass * uShared)),
        ],
      };
    }),
    notes: ['Referred to plan pressure and reference temperature, leak taken off. Points and attempts are numbered from 1; rejected attempts are kept in the archive.'],
  };
}
