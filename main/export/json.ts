/**
 * The whole reduction as one JSON file. Numbers are in SI units; null stands for infinitely many degrees of freedom. Points
 * (`point`, `at.index`) and replicates are counted from 1, as everywhere outside of the archive (RUN-154); `injector` is a place in
 * `plan.injectors`, from 0. Version 1 of the file counted points and replicates from 0.
 */
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { ClockComparison } from '../../app/journal/measured.ts';
import type { Note } from '../../app/journal/note.ts';
import { shownPoint } from '../../app/plan/points.ts';
import { isoTime } from '../clock/dating.ts';
import { driftOf } from '../../app/results/drift.ts';
import type { MeasuredAt } from '../../app/results/drift.ts';
import { massesOf } from '../../app/results/run-results.ts';
import { pressureExponents } from '../../app/reduce/pressure-exponent.ts';
import type { ReducedWindow, Reduction } from '../../app/reduce/reduction.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import type { ErrorSource } from '../../app/uncertainty/source.ts';
import { gridTables, measuredAxes } from '../../app/tables/all.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { GridAxes } from '../../app/tables/grid.ts';
import { deadTimeCurves } from '../../app/tables/map.ts';
import type { FileToWrite } from './files.ts';
import { whenBegan, type Provenance } from './provenance.ts';

export interface JsonExport {
  readonly provenance: Provenance;
  /** Name and version of this program. */
  readonly software: string;
  /** Why nothing here can be traced; empty: it can, as far as the record tells. */
  readonly notTraceable: readonly string[];
  /** The controller's clock against the host's, the latest of each controller life. RUN-114. */
  readonly clocks: readonly ClockComparison[];
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly reduction: Reduction;
  /** What people noted of the run; absent: nothing. Points are indices. */
  readonly notes?: readonly Note[];
  /** Axes of the maps; absent: those that were measured. */
  readonly axes?: GridAxes;
  /** When the attempts were measured, for the drift; absent: drift is not known. */
  readonly times?: readonly MeasuredAt[];
}

/** reduction.json. Its `reductionFileVersion` changes whenever a reader would have to change. */
export const jsonFile = (data: JsonExport): FileToWrite => ({ name: 'reduction.json', pieces: pieces(data) });

/** One line for each window and cell, so that a long run is never one string in memory and files can be compared by line. */
function* pieces({ provenance, software, notTraceable, clocks, plan, equipment, reduction, axes = measuredAxes, times = [], notes = [] }: JsonExport): Generator<string> {
  yield '{\n"reductionFileVersion": 2,\n"units": "SI",\n';
  const { runId, order, archiveId, head } = provenance;
  yield `"runId": ${text(runId)},\n"order": ${text(order)},\n"runBeganUtc": ${text(whenBegan(provenance))},\n"archiveId": ${text(archiveId)},\n"archiveHead": ${text(head)},\n"software": ${text(software)},\n`;
  yield `"notTraceable": ${text(notTraceable)},\n"clocks": ${text(clocks)},\n"plan": ${text(plan)},\n"equipment": ${text(equipment)},\n`;
  yield* list('notes', notes.map(({ at, point, ...note }) => ({ ...note, writtenUtc: isoTime(at), point: point === null ? null : shownPoint(point) })));
  yield* list('scatter', reduction.scatter);
  yield* list('windows', mapped(reduction.windows, named));
  yield* list('cells', reduction.cells);
  yield* list('slopeModels', reduction.slopeModels);
  yield* list('staticFlows', reduction.staticFlows);
  yield `"leak": ${text(reduction.leak)},\n"periodPair": ${text(reduction.periodPair)},\n`;
  yield `"benchDrift": ${text(reduction.benchDrift)},\n"invariance": ${text(reduction.invariance)},\n`;
  yield* list('blind', reduction.blind);
  yield `"sweepLags": ${text(reduction.sweepLags)},\n"coilLags": ${text(reduction.coilLags)},\n"curvatures": ${text(reduction.curvatures)},\n"supplyLoss": ${text(reduction.supplyLoss ?? null)},\n`;
  yield* list('lightWindows', reduction.lightWindows);
  yield* list('deadTimeCurves', deadTimeCurves(reduction));
  yield* list('pressureExponents', pressureExponents(reduction));
  yield `"drift": ${text(driftOf(massesOf(reduction.windows), times).trend)},\n`;
  yield* list('maps', gridTables(reduction, axes));
  yield* list('tables', [...deadTimeTables(reduction), ...slopeTables(reduction)], '\n}\n');
}

/** One after the other: all of them at once would be most of what an export keeps. */
function* mapped<T>(items: readonly T[], map: (item: T) => unknown): Generator {
  for (const item of items) yield map(item);
}

function* list(name: string, items: Iterable<unknown>, after = ',\n'): Generator<string> {
  yield `"${name}": [`;
  let between = '\n';
  for (const item of items) {
    yield `${between}${text(item)}`;
    between = ',\n';
  }
  yield `\n]${after}`;
}

/** A source of error is written as its label; a term of a budget has it as `name`, since version 1 of the file. */
const isSource = (value: unknown): value is ErrorSource => typeof value === 'object' && value !== null && 'quantity' in value && 'place' in value && 'key' in value;

function named(window: ReducedWindow): unknown {
  const { outcome } = window;
  if (outcome.kind === 'no-mass') return window;
  const { kind, mass, measured, leaked, pressureFactor, temperatureFactor, meterHertz, kFactorPerCubicMetre, meterDensity, partTurn, budget, uRandom, uTiming, uShared } = outcome;
  return {
    ...window,
    outcome: {
      kind, mass, measured, leaked, pressureFactor, temperatureFactor, meterHertz, kFactorPerCubicMetre, meterDensity, partTurn,
      budget: budget.map(({ source, ...term }) => ({ name: labelOf(source), ...term })),
      uRandom, uTiming, uShared,
    },
  };
}

const countedFrom1: ReadonlySet<string> = new Set(['point', 'index', 'replicate']);

function text(item: unknown): string {
  return JSON.stringify(item, (key, value: unknown) => {
    if (value === Number.POSITIVE_INFINITY) return null;
    // Every error by itself is in the tables of a hand-over (TAB-23).
    if (key === 'carried') return undefined;
    if (isSource(value)) return labelOf(value);
    return countedFrom1.has(key) && typeof value === 'number' ? value + 1 : value;
  });
}
