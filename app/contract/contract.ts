/**
 * The contract between window and host: requests with their replies, and events. It is carried over a MessagePort in the
 * desktop application and over a WebSocket by the local web host; each side parses what it receives.
 *
 * The window is told a run's journal and the bench's frames, and works everything else out with the same fold and the
 * same reduction as archive and command line; so the contract has no second model of a run.
 */
import { z } from 'zod';
import type { BenchFrame, BenchIdentity, BenchCapabilities } from '../bench/port.ts';
import { oneLine } from '../boundary/text.ts';
import { fewestInBaseline } from '../charts/individuals-chart.ts';
import { ruleSets } from '../charts/rules.ts';
import { instrumentNames } from '../equipment/certificate.ts';
import { equipmentSchema } from '../equipment/equipment.ts';
import { statedQuantities } from '../results/agreement.ts';
import type { RunStatus } from '../run/engine.ts';
import { runCommandSchema } from '../journal/commands.ts';
import type { RunEvent } from '../journal/events.ts';
import { upcast } from '../journal/upcast.ts';
import { reportDetailsSchema } from '../report/details.ts';
import { reportLengths } from '../report/document.ts';
import { papers } from '../report/style.ts';
import { meterCheckRow } from './meter-check-row.ts';
import { onCallView, webAddress } from './on-call.ts';
import { scenariosResult } from './scenarios.ts';
import { searchResult } from './search.ts';

const nothing = z.strictObject({});
const id = z.string().min(1).max(80);
const text = z.string().max(2000);
const person = oneLine(120).trim().min(1);
const finite = z.number();

/** How many entries the ledger of an archive has, and one hash over all of them. */
export const archiveHead = z.string().regex(/^\d{1,15}:[0-9a-f]{64}$/u);

const statedQuantity = z.enum(statedQuantities);

/** Where injectors are compared, SI units (MA-1). */
const matchPlace = { voltage: z.number().positive(), pressure: z.number().positive(), period: z.number().positive(), weight: z.number().positive().max(1e6) };
const matchPoint = z.discriminatedUnion('quantity', [
  z.strictObject({ quantity: z.literal('mass'), ...matchPlace, width: z.number().positive() }),
  z.strictObject({ quantity: z.enum(['slope', 'dead-time']), ...matchPlace }),
  z.strictObject({ quantity: z.literal('static-flow'), pressure: matchPlace.pressure, weight: matchPlace.weight }),
]);
const valueAndU = z.object({ value: finite, expanded: finite });

const runEvent = z.unknown().transform((value, context): RunEvent => {
  const read = upcast(value);
  if (read.ok) return read.event;
  context.addIssue({ code: 'custom', message: `An event of the run ${read.text}.` });
  return z.NEVER;
});
const benchFrame = z.custom<BenchFrame>((value) => {
  const frame = value as Partial<Record<keyof BenchFrame, unknown>> | null;
  return typeof frame?.at === 'number' && typeof frame.number === 'number' && typeof frame.pressure === 'number';
});
const runStatus = z.custom<RunStatus>((value) => typeof (value as { mode?: unknown } | null)?.mode === 'string');

const runRow = z.object({
  id, createdAt: finite, planName: z.string(), order: z.string(), operator: z.string(), software: z.string(),
  points: finite, counting: finite, attempts: finite, ending: z.string().nullable(), lastAt: finite.nullable(),
  /** Measured on a simulated bench of this program; null: from before this was noted. */
  simulated: z.boolean().nullable().default(null),
});
export type RunRow = z.infer<typeof runRow>;

/** An injector that the lab has taken in. `id` absent: a new one. */
const part = z.strictObject({
  id: id.optional(),
  order: oneLine(120).default(''),
  type: oneLine(60).trim().min(1),
  serialNumber: oneLine(60).trim().min(1),
  coilResistanceOhm: z.number().positive().nullable().default(null),
  condition: oneLine(500).default(''),
  /** Driver channel and place on the rail; null: not mounted. */
  channel: z.int().min(1).max(64).nullable().default(null),
});
export type Part = z.infer<typeof part>;

const planRow = z.object({ id, version: z.int(), name: z.string(), savedAt: finite, savedBy: z.string() });
export type PlanRow = z.infer<typeof planRow>;

