/** What is typed on a terminal, and what a program reads from one (CLI-1 to CLI-8 of main/cli/README.md). */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { commandLine } from '../../main/cli/command-line.ts';
import { exitCode } from '../../main/cli/exit-codes.ts';
import { jsonLines } from '../../main/cli/json.ts';
import { makeProgram } from '../../main/cli/program.ts';
import { Stop } from '../../main/cli/stop.ts';
import { readConfiguration } from '../../main/cli/surroundings.ts';
import { decimal } from '../../main/cli/values.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';
import { onWindows } from '../builders/systems.ts';

const house = join(import.meta.dirname, '..', '..');
const main = join(house, 'main', 'cli', 'main.ts');

const matching = (pattern: RegExp): string => expect.stringMatching(pattern) as string;

let folder = '';
beforeEach(() => {
  folder = scratchFolder();
});
afterEach(() => {
  rmSync(folder, { recursive: true, force: true });
});

const bare = (): NodeJS.ProcessEnv => bareEnvironment(folder);

function run(args: readonly string[], { env = {}, input = '' }: { env?: NodeJS.ProcessEnv; input?: string } = {}) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [main, ...args], { cwd: folder, env: { ...bare(), ...env }, input, encoding: 'utf8', timeout: 120_000 });
  return { code: status, out: stdout, err: stderr };
}

function leaves(command: Command, path: readonly string[] = []): readonly { readonly path: readonly string[]; readonly command: Command }[] {
  return command.commands.flatMap((one) => (one.commands.length > 0 ? leaves(one, [...path, one.name()]) : [{ path: [...path, one.name()], command: one }]));
}

/** Why `args` were refused, in this process; null: they were not, and the command was carried out. */
async function refused(args: readonly string[]): Promise<{ readonly code: number; readonly text: string } | null> {
  const program = makeProgram();
  const quiet = { writeErr: () => undefined, writeOut: () => undefined };
  for (const one of [program, ...leaves(program).map(({ command }) => command)]) one.exitOverride().configureOutput(quiet);
  for (const { command } of leaves(program)) command.action(() => undefined);
  try {
    await program.parseAsync([...args], { from: 'user' });
    return null;
  } catch (error) {
    if (error instanceof Stop) return { code: error.exitCode, text: error.message };
    return { code: exitCode.badInput, text: (error as Error).message };
  }
}

const everyValue = leaves(makeProgram()).flatMap(({ path, command }) =>
  command.options.filter((option) => option.required || option.optional).map((option) => ({ name: `${path.join(' ')} ${option.long ?? ''}`, path, command, long: option.long ?? '' })),
);

describe('CLI-2 empty and odd values', () => {
  it.each(everyValue)('$name of nothing is refused', async ({ path, command, long }) => {
    const args = command.registeredArguments.filter((argument) => argument.required).map(() => 'x');
    const answer = await refused([...path, ...args, long, '']);
    expect(answer?.code).toBe(exitCode.badInput);
    expect(answer?.text).not.toBe('');
  });

  it.each(leaves(makeProgram()).flatMap(({ path, command }) => command.registeredArguments.map((argument) => ({ name: `${path.join(' ')} <${argument.name()}>`, path }))))('$name of nothing is refused', async ({ path }) => {
    expect(await refused([...path, ' '])).toMatchObject({ code: exitCode.badInput });
  });

  it('an option that was given is not taken for an empty one', async () => {
    expect(await refused(['runs', '--archive', 'a.sqlite'])).toBeNull();
  });

  it('numbers are written in decimal digits', () => {
    expect(['12', ' 1.5 ', '.5', '1e3', '-2'].map(decimal)).toEqual([12, 1.5, 0.5, 1000, -2]);
    for (const text of ['', ' ', '0x10', '1e', '1,5', 'Infinity', '1 2', '0b1', '1e999']) expect(decimal(text), text).toBeNaN();
  });

  it('a folder is no archive, an empty variable is none, and nothing is written', () => {
    expect(run(['runs', '--archive', folder])).toMatchObject({ code: 2, err: matching(/is a folder/) });
    expect(run(['export', '--to', '', '--archive', join(folder, 'no.sqlite')])).toMatchObject({ code: 2, err: matching(/--to is empty/) });
    expect(run(['runs'], { env: { RAILHOUSE_ARCHIVE: '' } })).toMatchObject({ code: 2, err: matching(/RAILHOUSE_ARCHIVE is empty/) });
    // A run that is to be gone on with lies in an archive that is there already.
    expect(run(['continue', '--operator', 'A. Tester', '--archive', join(folder, 'typo.sqlite')])).toMatchObject({ code: 7, err: matching(/no archive at .*typo/) });
    expect(run(['backup', '-'])).toMatchObject({ code: 2 });
    expect(readdirSync(folder)).toEqual([]);
  });

  it('an axis has 200 places at most', async () => {
    const axis = Array.from({ length: 201 }, (_, i) => i + 1);
    expect(await refused(['export', '--voltages', axis.join(',')])).toMatchObject({ text: matching(/200 places/) });
    expect(await refused(['export', '--voltages', axis.slice(1).join(',')])).toBeNull();
  });
});

