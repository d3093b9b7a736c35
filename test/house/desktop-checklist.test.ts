/** HOST-35: each line of the desktop's checklist fails for what it is about, and for nothing else. */
import { copyFileSync, cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync, unlinkSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium, type Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { securityHeaders } from '../../main/host/window-files.ts';
import type { Line, Outcome } from './checklist-line.ts';
import { asarFiles, buildLines, configurationLines, fuseWire, packagedLines, policyLines, runChecklist } from './desktop-checklist.ts';
import { liveLines, pageLines } from './desktop-live.ts';

const house = join(import.meta.dirname, '..', '..');
let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-checklist-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function outcomes(lines: readonly Line[]): Promise<{ readonly said: readonly string[]; readonly failed: readonly string[]; readonly counts: Readonly<Record<Outcome['result'], number>> }> {
  const said: string[] = [];
  const counts = await runChecklist(lines, (text) => said.push(text));
  return { said, failed: said.filter((text) => text.startsWith('FAIL')), counts };
}

/** A house with a changed configuration. */
function houseWith(change: (files: { yml: string; manifest: string }) => { yml: string; manifest: string }): string {
  const changed = mkdtempSync(join(folder, 'house-'));
  const { yml, manifest } = change({ yml: readFileSync(join(house, 'electron-builder.yml'), 'utf8'), manifest: readFileSync(join(house, 'package.json'), 'utf8') });
  writeFileSync(join(changed, 'electron-builder.yml'), yml);
  writeFileSync(join(changed, 'package.json'), manifest);
  symlinkSync(join(house, 'node_modules'), join(changed, 'node_modules'));
  return changed;
}

describe('HOST-35 the configuration', () => {
  it('of this house passes every line', async () => {
    expect(await outcomes(configurationLines(house))).toMatchObject({ failed: [], counts: { fail: 0, 'not checked': 0 } });
  });

  const swap = (from: string | RegExp, to: string) => (files: { yml: string; manifest: string }) => {
    const changed = { yml: files.yml.replace(from, to), manifest: files.manifest.replace(from, to) };
    if (changed.yml === files.yml && changed.manifest === files.manifest) throw new Error(`nothing is to be swapped for ${String(from)}`);
    return changed;
  };
  it.each<[string, string | RegExp, string, string]>([
    ['a fuse that is open', 'runAsNode: false', 'runAsNode: true', 'runAsNode'],
    ['a fuse that is not named', /\n\s+onlyLoadAppFromAsar: true/, '', 'onlyLoadAppFromAsar'],
    ['a fuse as a text', 'enableCookieEncryption: true', "enableCookieEncryption: 'true'", 'enableCookieEncryption'],
    ['no archive', 'asar: true', 'asar: false', 'in one archive'],
    ['native files within it', "'**/*.node'", "'**/*.so'", 'native files'],
    ['the host left out', '  - dist/host/**\n', '', 'dist/host/** is packaged'],
    ['another beginning', 'dist/host/main.js', 'main.js', 'begins with'],
    ['another version of Electron', /electronVersion: \S+/, 'electronVersion: 1.2.3', 'one exact version'],
    ['a native package that only builds', '"better-sqlite3": "13.2.0",', '', 'better-sqlite3 is packaged'],
  ])('%s fails its line and no other', async (_, from, to, line) => {
    const { failed } = await outcomes(configurationLines(houseWith(swap(from, to))));
    expect(failed).toHaveLength(1);
    expect(failed[0]).toContain(line);
  });
});

describe('what was built', () => {
  const dist = (): string => {
    const made = mkdtempSync(join(folder, 'dist-'));
    for (const part of ['host', 'window']) mkdirSync(join(made, part));
    for (const name of ['main', 'host-process', 'desk-worker']) writeFileSync(join(made, 'host', `${name}.js`), "import { join } from 'node:path';\nimport Sqlite from \"better-sqlite3\";\n");
    writeFileSync(join(made, 'host', 'preload.cjs'), 'const { contextBridge } = require("electron");');
    writeFileSync(join(made, 'window', 'index.html'), '<!doctype html><script type="module" src="./a.js"></script><link rel="stylesheet" href="./a.css">');
    return made;
  };

  it('passes; where nothing is built, no line is checked', async () => {
    expect(await outcomes(buildLines(dist()))).toMatchObject({ failed: [], counts: { 'not checked': 0 } });
    expect((await outcomes(buildLines(join(folder, 'nothing')))).counts).toMatchObject({ pass: 0, fail: 0 });
  });

  it.each<[string, (at: string) => void, string]>([
    ['a process that is missing', (at) => unlinkSync(join(at, 'host', 'desk-worker.js')), 'dist/host/desk-worker.js'],
    ['a preload that loads Node', (at) => writeFileSync(join(at, 'host', 'preload.cjs'), "const fs = require('node:fs'); require('electron');"), 'node:fs'],
    ['a process that loads a package that is left out', (at) => writeFileSync(join(at, 'host', 'main.js'), "import { z } from 'zod';"), 'zod from a package'],
    ['a page with a script of its own', (at) => writeFileSync(join(at, 'window', 'index.html'), '<script>1</script>'), 'has no script'],
    ['a page with a style of its own', (at) => writeFileSync(join(at, 'window', 'index.html'), '<p style="color: red">'), 'has no script'],
  ])('%s fails its line and no other', async (_, spoil, line) => {
    const at = dist();
    spoil(at);
    const { failed } = await outcomes(buildLines(at));
    expect(failed).toHaveLength(1);
    expect(failed[0]).toContain(line);
  });
});

describe('the policy', () => {
  const headers = securityHeaders("'self'");
  it('passes, and fails for what is taken out or let in', async () => {
    expect((await outcomes(policyLines(headers))).failed).toEqual([]);
    const policy = headers['content-security-policy'] ?? '';
    for (const part of policy.split('; ').filter((one) => !/^(img|font)-src/.test(one))) {
      expect((await outcomes(policyLines({ ...headers, 'content-security-policy': policy.replace(`${part}; `, '').replace(`; ${part}`, '') }))).failed, part).toHaveLength(1);
    }
    for (const more of ["script-src 'self' 'unsafe-inline'", "connect-src 'self' https://elsewhere.example"]) {
      const { failed } = await outcomes(policyLines({ ...headers, 'content-security-policy': policy.replace(`${more.split(' ', 1)[0] ?? ''} 'self'`, more) }));
      expect(failed.length, more).toBeGreaterThan(0);
    }
    expect((await outcomes(policyLines({}))).counts).toMatchObject({ pass: 0 });
  });
});

describe.skipIf(process.platform !== 'linux')('a packaged program', () => {
  const require = createRequire(import.meta.url);
  const names = ['dist/host/main.js', 'dist/host/host-process.js', 'dist/host/desk-worker.js', 'dist/host/preload.cjs', 'dist/window/index.html', 'package.json'];
  const binaries = ['node_modules/better-sqlite3/prebuilds/linux-x64.node', 'node_modules/@serialport/bindings-cpp/prebuilds/linux-x64/x.node'];
  let good = '';

  beforeAll(async () => {
    good = join(folder, 'packaged');
    const source = join(folder, 'source');
    for (const name of [...names, ...binaries]) {
      mkdirSync(dirname(join(source, name)), { recursive: true });
      writeFileSync(join(source, name), name);
    }
    mkdirSync(join(good, 'resources'), { recursive: true });
    // The archive is made by the tool that electron-builder makes it with.
    const builder = createRequire(require.resolve('electron-builder'));
    const asar = (await import(pathToFileURL(createRequire(builder.resolve('app-builder-lib')).resolve('@electron/asar')).href)) as { createPackageWithOptions: (from: string, to: string, options: object) => Promise<void> };
    await asar.createPackageWithOptions(source, join(good, 'resources', 'app.asar'), { unpack: '**/*.node' });
    writeFileSync(join(good, 'railhouse'), Buffer.concat([Buffer.alloc(100_000, 7), Buffer.from('dL7pKGdnNz796PbbjQWNKmHXBZaB9tsX', 'latin1'), Buffer.from([1, 8]), Buffer.from('01001100', 'latin1'), Buffer.alloc(1000)]));
  });

  it('is read as it lies there, and passes', async () => {
    expect(fuseWire(join(good, 'railhouse'))).toBe('01001100');
    expect(asarFiles(join(good, 'resources', 'app.asar')).get(binaries[0] ?? '')).toBe(true);
    expect(asarFiles(join(good, 'resources', 'app.asar')).get('dist/host/main.js')).toBe(false);
    expect(await outcomes(packagedLines(good))).toMatchObject({ failed: [], counts: { 'not checked': 0 } });
  });

  it.each<[string, (at: string) => void, string | RegExp]>([
    ...['runAsNode', 'enableCookieEncryption', 'enableNodeOptionsEnvironmentVariable', 'enableNodeCliInspectArguments', 'enableEmbeddedAsarIntegrityValidation', 'onlyLoadAppFromAsar', '', 'grantFileProtocolExtraPrivileges'].flatMap((name, i): [string, (at: string) => void, string][] =>
      name === '' ? [] : [[`the fuse ${name} the other way`, (at) => {
        const wire = '01001100'.replace(new RegExp(`(?<=^.{${i}}).`), (c) => (c === '0' ? '1' : '0'));
        writeFileSync(join(at, 'railhouse'), readFileSync(join(at, 'railhouse')).toString('latin1').replace('01001100', wire), 'latin1');
      }, `fuse ${name})`]],
    ),
    ['a binary that was left behind', (at) => rmSync(join(at, 'resources', 'app.asar.unpacked', binaries[1] ?? '')), 'binary of serialport'],
    ['a file left out', (at) => {
      const asar = join(at, 'resources', 'app.asar');
      writeFileSync(asar, readFileSync(asar).toString('latin1').replace('"desk-worker.js"', '"desk-wooker.js"'), 'latin1');
    }, 'dist/host/desk-worker.js'],
  ])('%s fails its line and no other', async (_, spoil, line) => {
    const at = mkdtempSync(join(folder, 'spoiled-'));
    cpSync(good, at, { recursive: true });
    spoil(at);
    const { failed } = await outcomes(packagedLines(at));
    expect(failed).toHaveLength(1);
    expect(failed[0]).toContain(line);
  });

  it('a program without fuses, and a folder that is none, fail; where none is named no line is checked', async () => {
    const at = mkdtempSync(join(folder, 'bare-'));
    cpSync(good, at, { recursive: true });
    copyFileSync(import.meta.filename, join(at, 'railhouse'));
    writeFileSync(join(at, 'railhouse'), 'no fuse');
    expect((await outcomes(packagedLines(at))).failed).toHaveLength(7);
    expect((await outcomes(packagedLines(folder))).counts).toMatchObject({ pass: 0, 'not checked': 0 });
    expect((await outcomes(packagedLines(null))).counts).toMatchObject({ pass: 0, fail: 0 });
  });
});

describe('the running program', () => {
  it('is not checked where it cannot run, and each line says why', async () => {
    const { said, counts } = await outcomes(liveLines('there is no display'));
    expect(counts).toMatchObject({ pass: 0, fail: 0 });
    expect(said.slice(0, -1).every((text) => text.startsWith('not checked: running: ') && text.endsWith(': there is no display'))).toBe(true);
  });

  it('that is none fails, and is not called unchecked', async () => {
    const lines = liveLines([process.execPath, '-e', 'process.exit(3)', '--']);
    const { failed } = await outcomes(lines.slice(0, 2));
    expect(failed).toHaveLength(2);
    expect(failed[0]).toContain('it ended with');
  });

  test.skipIf(!existsSync('/usr/bin/chromium'))('a page under the policy passes every line about it, one that is open to everything fails each', async () => {
    const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] });
    try {
      const context = await browser.newContext({ permissions: ['geolocation'] });
      const page = await context.newPage();
      await page.route('**', (route) => route.fulfill({ contentType: 'text/html', body: '<!doctype html><script>var process = {}; var railhouseHost = { listen() {}, post() {}, exec() {} };</script>' }));
      await page.goto('https://window.test/');
      const results = async (of: Page): Promise<string[]> => {
        const all: string[] = [];
        for (const { what, check } of pageLines) all.push(`${(await check(of)).result} ${what}`);
        return all;
      };
      expect(await results(page)).toEqual(pageLines.map(({ what }) => `fail ${what}`));

      const kept = await (await browser.newContext()).newPage();
      await kept.addInitScript('globalThis.railhouseHost = { listen() {}, post() {} }; window.open = () => null;');
      await kept.route('**', (route) => route.fulfill({ headers: { ...securityHeaders("'self'"), 'content-type': 'text/html' }, body: '<!doctype html><p>page</p>' }));
      await kept.goto('https://window.test/');
      expect(await results(kept)).toEqual(pageLines.map(({ what }) => `pass ${what}`));
    } finally {
      await browser.close();
    }
  });
});