const problem = z.object({ path: z.string(), text: z.string() });
const sheet = z.object({
  lines: z.array(z.object({ rule: z.string(), result: z.enum(['pass', 'warn', 'refuse']), text: z.string(), untraceable: z.string().optional() })),
  totals: z.object({ durationS: finite, pulses: finite, fluidMl: finite, points: finite, telemetryFrames: finite, diskBytes: finite }),
});
export type PlanSheet = z.infer<typeof sheet>;

/** Of the book of reports, like `R-2026-0001`. */
const reportNumber = z.string().regex(/^R-\d{4}-\d{4,9}$/u);
/** A file of some kilobytes. */
const smallFile = z.base64().max(400_000);

const issuedReport = z.object({
  number: z.string(), at: z.string(), runId: z.string(), by: z.string().nullable(), amends: z.string().nullable(), amendedBy: z.string().nullable(),
  /** What there is of a time stamp beside it. */
  stamp: z.enum(['none', 'asked', 'kept']),
});
export type IssuedReportRow = z.infer<typeof issuedReport>;

/** Least and most; null: nothing was read. */
const extent = z.tuple([finite, finite]).nullable();

/** A window over all loadings of its page, or one loading of it: part of a file's name. */
const draftWindow = z.string().regex(/^[A-Za-z0-9-]{1,60}$/u);
/** The page, and what on it: `results/exclude/3`. */
const draftName = z.string().regex(/^[\w./:-]{1,150}$/u);

/** The bench as the host has it now. */
const benchView = z.discriminatedUnion('state', [
  z.object({ state: z.literal('absent'), why: z.string() }),
  z.object({ state: z.literal('connecting'), to: z.string() }),
  z.object({
    state: z.literal('connected'),
    simulated: z.boolean(),
    /** How many times as fast as the clock on the wall its time passes: 1 but for a simulated bench. */
    speed: z.number().positive().default(1),
    /** Name of the scenario of a simulated bench; empty: a real one. */
    scenario: z.string().default(''),
    link: z.string(),
    up: z.boolean(),
    why: z.string(),
    identity: z.custom<BenchIdentity>((v) => typeof v === 'object' && v !== null),
    capabilities: z.custom<BenchCapabilities>((v) => typeof v === 'object' && v !== null),
    bootId: z.string(),
    statistics: z.record(z.string(), z.unknown()).nullable(),
  }),
]);
export type BenchView = z.infer<typeof benchView>;

/** Manual work: what the host does on the bench outside a run, and whether its guards let it. */
const manualView = z.object({
  armed: z.boolean(),
  /** Guard or fault that stands against manual work; empty: none. */
  against: z.string(),
  doing: z.string(),
  /** What was set by hand and still holds; null: nothing was, or it was made safe since. */
  set: z.object({ supplyV: finite.nullable(), pressureKpa: finite.nullable(), periodMs: finite.nullable() }),
});
export type ManualView = z.infer<typeof manualView>;

const control = z.object({ mine: z.boolean(), holder: z.string().nullable(), windows: z.int() });
export type ControlView = z.infer<typeof control>;

const benchSpeed = z.number().positive().max(100);
const accepted = z.object({ accepted: z.boolean(), reason: z.string() });
const benchChoice = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('simulated'),
    /** Bench time against real time. */
    speed: benchSpeed.default(1),
    /** A scenario document; absent: the sample bench. */
    scenario: z.unknown().optional(),
  }),
  z.strictObject({ kind: z.literal('port'), path: z.string().min(1).max(300) }),
]);
export type BenchChoice = z.input<typeof benchChoice>;

/**
 * Every request by name. `control: true`: only the window that holds control may make it; the others may watch, and any
 * window may always make `stop`.
 */
