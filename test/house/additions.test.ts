/**
 * What was added to the program and is not finished: a guard's signal, a fault of the bench, a command, an exit code, a sample without a rule, a
 * test or a line for its users. Columns of an export: main/export/export.test.ts. Each check is shown to speak by an addition that is made up.
 */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { guardSignalNames } from '../../app/bench/guard-signals.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { exitCode } from '../../main/cli/exit-codes.ts';
import { makeProgram } from '../../main/cli/program.ts';
import { unfinished, unfinishedColumns, unfinishedCommands, unfinishedExitCodes, unfinishedSamples, type TreeFile } from './additions.ts';

const root = join(import.meta.dirname, '../..');
const file = (path: string): TreeFile => ({ path, text: readFileSync(join(root, path), 'utf8') });
const tree = execFileSync('git', ['ls-files', '-z', '-o', '-c', '--exclude-standard'], { cwd: root, encoding: 'utf8' }).split('\0').filter((path) => path !== '');
const tests = tree.filter((path) => (/\.test\.tsx?$/.test(path) || /^test\/.*\.ts$/.test(path)) && !/^test\/house\/additions\./.test(path)).map(file);

/** The values of `key` in the schema, wherever it stands. */
function constants(schema: unknown, key: string): readonly string[] {
  if (typeof schema !== 'object' || schema === null) return [];
  return Object.entries(schema).flatMap(([name, part]) =>
    name === key && typeof part === 'object' && part !== null && 'const' in part ? [String((part as { const: unknown }).const)] : constants(part, key),
  );
}

describe('faults of the simulated bench', () => {
  const schema = z.toJSONSchema(scenarioSchema, { io: 'input' });
  const table = file('firmware-protocol/simulator/README.md');
  const faults = { what: 'The fault', names: [...new Set(constants(schema, 'kind'))], table, heading: 'fault', rule: 'SCN-1', users: tests, shows: 'what the program does about it' };
  const misbehaviours = { what: 'The misbehaviour', names: [...new Set(constants(schema, 'what'))], table, heading: 'misbehaviour', rule: 'SCN-2', users: tests, shows: 'what the program does about it' };

  it.each([
    ['SCN-1 those of a scenario', faults, 28],
    ['SCN-2 those of its controller', misbehaviours, 22],
  ] as const)('%s are in their table and used by a test or the storm', (_, kind, least) => {
    expect(kind.names.length).toBeGreaterThanOrEqual(least);
    expect(unfinished(kind)).toEqual([]);
  });

  it('SCN-1 one that was added says what is missing, and one that was taken out too', () => {
    expect(unfinished({ ...faults, names: [...faults.names.filter((name) => name !== 'meter-silent'), 'made-up'] }).filter((sentence) => /made-up|meter-silent/.test(sentence))).toEqual([
      'The fault `made-up` has no row in the table "fault" of firmware-protocol/simulator/README.md: write there what it is (SCN-1).',
      "The fault `made-up` is in no test: write one that names 'made-up' and shows what the program does about it (SCN-1).",
      'The table "fault" of firmware-protocol/simulator/README.md has a row `meter-silent`, and there is none of that name any more: take it out (SCN-1).',
    ]);
  });
});

describe('SCN-3 signals that a guard can watch', () => {
  const signals = {
    what: 'The guard signal', names: guardSignalNames, table: file('app/run/README.md'), heading: 'signal of a guard', rule: 'SCN-3',
    users: tests.filter(({ path }) => /^app\/run\/.*\.test\.ts$/.test(path)), shows: 'a guard of it acting and clearing',
  };

  it('are in their table and used by a test of the run', () => {
    expect(unfinished(signals)).toEqual([]);
  });

  it('one that was added says what is missing', () => {
    expect(unfinished({ ...signals, names: [...signals.names, 'made-up'] }).filter((sentence) => sentence.includes('made-up'))).toEqual([
      'The guard signal `made-up` has no row in the table "signal of a guard" of app/run/README.md: write there what it is (SCN-3).',
      "The guard signal `made-up` is in no test: write one that names 'made-up' and shows a guard of it acting and clearing (SCN-3).",
    ]);
  });
});

