/** What a terminal gets, whatever is written in names and however wide it is (CLI-13 to CLI-15, CLI-17 to CLI-19, CLI-21 of main/cli/README.md). */
import { spawn, spawnSync } from 'node:child_process';
import { chmodSync, existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { jsonLines } from '../../main/cli/json.ts';
import { columnLines } from '../../main/cli/print-table.ts';
import { makeProgram } from '../../main/cli/program.ts';
import { jsonText, wrapped } from '../../main/cli/say.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { bareEnvironment, samplePlan, scratchFolder } from '../builders/in-process.ts';
import { onWindows } from '../builders/systems.ts';

const commands = join(import.meta.dirname, '../../main/cli');
const main = join(commands, 'main.ts');

let folder = '';
beforeEach(() => {
  folder = scratchFolder();
});
afterEach(() => {
  rmSync(folder, { recursive: true, force: true });
});

const bare = (): NodeJS.ProcessEnv => bareEnvironment(folder);

function run(args: readonly string[], { env = {}, node = [], input = '' }: { env?: NodeJS.ProcessEnv; node?: readonly string[]; input?: string } = {}) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [...node, main, ...args], { cwd: folder, env: { ...bare(), ...env }, input, encoding: 'utf8', timeout: 60_000 });
  return { code: status, out: stdout, err: stderr };
}

/** What a terminal of so many columns is shown. */
async function inTerminal(args: readonly string[], cols: number, env: NodeJS.ProcessEnv = {}): Promise<string> {
  const { spawn: open } = (await import('@lydell/node-pty')) as unknown as { readonly spawn: (file: string, args: readonly string[], options: object) => { onData: (take: (text: string) => void) => void; onExit: (take: () => void) => void } };
  let said = '';
  const terminal = open(process.execPath, [main, ...args], { cwd: folder, cols, rows: 30, env: { ...bare(), TERM: 'xterm-256color', ...env } });
  terminal.onData((text) => void (said += text));
  await new Promise<void>((resolve) => terminal.onExit(resolve));
  return said;
}

const small = (): string => samplePath('small-plan');
const sweepTo = (archive: string): readonly string[] => ['sweep', small(), '--archive', archive, '--operator', 'A. Tester'];

/** Anything but letters, signs and the end of a line. */
const obeyed = /[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u2028-\u202e\u2066-\u2069]/u;

describe('CLI-13 a terminal obeys nothing in a name', () => {
  it.skipIf(onWindows)('of a file, of a field of a plan, of a run', { timeout: 120_000 }, () => {
    const hostile = 'a\u001b[2J\nb\u009b2J\u202e';
    const archive = join(folder, `${hostile}.sqlite`);
    const measured = run(sweepTo(archive));
    expect(measured.code).toBe(0);
    const answers = [
      measured,
      run(['runs', '--archive', archive]),
      run(['verify', archive]),
      run(['export', '--archive', archive, '--to', hostile]),
      run(['check-export', hostile]),
      run(['backup', `${hostile}.copy`, '--archive', archive]),
      run(['prove', '--archive', archive, '--to', `${hostile}.proof`]),
      run(['prove', hostile, '--archive', archive]),
      run(['runs', '--archive', `${hostile}.none`]),
      run(['check-plan', `${hostile}.none`]),
      run(['check-plan', '-'], { input: JSON.stringify({ ...samplePlan('small-plan'), [hostile]: 1 }) }),
      run([hostile]),
      run(['sweep', small(), '--operator', hostile]),
    ];
    expect(answers.map(({ code }) => code)).toEqual([0, 0, 0, 0, 0, 0, 0, 2, 7, 2, 2, 2, 2]);
    for (const { out, err } of answers) expect(`${out}${err}`).not.toMatch(obeyed);
    for (const { out, err } of answers.slice(0, 7)) expect(`${out}${err}`.split('\n').filter((line) => line.startsWith('b'))).toEqual([]);
  });

  it.skipIf(onWindows)('nor in an answer for programs, which read the name as it is', { timeout: 60_000 }, () => {
    const path = join(folder, 'a\u001b[2J\u009b2J\u202e.sqlite');
    const { out } = run(['verify', '--archive', path, '--json']);
    expect(out).toBe('');
    expect(run(sweepTo(path)).code).toBe(0);
    const told = run(['verify', '--archive', path, '--json']).out;
    expect(told).not.toMatch(obeyed);
    expect(jsonLines.verify.parse(JSON.parse(told)).archive).toBe(path);
    expect(JSON.parse(jsonText({ a: '\u009b\u2028\u202e\u2066é試' }))).toEqual({ a: '\u009b\u2028\u202e\u2066é試' });
  });

  it('because there is one way out, and it is there', () => {
    const others = readdirSync(commands).filter((name) => name.endsWith('.ts') && name !== 'say.ts' && /process\.std(out|err)\.write|console\./u.test(readFileSync(join(commands, name), 'utf8')));
    expect(others).toEqual([]);
  });
});