export const requests = {
  hello: {
    control: false,
    params: z.strictObject({ name: person }),
    result: z.object({
      software: z.string(), archivePath: z.string(), bench: benchView, control, openRun: id.nullable(), manual: manualView.nullable(), now: finite,
      /** As the event \`archive\`. */
      archiveProblems: z.array(z.string()).default([]),
    }),
  },
  /** STOP, which is not the emergency stop of the bench: pulsing off, supply to its safe value, disarmed, whatever is going on. */
  stop: { control: false, params: nothing, result: accepted },
  'control.take': { control: false, params: nothing, result: control },

  'bench.ports': { control: false, params: nothing, result: z.array(z.object({ path: z.string(), description: z.string() })) },
  /** What can be given to `bench.connect` as a scenario. */
  'bench.scenarios': { control: false, params: nothing, result: scenariosResult },
  /** Of the time of the simulated bench that is connected. */
  'bench.speed': { control: true, params: z.strictObject({ speed: benchSpeed }), result: benchView },
  'bench.connect': { control: true, params: z.strictObject({ bench: benchChoice }), result: benchView },
  'bench.disconnect': { control: true, params: nothing, result: benchView },
  'manual.supply': { control: true, params: z.strictObject({ volts: z.number().min(0).max(100) }), result: accepted },
  'manual.pressure': { control: true, params: z.strictObject({ kpa: z.number().min(0).max(2000) }), result: accepted },
  'manual.burst': {
    control: true,
    params: z.strictObject({
      channel: z.int().min(1).max(64), widthMs: z.number().positive(), periodMs: z.number().positive(), count: z.int().min(1).max(100_000),
    }),
    result: accepted,
  },
  'manual.safe': { control: true, params: nothing, result: accepted },
  'manual.clear-faults': { control: true, params: nothing, result: accepted },

  'parts.list': { control: false, params: nothing, result: z.array(part.extend({ id })) },
  'parts.save': { control: true, params: z.strictObject({ parts: z.array(part).min(1).max(200) }), result: z.array(part.extend({ id })) },
  /** null: a bench is connected over a port, and no record was saved. */
  'equipment.read': { control: false, params: nothing, result: equipmentSchema.nullable() },
  /** `by`, `reason`: kept in the record. `basedOn`: version that the change was made on; refused where another was saved since (HOST-90). */
  'equipment.save': {
    control: true,
    params: z.strictObject({ document: z.unknown(), by: person.optional(), reason: oneLine(500).optional(), basedOn: z.int().min(0).optional() }),
    result: z.object({ problems: z.array(problem) }),
  },
  /** What was saved, the latest first; `cut`: there is more. `today`: the day against which certificates are held. HOST-91 */
  'equipment.history': {
    control: false, params: nothing,
    result: z.object({
      today: z.string(), latest: z.int(), cut: z.boolean(),
      versions: z.array(z.object({ version: z.int(), savedAt: finite, document: z.unknown(), /** Runs that hold this very record. */ runs: z.int() })),
    }),
  },
  /** The checks of the meter in the record that holds, by their dates, and what comes of them. HOST-92 */
  'meter-checks.list': {
    control: false, params: nothing,
    result: z.object({
      today: z.string(), meter: z.string(), certificate: z.string(), cut: z.boolean(), checks: z.array(meterCheckRow),
      standing: z.object({ check: z.int().nullable(), suspended: z.boolean(), validUntil: z.string().nullable(), text: z.string() }),
      /** Runs in doubt while a check suspends the meter (MC-19). */
      doubtful: z.array(z.object({ id, day: z.string() })),
      /** The record with the K-factor that is in force; null: none is, or the record refers to it already. */
      inForce: equipmentSchema.nullable(),
      /** The latest check as it was kept, without its verdict, to write the next one from; null: there is none. */
      latest: z.unknown(),
    }),
  },
  /** What a check would come to, without keeping it. HOST-92 */
  'meter-check.try': { control: false, params: z.strictObject({ document: z.unknown() }), result: z.object({ problems: z.array(problem), check: meterCheckRow.nullable() }) },
  'meter-check.add': { control: true, params: z.strictObject({ document: z.unknown() }), result: z.object({ problems: z.array(problem), check: meterCheckRow.nullable() }) },

  'plans.list': { control: false, params: nothing, result: z.array(planRow) },
  'plans.versions': { control: false, params: z.strictObject({ id }), result: z.array(planRow) },
  'plans.read': { control: false, params: z.strictObject({ id, version: z.int().min(1) }), result: z.object({ row: planRow, document: z.unknown() }) },
  /** Saving a plan makes a new version; an earlier one never changes. */
  'plans.save': {
    control: true,
    params: z.strictObject({ id: id.nullable(), document: z.unknown(), by: person }),
    result: z.object({ row: planRow.nullable(), problems: z.array(problem) }),
  },
  /** Layouts of tables for controllers that are kept beside the archive. TAB-52 */
  'layouts.list': { control: false, params: nothing, result: z.object({ folder: z.string(), layouts: z.array(z.object({ name: z.string(), document: z.unknown() })), problem: z.string() }) },
  'layouts.save': { control: true, params: z.strictObject({ document: z.unknown() }), result: z.object({ problems: z.array(problem) }) },
  'layouts.remove': { control: true, params: z.strictObject({ name: text }), result: nothing },
  /**
   * What was typed and is not saved, without its contents, the latest first. `window`: names this window from now on. `here`: its window is there now;
   * `work`: losing it would lose work, and not only what stood in fields. HOST-98
   */
  'drafts.list': {
    control: false, params: z.strictObject({ window: draftWindow }),
    result: z.object({ drafts: z.array(z.object({ window: draftWindow, name: draftName, title: z.string(), by: z.string(), at: finite, work: z.boolean(), here: z.boolean() })) }),
  },
  /** Keeps what was typed under its name, or takes it away (`content` null). `writer`: this loading of the page. Not kept: another page goes on with it. HOST-99 */
  'drafts.keep': {
    control: false,
    params: z.strictObject({ window: draftWindow, writer: draftWindow, name: draftName, title: oneLine(200), by: oneLine(120), work: z.boolean(), content: z.unknown() }),
    result: z.object({ kept: z.boolean() }),
  },
  /** Goes on with what this window, or one that has gone (`of`), has typed. null: it is not there any more, or this window has something of that name. HOST-101 */
  'drafts.take': { control: false, params: z.strictObject({ of: draftWindow, window: draftWindow, writer: draftWindow, name: draftName }), result: z.object({ content: z.unknown() }) },
  /** Who is called out of the house when a run needs a person: what is set, and what became of the last call (HOST-80). */
  'on-call.read': { control: false, params: nothing, result: onCallView },
  /** null: nobody. The command is set in the file only: whoever reaches a window could otherwise have this machine run anything. */
  'on-call.save': { control: true, params: z.strictObject({ webhook: webAddress.nullable() }), result: onCallView },
  /** Calls once, without trying again, and says what came of it. */
  'on-call.try': { control: true, params: nothing, result: z.object({ said: z.array(z.string()) }) },
  /** Problems of a document, or its pre-flight sheet for the connected bench (without one: what a plan alone can say). */
  'plan.check': {
    control: false,
    params: z.strictObject({ document: z.unknown() }),
    result: z.object({ problems: z.array(problem), sheet: sheet.nullable(), points: z.int() }),
  },

  'run.open': { control: true, params: z.strictObject({ document: z.unknown(), operator: person }), result: z.object({ id }) },
  /** Opens a stored run on the bench again, to continue it or to measure points again. */
  'run.continue': { control: true, params: z.strictObject({ id }), result: z.object({ id }) },
  'run.command': { control: true, params: z.strictObject({ id, command: runCommandSchema, by: person, commandId: id }), result: accepted },
  /** Lets go of a run that rests; the bench stays connected. */
  'run.close': { control: true, params: z.strictObject({ id }), result: nothing },
  'run.journal': {
    control: false,
    params: z.strictObject({ id, fromSeq: z.int().min(0), limit: z.int().min(1).max(5000) }),
    result: z.object({ events: z.array(runEvent), more: z.boolean() }),
  },
  /** Frames stored with a run, thinned to at most `most`. */
  'run.telemetry': {
    control: false,
    params: z.strictObject({ id, most: z.int().min(2).max(2000) }),
    result: z.object({ frames: z.array(benchFrame) }),
  },
  /**
   * What the bench read from `from` to `to` (ms of the day; absent: from the beginning, to the end), as least and most in so many equal parts: pressure in kPa, rail temperature in °C,
   * supply in V, flow in mL/min at the meter. `at`: middle of a part. Parts without a frame are left out. HOST-93
   */
  'run.signals': {
    control: false,
    params: z.strictObject({ id, from: finite.optional(), to: finite.optional(), parts: z.int().min(2).max(2000) }),
    result: z.object({
      /** What there is of the run; null: no frame. */
      whole: z.object({ from: finite, to: finite }).nullable(), from: finite, to: finite,
      parts: z.array(z.object({ at: finite, pressure: extent, temperature: extent, supply: extent, flow: extent })),
    }),
  },
  /** The reference injectors over the runs of the archive with their charts, as the command has them: kg, Pa, s, V. HOST-94 */
  'reference.history': {
    control: false,
    params: z.strictObject({ rules: z.enum(ruleSets), baseline: z.int().min(fewestInBaseline).max(1000).optional() }),
    result: z.object({
      histories: z.array(z.object({
        serialNumber: z.string(), voltage: finite, pressure: finite, width: finite, period: finite, referenceC: finite,
        /** The oldest first. `rules`: of signals that stand at this run. */
        runs: z.array(z.object({ run: id, at: finite, mass: finite, expanded: finite, meterCertificate: z.string(), rules: z.array(z.string()) })),
        limits: z.object({ baseline: z.int(), lower: finite, centre: finite, upper: finite, sigma: finite, movingRange: finite }).nullable(),
        noLimits: z.string(), signals: z.array(z.string()), cautions: z.array(z.string()),
        /** The newest run against those before it, while these are few; null: not asked, or too few. */
        newest: z.object({ low: finite, high: finite, outside: z.boolean() }).nullable(),
        enough: z.boolean(), chance: z.string(),
      })),
      /** Runs whose journal could not be read. */
      unread: z.array(id),
    }),
  },
  /**
   * Sets of alike injectors out of one run or several (MA). `points` absent: slope, and mass at the shortest width of every line. `without`: serial numbers that are not taken.
   * Deviations and spreads are in the unit of their point; means in kg, kg/s or µs. `text`: what is proved of the choice, or why there is none (`proof` none). HOST-110
   */
  'sets.match': {
    control: false,
    params: z.strictObject({
      runs: z.array(id).min(1).max(60), sets: z.int().min(1).max(100), of: z.int().min(2).max(16), objective: z.enum(['greatest', 'total']), points: z.array(matchPoint).min(1).max(8).optional(),
      without: z.array(z.string().max(120)).max(2000).default([]),
    }),
    result: z.object({
      points: z.array(z.object({ text: z.string(), unit: z.enum(['%', 'µs']), weight: finite, asked: matchPoint })), cautions: z.array(z.string()),
      candidates: z.array(z.object({ serialNumber: z.string(), run: id, at: finite })), leftOut: z.array(z.object({ serialNumber: z.string(), text: z.string() })),
      sets: z.array(z.object({
        cost: finite, members: z.array(z.object({ serialNumber: z.string(), run: id, at: finite, deviations: z.array(valueAndU) })), means: z.array(valueAndU), spread: z.array(valueAndU),
      })),
      inNoSet: z.array(z.string()), greatest: finite.nullable(), total: finite.nullable(), proof: z.enum(['none', 'best', 'objective', 'bound']), text: z.string(),
      places: z.object({ voltages: z.array(finite), pressures: z.array(finite), periods: z.array(finite), widths: z.array(finite), staticPressures: z.array(finite) }),
      /** Runs of which nothing can be traced, with the reasons. */
      untraceable: z.array(z.object({ run: id, reasons: z.array(z.string()) })),
    }),
  },
  /**
   * One injector over all runs in which it was measured, the oldest first: results at each place in SI units and their changes since its first (WIN-64); and what was saved of it, the oldest first.
   * `traceable` false: nothing of that run can be traced. `unread`: runs whose journal could not be read. HOST-111
   */
  'injector.life': {
    control: false, params: z.strictObject({ serialNumber: oneLine(60).trim().min(1) }),
    result: z.object({
      runs: z.array(z.object({ run: id, at: finite, planName: z.string(), order: z.string(), traceable: z.boolean() })), unread: z.array(id),
      places: z.array(z.object({
        quantity: statedQuantity, voltage: finite, pressure: finite, period: finite, results: z.array(z.object({ run: id, value: finite, expanded: finite, change: valueAndU.nullable() })),
      })),
      visits: z.array(z.object({ savedAt: finite, order: z.string(), type: z.string(), coilResistanceOhm: finite.nullable(), condition: z.string(), channel: z.int().nullable() })),
    }),
  },
  'runs.list': {
    control: false,
    params: z.strictObject({
      text: text.optional(), after: z.strictObject({ createdAt: finite, id }).optional(), limit: z.int().min(1).max(500),
    }),
    result: z.array(runRow),
  },
  /** Whatever in the archive has `text` in it; an empty one: what is still to be looked at, then the latest runs. HOST-109 */
  search: { control: false, params: z.strictObject({ text: z.string().max(200) }), result: searchResult },
  /** Makes the files of a run, for the window to offer; the host keeps the latest few exports. */
  'run.export': { control: false, params: z.strictObject({ id }), result: z.object({ export: id, files: z.array(z.object({ name: z.string(), bytes: finite })) }) },
  /** Makes a draft of a report, as files that are kept and read like those of an export. REP-29 */
  'run.report': {
    control: false,
    params: z.strictObject({ id, length: z.enum(reportLengths), details: reportDetailsSchema.optional() }),
    result: z.object({ export: id, files: z.array(z.object({ name: z.string(), bytes: finite })) }),
  },
  /** What was issued, the latest first, at most 500. `problem`: what is wrong with the book; empty: nothing. `publicKey` null: nothing was issued yet. REP-40 */
  'reports.list': { control: false, params: nothing, result: z.object({ book: z.string(), publicKey: z.string().nullable(), problem: z.string(), reports: z.array(issuedReport) }) },
  /** Numbers, signs and enters a report. `said`: what the person must know beside. */
  'report.issue': {
    control: false,
    params: z.strictObject({
      id, length: z.enum(reportLengths), paper: z.enum(Object.keys(papers) as [keyof typeof papers]), details: reportDetailsSchema.optional(), by: person,
      /** Said by the person who releases: he measured too. Without it that is refused. */
      measuredToo: z.boolean(),
      amends: z.strictObject({ number: reportNumber, reason: oneLine(1000).trim().min(1) }).nullable(),
    }),
    result: z.object({ number: z.string(), folder: z.string(), publicKey: z.string(), said: z.array(z.string()) }),
  },
  /** The HTML file of an issued report, kept and read like those of an export. */
  'report.read': { control: false, params: z.strictObject({ number: reportNumber }), result: z.object({ export: id, files: z.array(z.object({ name: z.string(), bytes: finite })) }) },
  /** A run against what somebody else stated, in a file of the window that is forgotten then: its numbers less those of the file. CMP-12 */
  'run.compare': {
    control: false, params: z.strictObject({ id, upload: id, name: oneLine(200).min(1) }),
    result: z.object({
      text: z.string(), left: z.array(z.string()), said: z.array(z.string()),
      rows: z.array(z.object({
        place: z.string(), quantity: statedQuantity, first: finite, firstExpanded: finite, second: finite, secondExpanded: finite,
        difference: finite, expanded: finite, en: finite, zeta: finite, verdict: z.string(),
      })),
    }),
  },
  /** What injectors of a type are like over all runs of the archive. `tolerance` null: too few. CMP-13 */
  'types.spread': {
    control: false, params: z.strictObject({ type: oneLine(60).min(1) }),
    result: z.object({
      runs: z.int(),
      spreads: z.array(z.object({
        quantity: statedQuantity, voltage: finite, pressure: finite, period: finite, injectors: z.int(), results: z.int(), mean: finite, u: finite, expanded: finite,
        seen: finite, measuring: finite, left: finite, tolerance: z.object({ low: finite, high: finite }).nullable(), text: z.string(),
      })),
    }),
  },
  /** The record that is in force, with what a certificate in a file of the window says of one of its instruments; nothing is saved. TAB-55 */
  'equipment.read-certificate': {
    control: false,
    params: z.strictObject({ upload: id, instrument: z.enum(instrumentNames), validUntil: z.iso.date().nullable(), replaces: z.boolean() }),
    result: z.discriminatedUnion('ok', [
      z.object({ ok: z.literal(true), document: equipmentSchema, said: z.array(z.string()) }),
      /** `wants`: what the person can say so that it is taken. */
      z.object({ ok: z.literal(false), text: z.string(), wants: z.enum(['end', 'replacement']).nullable() }),
    ]),
  },
  /** The request for a time stamp of an issued report; with an `answer` of the authority: that is checked, and kept where it holds. */
  'report.stamp': {
    control: false, params: z.strictObject({ number: reportNumber, answer: smallFile.nullable() }),
    result: z.object({ request: smallFile.nullable(), said: z.array(z.string()) }),
  },
  /** A piece of a text that the window has and the host has not: added to what came under this name. */
  'file.give': { control: false, params: z.strictObject({ upload: id, text: z.string().max(250_000) }), result: nothing },
  /**
   * Proves a report by itself; `against`: also against this archive and its book of reports. `upload`: the whole HTML file, as it was given; it is forgotten then.
   * `stamp`: an authority's answer. `publicKey`: the one that the laboratory gave.
   */
  'report.prove': {
    control: false,
    params: z.strictObject({ upload: id, publicKey: z.string().max(100).optional(), stamp: smallFile.optional(), against: z.boolean() }),
    result: z.object({ holds: z.boolean(), said: z.array(z.string()) }),
  },
  /** The text of such a file from a byte on. `next`: where to read on; null: that was the end. */
  'export.piece': {
    control: false, params: z.strictObject({ export: id, file: text, from: z.int().min(0) }), result: z.object({ text: z.string(), next: z.int().nullable() }),
  },
  /** Id of the archive, and the head that stands for its whole contents now. */
  'archive.head': { control: false, params: nothing, result: z.object({ archiveId: z.string(), head: archiveHead }) },
  /** `head`: one that was noted earlier and must lie in the history of this archive. null: the file is too damaged to have one. */
  'archive.verify': {
    control: false, params: z.strictObject({ head: archiveHead.optional() }),
    result: z.object({
      passed: z.boolean(), checks: z.array(z.object({ name: z.string(), passed: z.boolean(), text: z.string() })),
      archiveId: z.string().nullable(), head: archiveHead.nullable(),
    }),
  },
  /** Copies the archive into its own folder under a name with the date. */
  'archive.backup': { control: true, params: nothing, result: z.object({ path: z.string(), bytes: finite }) },
} as const satisfies Record<string, { control: boolean; params: z.ZodType; result: z.ZodType }>;

