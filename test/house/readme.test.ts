/** What the README tells a person to type, typed (CLI-10, CLI-11 of main/cli/README.md). */
import { spawnSync } from 'node:child_process';
import { readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { makeProgram } from '../../main/cli/program.ts';
import { scratchFolder } from '../builders/in-process.ts';

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
    env: { ...Object.fromEntries(Object.entries(process.env).filter(([name]) => !name.startsWith('RAILHOUSE') && !name.startsWith('npm_'))), XDG_CONFIG_HOME: folder },
    encoding: 'utf8',
    timeout: 300_000,
  });

describe('CLI-11 the README', () => {
  it('holds commands of the terminal, and the two that begin everything', () => {
    expect(typed.slice(0, 2)).toEqual(['npm start', 'npm test']);
    expect(typed.slice(2).length).toBeGreaterThanOrEqual(5);
    expect(typed.slice(2).filter((line) => !line.startsWith('npm run cli -- '))).toEqual([]);
  });

  it('tells a person to type what works, one after the other', { timeout: 400_000 }, () => {
    for (const line of typed.slice(2)) {
      const { status, stderr } = run(line.replace('npm run cli -- ', '').split(' '));
      expect(`${line}: ${status ?? 'ended from outside'}${status === 0 ? '' : ` ${stderr}`}`).toBe(`${line}: 0`);
    }
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
