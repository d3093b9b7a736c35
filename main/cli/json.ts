/**
 * What commands say to programs (`--json`, CLI-5): one JSON value a line on standard output, each of a schema. Fields may be added;
 * none is renamed or removed. SI units, times in ISO 8601 (UTC).
 */
import { Option, type Command } from 'commander';
import { z } from 'zod';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { Reduction } from '../../app/reduce/reduce.ts';

const headSchema = z.strictObject({ archiveId: z.string().nullable(), head: z.string().nullable() });

const cellSchema = z.union([
  z.strictObject({ value: z.number(), expanded: z.number(), low: z.number(), high: z.number() }),
  z.strictObject({ missing: z.string(), text: z.string() }),
]);

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
    tables: z.array(
      z.strictObject({
        quantity: z.enum(['dead-time', 'slope']), unit: z.enum(['s', 'kg/s']), pressurePa: z.number(), periodS: z.number(), injectors: z.array(z.string()),
        rows: z.array(z.strictObject({ voltage: z.number(), cells: z.array(cellSchema) })),
      }),
    ),
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
