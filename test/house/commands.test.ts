/** Commands that serve, list or build, as a shell and another program see them (CLI-30, CLI-35). */
import { spawn, spawnSync } from 'node:child_process';
import { existsSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { jsonLines } from '../../main/cli/json.ts';
import { samplePath } from '../../main/samples/samples.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { onWindows } from '../builders/systems.ts';

const house = join(import.meta.dirname, '..', '..');
const main = join(house, 'main', 'cli', 'main.ts');

let folder = '';
beforeEach(() => {
  folder = scratchFolder();
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** Without what would make a window open, or other places than those of the test be used. */
const env = (): NodeJS.ProcessEnv => ({ ...Object.fromEntries(Object.entries(process.env).filter(([name]) => !name.startsWith('RAILHOUSE') && !/DISPLAY$/.test(name))), XDG_CONFIG_HOME: folder });

function run(...args: readonly string[]) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [main, ...args], { cwd: folder, env: env(), encoding: 'utf8' });
  return { code: status, out: stdout, err: stderr };
}

/** A command that goes on until its standard input is closed. */
function serving(...args: readonly string[]) {
  const child = spawn(process.execPath, [main, ...args, '--end-with-input'], { cwd: folder, env: env(), stdio: ['pipe', 'pipe', 'pipe'] });
  const said = { out: '', err: '' };
  const watchers = new Set<() => void>();
  for (const [name, stream] of [['out', child.stdout], ['err', child.stderr]] as const) {
    stream.on('data', (bytes: Buffer) => {
      said[name] += bytes.toString();
      for (const watcher of watchers) watcher();
    });
  }
  const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
  return {
    said,
    says: (pattern: RegExp): Promise<string> =>
      new Promise((resolve, reject) => {
        const look = (): void => {
          const found = pattern.exec(said.out)?.[0];
          if (found === undefined) return;
          watchers.delete(look);
          resolve(found);
        };
        watchers.add(look);
        void ended.then((code) => reject(new Error(`it ended with ${String(code)}: ${said.err}`)));
        look();
      }),
    /** Its exit code, once its standard input is closed. */
    end: (): Promise<number | null> => {
      child.stdin.end();
      return ended;
    },
  };
}

describe('CLI-35', () => {
  it('ports lists what the machine tells of, a line each, and says so where there is none', () => {
    const { code, out, err } = run('ports');
    expect(code).toBe(0);
    const told = run('ports', '--json').out.split('\n').filter((line) => line !== '').map((line) => jsonLines.ports.parse(JSON.parse(line)));
    expect(out.split('\n').filter((line) => line !== '')).toHaveLength(told.length);
    expect(err === '').toBe(told.length > 0);
  });

  it.skipIf(onWindows)('serve-bench is a bench for another program, and ends with its standard input', async () => {
    const bench = serving('serve-bench');
    const path = await bench.says(/\/dev\/\S+/);
    const sheet = run('check-plan', samplePath('small-plan'), '--port', path, '--equipment', samplePath('equipment'));
    expect(sheet).toMatchObject({ code: 0, out: expect.stringMatching(/PRE-40.*simulated-bench SIM-0001/) as string });
    expect(await bench.end()).toBe(0);
  });

  it.skipIf(!onWindows)('serve-bench says on Windows that there is no such thing', () => {
    expect(run('serve-bench')).toMatchObject({ code: 2 });
  });

  it.skipIf(process.platform !== 'linux')('start says why there is no desktop, serves the window, and ends with its standard input', { timeout: 300_000 }, async () => {
    const served = serving('start', '--archive', join(folder, 'archive.sqlite'));
    await served.says(/http:\/\/127\.0\.0\.1:\d+/);
    expect(served.said.err).toMatch(/no desktop window here, because/);
    expect(await served.end()).toBe(0);
    expect(served.said.err).toMatch(/Standard input has ended/);
  });

  it('build brings up what is older than its source, and has nothing to do then', { timeout: 300_000 }, () => {
    expect(run('build').code).toBe(0);
    for (const name of ['window/index.html', 'host/main.js', 'host/preload.cjs']) expect(existsSync(join(house, 'dist', name)), name).toBe(true);
    expect(run('build')).toEqual({ code: 0, out: '', err: '' });
  });

  it('report, issue-report and prove-report: a draft, an issued one that is proved, and one that was changed', { timeout: 120_000 }, () => {
    const archive = join(folder, 'archive.sqlite');
    expect(run('sweep', samplePath('small-plan'), '--archive', archive, '--operator', 'A. Tester', '--quiet').code).toBe(0);
    expect(run('report', '--archive', archive, '--to', join(folder, 'draft')).code).toBe(0);
    const issued = run('issue-report', '--archive', archive, '--by', 'B. Releaser');
    expect(issued.code).toBe(0);
    const report = join(issued.out.split('\n')[1] ?? '', 'report.html');
    expect(run('prove-report', report, '--against', archive).code).toBe(0);
    const changed = join(folder, 'report.html');
    writeFileSync(changed, readFileSync(report, 'utf8').replace('B. Releaser', 'C. Releaser'));
    expect(run('prove-report', changed).code).toBe(8);
  });

  it('standard input cannot be a file and the sign to end at once', () => {
    expect(run('sweep', '-', '--end-with-input', '--operator', 'A. Tester')).toMatchObject({ code: 2, err: expect.stringMatching(/at once\. Name the file\. Nothing was done/) as string });
  });
});