export type RequestName = keyof typeof requests;
export type Params<N extends RequestName> = z.input<(typeof requests)[N]['params']>;
export type ParsedParams<N extends RequestName> = z.output<(typeof requests)[N]['params']>;
export type AnswerTo<N extends RequestName> = z.output<(typeof requests)[N]['result']>;

export const events = {
  bench: benchView,
  /** Frames since the last such event, oldest first; at most ten events a second. */
  frames: z.object({ frames: z.array(benchFrame) }),
  manual: manualView.nullable(),
  control,
  /** What stands against things being kept in the archive and beside it, in sentences; empty: all is well. */
  archive: z.object({ problems: z.array(z.string()) }),
  /** How much of the check that this window asked for is done, 0 to 1. */
  'archive.checking': z.object({ share: finite }),
  /** The run that is open on the bench; null: none. */
  'run.opened': z.object({ id: id.nullable() }),
  /** Committed to the archive. */
  'run.events': z.object({ id, events: z.array(runEvent) }),
  /** At most five a second. */
  'run.status': z.object({ id, status: runStatus }),
} as const satisfies Record<string, z.ZodType>;

export type EventName = keyof typeof events;
export type EventData<N extends EventName> = z.output<(typeof events)[N]>;

/** Why a request was not carried out. */
const failure = z.object({
  code: z.enum(['bad-request', 'not-in-control', 'no-bench', 'no-run', 'busy', 'bench', 'archive', 'refused', 'defect']),
  text: z.string(),
});
export type Failure = z.infer<typeof failure>;

/** What passes between window and host. */
export const toHost = z.object({ id: z.int().min(0), name: z.string(), params: z.unknown() });
export const toWindow = z.union([
  z.object({ id: z.int().min(0), result: z.unknown() }),
  z.object({ id: z.int().min(0), failure }),
  z.object({ event: z.string(), data: z.unknown() }),
]);
export type ToHost = z.infer<typeof toHost>;
export type ToWindow = z.infer<typeof toWindow>;
