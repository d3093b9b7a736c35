/**
 * What commands say to programs (`--json`, CLI-5): one JSON value a line on standard output, each of a schema. Fields may be added;
 * none is renamed or removed. SI units, times in ISO 8601 (UTC).
 */
import { Option, type Command } from 'commander';
import { z } from 'zod';
import { shownPoint } from '../../app/plan/points.ts';
import { memberVerdict } from '../../app/reduce/invariance-words.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { Reduction } from '../../app/reduce/reduce.ts';

const headSchema = z.strictObject({ archiveId: z.string().nullable(), head: z.string().nullable() });

const cellSchema = z.union([
  z.strictObject({ value: z.number(), expanded: z.number(), low: z.number(), high: z.number() }),
  z.strictObject({ missing: z.string(), text: z.string() }),
]);

const tallySchema = z.strictObject({
  told: z.int(), inside: z.int(), sealed: z.int(), fraction: z.strictObject({ low: z.number(), high: z.number() }).nullable(), spread: z.number().nullable(),
  called: z.enum(['too-small', 'too-large', 'fraction']).nullable(),
});

/** By command, what a line may be. */
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
  }),
  'blind-history': z.strictObject({
    bench: z.string(), text: z.string(), ...tallySchema.shape,
    runs: z.array(tallySchema.extend({ run: z.string(), at: z.iso.datetime() })),
  }),
  ports: z.strictObject({ path: z.string(), manufacturer: z.string().nullable(), vendorId: z.string().nullable(), productId: z.string().nullable() }),
  /** Of the commands that measure. */
  run: z.union([
    z.strictObject({ kind: z.literal('run'), id: z.string(), archive: z.string() }),
    z.strictObject({ kind: z.literal('progress'), accepted: z.int(), skipped: z.int(), points: z.int(), remainingS: z.number().nullable(), doing: z.string() }),
    z.strictObject({ kind: z.literal('said'), text: z.string() }),
    z.strictObject({ kind: z.literal('rest'), mode: z.string(), exitCode: z.int(), accepted: z.int(), points: z.int(), attempts: z.int(), text: z.string(), continueWith: z.string().nullable() }),
  ]),
} as const;

type Line<K extends keyof typeof jsonLines> = z.input<(typeof jsonLines)[K]>;

export function printJson<K extends keyof typeof jsonLines>(kind: K, line: Line<K>): void {
  process.stdout.write(`${JSON.stringify(jsonLines[kind].parse(line))}\n`);
}

export const withJsonOption = (command: Command): Command => command.addOption(new Option('--json', 'say it for programs: one JSON value a line'));

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