describe('CLI-1, CLI-5, CLI-6, CLI-7 a run for a program', () => {
  it('reads its plan from standard input and tells a program what became of it', () => {
    const archive = join(folder, 'an archive.sqlite');
    const plan = `\uFEFF${readFileSync(samplePath('small-plan'), 'utf8')}`;
    const measured = run(['sweep', '-', '--archive', archive, '--operator', 'A. Tester', '--json', '--quiet'], { input: plan });
    expect(measured).toMatchObject({ code: 0, err: '' });
    const lines = measured.out.trim().split('\n').map((line) => JSON.parse(line) as { kind: string });
    for (const line of lines) (line.kind === 'sheet' ? jsonLines.sheet : jsonLines.run).parse(line);
    expect(lines[0]).toMatchObject({ kind: 'run', archive });
    expect(lines.at(-1)).toMatchObject({ kind: 'rest', mode: 'ended', exitCode: 0, accepted: 17, points: 17, continueWith: null });

    const listed = run(['runs', '--json'], { env: { RAILHOUSE_ARCHIVE: archive } }).out.trim().split('\n').map((line) => jsonLines.runs.parse(JSON.parse(line)));
    expect(listed).toMatchObject([{ kind: 'run', accepted: 17, ending: 'complete' }, { kind: 'head' }]);
    const whole = jsonLines.verify.parse(JSON.parse(run(['verify', archive, '--json']).out));
    expect(whole.passed).toBe(true);
    const reduced = jsonLines.reduce.parse(JSON.parse(run(['reduce', '--archive', archive, '--json']).out));
    expect(reduced).toMatchObject({ head: whole.head, tables: [{ quantity: 'dead-time', unit: 's' }, { quantity: 'slope', unit: 'kg/s' }] });

    // CLI-1: points that do not exist are no points, and no bench is looked for.
    expect(run(['measure-again', '--archive', archive, '--operator', 'A. Tester', '--points', '99999'])).toMatchObject({ code: 2, err: matching(/17 points.*no point 99999/) });
    expect(run(['measure-again', '--archive', archive, '--operator', 'A. Tester', '--port', '/dev/none'])).toMatchObject({ code: 2, err: matching(/Say which points/) });
    expect(run(['runs', '--archive', archive, '--find', 'nothing of the kind']).out).toMatch(/No run in it contains that/);
  });

  it('a sheet that refuses is told with its exit code', () => {
    const plan = JSON.parse(readFileSync(samplePath('small-plan'), 'utf8')) as { axes: object };
    // The simulated bench has 18 V at the most.
    const told = run(['check-plan', '-', '--json'], { input: JSON.stringify({ ...plan, axes: { ...plan.axes, voltageV: [10, 20] } }) });
    expect(told.code).toBe(3);
    expect(jsonLines.sheet.parse(JSON.parse(told.out))).toMatchObject({ refused: true });
    const refusedRun = run(['sweep', '-', '--json', '--quiet', '--archive', 'a.sqlite', '--operator', 'A. Tester'], { input: JSON.stringify({ ...plan, axes: { ...plan.axes, voltageV: [10, 20] } }) });
    expect(refusedRun.code).toBe(3);
    expect(jsonLines.run.parse(JSON.parse(refusedRun.out.trim().split('\n').at(-1) ?? ''))).toMatchObject({ kind: 'rest', mode: 'ready', exitCode: 3 });
  });
});

describe('CLI-3 what stands beside the line', () => {
  const config = (value: unknown): void => {
    mkdirSync(join(folder, 'railhouse'));
    writeFileSync(join(folder, 'railhouse', 'config.json'), typeof value === 'string' ? value : JSON.stringify(value));
  };

  it('the line comes before the variable, the variable before the file', () => {
    config({ archive: 'of-file.sqlite' });
    const missing = (env: NodeJS.ProcessEnv, ...args: readonly string[]): string => run(['runs', ...args], { env }).err;
    expect(missing({})).toContain(join(folder, 'railhouse', 'of-file.sqlite'));
    expect(missing({ RAILHOUSE_ARCHIVE: 'of-variable.sqlite' })).toContain(join(folder, 'of-variable.sqlite'));
    expect(missing({ RAILHOUSE_ARCHIVE: 'of-variable.sqlite' }, '--archive', 'of-line.sqlite')).toContain(join(folder, 'of-line.sqlite'));
  });

  it('a file that cannot be used is refused in words', () => {
    config({ archiv: 'x' });
    expect(run(['runs'])).toMatchObject({ code: 2, err: matching(/configuration file .*archiv/) });
  });

  it('a file that was named must be there', () => {
    expect(() => readConfiguration({ RAILHOUSE_CONFIG: join(folder, 'none.json') })).toThrow(Stop);
    expect(() => readConfiguration({ XDG_CONFIG_HOME: folder })).not.toThrow();
  });

  it('a bench on a port is never meant by the sample because of a variable', () => {
    const options = (name: string) => leaves(makeProgram()).find(({ path }) => path[0] === name)?.command.options.find(({ long }) => long === '--port')?.envVar;
    expect([options('sweep'), options('sample')]).toEqual(['RAILHOUSE_PORT', undefined]);
  });
});

