/**
 * What commands say to programs (`--json`, CLI-5, CLI-12): one JSON value a line on standard output, each of a schema. Fields may be added;
 * none is renamed or removed. SI units unless a name says otherwise, times in ISO 8601 (UTC).
 */
import { Option, type Command } from 'commander';
import { z } from 'zod';
import { shownPoint } from '../../app/plan/points.ts';
import { stabilitySignals } from '../../app/results/stability-signals.ts';
import { memberVerdict } from '../../app/reduce/invariance-words.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { BudgetTable } from '../../app/reduce/budget-table.ts';
import type { Reduction } from '../../app/reduce/reduce.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import { evidenceText } from '../export/csv.ts';
import { sayJson } from './say.ts';

const headSchema = z.strictObject({ archiveId: z.string().nullable(), head: z.string().nullable() });

const cellSchema = z.union([
  z.strictObject({ value: z.number(), expanded: z.number(), low: z.number(), high: z.number() }),
  z.strictObject({ missing: z.string(), text: z.string() }),
]);

const tallySchema = z.strictObject({
  told: z.int(), inside: z.int(), sealed: z.int(), fraction: z.strictObject({ low: z.number(), high: z.number() }).nullable(), spread: z.number().nullable(),
  called: z.enum(['too-small', 'too-large', 'fraction']).nullable(),
});

const cellsOf = z.strictObject({ value: z.number(), expanded: z.number() });
const chartSchema = z.strictObject({ baseline: z.int(), lowerKg: z.number(), centreKg: z.number(), upperKg: z.number(), movingRangeUpperKg: z.number(), sigmaKg: z.number(), text: z.string() });
const timeStampSchema = z.strictObject({
  kind: z.literal('time-stamp'), time: z.string(), accuracyS: z.number().nullable(), policy: z.string(), serial: z.string(),
  chain: z.array(z.strictObject({ subject: z.string(), sha256: z.string() })), ends: z.enum(['given', 'itself', 'open']),
});
const proofHeadSchema = z.strictObject({ kind: z.enum(['place', 'continuation']), head: z.string() });

