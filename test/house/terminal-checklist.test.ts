/** CLI-38: the lines of the terminal's checklist see what they are about. Their program parts are tests of their own (commands, endings, held exports). */
import { spawnSync } from 'node:child_process';
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { samplePath } from '../../main/samples/samples.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { onWindows } from '../builders/systems.ts';
import { leftAs, restedAs, terminalLines, typed } from './terminal-checklist.ts';

const main = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');

let folder = '';
beforeEach(() => {
  folder = scratchFolder();
});
afterEach(() => rmSync(folder, { recursive: true, force: true, maxRetries: 5 }));

describe('CLI-38 the lines that need a person', () => {
  const line = (name: RegExp, asked: boolean, say: (text: string) => void, patience: number) => {
    const found = terminalLines(folder, asked, say, patience).find(({ what }) => name.test(what));
    if (found === undefined) throw new Error('there is no such line');
    return found;
  };

  it('are not checked where nobody was asked, and where nobody came', async () => {
    expect(await line(/close that terminal/, false, () => undefined, 10).check()).toMatchObject({ result: 'not checked', why: expect.stringMatching(/by-hand/) as string });
    const said: string[] = [];
    expect(await line(/Ctrl-C once/, true, (text) => void said.push(text), 10).check()).toMatchObject({ result: 'not checked', why: expect.stringMatching(/nothing was started/) as string });
    expect(said.join('')).toContain('npx railhouse sweep');
  });

  it.skipIf(onWindows)('see that the terminal of a run was closed, and that another end is not that', async () => {
    const { spawn } = (await import('@lydell/node-pty')) as unknown as {
      readonly spawn: (file: string, args: readonly string[], options: object) => { readonly onData: (take: (text: string) => void) => void; readonly kill: (signal: string) => void; readonly write: (keys: string) => void };
    };
    const person = (act: (terminal: ReturnType<typeof spawn>) => void) => (text: string): void => {
      const [, command = ''] = /npx railhouse (.*)/.exec(text) ?? [];
      const terminal = spawn('sh', ['-c', `exec "${process.execPath}" "${main}" ${command}`], { cols: 100, rows: 30 });
      let said = '';
      let done = false;
      terminal.onData((more) => {
        said += more;
        if (done || !/Point 1, attempt \d+, accepted/.test(said)) return;
        done = true;
        act(terminal);
      });
    };
    expect(await line(/close that terminal/, true, person((terminal) => terminal.kill('SIGHUP')), 60_000).check()).toEqual({ result: 'pass' });
    expect(await line(/once more as soon/, true, person((terminal) => terminal.write('\x03')), 60_000).check()).toMatchObject({ result: 'fail', why: 'the run is paused' });
  });

  it('tell a run that is complete, and one that is not there, from one at rest', () => {
    const archive = join(folder, 'a.sqlite');
    expect(restedAs(archive, 'paused')).toEqual({ result: 'fail', why: 'there is no run in the archive' });
    expect(spawnSync(process.execPath, [main, 'sweep', samplePath('small-plan'), '--archive', archive, '--operator', 'A. Tester', '--quiet']).status).toBe(0);
    expect(leftAs(archive)).toEqual({ mode: 'ended', madeSafe: true });
    expect(restedAs(archive, 'paused')).toEqual({ result: 'fail', why: 'the run is ended' });
    expect(typed('/a b/c.sqlite')).toMatch(/^npx railhouse sweep \S+small-plan\.json --archive "\/a b\/c\.sqlite" --operator Checklist --speed 1 --every-point$/);
  });

  it('have no two of one name, and every line says where it belongs', () => {
    const names = terminalLines(folder, false, () => undefined).map(({ what }) => what);
    expect(new Set(names).size).toBe(names.length);
    expect(names.filter((name) => !/^(system|program|export|end|by hand): /.test(name))).toEqual([]);
  });
});
