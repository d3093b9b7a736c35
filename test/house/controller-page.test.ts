/** Tables for a controller on the page Results, in a browser: shown, by a layout that is opened, and copied. */
import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWindow } from '../../main/cli/build.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { browserPath, complaintsOf, HostProcess, keepScreen, launchBrowser, sweepInto, violations } from '../builders/window.ts';

let folder = '';
let host: HostProcess;
let browser: Browser;

beforeAll(async () => {
  if (browserPath === null) return;
  buildWindow();
  folder = scratchFolder();
  sweepInto(folder);
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

  it('TAB-51, TAB-52, TAB-53: a layout is made there, kept, saved as a file and chosen again; values stand beside their breakpoints', async () => {
    const context = await browser.newContext({ viewport: { width: 1920, height: 1080 }, permissions: ['clipboard-read'] });
    const page = await context.newPage();
    await page.goto(host.address);
    await page.getByLabel('Your name').fill('A. Tester');
    await page.getByRole('button', { name: 'Work under this name' }).click();
    const take = page.getByRole('button', { name: 'Take control' });
    if ((await take.count()) > 0) await take.click();
    await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: 'Results', exact: true }).click();
    await page.getByRole('link', { name: 'For a controller' }).click({ timeout: 60_000 });
    await page.getByRole('button', { name: 'Make a layout' }).click({ timeout: 60_000 });
    const use = page.getByRole('button', { name: 'Use this layout' });
    expect(await use.getAttribute('aria-disabled')).toBe('true');
    await page.getByLabel('Name of the layout').fill('Lab 1');
    await page.getByLabel('Voltages in V').fill('13; 11');
    await page.getByText('Breakpoints must rise').waitFor();
    await page.getByLabel('Voltages in V').fill('11; 12,5; 13');
    await page.getByLabel('Decimal sign').selectOption('comma');
    await page.getByText('cannot be separated by commas').waitFor();
    await page.getByLabel('Columns separated by').selectOption('semicolon');
    await page.getByLabel('Headings').selectOption('no');
    expect(await violations(page)).toEqual([]);
    await page.getByRole('button', { name: 'Keep it' }).click();
    await page.getByText('is kept beside the archive').waitFor({ timeout: 30_000 });
    const download = page.waitForEvent('download');
    await page.getByRole('button', { name: 'Save it as a file' }).click();
    const saved = readFileSync(await (await download).path(), 'utf8');
    const [kept = ''] = readdirSync(join(folder, 'layouts'));
    expect(readFileSync(join(folder, 'layouts', kept), 'utf8')).toBe(saved);
    // The command reads the same file.
    execFileSync(process.execPath, [join(import.meta.dirname, '../../main/cli/main.ts'), 'tables', '--archive', join(folder, 'archive.sqlite'), '--layout', join(folder, 'layouts', kept), '--as', 'csv', '--to', join(folder, 'made')], { stdio: 'pipe' });
    const grid = readdirSync(join(folder, 'made')).find((name) => name.startsWith('grid-') && /^11;/.test(readFileSync(join(folder, 'made', name), 'utf8')));
    const lines = readFileSync(join(folder, 'made', grid ?? ''), 'utf8').trim().split('\r\n');
    expect(lines.map((line) => line.split(';')[0])).toEqual(['11', '12,5', '13']);
    expect(readFileSync(join(folder, 'made', 'datapackage.json'), 'utf8')).toContain('"decimalChar": ","');

    await page.reload();
    await page.getByRole('link', { name: 'For a controller' }).waitFor({ timeout: 60_000 });
    await page.getByLabel('A layout that is kept').selectOption('Lab 1', { timeout: 60_000 });
    await page.getByRole('button', { name: 'Copy values of Time-Offset X (dead time)' }).click();
    await expect.poll(async () => (await clipboard(page)).split('\n').map((line) => line.split('\t')[0])).toEqual(['11', '12,5', '13']);
    expect((await clipboard(page)).split('\n').every((line) => /^[\d,]+\t-?[\d,]+$/.test(line))).toBe(true);
    const [head, value] = await Promise.all(['tbody th', 'tbody td'].map((part) => page.locator(`.figure-table-narrow ${part}`).first().boundingBox()));
    expect((value?.x ?? Infinity) - (head?.x ?? 0) - (head?.width ?? 0)).toBeLessThan(40);
    expect((value?.width ?? Infinity)).toBeLessThan(500);
    await keepScreen(page, 'results-controller-1920');
    await page.setViewportSize({ width: 1366, height: 768 });
    await page.getByRole('button', { name: 'Change this layout' }).click();
    await keepScreen(page, 'results-controller-layout-1366');
    expect(await violations(page)).toEqual([]);
    // TAB-54: it asks, and the way out has the focus.
    await page.getByRole('button', { name: 'Remove this layout' }).click();
    await page.keyboard.press('Enter');
    expect(readdirSync(join(folder, 'layouts'))).toEqual([kept]);
    await page.getByRole('button', { name: 'Remove this layout' }).click();
    await page.getByRole('button', { name: 'Remove it' }).click();
    await expect.poll(() => readdirSync(join(folder, 'layouts'))).toEqual([]);
    await expect.poll(() => page.getByLabel('A layout that is kept').count()).toBe(0);
    await context.close();
  }, 240_000);
});