/** What each command says: one of these a line. */
export const jsonLines = {
  runs: z.union([
    z.strictObject({
      kind: z.literal('run'), id: z.string(), created: z.iso.datetime(), plan: z.string(), order: z.string(), simulated: z.boolean().nullable(),
      points: z.int(), accepted: z.int(), attempts: z.int(), ending: z.string().nullable(),
    }),
    headSchema.extend({ kind: z.literal('head') }),
  ]),
  verify: z.strictObject({ archive: z.string(), passed: z.boolean(), ...headSchema.shape, checks: z.array(z.strictObject({ name: z.string(), passed: z.boolean(), text: z.string() })) }),
  sheet: z.strictObject({ kind: z.literal('sheet'), lines: z.array(z.strictObject({ rule: z.string(), result: z.enum(['pass', 'warn', 'refuse']), text: z.string() })), refused: z.boolean() }),
  forecast: z.union([
    z.strictObject({
      file: z.string(), plan: z.string(), hours: z.number(), points: z.int(),
      cells: z.array(z.strictObject({ voltage: z.number(), pressurePa: z.number(), expandedS: z.number().nullable(), leastS: z.number().nullable(), wantedS: z.number().nullable(), largestPart: z.string().nullable(), withoutItS: z.number().nullable() })),
      others: z.array(z.strictObject({
        of: z.enum(['line', 'slope', 'static-flow', 'map-dead-time', 'map-slope']), serialNumber: z.string(), voltage: z.number(), pressurePa: z.number(), expanded: z.number().nullable(), least: z.number().nullable(), wanted: z.number(),
        state: z.enum(['reached', 'open', 'beyond', 'used-up', 'no-line']), largestPart: z.string().nullable(), advice: z.string(),
      })),
    }),
    /** With --hours: one line for each budget. */
    z.strictObject({
      kind: z.literal('hours'), file: z.string(), plan: z.string(), hours: z.number(), took: z.number(),
      cells: z.array(z.strictObject({ voltage: z.number(), pressurePa: z.number(), expandedS: z.number().nullable(), leastS: z.number().nullable() })),
    }),
  ]),
  'known-type': z.strictObject({
    type: z.string(), pressureKpa: z.number(), linearFromOpenMs: z.number(), deadTimes: z.array(z.strictObject({ voltageV: z.number(), deadTimeMs: z.number() })),
    scatterPercent: z.number(), scatterUs: z.number(), from: z.string(),
  }),
  /** One line for each signal. Deviations, mean and drift in SI units; deviation and drift of `mass` relative to its mean, which is kg a pulse. */
  stability: z.strictObject({
    run: z.string(), notTraceable: z.array(z.string()), points: z.array(z.strictObject({ point: z.int(), attempt: z.int() })), injector: z.string(), voltage: z.number(), pressurePa: z.number(), widthS: z.number(), periodS: z.number(),
    durationS: z.number(), stepS: z.number(), signal: z.enum(stabilitySignals), mean: z.number(),
    rows: z.array(z.strictObject({ timeS: z.number(), deviation: z.number(), low: z.number(), high: z.number(), dof: z.number(), noise: z.enum(['resolution', 'white', 'flicker', 'walk']) })),
    /** null: the record is too short to tell; its time null: beyond the record. */
    paysUntil: z.strictObject({ timeS: z.number().nullable(), lowS: z.number().nullable(), highS: z.number().nullable() }).nullable(),
    drift: z.strictObject({ perSecond: z.number(), u: z.number(), expanded: z.number(), called: z.boolean() }).nullable(),
  }),
  /** Times after the first frame that shows the pulses running; null: in none. `flow`: over what it comes to, less 1, with its 95 % interval; `flowFromS`: from then on within `flowLimit`, null: cannot be said. */
  settling: z.strictObject({
    run: z.string(), notTraceable: z.array(z.string()), waitedS: z.number(),
    pressure: z.strictObject({ within: z.int(), attempts: z.int(), medianS: z.number().nullable(), latestS: z.number().nullable() }),
    supply: z.strictObject({ within: z.int(), attempts: z.int(), medianS: z.number().nullable(), latestS: z.number().nullable() }),
    flow: z.array(z.strictObject({ fromS: z.number(), toS: z.number(), mean: z.number(), expanded: z.number(), attempts: z.int() })),
    flowLimit: z.number(), flowFromS: z.number().nullable(),
  }),
  reduce: z.strictObject({
    run: z.string(), ...headSchema.shape, notTraceable: z.array(z.string()),
    invariance: z.strictObject({
      tests: z.int(), falseCalls: z.number(),
      members: z.array(z.strictObject({ of: z.string(), differenceS: z.number(), percent: z.number(), uRandomS: z.number(), uSharedS: z.number(), z: z.number(), p: z.number(), called: z.boolean(), text: z.string() })),
    }),
    blind: z.array(z.strictObject({ point: z.int(), attempt: z.int(), injector: z.string(), voltage: z.number(), widthS: z.number(), foundS: z.number(), expandedS: z.number(), drivenS: z.number().nullable() })),
    tables: z.array(
      z.strictObject({
        quantity: z.enum(['dead-time', 'slope']), unit: z.enum(['s', 'kg/s']), pressurePa: z.number(), periodS: z.number(), injectors: z.array(z.string()),
        rows: z.array(z.strictObject({ voltage: z.number(), cells: z.array(cellSchema) })),
      }),
    ),
    /** With --findings. */
    findings: z.array(z.strictObject({ title: z.string(), lines: z.array(z.string()) })).optional(),
  }),
  /** reduce --budget */
  budget: z.strictObject({
    run: z.string(), notTraceable: z.array(z.string()), point: z.int(), attempt: z.int(), injector: z.string(), voltage: z.number(), pressurePa: z.number(), widthS: z.number(),
    massKg: z.number(), uRandomKg: z.number(), uSharedKg: z.number(), coverageFactor: z.number(), expandedKg: z.number(),
    inputs: z.array(
      z.strictObject({
        input: z.string(), value: z.number(), unit: z.string(), standardUncertainty: z.number(), sensitivityKg: z.number(), contributionKg: z.number(), shareOfVariance: z.number(),
        kind: z.enum(['random', 'shared']), type: z.enum(['A', 'B']), dof: z.number().nullable(), evidence: z.string(),
      }),
    ),
  }),
  'monte-carlo': z.strictObject({
    run: z.string(), quantity: z.enum(['dead-time', 'slope', 'static-flow']), injector: z.string(), voltage: z.number(), pressurePa: z.number(), periodS: z.number(),
    /** s or kg/s */
    value: z.number(), u: z.number(), expanded: z.number(),
    mean: z.number(), uOfTrials: z.number(), low: z.number(), high: z.number(), trials: z.int(), tolerance: z.number(), numerical: z.number(), verdict: z.enum(['agrees', 'differs', 'unsettled']),
  }),
  compare: z.union([
    z.strictObject({
      kind: z.literal('pair'), injector: z.string(), quantity: z.enum(['dead-time', 'slope', 'static-flow']), voltage: z.number().nullable(), pressurePa: z.number().nullable(), periodS: z.number().nullable(),
      /** s or kg/s */
      first: z.number(), firstExpanded: z.number(), second: z.number(), secondExpanded: z.number(), difference: z.number(), u: z.number(), expanded: z.number(), en: z.number(), zeta: z.number(),
      errorsInCommon: z.enum(['by-name', 'not-known']), verdict: z.string(),
    }),
    z.strictObject({
      kind: z.literal('verdict'), first: z.string(), second: z.string(), text: z.string(), left: z.array(z.string()),
      sums: z.array(z.strictObject({ quantity: z.string(), pairs: z.int(), apart: z.int(), mean: z.strictObject({ value: z.number(), expanded: z.number(), relative: z.boolean() }).nullable() })),
    }),
  ]),
  'type-spread': z.strictObject({
    type: z.string(), quantity: z.enum(['dead-time', 'slope', 'static-flow']), voltage: z.number(), pressurePa: z.number(), periodS: z.number(), injectors: z.int(), results: z.int(),
    /** s or kg/s; standard deviations as seen, by measuring, and of the injectors. */
    mean: z.number(), expanded: z.number(), seen: z.number(), measuring: z.number(), left: z.number(),
    tolerance: z.strictObject({ low: z.number(), high: z.number(), factor: z.number() }).nullable(), text: z.string(),
  }),
  'read-certificate': z.strictObject({ instrument: z.enum(['meter', 'pressure', 'temperature', 'supply']), serialNumber: z.string(), certificate: z.string(), date: z.string(), validUntil: z.string(), said: z.array(z.string()), to: z.string().nullable(), equipment: z.record(z.string(), z.unknown()) }),
  export: z.strictObject({ run: z.string(), folder: z.string(), files: z.array(z.string()) }),
  tables: z.strictObject({ run: z.string(), folder: z.string(), files: z.array(z.string()) }),
  report: z.strictObject({ run: z.string(), folder: z.string(), files: z.array(z.string()) }),
  'issue-report': z.strictObject({ run: z.string(), number: z.string(), folder: z.string(), publicKey: z.string() }),
  'time-stamp': z.union([z.strictObject({ kind: z.literal('request'), request: z.string(), sha256: z.string() }), timeStampSchema]),
  'prove-report': z.union([
    timeStampSchema,
    z.strictObject({
      kind: z.literal('report'), number: z.string(), by: z.string(), at: z.string(), run: z.string(), archiveId: z.string(), head: z.string(), amends: z.string().nullable(),
      publicKey: z.string(), publicKeyGiven: z.boolean(),
    }),
    /** Of the PDF, JSON or CSV beside it. */
    z.strictObject({ kind: z.literal('file'), file: z.string(), number: z.string(), publicKey: z.string(), publicKeyGiven: z.boolean() }),
    z.strictObject({ kind: z.literal('register'), replacedBy: z.string().nullable(), replacedAt: z.string().nullable() }),
    z.strictObject({ kind: z.literal('against'), text: z.string() }),
    z.strictObject({ kind: z.literal('release'), byKey: z.string().nullable(), signatureAtHand: z.boolean(), text: z.string() }),
  ]),
  outliers: z.union([
    z.strictObject({ kind: z.literal('outlier'), points: z.array(z.strictObject({ point: z.int(), attempt: z.int() })), standardDeviations: z.number(), text: z.string() }),
    z.strictObject({ kind: z.literal('tested'), run: z.string(), notTraceable: z.array(z.string()), windows: z.int(), pairs: z.int(), notTested: z.int(), text: z.string() }),
    z.strictObject({
      kind: z.literal('repeatability'), pressurePa: z.number(), periodS: z.number(), limitPercent: z.number(),
      widths: z.array(z.union([
        z.strictObject({ widthS: z.number(), sd: z.number(), low: z.number(), high: z.number(), limit: z.number(), robustSd: z.number().nullable(), dof: z.number() }),
        z.strictObject({ widthS: z.number(), text: z.string() }),
      ])),
      lowestWidthS: z.number().nullable(), provedFromS: z.number().nullable(), text: z.string(),
    }),
  ]),
  match: z.strictObject({
    points: z.array(z.strictObject({ point: z.string(), unit: z.enum(['%', 's']), weight: z.number() })),
    cautions: z.array(z.string()), runs: z.array(z.strictObject({ run: z.string(), notTraceable: z.array(z.string()) })),
    leftOut: z.array(z.strictObject({ injector: z.string(), text: z.string() })),
    sets: z.array(z.strictObject({ cost: z.number(), members: z.array(z.strictObject({ injector: z.string(), run: z.string(), deviations: z.array(cellsOf) })), spread: z.array(cellsOf) })),
    inNoSet: z.array(z.string()), greatest: z.number(), total: z.number(), provedBest: z.boolean(), text: z.string(),
  }),
  'reference-history': z.strictObject({
    injector: z.string(), voltage: z.number(), pressurePa: z.number(), widthS: z.number(), periodS: z.number(), referenceC: z.number(),
    runs: z.array(z.strictObject({ run: z.string(), at: z.iso.datetime(), massKg: z.number(), expandedKg: z.number(), meterCertificate: z.string() })),
    limits: chartSchema.nullable(), noLimits: z.string().nullable(),
    signals: z.array(z.strictObject({ chart: z.enum(['individuals', 'moving-range']), rule: z.string(), run: z.string(), text: z.string() })),
    cautions: z.array(z.string()), newest: z.strictObject({ lowKg: z.number(), highKg: z.number(), outside: z.boolean() }).nullable(),
  }),
  'blind-history': z.strictObject({
    bench: z.string(), text: z.string(), ...tallySchema.shape,
    runs: z.array(tallySchema.extend({ run: z.string(), at: z.iso.datetime() })),
  }),
  /** meter-check add and meter-check list */
  'meter-check': z.union([
    z.strictObject({
      kind: z.literal('check'), no: z.int(), date: z.string(), certificate: z.string(), purpose: z.enum(['calibration', 'verification']), operator: z.string(),
      effect: z.enum(['came-into-force', 'confirmed', 'suspended', 'none']), verdict: z.enum(['within', 'outside', 'undecided', 'not-repeatable', 'not-one-rate']).nullable(), text: z.string(),
      rates: z.array(z.strictObject({ hertz: z.number(), edgesPerLitre: z.number(), expanded: z.number(), runs: z.int(), percent: z.number(), expandedPercent: z.number(), fromCertificatePercent: z.number() })),
      repeatability: z.strictObject({ sd: z.number(), dof: z.number() }).nullable(), cautions: z.array(z.string()),
    }),
    z.strictObject({ kind: z.literal('doubtful'), meter: z.string(), since: z.string(), runs: z.array(z.strictObject({ run: z.string(), day: z.string() })) }),
    z.strictObject({ kind: z.literal('standing'), date: z.string(), check: z.int().nullable(), certificate: z.string().nullable(), validUntil: z.string().nullable(), text: z.string() }),
  ]),
  'meter-check in-force': z.strictObject({ check: z.int(), certificate: z.string(), validUntil: z.string(), to: z.string().nullable(), equipment: z.record(z.string(), z.unknown()) }),
  /** qualification add and qualification list */
  qualification: z.union([
    z.strictObject({
      kind: z.literal('sheet'), bench: z.string(), version: z.int(), doneAt: z.iso.datetime(), by: z.string(), qualified: z.boolean(), until: z.iso.datetime().nullable(), text: z.string(),
      lines: z.array(z.strictObject({ line: z.string(), verdict: z.enum(['pass', 'fail', 'undecided', 'missing']), value: z.string(), limit: z.string(), source: z.enum(['bench', 'by-hand']).nullable() })),
    }),
    z.strictObject({ kind: z.literal('standing'), bench: z.string(), holds: z.boolean(), text: z.string() }),
  ]),
  /** type-record list and type-record save */
  'type-record': z.strictObject({ type: z.string(), version: z.int(), savedAt: z.iso.datetime(), savedBy: z.string(), reason: z.string().nullable(), record: z.record(z.string(), z.unknown()) }),
  /** injector list, injector withdraw and injector take-back. `withdrawn` null: it is booked in. */
  injector: z.strictObject({
    type: z.string(), serialNumber: z.string(), order: z.string(), channel: z.int().nullable(), coilResistanceOhm: z.number().nullable(), condition: z.string(),
    withdrawn: z.strictObject({ at: z.iso.datetime(), by: z.string(), reason: z.string() }).nullable(),
  }),
  /** visit list and visit add */
  visit: z.strictObject({
    no: z.int(), savedAt: z.iso.datetime(), serialNumber: z.string(), type: z.string(), order: z.string(), stage: z.enum(['as-found', 'cleaned', 'as-left']), doneOn: z.string(), by: z.string(),
    corrects: z.int().nullable(), correctedBy: z.int().nullable(), coilOhmAt20C: z.number().nullable(), coilOhmExpanded: z.number().nullable(), record: z.record(z.string(), z.unknown()),
  }),
  backup: z.strictObject({ path: z.string(), bytes: z.int() }),
  'bring-up-to-date': z.strictObject({ archive: z.string(), version: z.int() }),
  prove: proofHeadSchema.extend({ to: z.string().nullable(), proof: z.record(z.string(), z.unknown()) }),
  'check-proof': z.strictObject({ passed: z.boolean(), holds: z.boolean(), head: z.string().nullable(), text: z.string() }),
  'check-export': z.strictObject({ passed: z.boolean(), run: z.string().nullable(), ...headSchema.shape, files: z.int().nullable(), problems: z.array(z.string()) }),
  'make-head-key': z.strictObject({ file: z.string(), publicKey: z.string() }),
  'check-controller': z.union([
    z.strictObject({ kind: z.literal('check'), rule: z.string(), title: z.string(), result: z.enum(['pass', 'fail', 'not-applicable']), detail: z.string() }),
    z.strictObject({ kind: z.literal('sum'), passed: z.int(), failed: z.int(), notApplicable: z.int() }),
  ]),
  /** With --plan also what `run` says. */
  replay: z.union([
    z.strictObject({ kind: z.literal('recording'), began: z.iso.datetime(), channel: z.string() }),
    z.strictObject({ kind: z.literal('line'), atS: z.number(), from: z.enum(['host', 'controller', 'channel']), understood: z.boolean(), text: z.string() }),
    z.strictObject({ kind: z.literal('sum'), lengthS: z.number(), requests: z.int(), replies: z.int(), refusals: z.int(), telemetry: z.int(), unreadable: z.int(), torn: z.boolean() }),
    z.strictObject({ kind: z.literal('departure'), atS: z.number(), what: z.string(), text: z.string() }),
    z.strictObject({ kind: z.literal('departures'), count: z.int() }),
  ]),
  ports: z.strictObject({ path: z.string(), manufacturer: z.string().nullable(), vendorId: z.string().nullable(), productId: z.string().nullable() }),
  'serve-bench': z.strictObject({ path: z.string(), speed: z.number() }),
  window: z.strictObject({ address: z.string(), archive: z.string() }),
  /** sample, sweep, continue, measure-again; before them a line of `sheet` */
  run: z.union([
    z.strictObject({ kind: z.literal('run'), id: z.string(), archive: z.string() }),
    z.strictObject({ kind: z.literal('progress'), accepted: z.int(), skipped: z.int(), points: z.int(), remainingS: z.number().nullable(), doing: z.string() }),
    z.strictObject({ kind: z.literal('said'), text: z.string() }),
    z.strictObject({ kind: z.literal('rest'), mode: z.string(), exitCode: z.int(), accepted: z.int(), points: z.int(), attempts: z.int(), text: z.string(), continueWith: z.string().nullable() }),
  ]),
} as const;