describe('CLI-4 what is to be typed next', () => {
  it('is quoted where a shell would take it apart', () => {
    expect(commandLine('continue', '01a2', ['--archive', "my 'old' archive.sqlite"], ['--port', undefined], ['--speed', 5], ['--operator', 'A. Tester'])).toBe(
      `npm run cli -- continue 01a2 --archive 'my '\\''old'\\'' archive.sqlite' --speed 5 --operator 'A. Tester'`,
    );
  });

  it.skipIf(onWindows)('is the whole command, and goes on when it is copied', () => {
    const archive = join(folder, 'my archive.sqlite');
    writeFileSync(join(folder, 'scenario.json'), JSON.stringify({ scenarioVersion: 1, faults: [{ begins: { atBurst: 3 }, forS: 2, fault: { kind: 'emergency-stop' } }] }));
    const stopped = run(['sweep', '-', '--archive', archive, '--operator', 'A. Tester', '--scenario', 'scenario.json', '--speed', 'virtual'], { input: readFileSync(samplePath('small-plan'), 'utf8'), env: { RAILHOUSE_CALLED: 'railhouse' } });
    expect(stopped.code).toBe(5);
    const [, line = ''] = /To go on: (.*)/.exec(stopped.err) ?? [];
    expect(line).toMatch(/^railhouse continue \S+ --archive '.*my archive.sqlite' --scenario scenario.json --speed virtual --operator 'A. Tester'$/);
    const words = spawnSync('sh', ['-c', `printf '%s\\n' ${line}`], { encoding: 'utf8' }).stdout.trim().split('\n');
    expect(words.slice(3)).toEqual(['--archive', archive, '--scenario', 'scenario.json', '--speed', 'virtual', '--operator', 'A. Tester']);
  });
});

describe('CLI-23 how the program was called', () => {
  it.each([['exec', 'npx railhouse'], [undefined, 'railhouse']])('under the npm command %s it is typed as "%s"', (npmCommand, called) => {
    const missing = spawnSync(process.execPath, [join(house, 'main', 'launch', 'railhouse.mjs'), 'reduce', 'nothing', '--archive', join(house, 'test/house/fixtures/archive-version-4.sqlite')], { cwd: folder, env: { ...bare(), npm_command: npmCommand }, encoding: 'utf8' });
    expect(missing.stderr).toContain(`List the runs with: ${called} runs --archive`);
  });
});

describe('CLI-9 the README', () => {
  it('names every command in its table', () => {
    const table = readFileSync(join(house, 'README.md'), 'utf8').split('\n').filter((line) => line.startsWith('| `')).join('\n');
    const named = new Set([...table.matchAll(/`([a-z-]+)[^`]*`/g)].map(([, name]) => name));
    expect(makeProgram().commands.map((one) => one.name()).filter((name) => !named.has(name))).toEqual([]);
  });
});

describe('CLI-8 terminals', () => {
  it.skipIf(onWindows)('the program has a name and a version, under its own name too, from any folder', () => {
    symlinkSync(join(house, 'main', 'launch', 'railhouse.mjs'), join(folder, 'railhouse'));
    const called = spawnSync(process.execPath, [join(folder, 'railhouse'), '--version'], { cwd: folder, env: bare(), encoding: 'utf8' });
    expect(called).toMatchObject({ status: 0, stdout: matching(/^railhouse \d+\.\d+\.\d+\n$/) });
  });

  it.skipIf(onWindows)('TERM=dumb gets no sequences', async () => {
    const { spawn } = (await import('@lydell/node-pty')) as unknown as { readonly spawn: (file: string, args: readonly string[], options: object) => { onData: (take: (text: string) => void) => void; onExit: (take: () => void) => void } };
    const shown = async (term: string): Promise<string> => {
      let said = '';
      const terminal = spawn(process.execPath, [main, 'sweep', samplePath('small-plan'), '--archive', join(folder, `${term}.sqlite`), '--operator', 'A. Tester'], { cwd: folder, cols: 100, rows: 30, env: { ...bare(), TERM: term } });
      terminal.onData((text) => void (said += text));
      await new Promise<void>((resolve) => terminal.onExit(resolve));
      return said;
    };
    expect(await shown('xterm')).toContain('\x1b[2K');
    const plain = await shown('dumb');
    expect(plain).toContain('The run has ended: complete');
    expect(plain).not.toContain('\x1b');
  });
});
