/** What the README tells a person to type, typed (CLI-10, CLI-11, CLI-22 of main/cli/README.md). */
import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { parsePlan } from '../../app/plan/parse.ts';
import { readPhoto } from '../../app/visit/photo.ts';
import { exitCode } from '../../main/cli/exit-codes.ts';
import { makeProgram } from '../../main/cli/program.ts';
import { variables } from '../../main/cli/surroundings.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';
import { picturePath } from './picture.ts';

const house = join(import.meta.dirname, '..', '..');
const main = join(house, 'main', 'cli', 'main.ts');
const readmes = ['README.md', 'main/cli/README.md'].map((path) => readFileSync(join(house, path), 'utf8'));

/** Lines of the blocks, without their remarks. */
const typed = readmes.flatMap((text) => [...text.matchAll(/^```\n([\s\S]*?)^```$/gm)].flatMap(([, block = '']) => block.split('\n').map((line) => line.replace(/\s+#.*$/, '')).filter((line) => line !== '')));

let folder = '';
beforeAll(() => {
  folder = scratchFolder();
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

const run = (args: readonly string[], script?: string) =>
  spawnSync(script === undefined ? process.execPath : 'bash', script === undefined ? [main, ...args] : ['-c', script, 'bash', ...args], {
    cwd: folder,
    env: bareEnvironment(folder),
    encoding: 'utf8',
    timeout: 300_000,
  });

describe('CLI-11 the README', () => {
  it('holds commands of the terminal, and the two that begin everything', () => {
    expect(typed.slice(0, 2)).toEqual(['npm start', 'npm test']);
    expect(typed.slice(2).length).toBeGreaterThanOrEqual(5);
    expect(typed.slice(2).filter((line) => !line.startsWith('npm run cli -- '))).toEqual([]);
  });

  it('tells a person to type what works, one after the other, and what comes of the sample', { timeout: 400_000 }, () => {
    let printed = '';
    for (const line of typed.slice(2)) {
      const { status, stdout, stderr } = run(line.replace('npm run cli -- ', '').split(' '));
      expect(`${line}: ${status ?? 'ended from outside'}${status === 0 ? '' : ` ${stderr}`}`).toBe(`${line}: 0`);
      if (line === 'npm run cli -- sample') printed = stdout;
    }
    // What it says that the sample comes to: secret widths of the blind windows move it by less than half of its uncertainty.
    const numbers = (text: string | undefined): number[] => [...(text ?? '').matchAll(/(\d+\.\d+)\s±\s(\d+\.\d+)/g)].flatMap(([, value, u]) => [Number(value), Number(u)]);
    const said = numbers(/^\| dead time, ms \|.*$/m.exec(readmes[0] ?? '')?.[0]);
    const [deadTimes, slopes] = [...printed.matchAll(/^Set mean .*$/gm)].map(([row]) => numbers(row));
    expect(said).toHaveLength(10);
    said.forEach((value, i) => expect(Math.abs(value - (deadTimes?.[i] ?? Number.NaN)), `number ${i + 1} of the dead times`).toBeLessThan(0.0018));
    const [slope = Number.NaN, u = Number.NaN] = numbers(/with a slope of (.*?) mg/.exec(readmes[0] ?? '')?.[1]);
    expect(Math.abs(slope - (slopes?.[6] ?? Number.NaN))).toBeLessThan(0.006);
    expect(Math.abs(u - (slopes?.[7] ?? Number.NaN))).toBeLessThan(0.0011);
    expect(readmes[0]).toContain(`= ${(slope * (4 - (said[6] ?? 0))).toFixed(2)} mg`);
  });

  it('names no option that its command does not have', () => {
    const program = makeProgram();
    const named = readmes.flatMap((text) => [...text.matchAll(/`((?:npx railhouse |npm run cli -- )?[a-z][^`\n]*)`/g)].map(([, code = '']) => code.replace(/^(npx railhouse|npm run cli --) /, '')));
    const unknown = named.flatMap((code) => {
      const words = code.split(/\s+/);
      let command: Command | undefined = program.commands.find((one) => one.name() === words[0]);
      if (command === undefined) return [];
      command = command.commands.find((one) => one.name() === words[1]) ?? command;
      const has = new Set([...command.options.flatMap(({ long, short }) => [long, short]), '--help']);
      return words.filter((word) => word.startsWith('-') && word !== '-' && !has.has(word)).map((word) => `${word} of ${code}`);
    });
    expect(named.filter((code) => code.includes(' --')).length).toBeGreaterThan(3);
    expect(unknown).toEqual([]);
  });
});

describe('CLI-22 the README says of the program', () => {
  const [readme = ''] = readmes;
  const rows = readme.split('\n').filter((line) => line.startsWith('| `')).map((line) => line.split('|').map((cell) => cell.trim()));
  const spans = (cell: string): readonly string[] => [...cell.matchAll(/`([^`]+)`/g)].map(([, code = '']) => code);
  const leaves = (command: Command, path: readonly string[] = []): readonly (readonly [string, Command])[] =>
    command.commands.flatMap((one) => (one.commands.length > 0 ? leaves(one, [...path, one.name()]) : [[[...path, one.name()].join(' '), one] as const]));
  const all = leaves(makeProgram());

  it('each command with what it takes, and no other', () => {
    const written = all.map(([name, { registeredArguments, options }]) =>
      [name, ...registeredArguments.map((one) => `${one.required ? '' : '['}${one.name().toUpperCase()}${one.variadic ? '...' : ''}${one.required ? '' : ']'}`), ...options.filter(({ mandatory }) => mandatory).map(({ flags }) => flags.replace(/<(.*)>/u, (_, value: string) => value.toUpperCase()))].join(' '),
    );
    const table = rows.flatMap(([, commands = '']) => spans(commands));
    expect(table.filter((one) => /^[a-z]/u.test(one)).toSorted()).toEqual(written.toSorted());
  });

  it('options that one of the commands of their row has', () => {
    const unknown = rows.flatMap(([, commands = '', text = '']) => {
      const names = spans(commands);
      const has = new Set(all.filter(([name]) => names.some((one) => one === name || one.startsWith(`${name} `))).flatMap(([, { options }]) => options.map(({ long }) => long)));
      return [...`${commands} ${text}`.matchAll(/`(--[a-z-]+)/g)].map(([, option = '']) => option).filter((option) => !has.has(option));
    });
    expect(unknown).toEqual([]);
  });

  it('its exit codes, in the words of its help', () => {
    const said = (text: string): string => /Exit codes: ([^.]*)\./u.exec(text.replaceAll(/\s+/gu, ' '))?.[1] ?? '';
    const { stdout } = run(['--help']);
    expect(said(stdout)).toMatch(/^0 done; 1 .*; 8 /u);
    expect(said(readme)).toBe(said(stdout));
    for (const code of Object.values(exitCode)) expect(said(readme)).toMatch(new RegExp(`\\b${code} `, 'u'));
  });

  it('its variables', () => {
    const known = new Set<string>([...Object.values(variables), 'RAILHOUSE_CONFIG']);
    const named = readmes.map((text) => new Set(text.match(/RAILHOUSE_[A-Z_]+/gu)));
    for (const set of named) expect([...set].filter((name) => !known.has(name))).toEqual([]);
    for (const name of Object.values(variables)) expect(readme).toContain(name);
    expect(readmes[1]).toContain('RAILHOUSE_CONFIG');
  });

  it('the numbers of its sample', () => {
    const plan = parsePlan(JSON.parse(readFileSync(samplePath('plan'), 'utf8')));
    if (!plan.ok) throw new Error('the sample plan does not parse');
    const { injectors, axes } = plan.plan;
    const words: Readonly<Record<number, string>> = { 3: 'three', 5: 'five', 8: 'eight', 12: 'twelve' };
    const points = injectors.length * axes.voltageV.length * axes.pressureKpa.length * axes.widthMs.length * axes.periodMs.length * axes.replicates;
    expect(readme.replaceAll(/\s+/gu, ' ')).toContain(
      `measures ${words[injectors.length] ?? ''} injectors at ${words[axes.voltageV.length] ?? ''} voltages from ${Math.min(...axes.voltageV)} to ${Math.max(...axes.voltageV)} V, ${words[axes.widthMs.length] ?? ''} pulse widths and ` +
        `${words[axes.replicates] ?? ''} replicates at ${axes.pressureKpa.join()} kPa: ${points.toString().replace(/(\d)(\d{3})$/u, '$1 $2')} points`,
    );
  });

  it('files that are there', () => {
    const links = [...readme.matchAll(/\]\(([^)#]+)\)/g)].map(([, path = '']) => path).filter((path) => !path.includes(':'));
    expect(links.length).toBeGreaterThan(5);
    expect(links.filter((path) => !existsSync(join(house, path)))).toEqual([]);
  });
});

it('the README begins with a whole picture of the window, as large as the screen of a lab', () => {
  const { text, path } = /^# Railhouse\n\n!\[(?<text>.{30,})\]\((?<path>[\w/]+\.png)\)\n/.exec(readmes[0] ?? '')?.groups ?? {};
  expect(text).toBeDefined();
  expect(join(house, path ?? '')).toBe(picturePath);
  expect(readPhoto(readFileSync(picturePath), picturePath)).toEqual({ ok: true, photo: { media: 'image/png', width: 1366, height: 768 } });
});

describe('CLI-10 completion', () => {
  const complete = (...words: readonly string[]): readonly string[] => {
    const { stdout, stderr } = run(words, `eval "$("${process.execPath}" "${main}" completion bash)"; COMP_WORDS=(railhouse "$@"); COMP_CWORD=$#; _railhouse; printf '%s\\n' "\${COMPREPLY[@]}"`);
    expect(stderr).toBe('');
    return stdout.split('\n').filter((word) => word !== '');
  };

  it.runIf(process.platform !== 'win32')('bash completes commands, commands of commands, options and their choices', () => {
    expect(complete('sw')).toEqual(['sweep']);
    expect(complete('')).toEqual(expect.arrayContaining(makeProgram().commands.map((one) => one.name())));
    expect(complete('sweep', 'my.json', '--po')).toEqual(['--port']);
    expect(complete('sweep', '--port', '')).toEqual([]);
    expect(complete('meter-check', 'a')).toEqual(['add']);
    expect(complete('completion', 'zs')).toEqual([]);
  });

  it('every shell is told every command and option', () => {
    const program = makeProgram();
    for (const shell of ['bash', 'zsh', 'fish']) {
      const { stdout, status } = run(['completion', shell]);
      expect(status).toBe(0);
      for (const one of program.commands) {
        expect(stdout).toContain(one.name());
        for (const { long, hidden } of one.options) if (long != null && !hidden) expect(stdout, `${shell}: ${one.name()} ${long}`).toContain(shell === 'fish' ? `-l ${long.slice(2)}` : long);
      }
    }
  });
});
