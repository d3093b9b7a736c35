/** ARC-50: archives of earlier versions, as they were shipped, through every command that reads and every page. */
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser } from 'playwright';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { browserPath, complaintsOf, HostProcess, keepScreen, launchBrowser } from '../builders/window.ts';

let folder = '';
let archive = '';
beforeEach(() => {
  folder = scratchFolder();
  archive = join(folder, 'archive.sqlite');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

function cli(...args: readonly string[]): { readonly code: number | null; readonly said: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), ...args], { encoding: 'utf8' });
  return { code: status, said: stdout + stderr };
}

const fixture = (version: number): string => join(import.meta.dirname, `fixtures/archive-version-${version}.sqlite`);

describe.each([1, 4])('an archive of version %i', (version) => {
  beforeEach(() => copyFileSync(fixture(version), archive));

  it('ARC-50 is read by no command before it was brought up to date, and by every one afterwards', () => {
    const before = cli('runs', '--archive', archive);
    expect(before).toMatchObject({ code: 7, said: expect.stringContaining("Bring it up to date with 'bring-up-to-date'") as string });
    expect(cli('bring-up-to-date', archive)).toMatchObject({ code: 0 });
    expect(existsSync(`${archive}.before-version-5`)).toBe(true);
    const at = ['--archive', archive] as const;
    const commands: readonly (readonly string[])[] = [
      ['runs', ...at], ['reduce', ...at], ['match', ...at], ['outliers', ...at], ['reference-history', ...at],
      ['export', '--to', join(folder, 'csv'), ...at], ['verify', archive], ['backup', join(folder, 'copy.sqlite'), ...at],
    ];
    for (const command of commands) {
      const { code, said } = cli(...command);
      // Few points of two injectors, none of a reference: there is no set to choose and no history, and that is said.
      expect(code, `${command.join(' ')}: ${said}`).toBe(['match', 'reference-history'].includes(command[0] ?? '') ? 2 : 0);
      expect(said, command[0]).not.toMatch(/defect|undefined|NaN|\[object/);
    }
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

  it.each([1, 4])('ARC-50 every page shows an archive of version %i', async (version) => {
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