function leaves(command: Command): readonly Command[] {
  return command.commands.flatMap((one) => [one, ...leaves(one)]);
}

describe('CLI-14 narrow and wide terminals', () => {
  it.each([20, 40, 60, 80, 200])('help fits %d columns, but for words that are longer', (columns) => {
    const program = makeProgram();
    for (const one of [program, ...leaves(program)]) {
      const text = one.configureOutput({ getOutHelpWidth: () => columns }).helpInformation();
      const wide = text.split('\n').filter((line) => !line.startsWith('Usage:') && line.length > columns && line.trim().includes(' '));
      expect(wide).toEqual([]);
      expect(text).not.toContain('default: []');
    }
  });

  it('a table goes on below where it does not fit, under its first column again', () => {
    const rows = [['', '10 V', '12 V', '14 V'], ['S-1', 'one', 'two', 'three'], ['S-2', 'four', 'five', 'six']];
    expect(columnLines(rows, 'right', 80)).toEqual(['     10 V  12 V   14 V', 'S-1   one   two  three', 'S-2  four  five    six']);
    expect(columnLines(rows, 'right', 16)).toEqual(['     10 V  12 V', 'S-1   one   two', 'S-2  four  five', '', '      14 V', 'S-1  three', 'S-2    six']);
    // A column is never cut.
    expect(columnLines(rows, 'left', 3).filter((line) => line.startsWith('S-2'))).toEqual(['S-2  four', 'S-2  five', 'S-2  six']);
  });

  it('lines are broken at blanks', () => {
    expect(wrapped('one two three', 7)).toEqual(['one two', 'three']);
    expect(wrapped('one-two-three four', 7)).toEqual(['one-two-three', 'four']);
    expect(wrapped('', 7)).toEqual(['']);
  });

  it.skipIf(onWindows)('40 columns show what a run does, and whole tables', { timeout: 120_000 }, async () => {
    // A terminal that nobody reads for a while gets no line meanwhile, and on a busy machine that can be all the time that the run takes.
    const live = await vi.waitFor(async () => {
      rmSync(join(folder, 'a.sqlite'), { force: true });
      const said = await inTerminal(sweepTo('a.sqlite'), 40);
      const found = said.split('\r\u001b[2K').map((text) => text.split('\r')[0] ?? '').filter((text) => /^\d+\/17/u.test(text));
      expect(found.length).toBeGreaterThan(0);
      return found;
    }, 60_000);
    for (const line of live) {
      expect(line.length).toBeLessThan(40);
      expect(line).toMatch(/^\d+\/17(, [^.]+)?\. \S/u);
    }
    const tables = (await inTerminal(['reduce', '--archive', 'a.sqlite'], 40)).split('\r\n');
    expect(tables.filter((line) => line.startsWith('RH4-0117')).length).toBeGreaterThan(2);
    for (const line of tables.filter((one) => /^(RH4|Set mean| )/u.test(one))) expect(line.length).toBeLessThanOrEqual(40);
    // Into a file it is one table, whatever terminal is beside it.
    expect(run(['reduce', '--archive', 'a.sqlite']).out.split('\n').filter((line) => line.startsWith('RH4-0117'))).toHaveLength(2);
    // A terminal that does not tell its width, and a very wide one.
    for (const columns of [0, 400]) expect(await inTerminal(['--help'], columns)).toMatch(/Exit codes: 0 done; 1 defect/u);
  });
});