export type Line<K extends keyof typeof jsonLines> = z.input<(typeof jsonLines)[K]>;

export function printJson<K extends keyof typeof jsonLines>(kind: K, line: Line<K>): void {
  sayJson(jsonLines[kind].parse(line));
}

export const withJsonOption = (command: Command): Command => command.addOption(new Option('--json', 'say it for programs: one JSON value a line (output-schema tells its fields)'));

/** Of commands that may take long and measure nothing. */
export const quietOption = (): Option => new Option('--quiet', 'no progress');

/** What the run found by itself of its own numbers (RED-110, RED-115). */
export const selfChecksForPrograms = ({ invariance, blind }: Reduction, injectors: readonly string[]): Pick<Line<'reduce'>, 'invariance' | 'blind'> => ({
  invariance: {
    tests: invariance.tests,
    falseCalls: invariance.falseCalls,
    members: invariance.members.map((m) => ({ of: m.of, differenceS: m.difference, percent: m.percent, uRandomS: m.uRandom, uSharedS: m.uShared, z: m.z, p: m.p, called: m.called, text: memberVerdict(m) })),
  },
  blind: blind.map((b) => ({ point: shownPoint(b.point), attempt: b.attempt, injector: injectors[b.injector] ?? '', voltage: b.voltage, widthS: b.width, foundS: b.found, expandedS: b.expanded, drivenS: b.truth })),
});