describe('EXP-6 columns of an export', () => {
  it('one that was added, renamed or moved says what is missing', () => {
    const file = 'attempts.csv';
    expect(unfinishedColumns({ file, columns: ['a', 'b', 'c'], listed: ['a', 'b'], held: ['a', 'b'] })).toEqual([
      'attempts.csv has the column `c`, and main/export/README.md does not say what it is: write its row there, in the order of the file (EXP-1).',
      'attempts.csv has the column `c`, and no test says what must stand in it: write that into test/house/export-columns.ts (EXP-6).',
    ]);
    expect(unfinishedColumns({ file, columns: ['a'], listed: ['a', 'b'], held: ['a', 'b'] })).toEqual([
      "main/export/README.md lists the column `b` for attempts.csv, and the file has it no more. Somebody's spreadsheet reads it by name: put it back (EXP-1).",
      'test/house/export-columns.ts says what must stand in the column `b` of attempts.csv, which does not have it: take it out there (EXP-6).',
    ]);
    expect(unfinishedColumns({ file, columns: ['b', 'a'], listed: ['a', 'b'], held: ['a', 'b'] })).toEqual([
      'The columns of attempts.csv stand in another order than main/export/README.md lists them: put them in that order (EXP-1).',
    ]);
  });
});

describe('CLI-35 commands', () => {
  const leaves = (command: Command, path: readonly string[] = []): readonly string[] =>
    command.commands.flatMap((one) => (one.commands.length > 0 ? leaves(one, [...path, one.name()]) : [[...path, one.name()].join(' ')]));
  const commands = {
    names: leaves(makeProgram()), readme: file('README.md'), rules: file('main/cli/README.md'), codes: Object.values(exitCode) as readonly number[],
    users: tests.filter(({ path, text }) => /\.test\.ts$/.test(path) && /main\.ts|main', 'cli'|railhouse\.mjs|launch\.mjs/.test(text)),
  };

  it('are in the README, in the table of exit codes, and carried out by a test', () => {
    expect(commands.names.length).toBeGreaterThan(30);
    expect(unfinishedCommands(commands)).toEqual([]);
  });

  it('one that was added says what is missing', () => {
    expect(unfinishedCommands({ ...commands, names: [...commands.names, 'made-up'] }).filter((sentence) => sentence.includes('made-up'))).toEqual([
      'The command `made-up` has no row in the table of commands of README.md: write there what it does (CLI-9).',
      'The command `made-up` has no row in the table "command" of main/cli/README.md: write there with which exit codes it ends beside 0, 1 and 2, and the rules it is held to (CLI-35).',
      "The command `made-up` is carried out by no test: write one that names 'made-up', in a file that runs main/cli, and says its exit code (CLI-35).",
    ]);
    expect(unfinishedCommands({ ...commands, codes: [0, 1, 2] }).slice(0, 1)).toEqual([expect.stringMatching(/is said to end with \d in main\/cli\/README\.md, and main\/cli\/exit-codes\.ts has no such code/)]);
  });

  it('CLI-36 every exit code is explained in the README and in --help, and one that was added is asked for', () => {
    let help = '';
    makeProgram().configureOutput({ writeOut: (text) => void (help += text) }).outputHelp();
    const texts = [file('README.md'), { path: 'main/cli/program.ts', text: help }];
    const codes = Object.values(exitCode);
    expect(unfinishedExitCodes({ codes, texts })).toEqual([]);
    expect(unfinishedExitCodes({ codes: [...codes, 9], texts })).toEqual([
      'The exit code 9 is not explained behind "Exit codes:" in README.md: say in a few words when it is given (CLI-36).',
      'The exit code 9 is not explained behind "Exit codes:" in main/cli/program.ts: say in a few words when it is given (CLI-36).',
    ]);
  });

  it('CLI-37 every sample is named in a README and read by a test, and one that was added is asked for', () => {
    const files = tree.filter((path) => /^main\/samples\/.*\.json$/.test(path)).map((path) => path.replace('main/samples/', ''));
    const samples = { files, readmes: tree.filter((path) => path.endsWith('README.md')).map(file), users: tests };
    expect(files.length).toBeGreaterThan(4);
    expect(unfinishedSamples(samples)).toEqual([]);
    expect(unfinishedSamples({ ...samples, files: ['other-plan.json'] })).toEqual([
      'The sample main/samples/other-plan.json is named in no README: say there what it shows (CLI-37).',
      'The sample main/samples/other-plan.json is read by no test: read it in test/house/samples.test.ts (CLI-37).',
    ]);
  });
});