describe('CLI-15 colours', () => {
  it.skipIf(onWindows)('there are none, so NO_COLOR has nothing to turn off', { timeout: 60_000 }, async () => {
    for (const env of [{ COLORTERM: 'truecolor', FORCE_COLOR: '3' }, { NO_COLOR: '1' }]) {
      for (const args of [['--help'], sweepTo(`${Object.keys(env)[0] ?? ''}.sqlite`), ['nonsense']]) expect(await inTerminal(args, 80, env)).not.toMatch(/\u001b\[[\d;]*m/u);
    }
  });
});

describe('CLI-17 an export that is ended early', () => {
  it.skipIf(onWindows)('leaves the folder as it was and nothing beside it, and says so', { timeout: 120_000 }, async () => {
    expect(run(sweepTo('a.sqlite')).code).toBe(0);
    expect(run(['export', '--archive', 'a.sqlite', '--to', 'tables']).code).toBe(0);
    const before = readFileSync(join(folder, 'tables/manifest.json'), 'utf8');
    const axis = Array.from({ length: 200 }, (_, i) => i + 1).join(',');
    const child = spawn(process.execPath, [main, 'export', '--archive', 'a.sqlite', '--to', 'tables', '--voltages', axis, '--pressures', axis], { cwd: folder, env: bare(), stdio: ['ignore', 'ignore', 'pipe'] });
    let said = '';
    child.stderr.on('data', (bytes: Buffer) => void (said += bytes.toString()));
    const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
    const maps = join(folder, 'tables.export-next/maps.csv');
    while (!existsSync(maps) && child.exitCode === null) await new Promise((r) => setTimeout(r, 2));
    child.kill('SIGINT');
    expect(await ended).toBe(130);
    expect(said).toMatch(/The export was ended before it was whole\. Nothing of it is left/u);
    expect(said).not.toMatch(/defect/u);
    expect(readdirSync(folder).filter((name) => name.startsWith('tables'))).toEqual(['tables']);
    expect(readFileSync(join(folder, 'tables/manifest.json'), 'utf8')).toBe(before);
  });

  it.skipIf(onWindows)('tells a terminal how much is written', { timeout: 120_000 }, async () => {
    expect(run(sweepTo('a.sqlite')).code).toBe(0);
    const axis = Array.from({ length: 120 }, (_, i) => i + 1).join(',');
    const args = ['export', '--archive', 'a.sqlite', '--voltages', axis, '--pressures', axis];
    expect(await inTerminal(args, 80)).toMatch(/Writing maps\.csv, \d+\.\d MB until now/u);
    expect(await inTerminal([...args, '--quiet'], 80)).not.toMatch(/Writing/u);
  });
});

describe('CLI-18 a meter check that is kept already', () => {
  it('is refused, and what is kept stays', { timeout: 60_000 }, () => {
    const add = () => run(['meter-check', 'add', join(main, '../../samples/meter-check.json'), '--archive', 'a.sqlite']);
    expect(add().code).toBe(0);
    const again = add();
    expect(again).toMatchObject({ code: 2, out: '' });
    expect(again.err).toMatch(/Certificate SIM-MC-26-01 of meter SIM-FM-01 is kept already, as check 1\..*Nothing was kept\./u);
    expect(run(['meter-check', 'list', '--archive', 'a.sqlite', '--date', '2026-12-31']).out.match(/^Check \d/gmu)).toHaveLength(1);
  });
});

describe('CLI-19 a user whom the system does not know by name', () => {
  it('without a login name and without a home folder works as any other', { timeout: 60_000 }, () => {
    // What Node answers in a container that is started under a number (`-u 12345`).
    const nobody = join(folder, 'nobody.mjs');
    writeFileSync(
      nobody,
      "import os from 'node:os';\nimport { syncBuiltinESMExports } from 'node:module';\nconst fail = () => { throw Object.assign(new Error('A system error occurred: uv_os_get_passwd returned ENOENT'), { code: 'ERR_SYSTEM_ERROR' }); };\nos.userInfo = fail;\nos.homedir = fail;\nsyncBuiltinESMExports();\n",
    );
    const env = { HOME: '', XDG_CONFIG_HOME: undefined };
    const node = ['--import', nobody];
    expect(run(['--help'], { env, node })).toMatchObject({ code: 0, err: '' });
    expect(run(['check-plan', small()], { env, node }).code).toBe(0);
    expect(run(sweepTo('a.sqlite'), { env, node }).code).toBe(0);
  });
});

describe('CLI-19 evidence that one may only read', () => {
  /** An account that the system has no name for, as in a container. */
  const nobody = { uid: 12_345, gid: 12_345 };
  const reads = process.getuid?.() === 0 && spawnSync(process.execPath, ['-e', `require('node:fs').readFileSync(${JSON.stringify(main)})`], nobody).status === 0;

  it.skipIf(!reads)('is read by whoever has no name, no home and no right to write beside it', { timeout: 120_000 }, () => {
    const kept = join(folder, 'kept');
    mkdirSync(kept);
    expect(run(sweepTo(join(kept, 'a.sqlite'))).code).toBe(0);
    const before = readdirSync(kept);
    for (const [path, mode] of [[join(kept, 'a.sqlite'), 0o444], [kept, 0o555], [folder, 0o777]] as const) chmodSync(path, mode);
    for (const args of [['--help'], ['runs', '--archive', 'kept/a.sqlite'], ['verify', 'kept/a.sqlite'], ['reduce', '--archive', 'kept/a.sqlite'], ['export', '--archive', 'kept/a.sqlite', '--to', 'tables'], ['backup', 'copy.sqlite', '--archive', 'kept/a.sqlite']]) {
      const { status, stderr } = spawnSync(process.execPath, [main, ...args], { cwd: folder, env: { PATH: process.env['PATH'] }, encoding: 'utf8', ...nobody });
      expect(`${args.join(' ')}: ${status ?? 'ended from outside'} ${stderr}`).toBe(`${args.join(' ')}: 0 `);
    }
    chmodSync(kept, 0o755);
    expect(readdirSync(kept)).toEqual(before);
  });
});

describe('CLI-21 places that no folder can be made in', () => {
  it.skipIf(process.platform !== 'linux')('are refused at once', { timeout: 60_000 }, () => {
    expect(run(sweepTo('/proc/nowhere/archive.sqlite'))).toMatchObject({ code: 7 });
    expect(run(sweepTo('a.sqlite')).code).toBe(0);
    expect(run(['export', '--archive', 'a.sqlite', '--to', '/proc/nowhere/tables'])).toMatchObject({ code: 2 });
    writeFileSync(join(folder, 'file'), '');
    expect(run(sweepTo(join(folder, 'file', 'archive.sqlite'))).code).toBe(7);
  });

  it('and those above one that can are made with it', () => {
    expect(run(sweepTo(join(folder, 'one', 'two', 'archive.sqlite'))).code).toBe(0);
    mkdirSync(join(folder, 'one', 'three'));
    expect(run(sweepTo(join(folder, 'one', 'three', 'archive.sqlite'))).code).toBe(0);
  });
});
