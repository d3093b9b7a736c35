/** Tables for a controller on the page Results, in a browser: shown, by a layout that is opened, and copied. */
import { execFileSync } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { samplePlan, scratchFolder } from '../builders/in-process.ts';
import { browserPath, complaintsOf, HostProcess, keepScreen, launchBrowser, violations } from '../builders/window.ts';

let folder = '';
let host: HostProcess;
let browser: Browser;

beforeAll(async () => {
  if (browserPath === null) return;
  buildWindow();
  folder = scratchFolder();
  const plan = join(folder, 'plan.json');
  const small = samplePlan('small-plan');
  writeFileSync(plan, JSON.stringify({ ...small, axes: { ...small.axes, widthMs: [2.5, 3, 5, 8] }, reduction: { ...small.reduction, linearFromMs: 3 } }));
  execFileSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), 'sweep', plan, '--operator', 'A. Tester', '--quiet', '--archive', join(folder, 'archive.sqlite')], { stdio: 'pipe' });
  host = await HostProcess.start(folder, {});
  browser = await launchBrowser();
}, 240_000);

afterAll(async () => {
  if (browserPath === null) return;
  await browser.close();
  await host.end();
  rmSync(folder, { recursive: true, force: true });
});

const clipboard = (page: Page): Promise<string> => page.evaluate<string>('navigator.clipboard.readText()');

describe.skipIf(browserPath === null)('TAB-22: tables for a controller on the page Results', () => {
  it('stand there as measured and by a layout, go to the clipboard in rows and columns, and a layout that is wrong changes nothing', async () => {
    const context = await browser.newContext({ viewport: { width: 1366, height: 900 }, permissions: ['clipboard-read'] });
    const page = await context.newPage();
    const complaints = complaintsOf(page);
    await page.goto(host.address);
    await page.getByLabel('Your name').fill('A. Tester');
    await page.getByRole('button', { name: 'Work under this name' }).click();
    await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: 'Results', exact: true }).click();
    await page.getByRole('link', { name: 'For a controller' }).click({ timeout: 30_000 });
    const copyDeadTimes = page.getByRole('button', { name: 'Copy values of Time-Offset X (dead time)' });
    await copyDeadTimes.click({ timeout: 30_000 });
    await expect.poll(() => page.getByText('values are on the clipboard in rows and columns').count()).toBe(1);
    const measured = (await clipboard(page)).split('\n').map((line) => line.split('\t'));
    expect(measured.map((row) => row[0])).toEqual(['supply voltage at the injector, V', '10', '14']);
    expect(Number(measured[1]?.[1])).toBeGreaterThan(Number(measured[2]?.[1]));

    const layout = { layoutVersion: 1, name: 'Example controller', axes: { voltagesV: [11, 12, 13] }, deadTime: { unit: 'us', resolution: 1 }, wiringDrop: { volts: 0.5 }, csv: { headings: false } };
    const file = join(folder, 'layout.json');
    writeFileSync(file, JSON.stringify(layout));
    await page.getByLabel('Layout file').setInputFiles(file);
    await expect.poll(() => page.getByText('Example controller').count()).toBe(1);
    await copyDeadTimes.click();
    await expect.poll(async () => (await clipboard(page)).split('\n').length).toBe(3);
    const rows = (await clipboard(page)).split('\n').map((line) => line.split('\t').map(Number));
    expect(rows.map((row) => row[0])).toEqual([11, 12, 13]);
    expect(rows.every((row) => Number.isInteger(row[1]))).toBe(true);
    await keepScreen(page, 'results-controller');
    expect(await violations(page)).toEqual([]);

    writeFileSync(file, JSON.stringify({ ...layout, axes: { voltagesV: [13, 12] } }));
    await page.getByLabel('Layout file').setInputFiles(file);
    await expect.poll(() => page.getByText('Breakpoints must rise').count()).toBe(1);
    expect(await page.getByText('Example controller').count()).toBe(1);
    expect(complaints).toEqual([]);
    await context.close();
  }, 240_000);
});
