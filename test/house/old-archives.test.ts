/** ARC-50, ARC-51: archives of earlier versions, as they were shipped, through every command that reads and every page. */
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser } from 'playwright';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { browserPath, complaintsOf, HostProcess, keepScreen, launchBrowser } from '../builders/window.ts';

let folder = '';
let archive = '';
/** Of the commands alone, so that nobody else leaves anything there. */
let temporary = '';
beforeEach(() => {
  folder = scratchFolder();
  temporary = scratchFolder();
  archive = join(folder, 'archive.sqlite');
});
afterEach(() => {
  for (const made of [folder, temporary]) rmSync(made, { recursive: true, force: true });
});

function cli(...args: readonly string[]): { readonly code: number | null; readonly said: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), ...args], { encoding: 'utf8', env: { ...process.env, TMPDIR: temporary } });
  return { code: status, said: stdout + stderr };
}

const mountable = process.platform === 'linux' && process.getuid?.() === 0;
const fixture = (version: number): string => join(import.meta.dirname, `fixtures/archive-version-${version}.sqlite`);

describe.each([1, 2, 3, 4, 5])('an archive of version %i', (version) => {
  beforeEach(() => copyFileSync(fixture(version), archive));

  const said = (command: readonly string[]): string => {
    const { code, said: text } = cli(...command);
    // Few points of two injectors, none of a reference: there is no set to choose and no history, and that is said.
    expect(code, `${command.join(' ')}: ${text}`).toBe(['match', 'reference-history'].includes(command[0] ?? '') ? 2 : 0);
    expect(text, command[0]).not.toMatch(/defect|undefined|NaN|\[object/);
    return text;
  };
  const reading = (at: string, to: string): readonly (readonly string[])[] => [
    ...['runs', 'reduce', 'match', 'outliers', 'reference-history'].map((command) => [command, '--archive', at]),
    ['export', '--to', join(to, 'csv'), '--archive', at], ['verify', at], ['backup', join(to, 'copy.sqlite'), '--archive', at],
  ];

  it('ARC-51 is read by every command as it is, and each says so; the same file has the same head each time', () => {
    const before = readFileSync(archive);
    const heads = reading(archive, folder).map((command) => {
      const text = said(command);
      expect(text).toContain(`is of version ${version}. It was not changed`);
      return /head (\d+:[0-9a-f]{64})/.exec(text)?.[1];
    });
    expect(new Set(heads.filter((head) => head !== undefined)).size).toBe(1);
    expect(readFileSync(archive).equals(before)).toBe(true);
    expect(readdirSync(folder).toSorted()).toEqual(['archive.sqlite', 'copy.sqlite', 'csv']);
    expect(readdirSync(temporary)).toEqual([]);
    // What was written is whole by itself.
    expect(said(['check-export', join(folder, 'csv')])).not.toContain('NOT');
    expect(said(['verify', join(folder, 'copy.sqlite')])).not.toContain('It was not changed');
  });

  it.skipIf(!mountable)('ARC-51 is read by every command from a medium that is read only', () => {
    const medium = scratchFolder();
    const at = join(medium, 'archive.sqlite');
    copyFileSync(archive, at);
    const mounted = spawnSync('sh', ['-c', `mount --bind '${medium}' '${medium}' && mount -o remount,bind,ro '${medium}'`]);
    try {
      if (mounted.status !== 0) {
        process.stderr.write(`SKIPPED: nothing can be mounted here (${mounted.stderr.toString().trim()})\n`);
        return;
      }
      for (const command of reading(at, folder)) expect(said(command)).toContain(`is of version ${version}. It was not changed`);
      expect(cli('bring-up-to-date', at)).toMatchObject({ code: 7 });
    } finally {
      spawnSync('umount', [medium]);
      rmSync(medium, { recursive: true, force: true });
    }
  });

  it('ARC-50 is read by every command after it was brought up to date', () => {
    expect(cli('bring-up-to-date', archive)).toMatchObject({ code: 0 });
    expect(existsSync(`${archive}.before-version-7`)).toBe(true);
    for (const command of reading(archive, folder)) expect(said(command)).not.toContain('It was not changed');
  });
});

describe.skipIf(browserPath === null)('in the window', () => {
  let browser: Browser;
  let host: HostProcess | null = null;
  beforeAll(async () => {
    if (browserPath === null) return;
    buildWindow();
    browser = await launchBrowser();
  });
  afterEach(async () => {
    await host?.end();
    host = null;
  });
  afterAll(async () => {
    if (browserPath !== null) await browser.close();
  });

  it.each([1, 2, 3, 4, 5])('ARC-50 every page shows an archive of version %i', async (version) => {
    copyFileSync(fixture(version), archive);
    host = await HostProcess.start(folder, {});
    const page = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage();
    page.setDefaultTimeout(20_000);
    const complaints = complaintsOf(page);
    await page.goto(host.address);
    await page.getByLabel('Your name').fill('A. Tester');
    await page.getByRole('button', { name: 'Work under this name' }).click();
    await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: 'Archive', exact: true }).click();
    const rows = page.getByRole('main').getByRole('row');
    await rows.nth(1).waitFor();
    const runs = (await rows.count()) - 1;
    expect(runs).toBeGreaterThan(0);
    for (let i = 1; i <= runs; i += 1) {
      await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: 'Archive', exact: true }).click();
      await rows.nth(i).click();
      await page.getByRole('link', { name: /Run$/ }).last().waitFor();
      await keepScreen(page, `old-archive-${version}-run-${i}`);
    }
    for (const name of ['Bench', 'Plans', 'Injectors', 'Run', 'Results', 'Archive']) {
      await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name, exact: true }).click();
      await page.getByRole('heading', { level: 1 }).waitFor();
      await page.waitForTimeout(500);
      expect(await page.getByRole('main').innerText(), name).not.toMatch(/defect|undefined|NaN|\[object/);
      await keepScreen(page, `old-archive-${version}-${name.toLowerCase()}`);
    }
    expect(complaints).toEqual([]);
  });
});