/** The tables that `reduce` prints. */
export const tablesForPrograms = (reduction: Reduction): Line<'reduce'>['tables'] =>
  [...deadTimeTables(reduction), ...slopeTables(reduction)].map((table) => ({
    quantity: table.quantity,
    unit: table.siUnit,
    pressurePa: table.pressure,
    periodS: table.period,
    injectors: table.columns.map((column) => column.title),
    rows: table.rows.map(({ voltage, cells }) => ({
      voltage,
      cells: cells.map((cell) =>
        cell.kind === 'missing' ? { missing: cell.reason, text: cell.text } : { value: cell.result.value, expanded: cell.result.expanded, low: cell.interval.low, high: cell.interval.high },
      ),
    })),
  }));

export const budgetForPrograms = ({ mass, rows }: BudgetTable): Pick<Line<'budget'>, 'massKg' | 'uRandomKg' | 'uSharedKg' | 'coverageFactor' | 'expandedKg' | 'inputs'> => ({
  massKg: mass.value,
  uRandomKg: mass.uRandom,
  uSharedKg: mass.uShared,
  coverageFactor: mass.coverageFactor,
  expandedKg: mass.expanded,
  inputs: rows.map((r) => ({
    input: labelOf(r.source), value: r.value, unit: r.unit, standardUncertainty: r.standardUncertainty, sensitivityKg: r.sensitivity, contributionKg: r.contribution,
    shareOfVariance: r.shareOfVariance, kind: r.kind, type: r.type, dof: Number.isFinite(r.dof) ? r.dof : null, evidence: evidenceText(r.evidence),
  })),
});
